"""The drawings of the page as SVG: places across are percentages, heights are pixels.

So one drawing fills a phone and a wide screen with letters of the same size. Every mark is a link
to its records; what is hatched was not watched.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

from flockcare.drawing.dates import MONTHS, DateTick, add_months, date_ticks
from flockcare.drawing.marks import diamond, disc, ring, triangle
from flockcare.drawing.markup import Markup, element, join, percent
from flockcare.drawing.scales import Linear, nice_ticks
from flockcare.trends import words
from flockcare.trends.report import (
    BeforeAfter,
    ChangeAnswer,
    Figure,
    Grouping,
    GroupRow,
    Healing,
    HealingGroup,
    Repeats,
    Report,
)

PHONE_WIDTH = 338  # Pixels for a drawing on a phone that is 390 wide.
LEFT, RIGHT = 0.07, 0.995
MOST_MONTHS = 36
MOST_TICKS = 8


def _svg(kind: str, height: float, title: str, *drawn) -> Markup:
    return element(
        "svg",
        {
            "class": f"trend {kind}",
            "xmlns": "http://www.w3.org/2000/svg",
            "width": "100%",
            "height": height,
            "role": "group",
            "aria-label": title,
        },
        *drawn,
    )


def _line(kind: str, x1: float, y1: float, x2: float, y2: float) -> Markup:
    places = {"x1": percent(x1), "y1": y1, "x2": percent(x2), "y2": y2}
    return element("line", {"class": kind, **places})


def _box(kind: str, start: float, end: float, top: float, bottom: float, **more) -> Markup:
    return element(
        "rect",
        {
            "class": kind,
            "x": percent(start),
            "width": percent(max(0.0, end - start)),
            "y": top,
            "height": max(0.0, bottom - top),
            **more,
        },
    )


def _text(kind: str, x: float, y: float, said, anchor: str | None = None, dx=None) -> Markup:
    places = {"x": percent(x), "y": y, "dx": dx, "text-anchor": anchor}
    return element("text", {"class": kind, **places}, said)


def _placed(shape: Markup, x: float, y: float, kind: str) -> Markup:
    """A shape drawn around the origin, at a percentage across."""
    return element(
        "svg", {"class": f"at {kind}", "x": percent(x), "y": y, "overflow": "visible"}, shape
    )


def _link(url: str, title: str, *drawn) -> Markup:
    return element("a", {"href": url}, element("title", {}, title), *drawn)


# New cases over time


class Bucket(NamedTuple):
    """A month, or a quarter of a long record; ``key`` names it in addresses."""

    key: str
    first: dt.date
    following: dt.date
    cases: float
    found: int
    foot_days: float

    @property
    def name(self) -> str:
        if (self.following - self.first).days < 40:
            return f"{self.first:%B %Y}"
        return f"{self.first:%B} to {self.following - dt.timedelta(1):%B %Y}"


def buckets(report: Report, *, everything: bool) -> list[Bucket]:
    """The last three years by month, or the whole record by quarter where it is longer."""
    months = report.months
    if len(months) <= MOST_MONTHS:
        everything = True
    step = 3 if everything and len(months) > MOST_MONTHS else 1
    shown = months if everything else months[-MOST_MONTHS:]
    # Quarters begin in January, April, July and October; the first may be cut.
    lead = (step - (shown[0].first.month - 1) % step) % step if shown else 0
    groups = [shown[:lead]] if lead else []
    groups += [shown[at : at + step] for at in range(lead, len(shown), step)]
    return [
        Bucket(
            key=f"{group[0].first:%Y-%m}-{len(group)}",
            first=group[0].first,
            following=add_months(group[-1].first, 1),
            cases=sum(month.cases for month in group),
            found=sum(month.found for month in group),
            foot_days=sum(month.foot_days for month in group),
        )
        for group in groups
    ]


_HEAD, _BARS, _WATCH, _AXIS = 44, (64, 190), (226, 270), 278


@dataclass(frozen=True)
class Calendar:
    """Days across the drawing."""

    first: dt.date
    last: dt.date

    def __call__(self, day: dt.date) -> float:
        scale = Linear(self.first.toordinal(), self.last.toordinal(), LEFT, RIGHT)
        return min(RIGHT, max(LEFT, scale(day.toordinal())))

    def holds(self, day: dt.date) -> bool:
        return self.first <= day < self.last


def months_chart(
    report: Report, shown: list[Bucket], address: Callable[[str], str], title: str
) -> Markup:
    """Bars of new cases, the time watched beneath, changes as numbered lines, and the days at
    which the rate itself may have become another as a band."""
    across = Calendar(shown[0].first, shown[-1].following)
    most = max(1.0, *(bucket.cases for bucket in shown))
    bars = Linear(0, most * 1.05, _BARS[1], _BARS[0])
    watched = Linear(0, max(1.0, *(b.foot_days for b in shown)) / 2, _WATCH[1], _WATCH[0])
    return _svg(
        "months",
        _AXIS + 36,
        title,
        element("defs", {}, _hatching()),
        _band(report, across),
        _count_axis(bars, most),
        *(_bucket(bucket, across, bars, watched, address) for bucket in shown),
        _text("part-name", 0, _WATCH[0] - 8, "days of watching"),
        *_watch_axis(watched),
        _time_axis(across, shown),
        *_changes(report.changes, across),
    )


def _hatching() -> Markup:
    stroke = element("path", {"class": "hatch", "d": "M0 8L8 0"})
    size = {"width": 8, "height": 8, "patternUnits": "userSpaceOnUse"}
    return element("pattern", {"id": "not-watched", **size}, stroke)


def _band(report: Report, across: Calendar) -> Markup:
    scan = report.scan
    if not scan.told or scan.last < across.first or scan.first >= across.last:
        return Markup("")
    title = (
        f"The rate changed about {words.days_span(scan.first.toordinal(), scan.last.toordinal())}"
    )
    box = _box("plausible", across(scan.first), across(scan.last), _HEAD - 40, _AXIS)
    return _link("#when", title, box)


def _count_axis(bars: Linear, most: float) -> Markup:
    drawn = [_text("part-name", 0, _BARS[0] - 10, "new cases")]
    for tick in nice_ticks(0, most, 4):
        if tick == int(tick):
            drawn.append(_line("grid", 0, bars(tick), RIGHT, bars(tick)))
            drawn.append(_text("figure", 0, bars(tick) - 3, f"{tick:g}"))
    return element("g", {"aria-hidden": "true"}, *drawn)


def _watch_axis(watched: Linear) -> Iterable[Markup]:
    """Days of watching beside their bars: nothing, and one round number."""
    ticks = [tick for tick in nice_ticks(0, watched.high, 3) if 0 < tick <= watched.high]
    for tick in ticks[-1:]:
        y = watched(tick)
        yield element(
            "g",
            {"aria-hidden": "true"},
            _line("grid", LEFT, y, RIGHT, y),
            _text("figure", 0, y + 4, f"{tick:,g}"),
            _text("figure", 0, _WATCH[1] + 2, "0"),
        )


def _bucket(bucket: Bucket, across: Calendar, bars: Linear, watched: Linear, address) -> Markup:
    start, end = across(bucket.first), across(bucket.following)
    if not bucket.foot_days and not bucket.found:
        title = f"{bucket.name}: not watched, so nothing is known"
        fill = {"fill": "url(#not-watched)"}
        hatched = join(
            _box("unwatched", start, end, top, bottom, **fill) for top, bottom in (_BARS, _WATCH)
        )
        return element(
            "g", {"role": "img", "aria-label": title}, element("title", {}, title), hatched
        )
    gap = (end - start) * 0.1
    title = (
        f"{bucket.name}: {words.count(bucket.found, 'new case')} found, about "
        f"{words.plain_number(bucket.cases)} begun, in {words.time_watched(bucket.foot_days)}"
    )
    return _link(
        address(f"months:{bucket.key}"),
        title,
        _box("hit", start, end, _BARS[0], _AXIS),
        _box("cases", start + gap, end - gap, bars(bucket.cases), _BARS[1]),
        _box("time", start + gap, end - gap, watched(bucket.foot_days / 2), _WATCH[1]),
    )


def _ticks(across: Calendar, shown: list[Bucket]) -> list[DateTick]:
    """Firsts of months or years; never weeks, since the bars are months."""
    if len(shown) > MOST_TICKS:
        return date_ticks(across.first, across.last - dt.timedelta(1), MOST_TICKS)
    years = [None, *(bucket.first.year for bucket in shown)]
    return [
        DateTick(bucket.first, MONTHS[bucket.first.month - 1], _if_new(bucket.first.year, year))
        for bucket, year in zip(shown, years, strict=False)
    ]


def _if_new(year: int, before: int | None) -> str:
    return "" if year == before else str(year)


def _time_axis(across: Calendar, shown: list[Bucket]) -> Markup:
    drawn = [
        _line("axis", LEFT, _BARS[1], RIGHT, _BARS[1]),
        _line("axis", LEFT, _WATCH[1], RIGHT, _WATCH[1]),
    ]
    for tick in _ticks(across, shown):
        x = across(tick.on)
        drawn.append(_line("tick", x, _WATCH[1], x, _AXIS + 4))
        if x < 0.93:
            drawn.append(_text("tick-name", x, _AXIS + 15, tick.label or tick.year, dx=2))
            if tick.label and tick.year:
                drawn.append(_text("tick-year", x, _AXIS + 30, tick.year, dx=2))
    return element("g", {"aria-hidden": "true"}, *drawn)


def _changes(changes: Sequence[ChangeAnswer], across: Calendar) -> Iterable[Markup]:
    """A numbered line for each change; numbers that lie close stand in two rows by turns."""
    free = [-1.0, -1.0]
    need = 26 / PHONE_WIDTH
    for change in changes:
        here = [day for day in change.days if across.holds(day)]
        if not here:
            continue
        x = across(here[0])
        row = 0 if x >= free[0] else 1
        free[row] = x + need
        y = 12 + 20 * row
        lines = [_line("change", across(day), y, across(day), _WATCH[1]) for day in here]
        yield _link(
            f"#change-{change.number}",
            f"Change {change.number}: {change.title}",
            *lines,
            _placed(element("circle", {"class": "number-disc", "r": 11}), x, y, ""),
            _text("number", x, y + 4, str(change.number), "middle"),
        )


# Before and after: one axis for all changes


_RATIO_TICKS = (
    (0.1, "a tenth"),
    (0.25, "¼"),
    (0.5, "half"),
    (1.0, "same"),
    (2.0, "twice"),
    (4.0, "4×"),
    (10.0, "10×"),
)
_FARTHEST = 16.0


_RATIOS = Linear(-math.log(_FARTHEST), math.log(_FARTHEST), 0.02, 0.98)


def _ratio_place(value: float) -> float:
    if value <= 0:
        return _RATIOS.start
    if math.isinf(value):
        return _RATIOS.end
    return min(_RATIOS.end, max(_RATIOS.start, _RATIOS(math.log(value))))


def answer_range(figure: Figure | None, *, told: bool) -> Markup:
    """One line of the plot of all changes: the range on the common axis, as high as the line of
    words beside it. Filled where it can be told from "the same", open where it cannot."""
    drawn = [
        _line("same" if value == 1 else "grid", x, 0, x, "100%")
        for value, _ in _RATIO_TICKS
        for x in [_ratio_place(value)]
    ]
    if figure:
        kind = "told" if told else "open"
        low, high = _ratio_place(figure.low), _ratio_place(figure.high)
        drawn.append(_line(f"range {kind}", low, "50%", high, "50%"))
        for at, beyond, tip in (
            (low, figure.low < 1 / _FARTHEST, "M0 -5L-7 0L0 5Z"),
            (high, figure.high > _FARTHEST, "M0 -5L7 0L0 5Z"),
        ):
            shape = tip if beyond else "M0 -6V6"
            end = element("path", {"class": "tip" if beyond else "range-end", "d": shape})
            drawn.append(_placed(end, at, "50%", kind))
        if 0 < figure.value < math.inf:
            drawn.append(_placed(diamond(7), _ratio_place(figure.value), "50%", kind))
    return _plot("answer-range", *drawn)


def answer_axis() -> Markup:
    """The names of the axis, over or under the lines of the plot."""
    drawn = [
        _text("tick-name", x, 32, name, "middle")
        for value, name in _RATIO_TICKS
        for x in [_ratio_place(value)]
    ]
    ends = [
        _text("part-name", 0.02, 13, "← fewer after"),
        _text("part-name", 0.98, 13, "more after →", "end"),
    ]
    return _plot("answer-axis", *ends, *drawn)


def _plot(kind: str, *drawn) -> Markup:
    attributes = {"class": f"trend {kind}", "xmlns": "http://www.w3.org/2000/svg"}
    return element("svg", {**attributes, "aria-hidden": "true"}, *drawn)


_MARK_SHAPES = {
    "fewer": '<path class="mark-fill" d="M4 8H20L12 20Z"/>',
    "more": '<path class="mark-fill" d="M4 17H20L12 5Z"/>',
    "none": '<path class="mark-line" d="M4 9H20M4 16H20"/>',
    "early": '<circle class="mark-line" cx="12" cy="12" r="9"/>'
    '<path class="mark-line" d="M12 6.5V12L16 14"/>',
    "untold": '<path class="mark-line" d="M6 12H18"/>',
}


def mark_shape(shape: str) -> Markup:
    """Of the mark beside the words that say the same."""
    size = {"width": 24, "height": 24, "viewBox": "0 0 24 24", "aria-hidden": "true"}
    return element("svg", {"class": "answer-mark", **size}, Markup(_MARK_SHAPES[shape]))


class Row(NamedTuple):
    """One line of a drawing of ranges. ``words`` stands in place of a range that is refused."""

    name: str
    figure: Figure | None
    words: str = ""
    url: str = ""
    kind: str = ""


def ratio_rows(change: ChangeAnswer, address: Callable[[str], str]) -> list[Row]:
    def row(name: str, found: BeforeAfter, kind: str) -> Row:
        if found.refusal:
            return Row(name, None, "too little to tell", url if kind == "own" else "", kind)
        return Row(name, found.ratio, "", url if kind == "own" else "", kind)

    url = address(f"change:{change.number}")
    rows = [row(f"{' and '.join(change.houses)}, changed", change.found, "own")]
    if change.without:
        rows.append(row(f"the same without {change.without_name}", change.without, "without"))
    if change.beside:
        name = f"{' and '.join(change.beside.houses)}, not changed"
        rows.append(row(name, change.beside.found, "beside"))
    return rows


def ratio_chart(rows: list[Row], title: str) -> Markup:
    """Ranges of the rate after over the rate before, on a scale on which half and twice lie
    equally far from the same."""
    bottom = 44 * len(rows) + 6
    drawn = []
    for value, name in _RATIO_TICKS:
        x = _ratio_place(value)
        drawn.append(_line("same" if value == 1 else "grid", x, 0, x, bottom + 4))
        drawn.append(_text("tick-name", x, bottom + 18, name, "middle"))
    ends = [
        _text("quiet-name", 0.02, bottom + 34, "← fewer after"),
        _text("quiet-name", 0.98, bottom + 34, "more after →", "end"),
    ]
    axis = element("g", {"aria-hidden": "true"}, *drawn, *ends)
    body = [_ratio_row(row, 44 * number) for number, row in enumerate(rows)]
    return _svg("ratios", bottom + 42, title, axis, *body)


def _ratio_row(row: Row, top: float) -> Markup:
    name = _text("row-name", 0.02, top + 16, f"{row.name}{': ' + row.words if row.words else ''}")
    if row.figure is None:
        return element("g", {}, name)
    y, figure = top + 30, row.figure
    low, high = _ratio_place(figure.low), _ratio_place(figure.high)
    drawn = [name, _line(f"range {row.kind}", low, y, high, y)]
    for at, beyond, sign in (
        (low, figure.low < 1 / _FARTHEST, "◂"),
        (high, figure.high > _FARTHEST, "▸"),
    ):
        if beyond:
            drawn.append(_text("beyond", at, y + 5, sign, "middle"))
        else:
            drawn.append(_line(f"range-end {row.kind}", at, y - 6, at, y + 6))
    if 0 < figure.value < math.inf:
        drawn.append(_placed(diamond(6), _ratio_place(figure.value), y, row.kind))
    fits = words.ratio_range(figure.low, figure.high)
    if row.url:
        hit = _box("hit", 0, 1, top, top + 44)
        return _link(row.url, f"{row.name}: {fits}. Open the cases.", hit, *drawn)
    return element("g", {}, element("title", {}, f"{row.name}: {fits}"), *drawn)


# Who gets it


def drawn_rows(grouping: Grouping) -> list[GroupRow]:
    """Those with enough on record for a range."""
    return [row for row in grouping.rows if row.rate and not row.refusal]


def group_chart(grouping: Grouping, address: Callable[[str], str], title: str) -> Markup:
    """The rate of each group with its range, on one scale from zero."""
    rated = drawn_rows(grouping)
    per = words.PER_TEN_HENS_MONTH
    # One wide range must not flatten the others: what goes beyond is shown as going beyond.
    values = [row.rate.value * per for row in rated]
    highs = [row.rate.high * per for row in rated]
    top = max(0.1, min(max(highs), 4 * max(values) or max(highs)))
    scale = Linear(0, top, 0.02, 0.96)
    bottom = 44 * len(rated) + 4
    axis = []
    for tick in nice_ticks(0, top, 5):
        axis.append(_line("grid", scale(tick), 0, scale(tick), bottom + 4))
        axis.append(_text("tick-name", scale(tick), bottom + 18, f"{tick:g}", "middle"))
    axis.append(_text("quiet-name", 0.02, bottom + 34, "new cases per 10 hens a month"))
    body = [_group_row(row, 44 * number, scale, address) for number, row in enumerate(rated)]
    hidden = element("g", {"aria-hidden": "true"}, *axis)
    return _svg("groups", bottom + 42, title, hidden, *body)


def _group_row(row: GroupRow, top: float, scale: Linear, address) -> Markup:
    per, y = words.PER_TEN_HENS_MONTH, top + 30
    counts = f"{words.count(row.cases, 'case')}, {words.count(row.birds, 'bird')}"
    name = _text(
        "row-name",
        0.02,
        top + 16,
        join([row.name, element("tspan", {"class": "soft"}, f"  {counts}")]),
    )
    low, high = (min(scale.high, value * per) for value in (row.rate.low, row.rate.high))
    drawn = [
        _box("hit", 0, 1, top, top + 44),
        name,
        _line("range own", scale(low), y, scale(high), y),
        _line("range-end own", scale(low), y - 6, scale(low), y + 6),
    ]
    if row.rate.high * per > scale.high * 1.0001:
        drawn.append(_text("beyond", scale(high), y + 5, "▸", "middle"))
    else:
        drawn.append(_line("range-end own", scale(high), y - 6, scale(high), y + 6))
    if row.show_rate:
        drawn.append(_placed(diamond(6), scale(min(scale.high, row.rate.value * per)), y, "own"))
    return _link(address(f"group:{row.key}"), f"{row.name}: {row.words} Open the cases.", *drawn)


# Birds with repeated cases

MOST_BIRDS = 12


def repeats_chart(repeats: Repeats, address: Callable[[str], str], title: str) -> Markup:
    """One disc per new case, by bird."""
    shown = repeats.birds[:MOST_BIRDS]
    most = max(bird.cases for bird in shown)
    step = min(0.055, 0.66 / most)
    drawn = []
    for number, bird in enumerate(shown):
        top = 30 * number
        discs = [
            _placed(disc(min(6.0, step * PHONE_WIDTH * 0.42)), 0.31 + step * at, top + 15, "own")
            for at in range(bird.cases)
        ]
        said = f"{bird.name}: {words.count(bird.cases, 'new case')}. Open them."
        hit = _box("hit", 0, 1, top, top + 30)
        name = _text("row-name", 0, top + 20, bird.name[:14])
        drawn.append(_link(address(f"bird:{bird.key}"), said, hit, name, *discs))
    return _svg("repeats", 30 * len(shown) + 4, title, *drawn)


# Healing

_CURVE = (32, 206)


def healing_chart(healing: Healing, address: Callable[[str], str], title: str) -> Markup:
    """Share of sores not yet seen clear, by days since they were first seen."""
    shown = [group for group in healing.groups if not group.refusal and group.points]
    until = max(group.shown_until for group in shown)
    days = Linear(0, max(7.0, until), 0.1, 0.98)
    share = Linear(0, 1, _CURVE[1], _CURVE[0])
    axis = []
    for value in (0, 0.25, 0.5, 0.75, 1):
        kind = "same" if value == 0.5 else "grid"
        axis.append(_line(kind, days.start, share(value), days.end, share(value)))
        axis.append(_text("figure", 0, share(value) + 4, f"{value:.0%}"))
    for tick in nice_ticks(0, days.high, 6):
        axis.append(_line("tick", days(tick), _CURVE[1], days(tick), _CURVE[1] + 5))
        axis.append(_text("tick-name", days(tick), _CURVE[1] + 18, f"{tick:g}", "middle"))
    axis.append(_text("part-name", 0, 10, "sores not yet clear"))
    said = "days since it was first seen"
    axis.append(_text("quiet-name", days.start, _CURVE[1] + 35, said))
    everything = [group for group in shown if group.key == "all"]
    return _svg(
        "healing",
        _CURVE[1] + 42,
        title,
        element("g", {"aria-hidden": "true"}, *axis),
        *(_limits(group, days, share) for group in everything),
        *(_curve(group, days, share, address) for group in shown),
    )


def _limits(group: HealingGroup, days: Linear, share: Linear) -> Markup:
    """The range around the curve of all sores."""
    steps = [point for point in group.points if point[0] <= group.shown_until]
    # None where the first heals later than the curve is drawn.
    ends = [*(point[0] for point in steps[1:]), group.shown_until][: len(steps)]
    boxes = [
        _box("limits", days(at), days(end), share(high), share(low))
        for (at, _, low, high), end in zip(steps, ends, strict=True)
        if not math.isnan(low) and end > at
    ]
    return element("g", {"aria-hidden": "true"}, *boxes)


def _curve(group: HealingGroup, days: Linear, share: Linear, address) -> Markup:
    corners = [(0.0, 1.0)]
    for at, remaining, _, _ in group.points:
        if at > group.shown_until:
            break
        corners += [(at, corners[-1][1]), (at, remaining)]
    corners.append((group.shown_until, corners[-1][1]))
    kind = f"curve {group.key}"
    at, remaining = corners[-1]
    lines = [_placed(_CURVE_ENDS[group.key], days(at), share(remaining), group.key)]
    lines += [
        _line(kind, days(x1), share(y1), days(x2), share(y2))
        for (x1, y1), (x2, y2) in pairwise(corners)
        if (x1, y1) != (x2, y2)
    ]
    return _link(
        address(f"healing:{group.key}"), f"{group.name}: {group.words} Open the cases.", *lines
    )


# What stands at the end of each curve, so that they are told apart without colour.
_CURVE_ENDS = {
    "all": element("g", {}),
    "alone": ring(5),
    "dressed": diamond(6),
    "lifted": triangle(5),
    "vet": disc(4),
}


def swatch(key: str) -> Markup:
    """The line of a curve with its end, for the list beside the drawing."""
    line = element("line", {"class": f"curve {key}", "x1": 2, "x2": 38, "y1": 8, "y2": 8})
    end = element("g", {"class": f"at {key}", "transform": "translate(38 8)"}, _CURVE_ENDS[key])
    return element(
        "svg",
        {"class": "trend swatch", "width": 46, "height": 16, "aria-hidden": "true"},
        line,
        end,
    )
