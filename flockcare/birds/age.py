"""How old a bird is, whether she is grown, and how her weight changes."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

from flockcare.core.dates import PartialDate

# A hybrid has about her adult weight when she begins to lay at 20 weeks, a heavy breed later:
# common practice, no published source.
GROWN_AT_DAYS = 26 * 7
FOUR_WEEKS = 28
# Weighed once a month is often enough.
LONGEST_BETWEEN = 35


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


def weight_change_28_days(
    weighings: Iterable[tuple[dt.date, float]], today: dt.date
) -> float | None:
    """By what fraction her weight changed in about four weeks: −0.12 is a loss of 12 %.

    ``weighings``: (day, grams) in any order. The newest, not older than 28 days, against the
    earlier one nearest to 28 days before it and at most 35. Not scaled to 28 days: what was lost
    within less is lost all the same. None where there are no two such weighings.
    """
    known = sorted(one for one in weighings if one[0] <= today)
    if not known or (today - known[-1][0]).days > FOUR_WEEKS:
        return None
    on, grams = known[-1]
    earlier = [(day, then) for day, then in known if 0 < (on - day).days <= LONGEST_BETWEEN]
    if not earlier:
        return None
    _, then = min(earlier, key=lambda one: abs((on - one[0]).days - FOUR_WEEKS))
    return grams / then - 1 if then else None
