"""How often luck alone would make one day stand out as the one on which the rate changed.

Every bird's cases are dealt out anew over her own time watched, so that nothing but the calendar
is left to luck: birds that fall ill often stay as they are. Sores of both feet found on one day
are dealt out together. A day of a gap counts to the share of sores that last until the look that
ends it, so that closer looks, which find what would have healed unseen, do not pass for a rise.
The test by dealing out is that of Fisher (1935), for the largest of many statistics at once as in
Westfall & Young (1993) Resampling-Based Multiple Testing (both from memory).
"""

from __future__ import annotations

import numpy as np

from flockcare.analysis import limits
from flockcare.analysis.healing import HealingCurve

_MOST_DAYS = 600


def seen_days(widths: np.ndarray, curve: HealingCurve) -> np.ndarray:
    """Of each gap (days), the days in which a new sore would still be there at its end."""
    if curve.refusal or not widths.size:
        return widths.astype(float)
    grid = np.arange(int(np.ceil(widths.max())) + 2.0)
    lasting = np.interp(grid, np.r_[0.0, curve.times], np.r_[1.0, curve.remaining])
    return np.interp(widths, grid, np.r_[0.0, np.cumsum((lasting[1:] + lasting[:-1]) / 2)])


def hen_gaps(bird, left, right, affected):
    """The gaps by hen: both feet in one gap are one, sore at its end if either foot is."""
    rows = np.stack((bird, left, right, affected)).astype(np.int64)
    rows = rows[:, np.lexsort(rows[::-1])]
    last = np.ones(rows.shape[1], bool)  # Of each gap the sore one, which sorts last.
    last[:-1] = (rows[:3, 1:] != rows[:3, :-1]).any(0)
    bird, left, right, affected = rows[:, last]
    return bird, left, right, affected.astype(bool)


def luck_of_scan(
    bird, left, right, affected, curve: HealingCurve, deals: int = 1999, seed: int = 0
) -> float:
    """The p-value of the day that stands out most; not-a-number where no day can.

    Arrays of one length: number of the bird, days of the two looks, whether sore at the second.
    """
    bird, left, right, affected = hen_gaps(bird, left, right, affected)
    if not affected.any():
        return np.nan
    days = np.unique(right)[:-1]
    if days.size > _MOST_DAYS:
        days = days[np.linspace(0, days.size - 1, _MOST_DAYS).astype(int)]
    stretch = np.searchsorted(days, (left + right) / 2, side="left")
    size = days.size + 1
    _, case_bird = np.unique(bird[affected], return_inverse=True)
    time = _time_by_bird(bird, affected, stretch, seen_days(right - left, curve), size)
    share = np.cumsum(time, axis=1) / time.sum(1, keepdims=True)
    expected = np.bincount(case_bird) @ share[:, :-1]
    watched = np.cumsum(time.sum(0))[:-1] / time.sum()
    least, part = limits.MIN_DAYS_EACH_SIDE, limits.MIN_EXPOSURE_SHARE_EACH_SIDE
    allowed = (
        (days - left.min() >= least)
        & (right.max() - days >= least)
        & (watched >= part)
        & (watched <= 1 - part)
    )
    found = np.bincount(stretch[affected], minlength=size)
    observed = _largest(found[None], expected, allowed)[0]
    if not np.isfinite(observed):
        return np.nan
    dealt = _dealt(case_bird, share, deals, size, np.random.default_rng(seed))
    reached = (_largest(dealt, expected, allowed) >= observed - 1e-9).sum()
    return float((1 + reached) / (1 + deals))


def _time_by_bird(bird, affected, stretch, time, size: int) -> np.ndarray:
    """Time watched (B, S) of the birds with a case, by stretch between the candidate days."""
    names = np.unique(bird[affected])
    row = np.searchsorted(names, bird)
    hers = np.isin(bird, names)
    table = np.zeros((names.size, size))
    np.add.at(table, (row[hers], stretch[hers]), time[hers])
    return table


def _dealt(case_bird, share, deals: int, size: int, rng) -> np.ndarray:
    """Cases by stretch (deals, S), each case dealt into the time of its own bird."""
    table = np.zeros(deals * size, np.int64)
    offset = np.arange(deals) * size
    for row in case_bird.tolist():
        at = np.searchsorted(share[row], rng.random(deals), side="right")
        table[offset + np.minimum(at, size - 1)] += 1
    return table.reshape(deals, size)


def _largest(found: np.ndarray, expected: np.ndarray, allowed: np.ndarray) -> np.ndarray:
    """The largest gain over all days allowed, (deals,), of two levels over one."""
    total = found.sum(1, keepdims=True)
    before = np.cumsum(found, axis=1)[:, :-1]
    after = total - before
    with np.errstate(divide="ignore", invalid="ignore"):
        gain = before * np.log(before / expected) + after * np.log(after / (total - expected))
    least = limits.MIN_CASES_EACH_SIDE
    usable = allowed & (before >= least) & (after >= least)
    return np.where(usable, gain, -np.inf).max(axis=1, initial=-np.inf)
