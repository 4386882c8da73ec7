"""The timeline of the sheet, as shapes that an SVG and a PDF draw alike.

Told apart by shape and not by colour, for printers and copiers know black only. Places are in
points (1/72 inch), y downwards from the top.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from typing import NamedTuple

from flockcare.drawing.dates import date_ticks
from flockcare.drawing.scales import Linear

GUTTER = 58.0  # For the names of the rows.
LETTER = 0.5  # Width of a letter by its size, on average.
SMALL, USUAL = 6.5, 7.5
FOOT_ROW, ROW, WEIGHT_ROW, STRIP = 34.0, 15.0, 34.0, 13.0
FEET = {"left": "Left foot", "right": "Right foot"}
ROWS = {"signs": "Signs", "care": "Care", "vet": "Vet, medicine", "photos": "Photos"}


# --- What is drawn


class Look(NamedTuple):
    """One look at one foot; ``share`` is its place in the period, 0–1."""

    share: float
    score: int


class Bar(NamedTuple):
    """A case from the first to the last look that saw it, as shares of the period.

    ``begins``, ``heals``: the clear looks around it; None where there is none.
    """

    start: float
    end: float
    begins: float | None
    heals: float | None
    worst: int


class Weight(NamedTuple):
    share: float
    grams: int
    words: str


class Stay(NamedTuple):
    start: float
    end: float
    name: str


@dataclass(frozen=True, slots=True)
class Lanes:
    """All that the timeline shows of the days from ``first`` to ``last``."""

    first: dt.date
    last: dt.date
    looks: dict[str, tuple[Look, ...]]
    bars: dict[str, tuple[Bar, ...]]
    dots: dict[str, tuple[float, ...]]
    weights: tuple[Weight, ...]
    stays: tuple[Stay, ...]
    changes: tuple[float, ...]


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
    width: float
    height: float = 0.0
    shapes: list[Shape] = field(default_factory=list)


# --- Laying it out


def timeline(lanes: Lanes, width: float) -> Drawing:
    """The drawing for a page whose lines are ``width`` points long."""
    return _Timeline(lanes, width).drawn()


class _Timeline:
    def __init__(self, lanes: Lanes, width: float):
        self.lanes = lanes
        self.left, self.right = GUTTER, width - 4
        self.drawing = Drawing(width)
        self.top = 0.0

    def drawn(self) -> Drawing:
        rows: list[Shape] = []
        if self.lanes.stays:
            rows += self._stays()
        begin = self.top
        for foot in FEET:
            rows += self._foot(foot)
        for key, name in ROWS.items():
            if dots := self.lanes.dots.get(key):
                rows += self._dots(key, name, dots)
        if self.lanes.weights:
            rows += self._weights()
        self.drawing.shapes += [*self._axis(begin), *rows]
        self.drawing.height = self.top + 22
        return self.drawing

    def x(self, share: float) -> float:
        return self.left + share * (self.right - self.left)

    def _name(self, name: str, y: float) -> Words:
        return Words(0, y, name, bold=True)

    def _axis(self, begin: float) -> Iterator[Shape]:
        first, last = self.lanes.first, self.lanes.last
        days = (last - first).days + 1
        bottom = self.top + 2
        yield Line(self.left, bottom, self.right, bottom, width=0.8)
        free = 2.0
        for tick in reversed(date_ticks(first, last, 14)):
            share = (tick.on - first).days / days
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
        yield self._name("House", self.top + 9)
        for number, stay in enumerate(self.lanes.stays):
            start, end = self.x(stay.start), self.x(stay.end)
            tone = "soft" if number % 2 else "pale"
            yield Box(start, self.top, end - start, STRIP - 2, tone, "line")
            name = _fitting(stay.name, end - start - 4)
            if name:
                yield Words(start + 2.5, self.top + 8.2, name, SMALL)
        for share in self.lanes.changes:
            x, y = self.x(share), self.top + (STRIP - 2) / 2
            yield Polygon(((x, y - 4), (x + 4, y), (x, y + 4), (x - 4, y)))
        self.top += STRIP

    def _foot(self, foot: str) -> Iterator[Shape]:
        looks = self.lanes.looks.get(foot, ())
        middle = self.top + 21
        yield self._name(FEET[foot], middle + 2.5)
        yield Line(self.left, middle, self.right, middle, "line", 0.5)
        for bar in self.lanes.bars.get(foot, ()):
            yield from self._bar(bar, middle)
        if not looks:
            yield Words(self.left + 3, middle - 4, "not looked at in this time", tone="muted")
        radius, dense = self._radius(looks)
        for look in sorted(looks, key=lambda look: look.score):
            x = self.x(look.share)
            if look.score:
                yield Disc(x, middle, max(radius, 2.2), look.score / 2)
            elif dense:
                yield Line(x, middle - 2.5, x, middle + 2.5, "muted", 0.4)
            else:
                yield Disc(x, middle, radius, 0)
        yield from self._scores(looks, middle - 8.5)
        self.top += FOOT_ROW

    def _radius(self, looks) -> tuple[float, bool]:
        """As large as half of the neighbours allow; whether they are too near for rings."""
        gaps = sorted(self.x(b.share) - self.x(a.share) for a, b in pairwise(looks))
        usual = gaps[len(gaps) // 2] if gaps else 99.0
        return min(3.6, max(1.4, 0.42 * usual)), usual < 3

    def _bar(self, bar: Bar, middle: float) -> Iterator[Shape]:
        start, end = self.x(_cut(bar.start)), self.x(_cut(bar.end))
        y, height = middle - 6.5, 13.0
        for one, other in ((bar.begins, bar.start), (bar.end, bar.heals)):
            if one is None or other is None or other <= 0 or one >= 1:
                continue
            place, until = self.x(_cut(one)), self.x(_cut(other))
            yield Box(place, y + 1.5, until - place, height - 3, "", "muted", (1.5, 1.5))
        if bar.heals is None:
            yield Line(end, middle, self.right, middle, "ink", 1.4, (0.6, 2.4))
        if bar.start <= 1 and bar.end >= 0:
            tone = "deep" if bar.worst > 1 else "soft"
            yield Box(start - 3, y, end - start + 6, height, tone, "ink")

    def _scores(self, looks, y: float) -> Iterator[Shape]:
        """The scores of sore looks in figures, the worst first where not all have room."""
        taken: list[float] = []
        for look in sorted(looks, key=lambda look: (-look.score, look.share)):
            x = self.x(look.share)
            if look.score and all(abs(x - other) >= 6 for other in taken):
                taken.append(x)
                yield Words(x, y, str(look.score), SMALL, "middle", bold=True)

    def _dots(self, key: str, name: str, shares) -> Iterator[Shape]:
        y = self.top + 7
        yield self._name(name, y + 2.5)
        for share in shares:
            yield from _sign(key, self.x(share), y)
        self.top += ROW

    def _weights(self) -> Iterator[Shape]:
        weights = self.lanes.weights
        grams = [weight.grams for weight in weights]
        height = Linear(min(grams), max(grams), self.top + WEIGHT_ROW - 6, self.top + 13)
        yield self._name("Weight", self.top + 21)
        points = [(self.x(weight.share), height(weight.grams)) for weight in weights]
        for (x1, y1), (x2, y2) in pairwise(points):
            yield Line(x1, y1, x2, y2, "muted", 0.7)
        for x, y in points:
            yield Disc(x, y, 1.5)
        free = self.right
        for (x, y), weight in zip(reversed(points), reversed(weights), strict=True):
            half = len(weight.words) * LETTER * SMALL / 2
            centre = max(self.left + half, min(x, self.right - half))
            if centre + half <= free:
                free = centre - half - 3
                yield Words(centre, y - 3.5, weight.words, SMALL, "middle")
        self.top += WEIGHT_ROW


def _cut(share: float) -> float:
    return min(1.0, max(0.0, share))


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
    elif kind == "signs":
        yield Polygon(((x, y - 3), (x + 3, y + 2.6), (x - 3, y + 2.6)))
    else:
        yield Box(x - 2.4, y - 2, 4.8, 4, "paper", "ink")


LEGEND = (
    ("score 0, clear (a stroke where looks are many)", (Disc(4, 4, 3.2, 0),)),
    ("score 1", (Disc(4, 4, 3.2, 0.5),)),
    ("score 2", (Disc(4, 4, 3.2, 1),)),
    ("sore as seen", (Box(0, 0.5, 8, 7, "soft", "ink"),)),
    ("began or healed in here", (Box(0, 1, 8, 6, "", "muted", (1.5, 1.5)),)),
    ("not seen clear since", (Line(0, 4, 8, 4, "ink", 1.4, (0.6, 2.4)),)),
    ("change of the house", (Polygon(((4, 0.5), (7.5, 4), (4, 7.5), (0.5, 4))),)),
)
