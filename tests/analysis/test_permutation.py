"""The permutation test of the scan: worked by hand, and against chance itself."""

import numpy as np
import pytest

from flockcare.analysis.healing import healing_curve
from flockcare.analysis.permutation import pairs_by_bird, scan_p_value

NO_CURVE = healing_curve([], [])


def arrays(cases_at, weeks=60, birds=6):
    """Weekly gaps of one foot each; ``cases_at`` (bird, week) that ended sore."""
    rows = [
        (bird, 7 * week, 7 * week + 7, (bird, week) in cases_at)
        for bird in range(birds)
        for week in range(weeks)
    ]
    bird, left, right, affected = np.array(rows).T
    return bird, left, right, affected.astype(bool)


def test_all_cases_in_the_last_third_are_no_luck():
    cases = {(bird, week) for bird in range(6) for week in (42, 47, 52, 57)}
    assert scan_p_value(*arrays(cases), NO_CURVE, permutations=499) == pytest.approx(1 / 500)


def test_cases_spread_evenly_are_what_luck_gives():
    cases = {(bird, week) for bird in range(6) for week in (8 + bird, 28 + bird, 48 + bird)}
    assert scan_p_value(*arrays(cases), NO_CURVE, permutations=499) > 0.5


def test_both_feet_over_the_same_days_are_one_pair():
    bird, left, right, affected = pairs_by_bird(
        [2, 1, 1, 1], [0, 7, 0, 0], [7, 14, 7, 7], [False, True, True, False]
    )
    assert list(zip(bird, left, right, affected, strict=True)) == [
        (1, 0, 7, True),
        (1, 7, 14, True),
        (2, 0, 7, False),
    ]


def test_no_case_gives_no_p():
    assert np.isnan(scan_p_value(*arrays(set()), NO_CURVE))


def test_two_feet_of_one_gap_are_one_piece_of_evidence():
    cases = {(bird, 40 + 2 * bird) for bird in range(6)}
    one = arrays(cases)
    two = tuple(np.concatenate((part, part)) for part in one)
    assert scan_p_value(*two, NO_CURVE, permutations=499) == scan_p_value(
        *one, NO_CURVE, permutations=499
    )


def test_under_luck_alone_small_p_values_are_rare():
    """300 flocks in which nothing changes: p is at most 0.1 in about 10 % (error 1.7 points)."""
    random = np.random.default_rng(1)
    small = 0
    for seed in range(300):
        cases = {(b, int(w)) for b in range(6) for w in random.choice(60, random.poisson(5), False)}
        small += scan_p_value(*arrays(cases), NO_CURVE, permutations=199, seed=seed) <= 0.1
    assert small / 300 <= 0.15
