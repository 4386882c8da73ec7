"""The drawing of a bird's timeline: one row per foot, and rows for what else happened.

Places along time are percentages, heights are pixels. So one drawing fills a phone and a wide
screen alike, and its letters have the same size on both. What fits is reckoned for a phone.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from flockcare.birds.layers import Band, Mark
from flockcare.drawing import marks as shapes
from flockcare.drawing.dates import (
    DateTick,
    date_ticks,
    date_words,
    day_position,
    local_date,
    span_words,
)
from flockcare.drawing.markup import Markup, element, join, percent
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
    "signs": "Otherwise",
    "care": "Care",
    "weight": "Weight",
    "photos": "Photos",
    "house": "House",
}
HEIGHTS = {"left": 64, "right": 64, "weight": 66, "photos": 58}
TICKS = {Zoom.YEAR: 13, Zoom.SEASON: 4, Zoom.MONTH: 6}


@dataclass(frozen=True, slots=True)
class Frame:
    """Where things lie: shares of the width along time, and the links of the page."""

    story: Story
    page: str

    @property
    def zoom(self) -> Zoom:
        return self.story.stretch.zoom

    def share(self, at: dt.datetime | dt.date) -> float:
        window = self.story.stretch.window
        return (day_position(at, window.zone) - window.first.toordinal()) / window.days

    def inside(self, at: dt.datetime | dt.date) -> float:
        return min(1.0, max(0.0, self.share(at)))

    def edges(self, first: dt.date | None, last: dt.date | None) -> tuple[float, float]:
        """Shares at which whole days begin and end, cut to the window."""
        window = self.story.stretch.window
        start = (first.toordinal() - window.first.toordinal()) / window.days if first else 0.0
        end = (last.toordinal() + 1 - window.first.toordinal()) / window.days if last else 1.0
        return max(0.0, start), min(1.0, end)


@dataclass(slots=True)
class Group:
    """Marks of one lane that share one touch target, around ``centre``."""

    first: dt.date
    last: dt.date
    marks: list[Mark]
    left: float
    right: float

    @property
    def centre(self) -> float:
        return (self.left + self.right) / 2


def draw(story: Story, *, page: str, title: str) -> Markup:
    """The whole SVG. ``page`` is the address of the bird's page, for links that zoom in."""
    frame = Frame(story, page)
    by_lane: dict[str, list[Mark]] = {"left": [], "right": []}
    for mark in story.marks:
        by_lane.setdefault(mark.lane, []).append(mark)
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
        element("g", {"id": f"tl-{kind}", "class": kind}, shape) for kind, shape in drawn.items()
    ]
    return element("defs", {}, *symbols, _fade("tl-in", (0, 1)), _fade("tl-out", (1, 0)))


def _fade(key: str, opacities: tuple[int, int]) -> Markup:
    stops = [
        element("stop", {"class": "fade", "offset": offset, "stop-opacity": opacity})
        for offset, opacity in zip((0, 1), opacities, strict=True)
    ]
    return element("linearGradient", {"id": key}, *stops)


def _radius(by_lane: dict[str, list[Mark]]) -> float:
    most = max(len(by_lane["left"]), len(by_lane["right"]), 1)
    return min(5.5, max(2.5, 0.4 * PHONE_WIDTH / most))


# Bands behind and the axis


def _bands(frame: Frame, bottom: int) -> Markup:
    return join(_band(frame, band, number, bottom) for number, band in enumerate(frame.story.bands))


def _band(frame: Frame, band: Band, number: int, bottom: int) -> Markup:
    start, end = frame.edges(band.since, band.until)
    room = int((end - start) * PHONE_WIDTH / LETTER) - 1
    name = band.short if len(band.short) <= room else band.short[: max(0, room - 1)] + "…"
    place = {"x": percent(start), "width": percent(end - start)}
    parity = "odd" if number % 2 else "even"
    drawn = [
        element("title", {}, f"{band.label}{_from_to(band)}"),
        element("rect", {"class": f"behind {parity}", **place, "y": 0, "height": bottom}),
        element("rect", {"class": f"strip {parity}", **place, "y": 0, "height": STRIP - 3}),
    ]
    if room > 2:
        drawn.append(_text("band-name", start, 15, name, dx=5))
    if start > 0:
        edge = percent(start)
        drawn.append(
            element("line", {"class": "edge", "x1": edge, "x2": edge, "y1": 0, "y2": bottom})
        )
    if band.url:
        return element("a", {"href": band.url}, *drawn)
    return element("g", {}, *drawn)


def _from_to(band: Band) -> str:
    since = f" from {date_words(band.since)}" if band.since else ""
    return since + (f" until {date_words(band.until)}" if band.until else "")


def _axis(frame: Frame, bottom: int) -> Markup:
    window = frame.story.stretch.window
    ticks = date_ticks(window.first, window.last, TICKS[frame.zoom])
    drawn = [element("line", {"class": "axis", "x1": 0, "x2": "100%", "y1": bottom, "y2": bottom})]
    for tick in ticks:
        drawn.append(_tick(tick, frame.edges(tick.on, None)[0], bottom))
    return element("g", {"aria-hidden": "true"}, *drawn)


def _tick(tick: DateTick, share: float, bottom: int) -> Markup:
    place = percent(share)
    drawn = [
        element("line", {"class": "tick", "x1": place, "x2": place, "y1": 0, "y2": bottom + 6})
    ]
    if share * PHONE_WIDTH + len(tick.label) * LETTER <= PHONE_WIDTH + 4:
        drawn.append(_text("tick-name", share, bottom + 16, tick.label, dx=3))
        if tick.year and share * PHONE_WIDTH + 4 * LETTER <= PHONE_WIDTH + 4:
            drawn.append(_text("tick-year", share, bottom + 31, tick.year, dx=3))
    return join(drawn)


# Lanes


def _lane(frame: Frame, lane: str, marks: list[Mark], top: int) -> Markup:
    middle = top + HEIGHTS.get(lane, 46) - (20 if lane != "photos" else 26)
    name = LANES[lane] if marks else f"{LANES[lane]}: not looked at in this time"
    drawn = [_text("lane-name", 0, top + 15, name)]
    if lane in Foot.values:
        drawn.append(
            element("line", {"class": "base", "x1": 0, "x2": "100%", "y1": middle, "y2": middle})
        )
        drawn += [_case(frame, case, middle) for case in frame.story.cases if case.foot == lane]
    groups = _groups(frame, marks, days=3 if lane == "photos" and frame.zoom is Zoom.MONTH else 1)
    if lane == "weight":
        drawn.append(_weights(frame, marks, groups, top + 26, top + 58))
    elif lane == "photos":
        drawn += [_photo_link(frame, group, middle) for group in groups]
    else:
        drawn += [
            _link(frame, group, (middle - 20, 40), _symbols(frame, group, middle))
            for group in groups
        ]
    if lane in Foot.values:
        drawn.append(_scores(frame, marks, middle - 15, only_sore=len(marks) > 2 * len(groups)))
    return element("g", {}, *drawn)


def _groups(frame: Frame, marks: list[Mark], days: int = 1) -> list[Group]:
    """Marks sorted into the slots of the stretch, with the width that each may be touched on."""
    slots = frame.story.stretch.slots()
    if days > 1:
        slots = [
            (part[0][0], part[-1][1])
            for part in (slots[start : start + days] for start in range(0, len(slots), days))
        ]
    zone = frame.story.stretch.window.zone
    ends = iter(slots)
    first, last = next(ends)
    groups: list[Group] = []
    for mark in marks:
        day = local_date(mark.at, zone)
        while day > last:
            first, last = next(ends)
        if groups and groups[-1].first == first:
            groups[-1].marks.append(mark)
        else:
            groups.append(Group(first, last, [mark], *frame.edges(first, last)))
    _widen(groups)
    return groups


def _widen(groups: list[Group]) -> None:
    """Let each group reach for a whole touch target, but at most half-way to the next."""
    centres = [group.centre for group in groups]
    half = TARGET / 2 / PHONE_WIDTH
    for place, group in enumerate(groups):
        before = (centres[place - 1] + centres[place]) / 2 if place else -half
        after = (centres[place] + centres[place + 1]) / 2 if place + 1 < len(groups) else 1 + half
        group.left = max(before, min(group.left, centres[place] - half))
        group.right = min(after, max(group.right, centres[place] + half))


def _link(frame: Frame, group: Group, rows: tuple[int, int], drawn: list[Markup]) -> Markup:
    """One link around the marks of a group, touchable on its whole width."""
    top, height = rows
    hit = {
        "class": "hit",
        "x": percent(group.left),
        "width": percent(group.right - group.left),
        "y": top,
        "height": height,
    }
    address, title = _target(frame, group)
    return element(
        "a",
        {"href": address},
        element("title", {}, title),
        element("rect", hit),
        *drawn,
    )


def _target(frame: Frame, group: Group) -> tuple[str, str]:
    """Where a group leads, and its name: the record itself, else nearer, else its table row."""
    marks = group.marks
    day = local_date(marks[-1].at, frame.story.stretch.window.zone)
    if len({(mark.at, mark.url) for mark in marks}) == 1:
        mark = marks[0]
        label = "; ".join(mark.label for mark in marks)
        by = f" ({mark.by})" if mark.by else ""
        return mark.url or f"#{row_id(day)}", f"{date_words(day)}: {label}{by}"
    title = f"{span_words(group.first, group.last)}: {_summary(marks)}"
    if frame.zoom is Zoom.MONTH:
        return f"#{row_id(day)}", title
    last = min(group.last + dt.timedelta(11), frame.story.stretch.window.last)
    until = group.last if frame.zoom is Zoom.YEAR else last
    return f"{frame.page}?zoom=month&until={until}#timeline", f"{title}. Open this month."


def _summary(marks: list[Mark]) -> str:
    if marks[0].lane in Foot.values:
        worst = max(int(mark.value) for mark in marks)
        return f"{Foot(marks[0].lane).label}, {len(marks)} looks, worst score {worst}"
    return f"{len(marks)} × {LANES[marks[0].lane].lower()}"


def _symbols(frame: Frame, group: Group, middle: int) -> list[Markup]:
    """The shapes of a group, the worst on top."""
    return [
        _use(mark.kind, frame.share(mark.at), middle)
        for mark in sorted(group.marks, key=lambda mark: mark.value or 0)
    ]


def _use(kind: str, share: float, y: float) -> Markup:
    return element("use", {"href": f"#tl-{kind}", "x": percent(share), "y": y})


def _scores(frame: Frame, marks: list[Mark], y: int, *, only_sore: bool) -> Markup:
    """The scores in figures above their marks, the worst first where not all have room."""
    taken: list[float] = []
    written = []
    for mark in sorted(marks, key=lambda mark: -mark.value):
        if only_sore and not mark.value:
            continue
        place = frame.share(mark.at)
        if all(abs(place - other) * PHONE_WIDTH >= 14 for other in taken):
            taken.append(place)
            written.append(_text(f"score {mark.kind}", place, y, mark.short, anchor="middle"))
    return element("g", {"aria-hidden": "true"}, *written)


def _case(frame: Frame, case: Case, y: int) -> Markup:
    """A bar from the first to the last look that saw it; fading where nobody knows."""
    episode, tone = case.episode, f"worst-{case.worst}"
    start, end = frame.share(case.first.at), frame.share(case.last.at)
    drawn = [element("title", {}, case_words(case))]
    if episode.last_clear_before:
        drawn.append(_unsure(f"{tone} lead-in", frame.inside(episode.last_clear_before), start, y))
    if episode.first_clear_after:
        drawn.append(_unsure(f"{tone} tail", end, frame.inside(episode.first_clear_after), y))
    else:
        rest = {"x1": percent(min(1.0, max(0.0, end))), "x2": "100%", "y1": y, "y2": y}
        drawn.append(element("line", {"class": f"{tone} unseen", **rest}))
    if start <= 1 and end >= 0:
        place = {
            "x1": percent(max(0.0, start)),
            "x2": percent(min(1.0, end)),
            "y1": y,
            "y2": y,
        }
        drawn.append(element("line", {"class": f"{tone} case-edge", **place}))
        drawn.append(element("line", {"class": f"{tone} case", **place}))
    return element("g", {}, *drawn)


def _unsure(kind: str, start: float, end: float, y: int) -> Markup:
    start, end = max(0.0, start), min(1.0, end)
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
    name = Foot(case.foot).label.capitalize()
    return f"{name}, worst score {case.worst}: {before}{seen}{after}"


def _weights(frame: Frame, marks: list[Mark], groups: list[Group], top: int, low: int) -> Markup:
    values = [mark.value for mark in marks]
    height = Linear(min(values), max(values), low, top + 12)
    points = [(frame.share(mark.at), height(mark.value)) for mark in marks]
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
            [_use(mark.kind, frame.share(mark.at), height(mark.value)) for mark in group.marks],
        )
        for group in groups
    ]
    drawn += _weight_names(marks, points)
    return join(drawn)


def _weight_names(marks: list[Mark], points: list[tuple[float, float]]) -> Iterator[Markup]:
    """The newest weight, and those before it that have room."""
    free = 2.0
    for mark, (share, y) in reversed(list(zip(marks, points, strict=True))):
        half = len(mark.short) * LETTER / 2 / PHONE_WIDTH
        centre = min(1 - half, max(half, share))
        if centre + half + 0.02 <= free:
            free = centre - half
            yield _text("weight-name", centre, y - 6, mark.short, anchor="middle")


def _photo_link(frame: Frame, group: Group, middle: int) -> Markup:
    """The newest photo of a group as a small picture, and how many there are."""
    place = percent(group.centre)
    box = {
        "x": place,
        "y": middle - THUMB / 2,
        "width": THUMB,
        "height": THUMB,
        "transform": f"translate(-{THUMB // 2} 0)",
    }
    newest = group.marks[-1]
    drawn = [
        element(
            "image",
            {"href": newest.picture, **box, "preserveAspectRatio": "xMidYMid slice"},
        ),
        element("rect", {"class": "thumb", **box}),
    ]
    if len(group.marks) > 1:
        drawn.append(_text("count", group.centre, middle + 25, f"×{len(group.marks)}", "middle"))
    return _link(frame, group, (middle - 16, 32), drawn)


def _text(
    kind: str, share: float, y: float, words: str, anchor: str | None = None, dx: int | None = None
) -> Markup:
    return element(
        "text",
        {"class": kind, "x": percent(share), "y": y, "dx": dx, "text-anchor": anchor},
        words,
    )
