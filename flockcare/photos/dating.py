"""When an old picture was taken: the camera's word, else the file's name, else the file's time.

Everything here is common practice of cameras, phones and messengers, no published source.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, timezone, tzinfo

from flockcare.core.dates import PartialDate
from flockcare.photos.intake import Taken
from flockcare.photos.models import DateSource, Precision

# Before this there were no such files: an earlier date comes from a clock that was never set.
EARLIEST_YEAR = 1990
# Where clocks begin again that lost their power: for days they go on from there.
RESET_YEARS = frozenset({1990, 1995, 2000, 2001})
# A camera's clock may be set for another time zone.
CLOCK_AHEAD = timedelta(days=1)
# Where a browser does not know a file's time it gives the present.
FRESH = timedelta(minutes=2)

_DAY = r"(?P<year>(?:19|20)\d\d)(?P<dash>[-_.]?)(?P<month>\d\d)(?P=dash)(?P<day>\d\d)"
_TIME = r"(?P<hour>\d\d)(?P<dot>[-_.:]?)(?P<minute>\d\d)(?P=dot)(?P<second>\d\d)"
# IMG_20230514_173005.jpg, 20230514173005123.jpg, 2023-05-14 17.30.05.jpg, 2023-05-14 at 17.30.05
_MOMENT = re.compile(rf"(?<!\d){_DAY}(?:[-_ T]|\s+at\s+)?{_TIME}(?:\d{{3}})?(?!\d)")
# IMG-20230514-WA0003.jpg, 2023-05-14.jpg, 2023-05-14 hens (3).jpg
_ONLY_DAY = re.compile(rf"(?<!\d){_DAY}(?!\d)")
_IN_UTC = re.compile(r"PXL_\d{8}_\d{9}")  # from memory: these count in UTC, the others locally


@dataclass(frozen=True)
class Dated:
    """``taken``: the earliest moment that ``precision`` allows, None when nothing is known."""

    taken: datetime | None
    precision: Precision
    source: DateSource

    def fields(self) -> dict:
        """As the fields of a photo."""
        return {
            "taken": self.taken,
            "taken_precision": self.precision,
            "taken_source": self.source,
        }


UNDATED = Dated(None, Precision.UNKNOWN, DateSource.NONE)


def date_of(
    *, camera: Taken | None, name: str, modified: datetime | None, zone: tzinfo, now: datetime
) -> Dated:
    """The best date there is for a picture that was not sent the day it was taken.

    ``zone``: where local times without an offset are meant. A date of the future, or from before
    there were such files, is no date.
    """
    return _first_that_can_be(
        (_by_camera(camera, zone), by_file_name(name, zone), _by_file_time(modified, now)), now
    )


def by_camera(camera: Taken | None, *, zone: tzinfo, now: datetime) -> Dated:
    """The date that the camera wrote, unless its clock was plainly wrong."""
    return _first_that_can_be((_by_camera(camera, zone),), now)


def _first_that_can_be(found: Iterable[Dated | None], now: datetime) -> Dated:
    for dated in found:
        if dated and dated.taken.year >= EARLIEST_YEAR and dated.taken <= now + CLOCK_AHEAD:
            return dated
    return UNDATED


def _by_camera(camera: Taken | None, zone: tzinfo) -> Dated | None:
    if camera is None:
        return None
    local, offset = camera
    if _is_reset(local):
        return None
    moment = local.replace(tzinfo=zone if offset is None else timezone(offset))
    return Dated(moment, Precision.MOMENT, DateSource.CAMERA)


def _is_reset(local: datetime) -> bool:
    """Whether a clock says what it says after its battery was changed: the first hour of a year, or
    the first month of a year in which clocks begin.
    """
    first_hour = local.month == local.day == 1 and local.hour == 0
    return first_hour or (local.year in RESET_YEARS and local.month == 1)


def by_file_name(name: str, zone: tzinfo) -> Dated | None:
    """The date in a file's name, to the second or to the day; None when there is none."""
    for match in _MOMENT.finditer(name):
        if local := _moment(match):
            moment = local.replace(tzinfo=UTC if _IN_UTC.search(name) else zone)
            return Dated(moment, Precision.MOMENT, DateSource.FILE_NAME)
    for match in _ONLY_DAY.finditer(name):
        if local := _moment(match):
            return Dated(local.replace(tzinfo=zone), Precision.DAY, DateSource.FILE_NAME)
    return None


def _moment(match: re.Match) -> datetime | None:
    """None for digits that look like a date and are none."""
    found = match.groupdict()
    parts = ("year", "month", "day", "hour", "minute", "second")
    try:
        return datetime(*(int(found[part]) for part in parts if part in found))  # noqa: DTZ001
    except ValueError:
        return None


def _by_file_time(modified: datetime | None, now: datetime) -> Dated | None:
    if modified is None or modified > now - FRESH:
        return None
    return Dated(modified, Precision.MOMENT, DateSource.FILE_TIME)


def by_hand(partial: PartialDate, zone: tzinfo) -> Dated:
    """A day, month or year that a keeper gave."""
    if partial.day:
        precision = Precision.DAY
    else:
        precision = Precision.MONTH if partial.month else Precision.YEAR
    return Dated(_midnight(partial.first(), zone), precision, DateSource.HAND)


def _midnight(day: date, zone: tzinfo) -> datetime:
    return datetime(day.year, day.month, day.day, tzinfo=zone)
