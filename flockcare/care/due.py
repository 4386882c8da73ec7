"""What is due next on each foot: computed from the steps, never stored.

Steps of one line answer each other: a dressing that was changed is a dressing that was looked at.
The newest step of a line on a foot says what is due; a later step of that line does away with it.
A vet who saw the foot has seen to its dressing.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Exists, OuterRef, Q, Subquery
from django.utils import timezone

from flockcare.care.models import DRESSED, CareStep, StepKind
from flockcare.feet.due import Deadline
from flockcare.feet.models import FootFinding

LOOK, DRESSING, PLAN = "look", "dressing", "plan"
AS_THE_VET_SAID = ", as the vet said"
LINES = {
    StepKind.WATCHED: LOOK,
    StepKind.LIFTED: LOOK,
    StepKind.DRESSING_ON: DRESSING,
    StepKind.DRESSING_SEEN: DRESSING,
    StepKind.DRESSING_CHANGED: DRESSING,
    StepKind.DRESSING_OFF: DRESSING,
}
# A wrap that clings to itself tightens with time (common practice, no published source), and out
# of doors a bandage gets wet and dirty and needs changing daily (Konicek, Gumpenberger and
# Schramel 2024, Animals 14(17):2581).
DRESSING_DAYS = 1
# Common practice, no published source; a keeper may change each. What a vet orders is not guessed.
SUGGESTED_DAYS = {
    StepKind.SOAKED: 1,
    StepKind.RINSED: 1,
    StepKind.LIFTED: 1,
    StepKind.OINTMENT: 1,
    **dict.fromkeys(DRESSED, DRESSING_DAYS),
}
# What is logged when a step is done once more; a step not named here is followed by itself.
FOLLOWED_BY = {
    StepKind.DRESSING_ON: StepKind.DRESSING_SEEN,
    StepKind.LIFTED: StepKind.WATCHED,
}
# What is later than this is not done any more, whether it was forgotten or brought in from an old
# book; a dressing of which nobody said that it came off is asked about for longer. Our choice, no
# published source.
FADES, DRESSING_FADES = timedelta(28), timedelta(84)
WHAT_IS_DUE = {
    LOOK: "check the foot",
    DRESSING: "check the dressing",
    StepKind.SOAKED: "soak",
    StepKind.RINSED: "rinse",
    StepKind.OINTMENT: "ointment",
    StepKind.VET: "next visit to the vet",
    StepKind.MEDICINE: "medicine",
    StepKind.VACCINE: "vaccination",
}


def line_of(kind: str) -> str:
    return LINES.get(kind, kind)


def kinds_of_line(kind: str) -> list[str]:
    return [other for other in StepKind.values if line_of(other) == line_of(kind)]


def followed_by(kind: str) -> StepKind | None:
    """What doing it again is logged as; None where there is nothing to do again."""
    if kind == StepKind.DRESSING_OFF:
        return None
    return StepKind(FOLLOWED_BY.get(kind, kind))


def suggested_due(kind: str, on: date, flock, look_again_days: int | None = None) -> date | None:
    """When the step is commonly due again after ``on``; None where nobody but a vet can say.

    A watched foot: after the flock's days for sore feet, or those that the advice names if sooner.
    """
    if kind == StepKind.WATCHED:
        return on + timedelta(min(filter(None, (look_again_days, flock.recheck_days))))
    days = SUGGESTED_DAYS.get(kind)
    return on + timedelta(days) if days else None


def due_day(kind: str, at: datetime, next_due: date | None, zone) -> date | None:
    """The day on which this step asks for the next one.

    A dressing that is on asks within a day, whatever was written down.
    """
    if kind in DRESSED:
        within = at.astimezone(zone).date() + timedelta(DRESSING_DAYS)
        return min(next_due or within, within)
    return None if kind == StepKind.DRESSING_OFF else next_due


@dataclass(frozen=True)
class Due(Deadline):
    """What ``step`` asks for, and since when."""

    step: CareStep
    on: date
    today: date

    @property
    def what(self) -> str:
        vets = self.step.kind == StepKind.MEDICINE and self.step.is_vets
        return WHAT_IS_DUE[line_of(self.step.kind)] + (AS_THE_VET_SAID if vets else "")

    @property
    def is_visit(self) -> bool:
        return self.step.kind == StepKind.VET

    @property
    def is_dressing(self) -> bool:
        return line_of(self.step.kind) == DRESSING

    @property
    def is_look(self) -> bool:
        return line_of(self.step.kind) == LOOK


def open_dues(flock, *, now: datetime, before: datetime | None = None, **narrowed) -> list[Due]:
    """What is due of the birds that are here, the latest first; one query.

    Nothing is due of what is marked as past, or is long late. ``before``: as if later records
    were not there yet.
    ``narrowed``: more conditions on the steps, such as ``bird=dill``.
    """
    today = timezone.localdate(now, flock.zone)
    # The birds' flock too: PostgreSQL would go through the birds of all flocks to join them.
    of_flock = CareStep.objects.filter(flock=flock, bird__flock=flock, bird__left="")
    steps = (
        newest_of_lines(of_flock.filter(**narrowed), before)
        .filter(Q(next_due__isnull=False) | Q(kind__in=DRESSED), dropped_because="", past=False)
        .annotate(visited=_visited(before))
        .select_related("bird", "claimed_by", "keeper")
    )
    dues = []
    for step in steps:
        on = due_day(step.kind, step.at, step.next_due, flock.zone)
        if step.kind in DRESSED and step.visited:
            seen_to = step.visited.astimezone(flock.zone).date() + timedelta(DRESSING_DAYS)
            on = max(on, seen_to)
        seen = line_of(step.kind) == LOOK and step.seen_since
        if on and not seen and today - on <= _fades(step.kind):
            dues.append(Due(step, on, today))
    return sorted(dues, key=lambda due: (due.on, due.step.bird.name.lower(), due.step.foot))


def _visited(before: datetime | None) -> Subquery:
    """When a vet last saw this foot, or the bird, after the step; what was only asked is no visit.

    That a dressing was changed there, or looked at, is common practice, no published source.
    """
    visits = CareStep.objects.filter(
        Q(at__lt=before) if before else Q(),
        ~Q(found="", note="", plan=""),
        bird=OuterRef("bird"),
        kind=StepKind.VET,
        foot__in=("", OuterRef("foot")),
        at__gt=OuterRef("at"),
    )
    return Subquery(visits.order_by("-at").values("at")[:1])


def _fades(kind: str) -> timedelta:
    return DRESSING_FADES if line_of(kind) == DRESSING else FADES


def newest_of_lines(steps, before: datetime | None = None):
    """Only the newest step of each line on each foot, with ``seen_since``: looked at by a check.

    ``before``: as if later records were not there yet.
    """
    earlier = Q(at__lt=before) if before else Q()
    checked = Q(check_record__at__lt=before) if before else Q()
    steps = steps.filter(earlier)
    later = CareStep.objects.filter(earlier, bird=OuterRef("bird"), foot=OuterRef("foot")).filter(
        Q(at__gt=OuterRef("at"))
        | Q(at=OuterRef("at"), logged_at__gt=OuterRef("logged_at"))
        | Q(at=OuterRef("at"), logged_at=OuterRef("logged_at"), pk__gt=OuterRef("pk"))
    )
    superseded = Q()
    for line in {line_of(kind) for kind in StepKind}:
        kinds = [kind for kind in StepKind.values if line_of(kind) == line]
        superseded |= Q(kind__in=kinds) & Q(Exists(later.filter(kind__in=kinds)))
    looked_at = FootFinding.objects.filter(
        checked,
        check_record__bird=OuterRef("bird"),
        check_record__at__gt=OuterRef("at"),
        foot=OuterRef("foot"),
    )
    return steps.exclude(superseded).annotate(seen_since=Exists(looked_at))


def is_open(step: CareStep) -> bool:
    """Whether nothing of its line was logged after this step."""
    return newest_of_lines(CareStep.objects.filter(pk=step.pk)).exists()
