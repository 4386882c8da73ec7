"""Checks made because a bird limps count in no rate; those of rounds do, however they are made."""

import datetime as dt

import numpy as np
import pytest

from flockcare.trends import changes, next_steps, words
from flockcare.trends.answers import build
from flockcare.trends.records import ALWAYS, STILL, Looks, StayRow
from flockcare.trends.rounds import on_rounds, only_cases
from flockcare.trends.watch import Watch
from tests.studies import trends_truth
from tests.trends.flocks import DAY_0, birds_of, flock


def weekly(birds, weeks=20, first=0):
    return {(n, 0): [(first + 7 * k, 0) for k in range(weeks)] for n in range(birds)}


def counted(records):
    """(bird, day) of the looks that count."""
    looks, kept = records.looks, on_rounds(records)
    return set(zip(looks.bird[kept].tolist(), (looks.day[kept] - DAY_0).tolist(), strict=True))


def test_a_single_bird_between_rounds_does_not_count_whatever_was_found():
    histories = {(n, 0): [(28 * k, 0) for k in range(6)] for n in range(10)}
    histories[0, 0] += [(40, 1), (96, 0)]
    records = flock(histories)
    assert {(0, 40), (0, 96)}.isdisjoint(counted(records))
    assert {(0, 28), (9, 140)} <= counted(records)
    watch = Watch.of(records)
    assert watch.between == 2
    # Sore on day 40, clear again at the round of day 56: on record, in no rate.
    (case,) = watch.cases
    assert not watch.pairs.affected.any() and not case.counted and case.found_on == DAY_0 + 40


def test_what_is_still_there_at_the_round_counts_from_round_to_round():
    histories = {(n, 0): [(28 * k, 0) for k in range(6)] for n in range(10)}
    histories[0, 0] = [(0, 0), (28, 0), (40, 1), (56, 1), (84, 0), (112, 0)]
    watch = Watch.of(flock(histories))
    (at,) = watch.case_pairs
    assert (watch.pairs.left[at] - DAY_0, watch.pairs.right[at] - DAY_0) == (28, 56)
    (case,) = watch.cases
    assert case.counted and case.found_on == DAY_0 + 40


def test_a_round_may_be_spread_over_some_days_and_over_houses():
    # A third of the birds each day, three days running: each is 40 % with its neighbours.
    spread = {(n, 0): [(14 * k + n % 3, 0) for k in range(8)] for n in range(9)}
    assert len(counted(flock(spread))) == 72
    # One of three houses a week, five birds in each: a third of the flock, all of the house.
    homes = [n // 5 for n in range(15)]
    turns = {(n, 0): [(21 * k + 7 * homes[n], 0) for k in range(6)] for n in range(15)}
    assert len(counted(flock(turns, houses="ABC", homes=homes))) == 90


def test_a_flock_that_is_never_checked_in_rounds_keeps_all_it_has():
    histories = {(n, 0): [(70 * k + 7 * n, 0) for k in range(6)] for n in range(10)}
    assert len(counted(flock(histories))) == 60


def test_birds_that_left_do_not_hold_up_the_rounds_of_those_that_stay():
    histories = weekly(4) | {(n, 0): [(7 * k, 0) for k in range(12)] for n in range(4, 12)}
    gone = birds_of(12, present=[n < 4 for n in range(12)])
    assert len(counted(flock(histories, birds=gone))) == 12 * 12 + 4 * 8
    # Those that are here and not checked do: else who checks only limping birds would count.
    assert len(counted(flock(histories, birds=birds_of(12)))) == 12 * 12


def test_no_looks_at_all():
    none = np.zeros(0, np.int64)
    looks = Looks(none, none, none, none, [], none)
    assert only_cases(looks) == ()


# Invented flocks in which nothing changed, or much did


def told(kind_name, runs, seed):
    (kind,) = (one for one in trends_truth.KINDS if one.name == kind_name)
    rounds, sore = trends_truth.simulate(kind, runs, np.random.default_rng(seed))
    ratios, states = [], []
    for run in range(runs):
        watch = Watch.of(trends_truth.records_of(kind, rounds, sore[:, run], run))
        (answer,) = changes.answers(watch)
        ratios.append(answer.found.ratio.value)
        states.append(answer.state)
    return float(np.nanmedian(ratios)), sum(one in ("some_sign", "clear") for one in states)


def test_nothing_rises_because_clear_birds_are_no_longer_logged():
    """With every check counted the middle ratio was 1.9, and half of the flocks were told."""
    middle, said = told("clear ones no longer logged", 24, 7)
    assert 0.6 < middle < 1.5 and said <= 6


def test_a_real_fall_is_still_told():
    middle, said = told("0.3, irregular rounds", 12, 7)
    assert 0.15 < middle < 0.5 and said >= 8


def test_a_house_that_is_seldom_checked_does_not_seem_worse():
    """Equal houses, one checked weekly, one every six weeks and whenever a hen limps: once it
    seemed to have over twice the cases."""
    kind = trends_truth.Kind("", rate=0.003, limping=0.05)
    rng = np.random.default_rng(3)
    cases = np.zeros((2, 2))
    for _ in range(8):
        sore = trends_truth.simulate(kind, 1, rng)[1]
        histories, known = {}, {}
        for bird in range(24):
            every = (7, 42)[bird % 2]
            days = []
            for day in range(trends_truth.DAYS + 1):
                ill = sore[day, 0, bird].any()
                limps = ill and not known.get(bird) and rng.random() < kind.limping
                if day % every == 0 or limps:
                    days.append(day)
                    known[bird] = ill
            for foot in (0, 1):
                histories[bird, foot] = [(day, int(sore[day, 0, bird, foot])) for day in days]
        homes = [bird % 2 for bird in range(24)]
        watch = Watch.of(flock(histories, houses=("Ark", "Barn"), homes=homes))
        for house in (0, 1):
            here = watch.house == house
            cases[house] += watch.pairs.affected[here].sum(), watch.lasting_days[here].sum()
    rates = cases[:, 0] / cases[:, 1]
    assert 0.75 < rates[1] / rates[0] < 1.3


# Who logs cases alone


def mixed():
    """Ros checks all ten birds each fortnight; Ted logs ten birds between, nine of them sore."""
    rows = [(bird, 14 * k, 0, 0) for k in range(20) for bird in range(10)]
    rows += [(bird, 14 * bird + 6, int(bird > 0), 1) for bird in range(10)]
    bird, day, score, who = np.array(rows).T
    records = flock({(n, 0): "0" for n in range(10)})
    keys = [f"{n:032x}" for n in range(bird.size)]
    looks = Looks(bird, np.zeros(bird.size, int), day + DAY_0, score, keys, who, ("Ros", "Ted"))
    stays = [StayRow(0, 0, ALWAYS, STILL)]
    return type(records)(birds=records.birds, looks=looks, houses=records.houses, stays=stays)


def test_a_keeper_who_logs_only_cases_is_named_first_and_asked_for_the_clear_ones():
    (one,) = only_cases(mixed().looks)
    assert (one.name, one.checks, one.found) == ("Ted", 10, 9)
    report = build(mixed(), flock="", today=dt.date(2025, 12, 1))
    assert report.headline[0].startswith("9 of 10 checks by Ted of birds that were clear before")
    assert report.steps[0].sentence == (
        "Ted: log the clear birds too, each time birds are checked."
    )


def test_checks_that_follow_a_case_are_not_held_against_a_keeper():
    looks = mixed().looks
    # Ted looks at one sore bird day after day.
    score, who = looks.score.copy(), looks.keeper.copy()
    who[:], score[:] = 0, 0
    his = looks.bird == 3
    score[his], who[his] = 1, 1
    assert only_cases(Looks(looks.bird, looks.foot, looks.day, score, [], who, ("R", "T"))) == ()


@pytest.mark.parametrize(("checks", "said"), [(7, 0), (8, 1)])
def test_a_few_checks_are_not_judged(checks, said):
    bird = np.repeat(np.arange(checks), 2)
    day = np.tile([0, 5], checks) + DAY_0
    score, who = np.tile([0, 1], checks), np.tile([0, 1], checks)
    looks = Looks(bird, bird * 0, day, score, [], who, ("Ros", "Ted"))
    assert len(only_cases(looks)) == said


def test_without_a_name_the_page_asks_all():
    assert words.log_clear([""]).startswith("Log the clear birds too")
    assert next_steps.steps(Watch.of(mixed()), ())[0].code == "clear"


def test_birds_under_care_do_not_make_a_round_among_themselves():
    """Five of ten sore from week 4 on; in week 5 they alone are checked, with one that limps."""
    histories = {(n, 0): [(14 * k, int(n < 5 and k == 2)) for k in range(8)] for n in range(10)}
    for n in range(5):
        histories[n, 0].append((35, 1))
    histories[6, 0].append((35, 1))
    days = {day for _, day in counted(flock(histories))}
    assert 35 not in days and {28, 42} <= days
