"""A permutation test for the one day on which the rate of new cases changed.

Every bird's cases are permuted over her own time watched, so that nothing but the calendar is
left to chance: birds that fall ill often stay as they are. Sores of both feet found on one day go
together. A day of a gap counts to the share of sores that last until the look that ends it, so
that closer looks, which find what would have healed unseen, do not pass for a rise.

Permutation: Fisher (1935); for the largest of many statistics at once, as in Westfall & Young
(1993) Resampling-Based Multiple Testing (both from memory). `scipy.stats.permutation_test` cannot
do it: each case is drawn by the time of its own bird, not exchanged with any other.
"""

from __future__ import annotations

import numpy as np

from . import limits
from .healing import HealingCurve, days_lasting

_MAX_CANDIDATES = 600


def pairs_by_bird(bird, left, right, affected):
    """The pairs of both feet of a bird over the same days as one, affected if either foot is.

    Arrays of one length: number of the bird, days of the two looks, whether affected at the
    second.
    """
    rows = np.stack((bird, left, right, affected)).astype(np.int64)
    rows = rows[:, np.lexsort(rows[::-1])]
    last = np.ones(rows.shape[1], bool)  # Of each pair the affected one, which sorts last.
    last[:-1] = (rows[:3, 1:] != rows[:3, :-1]).any(0)
    bird, left, right, affected = rows[:, last]
    return bird, left, right, affected.astype(bool)


def scan_p_value(
    bird, left, right, affected, curve: HealingCurve, permutations: int = 1999, seed: int = 0
) -> float:
    """The p-value of the day that stands out most; not-a-number where no day can.

    Arrays as for `pairs_by_bird`; `curve` is the healing curve of the flock.
    """
    bird, left, right, affected = pairs_by_bird(bird, left, right, affected)
    if not affected.any():
        return np.nan
    days = np.unique(right)[:-1]
    if days.size > _MAX_CANDIDATES:
        days = days[np.linspace(0, days.size - 1, _MAX_CANDIDATES).astype(int)]
    stretch = np.searchsorted(days, (left + right) / 2, side="left")
    size = days.size + 1
    _, case_bird = np.unique(bird[affected], return_inverse=True)
    time = _time_by_bird(bird, affected, stretch, days_lasting(right - left, curve), size)
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
    permuted = _permuted(case_bird, share, permutations, size, np.random.default_rng(seed))
    reached = (_largest(permuted, expected, allowed) >= observed - 1e-9).sum()
    return float((1 + reached) / (1 + permutations))


def _time_by_bird(bird, affected, stretch, time, size: int) -> np.ndarray:
    """Time watched (B, S) of the birds with a case, by stretch between the candidate days."""
    names = np.unique(bird[affected])
    row = np.searchsorted(names, bird)
    hers = np.isin(bird, names)
    table = np.zeros((names.size, size))
    np.add.at(table, (row[hers], stretch[hers]), time[hers])
    return table


def _permuted(case_bird, share, permutations: int, size: int, rng) -> np.ndarray:
    """Cases by stretch (permutations, S), each case at a random place in its own bird's time."""
    table = np.zeros(permutations * size, np.int64)
    offset = np.arange(permutations) * size
    for row in case_bird.tolist():
        at = np.searchsorted(share[row], rng.random(permutations), side="right")
        table[offset + np.minimum(at, size - 1)] += 1
    return table.reshape(permutations, size)


def _largest(found: np.ndarray, expected: np.ndarray, allowed: np.ndarray) -> np.ndarray:
    """The largest gain over all days allowed, (permutations,), of two levels over one."""
    total = found.sum(1, keepdims=True)
    before = np.cumsum(found, axis=1)[:, :-1]
    after = total - before
    with np.errstate(divide="ignore", invalid="ignore"):
        gain = before * np.log(before / expected) + after * np.log(after / (total - expected))
    least = limits.MIN_CASES_EACH_SIDE
    usable = allowed & (before >= least) & (after >= least)
    return np.where(usable, gain, -np.inf).max(axis=1, initial=-np.inf)
