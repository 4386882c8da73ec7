"""Keeping the cases of one bird together: robust limits, and each bird's share of the cases.

Two feet of one hen, and her sores of two years, are not independent cases. Robust variance:
Liang & Zeger (1986) Biometrika 73:13; the ratio over strata: Rothman & Boice (1979), as Mantel &
Haenszel (both from memory).
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import t as student

from . import limits
from .answers import Estimate, check_level
from .onset import RateFit
from .rates import overdispersion


def clustered_ratio(
    after_counts: ArrayLike,
    after_times: ArrayLike,
    before_counts: ArrayLike,
    before_times: ArrayLike,
    level: float = 0.95,
) -> Estimate:
    """Ratio of two rates over all birds, with limits that keep each bird's cases together.

    Four arrays of one shape, (B,) birds or (strata, B). The ratio is that of Mantel-Haenszel, so
    only what was watched on both sides of a stratum counts; with one stratum it is the plain ratio
    of rates. The variance of its logarithm is B/(B-1) sum u_b², u_b the change of the logarithm
    with the counts and times of bird b, which keeps the covariance of a bird that stands on both
    sides; limits from t with B-1 degrees of freedom. Refused (as a value) where a side has no case
    or no time, or there is one bird only.
    """
    check_level(level)
    n1, t1, n0, t0 = (
        np.atleast_2d(np.asarray(part, float))
        for part in (after_counts, after_times, before_counts, before_times)
    )
    if not n1.shape == t1.shape == n0.shape == t0.shape or n1.ndim != 2:
        raise ValueError("counts and times must be arrays of one shape")
    for name, part in (("counts", np.r_[n1, n0]), ("times", np.r_[t1, t0])):
        if not np.isfinite(part).all() or (part < 0).any():
            raise ValueError(f"{name} must be zero or more")
    both = (t1.sum(1) > 0) & (t0.sum(1) > 0)
    n1, t1, n0, t0 = n1[both], t1[both], n0[both], t0[both]
    if not both.any():
        return Estimate.refused("no_time", level)
    if not (n1.sum() and n0.sum()):
        return Estimate.refused("one_side_empty", level)
    birds = int(((t1 > 0) | (t0 > 0)).any(0).sum())
    if birds < 2:
        return Estimate.refused("one_bird", level)
    share = (t1.sum(1) / (t1.sum(1) + t0.sum(1)))[:, None]
    after, before = ((1 - share) * n1).sum(), (share * n0).sum()
    value = float(after / before)
    cases = (n1.sum(1) / after + n0.sum(1) / before)[:, None] / (t1 + t0).sum(1)[:, None]
    u = (1 - share) * (n1 / after - t1 * cases) - share * (n0 / before - t0 * cases)
    u = u.sum(0)
    reach = student.isf((1 - level) / 2, birds - 1) * math.sqrt(birds / (birds - 1) * (u @ u))
    return Estimate(value, *around(value, float(reach)), level)


def ratio_p(ratio: Estimate, birds: int) -> float:
    """Two-sided p of the test that goes with the limits of `clustered_ratio` over these birds."""
    tail = (1 - ratio.level) / 2
    error = math.log(ratio.high / ratio.value) / student.isf(tail, birds - 1)
    return float(2 * student.sf(abs(math.log(ratio.value)) / error, birds - 1)) if error else 0.0


def spread_over_birds(cases, days) -> float:
    """Of cases (B,) over birds watched for `days` (B,), where chance alone gives 1.

    1 where there is no case or too few birds (MIN_BIRDS_FOR_DISPERSION) to judge it.
    """
    cases, days = np.asarray(cases, float), np.asarray(days, float)
    seen = days > 0
    if seen.sum() < limits.MIN_BIRDS_FOR_DISPERSION or not cases.any():
        return 1.0
    return overdispersion(cases[seen], cases.sum() * days[seen] / days.sum())


def widened(estimate: Estimate, spread: float) -> Estimate:
    """Its limits drawn apart on the log scale by the root of the spread; never drawn together."""
    value = estimate.value
    if not (math.isfinite(value) and value > 0 and spread > 1):
        return estimate
    root = math.sqrt(spread)
    low, high = value * (estimate.low / value) ** root, value * (estimate.high / value) ** root
    return replace(estimate, low=low, high=high)


def around(value: float, reach: float) -> tuple[float, float]:
    """`value` divided and multiplied by exp(`reach`)."""
    reach = min(reach, 500.0)
    return value * math.exp(-reach), value * math.exp(reach)


def effective_by_bird(bird, widths, affected, fit: RateFit):
    """Each bird's expected cases and days at risk after, and before, at the fitted rates.

    One step of the EM algorithm: a case stands in each period with the chance the rates give
    it, and its days at risk end when it is expected.
    """
    count = int(bird.max(initial=-1)) + 1
    rates = np.array([rate if math.isfinite(rate) else 0.0 for rate in fit.rates])
    hit = widths[affected]
    risk = hit * rates
    total = -np.expm1(-risk.sum(1))
    total = np.where(total > 0, total, 1)
    reach = np.exp(-risk[:, 0])
    chance = np.stack((1 - reach, reach * -np.expm1(-risk[:, 1])), axis=1) / total[:, None]
    small = risk < 1e-6
    safe = np.where(small, 1.0, risk)
    within = hit * np.where(small, 0.5 - risk / 12, 1 / safe - 1 / np.expm1(np.minimum(safe, 700)))
    days = chance * within
    days[:, 0] += chance[:, 1] * hit[:, 0]
    out = []
    for k in (1, 0):
        out.append(np.bincount(bird[affected], chance[:, k], count))
        clear = np.bincount(bird, widths[:, k] * ~affected, count)
        out.append(clear + np.bincount(bird[affected], days[:, k], count))
    return out
