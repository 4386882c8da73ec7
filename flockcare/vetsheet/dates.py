"""Many dates in few words, ages, and cutting lists without silence."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Sequence
from itertools import groupby
from typing import TypeVar

from flockcare.core.dates import PartialDate
from flockcare.drawing.dates import MONTHS, date_words

T = TypeVar("T")
DAY = dt.timedelta(1)
RUN = 3  # So many days on end are written as a span.


def days_in_words(days: Sequence[dt.date]) -> str:
    """``3, 5–9, 12 (2×) Mar, 2 Apr 2026``: every day, however many, each month written once."""
    times = Counter(days)
    years = []
    for year, of_year in groupby(sorted(times), key=lambda day: day.year):
        months = [
            f"{', '.join(_runs(list(of_month), times))} {MONTHS[month - 1]}"
            for month, of_month in groupby(of_year, key=lambda day: day.month)
        ]
        years.append(f"{', '.join(months)} {year}")
    return "; ".join(years)


def _runs(days: list[dt.date], times: Counter) -> list[str]:
    runs: list[list[dt.date]] = []
    for day in days:
        if runs and day - runs[-1][-1] == DAY and times[day] == times[runs[-1][-1]] == 1:
            runs[-1].append(day)
        else:
            runs.append([day])
    words = []
    for run in runs:
        if len(run) >= RUN:
            words.append(f"{run[0].day}–{run[-1].day}")
        else:
            words += [f"{day.day}{_times(times[day])}" for day in run]
    return words


def _times(count: int) -> str:
    return f" ({count}×)" if count > 1 else ""


def age_in_words(hatched: str, on: dt.date) -> str:
    """``3 years 2 months``; a rough age where only the month or the year of hatching is known."""
    partial = PartialDate.parse(hatched)
    months = (on.year - partial.year) * 12 + on.month - (partial.month or 7)
    if partial.day and on.day < partial.day:
        months -= 1
    months = max(0, months)
    if partial.month is None:
        years = max(0, on.year - partial.year)
        return f"about {counted(years, 'year')}" if years else "less than a year"
    about = "" if partial.day else "about "
    if partial.day and months == 0:
        return counted((on - partial.first()).days, "day")
    years, rest = divmod(months, 12)
    words = [counted(years, "year")] if years else []
    if rest or not years:
        words.append(counted(rest, "month"))
    return about + " ".join(words)


def counted(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"


def ordinal(count: int) -> str:
    """``1st``, ``22nd``, ``113th``."""
    ending = {1: "st", 2: "nd", 3: "rd"}.get(count % 10, "th")
    return f"{count}{'th' if 11 <= count % 100 <= 13 else ending}"


def newest(rows: Sequence[T], most: int, what: str) -> tuple[Sequence[T], str]:
    """The last ``most`` of ``rows`` (in time order), and a sentence about the others."""
    if len(rows) <= most:
        return rows, ""
    return rows[-most:], f"The newest {most} of {len(rows)} {what} are shown."


def first_and_newest(rows: Sequence[T], most: int, what: str) -> tuple[Sequence[T], str]:
    """The same with the first of them, which says how it began."""
    if len(rows) <= most:
        return rows, ""
    shown = [rows[0], *rows[len(rows) - most + 1 :]]
    return shown, f"The first and the newest {most - 1} of {len(rows)} {what} are shown."


def spread(rows: Sequence[T], most: int) -> list[T]:
    """At most ``most`` of ``rows``, evenly from the first to the last."""
    if len(rows) <= most:
        return list(rows)
    if most < 2:
        return list(rows[-most:]) if most else []
    return [rows[round(place * (len(rows) - 1) / (most - 1))] for place in range(most)]


def day_words(at: dt.datetime, zone: dt.tzinfo) -> str:
    return date_words(at.astimezone(zone).date())
