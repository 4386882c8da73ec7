"""The scan for a change of rate: one published record, and flocks made up by a known rule."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom

from flockcare.analysis.change import _Calendar, match_changes, scan_counts, scan_pairs
from flockcare.analysis.episodes import PairArrays
from flockcare.analysis.onset import fit_rates

from .properties import examples

quick = examples(30)

# British coal-mining disasters by year, 1851-1962: Jarrett (1979) Biometrika 66:191 and Carlin,
# Gelfand & Smith (1992) (data read, their result from memory).
COAL = [
    4, 5, 4, 1, 0, 4, 3, 4, 0, 6, 3, 3, 4, 0, 2, 6, 3, 3, 5, 4, 5, 3, 1, 4, 4, 1, 5, 5, 3, 4, 2, 5,
    2, 2, 3, 4, 2, 1, 3, 2, 2, 1, 1, 1, 1, 3, 0, 0, 1, 0, 1, 1, 0, 0, 3, 1, 0, 3, 2, 2, 0, 1, 1, 1,
    0, 1, 0, 1, 0, 0, 0, 2, 1, 0, 0, 0, 1, 1, 0, 2, 3, 3, 1, 1, 2, 1, 1, 1, 1, 2, 3, 3, 0, 0, 0, 1,
    4, 0, 0, 0, 1, 0, 0, 0, 0, 0, 1, 0, 0, 1, 0, 1,
]  # fmt: skip


def flock(rates, feet=40, gap=7, seed=3):
    """Pairs of weekly looks at `feet` feet; `rates` gives the rate per day in each week."""
    rng = np.random.default_rng(seed)
    return [
        (gap * week, gap * week + gap, bool(hit))
        for week, rate in enumerate(rates)
        for hit in rng.random(feet) < -math.expm1(-rate * gap)
    ]


def test_coal_mining_disasters():
    got = scan_counts(COAL)
    assert 1851 + got.split - 1 == 1891
    assert (got.rate_before, got.rate_after) == (
        pytest.approx(3.1, abs=0.05),
        pytest.approx(0.9, abs=0.05),
    )
    # Computed: rates 127/41 and 64/71, statistic 69.988, p .0001 from 9,999 rows.
    assert got.rate_before == 127 / 41
    assert got.rate_after == 64 / 71
    assert got.statistic == pytest.approx(69.988, abs=5e-4)
    assert got.p == 1e-4
    assert got.refusal is None


def test_the_largest_ratio_is_not_chi2():
    """Computed: 95 % of the largest ratios over all years, at one rate, lie below about 9.99, so
    a year that gives 5 (p .025 by chi2) is nothing unusual."""
    rng = np.random.default_rng(8)
    rows = rng.multinomial(sum(COAL), np.full(112, 1 / 112), 1500)
    largest = [scan_counts(row, simulations=0).statistic for row in rows]
    assert np.quantile(largest, 0.95) == pytest.approx(9.99, abs=0.6)


def test_exposure_matters():
    counts, exposure = [2, 2, 8, 8], [10, 10, 40, 40]
    assert scan_counts(counts, exposure).statistic == pytest.approx(0, abs=1e-9)
    assert scan_counts(counts).split == 2
    assert scan_counts(counts).rate_before == 2


@pytest.mark.parametrize("counts", [[], [0], [4], [0, 0, 0]])
def test_counts_without_a_split(counts):
    got = scan_counts(counts)
    assert (got.p, got.statistic, got.refusal.code) == (1, 0, "nothing_to_split")


def test_counts_with_no_exposure_on_one_side():
    assert scan_counts([0, 3], [0, 5]).refusal.code == "nothing_to_split"
    assert scan_counts([1, 1, 1, 1]).refusal.code == "too_few_cases"


@pytest.mark.parametrize(
    ("counts", "exposure", "named"),
    [
        ([1.5, 1], None, "counts"),
        ([-1, 1], None, "counts"),
        ([math.nan, 1], None, "counts"),
        ([1, 1], [1], "exposure"),
        ([1, 1], [0, 1], "exposure"),
        ([1, 1], [-1, 1], "exposure"),
        ([1, 1], [math.inf, 1], "exposure"),
    ],
)
def test_bad_counts(counts, exposure, named):
    with pytest.raises(ValueError, match=named):
        scan_counts(counts, exposure)


def test_a_true_change_is_found():
    pairs = flock([0.004] * 40 + [0.0008] * 40)
    got = scan_pairs(pairs, simulations=499)
    assert abs(got.day - 280) <= 21
    assert got.first_plausible_day <= 280 <= got.last_plausible_day
    assert got.first_plausible_day <= got.day <= got.last_plausible_day
    assert got.rate_before == pytest.approx(0.004, rel=0.35)
    assert got.rate_after == pytest.approx(0.0008, rel=0.6)
    assert got.p == 1 / 500
    fit = fit_rates(pairs, [got.day])
    assert (got.rate_before, got.rate_after) == pytest.approx(fit.rates)


def test_a_constant_rate_seldom_looks_like_a_change():
    ps = [scan_pairs(flock([0.003] * 60, seed=s), simulations=99).p for s in range(40)]
    # 40 flocks at one rate: about 2 fall to .05 or below, 8 or more once in two thousand times.
    assert sum(p <= 0.05 for p in ps) < 8
    assert np.mean(ps) == pytest.approx(0.5, abs=4 * 0.29 / math.sqrt(40))


def test_more_frequent_checks_alone_are_no_change():
    """The trap of counting by date found: the same rate, rounds every 28 days and then weekly."""
    rng = np.random.default_rng(4)
    days = [*range(0, 28 * 13, 28), *range(28 * 13, 28 * 13 + 7 * 52, 7)]
    pairs = [
        (a, b, bool(hit))
        for a, b in pairwise(days)
        for hit in rng.random(40) < -math.expm1(-0.003 * (b - a))
    ]
    assert scan_pairs(pairs, simulations=199).p > 0.05


def test_fast_gain_is_the_full_likelihood_where_no_pair_straddles():
    pairs = flock([0.004] * 20 + [0.002] * 20)
    left, right, hit = (np.array(part) for part in zip(*pairs, strict=True))
    calendar = _Calendar.of(left * 1.0, right * 1.0, hit)
    gains = calendar.gains(calendar.hits[None])[0]
    flat = fit_rates(pairs).log_likelihood
    for day, gain in zip(calendar.days, gains, strict=True):
        if np.isfinite(gain):
            full = 2 * (fit_rates(pairs, [day]).log_likelihood - flat)
            assert gain == pytest.approx(full, abs=1e-4)


def test_scan_is_refused_with_a_reason():
    many = [0.01] * 30
    few = [(a, b, hit and i < 40) for i, (a, b, hit) in enumerate(flock([0.004] * 30))]
    assert scan_pairs([]).refusal.code == "too_few_cases"
    assert scan_pairs(few).refusal.code == "too_few_cases"
    assert scan_pairs(flock([0.05] * 4)).refusal.code == "too_few_check_days"
    assert scan_pairs(flock([0.02] * 10)).refusal.code == "too_short"
    first_week = [(a, b, a == 0) for a, b, _ in flock(many)]
    got = scan_pairs(first_week)
    assert got.refusal.code == "one_sided"
    assert (got.day, got.first_plausible_day) == (None, None)
    assert math.isnan(got.p)


def test_scan_bad_input():
    with pytest.raises(ValueError, match="pairs"):
        scan_pairs([(3, 1, True)])


def test_order_of_pairs_does_not_matter():
    pairs = flock([0.004] * 20 + [0.001] * 20)
    shuffled = pairs[:]
    np.random.default_rng(1).shuffle(shuffled)
    shuffled = [(int(a), int(b), bool(h)) for a, b, h in shuffled]
    assert scan_pairs(shuffled, 99) == scan_pairs(pairs, 99)


@quick
@given(st.lists(st.integers(0, 9), min_size=2, max_size=30), st.floats(0.1, 10))
def test_unit_of_exposure_does_not_matter(counts, scale):
    one = scan_counts(counts, simulations=9)
    other = scan_counts(counts, [scale] * len(counts), simulations=9)
    assert other.statistic == pytest.approx(one.statistic, abs=1e-9)
    if one.refusal is None:
        assert other.rate_before * scale == pytest.approx(one.rate_before)


def test_cases_after_changes():
    pairs = [(7 * w, 7 * w + 7, 20 <= w < 26 and f < 2) for w in range(100) for f in range(20)]
    got = match_changes(pairs, [140, 150, 500])
    near, far = got.windows
    assert near.change_days == (140, 150)  # closer than the window: one group
    assert near.cases_inside == 12
    assert near.share == pytest.approx(52 / 700)
    assert near.p < 1e-9
    assert near.adjusted_p == pytest.approx(2 * near.p)
    assert (far.cases_inside, far.p) == (0, 1)
    assert got.share == pytest.approx(94 / 700)
    assert got.refusal is None


def test_matching_is_refused_with_a_reason():
    pairs = [(7 * w, 7 * w + 7, w % 10 == 0) for w in range(100)]
    assert match_changes(pairs, []).refusal.code == "no_changes"
    assert match_changes(pairs[:20], [50]).refusal.code == "too_few_cases"
    assert match_changes(pairs, range(0, 700, 42)).refusal.code == "windows_cover_too_much"
    assert match_changes(pairs[:50], [100, 200, 300], 100).refusal.code == "windows_cover_too_much"
    assert match_changes([], [5]).share == 0
    with pytest.raises(ValueError, match="window_days"):
        match_changes(pairs, [5], 0)
    with pytest.raises(ValueError, match="change_days"):
        match_changes(pairs, [math.nan])


def test_weeks_next_to_a_change_tell_a_season_from_what_followed_it():
    """Eight cases in each fortnight of the first year's half, none in the rest; a change in the
    middle of the bad months. Against the whole record the days after it look crowded, by hand
    P(Bin(104, 42/364) >= 24); against the 42 days on either side a third of 72 is just as much."""
    left = np.repeat(np.arange(0, 364, 14), 24)
    affected = np.tile(np.arange(24) < 8, 26) & (left < 182)
    pairs = PairArrays(np.zeros(left.size), left, left + 14, affected)
    (flat,) = match_changes(pairs, [70]).windows
    assert flat.cases_inside == 24 and flat.p == pytest.approx(binom.sf(23, 104, 42 / 364))
    assert flat.p < 0.01
    (near,) = match_changes(pairs, [70], neighbours_days=42).windows
    assert near.p == pytest.approx(binom.sf(23, 72, 1 / 3)) and near.p > 0.4
    # At the end of the record there is only the time before.
    (end,) = match_changes(pairs, [322], neighbours_days=42).windows
    assert end.cases_inside == 0 and end.p == 1
