"""Half a year before a change and half a year after it: winter on one side, summer on the other."""

import datetime as dt

import numpy as np
import pytest

from flockcare.trends import changes, words
from flockcare.trends.answers import build
from flockcare.trends.management.commands.trends import spoken
from flockcare.trends.watch import Watch
from tests.studies import trends_truth
from tests.trends.flocks import simulated


def flocks(name, runs, seed, **more):
    from dataclasses import replace

    (kind,) = (one for one in trends_truth.KINDS if one.name == name)
    kind = replace(kind, **more)
    rounds, sore = trends_truth.simulate(kind, runs, np.random.default_rng(seed))
    for run in range(runs):
        yield trends_truth.records_of(kind, rounds, sore[:, run], run)


@pytest.mark.parametrize("name", ["change in April, half a year", "the same in one house"])
def test_a_spring_that_follows_winter_is_never_called_a_fall(name):
    """Twice to ten times as many cases in winter as in summer, and a change that does nothing."""
    states = [changes.answers(Watch.of(one))[0].state for one in flocks(name, 12, 4)]
    assert not {"clear", "some_sign", "hint"} & set(states)
    assert "season" in states


def test_the_first_lines_say_so_and_what_would_help():
    for records in flocks("change in April, half a year", 12, 4):
        found = build(records, flock="", today=dt.date(2025, 12, 1))
        (change,) = found.changes
        if change.state == "season":
            break
    assert found.headline[1].startswith("Winter and the change “Bar lowered to 60 cm (Ark")
    assert found.headline[1].endswith("cannot be told apart.")
    assert not any("New cases" in line for line in found.headline[1:])
    assert "winter and this change cannot be told apart" in change.sentences[1]
    assert change.tells_more == words.WHOLE_YEAR
    # And without --json, with what else changed.
    assert any(line.startswith("What else changed: the season: ") for line in spoken(found))


def test_an_unchanged_house_with_the_same_seasons_lets_a_large_fall_be_told():
    states = [
        changes.answers(Watch.of(one))[0]
        for one in flocks("the same in one house", 6, 4, ratios=(0.02, 1.0), rate=0.008, season=0.5)
    ]
    told = [one for one in states if one.state == "some_sign"]
    assert told and all(one.beside.against.high < 1 for one in told)
    assert "over the same season, that is anything from" in told[0].beside.sentence


def test_a_whole_year_on_either_side_holds_every_season():
    (answer,) = changes.answers(Watch.of(simulated(seed=5, birds=40, rate=0.004, ratio=0.1)))
    assert answer.state == "clear" and max(answer.winter) - min(answer.winter) < 0.1
