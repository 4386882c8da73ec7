"""Time axes in local dates: where a moment lies, which days to label, steps of whole months.

A day is one unit wide, also on the days on which the clocks change, so that the days of the
calendar stand evenly. Days are counted as ``date.toordinal()`` (proleptic Gregorian, ISO 8601).
"""

from __future__ import annotations

import calendar
import datetime as dt
from dataclasses import dataclass

WEEK = 7
MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]


@dataclass(frozen=True, slots=True)
class DateTick:
    """A day to mark on the axis; ``year`` is written where the year is first seen or changes."""

    on: dt.date
    label: str
    year: str = ""


def day_position(at: dt.datetime | dt.date, zone: dt.tzinfo) -> float:
    """The day of the local calendar plus the share of the day that the local clock shows.

    A plain date, which says nothing of the hour, lies at midday. Raises ValueError for a
    datetime without a time zone.
    """
    if not isinstance(at, dt.datetime):
        return at.toordinal() + 0.5
    if at.tzinfo is None:
        raise ValueError("a moment needs a time zone")
    local = at.astimezone(zone)
    seconds = (local.hour * 60 + local.minute) * 60 + local.second
    return local.toordinal() + seconds / 86400


def add_months(day: dt.date, months: int) -> dt.date:
    """The same day so many months on, or the last of a month that has no such day."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    month += 1
    return dt.date(year, month, min(day.day, calendar.monthrange(year, month)[1]))


def date_ticks(first: dt.date, last: dt.date, at_most: int) -> list[DateTick]:
    """Days, Mondays, firsts of months, quarters or years between two days, both included.

    The finest of these that gives at most ``at_most`` ticks. Raises ValueError when the days are
    in the wrong order or ``at_most`` is below 1.
    """
    if first > last or at_most < 1:
        raise ValueError("no ticks between these days")
    for days, label in _candidates(first, last):
        if len(days) <= at_most:
            return _with_years(days, label)
    return []


def _candidates(first: dt.date, last: dt.date):
    span = (last - first).days + 1
    # Longer spans are not worth listing day by day.
    if span <= 400:
        yield [first + dt.timedelta(step) for step in range(span)], _day
        monday = first + dt.timedelta(-first.weekday() % WEEK)
        yield (
            [monday + dt.timedelta(step) for step in range(0, (last - monday).days + 1, WEEK)],
            _day,
        )
    for months in (1, 3):
        yield _month_starts(first, last, months), _month
    for years in (1, 2, 5, 10, 20, 50, 100):
        yield _month_starts(first, last, 12 * years), _nothing


def _month_starts(first: dt.date, last: dt.date, step: int) -> list[dt.date]:
    count = first.year * 12 + first.month - 1 + (first.day > 1)
    end = last.year * 12 + last.month - 1
    return [
        dt.date(index // 12, index % 12 + 1, 1)
        for index in range(count + (-count) % step, end + 1, step)
    ]


def _with_years(days: list[dt.date], label) -> list[DateTick]:
    ticks, year = [], None
    for day in days:
        ticks.append(DateTick(day, label(day), str(day.year) if day.year != year else ""))
        year = day.year
    return ticks


def _day(day: dt.date) -> str:
    return f"{day.day} {MONTHS[day.month - 1]}"


def _month(day: dt.date) -> str:
    return MONTHS[day.month - 1]


def _nothing(day: dt.date) -> str:
    return ""


def date_words(day: dt.date) -> str:
    """``14 May 2026``."""
    return f"{_day(day)} {day.year}"


def short_words(day: dt.date, today: dt.date) -> str:
    """``14 May``, with the year where it is not that of ``today``."""
    return _day(day) if day.year == today.year else date_words(day)


def up_to_words(day: dt.date, today: dt.date) -> str:
    """``up to and including 14 May``, as ``short_words`` has the day."""
    return f"up to and including {short_words(day, today)}"


def span_words(first: dt.date, last: dt.date) -> str:
    """``15 Apr – 14 May 2026``; each year written once where both days share it."""
    if first == last:
        return date_words(first)
    start = _day(first) if first.year == last.year else date_words(first)
    return f"{start} – {date_words(last)}"
