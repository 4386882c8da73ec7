"""Shapes of marks around the origin, told apart without colour.

They are coloured by the style sheet: ``mark-line`` is stroked, ``mark-fill`` is filled.
"""

from __future__ import annotations

from flockcare.drawing.markup import Markup, element, join, number


def ring(radius: float) -> Markup:
    return element("circle", {"class": "mark-line", "r": radius})


def half_ring(radius: float) -> Markup:
    """A ring whose right half is filled."""
    r = number(radius)
    half = element("path", {"class": "mark-fill", "d": f"M0 -{r}A{r} {r} 0 0 1 0 {r}Z"})
    return join([ring(radius), half])


def disc(radius: float) -> Markup:
    return dot(radius + 0.8)  # As wide as a ring with its line.


def cross(radius: float) -> Markup:
    r = number(radius)
    return element("path", {"class": "mark-line", "d": f"M-{r} 0H{r}M0 -{r}V{r}"})


def boxed_cross(radius: float) -> Markup:
    box = element(
        "rect",
        {
            "class": "mark-fill",
            "x": -radius,
            "y": -radius,
            "width": 2 * radius,
            "height": 2 * radius,
        },
    )
    r = number(radius * 0.6)
    sign = element("path", {"class": "mark-cut", "d": f"M-{r} 0H{r}M0 -{r}V{r}"})
    return join([box, sign])


def diamond(radius: float) -> Markup:
    r = number(radius)
    return element("path", {"class": "mark-fill", "d": f"M0 -{r}L{r} 0L0 {r}L-{r} 0Z"})


def triangle(radius: float) -> Markup:
    r = number(radius)
    return element("path", {"class": "mark-fill", "d": f"M0 -{r}L{r} {r}H-{r}Z"})


def dot(radius: float) -> Markup:
    return element("circle", {"class": "mark-fill", "r": radius})
