"""One bird's timeline in a period: which period, what happened in it, and as a table."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from operator import itemgetter

from flockcare.birds.layers import states, weighings
from flockcare.birds.models import Bird
from flockcare.care.layers import care_given
from flockcare.drawing.dates import date_words, day_position
from flockcare.drawing.timeline import Band, Mark, Period, Stretch, Timeline, Window, Zoom
from flockcare.drawing.timeline_svg import row_id
from flockcare.feet.cases import Case
from flockcare.feet.layers import bar, checks
from flockcare.housing.layers import stays
from flockcare.photos.layers import photos

# What a timeline is made of: functions of a bird and a window, each with a query of its own. The
# order is that in which what lies at one time is drawn.
LAYERS = (checks, weighings, photos, stays, care_given, states)
# No record here is older; see core.dates.
OLDEST = dt.date(1950, 1, 1)


def choose_stretch(
    zoom: str, until: str, *, last: dt.date, zone: dt.tzinfo, default: Zoom = Zoom.SEASON
) -> Stretch:
    """The stretch that an address asks for; what it does not say well is taken as not said.

    ``last`` is the newest day there is to show.
    """
    try:
        chosen = Zoom(zoom)
    except ValueError:
        chosen = default
    try:
        day = dt.date.fromisoformat(until)
    except ValueError:
        day = last
    if not OLDEST < day <= last:
        day = last
    return Stretch.ending(day, chosen, zone)


def timeline(bird: Bird, window: Window, cases: Iterable[Case]) -> Timeline:
    """What happened to her; ``cases`` are all she ever had. The bird must come with her flock."""
    items = [item for layer in LAYERS for item in layer(bird, window)]
    return Timeline(
        window,
        [item for item in items if isinstance(item, Mark)],
        [item for item in items if isinstance(item, Band)],
        [bar(case) for case in cases if case.touches(window)],
        [item for item in items if isinstance(item, Period)],
    )


def newest_day(shown: Timeline) -> dt.date | None:
    """Of what is recorded of the bird herself; what happened in her house counts for nothing."""
    zone = shown.window.zone
    places = [day_position(mark.at, zone) for mark in shown.marks if mark.lane != "house"]
    return dt.date.fromordinal(int(max(places))) if places else None


@dataclass(frozen=True)
class Row:
    """A record of the table: its day in words, what it says and by whom."""

    when: str
    what: str
    by: str = ""
    url: str = ""
    picture: str = ""
    key: str = ""


def table_rows(shown: Timeline) -> list[Row]:
    """The newest record first; at the bottom what was always so."""
    zone = shown.window.zone
    records: dict[object, list[Mark]] = {}
    for mark in shown.marks:
        # Without an address there is nothing to tell that two marks are one record.
        records.setdefault((mark.at, mark.url or mark.label), []).append(mark)
    placed = [(day_position(marks[0].at, zone), marks) for marks in records.values()]
    # A move and a state stand before the records of their day.
    spans = (*shown.bands, *shown.periods)
    placed += [(span.since.toordinal() if span.since else 0, span) for span in spans]
    placed.sort(key=itemgetter(0), reverse=True)
    rows, newest = [], None
    for position, record in placed:
        if isinstance(record, Band | Period):
            rows.append(_span_row(record))
            continue
        day = dt.date.fromordinal(int(position))
        rows.append(_row(day, record, key=row_id(day) if day != newest else ""))
        newest = day
    return rows


def _row(day: dt.date, marks: list[Mark], key: str) -> Row:
    first, what = marks[0], "; ".join(mark.label for mark in marks)
    return Row(date_words(day), what, first.by, first.url, first.picture, key)


def _span_row(span: Band | Period) -> Row:
    until = f", until {date_words(span.until)}" if span.until else ""
    since = date_words(span.since) if span.since else "always"
    by = span.by if isinstance(span, Period) else ""
    return Row(since, span.label + until, by, url=span.url)
