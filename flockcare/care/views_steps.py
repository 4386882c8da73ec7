"""Logging, showing, correcting, repeating and deleting care given."""

from datetime import date, timedelta

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html
from django.views.decorators.http import require_http_methods, require_POST

from flockcare.birds.models import Bird
from flockcare.care import services
from flockcare.care.forms import UNDECIDED, DropForm, StepForm, posted
from flockcare.care.holds import Hold
from flockcare.care.medicines import WHOSE_EGGS, warnings_about
from flockcare.care.models import (
    DRESSED,
    WITHHOLDING,
    Bleeding,
    CarePlan,
    CareStep,
    KitItem,
    StepKind,
    VetContact,
)
from flockcare.care.parts import Given, done_with
from flockcare.care.plans import until_words
from flockcare.care.recorded import bird_is_for_vet
from flockcare.care.situation import standing
from flockcare.care.views_today import back_or_piece
from flockcare.core.forms import record_keys, saved
from flockcare.drawing.dates import short_words
from flockcare.feet.due import NEWEST_SCORES, is_sore
from flockcare.people import keys
from flockcare.people.access import flock_view
from flockcare.people.models import Role
from flockcare.photos.models import Foot
from flockcare.photos.services import Sent, add_photos, sent_before
from flockcare.photos.shots import shots
from flockcare.photos.views import tell_elsewhere

form_page = flock_view(Role.KEEPER, read=Role.KEEPER)


def _step_or_404(flock, step_id) -> CareStep:
    steps = CareStep.objects.select_related("bird", "keeper", "item", "flock")
    return get_object_or_404(steps, flock=flock, pk=step_id)


@require_http_methods(["GET", "POST"])
@form_page
def new(request, flock, bird_id):
    """``?foot=`` and ``?kind=`` choose ahead; without a foot, the one that is sore."""
    bird = get_object_or_404(with_scores(), flock=flock, pk=bird_id)
    bird.flock = flock
    now = timezone.now()
    asked = {
        "foot": foot_asked_for(request, bird),
        "kind": [kind for kind in request.GET.getlist("kind") if kind in StepKind.values],
        "at": now,
    }
    if asked["kind"] == [StepKind.VET]:
        asked["contact"] = VetContact.objects.filter(flock=flock).usual()
    data, photos, refused = posted(request), Sent(), []
    form = StepForm(
        data, request.FILES or None, flock=flock, bird=bird, keeper=request.user, initial=asked
    )
    if request.method == "POST":
        photos, refused = _take_in_photos(request, form, now=now)
        if _can_be_kept(form, refused, now=now) and _logged(
            form, steps := form.steps(), photos.own, by=request.user, now=now
        ):
            tell(request, "Saved", *steps)
            _tell_elsewhere(request, steps[0], photos)
            return redirect("care:bird", flock.pk, bird.pk)
    return _form_page(request, bird, form, sent=photos, photo_errors=refused)


def _logged(form, steps: list[CareStep], photos, *, by, now) -> bool:
    try:
        return saved(form, services.log_care, steps=steps, photos=photos, by=by, now=now)
    except keys.KeyTaken as taken:
        form.add_error(None, keys.refusal(taken, _address))
        return False


def _address(step: CareStep) -> str:
    return reverse("care:step", args=[step.flock_id, step.pk])


def with_scores():
    return Bird.objects.annotate(**NEWEST_SCORES)


def foot_asked_for(request, bird) -> str:
    if "foot" in request.GET:
        return request.GET["foot"] if request.GET["foot"] in Foot.values else ""
    sore = [foot for foot in Foot.values if is_sore(getattr(bird, f"{foot}_score"))]
    if len(sore) > 1:
        return UNDECIDED
    return sore[0] if sore else ""


def _can_be_kept(form, refused: list[str], *, now) -> bool:
    """Whether neither a field nor a photo is refused; all that is wrong is said at once."""
    if not form.is_valid():
        return False
    if refused:
        saved(form, services.check_step, step=form.step(), now=now)
    return not refused


@require_http_methods(["GET", "POST"])
@form_page
def show(request, flock, step_id):
    step = _step_or_404(flock, step_id)
    _, *others = [step] if step.given_to else done_with(step)
    now = timezone.now()
    data, kept, refused = posted(request), Sent(), []
    form = StepForm(
        data, request.FILES or None, flock=flock, bird=step.bird, keeper=request.user, step=step
    )
    if request.method == "POST":
        kept, refused = _take_in_photos(request, form, now=now)
        if basis := form.basis:
            basis.carry = [("kept", str(photo.pk)) for photo in kept.own]
        if _can_be_kept(form, refused, now=now) and saved(
            form,
            services.change_step,
            step=(changed := form.step()),
            photos=kept.own,
            by=request.user,
            basis=basis,
            now=now,
        ):
            tell(request, "Saved", changed)
            _tell_elsewhere(request, changed, kept)
            return redirect("care:bird", flock.pk, step.bird_id)
    return _form_page(
        request,
        step.bird,
        form,
        step=step,
        shots=shots(step.photos.filter(of_house=False)),
        papers=step.photos.filter(of_house=True),
        others=others,
        sent=kept,
        photo_errors=refused,
    )


def _form_page(request, bird, form, *, sent: Sent, photo_errors, **more):
    wrong = bool(photo_errors) or (form.is_bound and bool(form.errors))
    hers = standing(bird, now=timezone.now())
    context = {
        "here": "today",
        "bird": bird,
        "form": form,
        "kit_names": sorted(item.name for item in form.kit.values()),
        "for_vet": bird_is_for_vet(hers),
        "level": hers.advice if hers else None,
        "photo_errors": photo_errors,
        # One of another bird goes along until the record is saved, which then names it.
        "kept_photos": [*sent.own, *sent.elsewhere],
        **more,
    }
    return render(request, "care/step_form.html", context, status=422 if wrong else 200)


def _take_in_photos(request, form, *, now) -> tuple[Sent, list[str]]:
    """Keep the pictures before anything else can refuse the form, and why some were not kept.

    Those sent with an earlier, refused form come along by their keys.
    """
    bird, keys = form.bird, record_keys(request.POST.getlist("kept"))
    sent = sent_before(flock=form.flock, bird=bird, keys=keys)
    kept, refusals = add_photos(
        flock=form.flock, keeper=request.user, uploads=request.FILES.getlist("photos"), now=now
    )
    for photo in kept:
        sent.add(photo, bird=bird)
    return sent, refusals


def _tell_elsewhere(request, step: CareStep, sent: Sent) -> None:
    tell_elsewhere(request, step, [(step.foot, one) for one in sent.elsewhere], lost=sent.lost)


def tell(request, said: str, *steps: CareStep) -> None:
    first = steps[0]
    due = min((step.next_due for step in steps if step.next_due), default=None)
    due = f" Due again on {due:%A}, {due.day} {due:%B}." if due else ""
    if any(step.kind in DRESSED for step in steps):
        due = f"{due} A dressing is checked within a day."
    messages.success(
        request,
        format_html(
            '{}: {}, {}.{} <a href="{}">Correct or delete</a>',
            said,
            first.bird,
            Given(steps).words,
            due,
            _address(first),
        ),
    )
    for step in steps:
        _warn(request, step)
        if plan := CarePlan.objects.filter(pk=services.course_key(step), stopped_on=None).first():
            words = 'It is due each day from {} on, {}. <a href="{}">Change or stop it</a>'
            first = short_words(_next_day(plan, step), step.on)
            until = until_words(plan, step.on)
            address = reverse("care:plan", args=[step.flock_id, plan.pk])
            messages.info(request, format_html(words, first, until, address))
    tell_none_left(request, *steps)


def _next_day(plan: CarePlan, step: CareStep) -> date:
    """Of what was given on the first day the next is due a day later."""
    return max(plan.since, step.on + timedelta(1))


def tell_none_left(request, *steps: CareStep) -> None:
    """Of what these used; the stock as it is now."""
    items = KitItem.objects.filter(pk__in=[step.item_id for step in steps if step.amount])
    for item in items.filter(stock__lte=0):
        messages.warning(request, f"{item}: none left in the kit, by the count.")


def _warn(request, step: CareStep) -> None:
    if step.withholds:
        hold = Hold(step.bird, timezone.localdate())
        hold.add(step, step.flock.zone)
        if hold.active:
            messages.warning(request, f"{step.bird}: {hold.words}. {WHOSE_EGGS}")
    if step.kind in (*WITHHOLDING, StepKind.VET):
        for warning in warnings_about(step.product):
            messages.warning(request, warning)
    if step.bleeding == Bleeding.MUCH:
        words = (
            "Press clean gauze on it for 5 to 10 minutes without lifting. If it does not stop, "
            "call a vet now"
        )
        vet = VetContact.objects.filter(flock=step.flock_id).usual()
        number = vet and format_html(': <a href="tel:{}">{}, {}</a>', vet.tel, vet, vet.telephone)
        messages.warning(request, format_html("{}{}.", words, number or ""))


@require_POST
@flock_view()
def undo(request, flock, step_id):
    """``whole``: with all that was done in one go with it."""
    step = _step_or_404(flock, step_id)
    whole = "whole" in request.POST
    given = Given(tuple(done_with(step)) if whole else (step,))
    services.undo_care(steps=given.steps, by=request.user)
    # Beside what was just ticked it takes all of it back; on its own page it deletes it.
    said = f"Undone: {given.whom}" if whole else f"Deleted: {step.bird}"
    messages.success(request, f"{said}, {given.words}.")
    return back_or_piece(request, flock, step.bird_id)


@require_POST
@flock_view()
def done(request, flock, step_id):
    """Do what is due after this step with one tap; ``kind`` for another step of its line."""
    step, saved_now = _step_or_404(flock, step_id), []
    try:
        again = services.repeat_step(
            step=step, by=request.user, kind=request.POST.get("kind", ""), now=timezone.now()
        )
    except ValidationError as error:
        messages.warning(request, f"{step.bird}: {' '.join(error.messages)}")
    else:
        if not request.htmx:
            tell(request, "Saved", again)
        tell_none_left(request, again)
        saved_now = [again]
    return back_or_piece(request, flock, step.bird_id, saved_now)


@require_POST
@flock_view()
def claim(request, flock, step_id):
    """``do``: claim, take (over from another) or release."""
    step = _step_or_404(flock, step_id)
    actions = {"claim": services.claim, "take": services.take_over, "release": services.release}
    try:
        actions.get(request.POST.get("do"), services.claim)(step=step, by=request.user)
    except ValidationError as error:
        messages.warning(request, f"{step.bird}: {' '.join(error.messages)}")
    return back_or_piece(request, flock, step.bird_id)


@require_http_methods(["GET", "POST"])
@form_page
def drop(request, flock, step_id):
    step = _step_or_404(flock, step_id)
    form = DropForm(posted(request), step=step)
    if request.method == "POST" and form.is_valid():
        because = form.cleaned_data["because"]
        given = {"step": step, "because": because, "by": request.user}
        if step.given_to:
            stopped = saved(form, services.stop_course, **given)
        else:
            stopped = saved(form, services.drop, **given, basis=form.basis)
        if stopped:
            messages.success(request, f"Not done: {step.given_to or step.bird}, {because}")
            return redirect("today", flock.pk)
    return render(
        request,
        "care/drop.html",
        {"here": "today", "step": step, "form": form},
        status=422 if form.errors else 200,
    )
