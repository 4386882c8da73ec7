"""The records exchange of houses: what was taken away, what is around a perch, who lived where."""

from datetime import date, timedelta

import pytest

from flockcare.birds.models import Bird
from flockcare.exchange.tables import FILES
from flockcare.housing.models import (
    ChangeKind,
    Feature,
    FeatureState,
    House,
    HousingChange,
    Stay,
    Walk,
)
from flockcare.housing.states import layout_on
from flockcare.people.models import Byline, Flock, Keeper
from flockcare.photos.models import Photo
from tests.exchange.exchanges import AWKWARD, BIRDS, bring_in, problems_of, rows_of, there_and_back
from tests.exchange.folders import picture, write_folder


@pytest.fixture
def flock(db):
    return Flock.objects.create(name="Test yard", time_zone="Europe/London")


# --- What stands in a house

FURTHER = {
    "along_cm": -12.5,
    "breadth_cm": 33.5,
    "spacing_cm": 30,
    # A third of an inch, as the form keeps it.
    "wall_cm": 2.54 / 3,
    "surface": "=rough, “splintered”",
    "moisture_percent": 27.5,
}


def test_a_feature_keeps_all_that_is_known_of_it(flock, tmp_path):
    house = House.objects.create(
        flock=flock,
        name="Shed",
        floor_length_cm=365.76,
        floor_width_cm=20,
        shape="raised",
        wall_height_cm=95,
        floor_height_cm=60,
    )
    House.objects.create(flock=flock, name="Bare floor", floor_width_cm=180)
    bar = Feature.objects.create(flock=flock, house=house, name="Bar", kind="roost")
    FeatureState.objects.create(flock=flock, feature=bar, since=date(2020, 1, 1), **FURTHER)
    first, second = there_and_back(flock, tmp_path)
    assert first == second
    rows = rows_of(first, "housing.csv")
    filled = {column for row in rows for column in row if row[column]}
    assert filled >= set(FILES["housing.csv"].all[15:]) - {"gone"}
    brought = FeatureState.objects.exclude(flock=flock).get()
    assert {name: getattr(brought, name) for name in FURTHER} == FURTHER
    shed = House.objects.exclude(flock=flock).get(name="Shed")
    assert (shed.floor_length_cm, shed.floor_width_cm) == (365.76, 20)
    assert (shed.shape, shed.wall_height_cm, shed.floor_height_cm) == ("raised", 95, 60)
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


# --- What was said of changes, and walks


def test_changes_and_walks_come_back(cast, tmp_path):
    flock = cast.flock
    pictures = {f"{n}.jpg": picture(colour) for n, colour in enumerate(("red", "green", "blue"))}
    rows = [{"file": name} for name in pictures]
    bring_in(write_folder(tmp_path / "in", pictures, photos=rows), flock)
    photos = list(Photo.objects.filter(flock=flock).order_by("sha256"))
    house = House.objects.create(flock=flock, name="=Shed")
    other = House.objects.create(flock=flock, name="Ark")
    kinds = ["", *ChangeKind.values]
    for number, note in enumerate(AWKWARD):
        told = {"flock": flock, "note": note, "on": date(2020, 1, 1) + timedelta(number)}
        told["keeper"] = [None, cast.keeper][number % 2]
        change = HousingChange.objects.create(house=house, kind=kinds[number % len(kinds)], **told)
        change.photos.set(photos[: number % 4])
        Walk.objects.create(house=house, **told)
    HousingChange.objects.create(flock=flock, house=other, on=date(2020, 1, 1))
    HousingChange.objects.create(flock=flock, house=other, planned=True, note="only meant")
    first, second = there_and_back(flock, tmp_path, keepers=[cast.keeper])
    assert first == second
    for name in ("housing_changes.csv", "walks.csv"):
        rows = rows_of(first, name)
        assert all(any(row[column] for row in rows) for column in FILES[name].all)
    changes = HousingChange.objects.exclude(flock=flock).filter(planned=False)
    assert len(rows_of(first, "housing_changes.csv")) == changes.count() == len(AWKWARD) + 1
    told = HousingChange.objects.filter(planned=False)
    for model in (told, Walk.objects):
        brought = model.exclude(flock=flock).filter(house__name="=Shed").order_by("on")
        assert [one.note for one in brought] == AWKWARD
        assert [one.keeper for one in brought][:2] == [None, cast.keeper]
    by_day = changes.filter(house__name="=Shed").order_by("on")
    hashes = [{photo.sha256 for photo in change.photos.all()} for change in by_day]
    expected = [{photo.sha256 for photo in photos[: n % 4]} for n in range(len(AWKWARD))]
    assert hashes == expected
    # Brought back where it came from, also where nobody knows the keeper, nothing is doubled.
    again = bring_in(tmp_path / "first", flock, keepers=[]).counts()
    assert again["housing_changes"] == (0, len(AWKWARD) + 1)
    assert again["walks"] == (0, len(AWKWARD))


def test_a_keeper_whom_the_flock_does_not_have_stays_a_name(flock, tmp_path):
    walk = {"house": "Ark", "date": "2024-01-05", "keeper": "Nobody here"}
    bring_in(write_folder(tmp_path / "in", housing=[{"house": "Ark"}], walks=[walk]), flock)
    walk = Walk.objects.get()
    assert walk.keeper is None and not Keeper.objects.exists()
    assert Byline.objects.get(record=walk.pk, field="keeper").name == "Nobody here"


SAID = {"house": "Ark", "date": "2024-01-05"}
HAPPENED = SAID | {"kind": "bedding"}
BAD_WORDS = [
    ("housing_changes", SAID | {"house": "Arc"}, "house", "Did you mean “ark”?"),
    ("housing_changes", SAID | {"date": ""}, "date", "must not be empty"),
    ("housing_changes", SAID | {"date": "2024-06-02"}, "date", "2024-06-02 is in the future"),
    ("housing_changes", SAID | {"kind": "magic"}, "kind", "height, step, surface"),
    ("housing_changes", SAID | {"note": "n" * 2001}, "note", "2001 characters"),
    ("housing_changes", SAID | {"photos": "a.jpg;b.jpg"}, "photos", "no photo “b.jpg” in photos"),
    ("walks", SAID | {"house": ""}, "house", "must not be empty"),
    ("events", HAPPENED | {"kind": ""}, "kind", "must not be empty"),
    ("events", HAPPENED | {"kind": "flood"}, "kind", "“flood” is not one of"),
    ("events", HAPPENED | {"kind": "other"}, "what", "Say in a word or two"),
    ("events", HAPPENED | {"to": "2024-01-09"}, "to", "has a last day"),
    ("events", HAPPENED | {"kind": "wet spell", "to": "2024-01-04"}, "to", "before it began"),
    ("events", HAPPENED | {"date": "2024-06-02"}, "date", "2024-06-02 is in the future"),
    ("eggs", SAID | {"eggs": "-1"}, "eggs", "greater than or equal to 0"),
    ("wetness", SAID | {"wetness": "moist"}, "wetness", "dry, damp, wet"),
    ("wetness", SAID | {"wetness": "wet", "house": ""}, "house", "must not be empty"),
    ("walks", SAID | {"date": "2024-06-02"}, "date", "2024-06-02 is in the future"),
    ("walks", SAID | {"note": "n" * 2001}, "note", "2001 characters"),
]


@pytest.mark.parametrize(("table", "row", "column", "words"), BAD_WORDS)
def test_a_bad_change_or_walk_is_named(flock, tmp_path, table, row, column, words):
    tables = {"housing": [{"house": "Ark"}], "photos": [{"file": "a.jpg"}]}
    needed = {"events": {"kind": "bedding"}, "wetness": {"wetness": "dry"}, "eggs": {"eggs": "3"}}
    tables[table] = [SAID | {"date": "2024-01-01"} | needed.get(table, {}), row]
    *places, text = problems_of(
        write_folder(tmp_path / "in", {"a.jpg": picture()}, **tables), flock
    )
    assert places == [(f"{table}.csv", 3, column)]
    assert words in text


@pytest.mark.parametrize(
    ("table", "column"),
    [
        *(("housing_changes", column) for column in ("kind", "note", "photos")),
        ("walks", "note"),
    ],
)
def test_two_things_said_of_one_day_are_refused(flock, tmp_path, table, column):
    there = {"kind": "height", "note": "lowered", "photos": ""}
    told = {"kind": "step", "note": "raised", "photos": "a.jpg"}
    rows = [SAID | {column: text[column]} for text in (there, told)]
    tables = {"housing": [{"house": "Ark"}], "photos": [{"file": "a.jpg"}]}
    pictures = {"a.jpg": picture()}
    both = write_folder(tmp_path / "both", pictures, **tables, **{table: rows})
    *places, text = problems_of(both, flock)
    assert places == [(f"{table}.csv", 3, column)]
    assert "Something else is recorded for this house and day" in text
    # The same with the first of them in the flock already.
    bring_in(write_folder(tmp_path / "kept", pictures, **tables, **{table: rows[:1]}), flock)
    later = write_folder(tmp_path / "later", pictures, **tables, **{table: rows[1:]})
    assert problems_of(later, flock)[:-1] == [(f"{table}.csv", 2, column)]


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
        (_stay("Ark"), _stay("Shed", "2022-02-28"), "in Ark at that time: from the beginning"),
        (
            _stay("Ark", "2022-01-01"),
            _stay("Shed", "", "2022-01-02"),
            "in Ark at that time: since 1 Jan 2022",
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
