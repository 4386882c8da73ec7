"""Episodes and time at risk. The rules are the project's own: common practice in the analysis
of recurrent events, no published source for hens' feet."""

import datetime as dt
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flockcare.analysis.episodes import (
    Look,
    episodes,
    episodes_from_arrays,
    merge_days,
    risk_pairs,
    risk_pairs_from_arrays,
)

from .properties import examples

START = dt.date(2024, 3, 1)


def day(n):
    return START + dt.timedelta(days=n)


def looks_of(text, step=7):
    """'.' a clear look, a digit an affected one of that grade, '_' no look; `step` days apart."""
    return [
        Look(day(i * step), mark != ".", None if mark == "." else int(mark))
        for i, mark in enumerate(text)
        if mark != "_"
    ]


def ordinals(pairs):
    return [
        (left - START.toordinal(), right - START.toordinal(), hit) for left, right, hit in pairs
    ]


def test_one_stretch_from_first_affected_to_first_clear():
    (case,) = episodes(looks_of("..121.."))
    assert case.first_affected == day(14)
    assert case.last_affected == day(28)
    assert case.last_clear_before == day(7)
    assert case.first_clear_after == day(35)
    assert case.worst_grade == 2
    assert not case.prevalent


def test_affected_at_the_first_look_is_prevalent_and_no_incident_case():
    looks = looks_of("1..1")
    first, second = episodes(looks)
    assert first.prevalent
    assert first.last_clear_before is None
    assert not second.prevalent
    assert ordinals(risk_pairs(looks).pairs) == [(7, 14, False), (14, 21, True)]


def test_still_affected_has_no_clear_end():
    (case,) = episodes(looks_of(".11"))
    assert case.first_clear_after is None
    assert case.last_affected == day(14)


def test_no_time_at_risk_while_affected():
    looks = looks_of(".11.1.")
    assert ordinals(risk_pairs(looks).pairs) == [(0, 7, True), (21, 28, True)]


@pytest.mark.parametrize("text", ["", ".", "1"])
def test_fewer_than_two_looks_give_no_pairs(text):
    assert risk_pairs(looks_of(text)).pairs == []
    assert risk_pairs(looks_of(text)).dropped_days == 0


def test_no_looks_no_episodes():
    assert episodes([]) == []


def test_gap_beyond_the_limit_is_dropped_and_counted_whatever_its_end():
    looks = [Look(day(0), False), Look(day(60), False), Look(day(121), False), Look(day(190), True)]
    watched = risk_pairs(looks)
    assert ordinals(watched.pairs) == [(0, 60, False)]
    assert watched.dropped_days == 61 + 69
    assert watched.dropped_cases == 1
    assert len(risk_pairs(looks, gap_limit_days=math.inf).pairs) == 3


def test_two_looks_on_one_day_count_once_and_affected_wins():
    looks = [
        Look(day(0), False),
        Look(day(7), False),
        Look(day(7), True, 1),
        Look(day(7), True, 2),
        Look(day(14), False),
    ]
    (case,) = episodes(looks)
    assert (case.first_affected, case.last_affected, case.worst_grade) == (day(7), day(7), 2)
    assert ordinals(risk_pairs(looks).pairs) == [(0, 7, True)]


@pytest.mark.parametrize(
    ("look", "named"),
    [
        (Look("2024-03-01", False), "on"),
        (Look(dt.datetime(2024, 3, 1, 9, 0, tzinfo=dt.UTC), False), "on"),
        (Look(START, None), "affected"),
        (Look(START, math.nan), "affected"),
        (Look(START, 2), "affected"),
        (Look(START, True, -1), "grade"),
        (Look(START, True, math.nan), "grade"),
        (Look(START, True, math.inf), "grade"),
    ],
)
def test_bad_looks_are_refused_by_name(look, named):
    for function in (episodes, risk_pairs):
        with pytest.raises(ValueError, match=named):
            function([look])


@pytest.mark.parametrize("limit", [0, -1, math.nan])
def test_bad_gap_limit(limit):
    with pytest.raises(ValueError, match="gap_limit_days"):
        risk_pairs([], gap_limit_days=limit)
    with pytest.raises(ValueError, match="gap_limit_days"):
        risk_pairs_from_arrays([], [], [], gap_limit_days=limit)


@pytest.mark.parametrize(
    ("unit", "days", "affected", "named"),
    [
        ([1.5], [1], [True], "unit"),
        ([1], [math.nan], [True], "day"),
        ([1], [1], [2], "affected"),
        ([1], [1], [math.nan], "affected"),
        ([1, 1], [1], [True], "one length"),
    ],
)
def test_bad_arrays_are_refused_by_name(unit, days, affected, named):
    for function in (risk_pairs_from_arrays, episodes_from_arrays):
        with pytest.raises(ValueError, match=named):
            function(unit, days, affected)


LOOKS = st.lists(
    st.builds(
        Look,
        st.integers(0, 300).map(day),
        st.booleans(),
        st.none() | st.integers(0, 2),
    ),
    max_size=30,
)
quick = examples(80)


@quick
@given(LOOKS, st.randoms(use_true_random=False))
def test_order_of_looks_does_not_matter(looks, random):
    shuffled = looks[:]
    random.shuffle(shuffled)
    assert episodes(shuffled) == episodes(looks)
    assert risk_pairs(shuffled) == risk_pairs(looks)


@quick
@given(LOOKS)
def test_clear_looks_away_from_trouble_do_not_change_episodes(looks):
    merged = merge_days(looks)
    near = [
        look
        for i, look in enumerate(merged)
        if any(other.affected for other in merged[max(i - 1, 0) : i + 2])
    ]
    assert episodes(near) == episodes(looks)


@quick
@given(st.lists(LOOKS, max_size=4), st.integers(5, 80))
def test_arrays_agree_with_lists(feet, limit):
    rows = [(foot, look) for foot, looks in enumerate(feet) for look in looks]
    unit = np.array([foot for foot, _ in rows], dtype=int)
    days = np.array([look.on.toordinal() for _, look in rows], dtype=int)
    affected = np.array([look.affected for _, look in rows], dtype=bool)

    watched = [risk_pairs(looks, limit) for looks in feet]
    arrays = risk_pairs_from_arrays(unit, days, affected, limit)
    assert list(zip(arrays.left, arrays.right, arrays.affected, strict=True)) == [
        pair for foot in watched for pair in foot.pairs
    ]
    assert arrays.dropped_days == sum(foot.dropped_days for foot in watched)
    assert arrays.dropped_cases == sum(foot.dropped_cases for foot in watched)

    def known(value):
        return -1 if value is None else value.toordinal()

    found = episodes_from_arrays(unit, days, affected)
    assert list(
        zip(
            found.unit,
            found.first_affected,
            found.last_affected,
            found.last_clear_before,
            found.first_clear_after,
            strict=True,
        )
    ) == [
        (
            foot,
            known(case.first_affected),
            known(case.last_affected),
            known(case.last_clear_before),
            known(case.first_clear_after),
        )
        for foot, looks in enumerate(feet)
        for case in episodes(looks)
    ]
