"""Areas and outlines against shapely, exact figures and one published series."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import Polygon

from flockcare.analysis.planimetry import (
    area,
    area_reduction,
    crosses_itself,
    halving_time,
    longest_diameter,
    margin_advance,
    perimeter,
)

from .properties import examples

quick = examples(60)


def regular(corners, apothem):
    radius = apothem / math.cos(math.pi / corners)
    turns = 2 * np.pi * np.arange(corners) / corners
    return radius * np.stack((np.cos(turns), np.sin(turns)), axis=1)


def rectangle(width, height):
    return [(0, 0), (width, 0), (width, height), (0, height)]


def advance(first, second):
    return margin_advance(area(first), perimeter(first), area(second), perimeter(second))


# A convex outline moved inwards by d evenly has D = d exactly (geometry, no published table).
@pytest.mark.parametrize(
    ("first", "second", "moved"),
    [
        (rectangle(20, 10), rectangle(16, 6), 2.0),
        (regular(6, 8), regular(6, 6.5), 1.5),
        (regular(100_00 // 10, 10), regular(1000, 8), 2.0),
    ],
)
def test_margin_advance_is_the_inset(first, second, moved):
    assert advance(first, second) == pytest.approx(moved, rel=1e-6)


def test_margin_advance_of_circles_and_of_a_triangle():
    circle = [(math.pi * r**2, 2 * math.pi * r) for r in (10, 8)]
    assert margin_advance(*circle[0], *circle[1]) == pytest.approx(2)
    # 15-20-25: area 150, perimeter 60, inradius 5; inset by 1 it shrinks to 4/5.
    assert margin_advance(150, 60, 150 * 0.64, 48) == pytest.approx(1)


def test_published_foot_ulcers():
    """61.2 to 3.2 mm² in 70 days, Zimny et al. (2002) J Diabetes Complications 16:327 (areas
    read). As circles that is .049 mm a day (computed, not the paper's own figure)."""
    radius = [math.sqrt(size / math.pi) for size in (61.2, 3.2)]
    moved = margin_advance(61.2, 2 * math.pi * radius[0], 3.2, 2 * math.pi * radius[1])
    assert moved / 70 == pytest.approx(0.049, abs=5e-4)
    assert area_reduction(61.2, 3.2) == pytest.approx(94.8, abs=0.05)


def test_halfway_in_time_a_round_wound_is_three_quarters_closed():
    """Saiko (2021) doi 10.5220/0010337601820187 (read): round 75 %, slit 50 %."""
    assert area_reduction(math.pi * 8**2, math.pi * 4**2) == pytest.approx(75)
    assert area_reduction(1000 * 2, 1000 * 1) == pytest.approx(50)


def test_halving_time():
    assert halving_time(80, 20, 14) == pytest.approx(7)
    assert halving_time(80, 80, 14) == math.inf
    assert halving_time(80, 90, 14) == math.inf
    assert halving_time(80, 0, 14) == 0


POLAR = st.lists(st.floats(0.2, 5), min_size=3, max_size=40)


def star(radii):
    turns = 2 * np.pi * np.arange(len(radii)) / len(radii)
    return np.asarray(radii)[:, None] * np.stack((np.cos(turns), np.sin(turns)), axis=1)


@quick
@given(POLAR, st.floats(-math.pi, math.pi), st.floats(-1e3, 1e3), st.floats(0.01, 100))
def test_against_shapely_and_under_motion(radii, turn, shift, scale):
    outline = star(radii)
    other = Polygon(outline)
    assert area(outline) == pytest.approx(other.area, rel=1e-9)
    assert perimeter(outline) == pytest.approx(other.length, rel=1e-9)
    hull = np.array(other.convex_hull.exterior.coords)
    widest = max(math.dist(a, b) for a in hull for b in hull)
    assert longest_diameter(outline) == pytest.approx(widest, rel=1e-9)
    turned = outline @ np.array(
        [[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]]
    )
    moved = scale * turned[::-1] + shift
    assert area(moved) == pytest.approx(scale**2 * area(outline), rel=1e-6)
    assert perimeter(moved) == pytest.approx(scale * perimeter(outline), rel=1e-6)
    assert longest_diameter(moved) == pytest.approx(scale * longest_diameter(outline), rel=1e-6)


@quick
@given(st.lists(st.tuples(st.integers(0, 8), st.integers(0, 8)), min_size=4, max_size=7))
def test_crossing_against_shapely(points):
    """shapely also calls outlines that only touch themselves invalid; ours calls those fine."""
    try:
        crossed = crosses_itself(points)
    except ValueError:
        return
    if crossed:
        assert not Polygon(points).is_valid


def test_crossing_outline_has_no_area():
    bow_tie = [(0, 0), (2, 2), (2, 0), (0, 2)]
    assert crosses_itself(bow_tie)
    with pytest.raises(ValueError, match="outline"):
        area(bow_tie)
    assert perimeter(bow_tie) == pytest.approx(4 + 4 * math.sqrt(2))


def test_resting_finger_and_closing_point_do_not_matter():
    square = rectangle(4, 4)
    drawn = [(0, 0), (0, 0), (4, 0), (4, 4), (4, 4), (4, 4), (0, 4), (0, 0)]
    for measure in (area, perimeter, longest_diameter):
        assert measure(drawn) == pytest.approx(measure(square))


def test_flat_outline_has_no_area():
    assert area([(0, 0), (1, 1), (2, 2)]) == 0


@pytest.mark.parametrize(
    "outline",
    [[], [(0, 0), (1, 1)], [(0, 0), (1, 1), (1, 1)], [(0, 0), (1, math.nan), (2, 0)],
     [(0, 0), (1, math.inf), (2, 0)], [0, 1, 2], [(0, 0, 0)] * 3, "abc", [(0, 0), (1,)]],
)  # fmt: skip
def test_bad_outlines(outline):
    for measure in (area, perimeter, longest_diameter, crosses_itself):
        with pytest.raises(ValueError, match="outline"):
            measure(outline)


@pytest.mark.parametrize(
    ("function", "arguments", "named"),
    [
        (margin_advance, (-1, 1, 1, 1), "area_0"),
        (margin_advance, (1, 0, 1, 1), "perimeter_0"),
        (margin_advance, (1, 1, math.nan, 1), "area_1"),
        (margin_advance, (1, 1, 1, math.inf), "perimeter_1"),
        (area_reduction, (0, 1), "area_0"),
        (area_reduction, (1, -1), "area_1"),
        (halving_time, (1, 1, 0), "days"),
    ],
)
def test_bad_sizes(function, arguments, named):
    with pytest.raises(ValueError, match=named):
        function(*arguments)


def test_healed_sore():
    assert margin_advance(100, 40, 0, 0) == 5
    assert margin_advance(0, 0, 0, 0) == 0
    assert margin_advance(50, 25, 100, 35) < 0
