"""What the page promises of waiting, held against invented flocks that really halve."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from flockcare.trends import changes, next_steps, words
from flockcare.trends.answers import build
from flockcare.trends.records import Looks
from flockcare.trends.watch import Watch
from tests.studies import trends_truth
from tests.trends.flocks import DAY_0, flock, simulated


def test_the_chance_of_telling_a_halving_is_about_what_happens():
    """40 flocks: a share told has an error of 7 points. Once each was said to be too few “to ever
    tell a halving”."""
    (kind,) = (one for one in trends_truth.KINDS if one.name == "a real halving")
    rounds, sore = trends_truth.simulate(kind, 40, np.random.default_rng(5))
    told, chances = [], []
    for run in range(40):
        watch = Watch.of(trends_truth.records_of(kind, rounds, sore[:, run], run))
        (answer,) = changes.answers(watch)
        told.append(answer.state in ("some_sign", "clear"))
        before = watch.pairs.right <= trends_truth.FIRST.toordinal() + trends_truth.CHANGE
        hit = before & watch.pairs.affected
        outlook = changes.Outlook.of(
            watch,
            before,
            int(hit.sum()),
            float(watch.days[before].sum()),
            0.0,
            np.unique(watch.bird[hit]).size,
        )
        chances.append(outlook.chance(365))
    assert 0.2 < np.mean(chances) < 0.5
    assert abs(np.mean(told) - np.mean(chances)) < 0.15


def after_a_halving(rate, runs, seed):
    """Of flocks with a true halving 60 days ago of which nothing can be told yet: what is said of
    when to look again, and whether the change is told then."""
    kind = replace(trends_truth.KINDS[1], rate=rate)
    rounds, sore = trends_truth.simulate(kind, runs, np.random.default_rng(seed))
    change = trends_truth.FIRST.toordinal() + trends_truth.CHANGE
    for run in range(runs):
        records = trends_truth.records_of(kind, rounds, sore[:, run], run)

        def seen_on(day, records=records):
            looks = records.looks
            known = looks.day <= day
            columns = (looks.bird, looks.foot, looks.day, looks.score)
            names = [""] * int(known.sum())
            kept = Looks(*(each[known] for each in columns), names, looks.keeper[known])
            (answer,) = changes.answers(Watch.of(replace(records, looks=kept)), day)
            return answer

        now = seen_on(change + 60)
        if words.mark(now) is words.TOO_EARLY and now.chance is not None:
            then = seen_on(now.again.toordinal())
            yield now, then.state in ("some_sign", "clear"), now.again.toordinal() < change + 365


def test_on_the_day_to_look_again_a_halving_is_told_as_often_as_said():
    """A family's flock with 13 new cases a year on average would have waited for nothing."""
    said = list(after_a_halving(0.0008, 30, 1))
    chances, told = [now.chance for now, _, _ in said], [told for _, told, _ in said]
    assert len(said) > 20 and not any(early for _, _, early in said)
    assert np.mean(chances) < 0.3 and abs(np.mean(told) - np.mean(chances)) < 0.15
    assert all("look again" not in words.one_line(now) for now, _, _ in said)
    assert any("a halving would rarely show" in words.one_line(now) for now, _, _ in said)


def test_with_many_cases_the_day_lies_before_the_end_and_most_are_told():
    said = [one for one in after_a_halving(0.009, 20, 2) if one[2]]
    assert len(said) > 8
    assert np.mean([told for _, told, _ in said]) > 0.65
    assert all("; look again around" in words.one_line(now) for now, _, _ in said)


def test_where_a_halving_would_have_shown_nobody_is_sent_away_to_wait():
    """Else the day moved on by four weeks each time, until the end of the period."""
    records = simulated(seed=2, birds=30, rate=0.005, days=365 + 240, ratio=0.75)
    (answer,) = changes.answers(Watch.of(records))
    assert answer.state == "wide" and answer.tells_more == words.TOLD_BY_NOW
    assert answer.again is None and words.mark(answer) is words.NO_DIFFERENCE


def test_without_a_case_before_only_a_rise_could_show():
    histories = {(n, 0): "0" * 60 + ("01" if n < 3 else "00") for n in range(6)}
    (answer,) = changes.answers(Watch.of(flock(histories, changes=[(0, 380)])))
    assert answer.again and answer.chance is None
    assert words.one_line(answer).endswith("; by 16 Jan 2027 only a rise could show.")


def test_winter_stands_between_until_the_year_is_over():
    """Summer before the change, winter after it: by October there is a whole year of after."""
    records = simulated(seed=5, birds=40, rate=0.006, days=273 + 170, change=273, ratio=0.5)
    looks = records.looks
    late = looks.day >= DAY_0 + 91
    columns = (looks.bird, looks.foot, looks.day, looks.score)
    kept = Looks(*(each[late] for each in columns), [""] * int(late.sum()), looks.keeper[late])
    (answer,) = changes.answers(Watch.of(replace(records, looks=kept)))
    assert answer.state == "season"
    assert answer.again == dt.date.fromordinal(DAY_0 + 273 + 365)


def test_the_page_says_the_chance_after_a_year():
    watch = Watch.of(simulated(seed=5, birds=16, rate=0.001))
    (step,) = (one for one in next_steps.steps(watch, ()) if one.code == "wait")
    assert step.sentence.startswith("After a change give that house a year without another")
    assert "a true halving would then show about" in step.sentence
    assert "ever" not in step.sentence


def test_a_flock_with_many_cases_hears_how_many_weeks():
    watch = Watch.of(simulated(seed=5, birds=40, rate=0.004))
    (step,) = (one for one in next_steps.steps(watch, ()) if one.code == "wait")
    assert "weeks of watching" in step.sentence and "show 8 times in 10" in step.sentence


def test_how_birds_differ_makes_no_difference_to_the_wait_but_two_feet_at_once_do():
    steady = {(n, 0): "0001000100010001000100010001" for n in range(8)}
    uneven = {(n, 0): ("01" if n < 4 else "00") * 14 for n in range(8)}

    def together(histories):
        watch = Watch.of(flock(histories))
        return changes.Outlook.of(watch, watch.width > 0, 10, 1000.0, 0.0, 8).together

    both = {(n, foot): history for (n, _), history in steady.items() for foot in (0, 1)}
    assert together(steady) == together(uneven) == 1
    assert together(both) == 2


def test_what_is_left_of_the_days_compared():
    now = simulated(seed=3, birds=16, rate=0.002, days=465)
    (answer,) = changes.answers(Watch.of(now))
    assert answer.tells_more.startswith("By 1 Jan 2027, when the days compared are over, a true")
    (over,) = changes.answers(Watch.of(simulated(seed=3, birds=16, rate=0.001, days=760)))
    assert over.tells_more.startswith("With so many cases a true halving shows about")
    assert dt.date(2026, 1, 1) + dt.timedelta(365) == dt.date(2027, 1, 1)


def test_no_case_at_all_leaves_nothing_to_halve():
    watch = Watch.of(flock({(n, 0): "0" * 30 for n in range(6)}, changes=[(0, 100)]))
    assert changes.answers(watch)[0].tells_more == words.NO_CASE_BEFORE
    assert next_steps.steps(watch, ())[0].sentence in (words.NO_CASE_LATELY, words.RECORD_HOUSING)


@pytest.mark.parametrize(
    ("chance", "said"),
    [
        (0.01, "less than once in 10 times"),
        (0.1, "once in 10 times"),
        (0.42, "4 times in 10"),
        (0.99, "9 times in 10"),
    ],
)
def test_a_chance_in_words(chance, said):
    assert words.in_ten(chance) == said


@pytest.mark.parametrize("chance", [0.01, 0.1, 0.42])
def test_less_than_once_is_not_about(chance):
    until = dt.date(2026, 5, 1).toordinal()
    for sentence in (
        words.chance_left(chance, until, over=True),
        words.chance_left(chance, until, over=False),
        words.chance_after_a_year(chance, 3),
    ):
        assert f"{'' if chance < 0.05 else 'about '}{words.in_ten(chance)}" in sentence
        assert "about less" not in sentence and "only less" not in sentence


def test_the_first_lines_say_too_early_only_while_more_can_come():
    records = flock({(n, 0): "0" * 120 for n in range(6)}, changes=[(0, 365)])

    def said(days):
        return build(records, flock="", today=dt.date(2026, 1, 1) + dt.timedelta(days)).headline[-1]

    assert said(100) == "For 1 change it is too early to say."
    assert said(500) == "For 1 change the records can’t tell."


def test_the_first_lines_know_a_change_after_which_cases_stayed_the_same():
    records = simulated(seed=1, birds=60, rate=0.01, ratio=1.0)
    found = build(records, flock="", today=dt.date(2027, 1, 1))
    assert [change.state for change in found.changes] == ["similar"]
    assert "After 1 change cases stayed about the same." in found.headline
    assert not any("too early" in line for line in found.headline)
