"""Prevention: what is to be done around the houses and with sound birds, each as often as wanted.

How often is common practice, no published source; each flock sets its own.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, timedelta
from uuid import UUID

from django.db.models import Max

from flockcare.birds.models import Bird, Weighing
from flockcare.care.courses import CourseDue, courses_ahead
from flockcare.care.models import OF_A_BIRD, OF_A_HOUSE, Task, TaskDone, TaskKind
from flockcare.drawing.dates import short_words
from flockcare.feet.due import Deadline, is_long_late
from flockcare.housing.models import Event, EventKind, House

# Whether it is on the list where nobody has said so, and every how many days.
USUAL = {
    TaskKind.MUCK_OUT: (False, 7),
    TaskKind.TOP_UP: (False, 14),
    TaskKind.SAND: (False, 180),
    TaskKind.NAILS: (False, 60),
    TaskKind.WEIGH: (False, 28),
    TaskKind.NEW_BIRD: (True, None),
}
# What is offered to a flock that has said nothing of any task: dry ground, and weights known.
OFFERED = (TaskKind.MUCK_OUT, TaskKind.TOP_UP, TaskKind.WEIGH)
# A new bird's feet: as she comes, after two weeks and after four.
NEW_BIRD_DAYS = (0, 14, 28)


@dataclass(frozen=True)
class TaskDue(Deadline):
    """A task of one ``house``, or with ``birds``: those that it is due of, by name."""

    kind: TaskKind
    on: date
    today: date
    house: House | None = None
    birds: tuple[Bird, ...] = ()
    last: date | None = None

    @property
    def what(self) -> str:
        """``Muck out, Cart Shed``; ``Weigh: Dill and Mace``."""
        label = self.kind.label[:1].upper() + self.kind.label[1:]
        if self.house:
            return f"{label}, {self.house}"
        if len(self.birds) > 3:
            return f"{label}: {len(self.birds)} birds"
        return f"{label}: {', '.join(bird.name for bird in self.birds)}"

    @property
    def button(self) -> str:
        """What its button sends."""
        return f"{self.kind}:{self.house.pk}" if self.house else ""

    @property
    def when_words(self) -> str:
        days = self.days_late
        if is_long_late(self.on, self.today):
            words = short_words(self.last or self.on, self.today)
            return f"{'not since' if self.last else 'since'} {words}"
        return f"{days} day{'' if days == 1 else 's'} late" if days > 0 else "today"


def tasks_of(flock, today: date) -> dict[TaskKind, Task]:
    """All kinds, as the flock set them or as usual; one query."""
    found = {
        kind: Task(flock=flock, kind=kind, is_on=is_on, every_days=days, since=today)
        for kind, (is_on, days) in USUAL.items()
    }
    found |= {TaskKind(task.kind): task for task in Task.objects.filter(flock=flock)}
    return found


def offered(flock) -> list[str]:
    """What is offered to a flock that has said nothing of any task, in words; one query."""
    if Task.objects.filter(flock=flock).exists():
        return []
    return [f"{kind.label} every {USUAL[kind][1]} days" for kind in OFFERED]


def new_bird_days(flock) -> tuple[int, ...]:
    """The days after her arrival on which a new bird's feet are checked; one query."""
    off = Task.objects.filter(flock=flock, kind=TaskKind.NEW_BIRD, is_on=False).exists()
    return () if off else NEW_BIRD_DAYS


@dataclass
class _Last:
    """When each task was last done, by house or bird."""

    days: dict[tuple[str, UUID], date] = field(default_factory=dict)

    def next(self, task: Task, key: UUID) -> tuple[date, date | None]:
        """Never before the day on which the task was put on the list: nothing was late by then."""
        last = self.days.get((task.kind, key))
        on = last + timedelta(task.every_days) if last else task.since
        return max(on, task.since), last


def tasks_ahead(flock, today: date) -> list[TaskDue]:
    """Every task that is on, with the day on which it comes next, the earliest first.

    Those of birds stand together by their day. One query where none is on, else up to six.
    """
    tasks = [task for task in tasks_of(flock, today).values() if task.is_on and task.every_days]
    if not tasks:
        return []
    last = _last(flock, tasks)
    found = []
    for task in tasks:
        kind = TaskKind(task.kind)
        if kind in OF_A_HOUSE:
            for house in House.objects.filter(flock=flock):
                on, done = last.next(task, house.pk)
                found.append(TaskDue(kind, on, today, house=house, last=done))
        if kind in OF_A_BIRD:
            found += _of_birds(flock, task, last, today)
    return sorted(found, key=lambda due: (due.on, due.what.lower()))


def house_work(flock, today: date) -> list[TaskDue | CourseDue]:
    """All that is to be done around the houses, the earliest first: the tasks, and medicines that
    all birds of a house, or of the flock, get for some days. One query more than the tasks.
    """
    every = [*courses_ahead(flock, today), *tasks_ahead(flock, today)]
    return sorted(every, key=lambda due: due.on)


def tasks_due(flock, today: date) -> list[TaskDue | CourseDue]:
    return [due for due in house_work(flock, today) if due.is_due]


def _of_birds(flock, task: Task, last: _Last, today: date) -> Iterable[TaskDue]:
    """All birds of which it is due by now stand in one line, by the one that waits longest."""
    by_day = defaultdict(list)
    for bird in Bird.objects.filter(flock=flock).present():
        on, _ = last.next(task, bird.pk)
        by_day[max(on, today)].append((on, bird))
    for some in by_day.values():
        on, birds = min(on for on, _ in some), tuple(bird for _, bird in some)
        yield TaskDue(TaskKind(task.kind), on, today, birds=birds)


def _last(flock, tasks: Iterable[Task]) -> _Last:
    kinds = {task.kind for task in tasks}
    done = TaskDone.objects.filter(flock=flock, kind__in=kinds).order_by()
    rows = done.values_list("kind", "house", "bird").annotate(last=Max("on"))
    days = {(kind, house or bird): last for kind, house, bird, last in rows}
    if TaskKind.MUCK_OUT in kinds:
        renewed = Event.objects.filter(flock=flock, kind=EventKind.BEDDING).exclude(house=None)
        for house, last in renewed.order_by().values_list("house").annotate(last=Max("on")):
            key = TaskKind.MUCK_OUT, house
            days[key] = max(last, days.get(key, last))
    if TaskKind.WEIGH in kinds:
        weighed = Weighing.objects.filter(flock=flock).order_by()
        for bird, last in weighed.values_list("bird").annotate(last=Max("on")):
            days[TaskKind.WEIGH, bird] = last
    return _Last(days)
