"""Logging, showing and mending a check."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from flockcare.birds.models import Bird
from flockcare.feet import services
from flockcare.feet.due import NEWEST_CHECK, birds_for_today
from flockcare.feet.forms import CheckForm
from flockcare.feet.models import Check, Foot, in_few_words
from flockcare.feet.scales import SCALES
from flockcare.feet.views_round import to_next_bird
from flockcare.people import keys
from flockcare.people.access import flock_view
from flockcare.people.models import Role
from flockcare.photos.services import add_photos


@require_safe
@flock_view(read=Role.KEEPER)
def pick(request, flock):
    """Choose the bird to check: those due first."""
    birds = birds_for_today(flock, now=timezone.now())
    return render(request, "feet/pick.html", {"here": "today", "birds": birds})


@require_http_methods(["GET", "POST"])
@flock_view(read=Role.KEEPER)
def new(request, flock, bird_id):
    bird = get_object_or_404(
        Bird.objects.select_related("breed").annotate(last_check=NEWEST_CHECK),
        flock=flock,
        pk=bird_id,
    )
    now = timezone.now()
    form = CheckForm(request.POST or None, flock=flock, bird=bird, now=now)
    in_round = "round" in request.GET
    photo_errors = []
    if request.method == "POST":
        photo_errors = _take_in_photos(request, form, now=now)
        if form.is_valid() and not photo_errors:
            seen = form.seen()
            try:
                check, _ = services.save_check(
                    flock=flock,
                    bird=bird,
                    keeper=request.user,
                    check_id=form.cleaned_data["check_id"],
                    at=form.cleaned_data["at"],
                    seen=seen,
                    now=now,
                )
            except keys.KeyTaken as taken:
                form.add_error(None, keys.refusal(taken, _address))
            except ValidationError as error:
                form.add_error(None, error)
            else:
                return _after_saving(request, check, seen.findings, in_round=in_round)
    return _form_page(request, flock, bird, form, photo_errors, in_round=in_round)


def _address(check: Check) -> str:
    return reverse("feet:check", args=[check.flock_id, check.pk])


def _take_in_photos(request, form, *, now) -> list[str]:
    """Keep the pictures before anything else can refuse the form; why some could not be kept."""
    refusals = []
    for foot in ("", *Foot.values):
        kept, refused = add_photos(
            flock=form.flock,
            keeper=request.user,
            uploads=request.FILES.getlist(f"{foot or 'bird'}-photos"),
            of_bird=form.bird,
            now=now,
        )
        for photo in kept:
            form.keep_photo(foot, photo)
        refusals += refused
    return refusals


def _form_page(request, flock, bird, form, photo_errors, *, in_round: bool):
    wrong = bool(photo_errors) or (form.is_bound and not form.is_valid())
    return render(
        request,
        "feet/check_form.html",
        {
            "here": "today",
            "bird": bird,
            "form": form,
            "photo_errors": photo_errors,
            "last": bird.last_check if form.check is None else None,
            "round": services.open_round(flock) if in_round else None,
            "scales": SCALES,
        },
        status=422 if wrong else 200,
    )


def _after_saving(request, check, findings, *, in_round: bool):
    flock = check.flock
    messages.success(
        request,
        format_html(
            '<span data-saved="{}">Saved: {}, {}.</span> <a href="{}">Look or mend</a>{}',
            check.pk,
            check.bird,
            in_few_words(findings),
            reverse("feet:check", args=[flock.pk, check.pk]),
            _to_her_care(check, findings),
        ),
    )
    if in_round:
        return to_next_bird(request, flock, services.open_round(flock))
    return redirect("feet:today", flock.pk)


def _to_her_care(check, findings) -> str:
    """The way on for a bird with a sore foot: what was done about it, and what to do."""
    sore = [finding.foot for finding in findings if finding.affected]
    if not sore:
        return ""
    step = reverse("care:step_new", args=[check.flock_id, check.bird_id])
    advice = reverse("care:bird", args=[check.flock_id, check.bird_id])
    return format_html(
        ' · <a href="{}?foot={}">Log care</a> · <a href="{}">What to do</a>', step, sore[0], advice
    )


@require_safe
@flock_view()
def show(request, flock, check_id):
    check = get_object_or_404(
        Check.objects.select_related("bird", "keeper").prefetch_related("findings", "photos"),
        flock=flock,
        pk=check_id,
    )
    return render(request, "feet/check.html", {"here": "birds", "check": check})


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
        photo_errors = _take_in_photos(request, form, now=now)
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
                messages.success(
                    request,
                    format_html(
                        '<span data-saved="{}">Changed: {}, {}.</span>',
                        check.pk,
                        check.bird,
                        check.summary(),
                    ),
                )
                return redirect("feet:check", flock.pk, check.pk)
    return _form_page(request, flock, check.bird, form, photo_errors, in_round=False)


@require_POST
@flock_view()
def delete(request, flock, check_id):
    check = get_object_or_404(Check.objects.select_related("bird"), flock=flock, pk=check_id)
    bird, photos = check.bird, check.photos.exists()
    services.delete_check(check=check, keeper=request.user)
    kept = " Its photos are still there." if photos else ""
    messages.success(request, f"The check of {bird} is taken back.{kept}")
    return redirect("feet:bird", flock.pk, bird.pk)


@require_safe
@flock_view()
def about_scales(request, flock):
    return render(request, "feet/about_scales.html", {"here": "more", "scales": SCALES})
