"""The shapes of the sheet's drawings as SVG for the page; vet.css gives the tones."""

from __future__ import annotations

from flockcare.drawing.markup import Markup, element, number
from flockcare.drawing.timeline_paper import (
    GUTTER,
    LEGEND,
    Box,
    Disc,
    Drawing,
    Line,
    Polygon,
    Shape,
    Words,
)


def render(drawing: Drawing, title: str) -> Markup:
    """The drawing, and over its first part the names of its rows, which stay while it is moved."""
    height = number(drawing.height)
    return element(
        "div",
        {"class": "vet-moved"},
        element(
            "svg",
            {
                "class": "vet-drawing",
                "viewBox": f"0 0 {number(drawing.width)} {height}",
                "role": "img",
                "aria-label": title,
            },
            *map(_shape, drawing.shapes),
        ),
        element(
            "svg",
            {
                "class": "vet-names",
                "viewBox": f"0 0 {number(GUTTER)} {height}",
                "width": f"{100 * GUTTER / drawing.width:.4f}%",
                "aria-hidden": "true",
            },
            *map(_shape, drawing.names),
        ),
    )


def legend() -> list[tuple[Markup, str]]:
    """Each sign and what it means."""
    return [
        (
            element(
                "svg",
                {"class": "vet-sign", "viewBox": "-1 -1 10 10", "aria-hidden": "true"},
                *map(_shape, shapes),
            ),
            words,
        )
        for words, shapes in LEGEND
    ]


def _shape(shape: Shape) -> Markup:
    match shape:
        case Line():
            ends = {"x1": shape.x1, "y1": shape.y1, "x2": shape.x2, "y2": shape.y2}
            look = {"class": f"s-{shape.tone}", "stroke-width": shape.width, **_dash(shape.dash)}
            return element("line", {**ends, **look})
        case Box():
            kinds = f"f-{shape.fill or 'none'} s-{shape.stroke or 'none'}"
            place = {"x": shape.x, "y": shape.y, "width": shape.width, "height": shape.height}
            look = {"class": kinds, "stroke-width": 0.6, **_dash(shape.dash)}
            return element("rect", {**place, **look})
        case Disc():
            return _disc(shape)
        case Polygon():
            points = " ".join(f"{number(x)},{number(y)}" for x, y in shape.points)
            return element("polygon", {"class": f"f-{shape.tone}", "points": points})
        case Words():
            return element(
                "text",
                {
                    "class": f"f-{shape.tone}",
                    "x": shape.x,
                    "y": shape.y,
                    "font-size": shape.size,
                    "font-weight": 700 if shape.bold else None,
                    "text-anchor": None if shape.anchor == "start" else shape.anchor,
                },
                shape.text,
            )


def _disc(disc: Disc) -> Markup:
    if disc.filled == 1:
        place = {"cx": disc.x, "cy": disc.y, "r": disc.radius}
        return element("circle", {"class": "f-ink", **place})
    ring = {"class": "f-paper s-ink", "stroke-width": 0.8}
    whole = element("circle", {**ring, "cx": disc.x, "cy": disc.y, "r": disc.radius})
    if not disc.filled:
        return whole
    x, y, r = (number(value) for value in (disc.x, disc.y - disc.radius, disc.radius))
    turn = f"M{x} {y}a{r} {r} 0 0 1 0 {number(2 * disc.radius)}Z"
    return Markup(whole + element("path", {"class": "f-ink", "d": turn}))


def _dash(dash: tuple[float, ...]) -> dict:
    return {"stroke-dasharray": " ".join(map(number, dash))} if dash else {}
