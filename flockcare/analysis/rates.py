"""Exact limits and comparisons for counts of cases over time watched.

Sources (all from memory): exact Poisson limits, Garwood (1936) Biometrika 28:437. Conditional
exact ratio, Przyborowski & Wilenski (1940) Biometrika 31:313, with Clopper-Pearson limits.
Pooled ratio, Mantel & Haenszel (1959), its variance Greenland & Robins (1985) Biometrics 41:55.
Adjustment for several tests, Holm (1979) Scand. J. Stat. 6:65. Sign-flip test, Fisher (1935).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.special import betainc, betainccinv, betaincinv
from scipy.stats import binom, chi2, norm

from . import limits
from .answers import Refusal, check_level

_EXACT_SIGN_FLIPS = 15
_RANDOM_SIGN_FLIPS = 9999
_FARTHEST_LOG_RATIO = 40.0


@dataclass(frozen=True, slots=True)
class RateRatio:
    """Rate after over rate before, with central exact limits and p-values.

    `p` is the central p-value, the one that agrees with `low` and `high`; `p_mid` its mid-p
    form, with limits `mid_low` and `mid_high`. `smallest_p_excess` and `smallest_p_deficit` are
    the smallest p this number of cases could have given in either direction.
    `refusal` says why the ratio should not be shown, where it should not.
    """

    ratio: float
    low: float
    high: float
    p: float
    p_mid: float
    smallest_p_excess: float
    smallest_p_deficit: float
    mid_low: float = math.nan
    mid_high: float = math.nan
    refusal: Refusal | None = None


@dataclass(frozen=True, slots=True)
class PooledRatio:
    """Mantel-Haenszel ratio over strata, its test (chi2, p), and whether the strata agree.

    `homogeneity_chi2` weighs the strata's log ratios; where a stratum has no case on one side it
    is the score form instead. `dropped` lists the strata without cases or without time on one
    side. `refusal` says why the pooled figure should not be shown, where it should not.
    """

    ratio: float
    low: float
    high: float
    homogeneity_chi2: float
    homogeneity_p: float
    chi2: float
    p: float
    homogeneity_score_chi2: float
    crude: float
    dropped: tuple[int, ...]
    refusal: Refusal | None = None


@dataclass(frozen=True, slots=True)
class ExactRatio:
    """The ratio common to all strata, with central exact limits and p-value given each total.

    `ratio` is the conditional maximum likelihood estimate; the smallest p are as in `RateRatio`.
    Without a stratum that says anything the ratio is not-a-number, its limits 0 and infinity and
    p = 1. `dropped` lists the strata without cases or without time on one side.
    """

    ratio: float
    low: float
    high: float
    p: float
    smallest_p_excess: float
    smallest_p_deficit: float
    dropped: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class SignFlip:
    """p-values of the sign-flip test; `p_one_sided` is for differences above zero.

    `birds` counts the differences that are not zero. `refusal` says where so few birds could
    never give a small p.
    """

    p_one_sided: float
    p_two_sided: float
    total: float = 0.0
    birds: int = 0
    exact: bool = True
    refusal: Refusal | None = None


def poisson_interval(count: int, level: float = 0.95) -> tuple[float, float]:
    """Exact two-sided limits for the mean of a Poisson count (Garwood).

    Divide by the time watched for limits of the rate. Zero gives 0 and -log((1-level)/2).
    Raises ValueError for a count that is not a whole number of zero or more.
    """
    count = _whole("count", count)
    check_level(level)
    tail = (1 - level) / 2
    low = chi2.ppf(tail, 2 * count) / 2 if count else 0.0
    return float(low), float(chi2.isf(tail, 2 * count + 2) / 2)


def rate_ratio(
    after_count: int,
    after_time: float,
    before_count: int,
    before_time: float,
    level: float = 0.95,
) -> RateRatio:
    """Ratio of two rates, exact given the total of cases (any one unit of time for both).

    No case before gives infinity, none after gives 0, none at all no ratio and p = 1; no time
    on one side gives not-a-number throughout. Raises ValueError for counts that are not whole
    numbers of zero or more and for times that are negative or not finite.
    """
    after_count = _whole("after_count", after_count)
    before_count = _whole("before_count", before_count)
    after_time, before_time = _time("after_time", after_time), _time("before_time", before_time)
    check_level(level)
    if after_time == 0 or before_time == 0:
        return RateRatio(*[math.nan] * 9, refusal=Refusal("no_time"))
    total, share = after_count + before_count, after_time / (after_time + before_time)
    excess, deficit = min(1.0, 2 * share**total), min(1.0, 2 * (1 - share) ** total)
    if total == 0:
        return RateRatio(
            math.nan, 0.0, math.inf, 1.0, 1.0, 1.0, 1.0, 0.0, math.inf, Refusal("no_cases")
        )
    split, odds = (after_count, total, share), before_time / after_time
    ratio = after_count / before_count * odds if before_count else math.inf
    low, high = _clopper_pearson(after_count, total, level)
    mid_low, mid_high = _mid_p_limits(after_count, total, level)
    return RateRatio(
        ratio=ratio,
        low=_odds(low) * odds,
        high=_odds(high) * odds,
        p=_doubled(_at_most(*split), _at_least(*split)),
        p_mid=_doubled(_mid_below(*split), _mid_above(*split)),
        smallest_p_excess=excess,
        smallest_p_deficit=deficit,
        mid_low=_odds(mid_low) * odds,
        mid_high=_odds(mid_high) * odds,
        refusal=_ratio_refusal(after_count, before_count, excess, deficit),
    )


def pooled_ratio(
    strata: Iterable[tuple[int, float, int, float]], level: float = 0.95
) -> PooledRatio:
    """Mantel-Haenszel ratio of rates over (after_count, after_time, before_count, before_time).

    With no case on one side in any stratum the ratio is 0 or infinity and its limits come from
    the exact stratified law instead. The strata's agreement is tested only where two or more
    have MIN_CASES_PER_STRATUM cases. Errors as for `rate_ratio`.
    """
    check_level(level)
    rows, dropped = _strata(strata)
    x1, t1, x0, t0 = np.delete(rows, dropped, axis=0).T
    n, t = x1 + x0, t1 + t0
    crude = _crude(rows)
    if not n.sum():
        return PooledRatio(*[math.nan] * 8, crude, dropped, Refusal("no_usable_stratum"))
    r, s = (x1 * t0 / t).sum(), (x0 * t1 / t).sum()
    ratio = r / s if s else math.inf
    if r and s:
        spread = math.sqrt((n * t1 * t0 / t**2).sum() / (r * s)) * norm.isf((1 - level) / 2)
        low, high = float(ratio * math.exp(-spread)), float(ratio * math.exp(spread))
    else:
        low, high = _stratified_limits(x1, n, t1 / t0, level)
    score = (x1.sum() - (n * t1 / t).sum()) ** 2 / (n * t1 * t0 / t**2).sum()
    wald, form = _homogeneity(x1, t1, x0, t0, ratio)
    return PooledRatio(
        ratio=float(ratio),
        low=low,
        high=high,
        homogeneity_chi2=wald,
        homogeneity_p=float(chi2.sf(wald, n.size - 1)) if not math.isnan(wald) else math.nan,
        chi2=float(score),
        p=float(chi2.sf(score, 1)),
        homogeneity_score_chi2=form,
        crude=crude,
        dropped=dropped,
        refusal=_pooling_refusal(len(rows), n),
    )


def exact_ratio(strata: Iterable[tuple[int, float, int, float]], level: float = 0.95) -> ExactRatio:
    """Exact ratio of rates common to any number of strata, each conditional on its total.

    Strata (after_count, after_time, before_count, before_time). The cases after are a sum of
    binomials, one for each stratum; one stratum gives what `rate_ratio` gives. Errors as there.
    """
    check_level(level)
    rows, dropped = _strata(strata)
    x1, t1, x0, t0 = np.delete(rows, dropped, axis=0).T
    total, n, odds = int(x1.sum()), x1 + x0, t1 / t0
    if not n.size:
        return ExactRatio(math.nan, 0.0, math.inf, 1.0, 1.0, 1.0, dropped)
    low, high = _stratified_limits(x1, n, odds, level)
    law = _stratified_law(n, odds, 0.0)
    return ExactRatio(
        ratio=_likeliest(total, n, odds),
        low=low,
        high=high,
        p=_doubled(float(law[: total + 1].sum()), float(law[total:].sum())),
        smallest_p_excess=min(1.0, 2 * float(law[-1])),
        smallest_p_deficit=min(1.0, 2 * float(law[0])),
        dropped=dropped,
    )


def overdispersion(counts: Sequence[float], expected: Sequence[float]) -> float:
    """Spread of counts over birds against what chance gives: Pearson's chi2 over birds less one.

    Birds without time (expected and count zero) are left out; fewer than two birds give
    not-a-number. Raises ValueError for lists of unlike length, negative numbers, and a bird with
    cases where none could be.
    """
    counts, expected = _numbers("counts", counts), _numbers("expected", expected)
    if counts.shape != expected.shape:
        raise ValueError("counts and expected must be of one length")
    if (counts < 0).any():
        raise ValueError("counts must be zero or more")
    if (expected < 0).any() or (counts[expected == 0] > 0).any():
        raise ValueError("expected must be above zero wherever there are cases")
    seen = expected > 0
    if seen.sum() < 2:
        return math.nan
    gap = counts[seen] - expected[seen]
    return float((gap**2 / expected[seen]).sum() / (seen.sum() - 1))


def holm(ps: Sequence[float]) -> list[float]:
    """p-values adjusted for their number (Holm), in the order given.

    Raises ValueError for a p that does not lie between 0 and 1.
    """
    ps = _numbers("ps", ps)
    if ((ps < 0) | (ps > 1)).any():
        raise ValueError("ps must lie between 0 and 1")
    order = np.argsort(ps, kind="stable")
    steps = np.maximum.accumulate(ps[order] * np.arange(ps.size, 0, -1))
    adjusted = np.empty(ps.size)
    adjusted[order] = np.minimum(steps, 1.0)
    return adjusted.tolist()


def sign_flip(differences: Sequence[float], seed: int = 0) -> SignFlip:
    """Sign-flip test that differences by bird centre on zero, by their sum.

    All sign patterns for up to 15 differences that are not zero, 9,999 random ones beyond.
    Exact where each bird was watched equally long on both sides, else approximate.
    Raises ValueError for differences that are not finite.
    """
    values = _numbers("differences", differences)
    values = values[values != 0]
    total, m = float(values.sum()), values.size
    refusal = None
    if 2.0 ** (1 - m) > limits.SIGN_LEVEL:
        refusal = Refusal(
            "too_few_birds",
            {"birds": m, "smallest_p": min(1.0, 2.0 ** (1 - m))},
        )
    if m == 0:
        return SignFlip(1.0, 1.0, refusal=refusal)
    # Sums that differ by rounding only are ties; `scipy.stats.permutation_test` takes them apart.
    slack = 1e-9 * np.abs(values).sum()
    if m <= _EXACT_SIGN_FLIPS:
        sums = np.zeros(1)
        for value in values:
            sums = np.concatenate((sums - value, sums + value))
        one, two = (sums >= total - slack).mean(), (np.abs(sums) >= abs(total) - slack).mean()
        return SignFlip(float(one), float(two), total, m, True, refusal)
    signs = np.random.default_rng(seed).integers(0, 2, (_RANDOM_SIGN_FLIPS, m)) * 2 - 1
    sums = signs @ values
    one = (1 + (sums >= total - slack).sum()) / (1 + sums.size)
    two = (1 + (np.abs(sums) >= abs(total) - slack).sum()) / (1 + sums.size)
    return SignFlip(float(one), float(two), total, m, False, refusal)


def _at_least(x: int, n: int, share: float) -> float:
    """P(X >= x) of a binomial law, by the incomplete beta function."""
    return float(betainc(x, n - x + 1, share)) if 0 < x <= n else float(x <= 0)


def _at_most(x: int, n: int, share: float) -> float:
    return _at_least(n - x, n, 1 - share)


def _mid_above(x: int, n: int, share: float) -> float:
    """P(X > x) and half of P(X = x)."""
    return (_at_least(x, n, share) + _at_least(x + 1, n, share)) / 2


def _mid_below(x: int, n: int, share: float) -> float:
    return _mid_above(n - x, n, 1 - share)


def _doubled(below: float, above: float) -> float:
    return min(1.0, 2 * min(below, above))


def _clopper_pearson(x: int, n: int, level: float) -> tuple[float, float]:
    tail = (1 - level) / 2
    low = float(betaincinv(x, n - x + 1, tail)) if x else 0.0
    high = float(betainccinv(x + 1, n - x, tail)) if x < n else 1.0
    return low, high


def _mid_p_limits(x: int, n: int, level: float) -> tuple[float, float]:
    tail = (1 - level) / 2
    low = brentq(lambda share: _mid_above(x, n, share) - tail, 0.0, 1.0, xtol=1e-14) if x else 0.0
    if x == n:
        return low, 1.0
    return low, brentq(lambda share: _mid_below(x, n, share) - tail, 0.0, 1.0, xtol=1e-14)


def _odds(share: float) -> float:
    return share / (1 - share) if share < 1 else math.inf


def _ratio_refusal(after: int, before: int, excess: float, deficit: float) -> Refusal | None:
    facts = {"before": before, "after": after}
    total = after + before
    if total < limits.MIN_CASES_FOR_RATIO:
        return Refusal("too_few_cases", facts)
    if min(excess, deficit) > limits.SIGN_LEVEL:
        return Refusal("unattainable", facts)
    if not after or not before:
        return Refusal("one_side_empty", facts)
    return None


def _crude(rows: np.ndarray) -> float:
    x1, t1, x0, t0 = rows.sum(0)
    if not (t1 and t0 and x1 + x0):
        return math.nan
    return float(x1 * t0 / (x0 * t1)) if x0 else math.inf


def _homogeneity(x1, t1, x0, t0, ratio: float) -> tuple[float, float]:
    """The weighted form (score form where a cell is empty) and the score form."""
    n = x1 + x0
    enough = (n >= limits.MIN_CASES_PER_STRATUM).sum() >= 2
    if not enough or not 0 < ratio < math.inf:
        return math.nan, math.nan
    share = ratio * t1 / (ratio * t1 + t0)
    score = float(((x1 - n * share) ** 2 / (n * share * (1 - share))).sum())
    if not (x1 * x0).all():
        return score, score
    gap = np.log(x1 * t0 / (x0 * t1)) - math.log(ratio)
    return float((gap**2 / (1 / x1 + 1 / x0)).sum()), score


def _stratified_limits(x1, n, odds, level: float) -> tuple[float, float]:
    """Exact limits of the ratio common to all strata; the total is a sum of binomials."""
    total, tail = int(x1.sum()), (1 - level) / 2

    def law(log_ratio: float) -> np.ndarray:
        return _stratified_law(n, odds, log_ratio)

    def solve(excess) -> float:
        return math.exp(brentq(excess, -_FARTHEST_LOG_RATIO, _FARTHEST_LOG_RATIO, xtol=1e-12))

    low = solve(lambda at: law(at)[total:].sum() - tail) if total else 0.0
    high = solve(lambda at: law(at)[: total + 1].sum() - tail) if total < n.sum() else math.inf
    return low, high


def _stratified_law(n, odds, log_ratio: float) -> np.ndarray:
    """Probabilities of 0, 1, … cases after in all strata together; `odds`: time after over before.

    Sums of binomials with unlike chances, by convolution.
    """
    pmf = np.ones(1)
    for m, one in zip(n.astype(int), odds, strict=True):
        share = 1 / (1 + math.exp(-log_ratio) / one)
        pmf = np.convolve(pmf, binom.pmf(np.arange(m + 1), m, share))
    return pmf


def _likeliest(total: int, n, odds) -> float:
    """The ratio at which as many cases are expected after as came."""
    if not 0 < total < n.sum():
        return math.inf if total else 0.0

    def excess(log_ratio: float) -> float:
        return float((n / (1 + math.exp(-log_ratio) / odds)).sum()) - total

    return math.exp(brentq(excess, -_FARTHEST_LOG_RATIO, _FARTHEST_LOG_RATIO, xtol=1e-12))


def _pooling_refusal(strata: int, cases: np.ndarray) -> Refusal | None:
    facts = {"strata": strata, "cases": float(cases.sum())}
    if strata > limits.MAX_STRATA:
        return Refusal("too_many_strata", facts)
    if cases.sum() < limits.MIN_CASES_FOR_POOLING:
        return Refusal("too_few_cases", facts)
    if cases.size < 2:
        return Refusal("one_stratum", facts)
    return None


def _strata(strata) -> tuple[np.ndarray, tuple[int, ...]]:
    """Checked rows (S, 4), and the places of those without cases or without time on one side."""
    rows = [
        (
            _whole("after_count", x1),
            _time("after_time", t1),
            _whole("before_count", x0),
            _time("before_time", t0),
        )
        for x1, t1, x0, t0 in strata
    ]
    silent = (i for i, (x1, t1, x0, t0) in enumerate(rows) if not (x1 + x0 and t1 and t0))
    return np.array(rows, float).reshape(-1, 4), tuple(silent)


def _whole(name: str, value: float) -> int:
    try:
        if math.isfinite(value) and value >= 0 and value == int(value):
            return int(value)
    except TypeError:
        pass
    raise ValueError(f"{name} must be a whole number of zero or more, not {value!r}")


def _time(name: str, value: float) -> float:
    if not (math.isfinite(value) and value >= 0):
        raise ValueError(f"{name} must be a time of zero or more, not {value!r}")
    return float(value)


def _numbers(name: str, values: Sequence[float]) -> np.ndarray:
    array = np.asarray(list(values), float)
    if array.ndim != 1 or not np.isfinite(array).all():
        raise ValueError(f"{name} must be a list of finite numbers")
    return array
