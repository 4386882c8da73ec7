"""What the records say about one foot and its bird, as the rules of advice want it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from django.db.models import Q
from django.utils import timezone

from flockcare.birds.models import Bird
from flockcare.care.due import DRESSING, LOOK, Due, line_of, suggested_due
from flockcare.care.models import CareStep, StepKind
from flockcare.care.rules import READING_ERROR_MM, Answer, Situation, Size, advise
from flockcare.feet.cases import Case
from flockcare.feet.due import Deadline, birds_for_today
from flockcare.feet.models import Check, FootFinding
from flockcare.photos.models import Foot, Measurement, Precision

# How long a word about the whole bird stands while later checks say nothing about it.
SIGNS_STAND = timedelta(days=14)
# How far back a sore foot is followed for the list of urgent birds.
FOLLOWED = timedelta(days=180)


@dataclass(frozen=True)
class Advised:
    """The advice for one foot, with the look that it rests on."""

    bird: Bird
    foot: str
    situation: Situation
    answer: Answer
    check: Check | None = None
    days_ago: int | None = None
    case: Case | None = None
    on: date | None = None

    @property
    def look_again_days(self) -> int | None:
        return self.answer.look_again_days

    @property
    def foot_words(self) -> str:
        return Foot(self.foot).label

    @property
    def urgent(self) -> bool:
        return self.answer.advice.is_for_vet


@dataclass(frozen=True)
class LookDue(Deadline):
    """The next look that the advice for a foot asks for."""

    advised: Advised
    on: date
    today: date


def looks_due(
    advised: Iterable[Advised], *, dues: Iterable[Due], steps: Iterable[CareStep], today: date, zone
) -> list[LookDue]:
    """The looks that the advice asks for, where no step of care asks for one already.

    ``dues``: what is open on these feet; ``steps``: the newest ones, for a foot that was dressed or
    watched has been looked at.
    """
    seen: dict[tuple, date] = {}
    for step in filter(_is_a_look, steps):
        key, on = (step.bird_id, step.foot), timezone.localdate(step.at, zone)
        seen[key] = max(on, seen.get(key, on))
    asked = {(due.step.bird_id, due.step.foot) for due in dues if _is_a_look(due.step)}
    found = []
    for one in advised:
        key = (one.bird.pk, one.foot)
        if one.look_again_days and key not in asked:
            last = max(one.on, seen.get(key, one.on))
            found.append(LookDue(one, last + timedelta(one.look_again_days), today))
    return sorted(found, key=lambda due: (due.on, due.advised.bird.name.lower()))


def _is_a_look(step: CareStep) -> bool:
    return line_of(step.kind) in (LOOK, DRESSING)


@dataclass
class Looks:
    """The checks of one bird, the newest first, and the outlines measured in her photos."""

    bird: Bird
    zone: object
    checks: list[Check] = field(default_factory=list)
    outlines: list[tuple] = field(default_factory=list)

    def findings(self, foot: str) -> list[tuple[Check, FootFinding]]:
        return [
            (check, found)
            for check in self.checks
            for found in check.findings.all()
            if found.foot == foot
        ]

    def sign(self, name: str):
        """The newest word about this sign that still stands."""
        for check in self.checks:
            if self.checks[0].at - check.at > SIGNS_STAND:
                return None
            value = getattr(check, name)
            if value not in ("", None):
                return value
        return None

    def begun(self, foot: str) -> date | None:
        """The first day of the stretch of sore looks that ends with the newest look."""
        begun = None
        for check, found in self.findings(foot):
            if not found.affected:
                break
            begun = timezone.localdate(check.at, self.zone)
        return begun

    def sizes(self, foot: str, since: date, today: date) -> tuple[Size, ...]:
        """What was measured since then: outlines in photos, and widths of the scab."""
        # The newest outline of a photo counts, and the largest of the photos of one day.
        by_photo = {
            photo: (timezone.localdate(taken, self.zone), area, area * relative)
            for photo, of, taken, area, relative in self.outlines
            if of == foot
        }
        outlines: dict[date, tuple[float, float]] = {}
        for on, *size in by_photo.values():
            outlines[on] = max(outlines.get(on, (0.0, 0.0)), tuple(size))
        widths = {
            timezone.localdate(check.at, self.zone): (float(found.scab_mm), READING_ERROR_MM)
            for check, found in reversed(self.findings(foot))
            if found.scab_mm
        }
        return tuple(
            Size(*size, unit, (today - on).days)
            for unit, measured in (("mm²", outlines), ("mm", widths))
            for on, size in measured.items()
            if on >= since
        )


def looks_of_bird(bird: Bird, *, since: datetime) -> Looks:
    """Three queries. The bird must come with her flock."""
    checks = Check.objects.filter(bird=bird, at__gte=since)
    outlines = _outlines(since).filter(photo__bird=bird)
    return Looks(
        bird,
        bird.flock.zone,
        list(_with_findings(checks)),
        [row for _, *row in outlines],
    )


def _with_findings(checks):
    return checks.newest_first().select_related("keeper").prefetch_related("findings")


def _outlines(since: datetime):
    return (
        Measurement.objects.filter(
            photo__taken__gte=since,
            photo__taken_precision__in=(Precision.MOMENT, Precision.DAY),
            photo__deleted_at=None,
        )
        .order_by("at")
        .values_list(
            *("photo__bird_id", "photo_id", "photo__foot", "photo__taken"),
            *("area_mm2", "relative_area_error"),
        )
    )


def advise_cases(bird: Bird, cases: Iterable[Case], *, now: datetime) -> list[Advised]:
    """The advice for each of these cases of one bird; three queries for all of them."""
    cases = list(cases)
    if not cases:
        return []
    looks = looks_of_bird(bird, since=min(case.first.at for case in cases) - SIGNS_STAND)
    return [advise_foot(looks, case.foot, now=now, case=case) for case in cases]


def usual_due(kind: str, on: date, *, bird: Bird, foot: str, flock, now: datetime) -> date | None:
    """``suggested_due`` with what the advice for this foot asks for; ``foot`` "": for either.

    Three queries for a foot that is left and watched. The bird must come with her flock.
    """
    if kind != StepKind.WATCHED:
        return suggested_due(kind, on, flock)
    looks = looks_of_bird(bird, since=now - FOLLOWED)
    feet = [advise_foot(looks, one, now=now) for one in ([foot] if foot else Foot.values)]
    asked = [one.look_again_days for one in feet if one.look_again_days]
    return suggested_due(kind, on, flock, min(asked, default=None))


def advise_foot(looks: Looks, foot: str, *, now: datetime, case: Case | None = None) -> Advised:
    findings = looks.findings(foot)
    if not findings:
        situation = situation_of(None, None, looks.sign)
        return Advised(looks.bird, foot, situation, advise(situation), case=case)
    check, finding = findings[0]
    other = looks.findings(Foot.RIGHT if foot == Foot.LEFT else Foot.LEFT)
    today = timezone.localdate(now, looks.zone)
    since = looks.begun(foot)
    sizes = looks.sizes(foot, since, today) if since else ()
    situation = situation_of(finding, other[0][1] if other else None, looks.sign, sizes)
    on = timezone.localdate(check.at, looks.zone)
    days_ago = (today - on).days
    return Advised(looks.bird, foot, situation, advise(situation), check, days_ago, case, on)


def situation_of(finding, other, sign, sizes=()) -> Situation:
    """From a finding, the finding of the other foot, and a function that gives a sign of the bird.

    What was left blank on an affected foot is not known; a clear foot is a foot without these
    signs.
    """
    signs = {
        "gait": sign("gait"),
        "bright": _yes(sign("manner"), "bright"),
        "eating": _yes(sign("eating"), "yes"),
        "belly_swollen": _yes(sign("belly"), "swollen"),
    }
    if finding is None:
        return Situation(**signs)
    clear = not finding.affected

    def told(name: str) -> bool | None:
        said = getattr(finding, name)
        return False if said is None and clear else said

    return Situation(
        score=finding.score,
        other_score=other.score if other else None,
        swelling=finding.swelling or ("none" if clear else None),
        scab=finding.scab or ("none" if clear else None),
        hot=told("hot"),
        oozing=told("oozing"),
        cold_or_dark=told("cold_or_dark"),
        grade=finding.clinical_grade,
        bone_or_joint=finding.bone_or_joint,
        sizes=tuple(sizes),
        **signs,
    )


def _yes(value, wanted) -> bool | None:
    return None if value is None else value == wanted


def birds_of_concern(flock, *, now: datetime) -> tuple[list[Advised], list[Advised]]:
    """The birds that are here and show a sign that calls for a vet, the most urgent first, then the
    newest look; and the feet of the other sore birds.

    Of an urgent bird one entry: that of her worse foot. Four queries.
    """
    sore = [entry.pk for entry in birds_for_today(flock, now=now) if entry.sore]
    unwell = Q(at__gte=now - SIGNS_STAND) & (
        Q(gait__gte=3) | Q(manner="dull") | Q(eating="no") | Q(belly="swollen")
    )
    # The birds' flock too: PostgreSQL would go through the birds of all flocks to join them.
    of_flock = Check.objects.filter(flock=flock, bird__flock=flock, bird__left="")
    hers = of_flock.filter(at__gte=now - FOLLOWED)
    wanted = Q(bird__in=sore) | Q(bird__in=hers.filter(unwell).values("bird"))
    by_bird: dict[object, Looks] = {}
    for check in _with_findings(hers.filter(wanted)).select_related("bird", "keeper"):
        by_bird.setdefault(check.bird_id, Looks(check.bird, flock.zone)).checks.append(check)
    outlines = defaultdict(list)
    for bird_id, *row in _outlines(now - FOLLOWED).filter(photo__bird__in=list(by_bird)):
        outlines[bird_id].append(row)
    urgent, others = [], []
    for bird_id, looks in by_bird.items():
        looks.outlines = outlines[bird_id]
        feet = [advise_foot(looks, foot, now=now) for foot in Foot]
        worse = max(feet, key=lambda one: (one.answer.advice, len(one.answer.because)))
        if worse.urgent:
            urgent.append(worse)
        else:
            others += feet
    return sorted(urgent, key=lambda advised: -advised.answer.advice), others
