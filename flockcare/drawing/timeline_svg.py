"""The drawing of a bird's timeline: one row per foot, and rows for what else happened.

Places along time are percentages, heights are pixels. So one drawing fills a phone and a wide
screen alike, and its letters have the same size on both. What fits is reckoned for a phone.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from itertools import pairwise
from typing import NamedTuple

from flockcare.drawing import marks as shapes
from flockcare.drawing.dates import DateTick, date_ticks, date_words, span_words
from flockcare.drawing.markup import Markup, element, join, percent, text
from flockcare.drawing.scales import Linear
from flockcare.drawing.timeline import (
    FEET,
    Band,
    Bar,
    Mark,
    Period,
    Placed,
    Stretch,
    Timeline,
    Zoom,
    names_with_room,
    usual_gap,
    with_room,
)

PHONE_WIDTH = 338  # Pixels for the time axis on a phone that is 390 wide.
LETTER = 6.6  # Pixels of a letter of the drawing's text, on average.
THUMB = 24
TARGET = 32  # Width of a touch target where there is room; WCAG 2.2, 2.5.8 asks for 24.
STRIP = 24
CLEAR_SCORES_UP_TO = 6  # Of more checks a ring alone says "clear": a sore stands out.
LANE_NAME, PERIOD = 22, 30  # Heights: the name of a lane, and a row of periods below it.
LANES = {
    **FEET,
    "signs": "Signs, notes",
    "care": "Care",
    "weight": "Weight",
    "photos": "Photos",
    "house": "House",
}
HEIGHTS = {"left": 68, "right": 68, "weight": 66, "photos": 58}
TICKS = {Zoom.YEAR: 13, Zoom.SEASON: 4, Zoom.MONTH: 6}


class Slot(NamedTuple):
    """Days that share one touch target, and the shares at which they begin and end."""

    first: dt.date
    last: dt.date
    left: float
    right: float


@dataclass(frozen=True)
class Frame:
    """What is drawn, and the address of the page for links that zoom in."""

    timeline: Timeline
    stretch: Stretch
    page: str

    @cached_property
    def slots(self) -> list[Slot]:
        edges = self.timeline.edges
        return [Slot(first, last, *edges(first, last)) for first, last in self.stretch.slots()]


@dataclass(slots=True)
class Group:
    """The marks of one lane that lie in one slot; touchable from ``left`` to ``right``."""

    slot: Slot
    places: list[Placed]
    left: float
    right: float

    @property
    def centre(self) -> float:
        return (self.slot.left + self.slot.right) / 2


def draw(timeline: Timeline, stretch: Stretch, *, page: str, title: str) -> Markup:
    """The whole SVG. ``page`` is the address of the bird's page, for links that zoom in."""
    frame = Frame(timeline, stretch, page)
    by_lane = timeline.lanes()
    lanes, top = [], STRIP if timeline.bands else 0
    for lane in LANES:
        if lane in by_lane:
            height = HEIGHTS.get(lane, 46)
            lanes.append(_lane(frame, lane, by_lane[lane], top))
            top += height
    if timeline.periods:
        lanes.append(_periods(frame, top))
        top += LANE_NAME + PERIOD * len(_rows_of(timeline.periods))
    bottom = top + 4
    return element(
        "svg",
        {
            "class": "timeline",
            "xmlns": "http://www.w3.org/2000/svg",
            "width": "100%",
            "height": bottom + 34,
            "role": "group",
            "aria-label": title,
        },
        _definitions(_radius(by_lane)),
        _bands(frame, bottom),
        _axis(frame, bottom),
        *lanes,
    )


@cache
def _definitions(radius: float) -> Markup:
    drawn = {
        "score-0": shapes.ring(radius),
        "score-1": shapes.half_ring(radius + 1),
        "score-2": shapes.disc(radius + 1),
        "care": shapes.cross(5),
        "vet": shapes.boxed_cross(7),
        "sign": shapes.triangle(5),
        "note": shapes.dot(3),
        "weight": shapes.dot(3),
        "change": shapes.diamond(6),
    }
    symbols = [
        element("g", {"id": f"tl-{kind}", "class": f"tl-{kind}"}, shape)
        for kind, shape in drawn.items()
    ]
    return element("defs", {}, *symbols, _fade("tl-in", (0, 1)), _fade("tl-out", (1, 0)))


def _fade(key: str, opacities: tuple[int, int]) -> Markup:
    stops = [
        element("stop", {"class": "fade", "offset": offset, "stop-opacity": opacity})
        for offset, opacity in zip((0, 1), opacities, strict=True)
    ]
    return element("linearGradient", {"id": key}, *stops)


def _radius(by_lane: dict[str, list[Placed]]) -> float:
    """As large as neighbours that lie as near as half of them do allow, to a tenth."""
    usual = min(usual_gap(by_lane[foot]) for foot in FEET)
    return round(min(5.5, max(2.5, 0.4 * PHONE_WIDTH * usual)), 1)


# States of the bird


def _periods(frame: Frame, top: int) -> Markup:
    drawn = [_text("lane-name", 0, top + 15, "State")]
    for number, row in enumerate(_rows_of(frame.timeline.periods)):
        drawn += [
            _period(frame, one, top + LANE_NAME + number * PERIOD, first=one is row[0])
            for one in row
        ]
    return element("g", {}, *drawn)


def _rows_of(periods: Sequence[Period]) -> list[list[Period]]:
    """Each in the first row in which it overlaps with none; given in the order they begin."""
    rows: list[list[Period]] = []
    for one in periods:
        for row in rows:
            if row[-1].until and row[-1].until < one.since:
                row.append(one)
                break
        else:
            rows.append([one])
    return rows


def _period(frame: Frame, one: Period, top: int, *, first: bool) -> Markup:
    start, end = frame.timeline.edges(one.since, one.until)
    room = int((end - start) * PHONE_WIDTH / LETTER) - 1
    until = f" until {date_words(one.until)}" if one.until else ""
    place = {"x": percent(start), "width": percent(end - start), "y": top}
    drawn = [
        element("title", {}, f"{one.label} from {date_words(one.since)}{until}"),
        element("rect", {"class": "state", **place, "height": PERIOD - 4, "rx": 4}),
    ]
    before = int(start * PHONE_WIDTH / LETTER) - 1
    if room < len(one.label) <= before and first:
        drawn.append(_text("state-name", start, top + 18, one.label, anchor="end", dx=-5))
    elif room > 2:
        drawn.append(_text("state-name", start, top + 18, _shortened(one.label, room), dx=5))
    return element("a", {"href": one.url}, *drawn) if one.url else element("g", {}, *drawn)


# Bands behind and the axis


def _bands(frame: Frame, bottom: int) -> Markup:
    return join(
        _band(frame, band, number, bottom) for number, band in enumerate(frame.timeline.bands)
    )


def _band(frame: Frame, band: Band, number: int, bottom: int) -> Markup:
    start, end = frame.timeline.edges(band.since, band.until)
    room = int((end - start) * PHONE_WIDTH / LETTER) - 1
    place = {"x": percent(start), "width": percent(end - start)}
    parity = "odd" if number % 2 else "even"
    drawn = [
        element("title", {}, f"{band.label}{_from_to(band)}"),
        element("rect", {"class": f"behind {parity}", **place, "y": 0, "height": bottom}),
        element("rect", {"class": f"strip {parity}", **place, "y": 0, "height": STRIP - 3}),
    ]
    if room > 2:
        drawn.append(_text("band-name", start, 15, _shortened(band.short, room), dx=5))
    if start > 0:
        edge = percent(start)
        drawn.append(
            element("line", {"class": "edge", "x1": edge, "x2": edge, "y1": 0, "y2": bottom})
        )
    if band.url:
        return element("a", {"href": band.url}, *drawn)
    return element("g", {}, *drawn)


def _shortened(name: str, room: int) -> Markup:
    """The letters that fit a phone, and the others for a screen twice as wide."""
    if len(name) <= room:
        return text(name)
    kept, rest = name[: room - 1], name[room - 1 : 2 * room]
    dots, more = ({"class": kind} for kind in ("on-narrow", "on-wide"))
    return join([kept, element("tspan", dots, "…"), element("tspan", more, rest)])


def _from_to(band: Band) -> str:
    since = f" from {date_words(band.since)}" if band.since else ""
    return since + (f" until {date_words(band.until)}" if band.until else "")


def _axis(frame: Frame, bottom: int) -> Markup:
    window = frame.timeline.window
    ticks = date_ticks(window.first, window.last, TICKS[frame.stretch.zoom])
    drawn = [element("line", {"class": "axis", "x1": 0, "x2": "100%", "y1": bottom, "y2": bottom})]
    free = 2.0
    for tick in reversed(ticks):
        share = frame.timeline.edges(tick.on, None)[0]
        # The year in which it begins gives way to a new year that begins close by.
        with_year = bool(tick.year) and (free - share) * PHONE_WIDTH > 5 * LETTER
        free = share if with_year else free
        drawn.append(_tick(tick, share, bottom, with_year=with_year))
    return element("g", {"aria-hidden": "true"}, *drawn)


def _tick(tick: DateTick, share: float, bottom: int, *, with_year: bool) -> Markup:
    place = percent(share)
    drawn = [
        element(
            "line", {"class": "tick", "x1": place, "x2": place, "y1": STRIP - 3, "y2": bottom + 6}
        )
    ]
    if share * PHONE_WIDTH + len(tick.label) * LETTER <= PHONE_WIDTH + 4:
        drawn.append(_text("tick-name", share, bottom + 16, tick.label, dx=3))
        if with_year:
            drawn.append(_text("tick-year", share, bottom + 31, tick.year, dx=3))
    return join(drawn)


# Lanes


def _lane(frame: Frame, lane: str, places: list[Placed], top: int) -> Markup:
    middle = top + HEIGHTS.get(lane, 46) - (20 if lane != "photos" else 26)
    name = LANES[lane] if places else f"{LANES[lane]}: not checked in this period"
    drawn = [_text("lane-name", 0, top + 15, name)]
    if lane in FEET:
        drawn.append(
            element("line", {"class": "base", "x1": 0, "x2": "100%", "y1": middle, "y2": middle})
        )
        drawn += [_bar(frame, bar, middle) for bar in frame.timeline.bars if bar.lane == lane]
    groups = _groups(
        frame, places, days=3 if lane == "photos" and frame.stretch.zoom is Zoom.MONTH else 1
    )
    if lane == "weight":
        drawn.append(_weights(frame, places, groups, top + 26, top + 58))
    elif lane == "photos":
        drawn += [_photo_link(frame, group, middle) for group in groups]
    else:
        drawn += [
            _link(frame, group, (middle - 20, 40), _symbols(group.places, middle))
            for group in groups
        ]
    if lane in FEET:
        drawn.append(_scores(places, middle - 15, only_sore=len(places) > CLEAR_SCORES_UP_TO))
    return element("g", {}, *drawn)


def _groups(frame: Frame, places: list[Placed], days: int = 1) -> list[Group]:
    """Marks sorted into the slots, with the width that each group may be touched on."""
    slots = frame.slots
    if days > 1:
        parts = (slots[start : start + days] for start in range(0, len(slots), days))
        slots = [Slot(part[0].first, part[-1].last, part[0].left, part[-1].right) for part in parts]
    following = iter(slots)
    groups: list[Group] = []
    last = -1
    for placed in places:
        if placed.day <= last:
            groups[-1].places.append(placed)
            continue
        while placed.day > last:
            slot = next(following)
            last = slot.last.toordinal()
        groups.append(Group(slot, [placed], slot.left, slot.right))
    _widen(groups)
    return groups


def _widen(groups: list[Group]) -> None:
    """Let each group reach for a whole touch target, but at most half-way to the next."""
    half = TARGET / 2 / PHONE_WIDTH
    middles = [(one.centre + other.centre) / 2 for one, other in pairwise(groups)]
    # Not strict: without any group there is no place between two.
    for group, before, after in zip(groups, [-half, *middles], [*middles, 1 + half], strict=False):
        group.left = max(before, min(group.left, group.centre - half))
        group.right = min(after, max(group.right, group.centre + half))


def _link(frame: Frame, group: Group, rows: tuple[int, int], drawn: list[Markup]) -> Markup:
    """One link around the marks of a group, touchable on its whole width."""
    top, height = rows
    address, title = _target(frame, group)
    return Markup(
        f'<a href="{text(address)}"><title>{text(title)}</title><rect class="hit"'
        f' x="{percent(group.left)}" width="{percent(group.right - group.left)}"'
        f' y="{top}" height="{height}"/>{join(drawn)}</a>'
    )


def _target(frame: Frame, group: Group) -> tuple[str, str]:
    """Where a group leads, and its name: the record itself, else nearer, else its table row."""
    newest = group.places[-1]
    mark = newest.mark
    day = dt.date.fromordinal(newest.day)
    if len(group.places) == 1:
        by = f" ({mark.by})" if mark.by else ""
        return mark.url or f"#{row_id(day)}", f"{date_words(day)}: {mark.label}{by}"
    slot = group.slot
    title = f"{span_words(slot.first, slot.last)}: {_summary(group)}"
    if frame.stretch.zoom is Zoom.MONTH:
        return f"#{row_id(day)}", title
    until = slot.last
    if frame.stretch.zoom is Zoom.SEASON:
        # The week in the middle of the month that opens.
        until = min(until + dt.timedelta(11), frame.timeline.window.last)
    return f"{frame.page}?zoom=month&until={until}#timeline", f"{title}. Open this month."


def row_id(day: dt.date) -> str:
    """The table row of a day's newest record, for links that mean several records."""
    return f"on-{day.isoformat()}"


def _summary(group: Group) -> str:
    lane, count = group.places[0].mark.lane, len(group.places)
    if lane in FEET:
        worst = max(int(placed.mark.value) for placed in group.places)
        return f"{FEET[lane].lower()}, {count} checks, worst score {worst}"
    return f"{count} × {LANES[lane].lower()}"


def _symbols(places: list[Placed], middle: int) -> list[Markup]:
    """The shapes of a group, the worst on top."""
    if len(places) > 1:
        places = sorted(places, key=lambda placed: placed.mark.value or 0)
    return [_use(mark.kind, share, middle) for mark, share, _ in places]


def _use(kind: str, share: float, y: float) -> Markup:
    # Written out, as are the links: there are hundreds, and nothing here is typed by anyone.
    return Markup(f'<use href="#tl-{kind}" x="{percent(share)}" y="{y:.4g}"/>')


def _scores(places: list[Placed], y: int, *, only_sore: bool) -> Markup:
    """The scores in figures above their marks, the worst first where not all have room."""
    wanted = [placed for placed in places if placed.mark.value or not only_sore]
    written = with_room(wanted, 14 / PHONE_WIDTH)
    return element(
        "g", {"aria-hidden": "true"}, *(_score(mark, share, y) for mark, share, _ in written)
    )


def _score(mark: Mark, share: float, y: int) -> Markup:
    return Markup(
        f'<text class="score tl-{mark.kind}" x="{percent(share)}" y="{y}" text-anchor="middle">'
        f"{text(mark.short)}</text>"
    )


def _bar(frame: Frame, bar: Bar, y: int) -> Markup:
    """A bar from the first to the last look that saw it; fading where nobody knows."""
    tone, extent = f"worst-{bar.worst}", frame.timeline.extent(bar)
    drawn = [element("title", {}, bar.label)]
    for kind, span in (("lead-in", extent.began), ("tail", extent.healed)):
        if span:
            place = {"x": percent(span[0]), "width": percent(span[1] - span[0])}
            place |= {"y": y - 9, "height": 18}
            drawn.append(element("rect", {"class": f"{tone} {kind}", **place}))
    if extent.open is not None:
        drawn.append(_line(f"{tone} unseen", (extent.open, 1.0), y))
    if extent.seen:
        drawn += [_line(f"{tone} {kind}", extent.seen, y) for kind in ("case-edge", "case")]
    return element("g", {}, *drawn)


def _line(kind: str, span: tuple[float, float], y: int) -> Markup:
    place = {"x1": percent(span[0]), "x2": percent(span[1]), "y1": y, "y2": y}
    return element("line", {"class": kind, **place})


def _weights(frame: Frame, places: list[Placed], groups: list[Group], top: int, low: int) -> Markup:
    values = [placed.mark.value for placed in places]
    height = Linear(min(values), max(values), low, top + 12)
    points = [(share, height(mark.value)) for mark, share, _ in places]
    drawn = [
        element(
            "line",
            {"class": "curve", "x1": percent(x1), "y1": y1, "x2": percent(x2), "y2": y2},
        )
        for (x1, y1), (x2, y2) in pairwise(points)
    ]
    drawn += [
        _link(
            frame,
            group,
            (top - 8, low - top + 16),
            [_use(mark.kind, share, height(mark.value)) for mark, share, _ in group.places],
        )
        for group in groups
    ]
    drawn += _weight_names(places, points)
    return join(drawn)


def _weight_names(places: list[Placed], points: list[tuple[float, float]]) -> Iterator[Markup]:
    """Weights in words, clear of the curve."""
    for placed, middle in names_with_room(places, _width, 0.02):
        near = _width(placed.mark.short) / 2 + 0.01
        y = min(height for place, height in points if abs(place - middle) <= near)
        yield _text("weight-name", middle, y - 6, placed.mark.short, anchor="middle")


def _width(words: str) -> float:
    return len(words) * LETTER / PHONE_WIDTH


def _photo_link(frame: Frame, group: Group, middle: int) -> Markup:
    """The newest photo of a group as a small picture, and how many there are."""
    box = {
        "x": percent(group.centre),
        "y": middle - THUMB / 2,
        "width": THUMB,
        "height": THUMB,
        "transform": f"translate(-{THUMB // 2} 0)",
    }
    newest = group.places[-1].mark
    unsure = newest.kind.startswith("unsure")
    drawn = [
        element("image", {"href": newest.picture, **box, "preserveAspectRatio": "xMidYMid slice"}),
        element("rect", {"class": "thumb unsure" if unsure else "thumb", **box}),
    ]
    if unsure:
        drawn.append(_text("doubt", group.centre, middle + 5, "?", "middle"))
    if len(group.places) > 1:
        drawn.append(_text("count", group.centre, middle + 25, f"×{len(group.places)}", "middle"))
    return _link(frame, group, (middle - 16, 32), drawn)


def _text(
    kind: str,
    share: float,
    y: float,
    words: object,
    anchor: str | None = None,
    dx: int | None = None,
) -> Markup:
    return element(
        "text",
        {"class": kind, "x": percent(share), "y": y, "dx": dx, "text-anchor": anchor},
        words,
    )
