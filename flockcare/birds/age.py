"""How old a bird is, and whether she is grown."""

import datetime as dt
from dataclasses import dataclass

from flockcare.core.dates import PartialDate

# A hybrid has about her adult weight when she begins to lay at 20 weeks, a heavy breed later:
# common practice, no published source.
GROWN_AT_DAYS = 26 * 7
A_MONTH, YEARLING = 31, 365


@dataclass(frozen=True, slots=True)
class Age:
    """Between so many days, as the hatch date may be known to the month or year only."""

    least_days: int
    most_days: int

    @property
    def may_be_growing(self) -> bool:
        return self.least_days < GROWN_AT_DAYS

    @property
    def is_growing(self) -> bool:
        return self.most_days < GROWN_AT_DAYS


def age_on(hatched: str, day: dt.date) -> Age | None:
    """``hatched``: as a bird has it, such as ``2026-05``. None where not known, or not hatched yet.

    Days; the least is never below 0.
    """
    if not hatched:
        return None
    known = PartialDate.parse(hatched)
    most = (day - known.first()).days
    return Age(max(0, (day - known.last()).days), most) if most >= 0 else None


def least_age(hatched: str, day: dt.date) -> int | None:
    """At least so many days; None where that is not known well enough to say: of a bird whose year
    alone is known, before she is a year old."""
    age = age_on(hatched, day)
    vague = age and age.most_days - age.least_days > A_MONTH and age.least_days < YEARLING
    return None if age is None or vague else age.least_days


def may_be_growing(hatched: str, day: dt.date) -> bool:
    """Whether she may not have her adult weight yet. Who has no hatch date counts as grown."""
    age = age_on(hatched, day)
    return age is not None and age.may_be_growing


def is_growing(hatched: str, day: dt.date) -> bool:
    """Whether she surely had not her adult weight yet."""
    age = age_on(hatched, day)
    return age is not None and age.is_growing


def growing_words(hatched: str, day: dt.date) -> str:
    """``still growing``, ``may still be growing``, or nothing."""
    if is_growing(hatched, day):
        return "still growing"
    return "may still be growing" if may_be_growing(hatched, day) else ""
