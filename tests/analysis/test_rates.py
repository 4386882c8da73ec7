"""Counts over time against published tables and general-purpose libraries.

Sources were not re-read unless a test says so: "from memory" stands beside them.
"""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest
from statsmodels.discrete.discrete_model import Poisson
from statsmodels.stats import contingency_tables, multitest
from statsmodels.stats import rates as sm_rates
from statsmodels.stats.proportion import proportion_confint

from flockcare.analysis.rates import (
    exact_ratio,
    holm,
    overdispersion,
    poisson_interval,
    pooled_ratio,
    rate_ratio,
    sign_flip,
)

from .properties import examples

quick = examples(60)

# British doctors, deaths from coronary disease by ten-year age class: Doll & Hill (1966), as in
# Breslow & Day, vol. II, and Rothman (from memory): (smokers, their person-years, non-smokers,
# theirs).
DOCTORS = [
    (32, 52407, 2, 18790),
    (104, 43248, 12, 10673),
    (206, 28612, 28, 5710),
    (186, 12663, 28, 2585),
    (102, 5317, 31, 1462),
]


# Garwood (1936) Biometrika 28:437, 95 % (from memory); the upper limit at zero, 3.689, was read
# in the help of a public epidemiological calculator.
@pytest.mark.parametrize(
    ("count", "low", "high"),
    [
        (0, 0, 3.69),
        (1, 0.025, 5.57),
        (2, 0.242, 7.22),
        (3, 0.619, 8.77),
        (5, 1.62, 11.67),
        (10, 4.80, 18.39),
        (20, 12.22, 30.89),
        (50, 37.11, 65.92),
        (100, 81.36, 121.63),
    ],
)
def test_exact_poisson_limits(count, low, high):
    got = poisson_interval(count)
    assert got == (pytest.approx(low, abs=0.006), pytest.approx(high, abs=0.006))


def test_zero_cases_upper_limit():
    assert poisson_interval(0)[1] == pytest.approx(3.689, abs=0.0005)  # read, see above
    assert poisson_interval(0, level=0.90)[1] == pytest.approx(2.996, abs=0.0005)  # one-sided 95 %


@pytest.mark.parametrize("count", [0, 1, 2, 7, 40])
def test_exact_poisson_limits_agree_with_statsmodels(count):
    low, high = poisson_interval(count)
    other = sm_rates.confint_poisson(count, 1, method="exact-c")
    # statsmodels gives not-a-number (by version) or 0 for the lower limit at zero.
    assert (low, high) == pytest.approx(np.nan_to_num(other), rel=1e-9)


def test_fluoroscopy():
    """Breast cancer after fluoroscopy, Boice & Monson (1977), as in Rothman (from memory)."""
    got = rate_ratio(41, 28010, 15, 19017)
    assert got.ratio == pytest.approx(1.86, abs=0.005)
    assert (got.low, got.high) == pytest.approx((1.0057, 3.6093), abs=5e-5)
    assert got.p_mid == pytest.approx(0.0355, abs=5e-5)
    assert got.p_mid / 2 == pytest.approx(0.0177, abs=5e-5)
    # Computed, not published: the central p and the mid-p limits.
    assert got.p == pytest.approx(0.04766, abs=5e-6)
    assert (got.mid_low, got.mid_high) == pytest.approx((1.0411, 3.4494), abs=5e-5)


def test_two_rates():
    """11 in 800 against 21 in 3011: the example of R's poisson.test (from memory)."""
    got = rate_ratio(11, 800, 21, 3011)
    assert got.ratio == pytest.approx(1.971488, abs=5e-7)
    assert (got.low, got.high) == pytest.approx((0.8584264, 4.2772659), abs=5e-7)
    # R prints the minimum-likelihood p, .07967; ours is the central one, which goes with the
    # interval (computed: .11202). binomtest gives R's.
    assert got.p == pytest.approx(0.11202, abs=5e-6)
    assert binomtest(11, 32, 800 / 3811).pvalue == pytest.approx(0.07967, abs=5e-6)


def test_ratio_against_statsmodels():
    """Where the library differs: its exact p is the minimum-likelihood one (.0409, not .0477),
    and its mid-p comes from that ordering (.0348, not .0355), so neither need agree with the
    central interval. The interval itself is Clopper-Pearson's in both."""
    got = rate_ratio(41, 28010, 15, 19017)
    low, high = proportion_confint(41, 56, method="beta")
    odds = 19017 / 28010
    assert (got.low, got.high) == pytest.approx(
        (low / (1 - low) * odds, high / (1 - high) * odds), rel=1e-9
    )
    exact = sm_rates.test_poisson_2indep(41, 28010, 15, 19017, method="exact-cond").pvalue
    mid = sm_rates.test_poisson_2indep(41, 28010, 15, 19017, method="cond-midp").pvalue
    assert exact == pytest.approx(0.04085, abs=5e-6)
    assert mid == pytest.approx(0.03475, abs=5e-6)
    assert exact < got.p
    assert mid < got.p_mid


# Derived, not published: the fewest cases with which 0.05 can be reached at all, for a share of
# time after of .5, .3, .2, .1, in the direction of excess and of deficit.
@pytest.mark.parametrize(
    ("share", "excess", "deficit"), [(0.5, 6, 6), (0.3, 4, 11), (0.2, 3, 17), (0.1, 2, 36)]
)
def test_what_can_be_attained(share, excess, deficit):
    def reach(total):
        got = rate_ratio(total, share, 0, 1 - share)
        return got.smallest_p_excess <= 0.05, got.smallest_p_deficit <= 0.05

    assert (reach(excess - 1)[0], reach(excess)[0]) == (False, True)
    assert (reach(deficit - 1)[1], reach(deficit)[1]) == (False, True)


def test_one_side_without_cases():
    none_before = rate_ratio(8, 100, 0, 100)
    assert none_before.ratio == none_before.high == math.inf
    assert none_before.low > 1
    assert none_before.refusal.code == "one_side_empty"
    none_after = rate_ratio(0, 100, 8, 100)
    assert (none_after.ratio, none_after.low) == (0, 0)
    assert none_after.high == pytest.approx(1 / none_before.low)


def test_no_cases_and_no_time():
    nothing = rate_ratio(0, 10, 0, 10)
    assert math.isnan(nothing.ratio)
    assert (nothing.p, nothing.p_mid, nothing.refusal.code) == (1, 1, "no_cases")
    for after, before in ((0, 10), (10, 0)):
        no_time = rate_ratio(3, after, 3, before)
        assert no_time.refusal.code == "no_time"
        assert math.isnan(no_time.ratio)
        assert math.isnan(no_time.p)


def test_few_cases_are_refused_with_a_reason():
    assert rate_ratio(2, 100, 2, 100).refusal.code == "too_few_cases"
    assert rate_ratio(2, 100, 3, 100).refusal.code == "unattainable"  # 2 * .5**5 = .0625
    assert rate_ratio(4, 100, 3, 100).refusal is None


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        ((1.5, 1, 1, 1), "after_count"),
        ((-1, 1, 1, 1), "after_count"),
        ((1, 1, math.nan, 1), "before_count"),
        ((1, 1, "x", 1), "before_count"),
        ((1, -1, 1, 1), "after_time"),
        ((1, 1, 1, math.inf), "before_time"),
    ],
)
def test_bad_numbers_are_refused_by_name(arguments, named):
    with pytest.raises(ValueError, match=named):
        rate_ratio(*arguments)
    with pytest.raises(ValueError, match=named):
        pooled_ratio([arguments])
    with pytest.raises(ValueError, match=named):
        exact_ratio([arguments])


@pytest.mark.parametrize("level", [0, 1, -1, math.nan, 95])
def test_bad_level(level):
    with pytest.raises(ValueError, match="level"):
        poisson_interval(3, level)


@pytest.mark.parametrize("count", [-1, 0.5, math.nan, math.inf])
def test_bad_count(count):
    with pytest.raises(ValueError, match="count"):
        poisson_interval(count)


def test_british_doctors():
    got = pooled_ratio(DOCTORS)
    # From memory, with the source of DOCTORS.
    assert got.ratio == pytest.approx(1.424682, abs=5e-7)
    assert (got.low, got.high) == pytest.approx((1.154703, 1.757784), abs=5e-7)
    assert got.crude == pytest.approx(1.72, abs=0.005)
    assert got.homogeneity_chi2 == pytest.approx(10.41, abs=0.005)
    assert got.homogeneity_p == pytest.approx(0.0340, abs=5e-5)
    # Computed, not published.
    assert got.chi2 == pytest.approx(11.016, abs=5e-4)
    assert got.homogeneity_score_chi2 == pytest.approx(11.151, abs=5e-4)
    assert got.refusal.code == "too_many_strata"


def test_pooled_ratio_against_a_table_library():
    """statsmodels pools odds ratios of 2x2 tables, not rates: with far more time counted than
    cases the two come together; it tests by the hypergeometric variance."""
    tables = [
        np.array([[x1, 100_000 * t1 - x1], [x0, 100_000 * t0 - x0]]) for x1, t1, x0, t0 in DOCTORS
    ]
    other = contingency_tables.StratifiedTable([t.astype(float) for t in tables])
    got = pooled_ratio(DOCTORS)
    assert got.ratio == pytest.approx(other.oddsratio_pooled, rel=1e-5)
    assert got.chi2 == pytest.approx(other.test_null_odds().statistic, rel=1e-5)
    assert (got.low, got.high) == pytest.approx(other.oddsratio_pooled_confint(), rel=1e-3)


def test_pooling_with_an_empty_side_uses_the_exact_law():
    got = pooled_ratio([(5, 10, 0, 10), (6, 5, 0, 5)])
    assert got.ratio == got.high == math.inf
    # With one ratio of times everywhere the stratified law is the plain one.
    assert got.low == pytest.approx(rate_ratio(11, 15, 0, 15).low, rel=1e-9)
    flipped = pooled_ratio([(0, 10, 5, 10), (0, 5, 6, 5)])
    assert (flipped.ratio, flipped.low) == (0, 0)
    assert flipped.high == pytest.approx(1 / got.low)


def test_strata_that_say_nothing_are_dropped_and_listed():
    got = pooled_ratio([(0, 10, 0, 10), (6, 10, 6, 10), (3, 0, 3, 5), (5, 10, 7, 20)])
    assert got.dropped == (0, 2)
    assert got.ratio == pytest.approx(pooled_ratio([(6, 10, 6, 10), (5, 10, 7, 20)]).ratio)
    nothing = pooled_ratio([])
    assert nothing.refusal.code == "no_usable_stratum"
    assert math.isnan(nothing.ratio)


def test_exact_ratio_of_one_stratum_is_the_binomial_one():
    """scipy's exact interval of a share, turned into a ratio of rates."""
    got, plain = exact_ratio([(11, 800, 21, 3011)]), rate_ratio(11, 800, 21, 3011)
    outside = binomtest(11, 32, 800 / 3811).proportion_ci(0.95, "exact")
    assert (got.low, got.high) == pytest.approx(
        [share / (1 - share) * 3011 / 800 for share in outside], rel=1e-8
    )
    for name in ("ratio", "p", "smallest_p_excess", "smallest_p_deficit"):
        assert getattr(got, name) == pytest.approx(getattr(plain, name), rel=1e-9), name


def test_exact_ratio_where_times_stand_alike_is_that_of_the_sums():
    """With one share of time everywhere the sum of binomials is a binomial."""
    got = exact_ratio([(5, 20, 9, 10), (3, 40, 2, 20), (0, 2, 7, 1)])
    plain = rate_ratio(8, 62, 18, 31)
    for name in ("ratio", "low", "high", "p", "smallest_p_excess", "smallest_p_deficit"):
        assert getattr(got, name) == pytest.approx(getattr(plain, name), rel=1e-9), name


def test_exact_ratio_of_the_doctors_against_a_poisson_regression():
    """The conditional estimate is that of a regression with a level for each stratum; with so many
    cases its limits come near the published ones of the pooled ratio, a little wider."""
    counts = np.array([[x1, x0] for x1, _, x0, _ in DOCTORS]).ravel()
    times = np.array([[t1, t0] for _, t1, _, t0 in DOCTORS], float).ravel()
    columns = np.column_stack((np.tile([1, 0], 5), np.kron(np.eye(5), np.ones((2, 1)))))
    fitted = Poisson(counts, columns, exposure=times).fit(disp=False, maxiter=100)
    got = exact_ratio(DOCTORS)
    assert got.ratio == pytest.approx(np.exp(fitted.params[0]), rel=1e-5)
    assert (got.low, got.high) == pytest.approx((1.154703, 1.757784), rel=0.02)
    assert got.low < 1.154703 and got.high > 1.757784
    assert got.p == pytest.approx(pooled_ratio(DOCTORS).p, abs=3e-4)


def test_exact_ratio_edges():
    got = exact_ratio([(0, 10, 0, 10), (5, 10, 0, 10), (6, 5, 0, 5), (3, 0, 3, 5)])
    assert got.dropped == (0, 3)
    assert got.ratio == got.high == math.inf
    assert got.low == pytest.approx(rate_ratio(11, 15, 0, 15).low, rel=1e-9)
    assert exact_ratio([(0, 10, 5, 10)]).ratio == 0
    nothing = exact_ratio([(0, 10, 0, 10)])
    assert math.isnan(nothing.ratio)
    assert (nothing.low, nothing.high, nothing.p) == (0, math.inf, 1)
    assert exact_ratio([]).p == 1


def test_horse_kicks():
    """Deaths by horse kick, Bortkiewicz (1898) (from memory): 200 corps-years, mean .61."""
    counts = np.repeat([0, 1, 2, 3, 4], [109, 65, 22, 3, 1])
    assert counts.mean() == pytest.approx(0.61)
    assert counts.var(ddof=1) == pytest.approx(0.61095, abs=5e-6)
    # Computed: dispersion 199.31 on 199 degrees of freedom.
    assert 199 * overdispersion(counts, [0.61] * 200) == pytest.approx(199.31, abs=0.005)


def test_overdispersion_edges():
    assert math.isnan(overdispersion([3], [3]))
    assert math.isnan(overdispersion([], []))
    assert overdispersion([3, 0, 0], [1.5, 1.5, 0]) == pytest.approx(3)
    for counts, expected, named in (
        ([1], [1, 2], "length"),
        ([-1, 1], [1, 1], "counts"),
        ([1, 1], [0, 2], "expected"),
        ([math.nan, 1], [1, 1], "counts"),
    ):
        with pytest.raises(ValueError, match=named):
            overdispersion(counts, expected)


# Benjamini & Hochberg (1995), fifteen p-values (from memory).
FIFTEEN = [
    0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.324, 0.4262,
    0.5719, 0.6528, 0.759, 1.0,
]  # fmt: skip


def test_holm():
    adjusted = holm(FIFTEEN)
    # Published: Bonferroni keeps 3 at .05. Computed: so does Holm; its adjusted values.
    assert sum(p * 15 <= 0.05 for p in FIFTEEN) == 3
    assert sum(p <= 0.05 for p in adjusted) == 3
    assert adjusted[:4] == pytest.approx([0.0015, 0.0056, 0.0247, 0.1140], abs=5e-5)
    assert adjusted == pytest.approx(multitest.multipletests(FIFTEEN, method="holm")[1])
    assert holm(FIFTEEN[::-1]) == adjusted[::-1]
    assert holm([]) == []
    for bad in ([1.2], [-0.1], [math.nan]):
        with pytest.raises(ValueError, match="ps"):
            holm(bad)


def test_darwins_maize():
    """Crossed against self-fertilised maize, Fisher (1935) (from memory): 863 of 32,768."""
    got = sign_flip([49, -67, 8, 16, 6, 23, 28, 41, 14, 29, 56, 24, 75, 60, -48])
    assert got.total == 314
    assert got.p_one_sided == 863 / 32768
    assert got.p_two_sided == pytest.approx(0.052673, abs=5e-7)  # computed
    assert got.exact
    assert got.refusal is None


def test_sign_flip_edges():
    assert sign_flip([]).p_two_sided == 1
    assert sign_flip([0, 0]).refusal.code == "too_few_birds"
    five = sign_flip([1.0] * 5)
    assert five.p_two_sided == 2 / 32
    assert five.refusal.code == "too_few_birds"
    assert sign_flip([1.0] * 6).refusal is None
    many = sign_flip([1.0] * 16)
    assert not many.exact
    assert many.p_one_sided <= 5 / 10000
    with pytest.raises(ValueError, match="differences"):
        sign_flip([1, math.nan])


def test_sums_that_differ_by_rounding_only_are_ties():
    """Of the 8 sign patterns of .1, .2, -.3 two sum to zero and three to more, by hand."""
    assert sign_flip([0.1, 0.2, -0.3]).p_one_sided == 5 / 8


def test_random_flips_come_near_the_exact_answer():
    values = [3, -1, 2, 2, -2, 1, 4, -3, 1, 2, 1, -1, 2, 3, -1]
    exact = sign_flip(values)
    padded = sign_flip([*values, 1e-12])
    assert not padded.exact
    assert padded.p_two_sided == pytest.approx(exact.p_two_sided, abs=4 * 0.5 / 100)


COUNTS, TIMES = st.integers(0, 40), st.floats(0.1, 1e4)


@quick
@given(COUNTS, TIMES, COUNTS, TIMES, st.floats(0.01, 100))
def test_ratio_properties(x1, t1, x0, t0, scale):
    got = rate_ratio(x1, t1, x0, t0)
    scaled = rate_ratio(x1, t1 * scale, x0, t0 * scale)
    if x1 + x0:
        assert got.low <= got.ratio * (1 + 1e-12)
        assert got.ratio <= got.high * (1 + 1e-12)
        assert got.low <= got.mid_low * (1 + 1e-9)
        assert got.mid_high <= got.high * (1 + 1e-9)
        assert (got.p < 0.05) == (got.low > 1 or got.high < 1) or got.p == pytest.approx(0.05)
        assert scaled.ratio == pytest.approx(got.ratio)
        assert (scaled.low, scaled.high) == pytest.approx((got.low, got.high), rel=1e-6)
        flipped = rate_ratio(x0, t0, x1, t1)
        assert flipped.p == pytest.approx(got.p)
    assert scaled.p == pytest.approx(got.p)


@quick
@given(st.integers(0, 500))
def test_limits_hold_the_count(count):
    low, high = poisson_interval(count)
    assert low <= count <= high
    assert poisson_interval(count, 0.5)[1] < high


@quick
@given(
    st.lists(st.tuples(COUNTS, TIMES, COUNTS, TIMES), min_size=1, max_size=4),
    st.randoms(use_true_random=False),
)
def test_order_of_strata_does_not_matter(strata, random):
    shuffled = strata[:]
    random.shuffle(shuffled)
    one, other = pooled_ratio(strata), pooled_ratio(shuffled)
    for name in ("ratio", "low", "high", "chi2", "homogeneity_chi2"):
        assert getattr(one, name) == pytest.approx(getattr(other, name), rel=1e-6, nan_ok=True)


@quick
@given(st.lists(st.floats(0, 1), max_size=20))
def test_holm_never_lowers_a_p(ps):
    assert all(a >= p for a, p in zip(holm(ps), ps, strict=True))


@quick
@given(st.lists(st.integers(-20, 20), max_size=10))
def test_sign_flip_mirror(values):
    one, other = sign_flip(values), sign_flip([-v for v in values])
    assert one.p_two_sided == other.p_two_sided
    assert 0 < one.p_one_sided <= 1
