"""Keeping the cases of one bird together: robust limits, and each bird's share of the cases.

Two feet of one hen, and her sores of two years, are not independent cases. Robust variance:
Liang & Zeger (1986) Biometrika 73:13 (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy.stats import t as student

from . import limits
from .answers import Estimate, check_level
from .onset import RateFit
from .rates import overdispersion


def clustered_ratio(
    after_counts: Sequence[float],
    after_times: Sequence[float],
    before_counts: Sequence[float],
    before_times: Sequence[float],
    level: float = 0.95,
) -> Estimate:
    """Ratio of two rates over all birds, with limits that keep each bird's cases together.

    The variance of the log ratio is B/(B-1) sum u_b², u_b = (n_b1 - rate1 T_b1)/n_1 -
    (n_b0 - rate0 T_b0)/n_0, which keeps the covariance of a bird that stands on both sides;
    limits from t with B-1 degrees of freedom. Four lists of one length, one entry per bird.
    Refused (as a value) where a side has no case or no time, or there is one bird only.
    """
    check_level(level)
    n1, t1, n0, t0 = (
        np.asarray(list(part), float)
        for part in (after_counts, after_times, before_counts, before_times)
    )
    if not n1.shape == t1.shape == n0.shape == t0.shape or n1.ndim != 1:
        raise ValueError("counts and times must be lists of one length")
    for name, part in (("counts", np.r_[n1, n0]), ("times", np.r_[t1, t0])):
        if not np.isfinite(part).all() or (part < 0).any():
            raise ValueError(f"{name} must be zero or more")
    if not (t1.sum() and t0.sum()):
        return Estimate.refused("no_time", level)
    if not (n1.sum() and n0.sum()):
        return Estimate.refused("one_side_empty", level)
    birds = int(((t1 > 0) | (t0 > 0)).sum())
    if birds < 2:
        return Estimate.refused("one_bird", level)
    u = (n1 / n1.sum() - t1 / t1.sum()) - (n0 / n0.sum() - t0 / t0.sum())
    reach = student.isf((1 - level) / 2, birds - 1) * math.sqrt(birds / (birds - 1) * (u @ u))
    value = float(n1.sum() / t1.sum() / (n0.sum() / t0.sum()))
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
