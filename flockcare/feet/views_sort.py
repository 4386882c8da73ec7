"""Photos to sort: old pictures are brought in, named, dated and scored, many at a time."""

from datetime import UTC, datetime

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe
from django_htmx.http import replace_url

from flockcare.core.forms import record_keys
from flockcare.feet import sorting
from flockcare.feet.forms_sort import NOBODY, OneForm, SortForm, photo_keys
from flockcare.feet.sorting_one import FACES, faces, one_photo, read_stays, stays_after
from flockcare.feet.sorting_page import SHOWN, birds_to_pick, last_sorted, sort_page
from flockcare.people.access import flock_view
from flockcare.people.models import Role
from flockcare.photos.intake import RefusedPhoto
from flockcare.photos.models import Photo

MOST_HASHES = 200
# One photo a change: for the birds named last there are more to look through.
LOOKED_BACK_FAR = 40


@require_http_methods(["GET", "POST"])
@flock_view(read=Role.KEEPER)
def sort(request, flock):
    if request.method == "GET":
        return _page(request, flock)
    form = SortForm(request.POST, flock=flock)
    if form.is_valid():
        try:
            sorting.give(
                flock=flock,
                keeper=request.user,
                photo_ids=form.photo_keys,
                given=form.given(),
                under=_show(request),
            )
        except ValidationError as error:
            form.add_error(None, error)
        else:
            return _after(request, flock)
    return _page(request, flock, form=form, status=422)


def _show(request) -> str:
    """The heading of which photos are shown."""
    show = request.GET.get("show")
    return show if show in SHOWN else "unnamed"


def _page(request, flock, *, form=None, said="", trouble="", status=200):
    """The whole page, or for htmx the part of it that is sorted in."""
    asked = request.GET
    number = asked.get("page", "")
    page = sort_page(
        flock,
        show=_show(request),
        newest_first=asked.get("order") == "newest",
        number=int(number) if number.isdecimal() and len(number) < 6 else 1,
    )
    last, recent = last_sorted(flock, request.user, now=timezone.now())
    form = form or SortForm(flock=flock)
    context = {
        "here": "more",
        "page": page,
        "form": form,
        "chosen": set(form.photo_keys),
        "bird_said": form["bird"].value() or "",
        "birds": birds_to_pick(flock, recent),
        "recent": len(recent),
        "nobody": NOBODY,
        "last": last,
        "said": said,
        "trouble": trouble,
    }
    template = "feet/sort_list.html" if request.htmx else "feet/sort.html"
    return render(request, template, context, status=status)


def _after(request, flock, said: str = "", at=None):
    """Back to the same place of the page; what was done is told there."""
    if _is_large(request):
        return _next(request, flock, at=at, stays=read_stays(request.GET), said=said)
    if request.htmx:
        return _page(request, flock, said=said)
    if said:
        messages.success(request, said)
    return redirect(f"{reverse('feet:sort', args=[flock.pk])}?{request.GET.urlencode()}")


def _done(request, flock, action, *, at=None):
    """The answer to ``action()``, or why it cannot be. What it returns as text is told."""
    try:
        said = action()
    except ValidationError as error:
        page = _one if _is_large(request) else _page
        return page(request, flock, trouble=" ".join(error.messages), status=422)
    return _after(request, flock, said if isinstance(said, str) else "", at)


# --- One at a time


@require_http_methods(["GET", "POST"])
@flock_view(read=Role.KEEPER)
def one(request, flock):
    """One photo, large, and what it shows; once that is saved, the next."""
    if request.method == "GET":
        return _one(request, flock)
    form = OneForm(request.POST, flock=flock)
    under = request.POST.get("under")
    if form.is_valid():
        try:
            sorting.give(
                flock=flock,
                keeper=request.user,
                photo_ids=form.photo_keys[:1],
                given=form.given(),
                under=under if under in SHOWN else "unnamed",
            )
        except ValidationError as error:
            form.add_error(None, error)
        else:
            stays = stays_after(read_stays(request.GET), form.given())
            then = _key(request.POST, "then")
            return _next(request, flock, at=then, stays=stays, to_sort=True)
    return _one(request, flock, form=form, status=422)


def _key(asked, name: str):
    return next(iter(record_keys([asked.get(name, "")])), None)


def _is_large(request) -> bool:
    """Whether it was asked for from the page with one photo."""
    return "large" in request.GET


def _next(request, flock, *, at, stays, said="", to_sort=False):
    """Another photo of the page; its address, too, is the one shown."""
    page = _find(request, flock, at=at, stays=stays, to_sort=to_sort)
    address = f"{reverse('feet:sort_one', args=[flock.pk])}?{page.query}"
    if request.htmx:
        return replace_url(_one(request, flock, page=page, said=said), address)
    if said:
        messages.success(request, said)
    return redirect(address)


def _find(request, flock, **asked):
    return one_photo(
        flock,
        request.user,
        show=_show(request),
        newest_first=request.GET.get("order") == "newest",
        now=timezone.now(),
        **asked,
    )


def _one(request, flock, *, page=None, form=None, said="", trouble="", status=200):
    """The whole page, or for htmx the part of it that changes with the photo."""
    at = _key(request.GET, "photo")
    page = page or _find(request, flock, at=at, stays=read_stays(request.GET))
    last, recent = last_sorted(
        flock, request.user, now=timezone.now(), looked_back=LOOKED_BACK_FAR, birds=FACES
    )
    chosen = page.chosen
    initial = {"bird": chosen.bird, "foot": chosen.foot, "date": chosen.day}
    form = form or OneForm(flock=flock, initial=initial)
    bird_said = form["bird"].value() or ""
    near, others = faces(birds_to_pick(flock, []), recent, str(bird_said))
    context = {
        "here": "more",
        "page": page,
        "form": form,
        "bird_said": str(bird_said),
        "near": near,
        "others": others,
        "nobody": NOBODY,
        "last": last,
        "said": said,
        "trouble": trouble,
    }
    template = "feet/sort_one_part.html" if request.htmx else "feet/sort_one.html"
    return render(request, template, context, status=status)


# --- Cards, photos that look the same, undo


@require_POST
@flock_view()
def follow(request, flock, photo_id):
    """Whether the card in a photo names those that follow it."""
    card = get_object_or_404(
        Photo.objects.select_related("sorting__card_bird").exclude(sorting__card_bird=None),
        flock=flock,
        pk=photo_id,
    )
    who = {"flock": flock, "keeper": request.user, "card": card}
    if request.POST.get("answer") == "yes":
        keys = photo_keys(request.POST)
        return _done(request, flock, lambda: sorting.follow_card(**who, photo_ids=keys))
    return _done(request, flock, lambda: sorting.leave_card(**who))


@require_POST
@flock_view()
def alike(request, flock):
    """Keep all of several photos that look the same, or drop some."""
    who = {"flock": flock, "keeper": request.user}
    if said := request.POST.get("drop"):
        dropped = record_keys(said.split())
        return _done(request, flock, lambda: sorting.drop(**who, photo_ids=dropped))
    keys = photo_keys(request.POST)
    return _done(request, flock, lambda: sorting.keep_alike(**who, photo_ids=keys))


@require_POST
@flock_view()
def undo(request, flock):
    who = {"flock": flock, "keeper": request.user}
    key = request.POST.get("changes", "")
    at = None
    if _is_large(request) and key.isdecimal():
        at = sorting.touched_by(flock, key).values_list("pk", flat=True).first()
    return _done(request, flock, lambda: sorting.undo(**who, key=key), at=at)


@require_safe
@flock_view()
def count(request, flock):
    """How many photos nobody has named yet, for the row that leads here."""
    number = sorting.unsorted(flock).count()
    return render(request, "feet/sort_count.html", {"count": number})


# --- Bringing photos in


@require_POST
@flock_view()
def add(request, flock):
    """Several files at once, from a page without script."""
    kept = there = 0
    for upload in request.FILES.getlist("photo"):
        try:
            _, is_new = _receive(request, flock, upload)
        except RefusedPhoto as refused:
            messages.error(request, str(refused))
            continue
        kept, there = kept + is_new, there + (not is_new)
    if not request.FILES:
        messages.error(request, "Choose one or more photos first.")
    if kept:
        messages.success(request, f"{kept} photo{'s' if kept > 1 else ''} added.")
    if there:
        messages.info(request, f"{there} {'were' if there > 1 else 'was'} here already.")
    return redirect("feet:sort", flock.pk)


@require_POST
@flock_view()
def send(request, flock):
    """One file; JSON with ``new``, or ``error`` in words."""
    upload = request.FILES.get("photo")
    if upload is None:
        return JsonResponse({"error": "No photo arrived. Choose them again."}, status=400)
    try:
        photo, is_new = _receive(request, flock, upload)
    except RefusedPhoto as refused:
        return JsonResponse({"error": str(refused)}, status=422)
    return JsonResponse({"id": photo.pk, "new": is_new}, status=201)


def _receive(request, flock, upload):
    return sorting.receive(
        flock=flock,
        keeper=request.user,
        upload=upload,
        name=upload.name,
        modified=_moment(request.POST.get("modified", "")),
    )


def _moment(milliseconds: str) -> datetime | None:
    """From what a browser says of a file: milliseconds since 1970 in UTC (File API)."""
    try:
        return datetime.fromtimestamp(int(milliseconds) / 1000, UTC)
    except (ValueError, OverflowError, OSError):
        return None


@require_POST
@flock_view()
def known(request, flock):
    """Which of these files (``sha256``, in hex) are here already; JSON with ``known``."""
    asked = request.POST.getlist("sha256")[:MOST_HASHES]
    found = Photo.objects.filter(flock=flock, sha256__in=asked).values_list("sha256", flat=True)
    return JsonResponse({"known": list(found)})
