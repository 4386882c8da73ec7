"""What the page says about the day on which the rate changed."""

import datetime as dt

import pytest

from flockcare.trends import changes, scan
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
