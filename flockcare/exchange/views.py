"""Pages that give all records of a flock out, and bring an export in."""

import tempfile
from collections import Counter
from pathlib import Path

from django.contrib import messages
from django.db.models import Count, Sum
from django.http import StreamingHttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.text import slugify
from django.views.decorators.http import require_safe

from flockcare.exchange import lost
from flockcare.exchange.checking import is_empty
from flockcare.exchange.forms import ImportForm
from flockcare.exchange.problems import Problem
from flockcare.exchange.services import Plan, Refused, apply, check, read_folder
from flockcare.exchange.writing import Export
from flockcare.people.access import flock_view
from flockcare.people.models import Flock, Role
from flockcare.photos.models import Photo

NAMES = {
    "birds": ("bird", "birds"),
    "checks": ("check", "checks"),
    "care": ("care record", "care records"),
    "photos": ("photo", "photos"),
    "weights": ("weighing", "weighings"),
}
OTHERS = ("other record", "other records")
# Not what keepers call records.
ASIDE = {"flock", "history"}


@require_safe
@flock_view()
def overview(request, flock):
    """What an export holds, and the ways in."""
    kept = Photo.objects.filter(flock=flock).aggregate(
        count=Count("pk"), bytes=Sum("stored_bytes", default=0)
    )
    context = {"flock": flock, "here": "more", "photos": kept}
    return render(request, "exchange/records.html", context)


@require_safe
@flock_view(Role.KEEPER, read=Role.KEEPER)
def download(request, flock):
    """Everything as one zip, made while it is sent."""
    name = f"{slugify(flock.name) or 'flock'}-{timezone.localdate()}.zip"
    return StreamingHttpResponse(
        filter(None, Export(flock).zipped()),
        content_type="application/zip",
        headers={
            "Content-Disposition": f'attachment; filename="{name}"',
            "Cache-Control": "no-store",
            "X-Content-Type-Options": "nosniff",
        },
    )


def bring_in(request):
    """An export into a new flock, or into one in which nothing is recorded yet: all or nothing."""
    empty = _empty_flocks(request.user)
    form = ImportForm(
        request.POST or None,
        request.FILES or None,
        empty=empty,
        initial={"into": request.GET.get("flock", "")},
    )
    refused, status = None, 200
    if form.is_valid():
        try:
            flock, plan = _import(request.user, **form.cleaned_data)
        except Refused as error:
            refused, status = error, 422
        else:
            messages.success(request, f"Brought in: {in_words(plan)}.")
            if plan.lost:
                messages.warning(request, lost.in_words(plan.lost))
            return redirect("people:flock_open", flock.pk)
    elif form.is_bound:
        status = 422
    return render(
        request, "exchange/import.html", {"form": form, "refused": refused}, status=status
    )


def _empty_flocks(keeper) -> list[Flock]:
    # An export brings the settings with it, and those are the owner's to change.
    flocks = Flock.objects.filter(membership__keeper=keeper, membership__role=Role.OWNER)
    return [flock for flock in flocks.order_by("name") if is_empty(flock)]


def _import(keeper, *, file, name: str, into: Flock | None) -> tuple[Flock, Plan]:
    flock = into or Flock(name=name)
    with tempfile.TemporaryDirectory(prefix="flockcare-import-") as folder:
        path = Path(folder, "records.zip")
        with path.open("wb") as out:
            for chunk in file.chunks():
                out.write(chunk)
        plan = check(read_folder(path), flock, keepers=None if into else [keeper])
        if into and not is_empty(into):
            message = "Somebody has just recorded something in this flock."
            raise Refused([Problem("import", message)])
        apply(plan, owner=keeper, by=keeper)
    return flock, plan


def in_words(plan: Plan) -> str:
    """What was new, such as ``16 birds, 820 checks``."""
    counted = Counter()
    for table, (new, _) in plan.counts().items():
        if table not in ASIDE:
            counted[NAMES.get(table, OTHERS)] += new
    told = [
        f"{counted[names]} {names[counted[names] != 1]}"
        for names in (*NAMES.values(), OTHERS)
        if counted[names]
    ]
    return ", ".join(told) or "nothing new"
