"""A medicine that every bird of a house, or of the flock, gets for some days: what of it is due.

Worked out from the records, as plans of care are: each giving names the last day, and a day on
which it was given is done. There is no plan of it, since a bird that moves in drinks of it too.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from django.db.models import Q
from django.utils import timezone

from flockcare.birds.models import Bird
from flockcare.care.due import AS_THE_VET_SAID
from flockcare.care.models import CareStep, StepKind
from flockcare.core.dates import PartialDate
from flockcare.feet.due import Deadline
from flockcare.housing.models import House
from flockcare.housing.residents import residents_on

WHOLE_FLOCK = "the whole flock"
MEDICINE = "medicine"


@dataclass(frozen=True)
class CourseDue(Deadline):
    """The next day of a course. ``steps``: all that was given of it so far, the newest first.

    Stands beside a ``tasks.TaskDue`` in every list of what is to be done around the houses.
    """

    steps: tuple[CareStep, ...]
    on: date
    today: date
    first: date
    until: date
    kind = None
    house = None
    birds = ()
    every_days = 1

    @property
    def step(self) -> CareStep:
        return self.steps[0]

    @property
    def last(self) -> date:
        return self.step.on

    @property
    def what(self) -> str:
        """``Medicine for Cart Shed: Coxi drops, day 3 of 5, as the vet said``."""
        day = max(self.on, self.today) - self.first
        vets = AS_THE_VET_SAID if self.step.is_vets else ""
        days = f"day {day.days + 1} of {(self.until - self.first).days + 1}"
        return f"Medicine for {self.step.given_to}: {self.step.product}, {days}{vets}"

    @property
    def how_much(self) -> str:
        return self.step.quantity

    @property
    def button(self) -> str:
        return f"{MEDICINE}:{self.step.pk}"

    @property
    def when_words(self) -> str:
        days = self.days_late
        return (
            f"today, not ticked for {days} day{'' if days == 1 else 's'}" if days > 0 else "today"
        )


def courses_ahead(flock, today: date) -> list[CourseDue]:
    """Those that go on, with the day that comes next, the earliest first; one query.

    Over is what was given up to its last day, or stopped. What was logged today without a last day
    counts too.
    """
    midnight = datetime.combine(today, time(), flock.zone)
    steps = (
        CareStep.objects.filter(
            Q(given_until__gte=today) | Q(given_until=None, at__gte=midnight),
            flock=flock,
            kind=StepKind.MEDICINE,
            past=False,
        )
        .exclude(given_to="")
        .select_related("keeper", "item")
        .order_by("-at", "-logged_at", "pk")
    )
    by_course = defaultdict(list)
    for step in steps:
        step.flock = flock
        by_course[step.given_to, step.product.casefold()].append(step)
    found = []
    for given in by_course.values():
        until = max((step.given_until for step in given if step.given_until), default=today)
        on = given[0].on + timedelta(1)
        if on <= until:
            found.append(CourseDue(tuple(given), on, today, given[-1].on, until))
    return sorted(found, key=lambda due: (due.on, due.what.lower()))


def birds_of(flock, given_to: str, on: date, before: CareStep) -> list[Bird]:
    """Who gets it on that day: all who live in the house of this name, or are in the flock.

    Where the house has another name by now, those who got it ``before``.
    """
    present = birds_here(flock, on)
    if given_to == WHOLE_FLOCK:
        return present
    for house in House.objects.filter(flock=flock):
        if named(house) == given_to:
            return residents_on(house, on)
    got_it = set(given_in_one(before).values_list("bird", flat=True))
    return [bird for bird in present if bird.pk in got_it]


def named(house: House) -> str:
    """As ``CareStep.given_to`` has it."""
    return house.name[:80]


def birds_here(flock, on: date) -> list[Bird]:
    """All that were in the flock on that day, as far as it is known when they came and left."""
    return [bird for bird in Bird.objects.filter(flock=flock) if _was_here(bird, on)]


def _was_here(bird: Bird, on: date) -> bool:
    came = not bird.joined or PartialDate.parse(bird.joined).first() <= on
    return came and (not bird.left or on <= PartialDate.parse(bird.left).first())


def given_in_one(step: CareStep):
    """The records of all the birds that got a medicine at once with this one."""
    return CareStep.objects.filter(
        flock=step.flock_id,
        given_to=step.given_to,
        at=step.at,
        kind=step.kind,
        product=step.product,
    )


def course_of(step: CareStep, *, now) -> CourseDue | None:
    """The course that a giving is of, while it goes on."""
    today = timezone.localdate(now, step.flock.zone)
    courses = courses_ahead(step.flock, today)
    return next((due for due in courses if step.pk in {one.pk for one in due.steps}), None)
