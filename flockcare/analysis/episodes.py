"""From the dated looks at one foot: stretches of trouble, and the time it was truly watched.

The unit at risk is one foot of one bird. Its clock starts at the first clear look; it stops at
an affected look and starts again at the next clear one, so every new stretch counts.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from .limits import GAP_LIMIT_DAYS


@dataclass(frozen=True, slots=True)
class Look:
    """One look at one foot: the day, whether a sore was there, and its grade if one was given."""

    on: dt.date
    affected: bool
    grade: float | None = None


@dataclass(frozen=True, slots=True)
class Episode:
    """One stretch of trouble, from the first affected look to the first clear look after it.

    `last_clear_before` is None when the foot was affected at its first look ever (`prevalent`);
    `first_clear_after` is None while it has not been seen clear again.
    """

    first_affected: dt.date
    last_affected: dt.date
    last_clear_before: dt.date | None
    first_clear_after: dt.date | None
    worst_grade: float | None
    prevalent: bool


@dataclass(frozen=True, slots=True)
class RiskPairs:
    """Neighbouring looks that start clear: (left_day, right_day, affected at right_day).

    Days are `date.toordinal()`. An affected pair means onset in (left_day, right_day].
    `dropped_days` and `dropped_cases` stood in gaps longer than the limit.
    """

    pairs: list[tuple[int, int, bool]]
    dropped_days: int
    dropped_cases: int = 0


@dataclass(frozen=True, slots=True)
class PairArrays:
    """The pairs of many feet as arrays of one length, `unit` saying which foot each is of."""

    unit: np.ndarray
    left: np.ndarray
    right: np.ndarray
    affected: np.ndarray
    dropped_days: int = 0
    dropped_cases: int = 0


@dataclass(frozen=True, slots=True)
class EpisodeArrays:
    """The episodes of many feet as arrays of one length; days as ordinals, -1 for "not known"."""

    unit: np.ndarray
    first_affected: np.ndarray
    last_affected: np.ndarray
    last_clear_before: np.ndarray
    first_clear_after: np.ndarray

    @property
    def incident(self) -> np.ndarray:
        """Whose beginning was seen: the foot was clear at some look before."""
        return self.last_clear_before >= 0


def merge_days(looks: Iterable[Look]) -> list[Look]:
    """One look per day in time order; unsorted looks are sorted.

    Of several looks on one day an affected one wins, and the worst grade is kept.
    Raises ValueError for a day that is no plain date, an `affected` that is neither true nor
    false, and a grade below zero or not finite.
    """
    by_day: dict[dt.date, Look] = {}
    for look in looks:
        _check(look)
        seen = by_day.get(look.on)
        by_day[look.on] = look if seen is None else _worse(seen, look)
    return [by_day[day] for day in sorted(by_day)]


def episodes(looks: Iterable[Look]) -> list[Episode]:
    """The stretches of trouble of one foot, in time order; unsorted looks are sorted.

    Two looks on one day count as one, affected winning. Only the clear looks next to an
    affected one matter: with the other clear looks left out the answer is the same.
    `worst_grade` is the highest grade of the affected looks, None where none was graded.
    Errors as for `merge_days`.
    """
    found: list[Episode] = []
    run: list[Look] = []
    clear: dt.date | None = None
    for look in merge_days(looks):
        if look.affected:
            run.append(look)
            continue
        if run:
            found.append(_episode(run, clear, look.on))
            run = []
        clear = look.on
    if run:
        found.append(_episode(run, clear, None))
    return found


def risk_pairs(looks: Iterable[Look], gap_limit_days: float = GAP_LIMIT_DAYS) -> RiskPairs:
    """The time one foot was watched while clear, as neighbouring looks; unsorted looks are sorted.

    A pair longer than `gap_limit_days` is left out whatever stood at its end, because keeping
    only the affected ones would raise the rate; one of exactly that length stays.
    Here every clear look counts: leaving some out changes the answer.
    Raises ValueError for a gap limit that is not above zero, and as `merge_days` does.
    """
    _check_gap_limit(gap_limit_days)
    pairs: list[tuple[int, int, bool]] = []
    dropped_days = dropped_cases = 0
    for before, after in pairwise(merge_days(looks)):
        if before.affected:
            continue
        left, right = before.on.toordinal(), after.on.toordinal()
        if right - left > gap_limit_days:
            dropped_days += right - left
            dropped_cases += bool(after.affected)
        else:
            pairs.append((left, right, bool(after.affected)))
    return RiskPairs(pairs, dropped_days, dropped_cases)


def risk_pairs_from_arrays(
    unit, day, affected, gap_limit_days: float = GAP_LIMIT_DAYS
) -> PairArrays:
    """`risk_pairs` for many feet at once; the looks may stand in any order.

    `unit`, `day` (ordinals) and `affected` are integer or boolean arrays of one length.
    Raises ValueError for arrays of other shapes or kinds, or a gap limit not above zero.
    """
    _check_gap_limit(gap_limit_days)
    unit, day, affected = _merged_arrays(unit, day, affected)
    same = (unit[1:] == unit[:-1]) & ~affected[:-1]
    gap = day[1:] - day[:-1]
    kept, dropped = same & (gap <= gap_limit_days), same & (gap > gap_limit_days)
    return PairArrays(
        unit=unit[1:][kept],
        left=day[:-1][kept],
        right=day[1:][kept],
        affected=affected[1:][kept],
        dropped_days=int(gap[dropped].sum()),
        dropped_cases=int(affected[1:][dropped].sum()),
    )


def episodes_from_arrays(unit, day, affected) -> EpisodeArrays:
    """`episodes` for many feet at once (without grades); shapes and errors as for the pairs."""
    unit, day, affected = _merged_arrays(unit, day, affected)
    new_unit = np.r_[True, unit[1:] != unit[:-1]] if unit.size else np.zeros(0, bool)
    clear_before = np.r_[False, ~affected[:-1]] & ~new_unit if unit.size else new_unit
    starts = np.flatnonzero(affected & (new_unit | clear_before))
    breaks = np.flatnonzero(~affected | new_unit)
    following = np.searchsorted(breaks, starts, side="right")
    ends = np.r_[breaks, unit.size][following]
    day_after = np.r_[day, -1][ends]
    healed = np.r_[unit, -1][ends] == unit[starts]
    return EpisodeArrays(
        unit=unit[starts],
        first_affected=day[starts],
        last_affected=day[ends - 1],
        last_clear_before=np.where(clear_before[starts], day[starts - 1], -1),
        first_clear_after=np.where(healed, day_after, -1),
    )


def _episode(run: list[Look], clear: dt.date | None, cleared: dt.date | None) -> Episode:
    grades = [look.grade for look in run if look.grade is not None]
    return Episode(
        first_affected=run[0].on,
        last_affected=run[-1].on,
        last_clear_before=clear,
        first_clear_after=cleared,
        worst_grade=max(grades, default=None),
        prevalent=clear is None,
    )


def _worse(one: Look, other: Look) -> Look:
    if bool(one.affected) != bool(other.affected):
        return one if one.affected else other
    grades = [look.grade for look in (one, other) if look.grade is not None]
    return Look(one.on, one.affected, max(grades, default=None))


def _check(look: Look) -> None:
    if not isinstance(look.on, dt.date) or isinstance(look.on, dt.datetime):
        raise ValueError(f"on must be a date without a time of day, not {look.on!r}")
    if look.affected not in (True, False):
        raise ValueError(f"affected must be true or false, not {look.affected!r}")
    if look.grade is not None and not (math.isfinite(look.grade) and look.grade >= 0):
        raise ValueError(f"grade must be zero or more, not {look.grade!r}")


def _check_gap_limit(gap_limit_days: float) -> None:
    if not gap_limit_days > 0:
        raise ValueError(f"gap_limit_days must be above zero, not {gap_limit_days!r}")


def _merged_arrays(unit, day, affected) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The looks sorted by foot and day with one per foot and day, affected winning."""
    unit, day, affected = np.asarray(unit), np.asarray(day), np.asarray(affected)
    if not (unit.ndim == 1 and unit.shape == day.shape == affected.shape):
        raise ValueError("unit, day and affected must be one-dimensional and of one length")
    if unit.size == 0:
        return np.zeros(0, int), np.zeros(0, int), np.zeros(0, bool)
    for name, values in (("unit", unit), ("day", day)):
        if values.dtype.kind not in "iu":
            raise ValueError(f"{name} must hold whole numbers")
    if affected.dtype.kind not in "biu" or not np.isin(affected, (0, 1)).all():
        raise ValueError("affected must hold true or false only")
    unit, day, affected = unit.astype(np.int64), day.astype(np.int64), affected.astype(bool)
    order = np.lexsort((day, unit))
    unit, day, affected = unit[order], day[order], affected[order]
    first = np.r_[True, (unit[1:] != unit[:-1]) | (day[1:] != day[:-1])]
    merged = np.logical_or.reduceat(affected, np.flatnonzero(first))
    return unit[first], day[first], merged
