import datetime as dt
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flockcare.drawing.dates import (
    add_months,
    date_ticks,
    date_words,
    day_position,
    short_words,
    span_words,
)

LONDON = ZoneInfo("Europe/London")
UTC = dt.UTC


def moment(*parts):
    return dt.datetime(*parts, tzinfo=UTC)


# tz database, Europe/London: clocks go forward on 29 March 2026 at 01:00 UTC and back on
# 25 October 2026 at 01:00 UTC (last Sundays of March and October).
@pytest.mark.parametrize(
    ("at", "day", "clock"),
    [
        (moment(2026, 3, 28, 23, 59), dt.date(2026, 3, 28), 23 * 60 + 59),
        (moment(2026, 3, 29, 0, 59), dt.date(2026, 3, 29), 59),
        (moment(2026, 3, 29, 1, 0), dt.date(2026, 3, 29), 120),
        (moment(2026, 3, 29, 23, 0), dt.date(2026, 3, 30), 0),
        (moment(2026, 10, 24, 23, 0), dt.date(2026, 10, 25), 0),
        (moment(2026, 10, 25, 0, 30), dt.date(2026, 10, 25), 90),
        (moment(2026, 10, 25, 1, 30), dt.date(2026, 10, 25), 90),
        (moment(2026, 10, 26, 0, 0), dt.date(2026, 10, 26), 0),
    ],
)
def test_a_moment_lies_on_the_local_day_and_hour_across_clock_changes(at, day, clock):
    assert day_position(at, LONDON) == pytest.approx(day.toordinal() + clock / 1440)


def test_a_zone_that_skipped_a_day_keeps_its_calendar():
    # tz database, Pacific/Apia: 30 December 2011 did not exist there; the 29th was followed by
    # the 31st when the zone moved across the date line at midnight.
    apia = ZoneInfo("Pacific/Apia")
    before, after = moment(2011, 12, 30, 9, 59), moment(2011, 12, 30, 10, 0)
    assert int(day_position(before, apia)) == dt.date(2011, 12, 29).toordinal()
    assert day_position(after, apia) == dt.date(2011, 12, 31).toordinal()


def test_a_day_without_an_hour_lies_at_midday_and_a_moment_needs_a_zone():
    day = dt.date(2026, 5, 14)
    assert day_position(day, LONDON) == day.toordinal() + 0.5
    with pytest.raises(ValueError, match="time zone"):
        day_position(dt.datetime(2026, 5, 14, 8), LONDON)  # noqa: DTZ001 - the fault under test


# Leap years of the Gregorian calendar (ISO 8601): 2000 and 2024 are, 1900, 2023 and 2100 are not.
@pytest.mark.parametrize(
    ("day", "months", "then"),
    [
        (dt.date(2024, 1, 31), 1, dt.date(2024, 2, 29)),
        (dt.date(2023, 1, 31), 1, dt.date(2023, 2, 28)),
        (dt.date(2000, 3, 31), -1, dt.date(2000, 2, 29)),
        (dt.date(1900, 3, 31), -1, dt.date(1900, 2, 28)),
        (dt.date(2100, 3, 31), -1, dt.date(2100, 2, 28)),
        (dt.date(2024, 2, 29), 12, dt.date(2025, 2, 28)),
        (dt.date(2024, 2, 29), -48, dt.date(2020, 2, 29)),
        (dt.date(2025, 12, 5), 1, dt.date(2026, 1, 5)),
        (dt.date(2026, 1, 5), -1, dt.date(2025, 12, 5)),
    ],
)
def test_whole_months_on(day, months, then):
    assert add_months(day, months) == then


def shown(first, last, at_most):
    return [(t.on.isoformat(), t.label, t.year) for t in date_ticks(first, last, at_most)]


def test_a_month_is_labelled_by_its_mondays():
    # ISO 8601 week dates: 2024-W06 … 2024-W09 begin on 5, 12, 19 and 26 February.
    assert shown(dt.date(2024, 2, 1), dt.date(2024, 2, 29), 7) == [
        ("2024-02-05", "5 Feb", "2024"),
        ("2024-02-12", "12 Feb", ""),
        ("2024-02-19", "19 Feb", ""),
        ("2024-02-26", "26 Feb", ""),
    ]
    assert dt.date.fromisoformat("2024-W09-1") == dt.date(2024, 2, 26)


def test_a_season_and_a_year_are_labelled_by_months_and_a_new_year_is_named():
    assert shown(dt.date(2025, 11, 15), dt.date(2026, 2, 14), 7) == [
        ("2025-12-01", "Dec", "2025"),
        ("2026-01-01", "Jan", "2026"),
        ("2026-02-01", "Feb", ""),
    ]
    year = shown(dt.date(2025, 5, 15), dt.date(2026, 5, 14), 12)
    assert len(year) == 12
    assert [tick for tick in year if tick[2]] == [
        ("2025-06-01", "Jun", "2025"),
        ("2026-01-01", "Jan", "2026"),
    ]


def test_years_and_decades():
    assert shown(dt.date(2016, 5, 1), dt.date(2026, 5, 1), 6) == [
        (f"{year}-01-01", "", str(year)) for year in (2018, 2020, 2022, 2024, 2026)
    ]
    assert [t[0] for t in shown(dt.date(2025, 2, 1), dt.date(2026, 1, 31), 5)] == [
        "2025-04-01",
        "2025-07-01",
        "2025-10-01",
        "2026-01-01",
    ]


days = st.dates(dt.date(1950, 1, 1), dt.date(2100, 12, 31))


@given(days, st.integers(0, 5000), st.integers(1, 15))
def test_ticks_stay_inside_in_order_and_few(first, length, at_most):
    last = first + dt.timedelta(length)
    ticks = [tick.on for tick in date_ticks(first, last, at_most)]
    assert len(ticks) <= at_most
    assert ticks == sorted(set(ticks))
    assert all(first <= tick <= last for tick in ticks)


def test_days_in_the_wrong_order_are_refused():
    with pytest.raises(ValueError, match="no ticks"):
        date_ticks(dt.date(2026, 2, 2), dt.date(2026, 2, 1), 5)


def test_days_in_words():
    a, b = dt.date(2026, 4, 15), dt.date(2026, 5, 14)
    assert date_words(b) == "14 May 2026"
    assert span_words(a, b) == "15 Apr – 14 May 2026"
    assert span_words(dt.date(2025, 12, 15), b) == "15 Dec 2025 – 14 May 2026"
    assert span_words(b, b) == "14 May 2026"


def test_the_year_of_a_day_is_said_where_it_is_another():
    today = dt.date(2026, 12, 30)
    assert short_words(dt.date(2026, 11, 7), today) == "7 Nov"
    assert short_words(dt.date(2027, 1, 3), today) == "3 Jan 2027"
