"""Dates of old pictures, from what cameras, phones and messengers write.

The patterns of file names are common practice, no published source.
"""

import io
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from flockcare.core.dates import PartialDate
from flockcare.photos.dating import UNDATED, by_file_name, by_hand, date_of
from flockcare.photos.intake import Taken
from flockcare.photos.services import add_photo
from tests.exchange.folders import picture

LONDON = ZoneInfo("Europe/London")
NOW = datetime(2026, 3, 14, 12, tzinfo=UTC)
COPIED = datetime(2024, 8, 1, 9, 30, tzinfo=UTC)


def clock(text):
    """What a clock on the wall shows, in no time zone."""
    return datetime.fromisoformat(text)


def dated(name="hen.jpg", *, camera=None, modified=None, zone=LONDON):
    return date_of(camera=camera, name=name, modified=modified, zone=zone, now=NOW)


@pytest.mark.parametrize(
    "name",
    [
        "IMG_20230514_173005.jpg",
        "IMG20230514173005.jpg",
        "20230514_173005.jpg",
        "20230514_173005(1).jpg",
        "20230514173005123.heic",
        "2023-05-14 17.30.05.jpg",
        "2023-05-14_17-30-05.png",
        "photo 2023-05-14 at 17.30.05.jpeg",
        "2023-05-14T17:30:05.jpg",
        "Screenshot_20230514-173005.png",
        "old/phone/IMG_20230514_173005_BURST001.jpg",
    ],
)
def test_a_name_with_day_and_time(name):
    found = dated(name)
    assert found.taken == datetime(2023, 5, 14, 17, 30, 5, tzinfo=LONDON)
    assert (found.precision, found.source) == ("moment", "file name")


def test_names_that_count_in_utc():
    """From memory: names that begin with PXL_ give the time in UTC, to the millisecond."""
    assert dated("PXL_20230514_163005123.jpg").taken == datetime(
        2023, 5, 14, 17, 30, 5, tzinfo=LONDON
    )


@pytest.mark.parametrize(
    "name",
    [
        "IMG-20230514-WA0003.jpg",
        "20230514-WA0003.jpeg",
        "2023-05-14.jpg",
        "2023-05-14 hens (3).jpg",
        "hens 2023.05.14.jpg",
        "20230514_256199.jpg",  # no time of day has these digits
    ],
)
def test_a_name_with_the_day_only(name):
    found = dated(name)
    assert found.taken == datetime(2023, 5, 14, tzinfo=LONDON)
    assert (found.precision, found.source) == ("day", "file name")


@pytest.mark.parametrize(
    "name",
    [
        "IMG_2023.jpg",
        "DSC02014.jpg",
        "20231399.jpg",  # month 13
        "20230230.jpg",  # 30 February
        "1234567890123.jpg",
        "120230514173005.jpg",  # a longer number that only contains one
        "IMG_20990514_173005.jpg",  # not yet
        "19700101_000000.jpg",  # a clock that was never set
        "hen.jpg",
        "",
    ],
)
def test_a_name_without_a_date(name):
    assert dated(name) == UNDATED


@given(
    moment=st.datetimes(clock("1990-01-02"), clock("2026-03-01")),
    form=st.sampled_from(
        ["IMG_%Y%m%d_%H%M%S", "%Y-%m-%d %H.%M.%S", "%Y%m%d%H%M%S", "a %Y.%m.%d_%H-%M-%S b"]
    ),
)
def test_whatever_is_written_is_read(moment, form):
    found = by_file_name(moment.strftime(form) + ".jpg", UTC)
    assert found.taken == moment.replace(microsecond=0, tzinfo=UTC)


@given(st.text(max_size=60))
def test_no_name_breaks_it(name):
    found = dated(name)
    assert found is UNDATED or found.taken.year >= 1990


def test_the_camera_comes_first_then_the_name_then_the_file():
    camera = Taken(clock("2022-01-02T03:04:05"), None)
    everything = {"camera": camera, "modified": COPIED}
    assert dated("20230514.jpg", **everything).source == "camera"
    assert dated("20230514.jpg", modified=COPIED).source == "file name"
    by_file = dated("hen.jpg", modified=COPIED)
    assert (by_file.taken, by_file.source) == (COPIED, "file time")
    assert dated("hen.jpg") == UNDATED


def test_the_cameras_clock_is_the_flocks_unless_it_says_otherwise():
    local = clock("2023-07-01T12:00")
    assert dated(camera=Taken(local, None)).taken == datetime(2023, 7, 1, 11, tzinfo=UTC)
    there = dated(camera=Taken(local, timedelta(hours=-5)))
    assert there.taken == datetime(2023, 7, 1, 17, tzinfo=UTC)


@pytest.mark.parametrize("year", [1970, 1980, 2031])
def test_a_camera_whose_clock_is_wrong_is_not_believed(year):
    wrong = Taken(clock(f"{year}-01-01"), None)
    assert dated("20230514.jpg", camera=wrong).source == "file name"
    assert dated("hen.jpg", camera=wrong) == UNDATED


@pytest.mark.parametrize(
    "told", ["2000-01-01T09:14", "2000-01-19T17:05", "2001-01-01T12:00", "2019-01-01T00:04"]
)
def test_a_clock_that_was_reset_is_not_believed(told):
    """Clocks without power begin at a New Year's midnight: common practice of their makers."""
    reset = Taken(clock(told), None)
    assert dated("hen.jpg", camera=reset) == UNDATED
    assert dated("20230514.jpg", camera=reset).source == "file name"
    assert dated("hen.jpg", camera=reset, modified=COPIED).source == "file time"


@pytest.mark.parametrize("told", ["2019-01-01T01:00", "2019-01-02T00:04", "2000-02-01T09:14"])
def test_a_date_beside_those_is_the_cameras(told):
    assert dated(camera=Taken(clock(told), None)).source == "camera"


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("year", "taken", "source"),
    [
        (2025, "2025-05-03", "camera"),
        (2099, "2026-03-14", "upload"),
        (1980, "2026-03-14", "upload"),
    ],
)
def test_a_photo_of_a_check_does_not_believe_it_either(cast, year, taken, source):
    exif = Image.Exif()
    # 0x8769, 0x9003: the Exif part and DateTimeOriginal (CIPA DC-008, from memory).
    exif.get_ifd(0x8769)[0x9003] = f"{year}:05:03 17:05:00"
    upload = io.BytesIO(picture(exif=exif))
    photo, _ = add_photo(flock=cast.flock, keeper=cast.keeper, upload=upload, name="a.jpg", now=NOW)
    assert (str(photo.taken.date()), photo.taken_source) == (taken, source)


def test_a_file_time_of_just_now_says_nothing():
    """File API (W3C): "If the last modification date and time are not known, the attribute must
    return the current date and time"; from memory."""
    assert dated(modified=NOW) == dated(modified=NOW + timedelta(days=3)) == UNDATED


@given(st.dates(date(1990, 1, 1), date(2026, 3, 1)))
def test_dates_by_hand_begin_where_they_may(day):
    year, month, whole = (
        by_hand(PartialDate(*parts), LONDON)
        for parts in ([day.year], [day.year, day.month], [day.year, day.month, day.day])
    )
    assert year.taken == datetime(day.year, 1, 1, tzinfo=LONDON)
    assert month.taken == datetime(day.year, day.month, 1, tzinfo=LONDON)
    assert whole.taken == datetime(day.year, day.month, day.day, tzinfo=LONDON)
    assert [dated.precision for dated in (year, month, whole)] == ["year", "month", "day"]
    assert {dated.source for dated in (year, month, whole)} == {"hand"}
