"""A bird's timeline: what lies where along time, whatever it is drawn on.

``timeline_svg`` draws it for the screen, ``timeline_paper`` for print. Places along time are
shares of its days: 0 where the first begins, 1 where the last ends.
"""

from __future__ import annotations

import datetime as dt
import enum
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

from flockcare.drawing.dates import WEEK, add_months, day_position, span_words

DAY = dt.timedelta(1)
FEET = {"left": "Left foot", "right": "Right foot"}


@dataclass(frozen=True, slots=True)
class Window:
    """The local days from ``first`` to ``last``, both included."""

    first: dt.date
    last: dt.date
    zone: dt.tzinfo

    @property
    def moments(self) -> tuple[dt.datetime, dt.datetime]:
        """From the first moment of the first day until just before that of the day after."""
        return tuple(
            dt.datetime.combine(day, dt.time(), self.zone).astimezone(dt.UTC)
            for day in (self.first, self.last + DAY)
        )

    @property
    def days(self) -> int:
        return (self.last - self.first).days + 1


class Mark(NamedTuple):
    """One thing at one time: a foot that was checked, care given, a weighing, a photo.

    ``lane`` is the row it stands in, ``kind`` its shape; ``label`` says it in words without the
    date; ``short`` is written beside the mark; ``value`` is a score, or what a curve runs through.
    Marks of one time and one ``url`` are one record.
    """

    at: dt.datetime | dt.date
    lane: str
    kind: str
    label: str = ""
    url: str = ""
    by: str = ""
    short: str = ""
    value: float = 0.0
    picture: str = ""


class Band(NamedTuple):
    """A period, such as living in a house: None means always before, or still."""

    since: dt.date | None
    until: dt.date | None
    label: str
    short: str
    url: str = ""


class Period(NamedTuple):
    """A state of the bird herself: the first and the last day; None is still."""

    since: dt.date
    until: dt.date | None
    label: str
    url: str = ""
    by: str = ""


class Bar(NamedTuple):
    """A case of one foot: the first and the last check that saw it, and the clear ones around it.

    ``clear_before``, ``clear_after``: None where there is none.
    """

    lane: str
    first: dt.datetime
    last: dt.datetime
    clear_before: dt.date | None
    clear_after: dt.date | None
    worst: int
    label: str = ""


class Placed(NamedTuple):
    """A mark with its share of the time and its local day as an ordinal."""

    mark: Mark
    share: float
    day: int


class Extent(NamedTuple):
    """Where a case lies: ``seen`` from check to check, and how far it may reach on each side.

    Pairs of shares within 0–1; None for what does not reach into the time that is shown.
    ``open``: where the line begins that says it was not seen clear since.
    """

    began: tuple[float, float] | None
    seen: tuple[float, float] | None
    healed: tuple[float, float] | None
    open: float | None


@dataclass(frozen=True, slots=True)
class Timeline:
    window: Window
    marks: Sequence[Mark] = ()
    bands: Sequence[Band] = ()
    bars: Sequence[Bar] = ()
    periods: Sequence[Period] = ()

    def place(self, mark: Mark) -> Placed:
        position = day_position(mark.at, self.window.zone)
        return Placed(mark, self._share(position), int(position))

    def lanes(self) -> dict[str, list[Placed]]:
        """The marks by lane, in the order in which they were given; the feet always."""
        lanes: dict[str, list[Placed]] = {foot: [] for foot in FEET}
        for mark in self.marks:
            lanes.setdefault(mark.lane, []).append(self.place(mark))
        return lanes

    def edges(self, first: dt.date | None, last: dt.date | None) -> tuple[float, float]:
        """Shares at which whole days begin and end, cut to what is shown."""
        start = self._share(first.toordinal()) if first else 0.0
        end = self._share(last.toordinal() + 1) if last else 1.0
        return cut(start), cut(end)

    def extent(self, bar: Bar) -> Extent:
        zone = self.window.zone

        def share(at: dt.date | None) -> float | None:
            return at and self._share(day_position(at, zone))

        begins, start, end, heals = map(
            share, (bar.clear_before, bar.first, bar.last, bar.clear_after)
        )
        return Extent(
            _within(begins, start),
            (cut(start), cut(end)) if start <= 1 and end >= 0 else None,
            _within(end, heals),
            cut(end) if heals is None else None,
        )

    def _share(self, position: float) -> float:
        return (position - self.window.first.toordinal()) / self.window.days


def cut(share: float) -> float:
    return 0.0 if share < 0 else 1.0 if share > 1 else share


def _within(start: float | None, end: float | None) -> tuple[float, float] | None:
    if start is None or end is None or cut(end) <= cut(start):
        return None
    return cut(start), cut(end)


def usual_gap(places: Sequence[Placed]) -> float:
    """The share of the time between neighbours that half of them keep; 1 where there are none."""
    gaps = sorted(after.share - before.share for before, after in pairwise(places))
    return gaps[len(gaps) // 2] if gaps else 1.0


def with_room(places: Iterable[Placed], room: float) -> list[Placed]:
    """Of checks of a foot those whose score can be written, the worst first, ``room`` apart."""
    written: list[Placed] = []
    for placed in sorted(places, key=lambda placed: (-placed.mark.value, placed.share)):
        if all(abs(placed.share - other.share) >= room for other in written):
            written.append(placed)
    return written


def names_with_room(
    places: Sequence[Placed], width: Callable[[str], float], gap: float
) -> list[tuple[Placed, float]]:
    """The newest of these and those before it whose ``short`` has room, each with its middle."""
    named, free = [], 2.0
    for placed in reversed(places):
        half = width(placed.mark.short) / 2
        middle = min(1 - half, max(half, placed.share))
        if middle + half <= free:
            free = middle - half - gap
            named.append((placed, middle))
    return named


class Zoom(enum.StrEnum):
    YEAR = "year"
    SEASON = "season"
    MONTH = "month"

    @property
    def months(self) -> int:
        return {Zoom.YEAR: 12, Zoom.SEASON: 3, Zoom.MONTH: 1}[self]


@dataclass(frozen=True, slots=True)
class Stretch:
    """What a screen shows: whole months that end with the day ``window.last``."""

    zoom: Zoom
    window: Window

    @property
    def words(self) -> str:
        return span_words(self.window.first, self.window.last)

    @classmethod
    def ending(cls, last: dt.date, zoom: Zoom, zone: dt.tzinfo) -> Stretch:
        return cls(zoom, Window(add_months(last + DAY, -zoom.months), last, zone))

    @property
    def earlier(self) -> dt.date:
        """The last day of the stretch before this one."""
        return self.window.first - DAY

    @property
    def later(self) -> dt.date:
        """The last day of the stretch after this one."""
        return add_months(self.window.last + DAY, self.zoom.months) - DAY

    def slots(self) -> list[tuple[dt.date, dt.date]]:
        """The stretch cut into months (of a year), weeks (of a season) or days, from its end.

        What is left over at the beginning of a season belongs to its first week.
        """
        first, after = self.window.first, self.window.last + DAY
        if self.zoom is Zoom.YEAR:
            starts = [add_months(after, -count) for count in range(12, 0, -1)]
        else:
            step = WEEK if self.zoom is Zoom.SEASON else 1
            weeks = self.window.days // step
            starts = [after - count * step * DAY for count in range(weeks, 0, -1)]
            starts[0] = first
        return list(zip(starts, [start - DAY for start in [*starts[1:], after]], strict=True))
