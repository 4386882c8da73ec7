"""More cases lately than expected, against published tables and a general-purpose library."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest, poisson

from flockcare.analysis.outbreak import excess

from .properties import examples

quick = examples(30)


def before(cases, days, each=1.0):
    """So many gaps of one length, of which the first found a case."""
    widths = np.full(round(days / each), each)
    return widths, np.arange(widths.size) < cases


# Poisson probabilities at a mean of 1, read in a textbook chapter on random distribution of cases
# in time and space: 0.3679, 0.3679, 0.1839, 0.0613, 0.0153, 0.0031, 0.0005 for 0 to 6 cases.
@pytest.mark.parametrize(
    ("cases", "tail"),
    [(1, 0.6321), (2, 0.2642), (3, 0.0803), (4, 0.0190), (5, 0.0037)],
)
def test_with_a_long_time_before_it_is_the_published_poisson_tail(cases, tail):
    found = excess(cases, np.ones(1000), *before(2000, 2_000_000))
    assert found.expected == pytest.approx(1, rel=0.01)
    assert found.p == pytest.approx(tail, abs=0.002)


def test_fourteen_where_ten_are_expected():
    """p = 0.1355, read in the table of examples of a public Poisson calculator."""
    found = excess(14, np.ones(10_000), *before(2000, 2_000_000))
    assert found.expected == pytest.approx(10, rel=0.01)
    assert found.p == pytest.approx(0.1355, abs=0.002)


def test_two_rates_as_published():
    """41 in 28,010 person-years against 15 in 19,017 (Boice & Monson 1977, in Rothman, from
    memory): central exact p 0.04766 in two tails, so half of it in one."""
    found = excess(41, np.full(28010, 1.0), *before(15, 19017))
    assert found.p == pytest.approx(0.04766 / 2, abs=2e-4)


@quick
@given(st.integers(0, 12), st.integers(0, 30), st.integers(1, 200), st.integers(31, 900))
def test_against_a_general_library(cases, earlier, days, days_before):
    found = excess(cases, np.ones(days), *before(earlier, days_before))
    share = days / (days + days_before)
    wanted = binomtest(cases, cases + earlier, share, "greater").pvalue if cases + earlier else 1
    assert found.p == pytest.approx(wanted, rel=1e-9)
    assert found.smallest_p == pytest.approx(share**cases)
    assert found.smallest_p <= found.p + 1e-12
    assert found.expected == pytest.approx(earlier * days / days_before)


@quick
@given(st.integers(1, 9), st.floats(0.5, 5))
def test_the_poisson_tail_of_a_library_is_the_limit(cases, mean):
    many = 2_000_000
    found = excess(cases, np.full(1000, 1.0), *before(round(mean * many / 1000), many))
    assert found.p == pytest.approx(poisson.sf(cases - 1, found.expected), abs=1e-3)


def test_a_long_gap_had_long_to_bring_cases():
    """3 at one round of 8 birds: after a week that is many, after 50 days it is not."""
    past = before(10, 8 * 364, 7.0)
    assert excess(3, np.full(8, 7.0), *past).p < 0.005
    assert excess(3, np.full(8, 50.0), *past).p > 0.15


def test_a_gap_can_find_one_case_only_however_long_it_is():
    """Half of the gaps of 30 days found a case: ln 2 / 30 a day, so 1 - 0.5^2 in one of 60."""
    found = excess(1, [60.0], [30.0] * 10, [True] * 5 + [False] * 5)
    assert found.expected == pytest.approx(0.75)


def test_without_a_time_before_nothing_can_be_told():
    found = excess(5, [7.0, 7.0], [], [])
    assert (found.expected, found.p, found.smallest_p) == (0.0, 1.0, 1.0)


def test_where_every_gap_before_found_a_case():
    found = excess(2, [7.0], [7.0] * 3, [True] * 3)
    assert found.expected == pytest.approx(1)
    assert found.p == pytest.approx(binomtest(2, 5, 0.25, "greater").pvalue)


@pytest.mark.parametrize(
    "given",
    [
        (-1, [7.0], [7.0], [True]),
        (1.5, [7.0], [7.0], [True]),
        (1, [0.0], [7.0], [True]),
        (1, [7.0], [7.0, 7.0], [True]),
        (1, [], [], []),
    ],
)
def test_what_is_no_count_or_gap_is_refused(given):
    with pytest.raises(ValueError):
        excess(*given)
