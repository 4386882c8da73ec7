"""The records exchange of houses: what was taken away, what is around a perch, who lived where."""

import csv
import io
from datetime import date

import pytest

from flockcare.birds.models import Bird
from flockcare.housing.models import Feature, FeatureState, House, Stay
from flockcare.housing.states import layout_on
from flockcare.people.models import Flock
from flockcare.reports.exchange.columns import FILES
from tests.reports.exchanges import BIRDS, bring_in, problems_of, there_and_back
from tests.reports.folders import write_folder


@pytest.fixture
def flock(db):
    return Flock.objects.create(name="Test yard", time_zone="Europe/London")


def rows_of(files, name) -> list[dict]:
    return list(csv.DictReader(io.StringIO(files[name].decode(), newline="")))


# --- What stands in a house

FURTHER = {
    "breadth_cm": 33.5,
    "spacing_cm": 30,
    # A third of an inch, as the form keeps it.
    "wall_cm": 2.54 / 3,
    "surface": "=rough, “splintered”",
    "moisture_percent": 27.5,
}


def test_a_feature_keeps_all_that_is_known_of_it(flock, tmp_path):
    house = House.objects.create(
        flock=flock, name="Shed", floor_length_cm=365.76, floor_width_cm=20
    )
    House.objects.create(flock=flock, name="Bare floor", floor_width_cm=180)
    bar = Feature.objects.create(flock=flock, house=house, name="Bar", kind="roost")
    FeatureState.objects.create(flock=flock, feature=bar, since=date(2020, 1, 1), **FURTHER)
    first, second = there_and_back(flock, tmp_path)
    assert first == second
    rows = rows_of(first, "housing.csv")
    filled = {column for row in rows for column in row if row[column]}
    assert filled >= set(FILES["housing.csv"].further) - {"gone"}
    brought = FeatureState.objects.exclude(flock=flock).get()
    assert {name: getattr(brought, name) for name in FURTHER} == FURTHER
    shed = House.objects.exclude(flock=flock).get(name="Shed")
    assert (shed.floor_length_cm, shed.floor_width_cm) == (365.76, 20)
    assert bring_in(tmp_path / "first", flock).counts()["housing"] == (0, 3)


def test_what_was_taken_away_does_not_come_back(flock, tmp_path):
    house = House.objects.create(flock=flock, name="Shed")
    for name, gone in (("Bar", True), ("Step", False)):
        feature = Feature.objects.create(flock=flock, house=house, name=name, kind="step")
        for since, state in ((date(2020, 1, 1), False), (date(2021, 1, 1), gone)):
            FeatureState.objects.create(flock=flock, feature=feature, since=since, gone=state)
    first, second = there_and_back(flock, tmp_path)
    assert first == second
    brought = House.objects.exclude(flock=flock).get()
    here = {
        day: [feature.name for feature, _ in layout_on(brought, day)]
        for day in (date(2020, 6, 1), date(2021, 6, 1))
    }
    assert here == {date(2020, 6, 1): ["Bar", "Step"], date(2021, 6, 1): ["Step"]}


BAR = {"house": "Ark", "feature": "Bar", "kind": "roost"}


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        (BAR | {"from": "2022-01-01", "gone": "maybe"}, "gone", "“maybe” is neither yes nor no"),
        (BAR | {"gone": "yes"}, "from", "Say from when on “gone” was so"),
        (BAR | {"spacing_cm": "30"}, "from", "Say from when on “spacing_cm” was so"),
        (BAR | {"from": "2022-01-01", "moisture_percent": "101"}, "moisture_percent", "100"),
        (BAR | {"from": "2022-01-01", "surface": "r" * 41}, "surface", "41 characters"),
        (BAR | {"floor_width_cm": "90"}, "floor_width_cm", "a row without a feature"),
        ({"house": "Ark", "floor_width_cm": "9"}, "floor_width_cm", "greater than or equal to 10"),
        ({"house": "Ark", "gone": "yes"}, "feature", "which feature of the house “gone” is about"),
    ],
)
def test_a_bad_housing_row_is_named(flock, tmp_path, row, column, words):
    root = write_folder(tmp_path / "in", housing=[{"house": "Ark"}, row])
    *places, text = problems_of(root, flock)
    assert places == [("housing.csv", 3, column)]
    assert words in text


def test_another_floor_than_the_flock_has_is_refused(flock, tmp_path):
    House.objects.create(flock=flock, name="Ark", floor_length_cm=200)
    root = write_folder(tmp_path / "in", housing=[{"house": "Ark", "floor_length_cm": "210"}])
    *places, text = problems_of(root, flock)
    assert places == [("housing.csv", 2, "floor_length_cm")]
    assert "another length of the floor" in text


# --- Who lived where


def _stay(house, since="", until=""):
    return {"bird": "Sage", "house": house, "from": since, "to": until}


def _houses(tmp_path, *stays):
    houses = [{"house": "Ark"}, {"house": "Shed"}]
    return write_folder(tmp_path / "in", birds=BIRDS, housing=houses, stays=list(stays))


@pytest.mark.parametrize(
    ("one", "other", "words"),
    [
        (
            _stay("Ark", "2022-01-01", "2022-03-01"),
            _stay("Shed", "2022-02-28"),
            "She lived in Ark at that time: from 1 Jan 2022 until 1 Mar 2022.",
        ),
        (_stay("Ark"), _stay("Shed", "2022-02-28"), "in Ark at that time: from the beginning on"),
        (
            _stay("Ark", "2022-01-01"),
            _stay("Shed", "", "2022-01-02"),
            "in Ark at that time: from 1 Jan 2022 on",
        ),
        (_stay("Ark", "2022-01-01"), _stay("Ark", "2022-01-01"), "She lived in Ark at that time"),
    ],
)
def test_nobody_lives_in_two_houses_at_once(flock, tmp_path, one, other, words):
    *places, text = problems_of(_houses(tmp_path, one, other), flock)
    assert places == [("stays.csv", 3, "from")]
    assert words in text
    # The same with the first of them in the flock already.
    bring_in(_houses(tmp_path, one), flock)
    if one != other:
        *places, text = problems_of(_houses(tmp_path, other), flock)
        assert places == [("stays.csv", 2, "from")]
        assert words in text


def test_moving_on_one_day_is_no_overlap(flock, tmp_path):
    stays = [
        _stay("Shed", "2022-03-01"),
        _stay("Ark", "2022-01-01", "2022-03-01"),
        _stay("Shed", "", "2022-01-01"),
        {"bird": "Thyme", "house": "Shed"},
    ]
    root = _houses(tmp_path, *stays)
    assert bring_in(root, flock).counts()["stays"] == (4, 0)
    assert bring_in(root, flock).counts()["stays"] == (0, 4)
    assert Stay.objects.filter(bird=Bird.objects.get(name="Sage")).count() == 3
