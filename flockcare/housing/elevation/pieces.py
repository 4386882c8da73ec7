"""Lines, shapes and letters."""

from __future__ import annotations

from flockcare.drawing.markup import Markup, element, number


def line(kind: str, x1: float, y1: float, x2: float, y2: float) -> Markup:
    return element("line", {"class": kind, "x1": x1, "y1": y1, "x2": x2, "y2": y2})


def rect(kind: str, x: float, y: float, width: float, height: float, **more) -> Markup:
    return element(
        "rect", {"class": kind, "x": x, "y": y, "width": width, "height": height, **more}
    )


def shape(kind: str, *points: tuple[float, float]) -> Markup:
    """A closed outline through these points."""
    at = " ".join(f"{number(x)},{number(y)}" for x, y in points)
    return element("polygon", {"class": kind, "points": at})


def path(kind: str, d: str, **more) -> Markup:
    return element("path", {"class": kind, "d": d, **more})


def text(kind: str, x: float, y: float, *words: object, anchor: str | None = None) -> Markup:
    return element("text", {"class": kind, "x": x, "y": y, "text-anchor": anchor}, *words)
