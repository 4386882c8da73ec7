"""What a sitter is to do, whose eggs are not eaten, and what was done today: the part of Today that
concerns somebody who keeps the birds for some days, and no more of the flock.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from uuid import UUID

from django.utils import timezone

from flockcare.birds.models import Bird
from flockcare.care.courses import CourseDue
from flockcare.care.dressing import STEPS, Step
from flockcare.care.due import LOOK, followed_by
from flockcare.care.models import DRESSED, CarePlan, CareStep, StepKind, TaskDone
from flockcare.care.parts import Given, in_one
from flockcare.care.rows import DueLine, Row, eggs_not_eaten, rows_of
from flockcare.care.situation import FlockStanding, standings
from flockcare.care.standing_words import names
from flockcare.care.tasks import TaskDue, house_work, tasks_of
from flockcare.drawing.dates import short_words
from flockcare.people.bylines import with_names
from flockcare.vetsheet.models import ShareLink

# How a foot is held, looked at and treated, by the keys of the steps that are explained.
_DRESS = ("hold", "wrap", "look")
HOW = {
    StepKind.SOAKED: ("hold", "soak", "dry"),
    StepKind.RINSED: ("hold", "rinse", "dry"),
    StepKind.OINTMENT: ("hold", "ointment"),
    StepKind.DRESSING_ON: _DRESS,
    StepKind.DRESSING_CHANGED: _DRESS,
    StepKind.DRESSING_SEEN: _DRESS,
    LOOK: ("hold",),
}
# What the dressing is taken off for.
UNDER_A_DRESSING = {StepKind.SOAKED, StepKind.RINSED, StepKind.OINTMENT}
DRESS_AGAIN = "Then put the dressing on again."
AS_THE_VET_SAID = "As the vet or the label says, no more and no less. Missed one? Ring."
SOMEBODY_WILL = "A keeper has said they will do this."
UNTIL_TOLD = "until the keepers say so"


@dataclass(frozen=True)
class Thing:
    """One thing to do. ``taps``: what each button says and sends as the kind of care; ``days``: on
    which it comes while the sitter is there, as far as that can be said ahead.
    """

    key: str
    what: str
    when: str
    is_due: bool
    days: tuple[date, ...]
    details: tuple[str, ...] = ()
    taps: tuple[tuple[str, str], ...] = ()
    how: tuple[Step, ...] = ()
    bird: Bird | None = None

    @property
    def title(self) -> str:
        return f"{self.bird}, {self.what}" if self.bird else self.what


@dataclass(frozen=True)
class OneBird:
    """``now``: what is due of her by today."""

    row: Row
    things: tuple[Thing, ...]

    @property
    def now(self) -> list[Thing]:
        return [thing for thing in self.things if thing.is_due]

    @property
    def concerns(self) -> bool:
        return bool(self.now or self.row.level.is_urgent)


@dataclass(frozen=True)
class Done:
    """Something that was done today; ``key``: what undoes it, empty where another did it."""

    key: str
    words: str
    at: datetime


@dataclass(frozen=True)
class Sitting:
    link: ShareLink
    found: FlockStanding
    birds: tuple[OneBird, ...]
    tasks: tuple[Thing, ...]
    done: tuple[Done, ...]
    today: date

    @property
    def concerned(self) -> list[OneBird]:
        return [one for one in self.birds if one.concerns]

    @property
    def now(self) -> list[Thing]:
        due = [thing for one in self.birds for thing in one.now]
        return [*due, *(thing for thing in self.tasks if thing.is_due)]

    @property
    def tasks_now(self) -> list[Thing]:
        return [thing for thing in self.tasks if thing.is_due]

    @property
    def ahead(self) -> list[Thing]:
        """All that comes while the sitter is there."""
        every = [*(thing for one in self.birds for thing in one.things), *self.tasks]
        return [thing for thing in every if thing.days]

    @property
    def eggs(self) -> list[str]:
        """``Don’t eat the eggs of Dill up to and including 7 Nov``."""
        rows = [one.row for one in self.birds]
        return [
            f"Don’t eat {one.whose} {one.until or UNTIL_TOLD}"
            for one in eggs_not_eaten(rows, self.found.homes)
        ]

    @property
    def apart(self) -> str:
        """Who is in quarantine, and what that asks of the sitter; empty where nobody is."""
        birds = [one.row.bird for one in self.birds if one.row.standing.in_quarantine]
        if not birds:
            return ""
        whom = birds[0].pronouns.object if len(birds) == 1 else "them"
        listed = names([str(bird) for bird in birds], at_most=len(birds))
        return f"In quarantine: {listed}. See to {whom} last, then wash your hands"

    @property
    def urgent(self) -> bool:
        return any(one.row.level.is_urgent for one in self.birds)

    @property
    def how(self) -> list[Step]:
        """Each step that is needed once, in the order in which a foot is treated."""
        wanted = {step.key for thing in self.ahead for step in thing.how}
        return [step for step in STEPS if step.key in wanted]


def sitting(link: ShareLink, *, now: datetime) -> Sitting:
    flock, zone = link.flock, link.flock.zone
    today = timezone.localdate(now, zone)
    found = standings(flock, now=now)
    flock.usual_vet = found.vet
    rows = rows_of(found, Bird.objects.filter(flock=flock))
    plans, steps = _asking(rows)
    days = Days(max(link.first, today), link.last)
    birds = tuple(OneBird(row, tuple(_things(row, plans, steps, days))) for row in rows)
    tasks = tuple(_tasks(flock, today, days))
    return Sitting(link, found, birds, tasks, tuple(_done(link, birds, today)), today)


@dataclass(frozen=True)
class Days:
    """The days that are still to come of those on which the sitter is there."""

    first: date
    last: date

    def of(self, on: date, every: int | None, until: date | None = None) -> tuple[date, ...]:
        """What is late comes on the first of them, what comes once on its day."""
        day, last = max(on, self.first), min(self.last, until or self.last)
        found = []
        while day <= last:
            found.append(day)
            if not every:
                break
            day += timedelta(every)
        return tuple(found)


def _asking(rows: Iterable[Row]) -> tuple[dict[UUID, CarePlan], dict[UUID, CareStep]]:
    """The plans and the records of care that ask for something, by their keys; two queries."""
    dues = [line.due for row in rows for line in row.due]
    plans = CarePlan.objects.in_bulk([due.plan for due in dues if due.plan])
    steps = CareStep.objects.select_related("flock").in_bulk([due.step for due in dues if due.step])
    return plans, steps


def _things(row: Row, plans: dict, steps: dict, days: Days) -> Iterator[Thing]:
    """A check of both feet with its scores is a keeper's, not a sitter's."""
    dressed = {line.due.foot for line in row.due if line.is_dressing}
    for line in row.due:
        on = line.due.foot in dressed
        if line.is_plan and line.due.plan in plans:
            yield _planned(row, line, plans[line.due.plan], days, dressed=on)
        elif line.step and line.due.step in steps:
            yield _asked(row, line, steps[line.due.step], days, dressed=on)


def _dress_again(kinds: Iterable[str], *, dressed: bool) -> list[str]:
    """What follows of what is done to a foot whose dressing was on."""
    kinds = set(kinds)
    again = dressed and kinds & UNDER_A_DRESSING and not kinds & set(DRESSED)
    return [StepKind.DRESSING_CHANGED] if again else []


def _planned(row: Row, line: DueLine, plan: CarePlan, days: Days, *, dressed: bool) -> Thing:
    details = [part["product"] for part in plan.parts if part["product"]]
    details += [f"how much: {plan.quantity}"] if plan.quantity else []
    said = [", ".join(details)] if details else []
    said += [AS_THE_VET_SAID] if plan.is_medicine else []
    said += [plan.note] if plan.note else []
    again = _dress_again(plan.kinds, dressed=dressed)
    said += [DRESS_AGAIN] if again else []
    return Thing(
        key=f"plan:{plan.pk}",
        what=line.what,
        when=line.when,
        is_due=line.is_due,
        days=days.of(line.due.on, plan.every_days, plan.until),
        details=tuple(said),
        taps=line.taps,
        how=_how([*plan.kinds, *again]),
        bird=row.bird,
    )


def _asked(row: Row, line: DueLine, step: CareStep, days: Days, *, dressed: bool) -> Thing:
    kind = followed_by(step.kind)
    same = kind == step.kind and step.product
    said = [step.product] if same else []
    said += [f"how much: {step.quantity}"] if same and step.quantity else []
    said = [", ".join(said)] if said else []
    said += [AS_THE_VET_SAID] if step.kind == StepKind.MEDICINE else []
    said += [SOMEBODY_WILL] if line.due.who_key else []
    again = _dress_again([kind], dressed=dressed)
    said += [DRESS_AGAIN] if again else []
    return Thing(
        key=f"step:{step.pk}",
        what=line.what,
        when=line.when,
        is_due=line.is_due,
        days=days.of(line.due.on, _every(step, kind)),
        details=tuple(said),
        taps=line.taps,
        how=_how([LOOK if line.is_watch else kind, *again]),
        bird=row.bird,
    )


def _every(step: CareStep, kind: StepKind | None) -> int | None:
    """After how many days one tap makes it due again; None where nobody can say."""
    if step.kind in DRESSED:
        return 1
    if kind == step.kind and kind != StepKind.VET and step.next_due:
        return (step.next_due - step.on).days
    return None


def _how(kinds: Iterable[str]) -> tuple[Step, ...]:
    wanted = {key for kind in kinds for key in HOW.get(kind, ())}
    return tuple(step for step in STEPS if step.key in wanted)


def _tasks(flock, today: date, days: Days) -> Iterator[Thing]:
    """Those of the houses. Nails and weighing wait for the keepers."""
    ahead = [task for task in house_work(flock, today) if task.house or not task.kind]
    often = tasks_of(flock, today) if ahead else {}
    for task in ahead:
        course = task if isinstance(task, CourseDue) else None
        yield Thing(
            key=f"task:{task.button}",
            what=task.what,
            when=_when(task),
            is_due=task.is_due,
            days=days.of(
                task.on,
                course.every_days if course else often[task.kind].every_days,
                course and course.until,
            ),
            details=_of_course(course) if course else (),
            taps=(("Done", ""),),
        )


def _of_course(course: CourseDue) -> tuple[str, ...]:
    much = (f"how much: {course.how_much}",) if course.how_much else ()
    return (*much, AS_THE_VET_SAID)


def _when(task: TaskDue | CourseDue) -> str:
    return task.when_words if task.is_due else short_words(task.on, task.today)


def _done(link: ShareLink, birds: Iterable[OneBird], today: date) -> Iterator[Done]:
    """What the sitter did today, and what others did for a bird that the page is about, or gave to
    all of a house.
    """
    mine, concerned = link.guest.name, {one.row.bird.pk for one in birds if one.concerns}
    midnight = datetime.combine(today, time(), link.flock.zone)
    steps = CareStep.objects.filter(flock=link.flock, at__gte=midnight)
    for given in in_one(steps.select_related("bird", "keeper").newest_first()):
        own = given.first.keeper_id is None and given.first.keeper_name == mine
        if own or given.first.given_to or given.first.bird_id in concerned:
            yield Done(f"step:{given.first.pk}" if own else "", _said(given), given.first.at)
    tasks = TaskDone.objects.filter(flock=link.flock, on=today).exclude(house=None)
    for task in with_names(tasks.select_related("house", "keeper").order_by("-logged_at")):
        yield Done(f"task:{task.pk}" if task.by == mine else "", str(task), task.logged_at)


def _said(given: Given) -> str:
    return f"{given.whom}, {given.words}"
