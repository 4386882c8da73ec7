"""Before and after one named change: which method fits the data, what it says, how sure it is.

The headline compares every bird with herself: the rate of bird b is a_b before and a_b times
the ratio after, on the interval-censored likelihood of `onset`, with each a_b profiled out.
A ratio over the whole flock drifts where birds differ, because those that fall ill often spend
less time at risk once rates or gaps between checks have changed; in the simulation study of
this repository it read 2.4 where 3 was true. A sore that came and went between two checks is
allowed for by the healing curve: a day t before the look at R counts as watched to the share of
sores that last longer than R - t.

Limits: on each side the wider of the profile likelihood's and those from the spread of the
birds' scores (t distribution), so that two sore feet of one bird do not pass for two cases.
Robust variance by clusters: Liang & Zeger (1986) Biometrika 73:13 (from memory). Profile over
one rate per unit, equal to conditioning on each unit's total for Poisson counts: Cameron &
Trivedi (1998) Regression Analysis of Count Data (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.stats import chi2
from scipy.stats import t as student

from . import limits
from .answers import Estimate, Refusal, check_level
from .clusters import around, effective_by_bird
from .episodes import PairArrays
from .healing import HealingCurve, days_lasting
from .onset import fit_widths, grouped_widths, limits_at_drop, pair_columns, period_widths
from .rates import RateRatio, overdispersion, rate_ratio

_FARTHEST_LOG_RATIO = 12.0


@dataclass(frozen=True, slots=True)
class Watched:
    """What was seen on either side of the change; straddling cases count on neither.

    Days are foot-days at risk. Gaps are the median days between looks, not-a-number where
    there are none. `largest_share` is the part of all cases that came from one bird.
    """

    cases_before: int
    cases_after: int
    straddling: int
    days_before: float
    days_after: float
    birds_both: int
    birds_with_cases: int
    largest_share: float
    check_days_before: int
    check_days_after: int
    gap_before: float
    gap_after: float

    @property
    def cases(self) -> int:
        """All cases, straddling ones too."""
        return self.cases_before + self.cases_after + self.straddling


@dataclass(frozen=True, slots=True)
class Comparison:
    """The answer about one change.

    `method` is "within_birds" (profile limits), "within_birds_robust" (limits from the spread
    over birds on one side at least), "one_sided" (no case on one side: a bound only) or
    "refused". `allows_for_healing`: whether sores that came and went between two checks count.
    `dispersion` is the spread of cases over birds, 1 where chance alone spreads them.
    `exact_all_before` and `exact_all_after` are the plain exact ratios over the flock with every
    straddling case put before, and after: a check by simple counting, without regard to birds or
    unseen sores.
    """

    method: str
    allows_for_healing: bool
    estimate: Estimate
    p: float
    dispersion: float
    watched: Watched
    exact_all_before: RateRatio
    exact_all_after: RateRatio
    refusal: Refusal | None = None

    def verdict(self, adjusted_p: float) -> str:
        """How sure the answer is, by the p that allows for everything that was tried.

        "refused"; "clear" or "some_sign", or "hint" on fewer than MIN_CASES_FOR_SIGN cases;
        "outnumbered" where only the p of this comparison alone is a sign; else "similar" where
        the range lies within SIMILAR_BETWEEN, and "wide" where it cannot tell.
        """
        if self.refusal:
            return "refused"
        seen, estimate = self.watched, self.estimate
        enough = seen.cases >= limits.MIN_CASES_FOR_SIGN
        many = seen.birds_with_cases >= limits.MIN_BIRDS_FOR_CLEAR
        if adjusted_p < limits.CLEAR_LEVEL and enough and many:
            return "clear"
        if adjusted_p <= limits.SIGN_LEVEL:
            return "some_sign" if enough else "hint"
        if self.p <= limits.SIGN_LEVEL:
            return "outnumbered"
        least, most = limits.SIMILAR_BETWEEN
        return "similar" if least < estimate.low <= 1 <= estimate.high < most else "wide"


def compare_arrays(
    bird,
    left,
    right,
    affected,
    change_day: float,
    healing: HealingCurve | None = None,
    level: float = 0.95,
) -> Comparison:
    """Each bird before against herself after a change made on `change_day` (an ordinal; that day
    is still "before").

    Arrays of one length, per pair in any order: number of the bird, days of the two looks,
    whether affected at the second. `healing` is the flock's healing curve; without it, or where
    it rests on too few cases, no allowance is made for sores that came and went between two
    checks.
    Raises ValueError for arrays of unlike length, bad pairs, and a day that is not finite.
    """
    check_level(level)
    if not math.isfinite(change_day):
        raise ValueError(f"change_day must be a finite day, not {change_day!r}")
    left, right, affected = pair_columns(PairArrays(bird, left, right, affected))
    bird = np.asarray(bird)
    if not bird.shape == left.shape == right.shape == affected.shape:
        raise ValueError("bird, left, right and affected must be of one length")
    bird = np.unique(bird, return_inverse=True)[1]
    edges = np.array([float(change_day)])
    plain = period_widths(left, right, edges)
    seen = _watched(bird, left, right, affected, plain)
    allowed = healing is not None and healing.refusal is None
    widths = _lasting_widths(left, right, change_day, healing) if allowed else plain
    data = _ByBird.of(bird, widths, affected)
    pooled = fit_widths(*grouped_widths(left, right, affected, edges))
    refusal = _refusal(seen, data)
    if refusal:
        blank = Estimate(math.nan, math.nan, math.nan, level, refusal)
        method, estimate, p = "refused", blank, math.nan
    else:
        method, estimate, p = _headline(data, level)
    exact_before = exact_after = _exact(seen, seen.straddling, 0, level)
    if seen.straddling:
        exact_after = _exact(seen, 0, seen.straddling, level)
    return Comparison(
        method=method,
        allows_for_healing=allowed,
        estimate=estimate,
        p=p,
        dispersion=_spread(effective_by_bird(bird, plain, affected, pooled)),
        watched=seen,
        exact_all_before=exact_before,
        exact_all_after=exact_after,
        refusal=refusal,
    )


def against(own: Comparison, other: Comparison) -> tuple[Estimate, float]:
    """The ratio of the changed birds over that of unchanged ones, and its two-sided p.

    What both share, such as the season, cancels. Errors of the log ratios are read off the limits
    and added in squares; t with the birds with cases of the smaller side less one. Refused, with
    p not-a-number, where either has no ratio with two finite ends.
    """
    level = own.estimate.level
    if own.refusal or other.refusal:
        return Estimate.refused("refused", level), math.nan
    ends = [end for one in (own, other) for end in (one.estimate.low, one.estimate.high)]
    if not all(math.isfinite(end) and end > 0 for end in ends):
        return Estimate.refused("one_sided", level), math.nan
    birds = min(own.watched.birds_with_cases, other.watched.birds_with_cases)
    squares = 0.0
    for one in (own, other):
        estimate = one.estimate
        farther = max(estimate.high / estimate.value, estimate.value / estimate.low)
        reach = student.isf((1 - level) / 2, max(one.watched.birds_with_cases - 1, 1))
        squares += (math.log(farther) / reach) ** 2
    error = math.sqrt(squares)
    value, freedom = own.estimate.value / other.estimate.value, max(birds - 1, 1)
    low, high = around(value, float(student.isf((1 - level) / 2, freedom)) * error)
    p = float(2 * student.sf(abs(math.log(value)) / error, freedom)) if error else math.nan
    return Estimate(value, low, high, level), p


@dataclass(frozen=True, slots=True)
class _ByBird:
    """The likelihood in which each bird has a rate of her own and all share one ratio.

    `clear` (B, 2) days at risk before and after in pairs that stayed clear; for each case
    `bird` (n,) and `widths` (n, 2). Only birds with a case and with days clear remain.
    """

    clear: np.ndarray
    bird: np.ndarray
    widths: np.ndarray

    @classmethod
    def of(cls, bird: np.ndarray, widths: np.ndarray, affected: np.ndarray) -> _ByBird:
        count = int(bird.max(initial=-1)) + 1
        stayed = widths * ~affected[:, None]
        clear = np.stack([np.bincount(bird, stayed[:, k], count) for k in (0, 1)], axis=1)
        days = np.stack([np.bincount(bird, widths[:, k], count) for k in (0, 1)], axis=1)
        # A bird seen on one side only cannot be compared with herself.
        useful = (np.bincount(bird, affected, count) > 0) & (days > 0).all(1) & (clear.sum(1) > 0)
        number = np.cumsum(useful) - 1
        hit = affected & useful[bird]
        return cls(clear[useful], number[bird[hit]], widths[hit])

    def per_bird(self, values: np.ndarray) -> np.ndarray:
        """Sums over each bird's cases, (B,)."""
        return np.bincount(self.bird, values, len(self.clear))

    def profile(self, log_ratio: float) -> tuple[float, np.ndarray, float]:
        """Highest log likelihood at this ratio, each bird's score (B,), and the information.

        Each bird's rate is found by Newton's method from below, which climbs without overshoot
        because the score is convex in the rate.
        """
        ratio = math.exp(log_ratio)
        x = self.widths[:, 0] + ratio * self.widths[:, 1]
        days = self.clear[:, 0] + ratio * self.clear[:, 1]
        rate = self.per_bird(np.ones(x.size)) / (days + self.per_bird(x) / 2)
        for _ in range(60):
            odds = 1 / np.expm1(np.minimum(rate[self.bird] * x, 700.0))
            score = self.per_bird(odds * x) - days
            step = score / self.per_bird(odds * (1 + odds) * x**2)
            rate = rate + step
            if (np.abs(step) <= 1e-11 * rate).all():
                break
        h, g = rate[self.bird] * x, rate[self.bird] * ratio * self.widths[:, 1]
        odds = 1 / np.expm1(np.minimum(h, 700.0))
        bend = odds * (1 + odds)
        after = rate * ratio * self.clear[:, 1]
        own = self.per_bird(bend * h * h)
        cross = self.per_bird(bend * g * h - odds * g) + after
        direct = self.per_bird(bend * g * g - odds * g) + after
        height = float(np.log(-np.expm1(-h)).sum() - rate @ days)
        scores = self.per_bird(odds * g) - after
        return height, scores, float((direct - cross**2 / own).sum())

    def best(self) -> float:
        """The log ratio that fits best; infinite where nothing speaks against it."""
        far = _FARTHEST_LOG_RATIO
        if self.profile(-far)[1].sum() <= 0:
            return -math.inf
        if self.profile(far)[1].sum() >= 0:
            return math.inf
        return brentq(lambda at: self.profile(at)[1].sum(), -far, far, xtol=1e-10)

    def smallest_p(self) -> tuple[float, float]:
        """Smallest two-sided p if every case had come after, and if every one before."""
        cases = self.per_bird(np.ones(self.bird.size))
        days = self.clear + np.stack([self.per_bird(self.widths[:, k]) / 2 for k in (0, 1)], axis=1)
        share = days / days.sum(1, keepdims=True)
        with np.errstate(divide="ignore"):
            before, after = np.exp(cases @ np.log(share)) if cases.size else (1.0, 1.0)
        return min(1.0, 2 * float(after)), min(1.0, 2 * float(before))


def _headline(data: _ByBird, level: float) -> tuple[str, Estimate, float]:
    best = data.best()
    if math.isinf(best):
        return _one_sided(data, best, level)
    top, scores, information = data.profile(best)

    def profile(log_ratio: float) -> float:
        return data.profile(log_ratio)[0]

    value, birds = math.exp(best), scores.size
    drop = float(chi2.ppf(level, 1)) / 2
    low, high = limits_at_drop(profile, top, value, drop, 1.0)
    error = math.sqrt(birds / (birds - 1) * float(scores @ scores)) / information
    reach = float(student.isf((1 - level) / 2, birds - 1)) * error
    robust_low, robust_high = around(value, reach)
    p = float(chi2.sf(2 * (top - profile(0.0)), 1))
    robust_p = 2 * float(student.sf(abs(best) / error, birds - 1)) if error else 0.0
    wider = Estimate(value, min(low, robust_low), max(high, robust_high), level)
    is_widened = wider.low != low or wider.high != high
    return "within_birds_robust" if is_widened else "within_birds", wider, max(p, robust_p)


def _one_sided(data: _ByBird, best: float, level: float):
    """A bound where no case (of birds seen on both sides) came before, or none after.

    The exact bound is where the likelihood has fallen to (1-level)/2; the fall is stretched by
    the mean number of cases that go together in a bird.
    """
    cases = data.per_bird(np.ones(data.bird.size))
    drop = -math.log((1 - level) / 2) * float(cases @ cases / cases.sum())
    value = 0.0 if best < 0 else math.inf
    end = math.copysign(_FARTHEST_LOG_RATIO, best)
    top = data.profile(end)[0]
    low, high = limits_at_drop(lambda at: data.profile(at)[0], top, value, drop, 1.0)
    p = min(1.0, 2 * math.exp((data.profile(0.0)[0] - top) / (cases @ cases / cases.sum())))
    return "one_sided", Estimate(value, low, high, level), p


def _lasting_widths(left, right, change_day: float, healing: HealingCurve) -> np.ndarray:
    """Days before and after (n, 2), each counted to the share of sores that last to the look."""
    after = days_lasting(right - np.clip(change_day, left, right), healing)
    return np.stack((days_lasting(right - left, healing) - after, after), axis=1)


def _spread(effective) -> float:
    """Cases over birds and sides against chance, given the rate of each side."""
    after, t1, before, t0 = effective
    if not (t1.sum() and t0.sum()):
        return math.nan
    expected = after.sum() * t1 / t1.sum() + before.sum() * t0 / t0.sum()
    counts = (after + before)[expected > 0]
    return overdispersion(counts, expected[expected > 0])


def _watched(bird, left, right, affected, widths) -> Watched:
    inside = widths > 0
    count = int(bird.max(initial=-1)) + 1
    before, after = (np.bincount(bird, inside[:, k], count) > 0 for k in (0, 1))
    cases = np.bincount(bird, affected, count)
    only = [affected & inside[:, k] & ~inside[:, 1 - k] for k in (0, 1)]
    gaps = [(right - left)[inside[:, k] & ~inside[:, 1 - k]] for k in (0, 1)]
    rounds = [np.unique(right[inside[:, 0] & ~inside[:, 1]]), np.unique(right[inside[:, 1]])]
    return Watched(
        cases_before=int(only[0].sum()),
        cases_after=int(only[1].sum()),
        straddling=int((affected & inside.all(1)).sum()),
        days_before=float(widths[:, 0].sum()),
        days_after=float(widths[:, 1].sum()),
        birds_both=int((before & after).sum()),
        birds_with_cases=int((cases > 0).sum()),
        largest_share=float(cases.max() / cases.sum()) if cases.any() else 0.0,
        check_days_before=rounds[0].size,
        check_days_after=rounds[1].size,
        gap_before=float(np.median(gaps[0])) if gaps[0].size else math.nan,
        gap_after=float(np.median(gaps[1])) if gaps[1].size else math.nan,
    )


def _exact(seen: Watched, before: int, after: int, level: float) -> RateRatio:
    """The plain exact ratio with so many straddling cases added on either side."""
    return rate_ratio(
        seen.cases_after + after,
        seen.days_after,
        seen.cases_before + before,
        seen.days_before,
        level,
    )


def _refusal(seen: Watched, data: _ByBird) -> Refusal | None:
    """The first of the reasons not to answer that applies, from the plainest on."""
    facts = {
        "cases": seen.cases,
        "cases_before": seen.cases_before,
        "cases_after": seen.cases_after,
        "straddling": seen.straddling,
        "days_before": seen.days_before,
        "days_after": seen.days_after,
        "birds_both": seen.birds_both,
        "birds_with_cases": seen.birds_with_cases,
        "birds_compared": len(data.clear),
    }
    reasons = {
        "no_time": seen.days_before == 0 or seen.days_after == 0,
        "too_little_time": min(seen.days_before, seen.days_after) < limits.MIN_FOOT_DAYS,
        "too_few_checks": min(seen.check_days_before, seen.check_days_after)
        < limits.MIN_CHECK_DAYS_EACH_SIDE,
        "no_cases": seen.cases == 0,
        "too_few_cases": seen.cases < limits.MIN_CASES_FOR_RATIO,
        "too_few_birds": seen.birds_both < limits.MIN_BIRDS_BOTH_SIDES,
        "straddling": seen.straddling > limits.MAX_STRADDLING_SHARE * seen.cases,
        "too_few_case_birds": len(data.clear) < limits.MIN_BIRDS_WITH_CASES,
        "unattainable": min(data.smallest_p()) > limits.SIGN_LEVEL,
    }
    code = next((code for code, applies in reasons.items() if applies), None)
    return Refusal(code, facts) if code else None
