"""What the measurements of a case say, from two readings to many, near the edge of the error."""

from math import pi, sqrt

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flockcare.care import sizes
from flockcare.care.sizes import Size


def mm(*readings, error=1.0):
    """(value, days ago), the newest first."""
    return tuple(Size(value, error, "mm", days) for value, days in readings)


def mm2(*readings, relative=0.05):
    return tuple(Size(value, value * relative, "mm²", days) for value, days in readings)


# Two readings to 1 mm differ by up to √2 mm (JCGM 100:2008, 5.1.2, from memory).
EDGE = sqrt(2)


@pytest.mark.parametrize(
    ("readings", "course"),
    [
        (mm((6, 0)), None),
        (mm((6 + EDGE - 0.01, 0), (6, 5)), "same"),
        (mm((6 + EDGE + 0.01, 0), (6, 5)), "worse"),
        (mm((6 - EDGE + 0.01, 0), (6, 5)), "same"),
        (mm((6 - EDGE - 0.01, 0), (6, 5)), "better"),
        # 87 % below its peak: what it was at first does not count.
        (mm2((10, 0), (75, 10), (1.4, 20)), "better"),
        # Grown again after it had shrunk, also while it begins to shrink anew.
        (mm2((20, 0), (3, 10), (75, 20)), "worse"),
        (mm2((15, 0), (20, 5), (3, 10), (75, 20)), "worse"),
        # Grown, and measured once more: nothing has shrunk yet.
        (mm((8.5, 0), (9, 3), (4, 10)), "worse"),
        (mm((7, 0), (9, 3), (4, 10)), "better"),
        # Small steps, each within the error.
        (mm((6, 0), (5.5, 3), (5, 6), (4.5, 9)), "worse"),
        (mm((6, 0), (6.5, 3), (7, 6), (7.5, 9)), "better"),
    ],
)
def test_the_course_of_the_whole_case(readings, course):
    found = [sizes.is_better(readings), sizes.is_worse(readings)]
    expected = {
        None: [None, None],
        "same": [False, False],
        "better": [True, False],
        "worse": [False, True],
    }
    assert found == expected[course]


@pytest.mark.parametrize(
    ("readings", "growing"),
    [
        (mm((6, 0)), None),
        (mm((8, 0), (6, 5)), True),
        (mm((7, 0), (6, 5)), False),
        # Larger than at its smallest, but smaller than the reading before.
        (mm((7, 0), (8, 3), (4, 6), (10, 20)), False),
        # Larger than the reading before, but no larger than it was at first, nor smaller since.
        (mm((8, 0), (5, 3), (8, 6)), True),
    ],
)
def test_growing_is_against_the_reading_before_too(readings, growing):
    assert sizes.is_growing(readings) is growing


@pytest.mark.parametrize(
    ("readings", "found", "surely"),
    [
        (mm((6, 0), (6, 13)), None, None),
        (mm((6, 0), (6, 14)), True, True),
        (mm((5.2, 0), (5.2, 14)), True, True),
        # Too small to tell by a ruler: it may well have shrunk.
        (mm((4, 0), (4, 14)), True, False),
        (mm((5, 0), (6, 15)), True, False),
        (mm((4, 0), (6, 15)), False, False),
        (mm((9.9, 0), (10, 42)), True, True),
        (mm2((40, 0), (40, 14)), True, True),
        (mm2((38, 0), (40, 14)), True, True),
        (mm2((30, 0), (40, 14)), False, False),
        # A reading a little above the first does not start the clock anew.
        (mm((9.9, 0), (10.2, 3), (10, 42)), True, True),
        # Slowly smaller, each step within the error, but not the whole.
        (mm((7, 0), (7.5, 7), (8, 14), (8.5, 21), (9, 28), (10, 42)), False, False),
        # It grew for three weeks, and has shrunk since.
        (mm((5, 0), (9, 10), (4, 30)), False, False),
    ],
)
def test_not_smaller_after_two_weeks(readings, found, surely):
    assert sizes.not_smaller(readings) is found
    assert sizes.surely_not_smaller(readings) is surely


@pytest.mark.parametrize(
    ("readings", "found"),
    [
        (mm2((30, 0), (40, 27)), None),
        (mm2((20.1, 0), (40, 28)), True),
        (mm2((20, 0), (40, 28)), False),
        # Half of the area of a circle is 0.71 of its width.
        (mm((7.2, 0), (10, 28)), True),
        (mm((7, 0), (10, 28)), False),
        # Four weeks from its peak, not from when it was small.
        (mm2((45, 0), (75, 12), (1, 30)), None),
        (mm2((45, 0), (75, 28), (1, 46)), True),
        (mm((9.9, 0), (10.2, 3), (10, 42)), True),
        (mm2((40, 0)), None),
    ],
)
def test_less_than_half_gone_after_four_weeks(readings, found):
    """Human studies: half of the area in four weeks (Sheehan 2003, Coerper 2009)."""
    assert sizes.less_than_half_gone(readings) is found


@pytest.mark.parametrize(
    ("readings", "found"),
    [
        (mm((8, 0), (8, 15), (8, 30), (12, 60)), True),
        (mm((8, 0), (8, 14), (12, 60)), True),
        (mm((7.9, 0), (8, 15), (8, 30), (12, 60)), False),
        (mm((8, 0), (8, 13), (12, 60)), False),
        (mm((8, 0), (8, 13)), None),
        (mm((8.5, 0), (9, 3), (4, 30)), None),
    ],
)
def test_healing_that_stands_still(readings, found):
    assert sizes.stands_still(readings) is found


def test_units_are_not_mixed_and_an_old_way_of_measuring_is_left_out():
    assert sizes.series(()) == []
    areas, widths = mm2((40, 20), (30, 3)), mm((6, 17), (5, 30))
    assert sizes.series((*areas, *widths)) == [widths, tuple(reversed(areas))]
    older = mm((6, 18), (5, 30))
    assert sizes.series((*areas, *older)) == [tuple(reversed(areas))]


def test_the_width_of_an_area_is_that_of_its_circle():
    assert Size(pi * 25, 1, "mm²", 0).width_mm == pytest.approx(10)
    assert Size(7, 1, "mm", 0).width_mm == 7


some_readings = (
    st.lists(
        st.tuples(st.floats(0.5, 60), st.floats(0.1, 10), st.integers(0, 120)),
        min_size=2,
        max_size=8,
    )
    .map(lambda rows: tuple(Size(value, error, "mm", days) for value, error, days in rows))
    .map(lambda found: sizes.series(found)[0])
)


@settings(deadline=None)
@given(some_readings)
def test_what_is_better_is_not_worse_and_only_what_is_worse_grows(readings):
    assert not (sizes.is_better(readings) and sizes.is_worse(readings))
    assert not sizes.is_growing(readings) or sizes.is_worse(readings)
    assert not (sizes.is_better(readings) and sizes.not_smaller(readings))
    assert 0 < sizes.share_left(readings) <= 1


@settings(deadline=None)
@given(some_readings, st.floats(1.5, 4))
def test_the_newest_reading_any_larger_is_never_better_news(readings, factor):
    newest, *earlier = readings
    larger = (Size(newest.value * factor, newest.error, "mm", newest.days_ago), *earlier)
    assert not sizes.is_worse(readings) or sizes.is_worse(larger)
    assert not sizes.is_better(larger) or sizes.is_better(readings)
