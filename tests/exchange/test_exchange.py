"""The records exchange: what is read, what is refused in which words, the way there and back."""

import csv
import errno
import io
import os
import stat
import struct
import tempfile
import time
import zipfile
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path

import pytest
from django.core.files.storage import FileSystemStorage, default_storage
from django.core.management import CommandError, call_command
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from PIL import Image

from flockcare.birds.models import Bird, Weighing
from flockcare.care.models import CareStep, KitItem, VetContact
from flockcare.care.services import change_step
from flockcare.exchange.cells import guard, number_text, unguard
from flockcare.exchange.pictures import clear_left
from flockcare.exchange.services import Refused, apply, check, export, read_folder
from flockcare.exchange.tables import FILES
from flockcare.exchange.writing import csv_bytes
from flockcare.feet.models import Check, FootFinding
from flockcare.housing.models import Feature, FeatureState, House, Stay
from flockcare.people.models import Flock, Membership
from flockcare.photos.models import Photo, Precision
from tests.exchange.exchanges import (
    AWKWARD,
    BIRDS,
    NOW,
    bring_in,
    peak_mb,
    problems_of,
    there_and_back,
    with_a_short_lie,
)
from tests.exchange.folders import picture, write_folder, write_zip

# How long an example takes says nothing about what is read; a busy machine takes its time.
unhurried = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])


@pytest.fixture
def flock(db):
    return Flock.objects.create(name="Test yard", time_zone="Europe/London")


# --- Text in cells


@unhurried
@given(st.text(alphabet=st.sampled_from("'=+-@＝＠\t\r\xa0a ;,\"\n")))
def test_the_reader_undoes_exactly_what_guards_against_formulas(text):
    assert unguard(guard(text)) == text


@pytest.mark.parametrize("sign", ["=", "+", "-", "@", "\t", "\r", "\n", " =", "\xa0=", "＝", "＠"])
def test_no_free_text_begins_like_a_formula(sign):
    # The signs: OWASP, "CSV Injection" (from memory); blanks before them: common practice, no
    # published source.
    assert guard(f"{sign}1+1") == f"'{sign}1+1"


def test_numbers_stay_numbers():
    row = dict.fromkeys(FILES["weights.csv"].all, "") | {"bird": "-x", "grams": "2100"}
    lines = csv_bytes("weights.csv", [list(row.values())]).decode().split("\r\n")
    assert lines[1] == "'-x,,2100,"
    assert [number_text(v) for v in (140.0, 0.5, Decimal("12.0"), 0, None)] == [
        *("140", "0.5", "12", "0", "")
    ]


def test_quotes_and_line_breaks_are_written_as_rfc_4180_shows():
    # RFC 4180, section 2, rules 1, 6 and 7: "aaa","b CRLF bb","ccc" and "aaa","b""bb","ccc".
    table = [["aaa", "b\r\nbb", "ccc", ""], ["aaa", 'b"bb', "ccc", ""]]
    text = csv_bytes("weights.csv", table).decode()
    expected = 'bird,date,grams,keeper\r\naaa,"b\r\nbb",ccc,\r\naaa,"b""bb",ccc,\r\n'
    assert text == expected


cell = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=20)
note = st.one_of(cell, st.text("'=+-@\t\r\n\",; a"))


@unhurried
@given(st.lists(note, min_size=1))
def test_every_text_is_read_as_it_was_written(notes):
    columns = FILES["care.csv"].all
    table = [
        [{"bird": "Sage", "note": text}.get(column, "") for column in columns] for text in notes
    ]
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "care.csv").write_bytes(csv_bytes("care.csv", table))
        tables = read_folder(folder)
    assert not tables.problems
    assert [row.cells.get("note", "") for row in tables["care.csv"]] == notes


# --- Reading


def test_a_whole_flock_is_read(flock, tmp_path):
    root = write_folder(
        tmp_path / "in",
        birds=[
            *BIRDS,
            {"bird": "Mace", "left": "2023-05", "left_reason": "died", "joined": "2020"},
        ],
        weights=[{"bird": "thyme", "date": "2024-01-05", "grams": "3100"}],
        housing=[
            {
                **{"house": "Shed", "feature": "Top roost", "kind": "roost", "from": "2022-03-01"},
                **{"height_cm": "140", "width_mm": "45.5", "edge": "square"},
            },
            {
                **{"house": "Shed", "feature": "Top roost", "kind": "roost", "from": "2023-03-01"},
                **{"height_cm": "60"},
            },
            {"house": "Ark", "note": "on wheels"},
        ],
        stays=[
            {"bird": "Thyme", "house": "Shed", "from": "", "to": "2023-01-01"},
            {"bird": "Thyme", "house": "Ark", "from": "2023-01-01", "to": ""},
        ],
        checks=[
            {
                **{"bird": "Thyme", "date": "2024-01-05", "time": "16:05", "keeper": "Ros"},
                **{"gait": "2", "left_score": "1", "left_sites": "main; toe II"},
                **{"left_scab": "black", "left_scab_mm": "7.5", "left_swelling": "moderate"},
                **{"left_hot": "yes", "manner": "dull", "note": "limps"},
            },
            {"bird": "Sage", "date": "2024-07-01"} | {"date": "2024-01-05", "right_score": "0"},
        ],
        care=[
            {
                **{"bird": "Thyme", "date": "2024-01-05", "time": "17:00", "foot": "left"},
                **{"kind": "soaked", "product": "warm water", "keeper": "Ros"},
                **{"next_due": "2024-01-06"},
            }
        ],
    )
    plan = bring_in(root, flock)
    assert plan.counts()["checks"] == (2, 0)

    thyme = Bird.objects.get(flock=flock, name="Thyme")
    assert (thyme.band_colour, thyme.band_number, thyme.hatched) == ("green", "12", "2021-04")
    assert (thyme.breed.name, thyme.breed.adult_grams) == ("Sussex", 3180)
    sage, mace = (Bird.objects.get(flock=flock, name=name) for name in ("Sage", "Mace"))
    assert (sage.weight_class, sage.band, sage.breed) == ("bantam", "red", None)
    assert (mace.left, mace.left_reason) == ("2023-05", "died")
    assert Weighing.objects.get(bird=thyme).grams == 3100

    states = FeatureState.objects.filter(feature__house__name="Shed").order_by("since")
    assert [(s.since, s.height_cm, s.width_mm) for s in states] == [
        (date(2022, 3, 1), 140, 45.5),
        (date(2023, 3, 1), 60, None),
    ]
    assert House.objects.get(name="Ark").note == "on wheels"
    stays = Stay.objects.filter(bird=thyme).values_list("house__name", "since", "until")
    assert set(stays) == {
        ("Shed", None, date(2023, 1, 1)),
        ("Ark", date(2023, 1, 1), None),
    }

    look = Check.objects.get(bird=thyme)
    assert (look.at, look.time_known) == (datetime(2024, 1, 5, 16, 5, tzinfo=UTC), True)
    assert (look.keeper, look.keeper_name, look.gait, look.manner) == (None, "Ros", 2, "dull")
    finding = FootFinding.objects.get(check_record=look)
    assert (finding.foot, finding.score, finding.scab_mm) == ("left", 1, Decimal("7.5"))
    assert (finding.sites, finding.hot, finding.oozing) == (["main", "toe II"], True, None)
    clear = Check.objects.get(bird=sage)
    assert (clear.at, clear.time_known) == (datetime(2024, 1, 5, 12, 0, tzinfo=UTC), False)
    assert [f.score for f in clear.findings.all()] == [0]
    step = CareStep.objects.get(bird=thyme)
    assert (step.kind, step.next_due, step.product) == ("soaked", date(2024, 1, 6), "warm water")


def test_times_are_the_flocks_own(tmp_path, db):
    tokyo = Flock.objects.create(name="Far", time_zone="Asia/Tokyo")
    rows = [{"bird": "Sage", "date": "2024-01-05", "time": "08:00", "left_score": "0"}]
    bring_in(write_folder(tmp_path / "in", birds=BIRDS, checks=rows), tokyo)
    # Japan keeps UTC+9 all year (IANA time zone database, Asia/Tokyo).
    assert Check.objects.get().at == datetime(2024, 1, 4, 23, 0, tzinfo=UTC)


def test_the_hour_that_comes_twice_is_told_apart(flock, tmp_path):
    """London's clocks went back from 02:00 to 01:00 on 29 October 2023 (Summer Time Order 2002)."""
    sage = Bird.objects.create(flock=flock, name="Sage")
    for hour in (0, 1):
        at = datetime(2023, 10, 29, hour, 30, tzinfo=UTC)
        Check.objects.create(flock=flock, bird=sage, at=at)
    first, second = there_and_back(flock, tmp_path)
    assert b",01:30," in first["checks.csv"] and b",01:30+00:00," in first["checks.csv"]
    assert first == second
    times = Check.objects.filter(flock__name="The other yard").values_list("at", flat=True)
    assert [at.hour for at in sorted(times)] == [0, 1]


def test_a_check_of_this_morning_without_a_time_is_not_in_the_future(flock, tmp_path):
    rows = [{"bird": "Sage", "date": "2024-06-01", "left_score": "0"}]
    bring_in(write_folder(tmp_path / "in", birds=BIRDS, checks=rows), flock)
    assert Check.objects.get().at == NOW


def test_a_keeper_of_the_flock_is_known_by_name(cast, tmp_path):
    rows = [
        {"bird": "Sage", "date": "2024-01-05", "keeper": name, "left_score": "0"}
        for name in ("Keeper", "Stranger")
    ]
    bring_in(write_folder(tmp_path / "in", birds=BIRDS, checks=rows), cast.flock)
    found = {(look.keeper, look.keeper_name) for look in Check.objects.all()}
    assert found == {(cast.keeper, ""), (None, "Stranger")}


def test_byte_order_mark_any_column_order_and_blank_lines_are_fine(flock, tmp_path):
    root = write_folder(tmp_path / "in", birds=BIRDS)
    (root / "weights.csv").write_bytes(
        "\ufeffgrams,bird,date\n\n900,Sage,2024-01-05\n,,\n, ,\n".encode()
    )
    bring_in(root, flock)
    assert Weighing.objects.get().grams == 900


def test_a_cell_of_blanks_is_an_empty_one(flock, tmp_path):
    blank = {"band": " ", "hatched": "  ", "left": "\t", "left_reason": " "}
    root = write_folder(tmp_path / "in", birds=[{"bird": "Sage", **blank}], flock=[{"units": " "}])
    bring_in(root, flock)
    assert Bird.objects.get().hatched == ""


def test_importing_twice_doubles_nothing(flock, tmp_path):
    same_time = {"bird": "Sage", "date": "2024-01-05", "time": "08:00", "left_score": "0"}
    root = write_folder(
        tmp_path / "in",
        birds=BIRDS,
        weights=[{"bird": "Sage", "date": "2024-01-05", "grams": "900"}],
        housing=[{"house": "Ark", "feature": "Bar", "kind": "roost", "from": "2022-03-01"}],
        stays=[{"bird": "Sage", "house": "Ark"}],
        # Two keepers may well have written the same at the same minute: two checks, not one.
        checks=[same_time, same_time],
        care=[{"bird": "Sage", "date": "2024-01-05", "kind": "soaked"}],
        pictures={"photos/a.jpg": picture()},
        photos=[{"file": "photos/a.jpg", "bird": "Sage"}],
    )
    first = bring_in(root, flock).counts()
    second = bring_in(root, flock).counts()
    assert first["checks"] == (2, 0) and second["checks"] == (0, 2)
    assert {kind: new for kind, (new, _) in second.items()} == dict.fromkeys(second, 0)
    assert {kind: there for kind, (_, there) in second.items()} == {
        kind: new for kind, (new, _) in first.items()
    }
    assert Check.objects.count() == 2 and Photo.objects.count() == 1


def test_more_rows_come_beside_those_that_are_there(flock, tmp_path):
    rows = [{"bird": "Sage", "date": "2024-01-05", "left_score": "0"}]
    bring_in(write_folder(tmp_path / "in", birds=BIRDS, checks=rows), flock)
    rows.append({"bird": "Sage", "date": "2024-01-12", "left_score": "0"})
    plan = bring_in(write_folder(tmp_path / "in", checks=rows), flock)
    assert plan.counts()["checks"] == (1, 1)


# --- Bad input: file, line, column and words

BAD_ROWS = [
    ("checks", {"bird": "Time", "date": "2024-01-05"}, "bird", "Did you mean “thyme”?"),
    ("checks", {"bird": "", "date": "2024-01-05"}, "bird", "must not be empty"),
    ("checks", {"bird": "Sage", "date": "2024-06-02"}, "date", "2024-06-02 is in the future"),
    (
        "checks",
        {"bird": "Sage", "date": "2024-06-01", "time": "23:00"},
        "time",
        "2024-06-01 23:00 is in the future",
    ),
    ("checks", {"bird": "Sage", "date": "05/01/2024"}, "date", "Write it like 2023-05-14"),
    ("checks", {"bird": "Sage", "date": "2023-02-29"}, "date", "There is no such date"),
    ("checks", {"bird": "Sage", "date": "2024-01"}, "date", "is not a date"),
    (
        "care",
        {"bird": "Sage", "date": "2024-01-05", "kind": "soaked", "next_due": "9999-12-31"},
        "next_due",
        "too far ahead",
    ),
    ("birds", {"bird": "Mace", "hatched": "9999"}, "hatched", "too far ahead"),
    ("birds", {"bird": "Mace", "hatched": "2025"}, "hatched", "2025 is in the future"),
    ("birds", {"bird": "Mace", "joined": "2024-07"}, "joined", "2024-07 is in the future"),
    (
        "birds",
        {"bird": "Mace", "left": "2024-06-02", "left_reason": "died"},
        "left",
        "2024-06-02 is in the future",
    ),
    ("stays", {"bird": "Sage", "house": "Ark", "from": "2024-06-02"}, "from", "in the future"),
    ("stays", {"bird": "Sage", "house": "Ark", "to": "2024-06-02"}, "to", "in the future"),
    (
        "housing",
        {"house": "Ark", "feature": "Bar", "kind": "roost", "from": "2024-06-02"},
        "from",
        "in the future",
    ),
    (
        "photos",
        {"file": "photos/good.jpg", "taken": "9999", "taken_source": "camera"},
        "taken",
        "too far ahead",
    ),
    ("checks", {"bird": "Sage", "date": "2024-01-05", "time": "4 pm"}, "time", "like 16:05"),
    ("checks", {"bird": "Sage", "date": "2024-01-05", "gait": "6"}, "gait", "0, 1, 2, 3, 4, 5"),
    (
        "checks",
        {"bird": "Sage", "date": "2024-01-05", "right_score": "7"},
        "right_score",
        "“7” is not one of: 0, 1, 2",
    ),
    (
        "checks",
        {"bird": "Sage", "date": "2024-01-05", "left_scab": "brown"},
        "left_score",
        "needs a score",
    ),
    (
        "checks",
        {"bird": "Sage", "date": "2024-01-05", "left_score": "1", "left_sites": "heel"},
        "left_sites",
        "“heel” is not one of: main, toe I",
    ),
    (
        "checks",
        {"bird": "Sage", "date": "2024-01-05", "left_score": "1", "left_swelling": "from above"},
        "left_score",
        "is a score of 2",
    ),
    (
        "checks",
        {"bird": "Sage", "date": "2024-01-05", "left_score": "1", "left_scab_mm": "3,5"},
        "left_scab_mm",
        "with a point, like 3.5",
    ),
    ("weights", {"bird": "Sage", "date": "2024-01-05", "grams": "80000"}, "grams", "9 kg"),
    ("weights", {"bird": "Sage", "date": "2024-01-05", "grams": "2 kg"}, "grams", "whole number"),
    ("weights", {"bird": "Sage", "date": "2024-01-05", "grams": ""}, "grams", "not be empty"),
    ("birds", {"bird": "sage"}, "bird", "twice"),
    ("birds", {"bird": "Old Sage", "name": "Sage"}, "name", "Two birds here are called Sage"),
    ("birds", {"bird": "Mace", "left": "2023"}, "left_reason", "Say why she left"),
    (
        "birds",
        {"bird": "Mace", "left": "2023", "left_reason": "died", "joined": "2024"},
        "left",
        "before she came to this flock (2024)",
    ),
    ("birds", {"bird": "Mace", "hatched": "spring"}, "hatched", "is not a date"),
    ("birds", {"bird": "M" * 41}, "bird", "41 characters"),
    ("stays", {"bird": "Sage", "house": "Arc"}, "house", "No house is called “Arc”"),
    (
        "stays",
        {"bird": "Sage", "house": "Ark", "from": "2023-01-02", "to": "2023-01-01"},
        "to",
        "before she moved in",
    ),
    ("housing", {"house": "Ark", "feature": "Bar", "kind": "sofa"}, "kind", "roost, rail"),
    (
        "housing",
        {"house": "Ark", "feature": "Bar", "kind": "roost", "height_cm": "60"},
        "from",
        "Say from when",
    ),
    (
        "housing",
        {"house": "Ark", "feature": "Bar", "kind": "roost", "from": "2022-01-01"}
        | {"height_cm": "-5"},
        "height_cm",
        "greater than or equal to 0",
    ),
    (
        "care",
        {"bird": "Sage", "date": "2024-01-05", "kind": "prayer"},
        "kind",
        "soaked, rinsed, scab lifted",
    ),
    ("care", {"bird": "Sage", "date": "2024-06-05", "kind": "soaked"}, "date", "in the future"),
    (
        "care",
        {"bird": "Sage", "date": "2024-01-05", "kind": "medicine", "egg_days": "7"},
        "days_from",
        "the vet or the label",
    ),
    (
        "care",
        {"bird": "Sage", "date": "2024-01-05", "kind": "soaked", "egg_days": "7"}
        | {"days_from": "vet"},
        "egg_days",
        "Only an ointment or a medicine",
    ),
    (
        "care",
        {"bird": "Sage", "date": "2024-01-05", "kind": "watched", "meat_days": "0"}
        | {"days_from": "label"},
        "meat_days",
        "Only an ointment or a medicine",
    ),
    (
        "care",
        {"bird": "Sage", "date": "2024-01-05", "kind": "soaked", "next_due": "2024-01-04"},
        "next_due",
        "before the day of the care",
    ),
    (
        "care",
        {"bird": "Sage", "date": "2024-01-05", "kind": "medicine", "given_until": "2024-01-04"},
        "given_until",
        "before the first giving",
    ),
    ("kit", {"item": "Salve", "meat_days": "0"}, "days_from", "the vet or the label"),
    (
        "weights",
        {"bird": "Sage", "date": "2024-01-05", "grams": "900"} | {"keeper": "K" * 61},
        "keeper",
        "61 characters",
    ),
    (
        "care",
        {"bird": "Sage", "date": "2024-01-05", "kind": "ointment", "item": "Salve"},
        "item",
        "No thing of the kit is called “Salve”",
    ),
    ("kit", {"item": "Gauze", "kind": "cloth"}, "kind", "blade, alcohol"),
    ("kit", {"item": "Gauze", "egg_days": "400"}, "egg_days", "more than a year"),
    ("photos", {"file": "photos/none.jpg"}, "file", "There is no file"),
    ("photos", {"file": "../x.jpg"}, "file", "does not lead to a file inside the folder"),
    ("photos", {"file": "/etc/passwd"}, "file", "does not lead to a file inside the folder"),
    ("photos", {"file": "photos/empty.jpg"}, "file", "is empty"),
    ("photos", {"file": "photos/half.jpg"}, "file", "damaged"),
    (
        "photos",
        {"file": "photos/good.jpg", "score": "1"},
        "score",
        "the bird, the foot and the day",
    ),
    ("photos", {"file": "photos/good.jpg", "taken": "2024-06-02"}, "taken", "in the future"),
    ("birds", {"bird": "Sage\nTea"}, "bird", "on one line"),
    ("birds", {"bird": "Mace", "breed": "Sus\u2028sex"}, "breed", "on one line"),
    ("birds", {"bird": "Mace", "band": "green 1\r\n2"}, "band", "on one line"),
    ("housing", {"house": "Cart\nShed"}, "house", "on one line"),
    ("kit", {"item": "Gau\nze"}, "item", "on one line"),
    (
        "care",
        {"bird": "Sage", "date": "2024-01-05", "kind": "ointment", "product": "Sal\nve"},
        "product",
        "on one line",
    ),
    ("checks", {"bird": "Sage", "date": "2024-01-05", "keeper": "Ro\ns"}, "keeper", "on one line"),
]


@pytest.mark.parametrize(("table", "row", "column", "words"), BAD_ROWS)
def test_each_bad_row_is_named_with_line_and_column(flock, tmp_path, table, row, column, words):
    tables = {"birds": list(BIRDS), "housing": [{"house": "Ark"}]}
    tables.setdefault(table, []).append(row)
    pictures = {"photos/good.jpg": picture()}
    pictures |= {"photos/empty.jpg": b"", "photos/half.jpg": picture()[:900]}
    root = write_folder(tmp_path / "in", pictures=pictures, **tables)
    *places, text = problems_of(root, flock)
    assert places == [(f"{table}.csv", len(tables[table]) + 1, column)]
    assert words in text
    assert not Bird.objects.exists()


def test_what_was_brought_in_can_be_corrected_in_the_app(cast, tmp_path):
    """No row comes in that the app then refuses to save again."""
    steps = [
        {"bird": "Sage", "date": "2024-01-05", "time": "23:30", "kind": kind, "next_due": due}
        for kind, due in (("soaked", "2024-01-05"), ("medicine", "2024-01-06"), ("watched", ""))
    ]
    steps[1] |= {"egg_days": "0", "days_from": "vet", "given_until": "2024-01-05"}
    bring_in(write_folder(tmp_path / "in", birds=BIRDS, care=steps), cast.flock)
    for step in CareStep.objects.filter(flock=cast.flock):
        step.note = "corrected"
        change_step(step=step, by=cast.keeper, now=NOW)
    assert CareStep.objects.filter(note="corrected").count() == 3


def test_all_bad_rows_are_told_at_once_and_nothing_is_kept(flock, tmp_path):
    root = write_folder(
        tmp_path / "in",
        birds=BIRDS,
        weights=[
            {"bird": "Sage", "date": "2024-01-05", "grams": "900"},
            {"bird": "Sage", "date": "2024-01-06", "grams": "80000"},
            {"bird": "Basil", "date": "2024-13-06", "grams": "x"},
        ],
        checks=[{"bird": "Thyme", "date": "2024-01-05", "left_score": "9", "right_score": "7"}],
    )
    *places, _ = problems_of(root, flock)
    assert places == [
        ("weights.csv", 3, "grams"),
        ("weights.csv", 4, "bird"),
        ("weights.csv", 4, "date"),
        ("weights.csv", 4, "grams"),
        ("checks.csv", 2, "left_score"),
        ("checks.csv", 2, "right_score"),
    ]
    assert not Bird.objects.exists() and not Weighing.objects.exists()


def test_the_line_is_the_one_the_row_begins_in(flock, tmp_path):
    root = write_folder(tmp_path / "in", birds=BIRDS)
    (root / "checks.csv").write_text(
        'bird,date,note\nSage,2024-01-05,"one\ntwo"\nSage,2024-99-05,"x\ny"\n'
    )
    assert problems_of(root, flock)[0] == ("checks.csv", 4, "date")


def test_after_so_many_problems_nobody_reads_on(flock, tmp_path):
    rows = [{"bird": "Sage", "date": "never", "grams": "900"}] * 500
    root = write_folder(tmp_path / "in", birds=BIRDS, weights=rows)
    with pytest.raises(Refused) as refused:
        check(read_folder(root), flock, now=NOW)
    assert len(refused.value.problems) == 200 and refused.value.more


@pytest.mark.parametrize(
    ("name", "data", "words"),
    [
        ("birds.csv", b"bird,colour\nSage,red\n", "no column “colour”"),
        ("birds.csv", b"bird,bird\nSage,red\n", "in the header twice"),
        ("birds.csv", b"bird;band\nSage;red\n", "semicolons"),
        ("birds.csv", b"", "It is empty"),
        ("birds.csv", b"bird,traits\nSage,Gr\xfc\xdfe\n", "line 2: This is not UTF-8"),
        ("birds.csv", b"bird,band\nSage,red,5\n", "line 2: This row has more cells"),
        ("birds.csv", b'bird,band\nSage,"red\n', "cannot be read"),
        ("bird.csv", b"bird\nSage\n", "does not belong to an export: birds.csv, weights.csv"),
        ("notes.txt", b"hello", "None of its files belongs"),
    ],
)
def test_files_that_cannot_be_understood(flock, tmp_path, name, data, words):
    (tmp_path / name).write_bytes(data)
    assert words in problems_of(tmp_path, flock)[-1]


def test_a_row_that_contradicts_a_record_is_refused(flock, tmp_path):
    state = {"house": "Ark", "feature": "Bar", "kind": "roost", "from": "2022-03-01"}
    weighing = {"bird": "Sage", "date": "2024-01-05", "grams": "900"}
    bring_in(write_folder(tmp_path / "a", birds=BIRDS, weights=[weighing], housing=[state]), flock)
    changed = write_folder(
        tmp_path / "b",
        birds=[{"bird": "Thyme", "hatched": "2020"}],
        weights=[weighing | {"grams": "950"}],
        housing=[state | {"height_cm": "60"}],
    )
    *places, text = problems_of(changed, flock)
    assert places == [
        ("birds.csv", 2, "hatched"),
        ("weights.csv", 2, "grams"),
        ("housing.csv", 2, "from"),
    ]
    assert "with “2021-04” here in place of “2020”" in text and "900 g" in text


# --- One name for two birds


def test_a_name_given_again_keeps_both_birds_apart(flock, tmp_path):
    old = Bird.objects.create(
        flock=flock, name="Thyme", left="2022-05-03", left_reason="died", hatched="2018"
    )
    new = Bird.objects.create(flock=flock, name="Thyme", joined="2022-06")
    for bird, grams in ((old, 2000), (new, 1500)):
        Weighing.objects.create(flock=flock, bird=bird, on=date(2022, 5, 1), grams=grams)
    first, second = there_and_back(flock, tmp_path)
    assert first == second
    labels = [row["bird"] for row in csv.DictReader(io.StringIO(first["birds.csv"].decode()))]
    assert labels == ["Thyme", "Thyme (left 2022-05-03)"]
    weights = Weighing.objects.filter(flock__name="The other yard")
    found = set(weights.values_list("bird__name", "bird__left", "grams"))
    assert found == {("Thyme", "2022-05-03", 2000), ("Thyme", "", 1500)}
    # Once more into the first flock: both are known again.
    assert bring_in(tmp_path / "first", flock).counts()["birds"] == (0, 2)


def test_labels_stay_apart_whatever_the_birds_are_called(flock, tmp_path):
    left = {"left": "2022", "left_reason": "died"}
    Bird.objects.create(flock=flock, name="Thyme (left 2022)")
    for name in ("Thyme", "thyme", "Thyme", "Thyme"):
        Bird.objects.create(flock=flock, name=name, **left)
    first, second = there_and_back(flock, tmp_path)
    assert first == second
    labels = [row["bird"] for row in csv.DictReader(io.StringIO(first["birds.csv"].decode()))]
    assert len({label.lower() for label in labels}) == 5


def test_the_same_bird_that_has_left_since_is_not_doubled(flock, tmp_path):
    bring_in(write_folder(tmp_path / "a", birds=BIRDS), flock)
    left = {"left": "2024-05-01", "left_reason": "died"}
    *places, _ = problems_of(write_folder(tmp_path / "b", birds=[BIRDS[0] | left]), flock)
    assert places == [("birds.csv", 2, "left")]


def test_a_new_bird_may_take_the_name_of_one_that_left(flock, tmp_path):
    Bird.objects.create(flock=flock, name="Thyme", left="2020", left_reason="died")
    new = [{"bird": "Thyme", "joined": "2021-04-01"}]
    weights = [{"bird": "Thyme", "date": "2022-01-01", "grams": "1000"}]
    bring_in(write_folder(tmp_path / "a", birds=new, weights=weights), flock)
    assert Weighing.objects.get().bird.joined == "2021-04-01"


# --- There and back


def _on_one_line(text: str) -> str:
    return " ".join(text.split())


def _awkward_flock(flock):
    house = House.objects.create(flock=flock, name="=Shed", note=AWKWARD[5])
    House.objects.create(flock=flock, name="Empty house")
    bar = Feature.objects.create(flock=flock, house=house, name="-bar", kind="roost")
    Feature.objects.create(flock=flock, house=house, name="Door", kind="other")
    for number, note in enumerate(AWKWARD):
        FeatureState.objects.create(
            flock=flock,
            feature=bar,
            since=date(2020, 1, 1 + number),
            height_cm=10.25 * number,
            edge="round, sanded",
            note=note,
        )
    for number, text in enumerate(AWKWARD):
        bird = Bird.objects.create(
            flock=flock,
            name=f"={number} Ölse",
            band_number=f"+{number}",
            hatched=["", "2019", "2019-07", "2019-07-30"][number % 4],
            traits=text,
            left_note=text,
            sex=["hen", "cock", "unknown"][number % 3],
            **({"left": "2023-04", "left_reason": "predator"} if number % 2 else {}),
        )
        Stay.objects.create(flock=flock, bird=bird, house=house)
        look = Check.objects.create(
            flock=flock,
            bird=bird,
            at=datetime(2022, 7, 3, 12, number, number * 5, 99, tzinfo=UTC),
            time_known=number != 3,
            keeper_name="@ros",
            gait=number % 6,
            note=text,
            manner="bright",
            belly="swollen",
            body_condition=[None, 0, 1, 2, 3][number % 5],
        )
        FootFinding.objects.create(
            check_record=look,
            foot=["left", "right"][number % 2],
            score=2,
            sites=["toe III", "main"],
            scab="black",
            scab_mm=Decimal("3.5"),
            swelling="from above",
            oozing=True,
            cold_or_dark=number == 2,
            clinical_grade=number % 5 + 1,
        )
        item = KitItem.objects.create(
            flock=flock,
            name=f"=Salve {number}",
            kind=["ointment", "medicine", "other"][number % 3],
            unit="-g",
            stock=[None, Decimal("-2.5"), 0, 40][number % 4],
            low_at=number or None,
            opened_on=[None, date(2022, 5, 1)][number % 2],
            keeps_days=[None, 0, 30][number % 3],
            expires_on=[date(2023, 5, 1), None][number % 2],
            egg_days=[None, 0, 14][number % 3],
            days_from=["", "label", "vet"][number % 3],
            pain_reliever=[None, True, False][number % 3],
            no_medicine=number % 3 == 0,
            batch=_on_one_line(text)[:40],
            note=text,
        )
        vet = VetContact.objects.create(
            flock=flock, name=f"+Surgery {number}", telephone=f"+44 {number:06}", note=text
        )
        CareStep.objects.create(
            flock=flock,
            bird=bird,
            at=datetime(2022, 7, 3, 13, number, tzinfo=UTC),
            kind=["ointment", "medicine", "scab lifted"][number % 3],
            item=item,
            amount=[None, Decimal("0.5"), 3][number % 3],
            outcome=["", "partly"][number % 2],
            bleeding=["much", ""][number % 2],
            given_until=[None, date(2022, 7, 9)][number % 2],
            # Of an ointment or a medicine only.
            egg_days=None if number % 6 == 3 else [14, 0, None][number % 3],
            meat_days=None if number % 6 == 3 else [28, None, None][number % 3],
            days_from="" if number % 6 == 3 else ["label", "vet", ""][number % 3],
            dropped_because=_on_one_line(text),
            no_medicine=number % 6 == 3,
            batch=_on_one_line(text)[:40],
            quantity=_on_one_line(text)[:80],
            given_to=_on_one_line(text)[:80],
            decided_by=["vet", "keeper", "both", ""][number % 4],
            past=number % 5 == 0,
            # Of an ointment or a medicine only, too.
            **({} if number % 3 == 2 else _supply(text, number)),
        )
        CareStep.objects.create(
            flock=flock,
            bird=bird,
            at=datetime(2022, 7, 3, 15, number, tzinfo=UTC),
            kind="vet",
            contact=vet,
            medicine_given=["yes", "no", "unknown", ""][number % 4],
            question=text,
            found=text,
            plan=text,
            plan_until=date(2022, 8, 1),
            laboratory=text,
        )
        CareStep.objects.create(
            flock=flock,
            bird=bird,
            at=datetime(2022, 7, 3, 11, number, tzinfo=UTC),
            kind="dressing on",
            foot="left",
            product=_on_one_line(text)[:80],
            note=text,
            next_due=date(2022, 7, 4),
        )


def _supply(text: str, number: int) -> dict:
    return {
        "supplier": _on_one_line(text)[:120],
        "supplied_on": [None, date(2022, 6, 1)][number % 2],
        "supplied_amount": _on_one_line(text)[:80],
        "prescribed_by": _on_one_line(text)[:120],
    }


# These have tests of their own.
CARRIED_ELSEWHERE = {
    *("weights.csv", "photos.csv", "measurements.csv", "card_prints.csv"),
    *("housing_changes.csv", "housing_plans.csv", "walks.csv"),
    *("rounds.csv", "windows.csv", "history.csv", "states.csv", "events.csv"),
    *("wetness.csv", "eggs.csv", "plans.csv", "tasks.csv", "tasks_done.csv"),
}


def test_awkward_records_come_back_byte_for_byte(flock, tmp_path):
    _awkward_flock(flock)
    first, second = there_and_back(flock, tmp_path)
    assert set(first) == {*FILES, "dictionary.csv"}
    assert first == second
    assert all(
        data.count(b"\n") > 1 for name, data in first.items() if name not in CARRIED_ELSEWHERE
    )
    other = Flock.objects.get(name="The other yard")
    carried = [(Check, "note"), (Bird, "traits"), (KitItem, "note")]
    carried += [(CareStep, "note"), (CareStep, "dropped_because"), (CareStep, "question")]
    carried += [(CareStep, "found"), (CareStep, "plan"), (CareStep, "laboratory")]
    for model, field in carried:
        lines = field == "dropped_because"
        for owner in (flock, other):
            found = model.objects.filter(flock=owner).values_list(field, flat=True)
            expected = map(_on_one_line, AWKWARD) if lines else AWKWARD
            assert sorted(filter(None, found)) == sorted(expected)


def test_every_column_that_holds_something_is_carried(flock, tmp_path):
    """No column of the exchange stays empty for the awkward flock, so the test above tells."""
    _awkward_flock(flock)
    export(flock, tmp_path / "out")
    rows = list(csv.DictReader((tmp_path / "out" / "checks.csv").open(newline="")))
    assert {column for column in rows[0] if any(row[column] for row in rows)} >= {
        *("left_sites", "left_scab_mm", "right_swelling", "left_oozing", "left_cold_or_dark"),
        *("manner", "belly", "gait", "note"),
        *("body_condition", "left_clinical_grade", "right_clinical_grade"),
    }
    for name in ("care.csv", "kit.csv"):
        rows = list(csv.DictReader((tmp_path / "out" / name).open(newline="")))
        filled = {column for column in rows[0] if any(row[column] for row in rows)}
        # People have tests of their own, and what is in the kit has no meat days here.
        elsewhere = {"keeper", "meat_days", "claimed", "claimed_by", "dropped_by"}
        assert filled | elsewhere == set(FILES[name].all) | elsewhere


def test_a_zip_holds_the_same_as_a_folder(flock, tmp_path):
    _awkward_flock(flock)
    export(flock, tmp_path / "folder")
    for name in ("a.zip", "b.zip"):
        export(flock, tmp_path / name)
    assert (tmp_path / "a.zip").read_bytes() == (tmp_path / "b.zip").read_bytes()
    with zipfile.ZipFile(tmp_path / "a.zip") as archive:
        inside = {name: archive.read(name) for name in archive.namelist()}
    unpacked = (tmp_path / "folder").iterdir()
    assert inside == {path.name: path.read_bytes() for path in unpacked}
    assert bring_in(tmp_path / "a.zip", flock).counts()["checks"] == (0, len(AWKWARD))


def test_an_export_never_overwrites(flock, tmp_path):
    root = write_folder(tmp_path / "out", pictures={"kept.txt": b"mine"})
    with pytest.raises(Refused, match="already"):
        export(flock, root)
    assert [path.name for path in root.iterdir()] == ["kept.txt"]


# --- Photos


COLOURS = ["brown", "black", "green", "red", "blue"]
PICTURES = {f"photos/{n}.jpg": picture(c, (320 + n, 240)) for n, c in enumerate(COLOURS)}


def _photo(number, **row):
    return {"file": f"photos/{number}.jpg", "bird": "Sage", **row}


def _with_photos(tmp_path, *rows, **tables):
    return write_folder(
        tmp_path / "in", pictures=PICTURES, birds=BIRDS, photos=list(rows), **tables
    )


def _looks():
    """(number of photos, scores by foot) of each check, in time order."""
    return [
        (look.photos.count(), {f.foot: f.score for f in look.findings.all()})
        for look in Check.objects.order_by("at")
    ]


def test_dates_of_photos_are_as_sure_as_they_are_told(flock, tmp_path):
    told = ["", "2023", "2023-05", "2023-05-14", "2023-05-14 16:05"]
    rows = [_photo(number, taken=taken) for number, taken in enumerate(told)]
    bring_in(_with_photos(tmp_path, *rows), flock)
    found = {
        photo.width - 320: (photo.taken_precision, photo.taken) for photo in Photo.objects.all()
    }
    # Early January is UTC in London, May is an hour ahead (IANA time zone database).
    assert found == {
        0: (Precision.UNKNOWN, None),
        1: (Precision.YEAR, datetime(2023, 1, 1, tzinfo=UTC)),
        2: (Precision.MONTH, datetime(2023, 4, 30, 23, tzinfo=UTC)),
        3: (Precision.DAY, datetime(2023, 5, 13, 23, tzinfo=UTC)),
        4: (Precision.MOMENT, datetime(2023, 5, 14, 15, 5, tzinfo=UTC)),
    }
    assert default_storage.exists(Photo.objects.first().path(240))


def test_a_photo_without_a_date_has_the_cameras(flock, tmp_path):
    # Exif 2.2 (JEITA CP-3451): tag 36867 in the Exif part is DateTimeOriginal, local time.
    exif = Image.Exif()
    exif.get_ifd(0x8769)[36867] = "2023:05:14 16:05:30"
    pictures = {"a.jpg": picture(exif=exif)}
    rows = [{"file": "a.jpg", "bird": "Sage"}]
    bring_in(write_folder(tmp_path / "in", pictures, birds=BIRDS, photos=rows), flock)
    photo = Photo.objects.get()
    assert photo.taken == datetime(2023, 5, 14, 15, 5, 30, tzinfo=UTC)
    assert (photo.taken_precision, photo.taken_source) == ("moment", "camera")
    first, second = there_and_back(flock, tmp_path)
    assert first == second and b"2023-05-14 16:05:30" in first["photos.csv"]


def test_a_photo_joins_the_only_check_of_its_day(flock, tmp_path):
    checks = [
        {"bird": "Sage", "date": "2024-01-05", "left_score": "1"},
        {"bird": "Sage", "date": "2024-01-06", "time": "08:00", "left_score": "0"},
        {"bird": "Sage", "date": "2024-01-06", "time": "18:00", "left_score": "2"},
        {"bird": "Thyme", "date": "2024-01-05", "left_score": "0"},
    ]
    root = _with_photos(
        tmp_path,
        _photo(0, foot="left", taken="2024-01-05", score="1"),
        _photo(1, foot="left", taken="2024-01-05 20:00"),
        _photo(2, foot="left", taken="2024-01-06 18:00"),  # the same moment
        _photo(3, foot="left", taken="2024-01-06"),  # two checks: nobody can tell
        _photo(4, foot="left", taken="2024-01"),
        checks=checks,
    )
    bring_in(root, flock)
    sage = Check.objects.filter(bird__name="Sage").order_by("at")
    assert [look.photos.count() for look in sage] == [2, 0, 1]
    assert Check.objects.get(bird__name="Thyme").photos.count() == 0


def test_scored_photos_without_a_check_become_one_check_of_their_day(flock, tmp_path):
    root = _with_photos(
        tmp_path,
        _photo(0, foot="left", taken="2022-01-05", score="1"),
        _photo(1, foot="right", taken="2022-01-05 16:05", score="0"),
        _photo(2, foot="left", taken="2022-01-05"),
        _photo(3, foot="left", taken="2022-01-19", score="2"),
        _photo(4, foot="left", taken="2022-01-20"),
    )
    bring_in(root, flock)
    assert _looks() == [(3, {"left": 1, "right": 0}), (1, {"left": 2})]
    first, last = Check.objects.order_by("at")
    assert (first.time_known, first.at.hour, last.time_known, last.at.hour) == (True, 16, False, 12)
    bring_in(root, flock)
    assert len(_looks()) == 2


def test_a_score_that_contradicts_the_check_is_refused(flock, tmp_path):
    checks = [{"bird": "Sage", "date": "2024-01-05", "left_score": "1"}]
    root = _with_photos(
        tmp_path,
        _photo(0, foot="left", taken="2024-01-05", score="2"),
        _photo(1, foot="right", taken="2024-01-05", score="0"),
        _photo(2, foot="left", taken="2022-01-05", score="0"),
        _photo(3, foot="left", taken="2022-01-05", score="1"),
        checks=checks,
    )
    *places, text = problems_of(root, flock)
    assert places == [("photos.csv", line, "score") for line in (2, 3, 5)]
    assert "says 1" in text and "says nothing about this foot" in text


def test_photos_come_back_with_their_steps_of_care(flock, tmp_path):
    steps = [
        {"bird": "Sage", "date": "2024-01-05", "time": "17:00", "kind": kind, "foot": "left"}
        for kind in ("soaked", "ointment", "rinsed")
    ]
    root = _with_photos(
        tmp_path,
        _photo(0, foot="left", care="2024-01-05 17:00 soaked left; 2024-01-05 17:00 ointment left"),
        care=steps,
    )
    bring_in(root, flock)
    photo = Photo.objects.get()
    assert sorted(photo.care_steps.values_list("kind", flat=True)) == ["ointment", "soaked"]
    first, second = there_and_back(flock, tmp_path)
    assert first == second
    assert Photo.objects.get(flock__name="The other yard").care_steps.count() == 2


def test_a_step_that_a_photo_names_must_be_there(flock, tmp_path):
    rows = _with_photos(tmp_path, _photo(0, care="2024-01-05 17:00 soaked"))
    *places, text = problems_of(rows, flock)
    assert places == [("photos.csv", 2, "care")] and "She has no care record" in text


def test_photos_come_back_with_their_checks(flock, tmp_path):
    checks = [
        {"bird": "Sage", "date": "2024-01-05", "left_score": "1"},
        {"bird": "Sage", "date": "2024-01-06", "time": "08:00", "left_score": "0"},
        {"bird": "Sage", "date": "2024-01-06", "time": "18:00", "left_score": "2"},
    ]
    rows = [
        _photo(0, foot="left", taken="2024-01-05", note="=clear"),
        _photo(1, foot="left", taken="2024-01-06 08:01", check="2024-01-06 18:00"),
        _photo(2, foot="left", taken="2024-01-05", check="none"),
        _photo(3, bird=""),
        _photo(4, taken="2023"),
    ]
    bring_in(_with_photos(tmp_path, *rows, checks=checks), flock)
    first, second = there_and_back(flock, tmp_path)
    assert first == second
    for owner in Flock.objects.all():
        looks = Check.objects.filter(flock=owner).order_by("at")
        assert [look.photos.count() for look in looks] == [1, 0, 1]
    # An export brought back into its own flock: the pictures are known by their first hash.
    assert bring_in(tmp_path / "first", flock).counts()["photos"] == (0, 5)
    names = sorted(path.name for path in (tmp_path / "first" / "photos").iterdir())
    assert names[0].startswith("2023-sage-") and names[-1].startswith("undated-unknown-")


def test_a_failure_while_saving_leaves_no_file_behind(flock, tmp_path, monkeypatch):
    plan = check(read_folder(_with_photos(tmp_path, _photo(0))), flock, now=NOW)

    def fail(*args, **kwargs):
        raise RuntimeError("disk full")

    monkeypatch.setattr(Photo.objects, "bulk_create", fail)
    with pytest.raises(RuntimeError):
        apply(plan)
    assert not Bird.objects.exists()
    assert default_storage.listdir("photos") == ([], []), "no empty folders either"


def test_what_a_killed_import_left_is_cleared_away(flock, tmp_path, settings):
    settings.DATA_DIR = tmp_path
    for name, days in ((".import-old", 2), (".import-new", 0)):
        (tmp_path / name).mkdir()
        at = time.time() - days * 24 * 60 * 60
        os.utime(tmp_path / name, (at, at))
    clear_left()
    assert [path.name for path in tmp_path.glob(".import-*")] == [".import-new"]


def test_a_disk_without_room_is_said_in_words(flock, tmp_path, monkeypatch):
    def full(*args, **kwargs):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(FileSystemStorage, "save", full)
    plan = check(read_folder(_with_photos(tmp_path, _photo(0))), flock, now=NOW)
    with pytest.raises(Refused, match="cannot be saved: No space left"):
        apply(plan)
    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(Refused, match="cannot be saved: No space left"):
        check(read_folder(tmp_path / "in"), flock, now=NOW)
    assert not Bird.objects.exists()


def test_a_flock_that_changed_meanwhile_refuses_the_plan(flock, tmp_path):
    plan = check(read_folder(write_folder(tmp_path / "in", birds=BIRDS)), flock, now=NOW)
    Bird.objects.create(flock=flock, name="Sage")
    with pytest.raises(Refused, match="Import again"):
        apply(plan)
    assert Bird.objects.count() == 1


# --- Tricks with zips and links

GOOD = {"birds.csv": "bird\nSage\n"}


def test_a_zipped_folder_is_read_as_if_it_were_the_folder(flock, tmp_path):
    files = {
        "records/birds.csv": "bird\nSage\n",
        "records/photos.csv": "file,bird\nphotos/a.jpg,Sage\n",
        "records/photos/a.jpg": picture(),
        "__MACOSX/records/._birds.csv": "x",
        "records/.DS_Store": "x",
    }
    plan = bring_in(write_zip(tmp_path / "in.zip", files), flock)
    assert plan.counts()["photos"] == (1, 0)


@pytest.mark.parametrize("name", ["../birds.csv", "/birds.csv", "a/../../b.csv", "..\\birds.csv"])
def test_names_that_lead_out_of_a_zip_are_refused(flock, tmp_path, name):
    path = write_zip(tmp_path / "in.zip", GOOD | {name: "x"})
    assert "does not lead to a file inside" in problems_of(path, flock)[-1]


def test_links_in_a_zip_are_refused(flock, tmp_path):
    link = zipfile.ZipInfo("photos/a.jpg")
    link.external_attr = (stat.S_IFLNK | 0o777) << 16
    path = tmp_path / "in.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr(link, "/etc/passwd")
        archive.writestr("birds.csv", "bird\nSage\n")
    assert "is a link" in problems_of(path, flock)[-1]


def test_a_zip_that_unpacks_to_too_much_is_refused(flock, tmp_path):
    path = tmp_path / "in.zip"
    with (
        zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive,
        archive.open("birds.csv", "w") as member,
    ):
        for _ in range(65):
            member.write(b"\0" * 1024 * 1024)
    assert path.stat().st_size < 1_000_000
    assert "larger than 64 MB" in problems_of(path, flock)[-1]


def test_a_damaged_zip_is_refused(flock, tmp_path):
    path = write_zip(tmp_path / "in.zip", {"birds.csv": "bird\n" + "Sage\n" * 50})
    whole = path.read_bytes()
    path.write_bytes(whole[:-10])
    assert "is damaged" in problems_of(path, flock)[-1]
    path.write_bytes(whole.replace(b"Sage", b"Mage", 1))
    assert "damaged inside the zip" in problems_of(path, flock)[-1]


def test_a_zip_that_hides_how_much_it_unpacks_to_fills_no_memory(flock, tmp_path):
    path = with_a_short_lie(tmp_path / "in.zip", 64 * 2**20)
    assert path.stat().st_size < 100_000
    assert peak_mb(lambda: problems_of(path, flock)) < 5


def test_a_zip_that_says_its_list_is_endless_fills_no_memory(flock, tmp_path):
    # APPNOTE.TXT 4.3.16 (PKWARE): the end of the list says its length and where it begins.
    length = 64 * 2**20
    path = tmp_path / "in.zip"
    with path.open("wb") as file:
        file.truncate(length)
        file.seek(length)
        file.write(struct.pack("<4s4H2LH", b"PK\5\6", 0, 0, 9, 9, length, 0, 0))

    def refuse():
        assert "is damaged" in problems_of(path, flock)[-1]

    assert peak_mb(refuse) < 5


def test_a_zip_packed_in_an_unusual_way_is_refused(flock, tmp_path):
    path = tmp_path / "in.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_BZIP2) as archive:
        archive.writestr("birds.csv", "bird\nSage\n")
    assert "packed in an unusual way" in problems_of(path, flock)[-1]


SMALL_ZIP = write_zip(io.BytesIO(), GOOD | {"weights.csv": "bird,date,grams\n"}).getvalue()


@settings(deadline=None, suppress_health_check=list(HealthCheck), max_examples=300)
@given(
    st.lists(
        st.tuples(st.integers(0, len(SMALL_ZIP) - 1), st.integers(0, 255)), min_size=1, max_size=3
    )
)
@example(damage=[(SMALL_ZIP.rindex(b"birds.csv"), 0)])  # a file without a name
def test_whatever_is_damaged_in_a_zip_is_said_in_words(flock, tmp_path, damage):
    data = bytearray(SMALL_ZIP)
    for at, byte in damage:
        data[at] = byte
    path = tmp_path / "in.zip"
    path.write_bytes(data)
    problems_of(path, flock)  # raises for all that is not refused in words


def test_links_that_lead_out_of_a_folder_are_refused(flock, tmp_path):
    (tmp_path / "secret.jpg").write_bytes(picture())
    root = write_folder(tmp_path / "in", birds=BIRDS, photos=[{"file": "a.jpg"}])
    (root / "a.jpg").symlink_to(tmp_path / "secret.jpg")
    assert "leads out of the folder" in problems_of(root, flock)[-1]


def test_a_place_that_is_not_there(flock, tmp_path):
    assert "no such folder or zip" in problems_of(tmp_path / "nowhere", flock)[-1]


# --- Commands


def test_the_commands_bring_a_flock_in_and_out(cast, tmp_path, capsys):
    root = write_folder(tmp_path / "in", birds=BIRDS)
    with pytest.raises(CommandError, match="no flock of that name"):
        call_command("import_records", root, flock="New yard")
    arguments = {"flock": "New yard", "create": True, "owner": "Owner"}
    call_command("import_records", root, time_zone="Asia/Tokyo", **arguments)
    assert "birds: 2 new, 0 already there" in capsys.readouterr().out
    made = Membership.objects.get(flock__name="New yard")
    assert (made.keeper, made.role, made.flock.time_zone) == (cast.owner, "owner", "Asia/Tokyo")
    call_command("import_records", root, **arguments)
    assert "birds: 0 new, 2 already there" in capsys.readouterr().out
    call_command("export_records", tmp_path / "out.zip", flock="New yard")
    assert zipfile.is_zipfile(tmp_path / "out.zip")


def test_a_time_zone_that_is_none_is_refused(db, tmp_path):
    root = write_folder(tmp_path / "in", birds=BIRDS)
    with pytest.raises(CommandError, match="not a time zone we know"):
        call_command("import_records", root, flock="New", create=True, time_zone="Mars/Dust")


def test_a_name_that_is_too_long_for_a_flock_is_refused(db, tmp_path):
    root = write_folder(tmp_path / "in", birds=BIRDS)
    with pytest.raises(CommandError, match="at most"):
        call_command("import_records", root, flock="N" * 200, create=True)


def test_a_refused_import_makes_no_flock(db, tmp_path, capsys):
    root = write_folder(tmp_path / "in", birds=[{"bird": "Sage", "hatched": "soon"}])
    with pytest.raises(CommandError, match="Nothing was imported: 1 to fix"):
        call_command("import_records", root, flock="New yard", create=True)
    assert "birds.csv, line 2, hatched: “soon” is not a date" in capsys.readouterr().err
    assert not Flock.objects.exists()


def test_two_flocks_of_one_name_are_told_apart_by_a_keeper(cast, tmp_path):
    Flock.objects.create(name="Elsewhere")
    root = write_folder(tmp_path / "in", birds=BIRDS)
    with pytest.raises(CommandError, match="Several flocks"):
        call_command("import_records", root, flock="Elsewhere")
    call_command("import_records", root, flock="Elsewhere", owner="stranger")
    assert Bird.objects.filter(flock=cast.elsewhere).count() == 2
