"""The form for a check of a bird, and the way on from it: to her care, or to the next bird."""

from datetime import datetime, time

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import get_object_or_404, redirect
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html
from django.views.decorators.http import require_http_methods

from flockcare.birds.models import Bird
from flockcare.care.situation import mark_of, standing_alone
from flockcare.care.standing.answer import NEVER, Standing
from flockcare.care.standing_words import course_words, level_words, reason_words, state_of_foot
from flockcare.feet import services
from flockcare.feet.due import NEWEST_SCORES, is_sore
from flockcare.feet.forms import CheckForm
from flockcare.feet.known import Known, known_of
from flockcare.feet.models import Check, in_few_words
from flockcare.feet.views_check import form_page, take_in_photos
from flockcare.feet.views_round import to_next_bird
from flockcare.housing.models import Dampness
from flockcare.pages.wetness import house_to_ask
from flockcare.people import keys
from flockcare.people.access import flock_view
from flockcare.people.fresh import kept
from flockcare.people.models import Role
from flockcare.photos.models import Foot
from flockcare.photos.shots import shots
from flockcare.photos.views import tell_elsewhere

_SCORED = Bird.objects.annotate(**NEWEST_SCORES)


@require_http_methods(["GET", "POST"])
@flock_view(read=Role.KEEPER)
def new(request, flock, bird_id):
    now = timezone.now()
    shown = None
    if request.method == "POST":
        bird = get_object_or_404(_SCORED, flock=flock, pk=bird_id)
    else:
        shown = _known(flock, bird_id, now)
        bird = shown[0]
    bird.flock = flock
    open_feet = [foot for foot in Foot.values if is_sore(getattr(bird, f"{foot}_score", None))]
    form = CheckForm(request.POST or None, flock=flock, bird=bird, now=now, open_feet=open_feet)
    in_round = "round" in request.GET
    photo_errors = []
    if request.method == "POST":
        photo_errors = take_in_photos(request, form, now=now)
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
                tell_elsewhere(request, check, form.elsewhere, lost=form.lost_photos)
                photos = seen.all_photos()
                return _after_saving(request, check, seen.findings, photos, in_round=in_round)
    _, known, known_words, faces = shown or _known(flock, bird_id, now, bird)
    return form_page(
        *(request, flock, bird, form, photo_errors),
        in_round=in_round,
        known=known,
        known_words=known_words,
        faces=faces,
        above=_question(request, bird) if in_round else "",
    )


def _question(request, bird: Bird) -> str:
    """Of her house, where there is one to ask."""
    house = house_to_ask(request, bird, timezone.localdate())
    if house is None:
        return ""
    context = {"bird": bird, "levels": Dampness.choices, "words": f"Underfoot in {house} today"}
    return render_to_string("pages/wetness.html", context, request)


def _known(
    flock, bird_id, now: datetime, bird: Bird | None = None
) -> tuple[Bird, Known, str, dict]:
    """The bird, what is known of her feet, the same as it is shown, and her face.

    ``bird``: where she was read already, and may have been removed since.

    Kept until a record or the day is another one, as how she stands is.
    To the end of the day: a phone whose clock is a little ahead has checked her already.
    """
    midnight = datetime.combine(timezone.localdate(now), time.max, flock.zone)
    mark = mark_of(flock, now=now)

    def work_out() -> tuple[Bird, Known, str, dict]:
        hers = bird or get_object_or_404(Bird, flock=flock, pk=bird_id)
        hers.flock = flock
        found = standing_alone(hers, now=now, mark=mark)
        known = _told(known_of(hers, now=midnight), found.birds.get(hers.pk))
        words = render_to_string("feet/known.html", {"known": known, "flock": flock})
        return hers, known, words, found.faces

    return kept(f"known:{flock.pk}:{bird_id}", mark, work_out)


def _told(known: Known, hers: Standing | None) -> Known:
    """How her feet are, as all pages say it; of a bird that left, what was seen last."""
    if hers is None:
        last = {foot.foot: foot.finding for foot in known.feet}
        scores = {foot: seen and seen.get_score_display().lower() for foot, seen in last.items()}
        return known.told({foot: (said or NEVER, "") for foot, said in scores.items()})
    return known.told(
        {
            name: (
                state_of_foot(foot, hers.today, brief=True),
                course_words(foot.trend, hers.today) if foot.is_case else "",
            )
            for name, foot in hers.feet.items()
        }
    )


def _address(check: Check) -> str:
    return reverse("feet:check", args=[check.flock_id, check.pk])


def _after_saving(request, check, findings, photos, *, in_round: bool):
    flock = check.flock
    messages.success(
        request,
        format_html(
            'Saved: {}, {}.{}{} <a href="{}">View or edit</a>{}{}',
            check.bird,
            ", ".join(filter(None, (check.signs_words, in_few_words(findings)))),
            _left_out(findings),
            _for_a_vet(check, findings),
            reverse("feet:check", args=[flock.pk, check.pk]),
            _to_her_care(check, findings),
            _to_measuring(check) if photos else "",
        ),
    )
    if in_round:
        return to_next_bird(request, flock, services.open_round(flock))
    return redirect("today", flock.pk)


def _for_a_vet(check, findings) -> str:
    """The advice, where it is to ring a vet: nobody has to open another page to hear of it.

    Where nothing was seen there is nothing to work out, and most checks are so.
    """
    if not check.signs_words and not any(one.affected or one.seen_on_it for one in findings):
        return ""
    bird = check.bird
    hers = standing_alone(bird, now=timezone.now()).birds.get(bird.pk)
    if not hers or not hers.advice.is_for_vet:
        return ""
    words = f"{level_words(hers)}: {reason_words(hers)}."
    return format_html(" <strong>{}</strong> {}", words, hers.advice.means)


def _left_out(findings) -> str:
    seen = {finding.foot for finding in findings}
    missing = [foot.label for foot in Foot if foot not in seen]
    return f" {missing[0].capitalize()} not checked." if missing else ""


def _to_measuring(check) -> str:
    """A photo whose card gives a scale can be measured while the bird is in mind; one whose card
    is another bird's may show that the check is, too.
    """
    for shot in shots(check.photos.all()):
        if shot.doubt:
            url = reverse("move_check", args=[check.flock_id, check.pk])
            return format_html(' {} <a href="{}">Wrong bird?</a>', shot.doubt, url)
        if shot.to_measure:
            url = reverse("photos:measure", args=[check.flock_id, shot.photo.pk])
            return format_html(' · <a href="{}">Measure now</a>', url)
    return ""


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
