"""Dates as people type them. ISO 8601 calendar dates are what is stored."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flockcare.birds.forms import BirdForm, LeaveForm
from flockcare.birds.models import Bird
from flockcare.core.dates import PartialDate
from flockcare.people.models import Flock


@pytest.mark.parametrize(
    ("typed", "stored"),
    [
        ("2023", "2023"),
        ("2023-5", "2023-05"),
        ("2023-05-04", "2023-05-04"),
        ("14/5/2023", "2023-05-14"),
        ("5/14/2023", "2023-05-14"),
        ("14.05.2023", "2023-05-14"),
        ("14 - 5 - 2023", "2023-05-14"),
        ("3/3/2023", "2023-03-03"),
        ("29/2/2024", "2024-02-29"),
        ("5/2023", "2023-05"),
        ("2023/5/14", "2023-05-14"),
        ("2023.3.4", "2023-03-04"),
        ("14 May 2023", "2023-05-14"),
        ("4th september 2023", "2023-09-04"),
        ("Sept 4, 2023", "2023-09-04"),
        (" may 2023 ", "2023-05"),
        ("1-Dec-2023", "2023-12-01"),
    ],
)
def test_is_read(typed, stored):
    assert str(PartialDate.read(typed)) == stored


@pytest.mark.parametrize("typed", ["3/4/2023", "4.3.2023", "03-04-2023", "3 4 2023"])
def test_asks_where_it_can_be_read_two_ways(typed):
    with pytest.raises(ValueError, match=r"can be 4 Mar 2023 or 3 Apr 2023\. Write the month as"):
        PartialDate.read(typed)


@pytest.mark.parametrize(
    "typed",
    [
        *("spring", "14/5/23", "31/2/2023", "14/15/2023", "0/5/2023", "2023-05-00", "14 Mai 2023"),
        *("99 May 2023", "1949", "13/2023", "May", "14 2023 May", "1/2/3/2023", "1/13/2023x"),
    ],
)
def test_is_no_date(typed):
    with pytest.raises(ValueError, match=r"14 May 2023 or 2023-05-14; the month"):
        PartialDate.read(typed)


@given(st.dates(date(1950, 1, 1), date(2100, 1, 1)))
def test_what_is_said_in_words_is_read_again(day):
    stored = PartialDate(day.year, day.month, day.day)
    assert PartialDate.read(stored.words()) == PartialDate.read(str(stored)) == stored
    month = PartialDate(day.year, day.month)
    assert PartialDate.read(month.words()) == month


@pytest.mark.django_db
@pytest.mark.parametrize(("form", "name"), [(BirdForm, "hatched"), (LeaveForm, "left")])
def test_a_field_cuts_nothing_of_what_is_typed(form, name):
    made = form(instance=Bird(flock=Flock(name="Hill")), today=date(2026, 1, 1))
    assert "maxlength" not in str(made[name])
    assert made.fields[name].clean("4th September 2023") == "2023-09-04"
