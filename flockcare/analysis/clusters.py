"""Keeping the cases of one bird together: robust limits, birds drawn anew, groups dealt anew.

Two feet of one hen, and her sores of two years, are not independent cases. Robust variance:
Liang & Zeger (1986) Biometrika 73:13. Drawing whole units anew: Efron & Tibshirani (1993).
Permutation of the units that were assigned: Fisher (1935). All from memory.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from scipy.special import comb
from scipy.stats import t as student

from . import limits
from .answers import Estimate, Refusal, check_level
from .onset import RateFit, fit_widths, grouped_widths, pair_columns, period_widths

_EXACT_WAYS = 20_000
_RANDOM_WAYS = 9_999


@dataclass(frozen=True, slots=True)
class BirdPairs:
    """One bird with the pairs of looks of both her feet, as `episodes.risk_pairs` gives them."""

    bird: Hashable
    pairs: Sequence[tuple[float, float, bool]]


@dataclass(frozen=True, slots=True)
class GroupPermutation:
    """Mean of the changed units less that of the others, and how often dealing the labels out
    anew gives as large a gap. `units` were dealt out; `refusal` says why p says nothing."""

    difference: float
    p: float
    units: int
    refusal: Refusal | None = None


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
        return Estimate.refused("no_time", "No time was watched on one side.", level)
    if not (n1.sum() and n0.sum()):
        return Estimate.refused("one_side_empty", "No new case on one side.", level)
    birds = int(((t1 > 0) | (t0 > 0)).sum())
    if birds < 2:
        return Estimate.refused("one_bird", "One bird says nothing about others.", level)
    u = (n1 / n1.sum() - t1 / t1.sum()) - (n0 / n0.sum() - t0 / t0.sum())
    reach = student.isf((1 - level) / 2, birds - 1) * math.sqrt(birds / (birds - 1) * (u @ u))
    value = float(n1.sum() / t1.sum() / (n0.sum() / t0.sum()))
    return Estimate(value, *around(value, float(reach)), level)


def bootstrap_ratio(
    birds: Iterable[BirdPairs],
    change_day: float,
    resamples: int = 1999,
    seed: int = 0,
    level: float = 0.95,
    pens: Sequence[Hashable] | None = None,
) -> Estimate:
    """Percentile limits of the ratio by drawing whole birds anew, within their pens if given.

    The ratio is the Mantel-Haenszel one over birds, of the cases and days at risk that the
    fitted rates lead one to expect of each bird. Samples without a case on one side stay in as
    0 or infinity; where more than MAX_EMPTY_RESAMPLES are such, only a one-sided bound is given.
    Refused (as a value) below MIN_BIRDS_FOR_BOOTSTRAP birds or MIN_CASE_BIRDS_FOR_BOOTSTRAP
    birds with a case.
    """
    check_level(level)
    records = list(birds)
    if pens is not None and len(pens) != len(records):
        raise ValueError("pens must name one pen for each bird")
    names, left, right, affected = bird_columns(records)
    return bootstrap_arrays(
        names, left, right, affected, change_day, len(records), resamples, seed, level, pens
    )


def bootstrap_arrays(
    bird,
    left,
    right,
    affected,
    change_day: float,
    birds: int,
    resamples: int = 1999,
    seed: int = 0,
    level: float = 0.95,
    pens: Sequence[Hashable] | None = None,
) -> Estimate:
    """`bootstrap_ratio` on arrays of one length; `bird` numbers the `birds` from 0."""
    bird, affected = np.asarray(bird), np.asarray(affected, bool)
    left, right = np.asarray(left, float), np.asarray(right, float)
    case_birds = np.unique(bird[affected]).size
    if birds < limits.MIN_BIRDS_FOR_BOOTSTRAP or case_birds < limits.MIN_CASE_BIRDS_FOR_BOOTSTRAP:
        reason = f"{birds} birds, {case_birds} of them with a case, are too few to redraw."
        return Estimate.refused("too_few_birds", reason, level, birds=birds, case_birds=case_birds)
    edges = np.array([float(change_day)])
    fit = fit_widths(*grouped_widths(left, right, affected, edges))
    after, t1, before, t0 = effective_by_bird(
        bird, period_widths(left, right, edges), affected, fit, birds
    )
    total = np.where(t1 + t0 > 0, t1 + t0, 1)
    top, bottom = after * t0 / total, before * t1 / total
    draws = _drawn(birds, pens, resamples, seed)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratios = (draws @ top) / (draws @ bottom)
        value = float(top.sum() / bottom.sum())
    ratios = ratios[~np.isnan(ratios)]
    if not ratios.size:
        return Estimate.refused("no_cases", "No new case that counts on either side.", level)
    low, high = np.quantile(ratios, ((1 - level) / 2, (1 + level) / 2), method="inverted_cdf")
    if (ratios == 0).mean() > limits.MAX_EMPTY_RESAMPLES:
        low = 0.0
    if np.isinf(ratios).mean() > limits.MAX_EMPTY_RESAMPLES:
        high = math.inf
    return Estimate(value, float(low), float(high), level)


def permute_groups(
    scores: Sequence[float],
    changed: Sequence[bool],
    pens: Sequence[Hashable] | None = None,
    seed: int = 0,
) -> GroupPermutation:
    """Whether birds whose housing changed fared otherwise than those whose did not.

    `scores` has one figure per bird (`rates.bird_differences`, say). The labels are dealt out
    over pens where whole pens were changed, and over birds only where birds were moved one by
    one. All ways up to 20,000, that many at random beyond. It does not mend what differs between
    the groups besides (season, age, feed).
    Refused (as a value) for one pen against one pen, without two groups, and where so few units
    could never give a small p. Raises ValueError for lists of unlike length, scores that are not
    finite, and a pen that is both changed and not.
    """
    scores, changed = np.asarray(list(scores), float), np.asarray(list(changed), bool)
    labels = list(range(scores.size)) if pens is None else list(pens)
    if not scores.size == changed.size == len(labels):
        raise ValueError("scores, changed and pens must be of one length")
    if not np.isfinite(scores).all():
        raise ValueError("scores must be finite")
    members: dict[Hashable, list[int]] = {}
    for i, label in enumerate(labels):
        members.setdefault(label, []).append(i)
    if any(len(set(changed[rows])) > 1 for rows in members.values()):
        raise ValueError("changed must be the same for all birds of a pen")
    sums = np.array([scores[rows].sum() for rows in members.values()])
    sizes = np.array([len(rows) for rows in members.values()], float)
    picked = np.array([changed[rows[0]] for rows in members.values()], bool)
    if picked.all() or not picked.any():
        reason = "There is no group of birds without the change to compare with."
        return GroupPermutation(math.nan, 1.0, sums.size, Refusal("no_groups", reason))
    ways = _ways(sums.size, int(picked.sum()), seed)
    ways = np.vstack((picked, ways))
    gaps = ways @ sums / (ways @ sizes) - (~ways) @ sums / ((~ways) @ sizes)
    reached = np.abs(gaps[1:]) >= abs(gaps[0]) - 1e-9 * np.abs(sums).sum()
    every = comb(sums.size, int(picked.sum()), exact=True)
    exact = every <= _EXACT_WAYS
    p = float(reached.mean() if exact else (1 + reached.sum()) / (1 + reached.size))
    return GroupPermutation(float(gaps[0]), p, sums.size, _dealing_refusal(sums.size, every))


def bird_columns(records: Sequence[BirdPairs]):
    """Bird number, left, right and affected of all pairs, one after the other."""
    columns = [pair_columns(record.pairs) for record in records]
    names = np.repeat(np.arange(len(columns)), [part[0].size for part in columns])
    empty = [(np.zeros(0), np.zeros(0), np.zeros(0, bool))]
    return names, *(np.concatenate(part) for part in zip(*(columns + empty), strict=True))


def around(value: float, reach: float) -> tuple[float, float]:
    """`value` divided and multiplied by exp(`reach`)."""
    reach = min(reach, 500.0)
    return value * math.exp(-reach), value * math.exp(reach)


def effective_by_bird(bird, widths, affected, fit: RateFit, count: int | None = None):
    """Each bird's expected cases and days at risk after, and before, at the fitted rates.

    One step of the EM algorithm: a case stands in each period with the chance the rates give
    it, and its days at risk end when it is expected.
    """
    count = count or int(bird.max(initial=-1)) + 1
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


def _ways(units: int, picked: int, seed: int) -> np.ndarray:
    """Ways to pick that many of the units, (W, units): all of them, or many at random."""
    if comb(units, picked, exact=True) <= _EXACT_WAYS:
        rows = np.array(list(combinations(range(units), picked)))
        ways = np.zeros((len(rows), units), bool)
        np.put_along_axis(ways, rows, True, axis=1)
        return ways
    first = np.arange(units) < picked
    return np.random.default_rng(seed).permuted(np.tile(first, (_RANDOM_WAYS, 1)), axis=1)


def _dealing_refusal(units: int, ways: int) -> Refusal | None:
    facts = {"units": units, "smallest_p": 1 / ways}
    if units == 2:
        reason = "One pen against one pen: what differs between them cannot be told from chance."
        return Refusal("one_pen_each", reason, facts)
    if 1 / ways > limits.SIGN_LEVEL:
        reason = f"{units} pens or birds are too few; no result could show a difference."
        return Refusal("too_few_units", reason, facts)
    return None


def _drawn(birds: int, pens, resamples: int, seed: int) -> np.ndarray:
    """How often each bird is drawn in each resample, (R, B), within pens."""
    rng = np.random.default_rng(seed)
    labels = [0] * birds if pens is None else list(pens)
    members: dict[Hashable, list[int]] = {}
    for bird, pen in enumerate(labels):
        members.setdefault(pen, []).append(bird)
    draws = np.zeros((resamples, birds))
    for pen in members.values():
        share = np.full(len(pen), 1 / len(pen))
        draws[:, pen] = rng.multinomial(len(pen), share, resamples)
    return draws
