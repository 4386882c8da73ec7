"""Rates from pairs of looks, and Turnbull's curve, against published data and other programs."""

import math
from itertools import pairwise

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import assume, given
from hypothesis import strategies as st
from lifelines import KaplanMeierFitter
from scipy.optimize import minimize

from flockcare.analysis.episodes import PairArrays, RiskPairs
from flockcare.analysis.onset import days_until, fit_rates, interval_curve
from flockcare.analysis.rates import poisson_interval

from .properties import examples

quick = examples(40)
INF = math.inf


def dilutions(widths, positive, each):
    """A dilution series is the same likelihood: volumes for days, growth for "affected"."""
    return [
        (0.0, width, tube < count)
        for width, count in zip(widths, positive, strict=True)
        for tube in range(each)
    ]


# Radiotherapy and cosmetic deterioration, Finkelstein & Wolfe (1985): the data were read, the
# masses are from memory. "." is a right-censored interval.
RADIOTHERAPY = """
45 . 25 37 37 . 6 10 46 . 0 5 0 7 26 40 18 . 46 . 46 . 24 . 46 . 27 34 36 . 7 16 36 44 5 11 17 .
46 . 19 35 7 14 36 48 17 25 37 44 37 . 24 . 0 8 40 . 32 . 4 11 17 25 33 . 15 . 46 . 19 26 11 15
11 18 37 . 22 . 38 . 34 . 46 . 5 12 36 . 46 .
"""


def radiotherapy():
    ends = [INF if mark == "." else float(mark) for mark in RADIOTHERAPY.split()]
    return list(zip(ends[::2], ends[1::2], strict=True))


# Toy pairs with a cut at day 21: (left, right, clear, affected).
TOY = [
    (left, right, hit)
    for left, right, clear, affected in ((0, 14, 8, 2), (14, 35, 6, 3), (35, 42, 9, 1))
    for hit in [False] * clear + [True] * affected
]


def test_most_probable_number():
    """Ten tubes each of .1, .01, .001 with 5, 3, 0 growing: output of the FDA BAM calculator
    (read): MPN 9.951, likelihood .0079637, standard error of log10 .1575."""
    fit = fit_rates(dilutions((0.1, 0.01, 0.001), (5, 3, 0), 10))
    (rate,) = fit.rates
    assert rate == pytest.approx(9.951, abs=5e-4)
    arrangements = math.comb(10, 5) * math.comb(10, 3)
    assert math.exp(fit.log_likelihood) * arrangements == pytest.approx(0.0079637, abs=5e-8)
    log10_error = fit.standard_errors[0] / rate / math.log(10)
    assert log10_error == pytest.approx(0.1575, abs=5e-5)
    # The calculator prints 4.891-20.263, a Wald interval on the log scale; profile limits are
    # another method (computed: 4.48-18.94).
    reach = 1.96 * log10_error
    assert rate * 10**-reach == pytest.approx(4.891, abs=5e-3)
    assert rate * 10**reach == pytest.approx(20.263, abs=2e-2)
    limits = fit.rate()
    assert (limits.low, limits.high) == pytest.approx((4.48, 18.94), abs=5e-3)


# FDA BAM, appendix 2, three tubes each of .1, .01, .001 (from memory). The table rounds to two
# figures; its limits come from another method and are not compared.
@pytest.mark.parametrize(
    ("positive", "mpn"),
    [
        ((1, 0, 0), 3.6),
        ((2, 1, 0), 15),
        ((3, 0, 0), 23),
        ((3, 1, 0), 43),
        ((3, 2, 0), 93),
        ((3, 3, 1), 460),
    ],
)
def test_three_tube_table(positive, mpn):
    (rate,) = fit_rates(dilutions((0.1, 0.01, 0.001), positive, 3)).rates
    assert float(f"{rate:.2g}") == mpn


def test_toy_pairs():
    """Computed, not published: guards against change only."""
    fit = fit_rates(TOY, [21])
    assert fit.rates == pytest.approx((0.01664585, 0.01791680), abs=5e-9)
    assert fit.ratio().value == pytest.approx(1.076352, abs=5e-7)
    assert fit.log_likelihood == pytest.approx(-14.015437, abs=5e-7)
    flat = fit_rates(TOY)
    assert flat.rates[0] == pytest.approx(0.01726786, abs=5e-9)
    assert flat.log_likelihood == pytest.approx(-14.017713, abs=5e-7)
    assert 2 * (fit.log_likelihood - flat.log_likelihood) == pytest.approx(0.004551, abs=2e-6)
    assert fit.straddling == (3,)


def test_equal_gaps_have_a_closed_form():
    pairs = [(0, 14, i < 7) for i in range(40)]
    assert fit_rates(pairs).rates[0] == pytest.approx(-math.log(1 - 7 / 40) / 14, rel=1e-9)


def test_one_period_is_a_cloglog_model():
    """statsmodels' binomial GLM with complementary log-log link and offset log(days)."""
    rng = np.random.default_rng(5)
    width = rng.integers(3, 40, 400)
    hit = rng.random(400) < -np.expm1(-0.01 * width)
    link = sm.families.links.CLogLog()
    model = sm.GLM(hit, np.ones(400), family=sm.families.Binomial(link), offset=np.log(width))
    other = model.fit(tol=1e-12, maxiter=100)
    fit = fit_rates([(0, w, h) for w, h in zip(width, hit, strict=True)])
    assert fit.rates[0] == pytest.approx(math.exp(other.params[0]), rel=1e-7)
    assert fit.log_likelihood == pytest.approx(other.llf, rel=1e-9)
    # Its standard errors are from the expected information, ours from the observed one.
    assert fit.standard_errors[0] / fit.rates[0] == pytest.approx(other.bse[0], rel=0.02)


def em_rates(pairs, cuts, steps=20_000):
    """The EM algorithm written out pair by pair, as an independent way to the same maximum."""
    bounds = [-INF, *cuts, INF]
    widths = np.array(
        [
            [max(min(right, b) - max(left, a), 0.0) for a, b in pairwise(bounds)]
            for left, right, _ in pairs
        ]
    )
    hit = np.array([h for *_, h in pairs])
    clear_days, w = widths[~hit].sum(0), widths[hit]
    rates = np.full(widths.shape[1], 0.01)
    for _ in range(steps):
        a = np.cumsum(w * rates, axis=1)
        total = -np.expm1(-a[:, -1])
        start = np.exp(-np.hstack((np.zeros((len(w), 1)), a[:, :-1])))
        q = start * -np.expm1(-w * rates) / total[:, None]
        later = (np.exp(-a) - np.exp(-a[:, -1:])) / total[:, None]
        x = w * rates
        safe = np.where(x < 1e-6, 1.0, x)
        inside = np.where(x < 1e-6, w / 2 - x * w / 12, w / safe - w / np.expm1(safe))
        e = later * w + q * inside
        updated = q.sum(0) / (clear_days + e.sum(0))
        if np.abs(updated / rates - 1).max() < 1e-12:
            return updated
        rates = np.maximum(updated, 1e-300)
    return rates


PAIRS = st.lists(
    st.tuples(st.integers(0, 60), st.integers(1, 40), st.booleans()).map(
        lambda row: (row[0], row[0] + row[1], row[2])
    ),
    min_size=4,
    max_size=25,
)


def log_likelihood(rates, pairs, cuts):
    bounds = [-INF, *cuts, INF]
    total = 0.0
    for left, right, hit in pairs:
        risk = sum(
            rate * max(min(right, b) - max(left, a), 0.0)
            for rate, a, b in zip(rates, bounds, bounds[1:], strict=False)
        )
        total += math.log(-math.expm1(-risk)) if hit else -risk
    return total


@quick
@given(PAIRS)
def test_newton_equals_em_and_direct_maximisation(pairs):
    cuts = [30]
    fit = fit_rates(pairs, cuts)
    assume(all(0 < rate < INF for rate in fit.rates))
    assume(fit.straddling[0] < sum(hit for *_, hit in pairs))
    assert em_rates(pairs, cuts) == pytest.approx(fit.rates, rel=1e-4, abs=1e-8)
    assert fit.log_likelihood == pytest.approx(log_likelihood(fit.rates, pairs, cuts), abs=1e-9)
    direct = minimize(
        lambda logs: -log_likelihood(np.exp(logs), pairs, cuts), np.log(fit.rates) + 0.3
    )
    assert -direct.fun <= fit.log_likelihood + 1e-7
    assert -direct.fun == pytest.approx(fit.log_likelihood, abs=1e-4)


@quick
@given(PAIRS, st.randoms(use_true_random=False), st.floats(0.1, 10))
def test_order_and_unit_of_time(pairs, random, scale):
    fit = fit_rates(pairs, [30])
    shuffled = pairs[:]
    random.shuffle(shuffled)
    assert fit_rates(shuffled, [30]).rates == pytest.approx(fit.rates, nan_ok=True, rel=1e-7)
    stretched = fit_rates([(a * scale, b * scale, hit) for a, b, hit in pairs], [30 * scale])
    assert stretched.rates == pytest.approx(
        [rate / scale for rate in fit.rates], nan_ok=True, rel=1e-5, abs=1e-12
    )


@quick
@given(PAIRS)
def test_limits_contain_the_estimate(pairs):
    fit = fit_rates(pairs, [30])
    for estimate in (fit.ratio(), fit.rate(0), fit.rate(1)):
        if estimate.refusal is None:
            assert estimate.low <= estimate.value * (1 + 1e-6)
            assert estimate.value <= estimate.high * (1 + 1e-6)


def test_limits_of_the_ratio_stand_where_the_profile_has_fallen():
    fit = fit_rates(TOY, [21])
    estimate = fit.ratio()
    for ratio in (estimate.low, estimate.high):

        def height(log_rate, ratio=ratio):
            return log_likelihood((math.exp(log_rate), ratio * math.exp(log_rate)), TOY, [21])

        best = minimize(lambda x, height=height: -height(x[0]), [-4.0])
        assert 2 * (fit.log_likelihood + best.fun) == pytest.approx(3.841459, abs=1e-4)


def test_no_case_in_one_period_gives_the_exact_bound():
    pairs = [(0, 10, i < 5) for i in range(20)] + [(10, 20, False)] * 20
    estimate = fit_rates(pairs, [10]).ratio()
    assert (estimate.value, estimate.low) == (0, 0)
    # With equal gaps the bound is that of the odds of "after" among cases and clear days alike;
    # here only its direction against the shorter profile bound is held.
    turned = fit_rates([(a, b, hit) for a, b, hit in pairs], [10]).ratio(k=0, base=1)
    assert turned.value == INF
    assert turned.low == pytest.approx(1 / estimate.high, rel=1e-6)


def test_no_case_at_all_gives_the_exact_upper_limit():
    fit = fit_rates([(0, 100, False)] * 3)
    estimate = fit.rate()
    assert (estimate.value, estimate.low) == (0, 0)
    assert estimate.high == pytest.approx(poisson_interval(0)[1] / 300, rel=1e-6)
    two = fit_rates([(0, 10, False), (10, 20, False)], [10])
    assert two.ratio().refusal.code == "no_cases"


def test_all_affected_means_a_rate_too_high_to_tell():
    fit = fit_rates([(0, 10, True)] * 3)
    assert fit.rates == (INF,)
    assert fit.log_likelihood == 0
    assert fit.rate().high == INF
    assert fit.rate().low > 0
    both = fit_rates([(0, 10, True)] * 3 + [(10, 20, True)] * 3, [10])
    assert both.ratio().refusal.code == "all_affected"
    before = fit_rates([(0, 10, True)] * 3 + [(10, 20, i < 2) for i in range(6)], [10])
    assert before.rates[0] == INF
    assert before.ratio().value == 0
    assert before.ratio().high < INF


def test_period_without_time():
    fit = fit_rates([(0, 10, True), (0, 10, False)], [10])
    assert math.isnan(fit.rates[1])
    assert fit.ratio().refusal.code == "no_time"
    assert fit.rate(1).refusal.code == "no_time"
    assert fit.rate(0).value == pytest.approx(math.log(2) / 10)
    assert fit_rates([]).rates == pytest.approx((math.nan,), nan_ok=True)
    assert fit_rates([]).rate().refusal.code == "no_time"
    gap = fit_rates(
        [(0, 10, i < 2) for i in range(9)] + [(30, 40, i < 4) for i in range(9)], [10, 30]
    )
    assert math.isnan(gap.rates[1])
    assert gap.ratio(2, 0).low < gap.ratio(2, 0).value < gap.ratio(2, 0).high


def test_all_cases_straddle():
    pairs = [(0, 30, True)] * 2 + [(0, 2, False)] * 50 + [(2, 30, False)] * 20
    fit = fit_rates(pairs, [2])
    assert fit.straddling == (2,)
    assert all(math.isfinite(rate) for rate in fit.rates)
    assert fit.rates[0] == 0 or fit.rates[1] == 0


def test_check_on_the_change_day_belongs_to_before():
    fit = fit_rates([(0, 10, True), (0, 10, False), (10, 20, False)], [10])
    assert fit.days == (20, 10)
    assert fit.cases == (1, 0)
    assert fit.straddling == (0,)


def test_several_periods_are_fitted_side_by_side():
    pairs = [(10 * k, 10 * k + 10, i < 1 + k) for k in range(4) for i in range(20)]
    fit = fit_rates(pairs, [10, 20, 30])
    alone = [fit_rates(pairs[20 * k : 20 * k + 20]).rates[0] for k in range(4)]
    assert fit.rates == pytest.approx(alone)
    assert fit.ratio(3, 1).value == pytest.approx(alone[3] / alone[1])


def test_all_forms_of_pairs_are_taken():
    pairs = [(1, 8, True), (1, 8, False), (8, 20, False)]
    arrays = PairArrays(np.zeros(3, int), *(np.array(x) for x in zip(*pairs, strict=True)))
    rates = {fit_rates(form).rates for form in (pairs, RiskPairs(pairs, 0), arrays)}
    assert len(rates) == 1


@pytest.mark.parametrize(
    "pairs",
    [[(3, 3, True)], [(4, 3, False)], [(0, INF, True)], [(math.nan, 3, True)], [(0, 3, 2)],
     [(0, 3)], [(0, "x", True)], [(0, 3, math.nan)]],
)  # fmt: skip
def test_bad_pairs(pairs):
    with pytest.raises(ValueError, match="pairs"):
        fit_rates(pairs)


@pytest.mark.parametrize("cuts", [[5, 5], [6, 5], [math.nan], [INF]])
def test_bad_cuts(cuts):
    with pytest.raises(ValueError, match="cuts"):
        fit_rates([(0, 3, True)], cuts)


def test_bad_periods():
    fit = fit_rates(TOY, [21])
    for arguments, named in (((2, 0), "k"), ((1, -1), "base"), ((1, 1), "different")):
        with pytest.raises(ValueError, match=named):
            fit.ratio(*arguments)


def test_turnbull_on_the_radiotherapy_data():
    got = interval_curve(radiotherapy())
    published = [
        (4, 5, 0.0463),
        (6, 7, 0.0334),
        (7, 8, 0.0887),
        (11, 12, 0.0708),
        (24, 25, 0.0926),
        (33, 34, 0.0818),
        (38, 40, 0.1209),
        (46, 48, 0.4656),
    ]
    assert [row[:2] for row in got] == [row[:2] for row in published]
    assert [row[2] for row in got] == pytest.approx([row[2] for row in published], abs=5e-5)
    likelihood = sum(
        math.log(sum(m for a, b, m in got if left <= a and b <= right))
        for left, right in radiotherapy()
    )
    assert likelihood == pytest.approx(-58.0600, abs=5e-5)  # computed


def test_turnbull_against_lifelines():
    """lifelines takes intervals as closed on both sides. Where no right end meets another's left
    end that is the same thing, so the ends of ours are moved in by a hundredth of a day."""
    rows = [(a + 0.01, b) for a, b in radiotherapy()]
    left, right = (np.array(part) for part in zip(*rows, strict=True))
    other = KaplanMeierFitter().fit_interval_censoring(left, right, tol=1e-10)
    curve = other.survival_function_["NPMLE_estimate_upper"]
    remaining = 1.0
    for (_, end, mass), (begin, _, _) in pairwise(interval_curve(rows)):
        remaining -= mass
        between = curve[(curve.index > end) & (curve.index <= begin)]
        assert between.to_numpy() == pytest.approx(remaining, abs=1e-4)


def test_turnbull_edges():
    assert interval_curve([]) == []
    assert interval_curve([(5, INF), (9, INF)]) == [(9, INF, 1.0)]
    assert interval_curve([(0, 5), (0, 5)]) == [(0, 5, 1.0)]
    assert interval_curve([(0, 5), (5, 9)]) == [(0, 5, 0.5), (5, 9, 0.5)]
    for bad in ([(3, 3)], [(4, 3)], [(math.nan, 3)], [(0, math.nan)], [(-INF, 3)]):
        with pytest.raises(ValueError, match="intervals"):
            interval_curve(bad)


@quick
@given(
    st.lists(
        st.tuples(st.integers(0, 30), st.integers(1, 20) | st.just(INF)).map(
            lambda row: (row[0], row[0] + row[1])
        ),
        min_size=1,
        max_size=15,
    ),
    st.randoms(use_true_random=False),
)
def test_turnbull_mass(intervals, random):
    got = interval_curve(intervals)
    assert sum(mass for *_, mass in got) == pytest.approx(1, abs=1e-5)
    assert all(a[1] <= b[0] for a, b in pairwise(got))
    shuffled = intervals[:]
    random.shuffle(shuffled)
    again = interval_curve(shuffled)
    assert [row[2] for row in again] == pytest.approx([row[2] for row in got], abs=1e-6)


def test_days_until_an_edge_against_counting_day_by_day():
    random = np.random.default_rng(0)
    left = random.integers(0, 50, 40)
    right = left + random.integers(1, 30, 40)
    weight = random.random(40)
    for edge in (-1, 0, 13, 37.5, 90):
        by_hand = sum(
            w * max(0.0, min(edge, b) - a) for a, b, w in zip(left, right, weight, strict=True)
        )
        assert days_until([edge], left, right, weight)[0] == pytest.approx(by_hand)
