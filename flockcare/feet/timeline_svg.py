"""The drawing of a bird's timeline: one row per foot, and rows for what else happened.

Places along time are percentages, heights are pixels. So one drawing fills a phone and a wide
screen alike, and its letters have the same size on both. What fits is reckoned for a phone.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from typing import NamedTuple

from flockcare.birds.layers import Band, Mark
from flockcare.drawing import marks as shapes
from flockcare.drawing.dates import (
    DateTick,
    date_ticks,
    date_words,
    day_position,
    span_words,
)
from flockcare.drawing.markup import Markup, element, join, percent, text
from flockcare.drawing.scales import Linear
from flockcare.feet.cases import Case
from flockcare.feet.timeline import Story, Zoom, row_id
from flockcare.photos.models import Foot

PHONE_WIDTH = 338  # Pixels for the time axis on a phone that is 390 wide.
LETTER = 6.6  # Pixels of a letter of the drawing's text, on average.
THUMB = 24
TARGET = 32  # Width of a touch target where there is room; WCAG 2.2, 2.5.8 asks for 24.
STRIP = 24
LANES = {
    "left": "Left foot",
    "right": "Right foot",
    "signs": "Signs, notes",
    "care": "Care",
    "weight": "Weight",
    "photos": "Photos",
    "house": "House",
}
FEET = {foot.value: foot.label for foot in Foot}
HEIGHTS = {"left": 68, "right": 68, "weight": 66, "photos": 58}
TICKS = {Zoom.YEAR: 13, Zoom.SEASON: 4, Zoom.MONTH: 6}


class Placed(NamedTuple):
    """A mark with its share of the width and its local day as an ordinal."""

    mark: Mark
    share: float
    day: int


class Slot(NamedTuple):
    """Days that share one touch target, and the shares at which they begin and end."""

    first: dt.date
    last: dt.date
    left: float
    right: float


class Frame:
    """Where things lie along time, and the links of the page."""

    def __init__(self, story: Story, page: str):
        self.story, self.page = story, page
        self.zoom = story.stretch.zoom
        window = story.stretch.window
        self.zone, self.last_day = window.zone, window.last
        self.start, self.days = window.first.toordinal(), window.days
        self.slots = [
            Slot(first, last, *self.edges(first, last)) for first, last in story.stretch.slots()
        ]

    def share(self, at: dt.datetime | dt.date) -> float:
        return (day_position(at, self.zone) - self.start) / self.days

    def place(self, mark: Mark) -> Placed:
        position = day_position(mark.at, self.zone)
        return Placed(mark, (position - self.start) / self.days, int(position))

    def edges(self, first: dt.date | None, last: dt.date | None) -> tuple[float, float]:
        """Shares at which whole days begin and end, cut to the window."""
        start = (first.toordinal() - self.start) / self.days if first else 0.0
        end = (last.toordinal() + 1 - self.start) / self.days if last else 1.0
        return _cut(start), _cut(end)


def _cut(share: float) -> float:
    return 0.0 if share < 0 else 1.0 if share > 1 else share


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


def draw(story: Story, *, page: str, title: str) -> Markup:
    """The whole SVG. ``page`` is the address of the bird's page, for links that zoom in."""
    frame = Frame(story, page)
    by_lane: dict[str, list[Placed]] = {"left": [], "right": []}
    for mark in story.marks:
        by_lane.setdefault(mark.lane, []).append(frame.place(mark))
    lanes, top = [], STRIP if story.bands else 0
    for lane in LANES:
        if lane in by_lane:
            height = HEIGHTS.get(lane, 46)
            lanes.append(_lane(frame, lane, by_lane[lane], top))
            top += height
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
    gaps = sorted(
        after.share - before.share for lane in FEET for before, after in pairwise(by_lane[lane])
    )
    usual = gaps[len(gaps) // 2] if gaps else 1.0
    return round(min(5.5, max(2.5, 0.4 * PHONE_WIDTH * usual)), 1)


# Bands behind and the axis


def _bands(frame: Frame, bottom: int) -> Markup:
    return join(_band(frame, band, number, bottom) for number, band in enumerate(frame.story.bands))


def _band(frame: Frame, band: Band, number: int, bottom: int) -> Markup:
    start, end = frame.edges(band.since, band.until)
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
    window = frame.story.stretch.window
    ticks = date_ticks(window.first, window.last, TICKS[frame.zoom])
    drawn = [element("line", {"class": "axis", "x1": 0, "x2": "100%", "y1": bottom, "y2": bottom})]
    free = 2.0
    for tick in reversed(ticks):
        share = frame.edges(tick.on, None)[0]
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
    name = LANES[lane] if places else f"{LANES[lane]}: not looked at in this time"
    drawn = [_text("lane-name", 0, top + 15, name)]
    if lane in FEET:
        drawn.append(
            element("line", {"class": "base", "x1": 0, "x2": "100%", "y1": middle, "y2": middle})
        )
        drawn += [_case(frame, case, middle) for case in frame.story.cases if case.foot == lane]
    groups = _groups(frame, places, days=3 if lane == "photos" and frame.zoom is Zoom.MONTH else 1)
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
        drawn.append(_scores(places, middle - 15, only_sore=len(places) > 2 * len(groups)))
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
    if frame.zoom is Zoom.MONTH:
        return f"#{row_id(day)}", title
    until = slot.last
    if frame.zoom is Zoom.SEASON:
        # The week in the middle of the month that opens.
        until = min(until + dt.timedelta(11), frame.last_day)
    return f"{frame.page}?zoom=month&until={until}#timeline", f"{title}. Open this month."


def _summary(group: Group) -> str:
    lane, count = group.places[0].mark.lane, len(group.places)
    if lane in FEET:
        worst = max(int(placed.mark.value) for placed in group.places)
        return f"{FEET[lane]}, {count} looks, worst score {worst}"
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
    taken: list[float] = []
    written = []
    room = 14 / PHONE_WIDTH
    for mark, share, _ in sorted(places, key=lambda placed: -placed.mark.value):
        if only_sore and not mark.value:
            break
        if all(abs(share - other) >= room for other in taken):
            taken.append(share)
            written.append(_score(mark, share, y))
    return element("g", {"aria-hidden": "true"}, *written)


def _score(mark: Mark, share: float, y: int) -> Markup:
    return Markup(
        f'<text class="score tl-{mark.kind}" x="{percent(share)}" y="{y}" text-anchor="middle">'
        f"{text(mark.short)}</text>"
    )


def _case(frame: Frame, case: Case, y: int) -> Markup:
    """A bar from the first to the last look that saw it; fading where nobody knows."""
    episode, tone = case.episode, f"worst-{case.worst}"
    start, end = frame.share(case.first.at), frame.share(case.last.at)
    drawn = [element("title", {}, case_words(case))]
    if episode.last_clear_before:
        drawn.append(_unsure(f"{tone} lead-in", frame.share(episode.last_clear_before), start, y))
    if episode.first_clear_after:
        drawn.append(_unsure(f"{tone} tail", end, frame.share(episode.first_clear_after), y))
    else:
        rest = {"x1": percent(_cut(end)), "x2": "100%", "y1": y, "y2": y}
        drawn.append(element("line", {"class": f"{tone} unseen", **rest}))
    if start <= 1 and end >= 0:
        place = {
            "x1": percent(_cut(start)),
            "x2": percent(_cut(end)),
            "y1": y,
            "y2": y,
        }
        drawn.append(element("line", {"class": f"{tone} case-edge", **place}))
        drawn.append(element("line", {"class": f"{tone} case", **place}))
    return element("g", {}, *drawn)


def _unsure(kind: str, start: float, end: float, y: int) -> Markup:
    start, end = _cut(start), _cut(end)
    if end <= start:
        return Markup("")
    place = {"x": percent(start), "width": percent(end - start), "y": y - 9, "height": 18}
    return element("rect", {"class": kind, **place})


def case_words(case: Case) -> str:
    """``Left foot, worst score 2: clear on 1 May 2026, sore from 8 May 2026 to …``."""
    episode = case.episode
    before = (
        f"clear on {date_words(episode.last_clear_before)}, sore from "
        if episode.last_clear_before
        else "sore already when first looked at, "
    )
    seen = span_words(episode.first_affected, episode.last_affected)
    after = (
        f", clear again on {date_words(episode.first_clear_after)}"
        if episode.first_clear_after
        else ", not seen clear since"
    )
    name = FEET[case.foot].capitalize()
    return f"{name}, worst score {case.worst}: {before}{seen}{after}"


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
    """The newest weight, and those before it that have room, clear of the curve."""
    free = 2.0
    for mark, share, _ in reversed(places):
        half = len(mark.short) * LETTER / 2 / PHONE_WIDTH
        centre = min(1 - half, max(half, share))
        if centre + half + 0.02 <= free:
            free = centre - half
            y = min(height for place, height in points if abs(place - centre) <= half + 0.01)
            yield _text("weight-name", centre, y - 6, mark.short, anchor="middle")


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
