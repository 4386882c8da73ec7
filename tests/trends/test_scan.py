"""The scan and its p by dealing out: worked by hand, and against luck itself."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from flockcare.analysis.healing import healing_curve
from flockcare.trends import changes, scan
from flockcare.trends.dealing import luck_of_scan, seen_days
from flockcare.trends.watch import Watch
from tests.trends.flocks import DAY_0, simulated

NO_CURVE = healing_curve([], [])


def test_days_that_a_sore_would_have_lasted_to_the_look():
    # Half of the sores are gone after 10 days, all after 20 (in straight lines between): of a gap
    # of 10 days the area under the curve, 7.5, is seen; of 20 days 10; of 60 no more.
    curve = replace(healing_curve([10, 20] * 3, [True] * 6))
    assert seen_days(np.array([10, 20, 60]), curve) == pytest.approx([7.5, 10, 10])


def test_without_a_curve_all_days_count():
    assert seen_days(np.array([3, 60]), NO_CURVE).tolist() == [3, 60]


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
    assert luck_of_scan(*arrays(cases), NO_CURVE, deals=499) == pytest.approx(1 / 500)


def test_cases_spread_evenly_are_what_luck_gives():
    cases = {(bird, week) for bird in range(6) for week in (8 + bird, 28 + bird, 48 + bird)}
    assert luck_of_scan(*arrays(cases), NO_CURVE, deals=499) > 0.5


def test_two_feet_of_one_gap_are_one_piece_of_evidence():
    cases = {(bird, 40 + 2 * bird) for bird in range(6)}
    one = arrays(cases)
    two = tuple(np.concatenate((part, part)) for part in one)
    assert luck_of_scan(*two, NO_CURVE, deals=499) == luck_of_scan(*one, NO_CURVE, deals=499)


def test_under_luck_alone_small_p_values_are_rare():
    """300 flocks in which nothing changes: p is at most 0.1 in about 10 % (error 1.7 points)."""
    random = np.random.default_rng(1)
    small = 0
    for seed in range(300):
        cases = {(b, int(w)) for b in range(6) for w in random.choice(60, random.poisson(5), False)}
        small += luck_of_scan(*arrays(cases), NO_CURVE, deals=199, seed=seed) <= 0.1
    assert small / 300 <= 0.15


def test_a_large_change_is_found_where_it_was():
    watch = Watch.of(simulated(seed=11, birds=40, rate=0.004, ratio=0.1))
    told = changes.answers(watch)
    found = scan.answer(watch, told)
    assert found.told
    change = dt.date.fromordinal(DAY_0 + 365)
    assert found.first <= change <= found.last
    assert found.inside == (1,)
    assert found.sentences[0].startswith("Cases fell around ")
    assert "One logged change falls inside" in found.sentences[1]


def test_too_few_cases_are_refused_in_words():
    watch = Watch.of(simulated(seed=1, birds=4, rate=0.0003))
    found = scan.answer(watch, changes.answers(watch))
    assert not found.told and found.refusal.code == "too_few_cases"
    assert "too few to look for a change" in found.sentences[0]


def test_how_much_of_the_time_all_windows_cover():
    """One change in 731 days with 42 days after it, all birds watched alike: about 42 / 730."""
    watch = Watch.of(simulated(seed=2, birds=20))
    found = scan.answer(watch, changes.answers(watch))
    assert found.windows_share == pytest.approx(42 / 730, rel=0.2)
    assert any("42 days after every change" in sentence for sentence in found.sentences)
