"""A timeline on paper, as shapes that a page and a PDF draw alike.

Told apart by shape and not by colour, for printers and copiers know black only. Places are in
points (1/72 inch), y downwards from the top.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from typing import NamedTuple

from flockcare.drawing.dates import date_ticks
from flockcare.drawing.scales import Linear
from flockcare.drawing.timeline import (
    FEET,
    Bar,
    Placed,
    Timeline,
    names_with_room,
    usual_gap,
    with_room,
)

GUTTER = 58.0  # For the names of the rows.
LETTER = 0.5  # Width of a letter by its size, on average.
SMALL, USUAL = 6.5, 7.5
FOOT_ROW, ROW, WEIGHT_ROW, STRIP = 34.0, 15.0, 34.0, 13.0
# What stands in a row of its own, by kind of mark.
ROWS = {"sign": "Signs", "care": "Care", "vet": "Vet, medicine", "photo": "Photos"}


# --- Shapes


class Line(NamedTuple):
    x1: float
    y1: float
    x2: float
    y2: float
    tone: str = "ink"
    width: float = 0.6
    dash: tuple[float, ...] = ()


class Box(NamedTuple):
    x: float
    y: float
    width: float
    height: float
    fill: str = ""
    stroke: str = ""
    dash: tuple[float, ...] = ()


class Disc(NamedTuple):
    """``filled`` is the share of it that is black from the right: 0, 0.5 or 1."""

    x: float
    y: float
    radius: float
    filled: float = 1


class Polygon(NamedTuple):
    points: tuple[tuple[float, float], ...]
    tone: str = "ink"


class Words(NamedTuple):
    x: float
    y: float
    text: str
    size: float = USUAL
    anchor: str = "start"
    bold: bool = False
    tone: str = "ink"


Shape = Line | Box | Disc | Polygon | Words


@dataclass(slots=True)
class Drawing:
    """``names``: of the rows, in the first ``GUTTER`` points, apart so that they can stay in sight
    where the rest is moved along."""

    width: float
    height: float = 0.0
    shapes: list[Shape] = field(default_factory=list)
    names: list[Words] = field(default_factory=list)


# --- Laying it out


def lay_out(timeline: Timeline, width: float) -> Drawing:
    """The drawing for a page whose lines are ``width`` points long."""
    return _Layout(timeline, width).drawn()


class _Layout:
    def __init__(self, timeline: Timeline, width: float):
        self.timeline, self.lanes = timeline, timeline.lanes()
        self.left, self.right = GUTTER, width - 4
        self.drawing = Drawing(width)
        self.top = 0.0

    def drawn(self) -> Drawing:
        rows: list[Shape] = []
        if self.timeline.bands:
            rows += self._stays()
        begin = self.top
        for foot in FEET:
            rows += self._foot(foot)
        for kind, name in ROWS.items():
            if places := self._of_kind(kind):
                rows += self._signs(kind, name, places)
        if "weight" in self.lanes:
            rows += self._weights(self.lanes["weight"])
        self.drawing.shapes += [*self._axis(begin), *rows]
        self.drawing.height = self.top + 22
        return self.drawing

    def _of_kind(self, kind: str) -> list[Placed]:
        marks = map(self.timeline.place, self.timeline.marks)
        return [placed for placed in marks if placed.mark.kind == kind and 0 <= placed.share <= 1]

    def x(self, share: float) -> float:
        return self.left + share * (self.right - self.left)

    def _name(self, name: str, y: float) -> None:
        self.drawing.names.append(Words(0, y, name, bold=True))

    def _axis(self, begin: float) -> Iterator[Shape]:
        window = self.timeline.window
        bottom = self.top + 2
        yield Line(self.left, bottom, self.right, bottom, width=0.8)
        free = 2.0
        for tick in reversed(date_ticks(window.first, window.last, 14)):
            share, _ = self.timeline.edges(tick.on, None)
            place = self.x(share)
            yield Line(place, begin, place, bottom + 3, "line", 0.5)
            words = f"{tick.label} {tick.year}".strip()
            room = min((free - share) * (self.right - self.left), self.right - place)
            for text in (words, tick.label):
                if text and len(text) * LETTER * SMALL + 2 <= room:
                    yield Words(place + 1, bottom + 9, text, SMALL, tone="muted")
                    free = share
                    break

    def _stays(self) -> Iterator[Shape]:
        self._name("House", self.top + 9)
        for number, band in enumerate(self.timeline.bands):
            start, end = map(self.x, self.timeline.edges(band.since, band.until))
            tone = "soft" if number % 2 else "pale"
            yield Box(start, self.top, end - start, STRIP - 2, tone, "line")
            name = _fitting(band.short, end - start - 4)
            if name:
                yield Words(start + 2.5, self.top + 8.2, name, SMALL)
        for placed in self.lanes.get("house", ()):
            x, y = self.x(placed.share), self.top + (STRIP - 2) / 2
            yield Polygon(((x, y - 4), (x + 4, y), (x, y + 4), (x - 4, y)))
        self.top += STRIP

    def _foot(self, foot: str) -> Iterator[Shape]:
        places = self.lanes[foot]
        middle = self.top + 21
        self._name(FEET[foot], middle + 2.5)
        yield Line(self.left, middle, self.right, middle, "line", 0.5)
        for bar in self.timeline.bars:
            if bar.lane == foot:
                yield from self._bar(bar, middle)
        if not places:
            yield Words(self.left + 3, middle - 4, "not checked in this period", tone="muted")
        length = self.right - self.left
        gap = usual_gap(places) * length
        radius = min(3.6, max(1.4, 0.42 * gap))
        for mark, share, _ in sorted(places, key=lambda placed: placed.mark.value):
            x = self.x(share)
            if mark.value:
                yield Disc(x, middle, max(radius, 2.2), mark.value / 2)
            elif gap < 3:  # Too near for rings
                yield Line(x, middle - 2.5, x, middle + 2.5, "muted", 0.4)
            else:
                yield Disc(x, middle, radius, 0)
        sore = [placed for placed in places if placed.mark.value]
        for placed in with_room(sore, 6 / length):
            score = f"{placed.mark.value:g}"
            yield Words(self.x(placed.share), middle - 8.5, score, SMALL, "middle", bold=True)
        self.top += FOOT_ROW

    def _bar(self, bar: Bar, middle: float) -> Iterator[Shape]:
        y, height = middle - 6.5, 13.0
        extent = self.timeline.extent(bar)
        for span in filter(None, (extent.began, extent.healed)):
            start, end = map(self.x, span)
            yield Box(start, y + 1.5, end - start, height - 3, "", "muted", (1.5, 1.5))
        if extent.open is not None:
            yield Line(self.x(extent.open), middle, self.right, middle, "ink", 1.4, (0.6, 2.4))
        if extent.seen:
            start, end = map(self.x, extent.seen)
            tone = "deep" if bar.worst > 1 else "soft"
            yield Box(start - 3, y, end - start + 6, height, tone, "ink")

    def _signs(self, kind: str, name: str, places: list[Placed]) -> Iterator[Shape]:
        y = self.top + 7
        self._name(name, y + 2.5)
        for placed in places:
            yield from _sign(kind, self.x(placed.share), y)
        self.top += ROW

    def _weights(self, places: list[Placed]) -> Iterator[Shape]:
        grams = [placed.mark.value for placed in places]
        height = Linear(min(grams), max(grams), self.top + WEIGHT_ROW - 6, self.top + 13)
        self._name("Weight", self.top + 21)
        points = [(self.x(placed.share), height(placed.mark.value)) for placed in places]
        for (x1, y1), (x2, y2) in pairwise(points):
            yield Line(x1, y1, x2, y2, "muted", 0.7)
        for x, y in points:
            yield Disc(x, y, 1.5)
        length = self.right - self.left
        width = LETTER * SMALL / length
        named = names_with_room(places, lambda words: len(words) * width, 3 / length)
        for placed, middle in named:
            y = height(placed.mark.value) - 3.5
            yield Words(self.x(middle), y, placed.mark.short, SMALL, "middle")
        self.top += WEIGHT_ROW


def _fitting(name: str, room: float) -> str:
    letters = int(room / (LETTER * SMALL))
    if len(name) <= letters:
        return name
    return name[: letters - 1] + "…" if letters > 2 else ""


def _sign(kind: str, x: float, y: float) -> Iterator[Shape]:
    if kind == "care":
        yield Line(x - 2.6, y, x + 2.6, y, "ink", 1.3)
        yield Line(x, y - 2.6, x, y + 2.6, "ink", 1.3)
    elif kind == "vet":
        yield Box(x - 3, y - 3, 6, 6, "ink")
        yield Line(x - 1.9, y, x + 1.9, y, "paper", 1.1)
        yield Line(x, y - 1.9, x, y + 1.9, "paper", 1.1)
    elif kind == "sign":
        yield Polygon(((x, y - 3), (x + 3, y + 2.6), (x - 3, y + 2.6)))
    else:
        yield Box(x - 2.4, y - 2, 4.8, 4, "paper", "ink")


LEGEND = (
    ("score 0, clear (a stroke where checks are many)", (Disc(4, 4, 3.2, 0),)),
    ("score 1", (Disc(4, 4, 3.2, 0.5),)),
    ("score 2", (Disc(4, 4, 3.2, 1),)),
    ("sore as seen", (Box(0, 0.5, 8, 7, "soft", "ink"),)),
    ("began or healed in here", (Box(0, 1, 8, 6, "", "muted", (1.5, 1.5)),)),
    ("not seen clear since", (Line(0, 4, 8, 4, "ink", 1.4, (0.6, 2.4)),)),
    ("change of the house", (Polygon(((4, 0.5), (7.5, 4), (4, 7.5), (0.5, 4))),)),
)
