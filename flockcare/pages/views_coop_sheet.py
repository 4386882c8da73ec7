"""The coop sheet: printed, and typed in again."""

from django.contrib import messages
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html
from django.views.decorators.http import require_http_methods, require_safe

from flockcare.feet.scales import LESION
from flockcare.pages.coop_sheet import (
    Order,
    RowsRefused,
    SheetForm,
    as_typed,
    groups_of,
    save_sheet,
    typed_of,
)
from flockcare.people.access import flock_view
from flockcare.people.models import Role


def _order(request) -> Order:
    asked = request.POST.get("order") or request.GET.get("order")
    return Order(asked) if asked in Order.values else Order.HOUSE


@require_safe
@flock_view(Role.KEEPER, read=Role.KEEPER)
def sheet(request, flock):
    """``?order=``: one of ``Order``."""
    order = _order(request)
    context = {
        "here": "more",
        "order": order,
        "orders": Order.choices,
        "scores": LESION.steps,
        "groups": groups_of(flock, order, timezone.localdate()),
    }
    return render(request, "pages/coop_sheet.html", context)


@require_http_methods(["GET", "POST"])
@flock_view(Role.KEEPER, read=Role.KEEPER)
def type_in(request, flock):
    now, order = timezone.now(), _order(request)
    today = timezone.localdate(now)
    data = request.POST if request.method == "POST" else None
    form = SheetForm(data, flock=flock, keeper=request.user, today=today)
    groups = as_typed(data, flock, order, today)
    if data is not None:
        filled = [row for _, rows in groups for row in rows if row.is_filled]
        if typed_of(data) - {row.bird.pk for row in filled}:
            form.add_error(
                None, "A bird of this sheet was deleted meanwhile. Its line is left out."
            )
        elif not filled:
            form.add_error(None, "Nothing is filled in yet. Score a foot of at least one bird.")
        # Each of them, so that all that is wrong is said at once.
        if all([form.is_valid(), *(row.is_valid() for row in filled)]) and _saved(
            request, form, filled, now
        ):
            return redirect("today", flock.pk)
    wrong = bool(form.errors) or any(row.errors for _, rows in groups for row in rows)
    context = {
        "here": "more",
        "form": form,
        "order": order,
        "groups": groups,
        "wrong": sum(bool(row.errors) for _, rows in groups for row in rows),
    }
    return render(request, "pages/coop_type.html", context, status=422 if wrong else 200)


def _saved(request, form, filled, now) -> bool:
    flock, said = request.membership.flock, form.cleaned_data
    try:
        first = save_sheet(
            flock=flock,
            rows=filled,
            day=said["day"],
            who=form.who,
            key=said["key"],
            by=request.user,
            now=now,
        )
    except RowsRefused as refused:
        for row in filled:
            if row.bird.pk in refused.errors:
                row.add_error("left", refused.errors[row.bird.pk])
        return False
    words = f"{len(filled)} check{'' if len(filled) == 1 else 's'} of {said['day']:%-d %B}"
    undo = first and format_html(
        ' <a href="{}">Undo</a>', reverse("pages:changeset", args=[flock.pk, first.pk])
    )
    messages.success(request, format_html("Saved: {}.{}", words, undo or ""))
    return True
