"""The sentences: examples worked by hand, never narrower than the figures, never too sure."""

import itertools
import math
import re
from dataclasses import replace
from types import SimpleNamespace

import pytest

from flockcare.trends import reasons, words
from flockcare.trends.report import BeforeAfter, Figure, Refusal

STATES = ("refused", "wide", "similar", "hint", "outnumbered", "some_sign", "clear")
# Nothing that records of a few hens cannot know.
NEVER = re.compile(r"\bcaused\b|no effect|proves?\b|\bworks\b|does nothing", re.IGNORECASE)


def before_after(low, high, refusal=None):
    ratio = math.sqrt(low * high) if low and math.isfinite(high) else 0.5
    blank = Figure(math.nan, math.nan, math.nan)
    return BeforeAfter(
        "within_birds", (), (), 4, 7, 0, 600, 560, 9, 6, 14, 14,
        Figure(ratio, low, high), 0.03, blank, blank, 1.0, (), refusal,
    )  # fmt: skip


def said(state, low=0.5, high=8.0, p=0.03):
    refusal = Refusal("few", "2 new cases are too few to tell.") if state == "refused" else None
    return words.verdict(state, before_after(low, high, refusal), p, 3)


def test_no_case_at_all_still_fits_a_rate():
    # Upper 95 % limit of a count of zero: 3.689, Garwood (1936), from memory. 340 / 3.689 = 92.2.
    foot_days = 2 * 340
    assert words.none_found(foot_days, 3.6889 / foot_days) == (
        "None found in 340 days of watching. "
        "That still fits a rate up to 1 case per 92 days of watching."
    )


def test_a_wide_range_says_that_it_cannot_tell():
    assert said("wide", 0.45, 8.0) == (
        "With equal watching time this fits anything from two fifths as many to eight times as "
        "many. It can’t tell us."
    )


def test_a_narrow_range_is_about_the_same():
    assert said("similar", 0.7, 1.4).startswith("About the same; a doubling is unlikely")


def test_a_sign_comes_with_how_often_luck_gives_as_much():
    # p = 0.033 is 1 in 30.
    assert said("some_sign", 1.1, 4, 0.033).startswith(
        "Some sign of more cases after: about 1 in 30 by chance alone."
    )


def test_a_clear_rise_names_no_cause():
    sentence = said("clear", 1.5, 6, 0.002)
    assert sentence.startswith("Cases clearly rose after.")
    assert sentence.endswith("Records can’t say that this change was the cause.")


def test_a_refusal_is_said_as_it_is():
    assert said("refused") == "2 new cases are too few to tell."


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize(("low", "high"), [(0, 0.7), (0.1, 9), (1.2, math.inf), (0, math.inf)])
def test_no_sentence_is_too_sure(state, low, high):
    sentence = said(state, low, high)
    assert not NEVER.search(sentence)
    assert sentence.endswith(".")
    assert "nan" not in sentence and "inf" not in sentence


VALUES = {text: value for value, text in words._TIMES}
RATIOS = [0.021 * 1.017**n for n in range(0, 450)]


def test_a_range_is_rounded_outwards_only():
    for ratio in (ratio for ratio in RATIOS if ratio < 50):
        low = words.at_least(ratio)
        assert low == "none at all" or VALUES[low] <= ratio * (1 + 1e-9)
        assert VALUES[words.at_most(ratio)] >= ratio * (1 - 1e-9)


def test_a_range_that_leaves_out_the_same_does_not_say_the_same():
    assert words.at_most(0.97) == "almost as many"
    assert words.at_least(1.05) == "slightly more"


def test_fractions_are_in_order():
    assert all(a < b for a, b in itertools.pairwise(value for value, _ in words._TIMES))


@pytest.mark.parametrize(
    ("p", "odds"),
    [
        (0.0004, "1 in 1,000 or less"),
        (0.002, "about 1 in 500"),
        (0.0333, "about 1 in 30"),
        (0.05, "about 1 in 20"),
        (0.25, "about 1 in 4"),
        (0.9, "more than 1 in 3"),
    ],
)
def test_odds(p, odds):
    assert words.by_chance(p) == odds


def test_ten_hens_and_a_month():
    # 1 case in 300 days of watching is 1 case per 10 hens a month: 10 hens × 30 days.
    assert words.rate(1 / (2 * 300)) == "1.0"


def test_counts_come_first():
    sentence = words.counted(replace(before_after(0.5, 8.0), straddling=1))
    assert sentence.startswith("4 new cases before, in 300 days of watching, and 7 after, in 280.")
    assert "1 more was found at the first check after the change" in sentence


@pytest.mark.parametrize(
    ("names", "text"),
    [([], ""), (["a"], "a"), (["a", "b"], "a and b"), (["a", "b", "c"], "a, b and c")],
)
def test_lists(names, text):
    assert words.listed(names) == text


def test_a_range_without_ends_says_so():
    assert words.ratio_range(0, math.inf) == words.ratio_range(0.001, 90) == "anything at all"
    assert words.ratio_range(0, 2) == "anything from none at all to twice as many"


def test_of_the_changes_that_no_line_names():
    """Too early only where more can come, as the line of each change says."""
    marks = [words.SAME, words.NO_DIFFERENCE, words.TOO_EARLY, words.UNTOLD]
    assert words.rest(marks) == [
        "After 1 other change cases stayed about the same.",
        "For 1 other change it is too early to say.",
        "For 2 other changes the records can’t tell.",
    ]
    assert words.rest([words.SAME] * 2, "change") == [
        "After 2 changes cases stayed about the same."
    ]
    assert words.rest([]) == []


def test_of_seasons_nobody_asks_who_gets_it():
    row = SimpleNamespace(name="autumn", fits=Figure(1.2, 0.5, 2.0))
    assert words.nothing_stands_out(row, "spring") == (
        "Nothing stands out beyond chance. Autumn against spring, per hen and day: anything from "
        "half as many to twice as many. It can’t tell us where there are more."
    )


def test_two_birds_have_their_story():
    said = reasons.COMPARISON["too_few_case_birds"]
    assert said(birds_compared=2).endswith(
        "that is their story, and says nothing about the others."
    )
    assert "that is her story" in said(birds_compared=1)
    assert words.record_stays(1).startswith("Record which house 1 bird lives in")


def test_a_group_by_energy_says_what_its_unit_is_like():
    """2 kg × 9.80665 m/s² × 1 m = 19.6 J; 4 lb × 3 ft = 12 ft·lbf."""
    assert "2 kg that comes down 1 m" in words.more_in("energy", "20 to 30 J", "5 J", higher=True)
    assert "12 ft·lbf" in words.more_in("energy", "9 to 12 ft·lbf", "under 3", higher=False)
    assert "hen of" not in words.more_in("house", "Shed J", "Barn", higher=True)


def test_names_of_many_birds_have_one_and():
    birds = [SimpleNamespace(name=name) for name in ("Clove", "Mace", "Dill", "Sage", "Rue", "Bay")]
    found = SimpleNamespace(birds=birds, repeated=6, repeated_cases=9, cases=12)
    for sentence in (words.most_cases(found), words.repeated(found)):
        assert "Clove, Mace, Dill, Sage and 2 more" in sentence


def test_what_happened_twice_is_said_so():
    rows = {"Wet spell": [1, 2], "Bedding renewed": [1, 2, 3]}
    assert words.else_happened(rows).endswith("Wet spell (twice) and Bedding renewed (3 times)")
