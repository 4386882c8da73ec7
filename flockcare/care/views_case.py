"""One stretch of trouble, the birds that have it again and again, and why a scab is left."""

from collections import defaultdict
from datetime import datetime, time, timedelta

from django.db.models import F, Q
from django.http import Http404
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from flockcare.birds.models import Bird
from flockcare.care.case_story import events, past_like, repeated_trouble
from flockcare.care.forms import posted
from flockcare.care.models import CareStep
from flockcare.care.opening import CAUTIONS, OpeningAnswer, OpeningForm, answer_for
from flockcare.care.recorded import Records, bird_is_for_vet, records_of
from flockcare.care.rows import Row
from flockcare.care.rules import LIMITS, Advice
from flockcare.care.situation import advise_cases, standing
from flockcare.feet.cases import Case, cases_of_flock
from flockcare.feet.models import Check
from flockcare.people.access import flock_view
from flockcare.people.models import Role
from flockcare.photos.models import Foot, Photo
from flockcare.photos.views_series import bird_and_foot_or_404


@require_safe
@flock_view()
def case(request, flock, bird_id, foot, check_id):
    """``check_id``: the first sore look. Any other check of the case leads to the same page."""
    bird = bird_and_foot_or_404(flock, bird_id, foot)
    all_cases = cases_of_flock(flock)
    hers = [one for one in all_cases if one.bird_id == bird.pk]
    now = timezone.now()
    found = next((c for c in hers if c.foot == foot and c.first.check_id == check_id), None)
    if found is None:
        return _to_its_case(flock, bird, foot, check_id, hers)
    since = _start(found, flock)
    steps = (
        CareStep.objects.filter(Q(foot=foot) | Q(foot=""), bird=bird, at__gte=since)
        .select_related("keeper")
        .order_by("at")
    )
    photos = Photo.objects.filter(bird=bird, foot=foot, taken__gte=since)
    photos = photos.annotate(of_check=F("checks"))
    others = [one for one in all_cases if one.bird_id != bird.pk]
    hers_now = standing(bird, now=now) if found.current and not bird.left else None
    return render(
        request,
        "care/case.html",
        {
            "here": "birds",
            "bird": bird,
            "foot": foot,
            "foot_words": Foot(foot).label,
            "case": found,
            "row": hers_now and Row(bird, hers_now),
            "advised": [one for one in advise_cases(bird, hers_now) if one.foot == foot],
            "for_vet": bird_is_for_vet(hers_now),
            "limits": LIMITS,
            "events": events(
                found,
                looks=_looks_at(bird, foot, since=since),
                steps=steps,
                photos=photos,
                zone=flock.zone,
            ),
            "repeated": repeated_trouble(bird, hers),
            "past_hers": past_like(found, hers),
            "past_others": past_like(found, others),
        },
    )


def _start(case: Case, flock) -> datetime:
    day = case.episode.last_clear_before or case.episode.first_affected
    return datetime.combine(day, time(), flock.zone)


def _looks_at(bird, foot: str, *, since: datetime) -> list[tuple]:
    """The checks of this foot since then with what they found, the newest first; two queries."""
    checks = Check.objects.filter(bird=bird, at__gte=since).newest_first()
    return [
        (check, finding)
        for check in checks.select_related("keeper").prefetch_related("findings")
        for finding in check.findings.all()
        if finding.foot == foot
    ]


def _to_its_case(flock, bird, foot, check_id, hers):
    first = min((c.episode.first_affected for c in hers), default=timezone.localdate())
    since = datetime.combine(first, time(), flock.zone) - timedelta(1)
    for check, _ in _looks_at(bird, foot, since=since):
        if check.pk == check_id:
            on = timezone.localdate(check.at)
            for one in hers:
                episode = one.episode
                if one.foot == foot and episode.first_affected <= on <= episode.last_affected:
                    return redirect("care:case", flock.pk, bird.pk, foot, one.first.check_id)
    raise Http404("No sore of this foot began with that check.")


@require_safe
@flock_view()
def repeats(request, flock):
    """Birds with more than one case, most cases first."""
    hers = defaultdict(list)
    for one in cases_of_flock(flock):
        hers[one.bird_id].append(one)
    birds = Bird.objects.filter(flock=flock).in_bulk(list(hers))
    lines = [repeated_trouble(birds[pk], cases) for pk, cases in hers.items()]
    lines = sorted(
        filter(None, lines), key=lambda line: (bool(line.bird.left), -line.total, line.since)
    )
    return render(request, "care/repeats.html", {"here": "birds", "lines": lines})


def _level(records: Records, answer: OpeningAnswer | None) -> Advice:
    """What one is not sure of is asked of a vet."""
    if answer is None:
        return records.advice
    unsure = Advice.ASK if answer.unsure or answer.odd_droppings else Advice.LOOK
    said = max((rule.advice for rule in answer.said), default=Advice.LOOK)
    return max(records.advice, unsure, said)


@require_http_methods(["GET", "POST"])
@flock_view(Role.KEEPER, read=Role.KEEPER)
def opening(request, flock, bird_id, foot):
    """Why a scab is left, and what is asked first of who would rather not leave it.

    Where the records call for a vet, nothing is asked: only a new check takes that back.
    """
    bird = bird_and_foot_or_404(flock, bird_id, foot)
    now = timezone.now()
    records = records_of(bird, foot, now=now)
    form = OpeningForm(posted(request))
    answered = form.is_bound and form.is_valid()
    answer = answer_for(form.cleaned_data, records) if answered else None
    return render(
        request,
        "care/opening.html",
        {
            "here": "birds",
            "bird": bird,
            "foot": foot,
            "foot_words": Foot(foot).label,
            "form": form,
            "answer": answer,
            "recorded": answer.recorded if answer else records.signs,
            "for_vet": answer.vet if answer else records.for_vet,
            "level": _level(records, answer),
            "under_plan": records.for_vet and not _level(records, answer).is_for_vet,
            "ring_first": any(one.rule.key == "purple comb" for one in records.signs),
            "cautions": CAUTIONS,
            "limits": LIMITS,
        },
        status=422 if form.errors else 200,
    )
