"""Whether fewer eggs were laid than usual, by how often chance alone would bring so few.

The day's count, and the sum of the last three days, each against the 28 days before: the lower
tail of a predictive distribution, with the share laid per bird taken from those days. A hen lays
at most one egg a day (common knowledge, no published source), so that a count is about binomial;
what the days varied beyond that, and that the share is known from so many days only, widens it
(beta-binomial of the same mean and variance). Where counts are above the number of birds, or that
is not known, they are taken for Poisson, widened likewise (negative binomial). Two questions a
day: the smaller chance is doubled (Bonferroni), which is the chance of either on a day.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

BASE_DAYS, MIN_DAYS = 28, 14
SPANS = (1, 3)
# One false alarm in 200 days at most, for each house.
RARE = 1 / 200
# How much the days vary beyond chance is itself known from few days only: its upper limit, one
# sided, of this level.
SPREAD_LEVEL = 0.75


@dataclass(frozen=True)
class Fall:
    """``count`` eggs in ``days`` days; ``low`` to ``high`` were usual in as many (the middle 80 %
    of the days before, for as many birds). ``chance``: of so few or fewer on any one day.
    """

    days: int
    count: int
    low: int
    high: int
    chance: float


def fall(counts: Mapping[int, int], birds: Mapping[int, int], day: int) -> Fall | None:
    """The rarer of both answers for ``day``, if it is rare; None too where little is on record.

    ``counts``: eggs by day (any numbering without gaps); ``birds``: laying birds by day, all zero
    or missing where nobody knows.
    """
    found = [one for days in SPANS if (one := _asked(counts, birds, day, days))]
    if not found:
        return None
    rarest = min(found, key=lambda one: one.chance)
    return rarest if rarest.chance <= RARE else None


def _asked(counts, birds, day: int, days: int) -> Fall | None:
    now = range(day - days + 1, day + 1)
    before = [d for d in range(now[0] - BASE_DAYS, now[0]) if d in counts]
    if len(before) < MIN_DAYS or any(d not in counts for d in now):
        return None
    known = all(birds.get(d, 0) > 0 for d in (*before, *now))
    if not known and any(birds.get(d, 0) > 0 for d in (*before, *now)):
        before = [d for d in before if birds.get(d, 0) > 0]
        if len(before) < MIN_DAYS or any(birds.get(d, 0) <= 0 for d in now):
            return None
        known = True
    base = np.array([counts[d] for d in before], float)
    hens = np.array([birds[d] if known else 1 for d in before], float)
    ahead = float(sum(birds[d] if known else 1 for d in now))
    count = sum(counts[d] for d in now)
    if not base.sum():
        return None
    chance = lower_tail(count, ahead, base, hens, at_most_one=known)
    usual = np.quantile(base / hens, (0.1, 0.9)) * ahead
    low, high = (round(float(one)) for one in usual)
    return Fall(days, count, low, high, min(1.0, len(SPANS) * chance))


def lower_tail(
    count: int, ahead: float, base: Sequence[float], hens: Sequence[float], *, at_most_one: bool
) -> float:
    """Chance of ``count`` or fewer from ``ahead`` bird-days, after ``base`` counts of ``hens``."""
    base, hens = np.asarray(base, float), np.asarray(hens, float)
    total = hens.sum()
    binomial = at_most_one and bool((base <= hens).all()) and count <= ahead
    # Means by Jeffreys' priors, so that never an egg less, or never one at all, is not certain.
    share = (base.sum() + 0.5) / (total + 1 if binomial else total)
    each = share * (1 - share) if binomial else share
    pearson = ((base - hens * share) ** 2 / (hens * each)).sum()
    freedom = len(base) - 1
    spread = max(1.0, pearson / stats.chi2.ppf(1 - SPREAD_LEVEL, freedom))
    mean, variance = ahead * share, ahead * each * spread * (1 + ahead / total)
    if binomial and ahead > 1:
        alike = min((variance / (ahead * each) - 1) / (ahead - 1), 0.999)
        a, b = (part * (1 - alike) / alike for part in (share, 1 - share))
        return float(stats.betabinom.cdf(count, int(ahead), a, b))
    size = mean**2 / (variance - mean) if variance > mean else 1e9
    return float(stats.nbinom.cdf(count, size, size / (size + mean)))
