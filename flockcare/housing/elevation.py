"""A house drawn to scale from the side: what stands how high, the steps down, what they land on.

One scale holds for heights and level distances. The places stand in one line, each as far before
the next lower one as its run says; a run that is not recorded is drawn as a broken gap.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from flockcare.drawing.markup import Markup, element, text
from flockcare.drawing.scales import Linear, nice_ticks
from flockcare.housing.flags import Finding
from flockcare.housing.layout import NO_BEDDING, Layout, Place, bedding_of, bedding_words
from flockcare.housing.routes import Leg, next_legs, spots
from flockcare.housing.units import MM, bare_unit, length_text, number_text, short_inches
from flockcare.people.models import Units

WIDTH = 340  # User units; pixels on a phone that is 390 wide.
AXIS = 30  # Room for the numbers of the heights.
RIGHT = 64  # Floor before the lowest step.
TALLEST = 300
LARGEST_SCALE, SMALLEST_SCALE = 1.8, 0.7  # Pixels per centimetre.
FEW, MORE_ROOM = 5, 60  # A house with more stands than these gets so much more width for each.
GAP_CM = 40  # Drawn where a run is not recorded.
LETTER, BOLD, ROW = 6.5, 7.2, 14  # Pixels of a letter on average, and from line to line.
LONGEST_NAME = 18


@dataclass(frozen=True, slots=True)
class Box:
    left: float
    top: float
    right: float
    bottom: float

    def meets(self, other: Box) -> bool:
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )

    def moved(self, down: float) -> Box:
        return Box(self.left, self.top + down, self.right, self.bottom + down)


class Frame:
    """Where things lie: centimetres to pixels, the same scale both ways."""

    def __init__(self, layout: Layout, legs: list[Leg], units: str):
        self.units = units
        self.at_cm = {name: spot.x_cm for name, spot in spots(layout, GAP_CM).items()}
        self.reach_cm = -min(self.at_cm.values(), default=0.0)
        self.top_cm = max((place.height_cm for place in layout.stands), default=30.0)
        labels = (leg_words(leg, units)[0] for leg in legs)
        self.left = AXIS + 12 + BOLD * max(map(len, labels), default=0)
        width = WIDTH + MORE_ROOM * max(0, len(legs) - FEW)
        room = width - self.left - RIGHT
        fitting = min(room / (self.reach_cm or 1), TALLEST / (self.top_cm or 1), LARGEST_SCALE)
        self.scale = max(fitting, SMALLEST_SCALE)
        self.width = max(width, self.left + self.reach_cm * self.scale + RIGHT)
        floor = self.top_cm * self.scale
        self.x = Linear(-self.reach_cm, -self.reach_cm + 1, self.left, self.left + self.scale)
        self.y = Linear(0, 1, floor, floor - self.scale)
        self.floor = floor
        self.taken: list[Box] = []

    def settle(self, boxes: Iterable[Box]) -> Box:
        """The first of these boxes that meets nothing taken before, else the first; now taken."""
        boxes = list(boxes)
        free = (box for box in boxes if not any(box.meets(other) for other in self.taken))
        settled = next(free, boxes[0])
        self.taken.append(settled)
        return settled


def short_length(cm: float, units: str) -> str:
    """A length as short as a drawing needs it: ``47.5 cm`` or ``18½″``, rounded as elsewhere."""
    if units != Units.IMPERIAL:
        return length_text(cm, unit="cm", units=units)
    return short_inches(cm * float(MM["cm"]))


def leg_words(leg: Leg, units: str) -> tuple[str, str]:
    """Drop and angle as they are written at a step down."""
    angle = "" if leg.angle is None else f"{leg.angle:.0f}°"
    return f"↓ {short_length(leg.drop_cm, units)}", angle


def ground_words(place: Place, units: str) -> str:
    """``Yard: wood chip 12 cm, damp``."""
    deep = place.bedding_depth_cm
    if bedding_of(place) == NO_BEDDING:
        deep = deep or None
    depth = length_text(deep, unit="cm", units=units)
    bedding = " ".join(filter(None, (bedding_words(place) or "bedding not recorded", depth)))
    return f"{place.name}: {', '.join(filter(None, (bedding, place.damp)))}"


def row_ids(layout: Layout) -> dict[str, str]:
    """The id of each place's row in the table behind the drawing, by its name, in order."""
    shown = [*layout.stands, *layout.grounds]
    rest = sorted(
        (place for place in layout.places if place not in shown), key=lambda place: place.name
    )
    return {place.name: f"place-{number}" for number, place in enumerate([*shown, *rest], 1)}


def draw(layout: Layout, found: list[Finding], *, units: str, title: str, page: str = "") -> Markup:
    """The house as SVG; ``units`` are the flock's, ``title`` names it for those who listen.

    ``page`` is the address of the table behind it, where that stands on another page.
    """
    legs = next_legs(layout)
    frame = Frame(layout, legs, units)
    signs = _signs(found)
    ids = {name: f"{page}#{key}" for name, key in row_ids(layout).items()}
    _keep_clear(frame, legs)
    drawn = [_descent(frame, leg) for leg in legs]
    drawn += [_place(frame, leg.start, signs, ids) for leg in reversed(legs)]
    drawn += [_drop(frame, leg, signs) for leg in reversed(legs)]
    top = min([box.top for box in frame.taken] + [0.0]) - ROW - 4
    bottom, below = _below(frame, layout, legs, signs, ids)
    return element(
        "svg",
        {
            "class": "elevation" if frame.width == WIDTH else "elevation wide",
            "xmlns": "http://www.w3.org/2000/svg",
            "viewBox": f"0 {top:.0f} {frame.width:.0f} {bottom - top:.0f}",
            "width": frame.width,
            "height": float(round(bottom - top)),
            "role": "group",
            "aria-label": title,
        },
        _axis(frame, top),
        _ground(frame, layout),
        *drawn,
        *below,
    )


def _signs(found: list[Finding]) -> dict[tuple[str, bool], list[Finding]]:
    """The findings by the name of the place, and whether they are of the way on from it."""
    signs: dict[tuple[str, bool], list[Finding]] = {}
    for finding in found:
        for flag in finding.flags:
            signs.setdefault((flag.place, flag.on_leg), []).append(finding)
    return signs


def _keep_clear(frame: Frame, legs: list[Leg]) -> None:
    """Letters keep clear of the bars and of the lines of the drops."""
    for leg in legs:
        x, y = _spot(frame, leg.start)
        low = frame.y(leg.to.height_cm if leg.to else 0.0)
        frame.taken += [Box(x - 6, y - 3, x + 6, y + 6), Box(x - 1, y, x + 1, low)]


def _spot(frame: Frame, place: Place) -> tuple[float, float]:
    return frame.x(frame.at_cm[place.name]), frame.y(place.height_cm)


# Above the floor


def _axis(frame: Frame, top: float) -> Markup:
    unit = bare_unit(frame.units, "cm")
    per = float(MM[unit]) / 10
    drawn = [_line("wall", AXIS, top + ROW, AXIS, frame.floor)]
    for tick in nice_ticks(0, frame.top_cm / per, max(2, int(frame.floor / 22))):
        y = frame.y(tick * per)
        drawn.append(_line("grid", AXIS - 4, y, frame.width, y))
        drawn.append(_text("tick-name", AXIS - 6, y + 4, f"{tick:.0f}", anchor="end"))
    drawn.append(_text("tick-name", AXIS - 6, top + 10, unit, anchor="end"))
    return element("g", {"aria-hidden": "true"}, *drawn)


def _descent(frame: Frame, leg: Leg) -> Markup:
    """The drop as an upright line, the way down as a slope with a point at its end."""
    x, y = _spot(frame, leg.start)
    low = frame.y(leg.to.height_cm if leg.to else 0.0)
    # By its run, which may end before the next place where several stand on one level.
    end = frame.x(frame.at_cm[leg.start.name] + (GAP_CM if leg.run_cm is None else leg.run_cm))
    kind = "slope" if leg.run_cm is not None else "slope unknown"
    return element(
        "g", {"aria-hidden": "true"}, _line("drop", x, y, x, low), _line(kind, x, y, end, low)
    )


def _place(frame: Frame, place: Place, signs: dict, ids: dict[str, str]) -> Markup:
    """A bar with its name, height and marks, all one link to its row in the table."""
    x, y = _spot(frame, place)
    wide = max((place.width_mm or 50) / 10 * frame.scale, 7.0)
    height = short_length(place.height_cm, frame.units)
    name, second = _short(place.name), [height, *_labels(signs, place, False)]
    length = max(BOLD * len(name), LETTER * _letters(second))
    left = min(x - 4, frame.width - length - 4)
    wanted = Box(left, y - 5 - 2 * ROW, left + length, y - 5)
    box = frame.settle(wanted.moved(step) for step in range(0, -400, -2))
    drawn = [
        element("title", {}, f"{place.name}, {height}{_spoken(signs, place.name, False)}"),
        element(
            "rect",
            {
                "class": "hit",
                "x": box.left - 4,
                "y": box.top,
                "width": box.right - box.left + 8,
                "height": y + 6 - box.top,
            },
        ),
        element(
            "rect",
            {
                "class": f"bar {place.kind.split()[0]}",
                "x": x - wide / 2,
                "y": y,
                "width": wide,
                "height": 5,
                "rx": 2.5 if place.edge == "rounded" else None,
            },
        ),
        _text("name", box.left, box.top + 11, name),
        _text("height", box.left, box.top + 25, *_spans(second)),
    ]
    if wanted.top - box.top > 4:
        drawn.append(_line("leader", x, y, max(box.left, min(x, box.right)), box.bottom + 1))
    return element("a", {"href": ids[place.name]}, *drawn)


def _drop(frame: Frame, leg: Leg, signs: dict) -> Markup:
    """The drop and angle, written left of the upright line."""
    x, y = _spot(frame, leg.start)
    low = frame.y(leg.to.height_cm if leg.to else 0.0)
    drop, angle = leg_words(leg, frame.units)
    second = [*filter(None, [angle]), *_labels(signs, leg.start, True)]
    rows = 2 if second else 1
    length = BOLD * max(len(drop), _letters(second))
    top = (y + low - rows * ROW) / 2
    left = Box(x - 4 - length, top, x - 4, top + rows * ROW)
    right = Box(x + 4, top, x + 4 + length, top + rows * ROW)
    near = sorted(range(-14, 15, 2), key=abs)
    # Rather below, under the way down, than up among the names.
    far = sorted(range(-240, 241, 2), key=lambda step: step if step > 0 else -4 * step)
    tried = [
        side.moved(step)
        for side, steps in ((left, near), (right, near), (left, far))
        for step in steps
    ]
    box = frame.settle([left, *(each for each in tried if each.bottom <= frame.floor)])
    side, at = ("end", x - 5) if box.left < x else ("start", x + 5)
    words = f"from {leg.start.name} to {leg.to_name}: {drop} {angle}"
    drawn = [
        element("title", {}, words + _spoken(signs, leg.start.name, True)),
        _text("drop-name", at, box.top + 11, drop, anchor=side),
    ]
    if second:
        drawn.append(_text("drop-name", at, box.top + 25, *_spans(second), anchor=side))
    if abs(box.top - top) > ROW:
        drawn.append(_line("leader", at, box.top + ROW, x, (y + low) / 2))
    return element("g", {}, *drawn)


# The floor and below


def _ground(frame: Frame, layout: Layout) -> Markup:
    """The floor, with what lies on it as deep as it is."""
    drawn = []
    for ground, (start, end) in zip(
        layout.grounds, _shares(frame, len(layout.grounds)), strict=True
    ):
        deep = (ground.bedding_depth_cm or 0) * frame.scale
        kind = "bedding" if ground.bedding_depth_cm else "bedding bare"
        place = {"x": start, "width": end - start, "y": frame.floor - deep, "height": deep + 3}
        drawn.append(element("rect", {"class": kind, **place}))
        if start > AXIS:
            drawn.append(_line("leader", start, frame.floor - deep, start, frame.floor + 6))
    drawn.append(_line("floor", AXIS, frame.floor, frame.width, frame.floor))
    return element("g", {"aria-hidden": "true"}, *drawn)


def _shares(frame: Frame, count: int) -> list[tuple[float, float]]:
    each = (frame.width - AXIS) / (count or 1)
    return [(AXIS + each * number, AXIS + each * (number + 1)) for number in range(count)]


def _below(frame, layout, legs, signs, ids) -> tuple[float, list[Markup]]:
    """The runs, what lies on the floor in words, and the scale; and where all of it ends."""
    frame.taken.clear()
    line = frame.floor + 14
    drawn = [_run(frame, leg, line) for leg in legs]
    y = max([box.bottom for box in frame.taken] + [frame.floor + 6]) + 6
    several = len(layout.grounds) > 1
    for number, ground in enumerate(layout.grounds, 1):
        if several:
            start, end = _shares(frame, len(layout.grounds))[number - 1]
            drawn.append(
                _text("patch", (start + end) / 2, frame.floor + 12, f"{number}", anchor="middle")
            )
        drawn.append(_ground_line(frame, ground, f"{number} " if several else "", y, signs, ids))
        y += 2 * ROW - 2
    if not layout.grounds:
        labels = [finding.label for finding in signs.get(("floor", False), [])]
        spans = _spans(["Floor: bedding not recorded", *labels])
        drawn.append(_text("ground-name", 6, y + 11, *spans))
        y += 2 * ROW - 2
    drawn.append(_scale_bar(frame, y + 4))
    return y + 24, drawn


def _run(frame: Frame, leg: Leg, line: float) -> Markup:
    """The run below the floor, where the drawing shows it."""
    start = frame.x(frame.at_cm[leg.start.name])
    end = frame.x(frame.at_cm[leg.start.name] + (GAP_CM if leg.run_cm is None else leg.run_cm))
    words = "?" if leg.run_cm is None else short_length(leg.run_cm, frame.units)
    half = LETTER * len(words) / 2 + 2
    middle = (start + end) / 2
    wanted = Box(middle - half, line + 3, middle + half, line + 3 + ROW)
    box = frame.settle(wanted.moved(step) for step in range(0, 200, ROW))
    kind = "run" if leg.run_cm is not None else "run unknown"
    drawn = [
        _line(kind, start, line, end, line),
        _line("run", start, line - 4, start, line + 4),
        _line("run", end, line - 4, end, line + 4),
        _text("run-name", middle, box.top + 11, words, anchor="middle"),
    ]
    return element("g", {"aria-hidden": "true"}, *drawn)


def _ground_line(frame, ground: Place, number: str, y: float, signs, ids) -> Markup:
    labels = _labels(signs, ground, False)
    words = number + ground_words(ground, frame.units)
    room = int((frame.width - 12) / LETTER) - _letters(labels) - 1
    drawn = [
        element("title", {}, words + _spoken(signs, ground.name, False)),
        element(
            "rect",
            {"class": "hit", "x": 0, "y": y - 5, "width": frame.width, "height": 2 * ROW - 2},
        ),
        _text("ground-name", 6, y + 11, *_spans([_short(words, room), *labels])),
    ]
    return element("a", {"href": ids[ground.name]}, *drawn)


def _scale_bar(frame: Frame, y: float) -> Markup:
    unit = bare_unit(frame.units, "cm")
    per = float(MM[unit]) / 10
    most = 110 / frame.scale / per
    round_ones = (base * 10**power for power in range(4) for base in (1, 2, 5))
    length = max(each for each in round_ones if each <= most) * per
    words = f"{number_text(length, unit='cm', units=frame.units)} {unit}, up and across"
    left = AXIS
    right = left + length * frame.scale
    drawn = [
        _line("scale", left, y, right, y),
        _line("scale", left, y - 4, left, y + 4),
        _line("scale", right, y - 4, right, y + 4),
        _text("tick-name", right + 6, y + 4, words),
    ]
    return element("g", {"aria-hidden": "true"}, *drawn)


# Pieces


def _labels(signs: dict, place: Place, on_leg: bool) -> list[Finding]:
    return signs.get((place.name, on_leg), [])


def _spoken(signs: dict, name: str, on_leg: bool) -> str:
    return "".join(f". {finding.rule.words}" for finding in signs.get((name, on_leg), []))


def _short(words: str, most: int = LONGEST_NAME) -> str:
    return words if len(words) <= most else words[: most - 1] + "…"


def _line(kind: str, x1: float, y1: float, x2: float, y2: float) -> Markup:
    return element("line", {"class": kind, "x1": x1, "y1": y1, "x2": x2, "y2": y2})


def _text(kind: str, x: float, y: float, *words: object, anchor: str | None = None) -> Markup:
    return element("text", {"class": kind, "x": x, "y": y, "text-anchor": anchor}, *words)


def _letters(parts: list[str | Finding]) -> int:
    """How many letters of room; the sign of a mark is as wide as two."""
    return sum(len(part) + 1 if isinstance(part, str) else len(part.label) + 2 for part in parts)


def _spans(parts: list[str | Finding]) -> list[Markup | str]:
    """Words and marks one after the other, each mark in the tone of its kind."""
    written: list[Markup | str] = []
    for part in parts:
        if isinstance(part, str):
            written.append(text(part))
        else:
            written.append(element("tspan", {"class": f"mark-{part.rule.mark.key}"}, part.label))
        written.append(" ")
    return written[:-1]
