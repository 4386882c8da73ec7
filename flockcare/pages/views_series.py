"""The photos of one foot in order, below how that foot stands."""

from datetime import date, timedelta

from django.db.models import Q
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from flockcare.care.models import CareStep, StepKind
from flockcare.care.rows import Row
from flockcare.care.situation import standing
from flockcare.care.standing.answer import Standing
from flockcare.care.standing.course import AREA
from flockcare.feet.models import FootFinding
from flockcare.feet.scales import LESION
from flockcare.people.access import flock_view
from flockcare.photos.views_series import bird_and_foot_or_404, series_of

DISCS = "○◐●"


@require_safe
@flock_view()
def series(request, flock, bird_id, foot):
    bird = bird_and_foot_or_404(flock, bird_id, foot)
    scores, care = _scores(flock, bird_id, foot), _care(flock, bird_id, foot)
    hers = standing(bird, now=timezone.now())
    told = _told(hers, foot) if hers else ()
    context = series_of(request, bird, foot, scores=scores, care=care, told=told)
    context["row"] = hers and Row(bird, hers)
    return render(request, "pages/series.html", context)


def _told(hers: Standing, foot: str) -> list[date]:
    """The days of the two areas that say whether it gets better, where areas do."""
    trend = hers.feet[foot].trend
    sizes = [trend.against, trend.last] if trend.unit == AREA else []
    return [hers.today - timedelta(size.days_ago) for size in sizes]


def _scores(flock, bird_id, foot) -> dict:
    """By photo, the score at the check that it belongs to, ``◐ mild``: as a shape and as text."""
    found = FootFinding.objects.filter(
        check_record__flock=flock,
        check_record__bird_id=bird_id,
        check_record__photos__isnull=False,
        foot=foot,
    )
    return {
        photo: f"{DISCS[score]} {LESION.step(score).short.lower()}"
        for photo, score in found.values_list("check_record__photos", "score")
    }


def _care(flock, bird_id, foot) -> list:
    """What was done to this foot, or to the bird, with its day; oldest first."""
    steps = CareStep.objects.filter(Q(foot=foot) | Q(foot=""), flock=flock, bird_id=bird_id)
    return [
        (timezone.localdate(at), StepKind(kind).label)
        for at, kind in steps.order_by("at").values_list("at", "kind")
    ]
