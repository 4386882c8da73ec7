"""What a bird's timeline shows of her houses, by hand-worked days."""

import datetime as dt
from zoneinfo import ZoneInfo

import pytest

from flockcare.drawing.timeline import Band, Mark, Window
from flockcare.housing.layers import stays
from flockcare.housing.models import HousingChange
from tests.housing.rows import feature, house, state, stay

MAY, JUNE, JULY = (dt.date(2026, month, 10) for month in (5, 6, 7))
DAY = dt.timedelta(1)
SUMMER = Window(dt.date(2026, 4, 1), dt.date(2026, 9, 30), ZoneInfo("Europe/London"))

pytestmark = pytest.mark.django_db


@pytest.fixture
def barn(cast):
    """Described in April; the bar is lowered on 10 June and the floor found wet on 10 July."""
    barn = house(cast.flock, "Barn")
    bar, floor = feature(barn, "Bar"), feature(barn, "Floor", "floor")
    state(bar, dt.date(2026, 4, 1), height_cm=140)
    state(floor, dt.date(2026, 4, 1), damp="dry")
    state(bar, JUNE, height_cm=60)
    state(floor, JULY, damp="wet")
    return barn


def shown(bird, window=SUMMER):
    items = stays(bird, window)
    bands = [(band.since, band.until, band.short) for band in items if isinstance(band, Band)]
    marks = [(mark.at, mark.label) for mark in items if isinstance(mark, Mark)]
    return bands, marks


def test_a_change_made_begins_a_new_band_and_is_marked(birds, barn):
    stay(birds["Dill"], barn)
    bands, marks = shown(birds["Dill"])
    assert bands == [(None, JUNE - DAY, "Barn"), (JUNE, None, "Barn")]
    assert marks == [(JUNE, "Barn: Bar 140 → 60 cm")]


def test_changes_before_she_came_and_after_she_went_are_not_hers(birds, barn, cast):
    shed = house(cast.flock)
    stay(birds["Dill"], barn, MAY, JUNE - DAY)
    stay(birds["Dill"], shed, JUNE - DAY)
    assert shown(birds["Dill"]) == (
        [(MAY, JUNE - 2 * DAY, "Barn"), (JUNE - DAY, None, "Shed")],
        [],
    )
    stay(birds["Mace"], barn, JUNE)
    assert shown(birds["Mace"]) == ([(JUNE, None, "Barn")], [])


def test_the_last_day_stays_hers_when_she_moved_nowhere(birds, barn):
    stay(birds["Dill"], barn, MAY, JUNE)
    bands, _ = shown(birds["Dill"])
    assert bands == [(MAY, JUNE - DAY, "Barn"), (JUNE, JUNE, "Barn")]


def test_what_keepers_said_was_a_change_is_one(birds, barn, cast):
    stay(birds["Dill"], barn)
    HousingChange.objects.create(
        flock=cast.flock, house=barn, on=JULY, kind="drainage", keeper=cast.keeper
    )
    HousingChange.objects.create(
        flock=cast.flock, house=barn, on=MAY, kind="other", note="Mash instead of pellets."
    )
    items = stays(birds["Dill"], SUMMER)
    marks = [item for item in items if isinstance(item, Mark)]
    assert [(mark.at, mark.label, mark.by) for mark in marks] == [
        (MAY, "Barn: feed or something else", ""),
        (JUNE, "Barn: Bar 140 → 60 cm", ""),
        (JULY, "Barn: Floor dampness dry → wet", "Keeper"),
    ]
    assert marks[1].url.endswith(f"/houses/{barn.pk}/?on=2026-06-10")


def test_only_what_lies_in_the_window(birds, barn):
    stay(birds["Dill"], barn)
    whole = ([(None, None, "Barn")], [])
    assert shown(birds["Dill"], Window(JULY, JULY + 9 * DAY, SUMMER.zone)) == whole
    assert shown(birds["Dill"], Window(MAY, JUNE - DAY, SUMMER.zone)) == whole
    after, marks = (JUNE, None, "Barn"), [(JUNE, "Barn: Bar 140 → 60 cm")]
    assert shown(birds["Dill"], Window(JUNE, JULY, SUMMER.zone)) == ([after], marks)
    before = (None, JUNE - DAY, "Barn")
    assert shown(birds["Dill"], Window(MAY, JUNE, SUMMER.zone)) == ([before, after], marks)


def test_few_questions_however_many_houses(birds, barn, cast, django_assert_max_num_queries):
    dill = birds["Dill"]
    stay(dill, barn, MAY, JUNE)
    for number in range(6):
        shed = house(cast.flock, f"Shed {number}")
        state(feature(shed, "Bar"), MAY, height_cm=9)
        stay(dill, shed, JUNE + number * DAY, JUNE + (number + 1) * DAY)
    with django_assert_max_num_queries(4):
        bands, _ = shown(dill)
    assert len(bands) == 7


def test_a_bird_without_a_house_has_nothing(birds, django_assert_num_queries):
    with django_assert_num_queries(1):
        assert stays(birds["Dill"], SUMMER) == []
