"""A medicine in water or feed for many birds at once, and the record of all medicines."""

from django.contrib import messages
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html
from django.views.decorators.http import require_http_methods, require_safe

from flockcare.care import services
from flockcare.care.courses import WHOLE_FLOCK, birds_here, named
from flockcare.care.forms import GiveForm, posted
from flockcare.care.medicines import warnings_about
from flockcare.care.models import CareStep
from flockcare.care.record import KEPT_YEARS, LAW, LAW_SOURCE, medicines_given
from flockcare.core.forms import saved
from flockcare.housing.models import House
from flockcare.housing.residents import residents_on
from flockcare.people import keys
from flockcare.people.access import flock_view
from flockcare.people.models import Revision, Role


@require_http_methods(["GET", "POST"])
@flock_view(Role.KEEPER, read=Role.KEEPER)
def give(request, flock):
    """Log a medicine that every bird of a house, or of the flock, gets in water or feed."""
    now = timezone.now()
    houses = list(House.objects.filter(flock=flock))
    form = GiveForm(posted(request), flock=flock, houses=houses, keeper=request.user, now=now)
    if request.method == "POST" and form.is_valid() and (steps := _given(form, flock, now=now)):
        _tell(request, flock, steps)
        return redirect("care:list", flock.pk)
    return render(
        request,
        "care/give.html",
        {"here": "today", "form": form},
        status=422 if form.errors else 200,
    )


def _given(form, flock, *, now) -> list[CareStep]:
    step, house = form.instance, form.house
    on = timezone.localdate(step.at, flock.zone)
    birds = residents_on(house, on) if house else birds_here(flock, on)
    found = []

    def save():
        found.extend(
            services.give_to_all(
                like=step,
                birds=birds,
                given_to=named(house) if house else WHOLE_FLOCK,
                key=form.cleaned_data["give_id"],
                now=now,
            )
        )

    try:
        saved(form, save)
    except keys.KeyTaken as taken:
        form.add_error(None, taken.reason)
    return found


def _tell(request, flock, steps: list[CareStep]) -> None:
    step = steps[0]
    first = Revision.objects.filter(
        flock=flock, record__in=[one.pk for one in steps], action=Revision.Action.ADD
    ).earliest("pk")
    messages.success(
        request,
        format_html(
            'Saved: {} for {}, {} birds. <a href="{}">All of it, and undo</a>',
            step.product,
            step.given_to,
            len(steps),
            reverse("record_history", args=[flock.pk, first.record, "carestep"]),
        ),
    )
    for warning in warnings_about(step.product):
        messages.warning(request, warning)


@require_safe
@flock_view()
def record(request, flock):
    """Every medicine, ready to be printed."""
    return render(
        request,
        "care/medicine_record.html",
        {
            "here": "more",
            "givings": medicines_given(flock, now=timezone.now()),
            "years": KEPT_YEARS,
            "law": LAW,
            "law_source": LAW_SOURCE,
        },
    )
