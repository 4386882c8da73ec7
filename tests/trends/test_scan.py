"""What the page says about the day on which the rate changed."""

import datetime as dt

import pytest

from flockcare.trends import changes, scan, words
from flockcare.trends.records import ChangeRow
from flockcare.trends.watch import Watch
from tests.trends.flocks import DAY_0, simulated


def test_a_large_change_is_found_where_it_was():
    watch = Watch.of(simulated(seed=11, birds=40, rate=0.004, ratio=0.1))
    told = changes.answers(watch)
    found = scan.answer(watch, told)
    assert found.told
    change = dt.date.fromordinal(DAY_0 + 365)
    assert found.first <= change <= found.last
    assert found.inside == (1,)
    assert found.sentences[0].startswith("Cases fell around ")
    assert "One logged change falls inside" in found.sentences[1]


def test_too_few_cases_are_refused_in_words():
    watch = Watch.of(simulated(seed=1, birds=4, rate=0.0003))
    found = scan.answer(watch, changes.answers(watch))
    assert not found.told and found.refusal.code == "too_few_cases"
    assert "too few to look for a change" in found.sentences[0]


def test_how_much_of_the_time_all_windows_cover():
    """One change in 731 days with 42 days after it, all birds watched alike: about 42 / 730."""
    watch = Watch.of(simulated(seed=2, birds=20))
    found = scan.answer(watch, changes.answers(watch))
    assert found.windows_share == pytest.approx(42 / 730, rel=0.2)
    assert any("42 days after every change" in sentence for sentence in found.sentences)


def test_a_long_period_is_no_time_around_which():
    short = words.scan_sentence(DAY_0, DAY_0 + 179, True, 0.01, True)
    long = words.scan_sentence(DAY_0, DAY_0 + 180, True, 0.01, True)
    assert short.startswith("Cases rose around ") and "one time in three" in short
    assert long == (
        "Cases rose at some time between 1 Jan 2025 and 30 Jun 2025 (about 1 in 100 by chance "
        "alone); when is not known."
    )
    first = dt.date.fromordinal(DAY_0)
    short, long = (words.scan_elsewhere(first, first + dt.timedelta(n)) for n in (179, 180))
    assert short.startswith("The rate itself changed around ")
    assert long == (
        "The rate itself changed at some time between 1 Jan 2025 and 30 Jun 2025, not around this "
        "change."
    )


def test_a_change_before_a_real_fall_is_not_called_crowded():
    """On day 200 something is done that does nothing, on day 365 cases fall to a tenth: against the
    whole record the days after the first looked crowded."""
    crowded = 0
    for seed in range(3):
        records = simulated(seed=seed, birds=60, rate=0.006, ratio=0.05, days=1100)
        records.changes.append(ChangeRow(0, DAY_0 + 200, ("New feed",), ""))
        watch = Watch.of(records)
        found = scan.answer(watch, changes.answers(watch))
        crowded += any(one.adjusted_p <= 0.05 for one in found.windows)
    assert crowded == 0
