"""What the measurements of one case say: larger, smaller, healing or not. No Django, no clock.

Readings are compared with the error of both: two that err independently differ by more than their
bounds added as squares before one of them is larger (JCGM 100:2008, 5.1.2, from memory). Only
readings in one unit are compared. All functions take the readings of one case in one unit, the
newest first, as ``series`` gives them, and answer None where there are too few to tell.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, pi, sqrt

# A ruler, or the eye, read to the millimetre (common practice, no published source).
READING_ERROR_MM = 1.0
# Two weeks are our own choice. Four weeks, and half of the area, are those of studies of ulcers in
# people: Sheehan et al. 2003, Diabetes Care 26:1879–1882; Coerper et al. 2009, J Diabetes
# Complications 23:49–53 (abstracts read); never tested in birds.
DAYS_TO_SHRINK = 14
DAYS_TO_HALVE = 28
# On the way to half in four weeks three tenths of the area are gone in two (1 - sqrt(1/2)).
GONE_IN_TWO_WEEKS = 0.3
# One way of measuring that was given up for another says nothing of today (our choice).
OUTDATED_DAYS = 14


@dataclass(frozen=True)
class Size:
    """A sore as it was measured: its value with the 95 % bound of the error, in one unit.

    ``unit`` is ``mm²`` (outline in a photo) or ``mm`` (width of the scab).
    """

    value: float
    error: float
    unit: str
    days_ago: int

    @property
    def width_mm(self) -> float:
        """Of an area: that of the circle as large."""
        return self.value if self.unit == "mm" else 2 * sqrt(self.value / pi)


def series(sizes: Sequence[Size]) -> list[tuple[Size, ...]]:
    """The readings of a case by unit, each the newest first, without a unit that is outdated."""
    units = sorted({size.unit for size in sizes})
    found = [
        tuple(sorted((s for s in sizes if s.unit == unit), key=lambda size: size.days_ago))
        for unit in units
    ]
    last = min((size.days_ago for size in sizes), default=0)
    return [readings for readings in found if readings[0].days_ago - last <= OUTDATED_DAYS]


def beyond_error(larger: Size, smaller: Size) -> bool:
    """Whether the first is larger than the second by more than the error of both."""
    return larger.value - smaller.value > hypot(larger.error, smaller.error)


def peak(readings: Sequence[Size]) -> Size:
    """The largest; of several as large, the earliest."""
    return max(readings, key=lambda size: (size.value, size.days_ago))


def lowest_since_peak(readings: Sequence[Size]) -> Size | None:
    """The smallest of the readings before the newest, from the peak on.

    While the newest may be as large as the peak, nothing has shrunk yet, and it is the smallest of
    all before.
    """
    earlier = readings[1:]
    if is_below_peak(readings):
        top = peak(readings)
        earlier = [size for size in earlier if size.days_ago <= top.days_ago]
    return min(earlier, key=lambda size: size.value, default=None)


def is_below_peak(readings: Sequence[Size]) -> bool:
    """Smaller than at its largest, by more than the error."""
    return beyond_error(peak(readings), readings[0])


def is_worse(readings: Sequence[Size]) -> bool | None:
    """Larger, by more than the error, than at its smallest since the peak."""
    lowest = lowest_since_peak(readings)
    return None if lowest is None else beyond_error(readings[0], lowest)


def is_better(readings: Sequence[Size]) -> bool | None:
    """Below the peak and not worse. Neither better nor worse: no difference that can be told."""
    if len(readings) < 2:
        return None
    return is_below_peak(readings) and not is_worse(readings)


def is_growing(readings: Sequence[Size]) -> bool | None:
    """Worse, and larger than the reading before too: not one that has begun to shrink again."""
    if len(readings) < 2:
        return None
    return bool(is_worse(readings) and beyond_error(readings[0], readings[1]))


def share_left(readings: Sequence[Size]) -> float:
    """Of the area at the peak. Widths are compared as the circles that they cross."""
    newest = readings[0]
    share = newest.value / peak(readings).value
    return share**2 if newest.unit == "mm" else share


def days_since_peak(readings: Sequence[Size]) -> int:
    """Since the earliest reading that may have been as large as the peak."""
    top = peak(readings)
    days_ago = max(size.days_ago for size in readings if not beyond_error(top, size))
    return days_ago - readings[0].days_ago


def not_smaller(readings: Sequence[Size]) -> bool | None:
    """Two weeks and more measured, and not below the peak by more than the error."""
    if readings[-1].days_ago - readings[0].days_ago < DAYS_TO_SHRINK:
        return None
    return not is_below_peak(readings)


def surely_not_smaller(readings: Sequence[Size]) -> bool | None:
    """The same, where the readings are fine enough to tell: with all the error in its favour, less
    is gone than would be on the way to half in four weeks.
    """
    if not not_smaller(readings):
        return not_smaller(readings)
    newest, top = readings[0], peak(readings)
    gone = top.value - newest.value + hypot(newest.error, top.error)
    return gone < GONE_IN_TWO_WEEKS * top.value


def less_than_half_gone(readings: Sequence[Size]) -> bool | None:
    """Of the area at the peak, four weeks and more after it."""
    if days_since_peak(readings) < DAYS_TO_HALVE:
        return None
    return share_left(readings) > 0.5


def stands_still(readings: Sequence[Size]) -> bool | None:
    """No smaller than at some time since the peak that is two weeks and more before."""
    newest = readings[0]
    top = peak(readings)
    old = [
        size.value
        for size in readings
        if size.days_ago <= top.days_ago and size.days_ago - newest.days_ago >= DAYS_TO_SHRINK
    ]
    return newest.value >= min(old) if old else None
