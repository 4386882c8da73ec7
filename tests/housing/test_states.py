"""What stood in a house on a day, by hand-worked calendars."""

import datetime as dt

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from hypothesis import given
from hypothesis import strategies as st

from flockcare.housing.models import Feature, FeatureState, House
from flockcare.housing.states import (
    NotRecorded,
    OverlappingStates,
    layout_on,
    record_of,
    records_of,
    state_on,
)
from tests.housing.rows import feature, house, state

MAY, JUNE, JULY = (dt.date(2026, month, 10) for month in (5, 6, 7))
DAY = dt.timedelta(1)


def bare(*days):
    """States of one feature that are in no database, one for each day."""
    feature = Feature(name="Bar", kind="roost", house=House(name="Shed"))
    return [FeatureState(feature=feature, since=day) for day in days]


@pytest.fixture
def shed(cast):
    return house(cast.flock)


def names(pairs):
    return [feature.name for feature, _ in pairs]


@pytest.mark.parametrize(
    ("day", "held"),
    [(MAY, MAY), (JUNE - DAY, MAY), (JUNE, JUNE), (JULY - DAY, JUNE), (JULY + 900 * DAY, JULY)],
)
def test_a_state_holds_from_its_day_until_the_day_before_the_next(day, held):
    assert state_on(bare(JULY, MAY, JUNE), day).since == held


def test_before_the_first_state_nothing_is_known():
    with pytest.raises(NotRecorded, match=r"Nothing was recorded about it for 9 May 2026"):
        state_on(bare(MAY), MAY - DAY)
    with pytest.raises(NotRecorded):
        state_on([], MAY)


def test_two_states_of_one_day_are_refused():
    with pytest.raises(OverlappingStates, match="Bar is described twice from 10 Jun 2026"):
        state_on(bare(MAY, JUNE, JUNE), JULY)


days = st.dates(dt.date(2020, 1, 1), dt.date(2030, 12, 31))


@given(st.lists(days, min_size=1, max_size=12, unique=True), days)
def test_the_state_of_a_day_is_the_last_one_begun(since, day):
    states = bare(*since)
    begun = [one for one in since if one <= day]
    if not begun:
        with pytest.raises(NotRecorded):
            state_on(states, day)
    else:
        assert state_on(states, day).since == max(begun)


@pytest.mark.django_db
class TestLayout:
    def test_it_is_what_stood_there_highest_first(self, shed):
        low, top = feature(shed, "Low bar"), feature(shed, "Top bar")
        state(low, MAY, height_cm=40)
        state(top, MAY, height_cm=140)
        state(top, JUNE, height_cm=60)
        found = layout_on(shed, JUNE - DAY)
        assert [(one.name, held.height_cm) for one, held in found] == [
            ("Top bar", 140),
            ("Low bar", 40),
        ]
        assert {one.name: held.height_cm for one, held in layout_on(shed, JUNE)} == {
            "Low bar": 40,
            "Top bar": 60,
        }

    def test_what_came_later_or_was_taken_away_is_left_out(self, shed):
        state(feature(shed, "Bar"), MAY)
        ladder = feature(shed, "Ladder", "step")
        state(ladder, JUNE)
        state(ladder, JULY, gone=True)
        assert names(layout_on(shed, MAY)) == ["Bar"]
        assert names(layout_on(shed, JUNE)) == ["Bar", "Ladder"]
        assert names(layout_on(shed, JULY)) == ["Bar"]
        state(ladder, JULY + 30 * DAY)
        assert names(layout_on(shed, JULY + 30 * DAY)) == ["Bar", "Ladder"]

    def test_before_the_record_begins_it_refuses_in_words(self, shed):
        with pytest.raises(NotRecorded, match="Nothing of Shed has been described yet"):
            layout_on(shed, MAY)
        state(feature(shed, "Bar"), MAY)
        with pytest.raises(NotRecorded, match="The record of Shed begins on 10 May 2026"):
            layout_on(shed, MAY - DAY)

    def test_the_database_keeps_two_states_from_one_day(self, shed):
        bar = feature(shed, "Bar")
        state(bar, MAY)
        with pytest.raises(IntegrityError), transaction.atomic():
            state(bar, MAY)
        with pytest.raises(ValidationError, match="described from that day on already"):
            FeatureState(flock=shed.flock, feature=bar, since=MAY).full_clean()

    def test_for_some_days_only_what_tells_of_them_is_read(self, shed):
        bar = feature(shed, "Bar")
        for day in (MAY, JUNE, JULY):
            state(bar, day)

        def since(first, last):
            states = records_of([shed], first=first, last=last)[shed.pk].states
            return [one.since for one in states.get(bar.pk, [])]

        assert since(JUNE - DAY, JUNE) == [MAY, JUNE]
        # What began on the first day has what was before beside it.
        assert since(JUNE, JULY - DAY) == [MAY, JUNE]
        assert since(JUNE + DAY, JULY) == [JUNE, JULY]
        assert since(MAY - 9 * DAY, MAY - DAY) == []
        assert since(JULY + DAY, JULY + 9 * DAY) == [JULY]

    def test_another_house_does_not_mix_in(self, shed, cast):
        state(feature(shed, "Bar"), MAY)
        other = house(cast.flock, "Barn")
        state(feature(other, "Bar"), JUNE)
        assert [held.since for _, held in layout_on(shed, JULY)] == [MAY]

    def test_the_record_knows_its_days_and_what_lacks_words(self, shed, django_assert_num_queries):
        bar = feature(shed, "Bar")
        first, second = state(bar, MAY), state(bar, JULY)
        state(feature(shed, "Floor", "floor"), MAY)
        feature(shed, "Ladder", "step")
        with django_assert_num_queries(2):
            record = record_of(shed)
            assert record.days == [MAY, JULY]
            assert record.begins == MAY
            assert [one.name for one in record.undescribed] == ["Ladder"]
            assert str(record.on(JULY)[0][0]) == "Shed: Bar"
            assert record.before(second) == first
            assert record.before(first) is None
