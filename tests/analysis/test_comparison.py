"""The before/after comparison: against formulas, other programs, and its own refusals.

That its limits hold the truth often enough is the business of the simulation study.
"""

import math
from dataclasses import replace
from typing import NamedTuple

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import t as student
from statsmodels.discrete.conditional_models import ConditionalLogit

from flockcare.analysis.answers import Estimate, Refusal
from flockcare.analysis.clusters import clustered_ratio, ratio_p, spread_over_birds, widened
from flockcare.analysis.comparison import _ByBird, _lasting_widths, against, compare_arrays
from flockcare.analysis.healing import healing_curve
from flockcare.analysis.onset import fit_rates
from flockcare.analysis.rates import pooled_ratio, rate_ratio

from .properties import examples

quick = examples(25)


class BirdPairs(NamedTuple):
    bird: object
    pairs: list


def compare(birds, change_day, healing=None, level=0.95):
    """The birds' pairs as arrays, birds numbered in order."""
    rows = [(n, *pair) for n, record in enumerate(birds) for pair in record.pairs]
    bird, left, right, affected = np.array(rows, float).reshape(-1, 4).T
    return compare_arrays(bird, left, right, affected, change_day, healing, level)


def bird(name, before, after, gap=7, weeks=20, change=140, feet=2):
    """A bird looked at weekly, with that many cases before and after, one per check from the
    first on; no time is lost to being ill, so that the days are plain."""
    pairs = []
    for start, cases, count in ((0, before, weeks), (change, after, weeks)):
        for k in range(count * feet):
            left = start + gap * (k // feet)
            pairs.append((left, left + gap, k < cases))
    return BirdPairs(name, pairs)


def flock(cases):
    return [bird(i, before, after) for i, (before, after) in enumerate(cases)]


MIXED = [(3, 1), (2, 2), (4, 1), (1, 0), (2, 3), (0, 0), (5, 2), (1, 1), (0, 1), (2, 0)]


def made_up(birds=20, rate=0.004, ratio=1.0, seed=1, together=False):
    rng = np.random.default_rng(seed)
    out = []
    for name in range(birds):
        factor, pairs = rng.gamma(1.0), []
        for week in range(60):
            risk = -math.expm1(-7 * rate * factor * (ratio if week >= 30 else 1))
            hits = [rng.random() < risk] * 2 if together else list(rng.random(2) < risk)
            pairs += [(7 * week, 7 * week + 7, bool(hit)) for hit in hits]
        out.append(BirdPairs(name, pairs))
    return out


def test_equal_checks_are_conditional_logistic_regression():
    """Each bird her own stratum: statsmodels' conditional logit of "affected" on "after". Ours
    has hazards where it has odds, and profiles where it conditions, so at small risks the log
    ratios agree to about the risk itself."""
    birds = made_up(birds=30, rate=0.0008, ratio=2.0, seed=6)
    got = compare(birds, 210)
    rows = [(r.bird, left >= 210, hit) for r in birds for left, _, hit in r.pairs]
    groups, after, hit = (np.array(part) for part in zip(*rows, strict=True))
    model = ConditionalLogit(hit.astype(int), after[:, None].astype(float), groups=groups)
    other = model.fit(disp=0)
    assert math.log(got.estimate.value) == pytest.approx(other.params[0], abs=0.03)


def test_one_rate_for_each_bird_is_a_cloglog_model_with_birds_in_it():
    """statsmodels' cloglog GLM with an indicator for each bird: same point, same likelihood."""
    birds = made_up(birds=8, rate=0.01, ratio=0.6, seed=2)
    rows = [(r.bird, b - a, a >= 210, hit) for r in birds for a, b, hit in r.pairs]
    name, width, after, hit = (np.array(part) for part in zip(*rows, strict=True))
    design = np.column_stack([name[:, None] == np.arange(8), after]).astype(float)
    link = sm.families.links.CLogLog()
    model = sm.GLM(hit, design, family=sm.families.Binomial(link), offset=np.log(width))
    other = model.fit(tol=1e-13, maxiter=200)
    widths = np.where(after[:, None], [0, 1], [1, 0]) * width[:, None].astype(float)
    data = _ByBird.of(name, widths, hit)
    best = data.best()
    assert best == pytest.approx(other.params[-1], abs=1e-6)
    height, scores, information = data.profile(best)
    assert height == pytest.approx(other.llf, rel=1e-9)
    assert scores.sum() == pytest.approx(0, abs=1e-6)
    step = 1e-3
    bend = (data.profile(best + step)[0] + data.profile(best - step)[0] - 2 * height) / step**2
    assert information == pytest.approx(-bend, rel=1e-4)


def test_birds_that_differ_do_not_bend_the_ratio():
    """The frail bird is watched mostly before, the hardy ones mostly after: over the whole flock
    it looks like an improvement, within birds there is none."""
    frail = [bird(("f", i), 12, 3, weeks=20) for i in range(6)]
    hardy = [bird(("h", i), 1, 4, weeks=20) for i in range(6)]
    birds = [BirdPairs(r.bird, [p for p in r.pairs if p[0] < 140 or p[0] < 175]) for r in frail]
    birds += [BirdPairs(r.bird, [p for p in r.pairs if p[0] >= 140 or p[0] < 35]) for r in hardy]
    got = compare(birds, 140)
    assert fit_rates([pair for r in birds for pair in r.pairs], [140]).ratio().value < 0.7
    assert got.estimate.value == pytest.approx(1, abs=0.15)


def test_headline_and_why():
    got = compare(flock(MIXED), 140)
    assert got.method == "within_birds"
    assert got.refusal is None
    assert got.estimate.low < got.estimate.value < got.estimate.high
    # Equal days: close to the plain exact ratio of 11 to 20 cases.
    plain = rate_ratio(11, 1, 20, 1)
    assert got.estimate.value == pytest.approx(plain.ratio, rel=0.1)
    assert (got.watched.cases_before, got.watched.cases_after) == (20, 11)
    assert got.watched.birds_both == 10
    assert got.watched.birds_with_cases == 9
    assert got.watched.largest_share == 7 / 31
    assert got.verdict(got.p) == "wide"


def test_two_sore_feet_of_one_bird_do_not_pass_for_two_cases():
    """The second foot repeats the first: nothing new is learnt, so the range must not shrink by
    the root of two, as it would if feet were taken one by one."""
    paired = made_up(birds=25, rate=0.002, seed=4, together=True)
    single = [BirdPairs(r.bird, r.pairs[::2]) for r in paired]
    one, other = compare(single, 210), compare(paired, 210)
    assert other.method == "within_birds_robust"
    assert other.dispersion > 1.5 * one.dispersion
    assert other.estimate.value == pytest.approx(one.estimate.value, rel=1e-6)
    width = [math.log(got.estimate.high / got.estimate.low) for got in (one, other)]
    assert width[1] > 0.85 * width[0]


def test_p_agrees_with_the_interval():
    for seed in range(8):
        got = compare(made_up(ratio=(0.3, 1.0)[seed % 2], seed=seed), 210)
        outside = got.estimate.low > 1 or got.estimate.high < 1
        assert outside == (got.p < 0.05)


def test_clear_change_is_called_clear():
    got = compare(made_up(birds=40, rate=0.006, ratio=0.2, seed=3), 210)
    assert got.verdict(got.p) == "clear"
    assert got.estimate.high < 1


def test_no_case_after_gives_a_bound():
    got = compare(flock([(2, 0)] * 8), 140)
    assert got.method == "one_sided"
    assert (got.estimate.value, got.estimate.low) == (0, 0)
    # 16 cases that may go together by twos count as 8.
    share = 0.025 ** (1 / 8)
    assert got.estimate.high == pytest.approx((1 - share) / share, rel=0.1)
    turned = compare(flock([(0, 2)] * 8), 140)
    assert turned.estimate.value == turned.estimate.high == math.inf
    assert turned.estimate.low == pytest.approx(1 / got.estimate.high, rel=0.01)


@pytest.mark.parametrize(
    ("birds", "change", "code"),
    [
        ([], 140, "no_time"),
        (flock(MIXED), 500, "no_time"),
        (flock(MIXED), -5, "no_time"),
        ([bird(0, 3, 3, weeks=5)], 140, "too_little_time"),
        (flock([(0, 0)] * 8), 140, "no_cases"),
        (flock([(1, 0), (1, 1), (0, 1)] + [(0, 0)] * 5), 140, "too_few_cases"),
        (flock([(3, 3)] * 4), 140, "too_few_birds"),
        (flock([(6, 0)] + [(0, 0)] * 6), 140, "too_few_case_birds"),
        (flock([(1, 0)] * 5), 140, "unattainable"),
        (flock(MIXED), 7 * 39, "too_few_checks"),
    ],
)
def test_refusals_are_values_with_a_code(birds, change, code):
    got = compare(birds, change)
    assert got.refusal.code == code
    assert (got.method, got.verdict(0)) == ("refused", "refused")
    assert math.isnan(got.estimate.value)
    assert got.estimate.refusal is got.refusal


def test_too_many_straddling_cases_are_refused():
    birds = [BirdPairs(r.bird, [*r.pairs, (110, 160, True)]) for r in flock([(1, 1)] * 8)]
    got = compare(birds, 140)
    assert got.refusal is None
    assert got.watched.straddling == 8
    more = [BirdPairs(r.bird, [*r.pairs, (110, 160, True)]) for r in birds]
    assert compare(more, 140).refusal.code == "straddling"


def test_check_on_the_change_day_belongs_to_before():
    got = compare(flock([(2, 1)] * 8), 140)
    assert got.watched.straddling == 0
    assert got.watched.days_before == got.watched.days_after == 8 * 280
    late = compare(flock([(2, 1)] * 8), 139)
    assert late.watched.straddling == 0
    assert late.watched.days_before == 8 * 278


def test_the_share_of_one_bird_is_handed_on():
    got = compare(flock([(6, 4), (1, 1), (0, 1), (1, 0)] + [(0, 0)] * 4), 140)
    assert got.watched.largest_share == 10 / 14


def test_every_pair_affected_is_no_error():
    birds = [BirdPairs(i, [(0, 70, True), (140, 210, True)]) for i in range(8)]
    assert compare(birds, 140).refusal is not None


def test_unlike_gaps_are_handed_on_and_healing_allowed_for():
    birds = []
    for record in made_up(birds=20, rate=0.004, seed=9):
        before = [(a, b, h) for a, b, h in record.pairs if b <= 210]
        monthly = [(a, a + 28, h) for a, b, h in before if a % 28 == 0]
        birds.append(BirdPairs(record.bird, monthly + [p for p in record.pairs if p[0] >= 210]))
    plain = compare(birds, 210)
    assert (plain.watched.gap_before, plain.watched.gap_after) == (28, 7)
    assert not plain.allows_for_healing
    quickly = healing_curve([5, 10, 15, 20, 25, 30, 35], [True] * 7)
    allowed = compare(birds, 210, quickly)
    assert allowed.allows_for_healing
    # Long gaps hide more, so the true rate before was higher and the ratio lower.
    assert allowed.estimate.value < plain.estimate.value


def test_seen_days_are_the_area_under_the_healing_curve():
    curve = healing_curve([10, 20, 30, 40] * 2, [True] * 8)
    seen = _lasting_widths(np.array([0.0]), np.array([20.0]), 12, curve)
    # Shares lasting: 1 at 0, .75 at 10, .5 at 20, straight in between.
    assert seen[0] == pytest.approx([(0.5 + 0.8) / 2 * 12 + 0.0, 8 * 0.9], abs=1e-9)


BIRD_COUNTS = st.lists(st.tuples(st.integers(0, 6), st.integers(0, 6)), min_size=6, max_size=14)


@quick
@given(BIRD_COUNTS, st.randoms(use_true_random=False))
def test_order_and_mirror(cases, random):
    birds = flock(cases)
    got = compare(birds, 140)
    shuffled = [BirdPairs(r.bird, random.sample(r.pairs, len(r.pairs))) for r in birds]
    random.shuffle(shuffled)
    again = compare(shuffled, 140)
    assert again.method == got.method
    assert again.estimate.value == pytest.approx(got.estimate.value, rel=1e-6, nan_ok=True)
    turned = compare(flock([(b, a) for a, b in cases]), 140)
    assert turned.verdict(turned.p) == got.verdict(got.p)
    if got.method.startswith("within"):
        assert got.estimate.low <= got.estimate.value <= got.estimate.high
        assert turned.estimate.value == pytest.approx(1 / got.estimate.value, rel=1e-6)
        assert turned.estimate.low == pytest.approx(1 / got.estimate.high, rel=1e-6)


@quick
@given(BIRD_COUNTS, st.sampled_from([0.5, 2.0, 4.0]))
def test_unit_of_time_does_not_matter_to_the_ratio(cases, scale):
    birds = flock(cases)
    stretched = [
        BirdPairs(r.bird, [(a * scale, b * scale, h) for a, b, h in r.pairs]) for r in birds
    ]
    one, other = compare(birds, 140), compare(stretched, 140 * scale)
    if one.refusal is None and other.refusal is None:
        assert other.estimate.high == pytest.approx(one.estimate.high, rel=1e-5)


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        (([], math.nan), "change_day"),
        (([], math.inf), "change_day"),
        (([BirdPairs(1, [(3, 2, True)])], 5), "pairs"),
        (([], 5, None, 2), "level"),
    ],
)
def test_bad_input(arguments, named):
    with pytest.raises(ValueError, match=named):
        compare(*arguments)


@pytest.mark.parametrize(
    ("arrays", "named"),
    [
        (([1, 2], [0], [5], [True]), "length"),
        (([1], [0], [5], [2]), "pairs"),
        (([1], [5], [5], [True]), "pairs"),
        (([1], [math.nan], [5], [True]), "pairs"),
    ],
)
def test_bad_arrays(arrays, named):
    with pytest.raises(ValueError, match=named):
        compare_arrays(*arrays, 3)


def test_by_bird_interval_formula():
    """Same birds on both sides, written out for three birds (Liang & Zeger's robust variance
    with B/(B-1); no published example)."""
    n1, t1, n0, t0 = [2, 0, 4], [100, 100, 200], [1, 1, 1], [100, 50, 150]
    u = [n1[b] / 6 - t1[b] / 400 - (n0[b] / 3 - t0[b] / 300) for b in range(3)]
    error = math.sqrt(3 / 2 * sum(x * x for x in u))
    got = clustered_ratio(n1, t1, n0, t0)
    assert got.value == pytest.approx(6 / 400 / (3 / 300))
    assert math.log(got.high / got.value) == pytest.approx(4.302653 * error, rel=1e-6)
    assert got.low * got.high == pytest.approx(got.value**2)


def _two_strata(birds=200):
    """Some birds on both sides and in both strata; the second has a fifth of the cases."""
    rng = np.random.default_rng(3)
    t1, t0 = rng.uniform(50, 200, (2, 2, birds)) * (rng.random((2, 2, birds)) < 0.7)
    rate = np.array([[0.02], [0.004]]) * rng.gamma(2, 0.5, birds)
    return rng.poisson(2 * rate * t1), t1, rng.poisson(rate * t0), t0


def test_by_bird_interval_over_strata():
    """The ratio is `pooled_ratio`'s; the limits are those of the jackknife that leaves out one
    bird after another (Efron & Stein 1981, from memory), which needs no formula."""
    parts = _two_strata()
    got, birds = clustered_ratio(*parts), parts[0].shape[1]
    cells = [tuple(part[row].sum() for part in parts) for row in (0, 1)]
    assert got.value == pytest.approx(pooled_ratio(cells).ratio)
    left_out = [
        math.log(clustered_ratio(*(np.delete(part, one, 1) for part in parts)).value)
        for one in range(birds)
    ]
    error = math.sqrt((birds - 1) * np.var(left_out))
    reach = student.isf(0.025, birds - 1)
    assert math.log(got.high / got.value) == pytest.approx(reach * error, rel=0.01)


def test_a_stratum_of_one_side_says_nothing():
    parts = _two_strata()
    more = [
        np.vstack((part, part[0] * keep)) for part, keep in zip(parts, (1, 1, 0, 0), strict=True)
    ]
    assert clustered_ratio(*more) == clustered_ratio(*parts)


def test_by_bird_interval_against_a_clustered_poisson_model():
    """statsmodels' Poisson GLM with cov_type="cluster": its small-sample factor also counts the
    parameters, (N-1)/(N-k), which is taken out here; it uses the normal law, ours t."""
    rng = np.random.default_rng(7)
    n1, n0 = rng.poisson(2, 20) * 1.0, rng.poisson(4, 20) * 1.0
    t1, t0 = rng.uniform(50, 200, 20), rng.uniform(50, 200, 20)
    design = np.column_stack([np.ones(40), np.repeat([1, 0], 20)])
    model = sm.GLM(np.r_[n1, n0], design, family=sm.families.Poisson(), exposure=np.r_[t1, t0])
    other = model.fit(cov_type="cluster", cov_kwds={"groups": np.tile(np.arange(20), 2)})
    got = clustered_ratio(n1, t1, n0, t0)
    assert math.log(got.value) == pytest.approx(other.params[1])
    error = math.log(got.high / got.value) / 2.093024
    assert error == pytest.approx(other.bse[1] / math.sqrt(39 / 38), rel=1e-6)


def test_p_of_a_ratio_by_bird_goes_with_its_limits():
    """p is 0.05 where a 95 % limit is 1; for three birds by hand, t with two degrees of freedom:
    the two-sided p of t is 1 - t / sqrt(t² + 2)."""
    assert ratio_p(Estimate(2.0, 1.0, 4.0), birds=9) == pytest.approx(0.05)
    assert ratio_p(Estimate(0.5, 0.25, 1.0, 0.9), birds=9) == pytest.approx(0.1)
    found = clustered_ratio([2, 0, 4], [100, 100, 200], [1, 1, 1], [100, 50, 150])
    t = abs(math.log(found.value)) / (math.log(found.high / found.value) / 4.302653)
    assert ratio_p(found, birds=3) == pytest.approx(1 - t / math.sqrt(t * t + 2), rel=1e-6)
    assert ratio_p(Estimate(2.0, 2.0, 2.0), birds=9) == 0


def test_spread_over_birds_by_hand():
    # Eight birds watched alike, all eight cases from one: (7² + 7 × 1²) / 1 / 7.
    assert spread_over_birds([8] + [0] * 7, [50] * 8) == pytest.approx(8)
    assert spread_over_birds([8] + [0] * 7 + [0], [50] * 8 + [0]) == pytest.approx(8)
    # Too few birds, or no case, cannot be judged.
    assert spread_over_birds([7] + [0] * 6, [50] * 7) == 1
    assert spread_over_birds([0] * 8, [50] * 8) == 1


def test_limits_are_drawn_apart_by_the_spread_and_never_together():
    one = Estimate(2.0, 1.0, 8.0)
    wide = widened(one, 4.0)
    assert (wide.value, wide.low, wide.high) == pytest.approx((2.0, 0.5, 32.0))
    assert widened(one, 0.5) == one
    for value in (0.0, math.inf, math.nan):
        assert widened(Estimate(value, 0.0, 1.0), 4.0).high == 1.0


def test_by_bird_interval_edges():
    assert clustered_ratio([1, 1], [1, 1], [0, 0], [1, 1]).refusal.code == "one_side_empty"
    assert clustered_ratio([1, 1], [1, 1], [1, 1], [0, 0]).refusal.code == "no_time"
    assert clustered_ratio([1], [1], [1], [1]).refusal.code == "one_bird"
    assert clustered_ratio([], [], [], []).refusal.code == "no_time"
    with pytest.raises(ValueError, match="times"):
        clustered_ratio([1, 1], [1, -1], [1, 1], [1, 1])
    with pytest.raises(ValueError, match="counts"):
        clustered_ratio([1, math.nan], [1, 1], [1, 1], [1, 1])
    with pytest.raises(ValueError, match="one shape"):
        clustered_ratio([1], [1, 1], [1, 1], [1, 1])


def test_exact_ratio_with_straddling_cases_on_either_side():
    birds = [BirdPairs(r.bird, [*r.pairs, (110, 160, True)]) for r in flock([(2, 1)] * 8)]
    got = compare(birds, 140)
    assert got.exact_all_before.ratio < got.estimate.value < got.exact_all_after.ratio
    plain = compare(flock([(2, 1)] * 8), 140)
    assert plain.exact_all_before == plain.exact_all_after


@pytest.mark.parametrize(
    ("p", "adjusted", "more", "verdict"),
    [
        (0.001, 0.009, {}, "clear"),
        (0.001, 0.009, {"cases": 9}, "hint"),  # fewer than ten cases
        (0.001, 0.009, {"birds": 4}, "some_sign"),  # fewer than five birds
        (0.01, 0.05, {}, "some_sign"),
        (0.02, 0.06, {}, "outnumbered"),
        (0.5, 0.5, {"low": 0.6, "high": 1.9}, "similar"),
        (0.5, 0.5, {"low": 0.4, "high": 1.9}, "wide"),
        (0.5, 0.5, {"low": 0.6, "high": 2.1}, "wide"),
    ],
)
def test_how_sure(p, adjusted, more, verdict):
    assert answer(p, **more).verdict(adjusted) == verdict


def answer(p, low=0.2, high=0.9, cases=20, birds=8):
    one = compare(flock(MIXED), 140)
    watched = replace(
        one.watched, cases_before=cases, cases_after=0, straddling=0, birds_with_cases=birds
    )
    return replace(one, p=p, estimate=Estimate(0.5, low, high), watched=watched)


def test_what_both_share_cancels_in_the_ratio_of_ratios():
    """By hand: 0.2 over 0.5 is 0.4; each limit a factor 2 away at t with 9 degrees of freedom
    gives errors log 2 / 2.262, in squares together."""
    one = _any_comparison()
    own = replace(one, estimate=Estimate(0.2, 0.1, 0.4))
    other = replace(one, estimate=Estimate(0.5, 0.25, 1.0))
    own = replace(own, watched=replace(one.watched, birds_with_cases=10), refusal=None)
    other = replace(other, watched=own.watched, refusal=None)
    found, p = against(own, other)
    error = math.sqrt(2) * math.log(2) / student.isf(0.025, 9)
    assert found.value == pytest.approx(0.4)
    assert found.high == pytest.approx(0.4 * math.exp(student.isf(0.025, 9) * error))
    assert p == pytest.approx(2 * student.sf(math.log(2.5) / error, 9))
    none, blank = against(own, replace(other, estimate=Estimate(0.0, 0.0, 1.0)))
    assert none.refusal.code == "one_sided" and math.isnan(blank)
    refused = replace(other, refusal=Refusal("no_cases"))
    assert against(own, refused)[0].refusal.code == "refused"


def _any_comparison():
    bird = np.repeat(np.arange(10), 20)
    left = np.tile(np.arange(20) * 7, 10)
    affected = np.zeros(200, bool)
    affected[::9] = True
    return compare_arrays(bird, left, left + 7, affected, 70)
