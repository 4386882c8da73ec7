"""A house drawn to scale from the side, with the birds' landings in it.

One scale holds for heights and level distances. Names and figures stand beside what they are of;
where they would cover each other everything has a letter instead, and a key below.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from string import ascii_uppercase

from flockcare.drawing.markup import Markup, element
from flockcare.drawing.markup import text as escaped
from flockcare.drawing.scales import nice_ticks
from flockcare.housing.elevation.boxes import Board, Box, around, nearest, text_width
from flockcare.housing.elevation.frame import Frame, plan_of
from flockcare.housing.elevation.pieces import line, rect, text
from flockcare.housing.elevation.shell import beds, hen, hen_cm, shell
from flockcare.housing.elevation.things import along_arc, arc, thing
from flockcare.housing.flags import Finding
from flockcare.housing.layout import NO_BEDDING, RAMP, Layout, Place, bedding_of, bedding_words
from flockcare.housing.routes import Leg, Route, next_legs, ways_down
from flockcare.housing.units import MM, bare_unit, length_text, number_text, short_inches
from flockcare.people.models import Units

ROW = 15  # From line to line.
DISC = 16
ARC_STEPS = 24  # So many pieces of a curve letters keep clear of.
USUAL_KG = 2.0


@dataclass(frozen=True, slots=True)
class Size:
    """For a screen: ``width`` in user units, which are pixels on a screen as wide as that."""

    name: str
    width: float
    tallest: float
    most: float  # Pixels per centimetre.
    axis: float = 34
    far: int = 64  # How far a name may stand from its thing.
    grounds: bool = True  # A line for what lies on the ground.


NARROW = Size("narrow", 340, 300, 2.0)
BROAD = Size("broad", 960, 450, 3.2, far=130)
# Above the fields that change it, where all of it has to stay in sight.
IN_SIGHT = Size("narrow", 340, 240, 2.0, grounds=False)
# Beside a table on a wide screen.
HALF = Size("broad", 640, 400, 2.6, far=90)
SMALL = Size("small", 112, 68, 1.0, axis=2)


def short_length(cm: float, units: str) -> str:
    """A length as short as a drawing needs it: ``47.5 cm`` or ``18½″``, rounded as elsewhere."""
    if units != Units.IMPERIAL:
        return length_text(cm, unit="cm", units=units)
    return short_inches(cm * float(MM["cm"]))


def leg_words(leg: Leg, units: str) -> str:
    """``60 cm, 47°``: drop and angle of a landing."""
    angle = "" if leg.angle is None else f", {leg.angle:.0f}°"
    return f"{short_length(leg.drop_cm, units)}{angle}"


def hardest_leg(routes: list[Route]) -> Leg | None:
    """The landing with the largest drop that no bird can spare herself."""
    legs = [route.hardest for route in routes]
    return max(legs, key=lambda leg: (leg.drop_cm, leg.angle or 0), default=None)


def hardest_words(layout: Layout, units: str) -> str:
    """``Lower roost to floor, 70 cm, 41°``: the worst landing there; empty where there is none."""
    leg = hardest_leg(ways_down(layout))
    return f"{leg.start.name} to {leg.to_name}, {leg_words(leg, units)}" if leg else ""


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


def draw(
    layout: Layout,
    found: list[Finding],
    *,
    units: str,
    title: str,
    page: str = "",
    size: Size = NARROW,
    hen_kg: float | None = None,
) -> Markup:
    """The house as SVG; ``units`` are the flock's, ``title`` names it for those who listen.

    ``page`` is the address of the table behind it, where that stands on another page; ``hen_kg``
    what a hen of this house weighs.
    """
    picture = Picture(layout, found, units=units, page=page, size=size, hen_kg=hen_kg or USUAL_KG)
    return picture.svg(title)


def small(layout: Layout) -> Markup:
    """The house as a small picture beside its name, which says all that is to be read."""
    frame = _frame(layout, SMALL)
    drawn = [piece for place in layout.stands for piece in thing(frame, place)[0]]
    top = -8.0
    return element(
        "svg",
        {
            "class": "elevation small",
            "viewBox": f"0 {top:.0f} {frame.width:.0f} {frame.ground - top + 8:.0f}",
            "width": frame.width,
            "height": float(round(frame.ground - top + 8)),
            "aria-hidden": "true",
        },
        *shell(frame),
        *drawn,
    )


def whereabouts(layout: Layout) -> dict[str, float]:
    """Where along the house each thing is drawn, in whole centimetres."""
    return {name: float(round(at)) for name, at in plan_of(layout).at.items()}


def _frame(layout: Layout, size: Size) -> Frame:
    return Frame(
        plan_of(layout), width=size.width, tallest=size.tallest, most=size.most, axis=size.axis
    )


@dataclass
class Label:
    """Letters at a box, and what they are of; ``rows`` of words and marks."""

    at: tuple[float, float]
    box: Box
    rows: list[list[str | Finding]]


@dataclass
class Lettering:
    """Where the letters of a drawing stand."""

    board: Board
    places: dict[str, Label] = field(default_factory=dict)
    arcs: list[Label] = field(default_factory=list)
    worst: Label | None = None
    letters: dict[str, str] = field(default_factory=dict)  # With a key; empty: names.

    @property
    def boxes(self) -> list[Box]:
        labels = [*self.places.values(), *self.arcs, *([self.worst] if self.worst else [])]
        return [label.box for label in labels]


class Picture:
    """All that a drawing is made of, before it is written."""

    def __init__(self, layout: Layout, found: list[Finding], *, units, page, size, hen_kg):
        self.layout, self.units, self.size, self.hen_kg = layout, units, size, hen_kg
        self.frame = _frame(layout, size)
        self.ids = {name: f"{page}#{key}" for name, key in row_ids(layout).items()}
        self.signs: dict[tuple[str, bool], list[Finding]] = {}
        for finding in found:
            for flag in finding.flags:
                self.signs.setdefault((flag.place, flag.on_leg), []).append(finding)
        self.things = {place.name: thing(self.frame, place) for place in layout.stands}
        # Onto a ramp at her own height is no jump, and from none does one begin.
        self.legs = [leg for leg in next_legs(layout) if leg.drop_cm > 0 and leg.start.kind != RAMP]
        self.worst = hardest_leg(ways_down(layout))
        self.jumps = list(self.legs)
        if self.worst and self.worst not in self.jumps:
            self.jumps.append(self.worst)
        self.board = self._board()
        self.hen_at = self._hen_at()
        self.lettering = self._named() or self._lettered()

    # Where letters stand

    def _board(self) -> Board:
        frame, plan = self.frame, self.frame.plan
        board = Board(Box(1, -34, frame.width - 1, frame.ground - 1))
        board.hatched = [box for _, box in beds(frame)]
        for place in self.layout.stands:
            board.taken += self._solid(place)
        for leg in self.jumps:
            for step in range(1, ARC_STEPS):
                x, y = along_arc(frame, leg, step / ARC_STEPS)
                board.taken.append(Box(x - 2, y - 2, x + 2, y + 2))
        top = frame.y(plan.raised_cm + plan.wall_cm)
        for cm in (0, plan.length_cm):
            board.taken.append(Box(frame.x(cm) - 3, top, frame.x(cm) + 5, frame.floor))
        board.taken.append(
            Box(frame.x(0) - 3, frame.floor - 1, frame.x(plan.length_cm) + 5, frame.floor + 4)
        )
        return board

    def _solid(self, place: Place) -> list[Box]:
        """What letters keep clear of; a slope is a row of small boxes."""
        box = self.things[place.name][1]
        if place.kind != RAMP:
            return [Box(box.left - 2, box.top - 2, box.right + 2, box.bottom + 1)]
        frame, (head, foot) = self.frame, self.frame.plan.ends(place)
        top, bottom = frame.spot(place)[1], frame.y(frame.plan.base_cm(place))
        spots = [
            (frame.x(head + (foot - head) * n / 10), top + (bottom - top) * n / 10)
            for n in range(11)
        ]
        return [Box(x - 4, y - 5, x + 4, y + 4) for x, y in spots]

    def _hen_at(self) -> tuple[float, float] | None:
        """On the floor inside where nothing else is, else on the ground outside."""
        frame, plan = self.frame, self.frame.plan
        high = hen_cm(self.hen_kg) * frame.scale
        outer = (-plan.run_cm, 0) if plan.run_left else (plan.length_cm, frame.high)
        boxes = []
        for (low, end), y in (((0, plan.length_cm), frame.floor), (outer, frame.ground)):
            left, right = frame.x(low) + 4, frame.x(end) - 4 - high
            steps = int(max(right - left, 0) / 6)
            tried = [left + (right - left) * n / max(steps, 1) for n in range(steps + 1)]
            boxes += [Box(x, y - high, x + high, y - 2) for x in reversed(tried) if right >= left]
        solid = Board(
            self.board.room, [box for place in self.layout.stands for box in self._solid(place)]
        )
        clear = solid.copy()
        clear.taken += [box for box in self.board.taken if box.right - box.left <= 4]
        box = clear.settle(boxes) or solid.settle(boxes)
        if box is None:
            return None
        self.board.taken.append(box)
        return (box.left + high / 2, box.bottom + 1)

    def _named(self) -> Lettering | None:
        """Every thing with its name; None where they do not fit."""
        drawn = Lettering(self.board.copy())
        for place in self.layout.stands:
            rows = [[place.name], self._of_place(place)]
            label = self._label(drawn.board, self._middle(place), rows, self.size.far)
            if label is None:
                return None
            drawn.places[place.name] = label
        if self.worst:
            drawn.worst = self._worst_label(drawn.board, f"Hardest: {self._worst_words()}")
            if drawn.worst is None:
                return None
        for leg in self.legs:
            if leg == self.worst:
                continue
            marks = self.signs.get((leg.start.name, True), [])
            rows = [[f"↓ {leg_words(leg, self.units)}", *marks]]
            label = self._label(drawn.board, along_arc(self.frame, leg, 0.55), rows, 40)
            if label:
                drawn.arcs.append(label)
            elif marks:
                return None
        return drawn

    def _lettered(self) -> Lettering:
        """Every thing with a letter, told in the key below."""
        drawn = Lettering(self.board.copy())
        names = [place.name for place in self.layout.stands]
        drawn.letters = dict(zip(names, _letters_of(len(names)), strict=True))
        if self.worst:
            drawn.worst = self._worst_label(drawn.board, self._worst_words())
        for place in self.layout.stands:
            x, y = self._middle(place)
            box = drawn.board.settle(around(x, y, DISC, DISC, far=90)) or self._anywhere(
                drawn, DISC, DISC, (x, y)
            )
            if box:
                drawn.places[place.name] = Label((x, y), box, [[drawn.letters[place.name]]])
        return drawn

    def _anywhere(self, drawn: Lettering, wide: float, high: float, near) -> Box | None:
        """The nearest box that covers no letters, though it may cover lines."""
        board = Board(drawn.board.room, drawn.boxes)
        room = board.room
        spots = [
            (left, top)
            for top in range(int(room.top), int(room.bottom - high), 8)
            for left in range(int(room.left), int(room.right - wide), 8)
        ]
        spots.sort(key=lambda spot: (spot[0] - near[0]) ** 2 + (spot[1] - near[1]) ** 2)
        box = board.settle(Box(x, y, x + wide, y + high) for x, y in spots)
        if box:
            drawn.board.taken.append(box)
        return box

    def _worst_label(self, board: Board, words: str) -> Label | None:
        row = [words, *self.signs.get((self.worst.start.name, True), [])]
        spots = [along_arc(self.frame, self.worst, share) for share in (0.5, 0.25, 0.75, 0.95)]
        tried = nearest(spots, sum(map(_width, row)) + 2, ROW - 2, far=100)
        box = board.settle(box for _, box in tried)
        at = next((spot for spot, each in tried if each == box), None)
        return Label(at, box, [row]) if box else None

    def _worst_words(self) -> str:
        return leg_words(self.worst, self.units)

    def _label(self, board: Board, at, rows, far: int) -> Label | None:
        wide = max(sum(map(_width, row)) for row in rows) + 2
        box = board.settle(around(*at, wide, len(rows) * ROW - 2, far=far))
        return Label(at, box, rows) if box else None

    def _middle(self, place: Place) -> tuple[float, float]:
        x, y = self.frame.spot(place)
        if place.kind == RAMP:
            middle = sum(self.frame.plan.ends(place)) / 2
            return self.frame.x(middle), y + place.height_cm * self.frame.scale / 2
        return x, y

    def _of_place(self, place: Place) -> list[str | Finding]:
        words = short_length(place.height_cm, self.units)
        return [words, *self.signs.get((place.name, False), [])]

    # Written

    def svg(self, title: str) -> Markup:
        frame, letters = self.frame, self.lettering
        drawn = [arc(frame, leg, worst=leg == self.worst) for leg in self.jumps]
        things = [self._thing(place) for place in reversed(self.layout.stands)]
        top = min([-8.0, *(box.top for box in letters.boxes)]) - 4
        bottom, below = self._below(frame.ground + 22)
        return element(
            "svg",
            {
                "class": f"elevation {self.size.name}",
                "xmlns": "http://www.w3.org/2000/svg",
                "viewBox": f"0 {top:.0f} {frame.width:.0f} {bottom - top:.0f}",
                "width": frame.width,
                "height": float(round(bottom - top)),
                "role": "group",
                "aria-label": title,
                "data-scale": f"{frame.scale:.4f}",
            },
            self._axis(),
            element("g", {"aria-hidden": "true"}, *shell(frame)),
            *([hen(frame, *self.hen_at, self.hen_kg)] if self.hen_at else []),
            *drawn,
            *things,
            *self._arc_words(),
            *below,
        )

    def _axis(self) -> Markup:
        frame, plan, unit = self.frame, self.frame.plan, bare_unit(self.units, "cm")
        per = float(MM[unit]) / 10
        high = (plan.wall_cm - 12 / frame.scale) / per  # None beside the eaves.
        drawn = []
        for tick in nice_ticks(0, high, max(2, int(plan.wall_cm * frame.scale / 24))):
            y = frame.y(plan.raised_cm + tick * per)
            drawn.append(line("grid", frame.x(0), y, frame.x(plan.length_cm), y))
            beside = 24 if plan.run_left else frame.x(0) - frame.thick - 4
            drawn.append(text("tick-name", beside, y + 4, f"{tick:.0f}", anchor="end"))
        return element("g", {"class": "axis", "aria-hidden": "true"}, *drawn)

    def _thing(self, place: Place) -> Markup:
        pieces, box = self.things[place.name]
        label = self.lettering.places.get(place.name)
        hit = Box(box.left - 4, box.top - 5, box.right + 4, max(box.bottom, box.top + 12) + 5)
        return element(
            "a",
            {"href": self.ids[place.name], "class": "thing", "data-thing": place.name},
            element("title", {}, self._spoken(place)),
            *(self._leader(label) if label else []),
            rect("hit", hit.left, hit.top, hit.right - hit.left, hit.bottom - hit.top, rx=4),
            *pieces,
            *(self._words(label) if label else []),
        )

    def _leader(self, label: Label) -> list[Markup]:
        """A line where the words stand apart from their thing."""
        (x, y), box = label.at, label.box
        to_x, to_y = min(max(x, box.left), box.right), min(max(y, box.top), box.bottom)
        away = ((x - to_x) ** 2 + (y - to_y) ** 2) ** 0.5
        return [line("leader", x, y, to_x, to_y)] if away > 12 else []

    def _words(self, label: Label) -> list[Markup]:
        box = label.box
        if self.lettering.letters:
            x, y = box.left + DISC / 2, box.top + DISC / 2
            letter = label.rows[0][0]
            return [
                element("circle", {"class": "letter", "cx": x, "cy": y, "r": DISC / 2 - 0.5}),
                text("letter-name", x, y + 4.2, letter, anchor="middle"),
            ]
        kinds = ["name", "height"]
        return [
            text(kind, box.left + 1, box.top + 11 + ROW * n, *_spans(row))
            for n, (kind, row) in enumerate(zip(kinds, label.rows, strict=True))
        ]

    def _arc_words(self) -> list[Markup]:
        drawn = [
            text("drop-name", label.box.left + 1, label.box.top + 11, *_spans(label.rows[0]))
            for label in self.lettering.arcs
        ]
        if worst := self.lettering.worst:
            words = text(
                "worst-name", worst.box.left + 1, worst.box.top + 11, *_spans(worst.rows[0])
            )
            drawn += [*self._leader(worst), words]
        return drawn

    def _spoken(self, place: Place) -> str:
        words = f"{place.name}, {short_length(place.height_cm, self.units)}"
        marks = [*self.signs.get((place.name, False), []), *self.signs.get((place.name, True), [])]
        return ". ".join([words, *(finding.rule.words for finding in marks)])

    # Below

    def _below(self, y: float) -> tuple[float, list[Markup]]:
        drawn = [self._scale_bar(y)]
        y += ROW + 8
        for place in self.layout.stands if self.lettering.letters else ():
            y, rows = self._line(y, place.name, self._key(place), "key-line", again=True)
            drawn += rows
        for ground in self.layout.grounds if self.size.grounds else ():
            marks = self.signs.get((ground.name, False), [])
            words = [ground_words(ground, self.units), *marks]
            y, rows = self._line(y, ground.name, words, "ground-line")
            drawn += rows
        if not self.layout.grounds:
            words = ["Floor: bedding not recorded", *self.signs.get(("floor", False), [])]
            for row in self._wrapped(words):
                drawn.append(text("ground-name", 4, y, *_spans(row)))
                y += ROW
        return y, drawn

    def _key(self, place: Place) -> list[str | Finding]:
        """``A Top roost, 130 cm ▲1, ↓ 60 cm, 47° ▲2``."""
        letter = self.lettering.letters[place.name]
        words: list[str | Finding] = [f"{letter} {place.name},", *self._of_place(place)]
        leg = next((leg for leg in self.legs if leg.start == place), None)
        told = self.lettering.worst and leg == self.worst
        if leg and leg.drop_cm and not told:
            marks = self.signs.get((place.name, True), [])
            words += [f"↓ {leg_words(leg, self.units)}", *marks]
        return words

    def _line(
        self, y: float, name: str, words, kind: str, *, again: bool = False
    ) -> tuple[float, list[Markup]]:
        """One link of one or more lines to the row of a place.

        ``again``: the place itself is drawn and leads there too, so that Tab stops once.
        """
        rows = self._wrapped(words)
        drawn = [
            text(kind, 4 if n == 0 else 22, y + ROW * n, *_spans(row)) for n, row in enumerate(rows)
        ]
        high = ROW * len(rows)
        hit = rect("hit", 0, y - ROW + 2, self.frame.width, high + 2)
        link = element(
            "a",
            {"href": self.ids[name], "tabindex": "-1" if again else None},
            element("title", {}, name + self._marks_spoken(name)),
            hit,
            *drawn,
        )
        return y + high + 4, [link]

    def _marks_spoken(self, name: str) -> str:
        marks = self.signs.get((name, False), [])
        return "".join(f". {finding.rule.words}" for finding in marks)

    def _wrapped(self, words: list[str | Finding]) -> list[list[str | Finding]]:
        """Rows as wide as the drawing; a line ends between words."""
        parts = [
            part
            for each in words
            for part in (each.split(" ") if isinstance(each, str) else [each])
        ]
        rows: list[list[str | Finding]] = [[]]
        used, most = 0.0, self.frame.width - 26
        for part in parts:
            letters = part if isinstance(part, str) else part.label
            wide = text_width(f"{letters} ", bold=not isinstance(part, str))
            if used + wide > most and rows[-1]:
                rows.append([])
                used = 0.0
            while isinstance(part, str) and text_width(part) > most:
                part = part[: len(part) * 2 // 3 - 1] + "…"
            rows[-1].append(part)
            used += wide
        return rows

    def _scale_bar(self, y: float) -> Markup:
        unit = bare_unit(self.units, "cm")
        per = float(MM[unit]) / 10
        most = 110 / self.frame.scale / per
        round_ones = (base * 10**power for power in range(4) for base in (1, 2, 5))
        length = max(each for each in round_ones if each <= most) * per
        words = f"{number_text(length, unit='cm', units=self.units)} {unit}, up and across"
        right = 4 + length * self.frame.scale
        drawn = [
            line("scale", 4, y, right, y),
            line("scale", 4, y - 4, 4, y + 4),
            line("scale", right, y - 4, right, y + 4),
            text("tick-name", right + 6, y + 4, words),
        ]
        return element("g", {"aria-hidden": "true"}, *drawn)


# Pieces


def _letters_of(count: int) -> list[str]:
    rounds = -(-count // len(ascii_uppercase))
    return [
        letter if n == 0 else f"{letter}{n + 1}"
        for n in range(rounds)
        for letter in ascii_uppercase
    ][:count]


def _width(part: str | Finding) -> float:
    """With the gap to what follows."""
    return text_width(part if isinstance(part, str) else part.label) + 4


def _spans(parts: list[str | Finding]) -> list[Markup | str]:
    """Words and marks one after the other, each mark in the tone of its kind."""
    written: list[Markup | str] = []
    for part in parts:
        if isinstance(part, str):
            written.append(escaped(part))
        else:
            written.append(element("tspan", {"class": f"mark-{part.rule.mark.key}"}, part.label))
        written.append(" ")
    return written[:-1]


__all__ = [
    *(
        "BROAD",
        "HALF",
        "IN_SIGHT",
        "NARROW",
        "Picture",
        "Size",
        "draw",
        "ground_words",
        "hardest_leg",
        "hardest_words",
    ),
    *("leg_words", "row_ids", "short_length", "small", "whereabouts"),
]
