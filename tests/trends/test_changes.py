"""Before and after: whom a change touched, what is compared, how sure it is, in small flocks."""

import datetime as dt

import numpy as np
import pytest

from flockcare.trends import changes, thresholds, words
from flockcare.trends.changes import Event, Stretch, events, stretch_of
from flockcare.trends.records import ALWAYS, STILL, ChangeRow, Chosen, StayRow
from flockcare.trends.watch import Watch
from tests.trends.flocks import DAY_0, birds_of, flock, simulated


def row(house, day):
    return ChangeRow(house, day, (), "")


@pytest.mark.parametrize(
    ("rows", "grouped"),
    [
        # Less than 42 days apart in one house: one. Exactly 42: two.
        ([(0, 0), (0, 41)], [[0, 41]]),
        ([(0, 0), (0, 42)], [[0], [42]]),
        # A chain: each is close to the one before.
        ([(0, 0), (0, 30), (0, 60)], [[0, 30, 60]]),
        # In two houses they touch other birds; on one day they are one deed.
        ([(0, 0), (1, 10)], [[0], [10]]),
        ([(0, 5), (1, 5)], [[5]]),
    ],
)
def test_changes_that_cannot_be_told_apart_are_one(rows, grouped):
    found = events([row(*one) for one in rows])
    assert [list(event.days) for event in found] == grouped


def test_merged_changes_are_all_named():
    records = simulated(birds=12, rate=0.003)
    records.changes[:] = [
        ChangeRow(0, DAY_0 + 365, ("roost lower",), "a height"),
        ChangeRow(0, DAY_0 + 380, ("feeder moved",), "what stands where"),
    ]
    (answer,) = changes.answers(Watch.of(records))
    assert answer.what == ("roost lower", "feeder moved")
    assert "roost lower; feeder moved" in answer.title


def test_only_residents_of_that_day_and_only_while_they_lived_there():
    stays = [
        StayRow(0, 0, ALWAYS, STILL),
        StayRow(1, 0, ALWAYS, DAY_0 + 60),  # moves out later
        StayRow(1, 1, DAY_0 + 60, STILL),
        StayRow(2, 0, DAY_0 + 50, STILL),  # moves in after the change
        StayRow(3, 1, ALWAYS, STILL),
        StayRow(4, 0, ALWAYS, DAY_0 + 40),  # the day of a move counts for the new house
        StayRow(4, 1, DAY_0 + 40, STILL),
    ]
    histories = {(n, 0): [(7 * k, 0) for k in range(15)] for n in range(5)}
    watch = Watch.of(flock(histories, houses=("Ark", "Barn"), stays=stays))
    chosen = changes.touched(watch, (0,), DAY_0 + 40)
    assert set(watch.bird[chosen].tolist()) == {0, 1}
    assert watch.pairs.right[chosen & (watch.bird == 1)].max() == DAY_0 + 56


def test_the_days_left_out_take_whole_gaps_with_them():
    histories = {(0, 0): [(7 * k, 0) for k in range(30)]}
    watch = Watch.of(flock(histories))
    event = Event((row(0, DAY_0 + 70),))
    kept = changes.within(watch, event, Stretch(window=49, lag=10))
    left, right = watch.pairs.left[kept] - DAY_0, watch.pairs.right[kept] - DAY_0
    # Before: from day 21 to 70. After: days 70 to 80 are left out, so the gap 77–84 goes too.
    assert left.min() == 21 and right[right <= 70].max() == 70
    assert left[right > 70].min() == 84 and right.max() == 126


def test_a_look_on_the_day_itself_is_before():
    histories = {(n, f): "0" * 10 + "1" + "0" * 10 for n in range(6) for f in (0, 1)}
    watch = Watch.of(flock(histories, changes=[(0, 70)]))
    (answer,) = changes.answers(watch)
    assert (answer.found.cases_before, answer.found.cases_after) == (12, 0)


def test_straddling_cases_are_counted_on_neither_side_and_shown():
    histories = {(n, f): "0" * 10 + "1" + "0" * 10 for n in range(6) for f in (0, 1)}
    watch = Watch.of(flock(histories, changes=[(0, 66)]))
    (answer,) = changes.answers(watch)
    assert answer.found.straddling == 12
    assert answer.found.refusal.code == "straddling"
    assert "12 more were found at the first check after the change" in answer.sentences[0]
    assert "shortly before" in answer.tells_more


def test_few_cases_are_refused_in_words():
    histories = {(n, f): "0" * 60 for n in range(6) for f in (0, 1)}
    histories[0, 0] = "0" * 10 + "1" + "0" * 30 + "1" + "0" * 18
    (answer,) = changes.answers(Watch.of(flock(histories, changes=[(0, 210)])))
    assert answer.state == "refused"
    assert answer.sentences[1] == (
        "2 new cases are too few to tell. Even the most lopsided split could be chance."
    )


def once_looked_at(changed: int, first=60):
    """Six birds that have always lived in the one house, each looked at once."""
    histories = {(n, f): [(first, 0)] for n in range(6) for f in (0, 1)}
    (answer,) = changes.answers(Watch.of(flock(histories, changes=[(0, changed)])))
    return answer


def test_one_round_of_checks_is_too_little_time_and_not_a_house_without_birds():
    answer = once_looked_at(changed=60)
    assert answer.state == "refused"
    assert answer.sentences == (
        "Too little time watched yet: the first check of the 6 birds that lived there then was on "
        "2 Mar 2025. After the next round there is time before or after to count.",
    )
    assert answer.tells_more == words.SECOND_CHECK


def test_of_a_change_before_the_first_check_nothing_will_tell():
    answer = once_looked_at(changed=14)
    assert answer.sentences[0].endswith(
        "on 2 Mar 2025, after this change. How they were before it is not on record."
    )
    assert answer.tells_more == words.AFTER_THE_FACT


def test_birds_of_a_house_that_nobody_looked_at():
    stays = [StayRow(1, 0, ALWAYS, STILL)]
    histories = {(0, 0): "0000"}
    records = flock(histories, stays=stays, birds=birds_of(2), changes=[(0, 14)])
    (answer,) = changes.answers(Watch.of(records))
    assert answer.sentences == (
        "Nobody has yet checked the feet of the 1 bird that lived there then.",
    )


def test_nobody_knows_who_lived_there():
    watch = Watch.of(flock({(0, 0): "0000"}, stays=[], changes=[(0, 14)]))
    (answer,) = changes.answers(watch)
    assert answer.state == "refused" and answer.found is None
    assert "which birds lived there" in answer.sentences[0]


def test_a_large_fall_is_told_and_the_unchanged_house_stands_beside():
    watch = Watch.of(simulated(seed=5, birds=40, houses=2, rate=0.004, ratio=0.1, changed=[0]))
    (answer,) = changes.answers(watch)
    assert answer.state == "clear"
    assert answer.found.ratio.low < 0.1 * 1.5 and answer.found.ratio.high < 1
    assert "Cases clearly fell after." in answer.sentences[1]
    assert answer.beside.houses == ("House 1",)
    assert answer.beside.found.ratio.low < 1 < answer.beside.found.ratio.high
    assert "where nothing was changed then" in answer.beside.sentence


def test_without_an_unchanged_house_there_is_nothing_beside():
    (answer,) = changes.answers(Watch.of(simulated(seed=5, houses=2)))
    assert answer.beside is None
    assert answer.houses == ("House 0", "House 1")


def test_several_changes_are_corrected_together():
    """Holm (1979), by hand: the smallest of m p-values times m, and so on, never falling."""
    records = simulated(seed=8, birds=30, rate=0.003, days=1400, ratio=0.5)
    records.changes[:] = [row(0, DAY_0 + day) for day in (200, 365, 800, 1100)]
    found = changes.answers(Watch.of(records))
    ps = sorted((answer.found.p, answer.adjusted_p) for answer in found)
    highest = 0.0
    for rank, (p, adjusted) in enumerate(ps):
        highest = max(highest, min(1.0, p * (len(ps) - rank)))
        assert adjusted == pytest.approx(highest)


# The stretch that is compared


def chosen(window, lag=0, on=400):
    return Chosen(f"{0:032x}", DAY_0 + 365, window, lag, DAY_0 + on)


@pytest.mark.parametrize(
    ("choices", "window", "tried", "before"),
    [
        ([], 365, 1, True),
        # Before the first look after the change (day 378): it replaces the usual one unseen.
        ([chosen(200, on=370)], 200, 1, True),
        ([chosen(200, on=370), chosen(300, on=372)], 300, 1, True),
        # Later ones are tries, each value once.
        ([chosen(200)], 200, 2, False),
        ([chosen(200), chosen(300), chosen(200)], 200, 3, False),
        ([chosen(200, on=370), chosen(365)], 365, 2, False),
        ([chosen(365)], 365, 1, False),
    ],
)
def test_stretches_tried(choices, window, tried, before):
    records = simulated(birds=2)
    records.choices[:] = choices
    (event,) = events(records.changes)
    stretch = stretch_of(event, records)
    assert (stretch.window, stretch.tried, stretch.before_looking) == (window, tried, before)


def test_each_try_makes_the_answer_more_careful():
    records = simulated(seed=5, birds=30, rate=0.003, ratio=0.4)
    once = changes.answers(Watch.of(records))[0]
    records.choices[:] = [chosen(300), chosen(365)]
    twice = changes.answers(Watch.of(records))[0]
    assert twice.found.p == once.found.p
    assert twice.adjusted_p == pytest.approx(min(1.0, 2 * once.adjusted_p))
    assert any("2 periods were tried" in sentence for sentence in twice.sentences)


# What else changed


def test_a_different_observer_is_named():
    records = simulated(birds=10, keeper=lambda day: int(day > 365))
    (answer,) = changes.answers(Watch.of(records))
    assert any(one.startswith("who checked: 100% of the checks") for one in answer.else_changed)
    (answer,) = changes.answers(Watch.of(simulated(birds=10)))
    assert not any("who checked" in one for one in answer.else_changed)


def test_the_season_is_named_where_it_differs():
    short = simulated(birds=10, days=200, change=100)  # January to April, then to July
    (answer,) = changes.answers(Watch.of(short))
    assert any("the season" in one for one in answer.else_changed)
    (answer,) = changes.answers(Watch.of(simulated(birds=10)))
    assert not any("the season" in one for one in answer.else_changed)


def test_other_changes_in_the_stretch_are_named():
    records = simulated(birds=10)
    records.changes[1:] = [
        ChangeRow(0, DAY_0 + 500, ("Roost 90 → 60 cm, width 45 → 70 mm", "Step added"), ""),
        ChangeRow(0, DAY_0 + 510, ("New feed, dry",), ""),
    ]
    first, second = changes.answers(Watch.of(records))
    assert first.else_changed[0] == (
        "Roost 90 → 60 cm, width 45 → 70 mm, Step added and New feed, dry (House 0, 16 May 2026)"
    )
    assert any("change 0" in one for one in second.else_changed)


def test_one_bird_with_most_cases_is_left_out_for_comparison():
    records = simulated(seed=5, birds=20, rate=0.001)
    sore = records.looks.day % 28 == DAY_0 % 28
    records.looks.score[(records.looks.bird == 3)] = sore[records.looks.bird == 3]
    (answer,) = changes.answers(Watch.of(records))
    assert answer.without_name == "Hen 03"
    assert any(sentence.startswith("Without Hen 03:") for sentence in answer.sentences)


def test_the_usual_stretch_has_every_season_once():
    assert (dt.date(2026, 1, 1) - dt.date(2025, 1, 1)).days == thresholds.WINDOW_DAYS


def test_answers_do_not_depend_on_the_order_of_looks():
    records = simulated(seed=2, birds=12)
    order = np.random.default_rng(0).permutation(records.looks.day.size)
    looks = records.looks
    mixed = type(looks)(
        *(part[order] for part in (looks.bird, looks.foot, looks.day, looks.score)),
        [looks.check[at] for at in order],
        looks.keeper[order],
    )
    from dataclasses import replace

    assert changes.answers(Watch.of(replace(records, looks=mixed))) == changes.answers(
        Watch.of(records)
    )


@pytest.mark.parametrize(("day", "window"), [(365, 100), (370, 100), (406, 100), (407, 365)])
def test_a_stretch_goes_with_a_change_whose_day_was_corrected(day, window):
    records = simulated(birds=4)
    records.choices[:] = [Chosen(records.houses[0].key, DAY_0 + 365, 100, 0, DAY_0 + 500)]
    moved = row(0, DAY_0 + day)
    records.changes[:] = [moved, row(0, DAY_0 + 700)]
    found = stretch_of(Event((moved,)), records)
    assert found.window == window and found.tried == (2 if window == 100 else 1)


def test_a_stretch_stays_with_the_change_of_its_day_though_another_is_near():
    records = simulated(birds=4)
    records.choices[:] = [Chosen(records.houses[0].key, DAY_0 + 365, 100, 0, DAY_0 + 500)]
    records.changes[:] = [row(0, DAY_0 + 365), row(0, DAY_0 + 370)]
    assert stretch_of(Event((records.changes[1],)), records).window == 365
