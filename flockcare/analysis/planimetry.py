"""Area and outline of a sore, and how fast its edge closes in.

Outlines are (n, 2) points in any one unit of length, n >= 3, in order along the edge in either
direction, with or without the first point repeated at the end.

Margin advance: Gilman (1990) Wounds 2:95 (from memory); what it is good for: Jessup (2006) Adv.
Skin Wound Care 19:138. Area reduction and halving time as in Sheehan et al. (2003) Diabetes Care
26:1879 and Cardinal et al. (2009) BMC Dermatol. 9:2. All of these are of human wounds.
"""

from __future__ import annotations

import math

import numpy as np
from scipy.spatial.distance import pdist


def area(outline) -> float:
    """The area inside the outline, in its unit squared.

    Raises ValueError for an outline that is no list of at least three finite points, or that
    crosses itself (`crosses_itself` tells beforehand).
    """
    points = _points(outline)
    if _crosses(points):
        raise ValueError("outline crosses itself, so it has no one inside")
    x, y = (points - points[0]).T
    return float(abs(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2)


def perimeter(outline) -> float:
    """The length of the closed outline, in its unit. Errors as for `area`, but for crossing."""
    points = _points(outline)
    return float(np.hypot(*(np.roll(points, -1, axis=0) - points).T).sum())


def longest_diameter(outline) -> float:
    """The longest distance between two points of the outline. Errors as for `perimeter`."""
    return float(pdist(_points(outline)).max())


def crosses_itself(outline) -> bool:
    """Whether two parts of the outline cross. Errors as for `perimeter`."""
    return _crosses(_points(outline))


def margin_advance(area_0: float, perimeter_0: float, area_1: float, perimeter_1: float) -> float:
    """How far the edge moved in, in the unit of length: area lost over mean perimeter.

    Negative where the sore grew. A healed sore has area and perimeter 0.
    Raises ValueError for negative or infinite sizes and for an area without a perimeter.
    """
    for name, size in (("area_0", area_0), ("area_1", area_1)):
        _size(name, size)
    for name, length, inside in (
        ("perimeter_0", perimeter_0, area_0),
        ("perimeter_1", perimeter_1, area_1),
    ):
        _size(name, length)
        if length == 0 and inside > 0:
            raise ValueError(f"{name} must be above zero where there is an area")
    mean = (perimeter_0 + perimeter_1) / 2
    return (area_0 - area_1) / mean if mean else 0.0


def area_reduction(area_0: float, area_1: float) -> float:
    """Percentage of the first area that has closed; negative where the sore grew.

    Raises ValueError for a first area that is not above zero and a negative or infinite second.
    """
    _size("area_0", area_0, above_zero=True)
    _size("area_1", area_1)
    return 100 * (area_0 - area_1) / area_0


def halving_time(area_0: float, area_1: float, days: float) -> float:
    """Days in which the area halves at the pace between two measurements.

    Infinite where it did not shrink, 0 where nothing is left.
    Raises ValueError for areas as in `area_reduction` and for days not above zero.
    """
    _size("area_0", area_0, above_zero=True)
    _size("area_1", area_1)
    _size("days", days, above_zero=True)
    if area_1 >= area_0:
        return math.inf
    return days * math.log(2) / math.log(area_0 / area_1) if area_1 else 0.0


def _points(outline) -> np.ndarray:
    """The points without repeats of the one before (a finger rests, the end meets the start)."""
    try:
        points = np.asarray(outline, float)
    except (TypeError, ValueError) as wrong:
        raise ValueError("outline must be a list of (x, y) points") from wrong
    if points.ndim != 2 or points.shape[1] != 2 or not np.isfinite(points).all():
        raise ValueError("outline must be a list of finite (x, y) points")
    points = points[(points != np.roll(points, 1, axis=0)).any(1)]
    if len(points) < 3:
        raise ValueError("outline must have at least three different points")
    return points


def _crosses(points: np.ndarray) -> bool:
    """Whether any two sides cross; sides that only touch do not count."""
    start, end = points, np.roll(points, -1, axis=0)
    way = end - start

    def side(of: np.ndarray) -> np.ndarray:
        """On which side of line i point j lies, (n, n)."""
        gap = of[None] - start[:, None]
        return np.sign(way[:, None, 0] * gap[..., 1] - way[:, None, 1] * gap[..., 0])

    apart = side(start) * side(end) < 0
    return bool((apart & apart.T).any())


def _size(name: str, value: float, above_zero: bool = False) -> None:
    if not (math.isfinite(value) and (value > 0 if above_zero else value >= 0)):
        least = "above zero" if above_zero else "zero or more"
        raise ValueError(f"{name} must be {least}, not {value!r}")
