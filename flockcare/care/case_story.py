"""One stretch of trouble in one foot, with everything about it, and what the flock's record says.

Past cases are told as counts and as ranges of days; nothing is promised from them.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime

from django.utils import timezone

from flockcare.birds.models import Bird
from flockcare.care.models import CareStep
from flockcare.feet.cases import Case
from flockcare.photos.models import Foot, Photo

REPEATED_FROM = 2
FEW = 3
# Seen sore by one look only, with no clear look before it.
UNKNOWN = "an unknown number of days"


@dataclass(frozen=True)
class Repeated:
    """A bird with more than one case: how many on which foot, since when, and what stays."""

    bird: Bird
    left: int
    right: int
    since: date
    current: bool

    @property
    def total(self) -> int:
        return self.left + self.right

    @property
    def feet(self) -> str:
        both = [(self.left, "left"), (self.right, "right")]
        return ", ".join(f"{count} {foot}" for count, foot in both if count)


def repeated_trouble(bird: Bird, cases: Iterable[Case]) -> Repeated | None:
    cases = list(cases)
    if len(cases) < REPEATED_FROM:
        return None
    left = sum(case.foot == Foot.LEFT for case in cases)
    return Repeated(
        bird=bird,
        left=left,
        right=len(cases) - left,
        since=min(case.episode.first_affected for case in cases),
        current=any(case.current for case in cases),
    )


@dataclass(frozen=True)
class Past:
    """Healed and unhealed cases like the one at hand.

    ``days``: for each healed case how long it lasted at least and, where the looks around it tell,
    at most.
    """

    days: tuple[tuple[int, int | None], ...]
    not_healed: int

    @property
    def total(self) -> int:
        return len(self.days) + self.not_healed

    @property
    def healed(self) -> int:
        return len(self.days)

    @property
    def times(self) -> str:
        """Each healed case in days while they are few, else the first, the middle and the last."""
        days = sorted(self.days, key=lambda days: (days[1] or days[0], days[0]))
        if len(days) <= FEW:
            return ", ".join(map(_range, days))
        middle = days[(len(days) - 1) // 2]
        return f"from {_range(days[0])} to {_range(days[-1])}, half of them within {_most(middle)}"


def _range(days: tuple[int, int | None]) -> str:
    least, most = days
    if most is None:
        return f"at least {_days(least)}" if least else UNKNOWN
    return _days(least) if least == most else f"{least}–{most} days"


def _most(days: tuple[int, int | None]) -> str:
    least, most = days
    if most is None:
        return f"{_days(least)} and more" if least else UNKNOWN
    return _days(most)


def _days(number: int) -> str:
    return f"{number} day{'' if number == 1 else 's'}"


def past_like(case: Case, others: Iterable[Case]) -> Past:
    """The other cases that became as bad at worst. Cases of birds that left unhealed count."""
    alike = [other for other in others if other is not case and other.worst == case.worst]
    healed = [other for other in alike if not other.current]
    return Past(
        days=tuple((other.least_days, other.most_days) for other in healed),
        not_healed=len(alike) - len(healed),
    )


@dataclass(frozen=True)
class Event:
    """Something of the case at its time: a ``check`` with its ``finding``, a ``step``, a photo.

    ``photos``: those of a check, which stand with it.
    """

    at: datetime
    on: date
    check: object = None
    finding: object = None
    step: CareStep | None = None
    photo: Photo | None = None
    photos: list[Photo] = field(default_factory=list)


def events(case: Case, *, looks, steps, photos, zone) -> list[Event]:
    """Everything about this foot from the last clear look before the case to the one that ended it.

    ``looks``: (check, finding) of this foot; ``steps`` of this foot or the whole bird; ``photos``
    with ``of_check``, the key of the check they came with.
    """
    first = case.episode.last_clear_before or case.episode.first_affected
    last = case.episode.first_clear_after or date.max

    def event(at, **what):
        return Event(at, timezone.localdate(at, zone), **what)

    of_check = defaultdict(list)
    for photo in photos:
        of_check[photo.of_check].append(photo)
    found = [
        event(check.at, check=check, finding=finding, photos=of_check.pop(check.pk, []))
        for check, finding in looks
    ]
    found += [event(step.at, step=step) for step in steps]
    found += [event(photo.taken, photo=photo) for some in of_check.values() for photo in some]
    return sorted(
        (one for one in found if first <= one.on <= last), key=lambda one: one.at, reverse=True
    )
