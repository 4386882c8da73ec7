"""Healing curves and the log-rank test against published trials and lifelines."""

import math
import random as randomness

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from lifelines import KaplanMeierFitter
from lifelines.statistics import logrank_test

from flockcare.analysis.episodes import episodes_from_arrays
from flockcare.analysis.healing import (
    days_lasting,
    follow_up,
    healing_curve,
    log_rank,
    log_rank_by_bird,
)

from .properties import examples

quick = examples(40)
NAN = math.nan


def marked(text):
    """Days with "+" for censored, as trial reports print them."""
    marks = text.split()
    return [int(mark.strip("+")) for mark in marks], ["+" not in mark for mark in marks]


# Freireich et al. (1963) Blood 21:699, weeks in remission (title read, numbers from memory).
DRUG = marked("6 6 6 6+ 7 9+ 10 10+ 11+ 13 16 17+ 19+ 20+ 22 23 25+ 32+ 32+ 34+ 35+")
PLACEBO = marked("1 1 2 2 3 4 4 5 5 8 8 8 8 11 11 12 12 15 17 22 23")


def test_published_curve():
    curve = healing_curve(*DRUG)
    at = {
        t: (s, e)
        for t, s, e in zip(curve.times, curve.remaining, curve.standard_error, strict=True)
    }
    for time, share, error in ((6, 0.857, 0.0764), (10, 0.753, 0.0963), (23, 0.448, 0.1346)):
        assert at[time] == (pytest.approx(share, abs=5e-4), pytest.approx(error, abs=5e-5))
    assert curve.median == 23
    # Computed: log-log limits of the median; R's default (log) limits differ.
    assert (curve.median_low, curve.median_high) == (13, math.inf)
    other = healing_curve(*PLACEBO)
    assert (other.median, other.median_low, other.median_high) == (8, 4, 11)


def test_published_log_rank():
    got = log_rank(*DRUG, *PLACEBO)
    assert got.chi2 == pytest.approx(16.79, abs=5e-3)
    # Computed: observed 9, expected 19.2505, variance 6.2570.
    assert got.observed == 9
    assert (got.expected, got.variance) == pytest.approx((19.2505, 6.2570), abs=5e-5)
    assert got.refusal is None


def test_against_lifelines():
    """The same limits at every time. lifelines steps through censored times too, and its limits
    at a share of zero are 0, where ours are not-a-number because the scale has none."""
    for days, healed in (DRUG, PLACEBO):
        curve = healing_curve(days, healed)
        other = KaplanMeierFitter().fit(days, healed)
        shares = other.survival_function_["KM_estimate"].loc[list(curve.times)]
        assert curve.remaining == pytest.approx(shares.to_numpy())
        bounds = other.confidence_interval_survival_function_.loc[list(curve.times)].to_numpy()
        mine = np.array([curve.low, curve.high]).T
        inside = np.array(curve.remaining) > 0
        assert mine[inside] == pytest.approx(bounds[inside], rel=1e-9)
        assert np.isnan(mine[~inside]).all()
        assert curve.median == other.median_survival_time_
    test = logrank_test(DRUG[0], PLACEBO[0], DRUG[1], PLACEBO[1])
    got = log_rank(*DRUG, *PLACEBO)
    assert (got.chi2, got.p) == pytest.approx((test.test_statistic, test.p_value))


def test_share_of_exactly_one_half_counts_as_the_median():
    curve = healing_curve([1, 2, 3, 4], [True] * 4)
    assert curve.median == 2


def test_none_healed():
    curve = healing_curve([5, 9, 12], [False] * 3)
    assert curve.times == ()
    assert curve.median == math.inf
    assert curve.median_refusal.code == "too_few_healed"


def test_all_healed_on_one_day():
    curve = healing_curve([7] * 6, [True] * 6)
    assert curve.remaining == (0,)
    assert math.isnan(curve.low[0])
    assert math.isnan(curve.standard_error[0])
    assert (curve.median, curve.median_low, curve.median_high) == (7, math.inf, math.inf)


def test_nothing_to_follow():
    curve = healing_curve([], [])
    assert curve.refusal.code == "too_few_cases"
    assert curve.times == ()
    nothing = log_rank([], [], [], [])
    assert (nothing.chi2, nothing.p, nothing.refusal.code) == (0, 1, "too_few_healed")
    assert log_rank_by_bird([], [], [], []).refusal.code == "too_few_healed"


def test_curve_is_shown_while_three_are_followed():
    assert healing_curve([1, 2, 3, 4, 5], [True] * 5).shown_until == 3
    assert healing_curve([1, 2], [True] * 2).shown_until == 0


def test_small_groups_are_refused():
    assert log_rank([1] * 4, [True] * 4, [2] * 9, [True] * 9).refusal.code == "too_few_healed"
    small = log_rank(range(6), [True] * 6, range(6), [True] * 6)
    assert small.refusal.code == "needs_permutation"
    big = log_rank(range(12), [True] * 12, range(12), [True] * 12)
    assert big.refusal is None


def test_permutation_by_bird_comes_near_chi2_when_birds_have_one_sore_each():
    days, healed = DRUG[0] + PLACEBO[0], DRUG[1] + PLACEBO[1]
    got = log_rank_by_bird(days, healed, [True] * 21 + [False] * 21, range(42))
    plain = log_rank(*DRUG, *PLACEBO)
    assert (got.observed, got.chi2) == (plain.observed, pytest.approx(plain.chi2))
    assert got.permutation_p <= 3 / 2000
    dealer = randomness.Random(1)
    labels = [dealer.random() < 0.5 for _ in days]
    mixed = log_rank_by_bird(days, healed, labels, range(42), simulations=4999)
    assert mixed.permutation_p == pytest.approx(mixed.p, abs=0.05)


def test_permutation_by_bird_is_not_fooled_by_sores_of_one_bird():
    """Ten sores of each of four birds, alike within a bird: forty sores look convincing, four
    birds cannot be (4 over 2 is 6 ways, so no p below 1/6)."""
    days = [d for d in (10, 11, 30, 31) for _ in range(10)]
    bird = [b for b in range(4) for _ in range(10)]
    got = log_rank_by_bird(days, [True] * 40, [b < 2 for b in bird], bird)
    assert got.p < 1e-6
    assert got.permutation_p > 0.2
    assert got.refusal.code == "too_few_birds"


def test_birds_in_both_groups_keep_their_labels():
    days = [5, 9, 6, 8, 7, 12, 14, 11, 10, 13]
    bird = ["a", "a", *"bcdefghi"]
    first = [True, False, True, True, True, False, False, False, True, False]
    got = log_rank_by_bird(days, [True] * 10, first, bird)
    assert 0 < got.permutation_p <= 1
    rest = [True] * 10, first, [0] * 10
    assert log_rank_by_bird(days, *rest).permutation_p == 1
    assert log_rank_by_bird(days, *rest).refusal.code == "too_few_birds"


@pytest.mark.parametrize(
    ("days", "healed", "named"),
    [
        ([-1], [True], "days"),
        ([NAN], [True], "days"),
        ([math.inf], [True], "days"),
        ([1], [2], "healed"),
        ([1], [NAN], "healed"),
        ([1, 2], [True], "length"),
    ],
)
def test_bad_follow_up(days, healed, named):
    with pytest.raises(ValueError, match=named):
        healing_curve(days, healed)
    with pytest.raises(ValueError, match=named):
        log_rank([1], [True], days, healed)
    with pytest.raises(ValueError, match=named):
        log_rank_by_bird(days, healed, [True] * len(days), [0] * len(days))


def test_bad_labels():
    with pytest.raises(ValueError, match="first_group"):
        log_rank_by_bird([1], [True], [True, False], [0])
    with pytest.raises(ValueError, match="first_group"):
        log_rank_by_bird([1], [True], [3], [0])


def test_from_episodes():
    affected = [mark == "1" for mark in "1..11...11"]
    found = episodes_from_arrays([0] * 10, range(0, 70, 7), affected)
    # Prevalent (first look affected): no start, so it is not followed.
    days, healed = follow_up(found)
    assert (days.tolist(), healed.tolist()) == ([14, 7], [True, False])


def test_days_that_a_sore_would_have_lasted_to_the_look():
    # Half of the sores are gone after 10 days, all after 20 (in straight lines between): of a gap
    # of 10 days the area under the curve, 7.5, is seen; of 20 days 10; of 60 no more.
    curve = healing_curve([10, 20] * 3, [True] * 6)
    assert days_lasting(np.array([10, 20, 60]), curve) == pytest.approx([7.5, 10, 10])


def test_without_a_curve_all_days_count():
    assert days_lasting(np.array([3, 60]), healing_curve([], [])).tolist() == [3, 60]


FOLLOWED = st.lists(st.tuples(st.integers(1, 20), st.booleans()), min_size=1, max_size=30)


@quick
@given(FOLLOWED, st.randoms(use_true_random=False), st.floats(0.1, 10))
def test_order_and_unit_of_time(rows, random, scale):
    days, healed = zip(*rows, strict=True)
    curve = healing_curve(days, healed)
    shuffled = rows[:]
    random.shuffle(shuffled)
    again = healing_curve(*zip(*shuffled, strict=True))
    assert again.remaining == curve.remaining
    stretched = healing_curve([d * scale for d in days], healed)
    assert stretched.remaining == curve.remaining
    assert stretched.median == pytest.approx(curve.median * scale)
    for low, share, high in zip(curve.low, curve.remaining, curve.high, strict=True):
        assert math.isnan(low) or low <= share <= high
    assert curve.median_low <= curve.median <= curve.median_high or curve.remaining[-1] == 0


@quick
@given(FOLLOWED, FOLLOWED)
def test_log_rank_mirror(a, b):
    one = log_rank(*zip(*a, strict=True), *zip(*b, strict=True))
    other = log_rank(*zip(*b, strict=True), *zip(*a, strict=True))
    assert one.chi2 == pytest.approx(other.chi2)
    assert one.variance == pytest.approx(other.variance)
    assert one.observed - one.expected == pytest.approx(other.expected - other.observed)
