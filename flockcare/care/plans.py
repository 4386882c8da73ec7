"""What plans of care ask for next, and whose turn it is: worked out from the records.

Whatever is logged of a plan's kinds for its bird and foot counts for it, by one tap, by the form or
late from a phone. A day is done when all of its parts were given on it; the next one is as many
days after that, and what moved it is told.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from uuid import UUID

from django.utils import timezone

from flockcare.care.due import AS_THE_VET_SAID, DRESSING, Due, line_of, open_dues
from flockcare.care.models import WHAT, CarePlan, CareStep, PutOff, StepKind
from flockcare.drawing.dates import short_words, up_to_words
from flockcare.feet.due import Deadline, is_long_late
from flockcare.people.models import Keeper

# A dressing that is put on is one that was changed, with none before it.
_COUNTS_AS = {StepKind.DRESSING_ON: StepKind.DRESSING_CHANGED}


@dataclass(frozen=True)
class Next:
    """The day that comes next. ``planned``: where it stood before it was skipped or moved;
    ``why``: what the app or a keeper changed in it, in words.
    """

    on: date
    planned: date
    why: str = ""


def next_of(plan: CarePlan, done: Iterable[date]) -> Next | None:
    """``done``: the days on which all of it was given, in order; None: it is over."""
    every, planned, shift = timedelta(plan.every_days), plan.since, ""
    for day in done:
        asked = plan.put_off_to if plan.put_off_from == planned else planned
        shift = _shift((day - asked).days) if plan.every_days > 1 else ""
        planned = day + every
    on, why = planned, shift
    if plan.put_off_from == planned:
        on = plan.put_off_to
        why = f"not on {_day(planned)}"
        if plan.put_off == PutOff.SKIPPED:
            why = f"{_day(planned)} skipped"
    if plan.until and on > plan.until:
        return None
    return Next(on, planned, f"moved to {on:%a}: {why}" if why else "")


def _shift(days: int) -> str:
    if not days:
        return ""
    number = "a day" if abs(days) == 1 else f"{abs(days)} days"
    return f"done {number} {'late' if days > 0 else 'early'}"


def _day(day: date) -> str:
    return f"{day:%a} {day.day} {day:%b}"


@dataclass
class Done:
    """What was given of a plan: by day the kinds, and who gave the last of them."""

    kinds: dict[date, set[str]] = field(default_factory=lambda: defaultdict(set))
    by: dict[date, tuple[UUID | None, str]] = field(default_factory=dict)

    def days(self, plan: CarePlan) -> list[date]:
        whole = set(plan.kinds)
        return sorted(day for day, kinds in self.kinds.items() if whole <= kinds)


@dataclass(frozen=True)
class PlanDue(Deadline):
    """``missing``: the parts that are not done today. ``who``: whose turn it is, if anyone's."""

    plan: CarePlan
    on: date
    today: date
    why: str = ""
    missing: tuple[dict, ...] = ()
    who: str = ""
    who_key: UUID | None = None
    planned: date | None = None
    last_done: date | None = None

    @property
    def what(self) -> str:
        """``soak, dressing``; while some of it is done today the rest alone."""
        return ", ".join(map(_what, self.missing or self.plan.parts)) + (
            AS_THE_VET_SAID if self.plan.is_vets else ""
        )


def _what(part: Mapping) -> str:
    medicine = part["kind"] == StepKind.MEDICINE and part["product"]
    return f"{WHAT[part['kind']]} ({part['product']})" if medicine else WHAT[part["kind"]]


def plan_dues(flock, *, now: datetime, before: datetime | None = None, **narrowed) -> list[PlanDue]:
    """What live plans ask for next, the earliest first; one query, or two or three where there are
    any. ``before``, ``narrowed``: as for ``open_dues``.
    """
    today = timezone.localdate(now, flock.zone)
    plans = list(
        CarePlan.objects.filter(flock=flock, **narrowed)
        .live(today, before)
        .select_related("bird", "keeper")
    )
    done = done_of(plans, flock.zone, before)
    names = _members(plans, flock)
    found = []
    for plan in plans:
        plan.flock = flock
        given = done[plan.pk]
        days = given.days(plan)
        coming = next_of(plan, days)
        # As single care that is long late: it was given up, or came in with old records.
        if coming and not is_long_late(coming.on, today):
            key, who = turn_of(plan.turns, [given.by[day] for day in days], names)
            rest = tuple(part for part in plan.parts if part["kind"] not in given.kinds[today])
            found.append(
                PlanDue(
                    plan,
                    coming.on,
                    today,
                    coming.why,
                    rest if coming.on <= today else (),
                    who,
                    key,
                    coming.planned,
                    days[-1] if days else None,
                )
            )
    return sorted(found, key=lambda due: (due.on, due.plan.bird.name.lower(), due.plan.foot))


def done_of(plans: Sequence[CarePlan], zone, before: datetime | None = None) -> dict:
    """By the key of each plan, what was given of it since its first day; one query."""
    found = {plan.pk: Done() for plan in plans}
    if not plans:
        return found
    first = datetime.combine(min(plan.since for plan in plans), datetime.min.time(), zone)
    steps = CareStep.objects.filter(
        bird__in={plan.bird_id for plan in plans}, kind__in=(*WHAT, *_COUNTS_AS), at__gte=first
    )
    if before:
        steps = steps.filter(at__lt=before)
    rows = steps.order_by("at", "logged_at").values_list(
        *("bird_id", "foot", "kind", "at", "keeper_id", "keeper_name")
    )
    of_foot = defaultdict(list)
    for plan in plans:
        of_foot[plan.bird_id, plan.foot].append(plan)
    for bird, foot, kind, at, *by in rows:
        kind, on = _COUNTS_AS.get(kind, kind), timezone.localdate(at, zone)
        for plan in of_foot[bird, foot]:
            if on >= plan.since and kind in plan.kinds:
                found[plan.pk].kinds[on].add(kind)
                found[plan.pk].by[on] = tuple(by)
    return found


def _members(plans: Iterable[CarePlan], flock) -> dict[str, Keeper]:
    if not any(plan.turns for plan in plans):
        return {}
    return {str(one.pk): one for one in Keeper.objects.filter(membership__flock=flock)}


def turn_of(
    turns: Sequence[Sequence[str]],
    done_by: Iterable[tuple[UUID | None, str]],
    members: Mapping[str, Keeper],
) -> tuple[UUID | None, str]:
    """Key and name of whoever did it longest ago, of those who are here; nobody: anyone may.

    ``turns``: see ``CarePlan``; ``members``: by their keys.
    """
    last = {str(key or name): number for number, (key, name) in enumerate(done_by)}
    here = [(key, name) for key, name in turns if name or key in members]
    if not here:
        return None, ""
    key, name = min(here, key=lambda one: last.get(one[0] or one[1], -1))
    return (members[key].pk, members[key].name) if key else (None, name)


def all_dues(
    flock, *, now: datetime, before: datetime | None = None, **narrowed
) -> tuple[list[Due], list[PlanDue]]:
    """What single records of care ask for, without what a plan asks for already, and the plans."""
    planned = plan_dues(flock, now=now, before=before, **narrowed)
    dues = open_dues(flock, now=now, before=before, **narrowed)
    return [due for due in dues if not any(_covers(one, due) for one in planned)], planned


def _covers(planned: PlanDue, due: Due) -> bool:
    """A dressing that is on is checked each day, so only where the plan comes no later."""
    step, plan = due.step, planned.plan
    if (plan.bird_id, plan.foot) != (step.bird_id, step.foot):
        return False
    if line_of(step.kind) == DRESSING:
        changes = StepKind.DRESSING_CHANGED in plan.kinds
        return changes and planned.on <= max(due.on, due.today)
    return step.kind in plan.kinds


def is_planned(kind: str, *, bird, foot: str, flock, now: datetime) -> bool:
    """Whether a live plan asks for this kind of care by itself; one query."""
    if kind not in WHAT:
        return False
    live = CarePlan.objects.filter(flock=flock, bird=bird, foot=foot)
    return any(kind in plan.kinds for plan in live.live(timezone.localdate(now, flock.zone)))


def until_words(plan: CarePlan, today: date) -> str:
    if plan.stopped_on:
        return f"stopped on {short_words(plan.stopped_on, today)}: {plan.stopped_because}"
    if plan.until:
        return up_to_words(plan.until, today)
    return "until a check finds the foot clear"
