"""Sentences for people who never learned statistics.

The order is: what was counted, for how long it was watched, the range that still fits, what else
may explain it. Never that something was the cause, never that it did nothing: records of a few
hens cannot say either.
"""

from __future__ import annotations

import datetime as dt
import math
from bisect import bisect_left, bisect_right
from collections.abc import Sequence

from flockcare.drawing.dates import date_words, span_words

FEET_PER_HEN = 2
# New cases per foot and day, as new cases per 10 hens and month of 30 days.
PER_TEN_HENS_MONTH = 10 * FEET_PER_HEN * 30

_FEW = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
_TIMES = [
    (0.02, "a fiftieth as many"),
    (0.05, "a twentieth as many"),
    (0.1, "a tenth as many"),
    (1 / 6, "a sixth as many"),
    (0.2, "a fifth as many"),
    (0.25, "a quarter as many"),
    (1 / 3, "a third as many"),
    (0.4, "two fifths as many"),
    (0.5, "half as many"),
    (0.6, "three fifths as many"),
    (2 / 3, "two thirds as many"),
    (0.75, "three quarters as many"),
    (0.8, "four fifths as many"),
    (0.9, "nine tenths as many"),
    (0.9999, "almost as many"),
    (1.0, "just as many"),
    (1.0001, "slightly more"),
    (1.1, "a tenth more"),
    (1.25, "a quarter more"),
    (4 / 3, "a third more"),
    (1.5, "half as many again"),
    (1.75, "three quarters more"),
    (2.0, "twice as many"),
    (2.5, "two and a half times as many"),
    *((float(n), f"{_FEW[n]} times as many") for n in range(3, 11)),
    *((float(n), f"{n} times as many") for n in (12, 15, 20, 30, 50)),
]
_VALUES = [value for value, _ in _TIMES]
_ODDS = (2, 3, 4, 5, 6, 7, 8, 9, 10, 12, 15, 20, 25, 30, 40, 50, 60, 80)
_ODDS = (*_ODDS, *(factor * 100 for factor in (1, 1.5, 2, 3, 5, 7, 10)))


def times(ratio: float) -> str:
    """A ratio of rates in plain fractions, the nearest: ``half as many``, ``twice as many``."""
    if ratio <= 0:
        return "none at all"
    if ratio > _VALUES[-1]:
        return f"more than {_VALUES[-1]:g} times as many"
    if ratio < _VALUES[0]:
        return f"less than {_TIMES[0][1]}"
    return min(_TIMES, key=lambda item: abs(math.log(item[0] / ratio)))[1]


def at_least(ratio: float) -> str:
    """The lower end of a range, rounded down to a plain fraction."""
    if ratio <= 0 or ratio < _VALUES[0]:
        return "none at all"
    return _TIMES[bisect_right(_VALUES, ratio * (1 + 1e-9)) - 1][1]


def at_most(ratio: float) -> str:
    """The upper end of a range, rounded up to a plain fraction."""
    place = bisect_left(_VALUES, ratio * (1 - 1e-9))
    return _TIMES[place][1] if place < len(_TIMES) else "any number of times as many"


def ratio_range(low: float, high: float) -> str:
    """``anything from a third as many to twice as many``; never narrower than the figures."""
    if math.isinf(high) and low > 0:
        return f"{at_least(low)} or more, with no upper end"
    if low <= 0 and not math.isinf(high):
        return f"anything from none at all to {at_most(high)}"
    return f"anything from {at_least(low)} to {at_most(high)}"


def by_luck(p: float) -> str:
    """``about 1 in 30``: the share of equally lopsided results if nothing had changed."""
    if p <= 0.001:
        return "1 in 1,000 or less"
    if p > 0.4:
        return "more than 1 in 3"
    odds = min(_ODDS, key=lambda odds: abs(math.log(odds * p)))
    return f"about 1 in {odds:,.0f}"


def count(number: int, one: str, many: str = "") -> str:
    """``1 new case``, ``1,204 new cases``."""
    return f"{number:,} {one if number == 1 else many or one + 's'}"


def time_watched(foot_days: float) -> str:
    """``1 day of watching`` is one hen watched for one day; the page says so."""
    return count(round(foot_days / FEET_PER_HEN), "day of watching", "days of watching")


def rate(per_foot_day: float) -> str:
    """Per ten hens and month, as short as it can honestly be: ``0.8``, ``2.1``, ``12``."""
    return plain_number(per_foot_day * PER_TEN_HENS_MONTH)


def plain_number(value: float) -> str:
    if value >= 9.95:
        return f"{value:,.0f}"
    return f"{value:.1f}" if value >= 0.095 else f"{value:.2f}" if value >= 0.0095 else "0"


def none_found(foot_days: float, high: float) -> str:
    """No case at all. ``high``: upper limit of the rate per foot and day."""
    return (
        f"None found in {time_watched(foot_days)}. That still fits a rate up to 1 case per "
        f"{1 / (high * FEET_PER_HEN):,.0f} days of watching."
    )


def rate_words(cases: int, foot_days: float, low: float, high: float, value: float | None) -> str:
    """Cases, time watched and the rate with its range; ``value`` None where only the range is."""
    if cases == 0:
        return none_found(foot_days, high)
    counts = f"{count(cases, 'new case')} in {time_watched(foot_days)}"
    between = f"{rate(low)} to {rate(high)}"
    if value is None:
        return f"{counts}. That fits {between} per 10 hens a month."
    return f"{counts}: about {rate(value)} per 10 hens a month, and {between} would fit as well."


def day(ordinal: float) -> str:
    return date_words(dt.date.fromordinal(int(ordinal)))


def days_span(first: float, last: float) -> str:
    return span_words(dt.date.fromordinal(int(first)), dt.date.fromordinal(int(last)))


def listed(names: Sequence[str]) -> str:
    """``a, b and c``."""
    names = list(names)
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"


# Before and after a change


def counted(before: int, after: int, straddling: int, days_before: float, days_after: float) -> str:
    """``4 new cases before, in 300 days of watching, and 7 after, in 280.``"""
    words = (
        f"{count(before, 'new case')} before, in {time_watched(days_before)}, and "
        f"{after:,} after, in {round(days_after / FEET_PER_HEN):,}."
    )
    if straddling:
        one = straddling == 1
        words += (
            f" {straddling} more {'was' if one else 'were'} found at the first check after the "
            f"change and may have begun before it."
        )
    return words


def other_change(changed: Sequence[str], houses: Sequence[str], on: float) -> str:
    """``Roost 140 → 60 cm and step added (Cart Shed, 14 Oct 2025)``."""
    return f"{listed(changed)} ({listed(houses)}, {day(on)})"


def verdict(
    state: str,
    *,
    ratio: float,
    low: float,
    high: float,
    p: float,
    what: str,
    reason: str = "",
    looked_at: int = 1,
) -> str:
    """The sentence for one change. ``state`` as ``Comparison.verdict`` gives it, ``p`` adjusted.

    ``what``: the change with its article, as in "the litter". ``reason``: why it is refused.
    """
    more = "more" if ratio > 1 else "fewer"
    fits = f"With equal watching time this fits {ratio_range(low, high)}"
    if state == "refused":
        return reason
    if state == "similar":
        return "About the same; a doubling is unlikely on these records, and so is a halving."
    if state == "wide":
        return f"{fits}. It can't tell us."
    if state == "outnumbered":
        return (
            f"{fits}. Alone this would be some sign of {more} cases after, but it is one of "
            f"{looked_at} looked at, and among so many, chance alone does this {by_luck(p)} times. "
            "It can't tell us."
        )
    if state == "hint":
        return f"{fits}. It leans towards {more} cases after, on too few cases to call it a sign."
    if state == "some_sign":
        return (
            f"Some sign of {more} cases after: {by_luck(p)} by chance alone. {fits}. "
            "Age, and often the season, changed too."
        )
    moved = "rose" if ratio > 1 else "fell"
    return f"Cases clearly {moved} after. {fits}. Records can't say that {what} was the cause."


# When the rate changed


def scan_sentence(first: float, last: float, rose: bool, p: float, surely: bool) -> str:
    span = days_span(first, last)
    if surely:
        return (
            f"Cases {'rose' if rose else 'fell'} around {span} ({by_luck(p)} by chance alone). "
            "These dates are rough."
        )
    return (
        "No day stands out at which the rate became another. The likeliest period would be "
        f"{span}, but chance alone does this {by_luck(p)} times."
    )


def inside_sentence(names: Sequence[str]) -> str:
    if not names:
        return "None of the logged changes falls inside."
    if len(names) == 1:
        return f"One logged change falls inside: {names[0]}."
    return (
        f"{len(names)} logged changes fall inside and cannot be told apart by this: "
        f"{listed(names)}."
    )


def windows_sentence(days: int, share: float, inside: int, cases: int) -> str:
    return (
        f"The {days} days after every change together cover {share:.0%} of the time watched, so "
        f"chance alone would put {share:.0%} of the cases there; {inside} of {cases} are (both "
        "feet at once counted once)."
    )
