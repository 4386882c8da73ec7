"""The records exchange of photos: what is shown of them, what was measured and sorted."""

import io
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from django.core.files.storage import default_storage
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from flockcare.birds.models import Bird
from flockcare.care.models import CareStep
from flockcare.exchange.cells import exact, exact_text, number_rows, number_rows_text
from flockcare.exchange.tables import FILES
from flockcare.feet.models import Check, FootFinding, SortingNote
from flockcare.people.models import Flock
from flockcare.photos import editing
from flockcare.photos.intake import SIZES
from flockcare.photos.models import Measurement, Photo
from tests.exchange.exchanges import BIRDS, bring_in, problems_of, rows_of, there_and_back
from tests.exchange.folders import picture, write_folder

COLOURS = ["brown", "black", "green", "red", "blue"]
PICTURES = {f"photos/{n}.jpg": picture(c, (320 + n, 240)) for n, c in enumerate(COLOURS)}


@pytest.fixture
def flock(db):
    return Flock.objects.create(name="Test yard", time_zone="Europe/London")


def _photo(number=0, **row):
    return {"file": f"photos/{number}.jpg", "bird": "Sage", **row}


def _folder(tmp_path, *photos, **tables):
    return write_folder(tmp_path / "in", PICTURES, birds=BIRDS, photos=list(photos), **tables)


def _brought(model, flock, path="flock"):
    return model.objects.exclude(**{path: flock})


# --- What is shown


def _pixels(photo, side) -> np.ndarray:
    with default_storage.open(photo.path(side)) as file, Image.open(file) as image:
        return np.asarray(image.convert("RGB"), dtype=float)


@pytest.mark.parametrize("box", [None, (31, 20, 180, 170)])
@pytest.mark.parametrize("quarters", [0, 1, 2, 3])
def test_a_photo_is_shown_as_before(flock, tmp_path, quarters, box):
    bring_in(_folder(tmp_path, _photo(3)), flock)
    photo = Photo.objects.get()
    if quarters:
        editing.turn(photo=photo, keeper=None, quarter_turns=quarters)
    if box:
        editing.crop(photo=photo, keeper=None, box=box)
    first, second = there_and_back(flock, tmp_path)
    assert first == second
    brought = _brought(Photo, flock).get()
    assert (brought.quarter_turns, brought.crop_box) == (quarters, photo.crop_box)
    assert (brought.width, brought.height) == (323, 240)
    for side in SIZES:
        before, now = _pixels(photo, side), _pixels(brought, side)
        assert now.shape == before.shape
        # Both come from the same original; only the rounding of a second JPEG may differ.
        assert np.abs(now - before).mean() < 2
    kept = [default_storage.size(brought.path(size)) for size in (None, *SIZES)]
    assert brought.stored_bytes == sum(kept)
    assert bring_in(tmp_path / "first", flock).counts()["photos"] == (0, 1)


def test_quarters_turn_clockwise(flock, tmp_path):
    """A red field at the left is at the top after a quarter turn clockwise."""
    image = Image.new("RGB", (320, 240), "white")
    image.paste("red", (0, 0, 100, 240))
    out = io.BytesIO()
    image.save(out, "JPEG")
    rows = [{"file": "a.jpg", "quarter_turns": "1"}]
    bring_in(write_folder(tmp_path / "in", {"a.jpg": out.getvalue()}, photos=rows), flock)
    shown = _pixels(Photo.objects.get(), 240)
    height, width, _ = shown.shape
    assert (width, height) == (180, 240)
    # Red has no green in it.
    green = shown[..., 1].mean(axis=1)
    assert green[:60].max() < 60 and green[120:].min() > 200


def test_a_crop_that_keeps_all_is_none(flock, tmp_path):
    bring_in(_folder(tmp_path, _photo(crop="0 0 320 240", quarter_turns="0")), flock)
    assert Photo.objects.get().crop is None


# --- What was sorted


def test_what_was_found_while_sorting_comes_back(flock, tmp_path):
    bring_in(_folder(tmp_path, *(_photo(n) for n in range(5))), flock)
    dash = Bird.objects.create(flock=flock, name="-Dash")
    photos = list(Photo.objects.order_by("width"))
    notes = [
        {"card_bird": dash, "card_foot": "left", "card_answered": True},
        {"card_bird": dash},
        {"kept_beside_alike": True},
        {"nobody_knows": True},
    ]
    for photo, note in zip(photos, notes, strict=False):
        SortingNote.objects.create(photo=photo, **note)
    first, second = there_and_back(flock, tmp_path)
    assert first == second
    found = _brought(SortingNote, flock, "photo__flock").order_by("photo__width")
    columns = [field.name for field in SortingNote._meta.fields if field.name != "photo"]
    told = [{column: str(getattr(note, column)) for column in columns} for note in found]
    before = SortingNote.objects.filter(photo__flock=flock).order_by("photo__width")
    assert told == [{column: str(getattr(note, column)) for column in columns} for note in before]
    assert len(told) == 4


# --- What was measured


@settings(deadline=None)
@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_number_is_read_as_it_was_written(number):
    # Python's repr of a float is the shortest text that gives the same float (IEEE 754 double).
    assert exact(exact_text(number)).hex() == number.hex()


@settings(deadline=None)
@given(st.lists(st.tuples(*[st.floats(allow_nan=False, allow_infinity=False)] * 2), min_size=1))
def test_an_outline_is_read_as_it_was_written(points):
    assert number_rows(number_rows_text(points), 2) == [list(point) for point in points]


def test_an_outline_is_written_in_few_signs():
    assert number_rows_text([[10.0, 20.25], [-0.5, 1e-17]]) == "10 20.25;-0.5 1e-17"


AWKWARD_MEASUREMENT = {
    "scaled_by": "card",
    "length_mm": None,
    "to_mm": [[1 / 7, 1e-17, -23.000000000000004], [-1e-300, 0.1 + 0.2, 1e22], [1e-7, -0.0, 1.0]],
    "outline_px": [[-1.0, 10.25], [40.5, 10.0], [320.0, 240.0], [25.0, 1 / 3]],
    "outline_mm": [[0.0, -3.1416], [1.0, 2.0], [0.1234, 9.9999], [5.0, 5.0]],
    "area_mm2": 12.345678901234567,
    "perimeter_mm": 1 / 3,
    "longest_diameter_mm": 7.0,
    "relative_area_error": 0.05000000000000001,
}


def test_measurements_come_back_with_every_figure(cast, tmp_path):
    flock = cast.flock
    bring_in(_folder(tmp_path, _photo(0), _photo(1)), flock)
    one, other = Photo.objects.filter(flock=flock).order_by("width")
    # London's clocks went back at 01:00 UTC on 29 October 2023 (Summer Time Order 2002), so that
    # both of these are 01:30 there; and the newest counts, were it newer by so little.
    twice = datetime(2023, 10, 29, 0, 30, 5, 123456, tzinfo=UTC)
    moments = [twice, twice + timedelta(hours=1), twice + timedelta(microseconds=1)]
    for at in moments:
        Measurement.objects.create(
            flock=flock, photo=one, at=at, keeper=cast.keeper, **AWKWARD_MEASUREMENT
        )
    length = AWKWARD_MEASUREMENT | {"scaled_by": "length", "length_mm": 23.1}
    Measurement.objects.create(flock=flock, photo=other, at=twice, **length)
    keepers = [cast.keeper]
    first, second = there_and_back(flock, tmp_path, keepers=keepers)
    assert first == second
    rows = rows_of(first, "measurements.csv")
    assert all(any(row[column] for row in rows) for column in FILES["measurements.csv"].all)

    def kept(measurements):
        names = [field.name for field in Measurement._meta.fields]
        names = [name for name in names if name not in ("id", "flock", "photo")]
        return [
            (one.photo.sha256, *(getattr(one, name) for name in names))
            for one in measurements.order_by("photo__width", "at")
        ]

    before = kept(Measurement.objects.filter(flock=flock))
    assert len(before) == 4
    assert kept(_brought(Measurement, flock)) == before
    # Brought back where it came from, also where nobody knows the keeper, nothing is doubled.
    again = bring_in(tmp_path / "first", flock, keepers=[])
    assert again.counts()["measurements"] == (0, 4)


def test_a_deleted_photo_takes_its_measurements_with_it(flock, tmp_path):
    bring_in(_folder(tmp_path, _photo(0)), flock)
    photo, at = Photo.objects.get(), datetime(2024, 1, 5, tzinfo=UTC)
    Measurement.objects.create(flock=flock, photo=photo, at=at, **AWKWARD_MEASUREMENT)
    editing.delete(photo=photo, keeper=None)
    first, second = there_and_back(flock, tmp_path)
    assert first == second
    assert rows_of(first, "measurements.csv") == rows_of(first, "photos.csv") == []


MEASURED = {
    **{"file": "photos/0.jpg", "measured": "2024-01-05 16:05", "scaled_by": "length"},
    **{"length_mm": "23", "area_mm2": "30", "perimeter_mm": "20", "longest_diameter_mm": "7"},
    **{"relative_area_error": "0.1", "to_mm": "0.1 0 0;0 0.1 0;0 0 1"},
    **{"outline_px": "10 10;70 10;10 110", "outline_mm": "1 1;7 1;1 11"},
}


def test_a_measurement_written_by_hand_is_read_in_the_flocks_time(tmp_path, db):
    tokyo = Flock.objects.create(name="Far", time_zone="Asia/Tokyo")
    bring_in(_folder(tmp_path, _photo(0), measurements=[MEASURED]), tokyo)
    # Japan keeps UTC+9 all year (IANA time zone database, Asia/Tokyo).
    measurement = Measurement.objects.get()
    assert measurement.at == datetime(2024, 1, 5, 7, 5, tzinfo=UTC)
    assert measurement.to_mm == [[0.1, 0, 0], [0, 0.1, 0], [0, 0, 1]]


BAD_ROWS = [
    ({"file": "photos/9.jpg"}, "file", "There is no photo “photos/9.jpg” in photos.csv"),
    ({"file": ""}, "file", "must not be empty"),
    ({"measured": "2024-01-05"}, "measured", "is not a day and time"),
    ({"measured": "2024-02-30 10:00"}, "measured", "There is no such date"),
    ({"measured": "2024-01-05 25:00"}, "measured", "There is no such time as “25:00”"),
    ({"measured": "2024-06-02 10:00"}, "measured", "2024-06-02 10:00 is in the future"),
    ({"scaled_by": "thumb"}, "scaled_by", "card, length"),
    ({"length_mm": ""}, "length_mm", "how long the known length is"),
    ({"length_mm": "0"}, "length_mm", "longer than nothing"),
    ({"area_mm2": "-1"}, "area_mm2", "greater than or equal to 0"),
    ({"area_mm2": "3,5"}, "area_mm2", "is not a number"),
    ({"perimeter_mm": "nan"}, "perimeter_mm", "is not a number"),
    ({"perimeter_mm": "1e999"}, "perimeter_mm", "is not a number"),
    ({"relative_area_error": ""}, "relative_area_error", "must not be empty"),
    ({"to_mm": "1 0 0;0 1 0"}, "to_mm", "three rows of three numbers"),
    ({"to_mm": "1 0 0;0 1;0 0 1"}, "to_mm", "Part 2 has 2 numbers in place of 3"),
    ({"outline_px": "10 10;70 x;10 110"}, "outline_px", "“x” is not a number"),
    ({"outline_px": "10 10;70 10;10 241"}, "outline_px", "outside the photo"),
    ({"outline_px": "-2 10;70 10;10 110"}, "outline_px", "outside the photo"),
    ({"outline_px": "10 10;70 10", "outline_mm": "1 1;2 2;3 1"}, "outline_px", "three points"),
    ({"outline_mm": "1 1;7 1;7 7;1 11"}, "outline_mm", "4 points; there are 3"),
]


@pytest.mark.parametrize(("wrong", "column", "words"), BAD_ROWS)
def test_a_bad_measurement_is_named(flock, tmp_path, wrong, column, words):
    root = _folder(tmp_path, _photo(0), measurements=[MEASURED, MEASURED | wrong])
    *places, text = problems_of(root, flock)
    assert places == [("measurements.csv", 3, column)]
    assert words in text


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        ({"quarter_turns": "4"}, "quarter_turns", "less than or equal to 3"),
        ({"quarter_turns": "-1"}, "quarter_turns", "greater than or equal to 0"),
        ({"quarter_turns": "left"}, "quarter_turns", "not a whole number"),
        ({"crop": "1 2 3"}, "crop", "not four numbers"),
        ({"crop": "0 0 200.5 200"}, "crop", "not a whole number"),
        ({"crop": "0 0 321 240"}, "crop", "outside the photo, which is 320 × 240"),
        ({"crop": "200 0 100 240"}, "crop", "outside the photo"),
        ({"crop": "0 0 63 240"}, "crop", "too small to see"),
        ({"card_bird": "Time"}, "card_bird", "Did you mean “thyme”?"),
        ({"card_foot": "both"}, "card_foot", "left, right"),
        ({"nobody_knows": "maybe"}, "nobody_knows", "neither yes nor no"),
    ],
)
def test_a_bad_photo_row_is_named_once(flock, tmp_path, row, column, words):
    """Also where another file speaks of that photo."""
    root = _folder(tmp_path, _photo(0, **row), measurements=[MEASURED])
    *places, text = problems_of(root, flock)
    assert places == [("photos.csv", 2, column)]
    assert words in text


def _dated(moment: str) -> bytes:
    exif = Image.Exif()
    # 0x8769, 0x9003: the Exif part and DateTimeOriginal (CIPA DC-008, from memory).
    exif.get_ifd(0x8769)[0x9003] = moment
    return picture(exif=exif)


@pytest.mark.parametrize(
    ("moment", "taken", "source"),
    [("2024:05:03 17:05:00", "2024-05-03", "camera"), ("2099:05:03 17:05:00", None, "")],
)
def test_a_camera_whose_clock_is_plainly_wrong_dates_nothing(
    flock, tmp_path, moment, taken, source
):
    root = write_folder(tmp_path / "in", {"a.jpg": _dated(moment)}, photos=[{"file": "a.jpg"}])
    bring_in(root, flock)
    photo = Photo.objects.get()
    assert (str(photo.taken.date()) if photo.taken else None) == taken
    assert photo.taken_source == source


def test_a_photo_that_was_turned_since_is_told_apart(flock, tmp_path):
    bring_in(_folder(tmp_path, _photo(0, quarter_turns="1")), flock)
    *places, text = problems_of(_folder(tmp_path, _photo(0, quarter_turns="2")), flock)
    assert places == [("photos.csv", 2, "quarter_turns")]
    assert "with another value here" in text


# --- What it belongs to, where several records have one name


@pytest.mark.parametrize("linked", [["left"], ["right"], ["left", "right"]])
def test_a_photo_stays_with_the_foot_that_was_tended(flock, tmp_path, linked):
    bring_in(_folder(tmp_path, _photo(0)), flock)
    photo, at = Photo.objects.get(), datetime(2024, 1, 5, 17, tzinfo=UTC)
    for foot in ("left", "right"):
        step = CareStep.objects.create(
            flock=flock, bird=photo.bird, at=at, kind="soaked", foot=foot
        )
        step.photos.set([photo] if foot in linked else [])
    first, second = there_and_back(flock, tmp_path)
    assert first == second
    assert sorted(_brought(Photo, flock).get().care_steps.values_list("foot", flat=True)) == linked


def test_a_photo_of_two_equal_steps_stays_with_both(flock, tmp_path):
    bring_in(_folder(tmp_path, _photo(0)), flock)
    photo, at = Photo.objects.get(), datetime(2024, 1, 5, 17, tzinfo=UTC)
    for product in ("warm water", "Epsom salt", "nothing"):
        step = CareStep.objects.create(
            flock=flock, bird=photo.bird, at=at, kind="soaked", product=product
        )
        step.photos.set([photo] if product != "nothing" else [])
    first, second = there_and_back(flock, tmp_path)
    assert first == second
    assert _brought(Photo, flock).get().care_steps.count() == 2


def test_a_photo_of_two_checks_at_one_time_stays_with_both(flock, tmp_path):
    bring_in(_folder(tmp_path, _photo(0)), flock)
    photo, at = Photo.objects.get(), datetime(2024, 1, 5, 17, tzinfo=UTC)
    for keeper in ("Ros", "Ted"):
        look = Check.objects.create(flock=flock, bird=photo.bird, at=at, keeper_name=keeper)
        look.photos.add(photo)
    first, second = there_and_back(flock, tmp_path)
    assert first == second
    assert _brought(Photo, flock).get().checks.count() == 2


@pytest.mark.parametrize("score", [0, 1, 2])
def test_a_scored_photo_stays_with_the_check_that_says_so(flock, tmp_path, score):
    bring_in(_folder(tmp_path, _photo(0, foot="left")), flock)
    photo, at = Photo.objects.get(), datetime(2024, 1, 5, 12, tzinfo=UTC)
    for said in (0, 1, 2):
        look = Check.objects.create(flock=flock, bird=photo.bird, at=at, time_known=False)
        finding = FootFinding(check_record=look, foot="left", score=said)
        finding.clean()  # As whoever saves one does.
        finding.save()
        look.photos.set([photo] if said == score else [])
    first, second = there_and_back(flock, tmp_path)
    assert first == second
    look = _brought(Photo, flock).get().checks.get()
    assert [finding.score for finding in look.findings.all()] == [score]


def test_a_photo_that_was_given_to_another_bird_can_still_be_brought_in(flock, tmp_path):
    bring_in(_folder(tmp_path, _photo(0)), flock)
    photo, at = Photo.objects.get(), datetime(2024, 1, 5, 17, tzinfo=UTC)
    step = CareStep.objects.create(flock=flock, bird=photo.bird, at=at, kind="soaked")
    step.photos.add(photo)
    photo.bird = Bird.objects.get(name="Thyme")
    photo.save()
    first, second = there_and_back(flock, tmp_path)
    assert first == second
