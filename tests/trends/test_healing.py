"""Healing by first care, worked by hand in small flocks."""

import math

import numpy as np
import pytest

from flockcare.trends import healing, words
from flockcare.trends.records import AreaRow, StepRow
from flockcare.trends.watch import Watch
from tests.trends.flocks import DAY_0, birds_of, flock

NAMES = list(healing.ACTIONS)


def first_action(*steps, start=100):
    rows = [StepRow(0, foot, start + day, kind) for day, foot, kind in steps]
    found = healing.first_actions(np.array([0]), np.array([start]), rows)
    return NAMES[int(found[0])]


@pytest.mark.parametrize(
    ("steps", "action"),
    [
        ([], "alone"),
        ([(0, 0, "watched")], "alone"),
        ([(0, 0, "soaked"), (0, 0, "dressing on")], "dressed"),
        # The most that was done on the first day counts, whatever order it was written in.
        ([(0, 0, "soaked"), (0, 0, "scab lifted")], "lifted"),
        ([(0, 0, "scab lifted"), (0, 0, "soaked")], "lifted"),
        ([(3, 0, "vet"), (0, 0, "soaked")], "dressed"),
        ([(0, 0, "soaked"), (3, 0, "vet")], "dressed"),
        # The vet sees the whole bird.
        ([(7, None, "vet")], "vet"),
        # More than a week later it was left alone at first; before, it was another sore.
        ([(8, 0, "vet")], "alone"),
        ([(-1, 0, "soaked")], "alone"),
        # The other foot.
        ([(0, 1, "soaked")], "alone"),
    ],
)
def test_first_care(steps, action):
    assert first_action(*steps) == action


def sores(days_each, steps=()):
    """One foot per bird: clear on day 0, sore from day 7 until it is seen clear."""
    histories = {}
    for bird, days in enumerate(days_each):
        history = [(0, 0), *((7 + day, 1) for day in range(0, days, 7)), (7 + days, 0)]
        histories[bird, 0] = history
    return healing.answer(Watch.of(flock(histories, steps=list(steps))))


def test_half_of_them_by_the_middle_time():
    found = sores([14, 21, 28, 35, 42])
    everything = found.groups[0]
    assert (everything.cases, everything.healed) == (5, 5)
    assert everything.median.value == 28
    assert "half of them within 28 days" in everything.words
    # Last seen sore 7 days before it was seen clear, clear 7 days before it was seen sore.
    assert (found.shortest, found.longest) == (21, 35)


def test_too_few_for_a_curve():
    found = sores([14, 21])
    assert found.groups[0].refusal.code == "too_few_cases"
    assert found.sentences[0] == "2 sores are too few for a curve."


def test_care_is_warned_about():
    steps = [StepRow(bird, 0, DAY_0 + 7, "soaked") for bird in range(6)]
    found = sores([28] * 6 + [14] * 6, steps)
    assert [group.key for group in found.groups] == ["all", "alone", "dressed"]
    assert words.CARE_TELLS_NOTHING in found.sentences
    dressed = found.groups[2]
    # Six against six, all healing later: 2 of 924 ways to deal the birds are as lopsided, and two
    # of them at random give nearly that.
    assert dressed.p < 0.02
    assert any("were not clear after equally long times" in line for line in found.sentences)
    assert not any("helped" in line or "faster because" in line for line in found.sentences)


def test_few_treated_sores_are_not_compared():
    found = sores([28, 28, *[14] * 8], [StepRow(0, 0, DAY_0 + 7, "vet")])
    vet = found.groups[-1]
    assert vet.key == "vet" and vet.test_refusal is not None and math.isnan(vet.p)


def test_birds_put_down_for_their_feet_are_told_apart():
    histories = {(0, 0): "0111", (1, 0): "0110"}
    birds = birds_of(2, culled_for_feet=[True, True], present=[False, False])
    assert healing.answer(Watch.of(flock(histories, birds=birds))).culled == 1


def test_how_fast_areas_halve():
    """From 40 to 10 mm² in 20 days is two halvings: 10 days each."""
    days = [49] * 6
    histories = {
        (bird, 0): [(0, 0), *((7 + day, 1) for day in range(0, each, 7)), (7 + each, 0)]
        for bird, each in enumerate(days)
    }
    areas = [
        AreaRow(b, 0, DAY_0 + 14 + day, mm2) for b in range(6) for day, mm2 in ((0, 40), (20, 10))
    ]
    found = healing.answer(Watch.of(flock(histories, areas=areas)))
    assert found.halving.value == pytest.approx(10.0)
    assert found.halving_sores == 6
    few = healing.answer(Watch.of(flock(histories, areas=areas[:4])))
    assert few.halving is None and few.halving_refusal.code == "too_few_measured"


def test_where_no_test_was_possible_nothing_is_said_of_chance():
    few = sores([28, 28, *[14] * 8], [StepRow(0, 0, DAY_0 + 7, "vet")])
    assert words.CARE_UNTOLD in few.sentences
    assert not any("beyond chance" in line for line in few.sentences)
    # Only what could be compared is called alike.
    steps = [StepRow(bird, 0, DAY_0 + 7, "soaked") for bird in range(6)]
    same = sores([28] * 13, [*steps, StepRow(6, 0, DAY_0 + 7, "vet")])
    assert (
        "Between “soaked and dressed” and those left alone no difference shows beyond chance."
        in same.sentences
    )
