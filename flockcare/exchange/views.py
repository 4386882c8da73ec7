"""Pages that give all records of a flock out, and bring an export in."""

from django.contrib import messages
from django.db.models import Count, Sum
from django.http import StreamingHttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.text import slugify
from django.views.decorators.http import require_POST, require_safe

from flockcare.exchange import importing, lost
from flockcare.exchange.checking import is_empty
from flockcare.exchange.forms import ImportForm
from flockcare.exchange.models import Import
from flockcare.exchange.problems import Problem, Refused
from flockcare.exchange.writing import Export
from flockcare.people.access import flock_view
from flockcare.people.models import Flock, Role
from flockcare.photos.models import Photo


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
        initial={name: request.GET.get(given, "") for name, given in _ASKED.items()},
    )
    refused, status = None, 200
    if form.is_valid():
        try:
            job = importing.begin(keeper=request.user, **form.cleaned_data)
        except Refused as error:
            refused, status = error, 422
        else:
            return redirect("exchange:importing", job.pk)
    elif form.is_bound:
        status = 422
    context = {
        "form": form,
        "refused": refused,
        "running": request.user.imports.filter(state=Import.State.WORKING).order_by("started_at"),
    }
    return render(request, "exchange/import.html", context, status=status)


# What an address may say beforehand, by the field of the form.
_ASKED = {"into": "flock", "name": "name"}


def _empty_flocks(keeper) -> list[Flock]:
    # An export brings the settings with it, and those are the owner's to change.
    flocks = Flock.objects.filter(membership__keeper=keeper, membership__role=Role.OWNER)
    return [flock for flock in flocks.order_by("name") if is_empty(flock)]


@require_safe
def progress(request, import_id):
    """How far an import has come, and what came of it; for whoever began it."""
    job = get_object_or_404(
        Import.objects.select_related("flock"), pk=import_id, keeper=request.user
    )
    if importing.is_left(job):
        importing.start(job)
    response = render(
        request,
        "exchange/importing_piece.html" if request.htmx else "exchange/importing.html",
        {
            "job": job,
            "refused": Refused(
                [Problem(**problem) for problem in job.problems], more=job.more_problems
            ),
            "lost": lost.in_words(job.lost) if job.lost else "",
        },
    )
    response.headers["Vary"] = "HX-Request, Cookie"
    response.headers["Cache-Control"] = "private, no-cache"
    return response


@require_POST
def cancel(request, import_id):
    job = get_object_or_404(Import, pk=import_id, keeper=request.user)
    if importing.cancel(job):
        messages.success(request, "Cancelled. Nothing was imported.")
        return redirect("people:flocks")
    return redirect("exchange:importing", job.pk)
