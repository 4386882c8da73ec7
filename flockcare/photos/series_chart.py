"""Area of the sore in one foot over time, with the care given below it, drawn as SVG."""

import datetime as dt
from collections.abc import Callable, Iterable
from itertools import groupby
from operator import itemgetter

from flockcare.drawing.dates import WEEK, date_ticks, date_words
from flockcare.drawing.markup import Markup, element, join, percent
from flockcare.drawing.scales import Linear, nice_ticks
from flockcare.photos import words
from flockcare.photos.series import Shot

LEFT, RIGHT = 0.12, 0.97  # of the width, so that the first mark is clear of the figures
TOP, BOTTOM = 24, 150
CARE = 164
AXIS = 172
RADIUS = 4


def draw(
    shots: list[Shot],
    address: Callable[[Shot], str],
    title: str,
    *,
    care: Iterable[tuple[dt.date, str]] = (),
    now: Shot | None = None,
) -> Markup | None:
    """The measured ones whose date is known at least to the year; None where there are none.

    ``address``: where a mark leads. ``care``: days with what was done, in time order. ``now``: the
    one that is shown, which a line marks.
    """
    drawn = [shot for shot in shots if shot.measurement and shot.days]
    if not drawn:
        return None
    first, last = drawn[0].days[0], max(shot.days[1] for shot in drawn)
    if (last - first).days < WEEK:
        first, last = first - dt.timedelta(3), last + dt.timedelta(3)
    days = Linear(first.toordinal(), last.toordinal(), LEFT, RIGHT)
    largest = max(s.measurement.area_mm2 + s.measurement.area_error_mm2 for s in drawn)
    area = Linear(0, largest * 1.05, BOTTOM, TOP)
    given = [(day, what) for day, what in care if first <= day <= last]
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
        _scale(area),
        _axis(first, last, days),
        _marker(now, drawn, days),
        _curve(drawn, days, area),
        *_care(given, days),
        *(_area(shot, days, area, address) for shot in drawn),
    )


def _x(shot: Shot, days: Linear) -> float:
    start, end = (days(day.toordinal()) for day in shot.days)
    return (start + end) / 2


def _curve(drawn: list[Shot], days: Linear, area: Linear) -> Markup:
    """Through all of them, in a box of its own that is stretched to the width."""
    places = [f"{100 * _x(shot, days):.1f},{area(shot.measurement.area_mm2):.0f}" for shot in drawn]
    box = {"viewBox": f"0 0 100 {AXIS}", "preserveAspectRatio": "none", "aria-hidden": "true"}
    line = element("polyline", {"class": "curve", "points": " ".join(places)})
    return element("svg", {**box, "width": "100%", "height": AXIS}, line)


def _marker(now: Shot | None, drawn: list[Shot], days: Linear) -> Markup:
    x = percent(_x(now if now in drawn else drawn[-1], days))
    hidden = None if now in drawn else "hidden"
    place = {"x1": x, "x2": x, "y1": TOP - 8, "y2": AXIS}
    return element("line", {"class": "now", "visibility": hidden, **place})


def _care(given: list[tuple[dt.date, str]], days: Linear) -> list[Markup]:
    if not given:
        return []
    name = {"class": "figure", "x": 0, "y": CARE + 4, "aria-hidden": "true"}
    drawn = [element("text", name, "Care")]
    for day, steps in groupby(given, key=itemgetter(0)):
        x = percent(days(day.toordinal()))
        done = ", ".join(dict.fromkeys(what for _, what in steps))
        place = {"x1": x, "x2": x, "y1": CARE - 5, "y2": CARE + 4}
        title = element("title", {}, f"{date_words(day)}: {done}")
        drawn.append(element("line", {"class": "care", **place}, title))
    return drawn


def _scale(scale: Linear) -> Markup:
    lines = []
    for tick in nice_ticks(0, scale.high, 4):
        y = scale(tick)
        lines.append(element("line", {"class": "grid", "x1": 0, "x2": "100%", "y1": y, "y2": y}))
        lines.append(element("text", {"class": "figure", "x": 0, "y": y - 3}, f"{tick:g}"))
    name = element("text", {"class": "part-name", "x": 0, "y": TOP - 10}, "Area, mm²")
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
        {"href": address(shot), "data-key": shot.key},
        element("title", {}, f"{shot.when}: {words.area(measured)}"),
        _mark(shot, days, scale, measured.area_mm2, measured.area_error_mm2),
    )


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
