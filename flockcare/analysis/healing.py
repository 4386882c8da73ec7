"""How long until a foot is seen clear again, and whether two groups differ in it.

Time runs from the first affected look to the first clear one ("checked-clear time": both ends
are seen late); a foot still affected at its last look is censored there.

Kaplan & Meier (1958) with Greenwood's variance and limits on the log(-log) scale; log-rank test
with the hypergeometric variance, Mantel (1966), Peto & Peto (1972) (all from memory).
`scipy.stats.ecdf` and `logrank` compute the same, but hand out neither the numbers at risk nor
standard error, expected number and variance.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import comb
from scipy.stats import chi2, norm

from . import limits
from .answers import Refusal, check_level
from .episodes import EpisodeArrays

_TIE = 1e-12


@dataclass(frozen=True, slots=True)
class HealingCurve:
    """Share of sores not yet healed after each time at which one healed; all lists as long.

    `remaining` is that share, `standard_error` Greenwood's, `low` and `high` its log-log limits;
    the last three are not-a-number once the share is zero. `median` is the first time by which
    half have healed; it and its limits are infinite where not reached.
    `shown_until` is the last time with enough feet still followed to draw the curve.
    `refusal` and `median_refusal` say why curve or median should not be shown.
    """

    times: tuple[float, ...]
    at_risk: tuple[int, ...]
    healed: tuple[int, ...]
    remaining: tuple[float, ...]
    standard_error: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    median: float
    median_low: float
    median_high: float
    cases: int = 0
    shown_until: float = 0.0
    refusal: Refusal | None = None
    median_refusal: Refusal | None = None


@dataclass(frozen=True, slots=True)
class LogRank:
    """Healed in the first group, as seen and as expected if both heal alike, and the test.

    `p` is from chi2 with one degree of freedom; `permutation_p`, where worked out, from permuting
    the groups over the birds. `refusal` says why the test should not be shown.
    """

    observed: int
    expected: float
    variance: float
    chi2: float
    p: float
    permutation_p: float = math.nan
    refusal: Refusal | None = None


def healing_curve(
    days: Sequence[float], healed: Sequence[bool], level: float = 0.95
) -> HealingCurve:
    """Kaplan-Meier curve of the time to healing, in any order; censored where not healed.

    A foot censored on a day on which another heals was still followed that day.
    Raises ValueError for days that are negative or not finite and lists of unlike length.
    """
    days, healed = _follow_up(days, healed, "days", "healed")
    check_level(level)
    times, at_risk, ended = _risk_table(days, healed)
    remaining = np.cumprod(1 - ended / at_risk)
    left = at_risk - ended
    sums = np.cumsum(ended / (at_risk * np.where(left > 0, left, np.nan)))
    with np.errstate(invalid="ignore", divide="ignore"):
        spread = norm.isf((1 - level) / 2) * np.sqrt(sums) / np.abs(np.log(remaining))
    low, high = remaining ** np.exp(spread), remaining ** np.exp(-spread)
    followed = np.sort(days)[::-1]
    least = limits.MIN_STILL_FOLLOWED
    return HealingCurve(
        times=tuple(times.tolist()),
        at_risk=tuple(at_risk.tolist()),
        healed=tuple(ended.tolist()),
        remaining=tuple(remaining.tolist()),
        standard_error=tuple((remaining * np.sqrt(sums)).tolist()),
        low=tuple(low.tolist()),
        high=tuple(high.tolist()),
        median=_first_time(times, remaining),
        median_low=_first_time(times, low),
        median_high=_first_time(times, high),
        cases=days.size,
        shown_until=float(followed[least - 1]) if days.size >= least else 0.0,
        refusal=_curve_refusal(days.size),
        median_refusal=_median_refusal(int(healed.sum())),
    )


def log_rank(
    days_a: Sequence[float],
    healed_a: Sequence[bool],
    days_b: Sequence[float],
    healed_b: Sequence[bool],
) -> LogRank:
    """Whether two groups heal alike: log-rank test in its variance form, for independent feet.

    Where nothing can be compared chi2 is 0 and p is 1. Errors as for `healing_curve`.
    """
    days_a, healed_a = _follow_up(days_a, healed_a, "days_a", "healed_a")
    days_b, healed_b = _follow_up(days_b, healed_b, "days_b", "healed_b")
    days, healed = np.concatenate((days_a, days_b)), np.concatenate((healed_a, healed_b))
    first = np.arange(days.size) < days_a.size
    times, at_risk, ended = _risk_table(days, healed)
    followed = _followed(days[first], times)
    observed = int(healed_a.sum())
    expected, variance = _log_rank_moments(followed, at_risk, ended)
    return _tested(observed, float(expected), float(variance), int(healed_b.sum()))


def log_rank_by_bird(
    days: Sequence[float],
    healed: Sequence[bool],
    first_group: Sequence[bool],
    bird: Sequence,
    simulations: int = 1999,
    seed: int = 0,
) -> LogRank:
    """`log_rank` with a p-value that allows for several sores of one bird.

    The group labels are permuted over birds, all sores of a bird together; birds with sores in
    both groups keep theirs. Four lists of one length; `bird` names the bird of each sore.
    Refused (as a value) where so few birds could never give a small p.
    """
    days, healed = _follow_up(days, healed, "days", "healed")
    first_group, names = _labels(first_group, bird, days.size)
    times, at_risk, ended = _risk_table(days, healed)
    count = int(names.max(initial=-1)) + 1
    in_first = np.bincount(names, first_group, count)
    whole = (in_first == 0) | (in_first == np.bincount(names, minlength=count))
    fixed = first_group & ~whole[names]
    share = _by_bird(names, days, healed, times, count)
    base = _followed(days[fixed], times), int(healed[fixed].sum())
    labels = (in_first > 0)[whole]
    rng = np.random.default_rng(seed)
    permuted = rng.permuted(np.tile(labels, (simulations, 1)), axis=1)
    permuted = np.vstack((labels, permuted)).astype(float)
    followed, ends = (permuted @ part[whole] for part in share)
    expected, variance = _log_rank_moments(followed + base[0], at_risk, ended)
    gap = np.abs(ends[:, 0] + base[1] - expected) / np.sqrt(np.where(variance > 0, variance, 1))
    p = float((1 + (gap[1:] >= gap[0] - 1e-9).sum()) / (1 + simulations))
    observed = int(healed[first_group].sum())
    plain = _tested(
        observed, float(expected[0]), float(variance[0]), int(healed.sum()) - observed, True
    )
    return LogRank(
        plain.observed,
        plain.expected,
        plain.variance,
        plain.chi2,
        plain.p,
        p,
        plain.refusal or _permutation_refusal(labels),
    )


def follow_up(episodes: EpisodeArrays) -> tuple[np.ndarray, np.ndarray]:
    """Days and whether healed, for `healing_curve`, of each episode whose start was seen.

    Still affected counts to the last affected look. A foot affected at its first look ever is
    left out: nobody knows for how long it had been.
    """
    healed = episodes.first_clear_after >= 0
    end = np.where(healed, episodes.first_clear_after, episodes.last_affected)
    seen = episodes.incident
    return (end - episodes.first_affected)[seen], healed[seen]


def days_lasting(widths: np.ndarray, curve: HealingCurve) -> np.ndarray:
    """Of each gap between two looks (days), the days in which a new sore would last to its end.

    The area under the curve, straight between its times; the whole gap where the curve is refused.
    """
    if curve.refusal or not widths.size:
        return widths.astype(float)
    grid = np.arange(int(np.ceil(widths.max())) + 2.0)
    lasting = np.interp(grid, np.r_[0.0, curve.times], np.r_[1.0, curve.remaining])
    return np.interp(widths, grid, np.r_[0.0, np.cumsum((lasting[1:] + lasting[:-1]) / 2)])


def _follow_up(days, healed, days_name: str, healed_name: str) -> tuple[np.ndarray, np.ndarray]:
    days, healed = np.asarray(list(days), float), np.asarray(list(healed))
    if days.ndim != 1 or days.shape != healed.shape:
        raise ValueError(f"{days_name} and {healed_name} must be lists of one length")
    if not (np.isfinite(days).all() and (days >= 0).all()):
        raise ValueError(f"{days_name} must be zero or more")
    if healed.size and not np.isin(healed, (0, 1)).all():
        raise ValueError(f"{healed_name} must say true or false")
    return days, healed.astype(bool)


def _labels(first_group, bird, size: int) -> tuple[np.ndarray, np.ndarray]:
    first_group, bird = np.asarray(list(first_group)), list(bird)
    if first_group.shape != (size,) or len(bird) != size:
        raise ValueError("first_group and bird must be as long as days")
    if size and not np.isin(first_group, (0, 1)).all():
        raise ValueError("first_group must say true or false")
    order = {name: i for i, name in enumerate(dict.fromkeys(bird))}
    return first_group.astype(bool), np.array([order[name] for name in bird], dtype=int)


def _risk_table(days: np.ndarray, healed: np.ndarray):
    """The times (T,) at which a foot healed, how many were followed then, how many healed."""
    times, ended = np.unique(days[healed], return_counts=True)
    return times, _followed(days, times), ended


def _followed(days: np.ndarray, times: np.ndarray) -> np.ndarray:
    return days.size - np.searchsorted(np.sort(days), times, side="left")


def _by_bird(names, days, healed, times, count: int) -> tuple[np.ndarray, np.ndarray]:
    """For each bird how many feet are followed at each time (B, T), and how many heal (B, 1)."""
    leaves = np.zeros((count, times.size + 1))
    np.add.at(leaves, (names, np.searchsorted(times, days, side="right")), 1)
    followed = leaves.sum(1, keepdims=True) - np.cumsum(leaves, axis=1)[:, :-1]
    return followed, np.bincount(names, healed, count)[:, None]


def _log_rank_moments(followed: np.ndarray, at_risk: np.ndarray, ended: np.ndarray):
    """Expected healed in the group with `followed` (..., T) feet, and the variance, (...)."""
    share = followed / at_risk
    several = at_risk > 1
    spread = ended * (at_risk - ended) / np.where(several, at_risk - 1, 1) * several
    return share @ ended.astype(float), (share * (1 - share)) @ spread


def _tested(
    observed: int, expected: float, variance: float, others: int, permuted: bool = False
) -> LogRank:
    statistic = (observed - expected) ** 2 / variance if variance > 0 else 0.0
    refusal = None
    facts = {"healed_first": observed, "healed_second": others}
    if min(observed, others) < limits.MIN_HEALED_PER_GROUP or (
        observed + others < limits.MIN_HEALED_FOR_LOG_RANK
    ):
        refusal = Refusal("too_few_healed", facts)
    elif not permuted and observed + others < limits.MIN_HEALED_FOR_CHI2:
        # So few need the test by bird, not the chi-square one.
        refusal = Refusal("needs_permutation", facts)
    p = float(chi2.sf(statistic, 1))
    return LogRank(observed, expected, variance, statistic, p, refusal=refusal)


def _first_time(times: np.ndarray, share: np.ndarray) -> float:
    reached = np.flatnonzero(share <= 0.5 + _TIE)
    return float(times[reached[0]]) if reached.size else math.inf


def _curve_refusal(cases: int) -> Refusal | None:
    if cases >= limits.MIN_CASES_FOR_CURVE:
        return None
    return Refusal("too_few_cases", {"cases": cases})


def _median_refusal(healed: int) -> Refusal | None:
    if healed >= limits.MIN_HEALED_FOR_MEDIAN:
        return None
    return Refusal("too_few_healed", {"healed": healed})


def _permutation_refusal(labels: np.ndarray) -> Refusal | None:
    ways = comb(labels.size, labels.sum(), exact=True)
    if 1 / ways <= limits.SIGN_LEVEL:
        return None
    return Refusal("too_few_birds", {"birds": int(labels.size), "smallest_p": 1 / ways})
