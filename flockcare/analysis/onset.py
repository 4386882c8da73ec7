"""Rates of new cases when all that is known is between which two looks a case began.

A pair of looks (left, right] starts clear. With w_k days of it in period k and rates lam_k per
day, H = sum lam_k w_k; it stays clear with probability exp(-H). The likelihood is that of
interval-censored data with a piecewise-constant hazard; for one period it is the
complementary log-log binomial model with offset log(w), also known from dilution series
(most probable number). It factorises over pairs because the clock restarts at each clear look.

Turnbull's estimate: Turnbull (1976), J. R. Stat. Soc. B 38:290 (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from scipy.optimize import brentq
from scipy.stats import chi2

from .answers import Estimate, check_level
from .episodes import PairArrays, RiskPairs

_STEPS = 200
_FARTHEST_LOG_RATIO = 40.0


@dataclass(frozen=True, slots=True)
class Likelihood:
    """The pairs of a data set, reduced to what the likelihood needs.

    `clear_days` (K,) days in each period of pairs that stayed clear; `widths` (G, K) days in
    each period of the distinct affected pairs and `hits` (G,) how often each occurs.
    """

    clear_days: np.ndarray
    widths: np.ndarray
    hits: np.ndarray

    def log_likelihood(self, rates: np.ndarray) -> float:
        """At finite rates (K,) per day."""
        with np.errstate(divide="ignore"):
            hit = np.log(-np.expm1(-(self.widths @ rates)))
        return float(self.hits @ hit - self.clear_days @ rates)

    def merged(self, k: int, base: int, ratio: float) -> Likelihood:
        """With the rate of period k held at `ratio` times that of period base."""
        keep = [j for j in range(self.clear_days.size) if j != k]
        clear, widths = self.clear_days.copy(), self.widths.copy()
        clear[base] += ratio * clear[k]
        widths[:, base] += ratio * widths[:, k]
        return Likelihood(clear[keep], widths[:, keep], self.hits)

    def without(self, k: int, rate: float) -> float:
        """Highest log likelihood with the rate of period k held at `rate`."""
        keep = [j for j in range(self.clear_days.size) if j != k]
        return _maximise_given(self, keep, self.widths[:, k] * rate) - self.clear_days[k] * rate


@dataclass(frozen=True, slots=True)
class RateFit:
    """Rates per day for each period, by maximum likelihood.

    A rate is not-a-number in a period without any time at risk, and infinite where every pair
    ended affected (the rate is too high for these gaps between checks). `standard_errors` come
    from the observed information and are not-a-number for a rate of zero or infinity: limits
    are better taken from `rate` and `ratio`.
    `cases` and `days` count affected pairs and days at risk by period; a pair across a cut is
    shared out by its days. `straddling` (one per cut) counts the cases whose pair holds it.
    """

    rates: tuple[float, ...]
    log_likelihood: float
    standard_errors: tuple[float, ...]
    cases: tuple[float, ...]
    days: tuple[float, ...]
    straddling: tuple[int, ...]
    likelihood: Likelihood = field(repr=False, compare=False)

    def rate(self, k: int = 0, level: float = 0.95) -> Estimate:
        """The rate of period k per day with profile-likelihood limits.

        At a rate of zero the upper limit is -log((1-level)/2) / days, the exact Poisson one,
        since the profile limit there is too short.
        """
        check_level(level)
        value = self.rates[self._period(k, "k")]
        if math.isnan(value):
            return _no_time(level)
        fixed = [j for j in range(len(self.rates)) if j != k]
        if any(math.isnan(self.rates[j]) for j in fixed):
            likelihood, k = self._observed(), sum(not math.isnan(r) for r in self.rates[:k])
        else:
            likelihood = self.likelihood
        scale = 1 / sum(self.days)
        low, high = _profile_limits(
            lambda log_rate: likelihood.without(k, math.exp(log_rate)),
            self.log_likelihood,
            value,
            level,
            scale,
        )
        return Estimate(value, low, high, level)

    def ratio(self, k: int = 1, base: int = 0, level: float = 0.95) -> Estimate:
        """The rate of period k over that of period base with profile-likelihood limits.

        The rates of all periods but their ratio are profiled out. Where one of the two rates is
        zero (or infinite) the ratio is 0 or infinity and has a bound on one side only, taken
        where the log likelihood has fallen by -log((1-level)/2): with equal gaps this is the
        exact binomial bound, while the usual fall of 1.92 would be too short.
        Refused (as a value) where a period has no time at risk, where neither has a case, and
        where both rates are infinite. Raises ValueError for a period that does not exist.
        """
        check_level(level)
        top, bottom = self.rates[self._period(k, "k")], self.rates[self._period(base, "base")]
        if k == base:
            raise ValueError("k and base must name two different periods")
        if math.isnan(top) or math.isnan(bottom):
            return _no_time(level)
        if top == bottom == 0:
            return Estimate.refused("no_cases", level)
        if math.isinf(top) and math.isinf(bottom):
            # The rates are too high for these gaps between checks.
            return Estimate.refused("all_affected", level)
        value = top / bottom if bottom > 0 else math.inf
        low, high = self.ratio_limits(_drop(level, value), k, base)
        return Estimate(value, low, high, level)

    def ratio_limits(self, drop: float, k: int = 1, base: int = 0) -> tuple[float, float]:
        """Where the profile log likelihood of the ratio has fallen by `drop` on either side."""
        observed = self._observed()
        shift = [sum(not math.isnan(r) for r in self.rates[:j]) for j in (k, base)]
        top, bottom = self.rates[k], self.rates[base]
        value = top / bottom if bottom > 0 else math.inf
        return limits_at_drop(
            lambda log_ratio: profile_log_likelihood(observed, log_ratio, *shift),
            self.log_likelihood,
            value,
            drop,
            1.0,
        )

    def _period(self, k: int, name: str) -> int:
        if not 0 <= k < len(self.rates):
            raise ValueError(f"{name} must name one of {len(self.rates)} periods, not {k!r}")
        return k

    def _observed(self) -> Likelihood:
        """The likelihood of the periods that have time at risk."""
        seen = [not math.isnan(rate) for rate in self.rates]
        one = self.likelihood
        return Likelihood(one.clear_days[seen], one.widths[:, seen], one.hits)


def fit_rates(
    pairs: Iterable[tuple[float, float, bool]] | RiskPairs | PairArrays,
    cuts: Sequence[float] = (),
) -> RateFit:
    """Constant rates of new cases in each period between the `cuts`, by maximum likelihood.

    `pairs` are (left_day, right_day, affected) in any order. A cut is a day that still belongs
    to the period before it. No pairs at all give a rate that is not a number.
    Raises ValueError for a pair that does not end after it starts or is not finite, and for
    cuts that do not increase.
    """
    left, right, affected = pair_columns(pairs)
    edges = np.asarray(cuts, float)
    if edges.ndim != 1 or not np.isfinite(edges).all() or (np.diff(edges) <= 0).any():
        raise ValueError("cuts must be finite days in increasing order")
    return fit_widths(*grouped_widths(left, right, affected, edges))


def fit_widths(widths: np.ndarray, clear: np.ndarray, hits: np.ndarray) -> RateFit:
    """`fit_rates` from days by period (G, K) of the distinct pairs and how often each stayed
    clear (G,) and was affected (G,)."""
    clear_days, hit = clear @ widths, hits > 0
    likelihood = Likelihood(clear_days, widths[hit], hits[hit])
    days = clear_days + likelihood.hits @ likelihood.widths
    rates, top = _maximise(likelihood)
    errors = _standard_errors(likelihood, rates)
    rates[days == 0] = math.nan
    inner = likelihood.widths > 0
    shares = likelihood.widths / np.maximum(likelihood.widths.sum(1, keepdims=True), 1e-300)
    straddling = [
        int(likelihood.hits @ (inner[:, :j].any(1) & inner[:, j:].any(1)))
        for j in range(1, widths.shape[1])
    ]
    return RateFit(
        tuple(rates.tolist()),
        top,
        tuple(errors.tolist()),
        tuple((likelihood.hits @ shares).tolist()),
        tuple(days.tolist()),
        tuple(straddling),
        likelihood,
    )


def pair_columns(pairs) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The pairs as float days (n,), (n,) and booleans (n,), checked.

    Raises ValueError that names what is wrong with `pairs`.
    """
    if isinstance(pairs, PairArrays):
        left, right, affected = pairs.left, pairs.right, pairs.affected
    else:
        rows = list(pairs.pairs if isinstance(pairs, RiskPairs) else pairs)
        if not rows:
            return np.zeros(0), np.zeros(0), np.zeros(0, bool)
        try:
            left, right, affected = np.asarray(rows, float).T
        except (TypeError, ValueError) as wrong:
            raise ValueError("pairs must be (left_day, right_day, affected)") from wrong
    left, right = np.asarray(left, float), np.asarray(right, float)
    if not (np.isfinite(left).all() and np.isfinite(right).all() and (right > left).all()):
        raise ValueError("pairs must each end after they start, on finite days")
    if not np.isin(affected, (0, 1)).all():
        raise ValueError("pairs must say true or false for affected")
    return left, right, np.asarray(affected, bool)


def distinct_pairs(left, right, affected):
    """The distinct (left, right], (G,) each, and how often each stayed clear and was affected."""
    order = np.lexsort((right, left))
    left, right, affected = left[order], right[order], affected[order]
    first = np.ones(left.size, bool)
    first[1:] = (left[1:] != left[:-1]) | (right[1:] != right[:-1])
    starts = np.flatnonzero(first)
    total = np.diff(np.r_[starts, left.size])
    hits = np.add.reduceat(affected.astype(float), starts) if left.size else np.zeros(0)
    return left[starts], right[starts], total - hits, hits


def grouped_widths(left, right, affected, edges):
    """Days by period (G, K) of the distinct pairs, and their clear (G,) and affected counts."""
    left, right, clear, hits = distinct_pairs(left, right, affected)
    return period_widths(left, right, edges), clear, hits


def period_widths(left: np.ndarray, right: np.ndarray, edges: np.ndarray) -> np.ndarray:
    """Days of each (left, right] in each of the periods that the `edges` separate, (n, K)."""
    bounds = np.concatenate(([-math.inf], edges, [math.inf]))
    return np.maximum(
        np.minimum(right[:, None], bounds[1:]) - np.maximum(left[:, None], bounds[:-1]), 0.0
    )


def days_until(edges, left: np.ndarray, right: np.ndarray, weight=1.0) -> np.ndarray:
    """Days of all (left, right] up to each of the `edges`, each pair's times its weight."""
    edges = np.asarray(edges, float)
    weight = np.broadcast_to(weight, left.shape)

    def passed(ends: np.ndarray) -> np.ndarray:
        """What has begun, or ended, by each edge."""
        order = np.argsort(ends, kind="stable")
        count = np.searchsorted(ends[order], edges, side="right")
        whole = np.r_[0.0, np.cumsum(weight[order])][count]
        return edges * whole - np.r_[0.0, np.cumsum((ends * weight)[order])][count]

    return passed(left) - passed(right)


def profile_log_likelihood(
    likelihood: Likelihood, log_ratio: float, k: int = 1, base: int = 0
) -> float:
    """Highest log likelihood with the rate of period k at exp(log_ratio) times that of base."""
    return _maximise(likelihood.merged(k, base, math.exp(log_ratio)))[1]


def best_rates(widths: np.ndarray, clear: np.ndarray, hits: np.ndarray) -> tuple[np.ndarray, float]:
    """Rates (K,) and highest log likelihood alone, where `fit_widths` would be called often."""
    hit = hits > 0
    return _maximise(Likelihood(clear @ widths, widths[hit], hits[hit]))


def interval_curve(intervals: Iterable[tuple[float, float]]) -> list[tuple[float, float, float]]:
    """Turnbull's curve for events known to lie in (left, right]: (left, right, mass) in order.

    `right` is infinity where the event was not seen by `left`. Mass is the share of events
    inside that innermost interval; where inside, nobody can tell. Innermost intervals
    without mass are left out; no intervals give an empty list.
    Raises ValueError for intervals that do not end after they start.
    """
    rows = list(intervals)
    if not rows:
        return []
    left, right = np.asarray(rows, float).T
    if not (np.isfinite(left).all() and (right > left).all()):
        raise ValueError("intervals must each end after they start, on finite left days")
    inner = _innermost(left, right)
    inside = (left[:, None] <= inner[:, 0]) & (inner[:, 1] <= right[:, None])
    patterns, counts = np.unique(inside, axis=0, return_counts=True)
    mass = _self_consistent(patterns.astype(float), counts / counts.sum())
    return [
        (float(a), float(b), float(m)) for (a, b), m in zip(inner, mass, strict=True) if m > 1e-7
    ]


def _innermost(left: np.ndarray, right: np.ndarray) -> np.ndarray:
    """Left ends directly followed by right ends (J, 2); right ends come first at ties."""
    ends = sorted({(day, 1) for day in left} | {(day, 0) for day in right})
    return np.array([(a[0], b[0]) for a, b in pairwise(ends) if (a[1], b[1]) == (1, 0)])


def _self_consistent(inside: np.ndarray, share: np.ndarray) -> np.ndarray:
    """The masses (J,) that reproduce themselves; `share` (n,) is how common each row is.

    Two steps of the self-consistency (EM) algorithm tell where it is heading; it is taken there
    at once where that does not lower the likelihood (squared extrapolation, Varadhan & Roland
    (2008) Scand. J. Stat. 35:335, from memory), since alone it may crawl for minutes.
    """

    def update(mass: np.ndarray) -> np.ndarray:
        return mass * ((share / (inside @ mass)) @ inside)

    def height(mass: np.ndarray) -> float:
        return float(share @ np.log(inside @ mass))

    mass = np.full(inside.shape[1], 1 / inside.shape[1])
    for _ in range(20_000):
        once = update(mass)
        twice = update(once)
        if np.abs(once - mass).max() < 1e-10:
            break
        first, bend = once - mass, twice - 2 * once + mass
        stride = np.sqrt((first @ first) / max(bend @ bend, 1e-300))
        leap = np.maximum(mass + 2 * stride * first + stride**2 * bend, 0.0)
        mass = twice
        if stride > 1 and (inside @ leap > 0).all():
            leap = update(leap / leap.sum())
            if height(leap) >= height(twice):
                mass = leap
    return once


def _no_time(level: float) -> Estimate:
    return Estimate.refused("no_time", level)


def _drop(level: float, value: float) -> float:
    """By how much the log likelihood may fall inside the limits."""
    if value == 0 or math.isinf(value):
        return -math.log((1 - level) / 2)
    return float(chi2.ppf(level, 1)) / 2


def _profile_limits(profile, top, value, level, scale) -> tuple[float, float]:
    return limits_at_drop(profile, top, value, _drop(level, value), scale)


def limits_at_drop(
    profile: Callable[[float], float], top: float, value: float, drop: float, scale: float
) -> tuple[float, float]:
    """The two crossings of `top - drop`, searched outwards from `value` on the log scale."""

    def excess(log_value: float) -> float:
        return top - profile(log_value) - drop

    centre = math.log(value) if 0 < value < math.inf else math.log(scale)
    low = 0.0 if value == 0 else _crossing(excess, centre, -1)
    high = math.inf if math.isinf(value) else _crossing(excess, centre, 1)
    return low, high


def _crossing(excess: Callable[[float], float], centre: float, direction: int) -> float:
    near, step = centre, 0.7 * direction
    while excess(near) > 0:  # only where the estimate is 0 or infinite
        near -= step
        step *= 2
    step = 0.7 * direction
    while excess(far := near + step) < 0:
        if abs(far - centre) > _FARTHEST_LOG_RATIO:
            return math.inf if direction > 0 else 0.0
        near = far
        step *= 2
    return math.exp(brentq(excess, near, far, xtol=1e-9))


def _maximise(one: Likelihood) -> tuple[np.ndarray, float]:
    """Rates (K,) and the highest log likelihood.

    A period whose pairs were all affected has an infinite rate; what touches it is then
    certain, says nothing about the other periods, and is set aside.
    """
    rates = np.zeros(one.clear_days.size)
    endless = (one.clear_days == 0) & (one.widths > 0).any(0)
    rates[endless] = math.inf
    rest = ~(one.widths[:, endless] > 0).any(1)
    free = ~endless & (one.widths[rest] > 0).any(0)
    if not free.any():
        return rates, 0.0
    part = Likelihood(one.clear_days[free], one.widths[rest][:, free], one.hits[rest])
    rates[free], top = _newton(part, np.zeros(part.hits.size))
    return rates, top


def _standard_errors(one: Likelihood, rates: np.ndarray) -> np.ndarray:
    """From the observed information at the fitted rates; not-a-number at zero and infinity."""
    inner = (rates > 0) & np.isfinite(rates)
    rest = ~(one.widths[:, np.isinf(rates)] > 0).any(1)
    widths = one.widths[rest][:, inner]
    odds = 1 / np.expm1(np.minimum(widths @ rates[inner], 700.0))
    information = (widths * (one.hits[rest] * odds * (1 + odds))[:, None]).T @ widths
    errors = np.full(rates.size, math.nan)
    errors[inner] = np.sqrt(np.diag(np.linalg.pinv(information)))
    return errors


def _maximise_given(one: Likelihood, keep: list[int], offset: np.ndarray) -> float:
    """Highest log likelihood over the periods `keep` when each affected pair also has `offset`."""
    part = Likelihood(one.clear_days[keep], one.widths[:, keep], one.hits)
    endless = (part.clear_days == 0) & (part.widths > 0).any(0)
    rest = ~(part.widths[:, endless] > 0).any(1)
    part = Likelihood(part.clear_days[~endless], part.widths[rest][:, ~endless], part.hits[rest])
    if not part.hits.size:
        return 0.0
    if not part.clear_days.size:
        with np.errstate(divide="ignore"):
            return float(part.hits @ np.log(-np.expm1(-offset[rest])))
    return _newton(part, offset[rest])[1]


def _newton(one: Likelihood, offset: np.ndarray) -> tuple[np.ndarray, float]:
    """Newton's method on the rates, which may not fall below zero; the problem is concave.

    A step is cut short before it would make a rate negative (clipping instead could turn it
    downhill) and halved until it climbs. A rate that dwindles is then set to zero.
    """
    rates = one.hits @ (one.widths / one.widths.sum(1, keepdims=True).clip(1e-300))
    rates /= one.clear_days + one.hits @ one.widths / 2
    cases = one.hits.sum()

    def height(at: np.ndarray) -> float:
        with np.errstate(divide="ignore"):
            hit = np.log(-np.expm1(-(one.widths @ at + offset)))
        return float(one.hits @ hit - one.clear_days @ at)

    top = height(rates)
    for _ in range(_STEPS):
        odds = 1 / np.expm1(np.minimum(one.widths @ rates + offset, 700.0))
        pull = one.hits * odds
        score = pull @ one.widths - one.clear_days
        information = (one.widths * (pull * (1 + odds))[:, None]).T @ one.widths
        gone = rates * one.clear_days < 1e-7 * cases
        rates[gone & (score < 0)] = 0.0
        free = (rates > 0) | (score > 0)
        if (np.abs(score * rates) < 1e-9 * cases).all() and (score[rates == 0] <= 0).all():
            break
        # Cases that all straddle leave the information singular; a touch of the EM algorithm's
        # curvature keeps the step uphill there and changes nothing elsewhere.
        curved = information + np.diag(
            1e-6 * one.clear_days**2 / (rates * one.clear_days + 1e-6 * cases)
        )
        step = _step(curved, score, free)
        if (blocked := gone & (step < 0)).any():
            step = _step(curved, score, free & ~blocked)
        falling = (step < 0) & ~gone
        fraction = min(1.0, *(0.95 * rates[falling] / -step[falling])) if falling.any() else 1.0
        for _ in range(40):
            trial = np.maximum(rates + fraction * step, 0.0)
            if (reached := height(trial)) > top:
                break
            fraction /= 2
        else:
            break
        rates, top = trial, reached
    return rates, top


def _step(curved: np.ndarray, score: np.ndarray, free: np.ndarray) -> np.ndarray:
    step = np.zeros(score.size)
    step[free] = np.linalg.solve(curved[np.ix_(free, free)], score[free])
    return step
