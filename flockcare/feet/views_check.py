"""Which bird to check, and showing and correcting a check; pages has the form for a new one."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from flockcare.feet import services
from flockcare.feet.forms import CheckForm
from flockcare.feet.models import Check, Foot
from flockcare.feet.moving import can_swap
from flockcare.feet.scales import SCALES
from flockcare.feet.views_round import progress
from flockcare.people.access import flock_view
from flockcare.people.models import Role
from flockcare.photos.services import add_photos
from flockcare.photos.shots import shots
from flockcare.photos.views import tell_elsewhere


def take_in_photos(request, form, *, now) -> list[str]:
    """Keep the pictures before anything else can refuse the form; why some could not be kept."""
    refusals = []
    for foot in ("", *Foot.values):
        kept, refused = add_photos(
            flock=form.flock,
            keeper=request.user,
            uploads=request.FILES.getlist(f"{foot or 'bird'}-photos"),
            now=now,
        )
        for photo in kept:
            form.keep_photo(foot, photo)
        refusals += refused
    return refusals


def form_page(
    request,
    flock,
    bird,
    form,
    photo_errors,
    *,
    in_round: bool,
    known=None,
    known_words="",
    faces=None,
    above="",
):
    """``known_words``: ``known`` as HTML. ``above``: HTML of a page above this one, which stands
    before the form.
    """
    wrong = bool(photo_errors) or (form.is_bound and not form.is_valid())
    if known:
        form.know(known)
    return render(
        request,
        "feet/check_form.html",
        {
            "here": "today",
            "bird": bird,
            "form": form,
            "known": known,
            "known_words": known_words,
            "above": above,
            "faces": faces or {},
            "photo_errors": photo_errors,
            "round": progress(services.open_round(flock)) if in_round else None,
            "scales": SCALES,
        },
        status=422 if wrong else 200,
    )


@require_safe
@flock_view()
def show(request, flock, check_id):
    check = get_object_or_404(
        Check.objects.select_related("bird", "keeper").prefetch_related("findings", "photos"),
        flock=flock,
        pk=check_id,
    )
    # Which of the two is said does not matter: both go to the other.
    context = {"here": "birds", "check": check, "other_foot": can_swap(check) and Foot.LEFT.value}
    # A foot's photos stand with what was found on it; the others, of all of the bird, below.
    found = shots(check.photos.all())
    for finding in check.findings.all():
        finding.shots = [shot for shot in found if shot.photo.foot == finding.foot]
        found = [shot for shot in found if shot.photo.foot != finding.foot]
    context["shots"] = found
    return render(request, "feet/check.html", context)


@require_http_methods(["GET", "POST"])
@flock_view(read=Role.KEEPER)
def edit(request, flock, check_id):
    check = get_object_or_404(
        Check.objects.select_related("bird").prefetch_related("findings", "photos"),
        flock=flock,
        pk=check_id,
    )
    now = timezone.now()
    form = CheckForm(request.POST or None, flock=flock, bird=check.bird, check=check, now=now)
    photo_errors = []
    if request.method == "POST":
        photo_errors = take_in_photos(request, form, now=now)
        if form.is_valid() and not photo_errors:
            try:
                services.change_check(
                    check=check,
                    keeper=request.user,
                    at=form.cleaned_data["at"],
                    seen=form.seen(),
                    basis=form.basis,
                    now=now,
                )
            except ValidationError as error:
                form.add_error(None, error)
            else:
                check.refresh_from_db()
                messages.success(request, f"Saved: {check.bird}, {check.summary()}.")
                tell_elsewhere(request, check, form.elsewhere, lost=form.lost_photos)
                return redirect("feet:check", flock.pk, check.pk)
    return form_page(request, flock, check.bird, form, photo_errors, in_round=False)


@require_POST
@flock_view()
def delete(request, flock, check_id):
    check = get_object_or_404(Check.objects.select_related("bird"), flock=flock, pk=check_id)
    bird, photos = check.bird, check.photos.exists()
    services.delete_check(check=check, keeper=request.user)
    kept = " Its photos are still there." if photos else ""
    messages.success(request, f"The check of {bird} is deleted.{kept}")
    return redirect(bird)


@require_safe
@flock_view()
def about_scales(request, flock):
    return render(request, "feet/about_scales.html", {"here": "more", "scales": SCALES})
