"""What the records say about one foot and its bird, as the rules of advice want it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from uuid import UUID

from django.utils import timezone

from flockcare.birds.models import Bird
from flockcare.care.rules import READING_ERROR_MM, Answer, Situation, Size, advise
from flockcare.feet.cases import Case
from flockcare.feet.models import Check, FootFinding
from flockcare.photos.models import Foot, Measurement, Precision

# How long a word about the whole bird stands while later checks say nothing about it.
SIGNS_STAND = timedelta(days=14)


@dataclass(frozen=True)
class Advised:
    """The advice for one foot, with the look that it rests on."""

    bird_id: UUID
    foot: str
    situation: Situation
    answer: Answer
    check: Check | None = None
    days_ago: int | None = None
    case: Case | None = None

    @property
    def foot_words(self) -> str:
        return Foot(self.foot).label


@dataclass
class _Looks:
    """The checks of one bird, the newest first."""

    checks: list[Check] = field(default_factory=list)

    def finding(self, foot: str) -> tuple[Check, FootFinding] | None:
        for check in self.checks:
            for found in check.findings.all():
                if found.foot == foot:
                    return check, found
        return None

    def sign(self, name: str):
        """The newest word about this sign that still stands."""
        newest = self.checks[0].at if self.checks else None
        for check in self.checks:
            if newest - check.at > SIGNS_STAND:
                return None
            value = getattr(check, name)
            if value not in ("", None):
                return value
        return None


def advise_cases(bird: Bird, cases: Iterable[Case], *, now: datetime) -> list[Advised]:
    """The advice for each of these cases of one bird; three queries for all of them."""
    cases = list(cases)
    if not cases:
        return []
    since = min(case.first.at for case in cases) - SIGNS_STAND
    checks = (
        Check.objects.filter(bird=bird, at__gte=since)
        .newest_first()
        .select_related("keeper")
        .prefetch_related("findings")
    )
    looks = _Looks(list(checks))
    areas = list(
        Measurement.objects.filter(
            photo__bird=bird,
            photo__taken__gte=since,
            photo__taken_precision__in=(Precision.MOMENT, Precision.DAY),
            photo__deleted_at=None,
        )
        .order_by("at")
        .values_list("photo_id", "photo__foot", "photo__taken", "area_mm2", "relative_area_error")
    )
    return [_advise(bird, case, looks, areas, now) for case in cases]


def _advise(bird, case: Case, looks: _Looks, areas, now) -> Advised:
    zone = bird.flock.zone
    today = timezone.localdate(now, zone)
    seen = looks.finding(case.foot)
    if seen is None:
        situation = Situation()
        return Advised(bird.pk, case.foot, situation, advise(situation), case=case)
    check, finding = seen
    other = looks.finding(Foot.RIGHT if case.foot == Foot.LEFT else Foot.LEFT)
    sizes = _sizes(case, looks, areas, today, zone)
    situation = situation_of(finding, other[1] if other else None, looks.sign, sizes)
    days_ago = (today - timezone.localdate(check.at, zone)).days
    return Advised(bird.pk, case.foot, situation, advise(situation), check, days_ago, case)


def situation_of(finding, other, sign, sizes=()) -> Situation:
    """From a finding, the finding of the other foot, and a function that gives a sign of the bird.

    A box that was not ticked on a sore foot says only that nobody ticked it; a clear foot is a
    foot without these signs.
    """
    clear = finding.score == 0
    unticked = False if clear else None
    swelling = finding.swelling or ("none" if clear else None)
    grade = finding.clinical_grade
    return Situation(
        score=finding.score,
        other_score=other.score if other else None,
        swelling=swelling,
        scab=finding.scab or ("none" if clear else None),
        hot=finding.hot or unticked,
        oozing=finding.oozing or unticked,
        cold_or_dark=finding.cold_or_dark or unticked,
        gait=sign("gait"),
        bright=_yes(sign("manner"), "bright"),
        eating=_yes(sign("eating"), "yes"),
        belly_swollen=_yes(sign("belly"), "swollen"),
        grade=grade,
        sizes=sizes,
    )


def _yes(value, wanted) -> bool | None:
    return None if value is None else value == wanted


def _sizes(case: Case, looks: _Looks, areas, today: date, zone) -> tuple[Size, ...]:
    """What was measured since the case began: outlines in photos, and widths of the scab."""
    # The newest outline of a photo counts, and the largest of the photos of one day.
    by_photo = {
        photo: (timezone.localdate(taken, zone), area, area * relative)
        for photo, foot, taken, area, relative in areas
        if foot == case.foot
    }
    outlines: dict[date, tuple[float, float]] = {}
    for on, *size in by_photo.values():
        outlines[on] = max(outlines.get(on, (0.0, 0.0)), tuple(size))
    widths = {
        timezone.localdate(check.at, zone): (float(found.scab_mm), READING_ERROR_MM)
        for check in reversed(looks.checks)
        for found in check.findings.all()
        if found.foot == case.foot and found.scab_mm
    }
    return tuple(
        Size(*size, unit, (today - on).days)
        for unit, measured in (("mm²", outlines), ("mm", widths))
        for on, size in measured.items()
        if on >= case.episode.first_affected
    )
