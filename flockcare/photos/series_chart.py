"""Area and longest diameter of the sore in one foot over time, drawn as SVG."""

import datetime as dt
from collections.abc import Callable

from flockcare.drawing.dates import WEEK, date_ticks
from flockcare.drawing.markup import Markup, element, join, percent
from flockcare.drawing.scales import Linear, nice_ticks
from flockcare.photos import words
from flockcare.photos.series import Shot

LEFT, RIGHT = 0.12, 0.97  # of the width, so that the first mark is clear of the figures
AREA, DIAMETER = (24, 150), (186, 266)  # top and bottom of either part
AXIS = 274
RADIUS = 3.5


def draw(shots: list[Shot], address: Callable[[Shot], str], title: str) -> Markup | None:
    """The measured ones whose date is known at least to the year; None where there are none.

    ``address``: where a mark leads.
    """
    drawn = [shot for shot in shots if shot.measurement and shot.days]
    if not drawn:
        return None
    first, last = drawn[0].days[0], max(shot.days[1] for shot in drawn)
    if (last - first).days < WEEK:
        first, last = first - dt.timedelta(3), last + dt.timedelta(3)
    days = Linear(first.toordinal(), last.toordinal(), LEFT, RIGHT)
    area = _up_from_zero(
        [s.measurement.area_mm2 + s.measurement.area_error_mm2 for s in drawn], AREA
    )
    width = _up_from_zero(
        [s.measurement.longest_diameter_mm + s.measurement.diameter_error_mm for s in drawn],
        DIAMETER,
    )
    return element(
        "svg",
        {
            "class": "chart",
            "xmlns": "http://www.w3.org/2000/svg",
            "width": "100%",
            "height": AXIS + 36,
            "role": "group",
            "aria-label": title,
        },
        _part("Area, mm²", AREA, area, 4),
        _part("Longest diameter, mm", DIAMETER, width, 3),
        _axis(first, last, days),
        element("g", {"class": "second"}, *(_diameter(shot, days, width) for shot in drawn)),
        *(_area(shot, days, area, address) for shot in drawn),
    )


def _up_from_zero(values: list[float], part: tuple[int, int]) -> Linear:
    top, bottom = part
    return Linear(0, max(values) * 1.05, bottom, top)


def _part(name: str, part: tuple[int, int], scale: Linear, at_most: int) -> Markup:
    lines = []
    for tick in nice_ticks(0, scale.high, at_most):
        y = scale(tick)
        lines.append(element("line", {"class": "grid", "x1": 0, "x2": "100%", "y1": y, "y2": y}))
        lines.append(element("text", {"class": "figure", "x": 0, "y": y - 3}, f"{tick:g}"))
    name = element("text", {"class": "part-name", "x": 0, "y": part[0] - 10}, name)
    return element("g", {"aria-hidden": "true"}, *lines, name)


def _axis(first: dt.date, last: dt.date, days: Linear) -> Markup:
    drawn = [element("line", {"class": "axis", "x1": 0, "x2": "100%", "y1": AXIS, "y2": AXIS})]
    for tick in date_ticks(first, last, 5):
        x = days(tick.on.toordinal())
        place = percent(x)
        drawn.append(
            element("line", {"class": "grid", "x1": place, "x2": place, "y1": 16, "y2": AXIS + 5})
        )
        if x < 0.92:
            for label, y in ((tick.label, AXIS + 15), (tick.year, AXIS + 30)):
                if label:
                    drawn.append(element("text", {"x": place, "y": y, "dx": 2}, label))
    return element("g", {"aria-hidden": "true"}, *drawn)


def _area(shot: Shot, days: Linear, scale: Linear, address) -> Markup:
    measured = shot.measurement
    return element(
        "a",
        {"href": address(shot)},
        element("title", {}, f"{shot.when}: {words.area(measured)}"),
        _mark(shot, days, scale, measured.area_mm2, measured.area_error_mm2),
    )


def _diameter(shot: Shot, days: Linear, scale: Linear) -> Markup:
    measured = shot.measurement
    return _mark(shot, days, scale, measured.longest_diameter_mm, measured.diameter_error_mm)


def _mark(shot: Shot, days: Linear, scale: Linear, value: float, error: float) -> Markup:
    """A disc with its uncertainty; a ring on a bar over all its days where the day is not known."""
    start, end = (days(day.toordinal()) for day in shot.days)
    x, y = percent((start + end) / 2), scale(value)
    drawn = [
        element(
            "line",
            {"x1": x, "x2": x, "y1": scale(value + error), "y2": scale(max(0, value - error))},
        )
    ]
    if end > start:
        ends = {"x1": percent(start), "x2": percent(end), "y1": y, "y2": y}
        drawn.append(element("line", {"class": "unsure", **ends}))
    drawn.append(
        element("circle", {"class": "ring" if end > start else None, "cx": x, "cy": y, "r": RADIUS})
    )
    return join(drawn)
