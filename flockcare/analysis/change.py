"""When did the rate itself change, if it did, and what was changed at about that time?

Two questions that must not be mixed: for a change named beforehand, compare before and after
(`comparison`); only for "did anything change?" scan, and look at the list of changes afterwards.

The largest likelihood ratio over all days is far larger by chance than that for one day, so its
p-value comes from simulation under a constant rate: Hinkley & Hinkley (1970) Biometrika 57:477,
Jarrett (1979) Biometrika 66:191 for the coal-mining record (both from memory).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import binom

from . import limits
from .answers import Refusal
from .onset import best_rates, days_until, distinct_pairs, pair_columns, period_widths
from .rates import holm

_MAX_CANDIDATES = 600
_MAX_EXACT_DAYS = 200
_CELLS_AT_ONCE = 2_000_000
# Largest expected number of cases per pair for which the series below is good to four places.
_SERIES_REACH = 1.5


@dataclass(frozen=True, slots=True)
class ChangePoint:
    """The split that divides a row of counts best; `split` entries stand before it.

    `statistic` is twice the gain in log likelihood over one constant rate, `p` how often a
    constant rate gives as much. `refusal` says why it should not be shown, where it should not.
    """

    split: int
    rate_before: float
    rate_after: float
    statistic: float
    p: float
    refusal: Refusal | None = None


@dataclass(frozen=True, slots=True)
class ChangeScan:
    """The day (an ordinal) after which the rate was another, rates per day, and its p-value.

    Days between `first_plausible_day` and `last_plausible_day` fit nearly as well; a rough
    guide, no confidence interval. Where refused the days are None.
    """

    day: int | None
    first_plausible_day: int | None
    last_plausible_day: int | None
    rate_before: float
    rate_after: float
    p: float
    cases: int = 0
    refusal: Refusal | None = None


@dataclass(frozen=True, slots=True)
class WindowMatch:
    """Cases in the days after a change (or changes too close to tell apart).

    `share` is the part of all watched time in the window, which is what chance alone would put
    there of the cases; `p` tests for more than that, `adjusted_p` allows for all windows tried.
    """

    change_days: tuple[int, ...]
    cases_inside: int
    share: float
    p: float
    adjusted_p: float


@dataclass(frozen=True, slots=True)
class ChangeMatches:
    """Every change with the cases that followed it, and all windows taken together."""

    windows: tuple[WindowMatch, ...]
    cases: int
    cases_inside: int
    share: float
    p: float
    refusal: Refusal | None = None


def scan_counts(
    counts: Sequence[int],
    exposure: Sequence[float] | None = None,
    simulations: int = 9999,
    seed: int = 0,
) -> ChangePoint:
    """The best split of a row of counts in time order (never sorted) into two constant rates.

    `exposure` is the time watched in each entry, one each if not given. Every split with time
    on both sides is tried; p is from rows with the same total spread at one rate.
    Raises ValueError for counts that are not whole or below zero, exposures below zero or of
    another length, and cases in an entry without exposure.
    """
    counts, exposure = _row(counts, exposure)
    total, before = counts.sum(), np.cumsum(exposure)[:-1]
    whole = exposure.sum()
    usable = (before > 0) & (before < whole)
    if total == 0 or not usable.any():
        rate = total / whole if whole else math.nan
        return ChangePoint(0, rate, rate, 0.0, 1.0, Refusal("nothing_to_split"))
    gains = _poisson_gain(np.cumsum(counts)[:-1], total, before, whole)
    gains[~usable] = -math.inf
    best = _first_highest(gains)
    first = counts[: best + 1].sum()
    few = None
    if total < limits.MIN_CASES_FOR_SCAN:
        few = Refusal("too_few_cases", {"cases": int(total)})
    return ChangePoint(
        split=best + 1,
        rate_before=float(first / before[best]),
        rate_after=float((total - first) / (whole - before[best])),
        statistic=float(gains[best]),
        p=_multinomial_p(int(total), exposure, usable, gains[best], simulations, seed),
        refusal=few,
    )


def scan_pairs(pairs, simulations: int = 1999, seed: int = 0) -> ChangeScan:
    """The day on which the rate of new cases changed, from pairs of looks in any order.

    p is simulated on the very calendar of checks, since cases can only be found on check days.
    All birds are simulated alike; `permutation.scan_p_value` allows for birds that differ.
    With `simulations=0` p is not worked out and is not-a-number.
    Refused (as a value) below MIN_CASES_FOR_SCAN cases, MIN_CHECK_DAYS_FOR_SCAN days with
    checks, MIN_DAYS_FOR_SCAN days on record, or where no day has enough on both sides.
    Errors as for `onset.fit_rates`.
    """
    left, right, affected = pair_columns(pairs)
    cases, refusal = int(affected.sum()), _scan_refusal(left, right, affected)
    if refusal:
        return _no_scan(cases, refusal)
    calendar = _Calendar.of(left, right, affected)
    gains = calendar.gains(calendar.hits[None])[0]
    if not np.isfinite(gains).any():
        return _no_scan(cases, Refusal("one_sided", {"cases": cases}))
    p = _simulated_p(calendar, gains.max(), simulations, seed) if simulations else math.nan
    return _located(calendar, gains, (left, right, affected), p, cases)


def match_changes(
    pairs,
    change_days: Iterable[int],
    window_days: int = limits.MATCH_WINDOW_DAYS,
    neighbours_days: int | None = None,
) -> ChangeMatches:
    """Whether cases cluster in the `window_days` after the logged changes.

    A case stands at the middle of its pair. Changes closer together than the window cannot be
    told apart and become one. With `neighbours_days` each window is held against so many days
    before and after it instead of the whole record, so that a season, or a rate that fell later,
    does not pass for more cases after the change. The p-values are adjusted (Holm) for the
    number of windows; they hold for a window length fixed before looking.
    Refused (as a value) below MIN_CASES_FOR_RATIO cases, where the windows cover more than
    MAX_WINDOW_SHARE of the time watched, or where no window could reach a small p.
    Raises ValueError for a window not above zero and days that are not finite.
    """
    left, right, affected = pair_columns(pairs)
    days = sorted(set(change_days))
    if not window_days > 0 or not math.isfinite(window_days):
        raise ValueError(f"window_days must be above zero, not {window_days!r}")
    if not all(math.isfinite(day) for day in days):
        raise ValueError("change_days must be finite")
    groups: list[list[int]] = []
    for day in days:
        if groups and day - groups[-1][-1] < window_days:
            groups[-1].append(day)
        else:
            groups.append([day])
    watched = float((right - left).sum())
    middles = ((left + right) / 2)[affected]
    shares, inside, ps = [], [], []

    def within(start: float, end: float) -> tuple[int, float]:
        """Cases and time watched of the days (start, end]."""
        overlap = np.clip(np.minimum(right, end) - np.maximum(left, start), 0, None).sum()
        return int(((middles > start) & (middles <= end)).sum()), float(overlap)

    for group in groups:
        start, end = group[0], group[-1] + window_days
        found, time = within(start, end)
        shares.append(time / watched if watched else 0.0)
        inside.append(found)
        cases, days = middles.size, watched
        if neighbours_days is not None:
            cases, days = within(start - neighbours_days, end + neighbours_days)
        ps.append(_at_least(found, cases, time / days if days else 1.0))
    cases, share = middles.size, sum(shares)
    windows = tuple(
        WindowMatch(tuple(group), x, q, p, adjusted)
        for group, x, q, p, adjusted in zip(groups, inside, shares, ps, holm(ps), strict=True)
    )
    return ChangeMatches(
        windows,
        cases,
        sum(inside),
        share,
        _at_least(sum(inside), cases, share),
        _match_refusal(cases, share, shares),
    )


@dataclass(frozen=True, slots=True)
class _Calendar:
    """What the fast scan needs: everything by candidate day, C of them, in C+1 stretches.

    A pair that holds a candidate day gives its days to both sides but its case to the side of
    its middle; the p-value stays right, since the simulated data are treated the same way.
    """

    days: np.ndarray  # (C,) candidate days
    watched: np.ndarray  # (C,) days at risk up to each
    pairs: np.ndarray  # (C + 1,) pairs by the stretch their middle is in
    hits: np.ndarray  # (C + 1,) of these affected
    width: np.ndarray  # (C + 1,) mean width of the pairs, days
    total: float
    rate: float
    allowed: np.ndarray  # (C,) enough days and time watched on both sides

    @classmethod
    def of(cls, left, right, affected) -> _Calendar:
        days = np.unique(right)[:-1]
        if days.size > _MAX_CANDIDATES:
            days = days[np.linspace(0, days.size - 1, _MAX_CANDIDATES).astype(int)]
        width = right - left
        at = np.searchsorted(days, (left + right) / 2, side="left")
        size = days.size + 1
        pairs = np.bincount(at, minlength=size)
        total = float(width.sum())
        watched = days_until(days, left, right)
        share = limits.MIN_EXPOSURE_SHARE_EACH_SIDE * total
        least = limits.MIN_DAYS_EACH_SIDE
        start, end, clear, hits = distinct_pairs(left, right, affected)
        rate = float(best_rates((end - start)[:, None], clear, hits)[0][0])
        return cls(
            days=days,
            watched=watched,
            pairs=pairs,
            hits=np.bincount(at, affected, size),
            width=np.bincount(at, width, size) / np.maximum(pairs, 1),
            total=total,
            rate=rate,
            allowed=(days - left.min() >= least)
            & (right.max() - days >= least)
            & (watched >= share)
            & (total - watched >= share),
        )

    def gains(self, hits: np.ndarray) -> np.ndarray:
        """Twice the gain in log likelihood at each candidate day, (S, C), for hits (S, C+1).

        With x = rate * width, log(1 - exp(-x)) = log x - x/2 + x²/24 - ..., so counts, time and
        sums of squared widths, all cumulative, are enough.
        """
        n = np.cumsum(hits, axis=1)
        time = np.cumsum(hits * (self.width / 2), axis=1)
        square = np.cumsum(hits * (self.width**2 / 24), axis=1)
        if self.rate * self.width.max() > _SERIES_REACH:
            square[:] = 0
        all_n, all_time, all_square = n[:, -1:], time[:, -1:], square[:, -1:]
        n, time, square = n[:, :-1], time[:, :-1], square[:, :-1]
        gain = _peak(n, self.watched - time, square)
        gain += _peak(all_n - n, self.total - self.watched - (all_time - time), all_square - square)
        gain -= _peak(all_n, self.total - all_time, all_square)
        least = limits.MIN_CASES_EACH_SIDE
        return np.where(self.allowed & (n >= least) & (all_n - n >= least), 2 * gain, -math.inf)


def _peak(n: np.ndarray, time: np.ndarray, square: np.ndarray) -> np.ndarray:
    """The highest n log(rate) - rate time + rate² square, 0 where there are no cases."""
    time = np.maximum(time, 1e-9)
    rate = n / time
    for _ in range(2):
        rate = n / np.maximum(time - 2 * square * rate, time / 2)
    return n * np.log(np.where(n > 0, rate, 1)) - rate * (time - square * rate)


def _simulated_p(calendar: _Calendar, observed: float, simulations: int, seed: int) -> float:
    rng = np.random.default_rng(seed)
    size = calendar.pairs.size
    chance = -np.expm1(-calendar.rate * calendar.width)
    reached = 0
    for start in range(0, simulations, max(1, _CELLS_AT_ONCE // size)):
        rows = min(simulations - start, max(1, _CELLS_AT_ONCE // size))
        hits = rng.binomial(calendar.pairs, chance, (rows, size))
        reached += int((calendar.gains(hits).max(axis=1) >= observed - 1e-9).sum())
    return (1 + reached) / (1 + simulations)


def _located(calendar: _Calendar, gains, columns, p: float, cases: int) -> ChangeScan:
    """The best day and the plausible ones by the full likelihood, day by day near the top."""
    near = calendar.days[gains >= gains.max() - 2 * limits.PLAUSIBLE_DROP - 2]
    at = np.searchsorted(calendar.days, (near[0], near[-1]))
    edges = calendar.days[[max(at[0] - 1, 0), min(at[1] + 1, calendar.days.size - 1)]]
    allowed = calendar.days[calendar.allowed]
    edges = np.clip(edges, allowed[0], allowed[-1])
    days = np.unique(np.round(np.linspace(*edges, _MAX_EXACT_DAYS)))
    left, right, affected = columns
    start, end, clear, hits = distinct_pairs(left, right, affected)
    fits = [best_rates(period_widths(start, end, np.array([day])), clear, hits) for day in days]
    heights = np.array([height for _, height in fits])
    best = _first_highest(heights)
    plausible = days[heights >= heights[best] - limits.PLAUSIBLE_DROP]
    before, after = fits[best][0].tolist()
    return ChangeScan(
        day=int(days[best]),
        first_plausible_day=int(plausible[0]),
        last_plausible_day=int(plausible[-1]),
        rate_before=before,
        rate_after=after,
        p=p,
        cases=cases,
    )


def _scan_refusal(left, right, affected) -> Refusal | None:
    cases = int(affected.sum())
    if cases < limits.MIN_CASES_FOR_SCAN:
        return Refusal("too_few_cases", {"cases": cases})
    check_days = np.union1d(left, right).size
    if check_days < limits.MIN_CHECK_DAYS_FOR_SCAN:
        return Refusal("too_few_check_days", {"check_days": check_days})
    span = float(right.max() - left.min())
    if span < limits.MIN_DAYS_FOR_SCAN:
        return Refusal("too_short", {"days": span})
    return None


def _no_scan(cases: int, refusal: Refusal) -> ChangeScan:
    nan = math.nan
    return ChangeScan(None, None, None, nan, nan, nan, cases=cases, refusal=refusal)


def _first_highest(heights: np.ndarray) -> int:
    """The first of the highest, taking for equal what differs by rounding only."""
    return int(np.flatnonzero(heights >= heights.max() - 1e-9)[0])


def _row(counts, exposure) -> tuple[np.ndarray, np.ndarray]:
    counts = np.asarray(list(counts), float)
    exposure = np.ones(counts.size) if exposure is None else np.asarray(list(exposure), float)
    if counts.ndim != 1 or not np.isfinite(counts).all() or (counts < 0).any():
        raise ValueError("counts must be whole numbers of zero or more")
    if (counts % 1 != 0).any():
        raise ValueError("counts must be whole numbers of zero or more")
    if exposure.shape != counts.shape:
        raise ValueError("exposure must be as long as counts")
    if not np.isfinite(exposure).all() or (exposure < 0).any() or (counts[exposure == 0] > 0).any():
        raise ValueError("exposure must be finite, and above zero wherever there are cases")
    return counts, exposure


def _poisson_gain(first, total, before, whole):
    """Twice the gain in Poisson log likelihood of two rates over one."""

    def term(n, time):
        return n * np.log(np.where(n > 0, n, 1) / np.where(time > 0, time, 1))

    return 2 * (term(first, before) + term(total - first, whole - before) - term(total, whole))


def _multinomial_p(total, exposure, usable, observed, simulations: int, seed: int) -> float:
    rng = np.random.default_rng(seed)
    share, before = exposure / exposure.sum(), np.cumsum(exposure)[:-1]
    rows_at_once = max(1, _CELLS_AT_ONCE // exposure.size)
    reached = 0
    for start in range(0, simulations, rows_at_once):
        rows = min(rows_at_once, simulations - start)
        first = np.cumsum(rng.multinomial(total, share, rows), axis=1)[:, :-1][:, usable]
        gains = _poisson_gain(first, total, before[usable], exposure.sum())
        reached += int((gains.max(axis=1) >= observed - 1e-9).sum())
    return (1 + reached) / (1 + simulations)


def _at_least(inside: int, cases: int, share: float) -> float:
    return float(binom.sf(inside - 1, cases, min(share, 1.0))) if cases else 1.0


def _match_refusal(cases: int, share: float, shares: list[float]) -> Refusal | None:
    facts = {"cases": cases, "share": share, "windows": len(shares)}
    if not shares:
        return Refusal("no_changes", facts)
    if cases < limits.MIN_CASES_FOR_RATIO:
        return Refusal("too_few_cases", facts)
    if share > limits.MAX_WINDOW_SHARE:
        return Refusal("windows_cover_too_much", facts)
    if min(shares) ** cases * len(shares) > limits.SIGN_LEVEL:
        return Refusal("unattainable", facts)
    return None
