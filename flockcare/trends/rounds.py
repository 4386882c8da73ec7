"""Which checks count as watching the flock, and which were made because a bird limped.

A check made because something was seen nearly always finds something. Counted beside rounds it
looks like a higher rate wherever rounds become fewer, or clear birds are no longer logged. So a
check counts on days on which many were checked, whatever was found; what was found in between
shows at the next such day, clear feet and sore ones alike.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from flockcare.trends import thresholds
from flockcare.trends.records import Looks, Records


def on_rounds(records: Records) -> np.ndarray:
    """Mask of the looks that count: made when ROUND_SHARE of the birds present, or of those of
    her house, were checked within ROUND_SPREAD_DAYS.

    All of them where most clear looks were made otherwise: then this flock has no rounds.
    """
    looks = records.looks
    if not looks.day.size:
        return np.ones(0, bool)
    first = int(looks.day.min())
    day, days = looks.day - first, int(looks.day.max()) - first + 1
    seen = _near(looks.bird, day, len(records.birds), days)
    present = _present(records, first, days)
    sore = _known_sore(looks, day, len(records.birds), days)
    counts = _enough(seen, present, sore)[day]
    for house in range(len(records.houses)):
        home = _living(records, house, first, days) & present
        full = home.sum(0) >= thresholds.MIN_BIRDS_FOR_HOUSE_ROUND
        counts |= home[looks.bird, day] & (_enough(seen, home, sore) & full)[day]
    clear = ~looks.affected
    return counts if counts[clear].mean() >= 0.5 else np.ones(looks.day.size, bool)


def _near(bird: np.ndarray, day: np.ndarray, birds: int, days: int) -> np.ndarray:
    """Whether each bird was looked at within ROUND_SPREAD_DAYS of each day (B, D)."""
    looked = np.zeros((birds, days), np.int32)
    looked[bird, day] = 1
    total = np.concatenate((np.zeros((birds, 1), np.int32), looked.cumsum(1)), axis=1)
    at = np.arange(days)
    reach = thresholds.ROUND_SPREAD_DAYS
    ends, starts = np.minimum(at + reach + 1, days), np.maximum(at - reach, 0)
    return total[:, ends] > total[:, starts]


def _present(records: Records, first: int, days: int) -> np.ndarray:
    """From her first look on, and until she left; until her last look where that is not known."""
    looks, size = records.looks, len(records.birds)
    start, last = np.full(size, days), np.full(size, -1)
    np.minimum.at(start, looks.bird, looks.day - first)
    np.maximum.at(last, looks.bird, looks.day - first)
    for number, bird in enumerate(records.birds):
        if bird.left_on is not None:
            last[number] = max(last[number], bird.left_on - first)
        elif bird.present:
            last[number] = days
    at = np.arange(days)
    return (start[:, None] <= at) & (at <= last[:, None])


def _living(records: Records, house: int, first: int, days: int) -> np.ndarray:
    at, found = np.arange(days) + first, np.zeros((len(records.birds), days), bool)
    for stay in records.stays:
        if stay.house == house:
            found[stay.bird] |= (stay.since <= at) & (at < stay.until)
    return found


def _known_sore(looks: Looks, day: np.ndarray, birds: int, days: int) -> np.ndarray:
    """Whether the last check of each bird before the days near each day found a sore (B, D)."""
    last = np.full((birds, days + 1), -1)
    checks, at = np.unique(looks.bird * (days + 1) + day + 1, return_inverse=True)
    last.flat[checks] = checks
    sore = np.zeros(last.size + 1, bool)
    sore[checks] = np.bincount(at, looks.affected) > 0
    known = sore[np.maximum.accumulate(last, axis=1)]
    reach = thresholds.ROUND_SPREAD_DAYS
    return known[:, np.maximum(np.arange(days) - reach, 0)]


def _enough(seen: np.ndarray, of: np.ndarray, sore: np.ndarray) -> np.ndarray:
    """Of all these birds, and of those last seen clear: sore ones are checked for their sores."""
    enough = np.ones(seen.shape[1], bool)
    for birds in (of, of & ~sore):
        enough &= (seen & birds).sum(0) >= thresholds.ROUND_SHARE * birds.sum(0)
    return enough


class OnlyCases(NamedTuple):
    """A keeper whose checks of birds that were clear before nearly all find a sore."""

    keeper: int
    name: str
    checks: int
    found: int


def only_cases(looks: Looks) -> tuple[OnlyCases, ...]:
    """The keepers who seem to log no clear birds, by what they found in birds last seen clear.

    Checks of birds that were already sore are left out: those follow a case.
    """
    if not looks.day.size:
        return ()
    key = looks.bird * 10_000_000 + looks.day
    checks, at = np.unique(key, return_inverse=True)
    sore = np.bincount(at, looks.affected, checks.size) > 0
    keeper = np.zeros(checks.size, np.int64)
    keeper[at] = looks.keeper
    same = np.r_[False, checks[1:] // 10_000_000 == checks[:-1] // 10_000_000]
    fresh = same & ~np.r_[True, sore[:-1]]
    made = np.bincount(keeper[fresh], minlength=int(looks.keeper.max()) + 1)
    found = np.bincount(keeper[fresh & sore], minlength=made.size)
    enough = made >= thresholds.MIN_CHECKS_OF_KEEPER
    few_clear = found >= thresholds.ONLY_CASES_SHARE * made
    return tuple(
        OnlyCases(one, looks.keepers[one] if looks.keepers else "", int(made[one]), int(found[one]))
        for one in np.flatnonzero(enough & few_clear).tolist()
    )
