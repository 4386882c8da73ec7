from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flockcare.drawing.scales import Linear, nice_ticks


@pytest.mark.parametrize(
    ("low", "high", "ticks"),
    [
        # Heckbert (1990), Nice numbers for graph labels, Graphics Gems: "if the data range is 105
        # to 543 [...] put tick marks every 100 units. Or if the data range is 2.04 to 2.16 [...]
        # a tick spacing of 0.05" (his ticks also stand outside the data, ours do not).
        (105, 543, [200, 300, 400, 500]),
        (2.04, 2.16, [2.05, 2.10, 2.15]),
        # By hand.
        (0, 1, [0, 0.5, 1]),
        (-1, 1, [-1, -0.5, 0, 0.5, 1]),
        (0, 0.3, [0, 0.1, 0.2, 0.3]),
        (7, 7, [7]),
        (1900, 2300, [1900, 2000, 2100, 2200, 2300]),
    ],
)
def test_ticks_fall_on_round_numbers(low, high, ticks):
    assert nice_ticks(low, high, 5) == pytest.approx(ticks)


bounds = st.floats(-1e3, 1e3, allow_nan=False)


@given(bounds, st.floats(1e-2, 1e6), st.integers(2, 12))
def test_ticks_lie_inside_are_even_and_the_finest_that_fit(low, width, at_most):
    high = low + width
    ticks = nice_ticks(low, high, at_most)
    slack = 1e-6 * width
    assert len(ticks) <= at_most
    assert all(low - slack <= tick <= high + slack for tick in ticks)
    if len(ticks) > 1:
        step = ticks[1] - ticks[0]
        leading = f"{step:.3e}"[0]
        assert leading in "125"
        assert [b - a for a, b in pairwise(ticks)] == pytest.approx(
            [step] * (len(ticks) - 1), rel=1e-3
        )
        # The next finer step is two fifths or half as wide and would give too many.
        assert width / (0.4 * step) + 1 > at_most


@pytest.mark.parametrize(
    ("low", "high", "at_most"), [(2, 1, 5), (0, float("inf"), 5), (float("nan"), 1, 5), (0, 1, 1)]
)
def test_a_scale_that_cannot_be_is_refused(low, high, at_most):
    with pytest.raises(ValueError, match=r"scale|ticks"):
        nice_ticks(low, high, at_most)


def test_a_scale_may_run_downwards_as_heights_on_a_screen_do():
    up = Linear(0, 200, 100, 0)
    assert [up(0), up(50), up(200)] == [100, 75, 0]
    assert Linear(3, 3, 0, 10)(3) == 5
