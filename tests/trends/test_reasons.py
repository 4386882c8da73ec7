"""Why there is no figure, and how one was reached, in words."""

from dataclasses import replace

import pytest

from flockcare.analysis import limits
from flockcare.analysis.change import match_changes, scan_pairs
from flockcare.analysis.healing import healing_curve, log_rank_by_bird
from flockcare.analysis.rates import pooled_ratio
from flockcare.trends import reasons, thresholds
from tests.analysis.test_comparison import MIXED, BirdPairs, compare, flock

FEW = [(7 * week, 7 * week + 7, week % 10 == 0) for week in range(100)]
FIRST = [(7 * week, 7 * week + 7, week == 0) for week in range(30) for _ in range(12)]
BETWEEN = (110, 160, True)  # from one side of day 140 to the other
STRADDLING = [BirdPairs(one.bird, [*one.pairs, BETWEEN, BETWEEN]) for one in flock([(1, 1)] * 8)]
REFUSED = [
    (compare([], 140), reasons.COMPARISON, "no_time", "No foot was watched"),
    (compare(flock([(3, 3)] * 4), 139.9), reasons.COMPARISON, "too_few_birds", "Only 4 birds were"),
    (compare([flock([(6, 0)])[0]], 140), reasons.COMPARISON, "too_few_birds", "Only 1 bird was"),
    (compare(flock([(1, 1)]), 7), reasons.COMPARISON, "too_little_time", "Less than 100 foot-days"),
    (compare(flock(MIXED), 7 * 39), reasons.COMPARISON, "too_few_checks", "There was only one day"),
    (compare(flock([(0, 0)] * 8), 140), reasons.COMPARISON, "no_cases", "No new case was found"),
    (
        compare(flock([(1, 0)] + [(0, 0)] * 6), 140),
        reasons.COMPARISON, "too_few_cases", "1 new case is too few to tell.",
    ),
    (
        compare(flock([(6, 0)] + [(0, 0)] * 6), 140),
        reasons.COMPARISON, "too_few_case_birds", "Only 1 bird seen on both sides had a case",
    ),
    (
        compare(flock([(1, 0)] * 5), 140),
        reasons.COMPARISON, "unattainable", "5 new cases could not have told us",
    ),
    (compare(STRADDLING, 140), reasons.COMPARISON, "straddling", "The checks were too far apart"),
    (scan_pairs(FEW), reasons.SCAN, "too_few_cases", "10 cases are too few to look for a change."),
    (
        scan_pairs([(0, 7, True)] * 20),
        reasons.SCAN, "too_few_check_days", "Checks on 2 days are too few",
    ),
    (
        scan_pairs([(7 * week, 7 * week + 7, True) for week in range(12)]),
        reasons.SCAN, "too_short", "84 days on record are too few",
    ),
    (scan_pairs(FIRST), reasons.SCAN, "one_sided", "No day has enough cases"),
    (match_changes(FEW, []), reasons.MATCHES, "no_changes", "No change is logged."),
    (
        match_changes(FEW[:20], [50]),
        reasons.MATCHES, "too_few_cases", "2 new cases are too few to tell.",
    ),
    (
        match_changes(FEW, range(0, 700, 42)),
        reasons.MATCHES, "windows_cover_too_much", "The weeks after changes cover 100% of",
    ),
    (
        match_changes(FEW[:50], [100], 210),
        reasons.MATCHES, "unattainable", "5 new cases could not have told us",
    ),
    (pooled_ratio([]), reasons.POOLED, "no_usable_stratum", "No group has cases"),
    (pooled_ratio([(3, 9, 3, 9)] * 5), reasons.POOLED, "too_many_strata", "5 groups are too many"),
    (pooled_ratio([(3, 9, 3, 9)]), reasons.POOLED, "too_few_cases", "6 new cases are too few"),
    (pooled_ratio([(6, 9, 6, 9)]), reasons.POOLED, "one_stratum", "Only one group has cases"),
    (healing_curve([3], [True]), reasons.CURVE, "too_few_cases", "1 sore is too few for a curve."),
    (
        log_rank_by_bird([1] * 6, [True] * 6, [True] * 4 + [False] * 2, range(6)),
        reasons.LOG_RANK, "too_few_healed", "4 and 2 healed sores are too few to compare.",
    ),
    (
        log_rank_by_bird(
            range(10), [True] * 10, [True] * 5 + [False] * 5, [0] * 5 + [1] * 5
        ),
        reasons.LOG_RANK, "too_few_birds", "2 birds stand in one group only",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("found", "sentences", "code", "said"), REFUSED)
def test_each_refusal_has_a_sentence(found, sentences, code, said):
    told = reasons.told(found.refusal, sentences)
    assert told.code == code == found.refusal.code
    assert told.reason.startswith(said) and told.reason.endswith(".")
    assert told.facts == found.refusal.facts


def test_each_sentence_has_been_seen_above():
    seen = {(id(sentences), code) for _, sentences, code, _ in REFUSED}
    tables = (*(reasons.COMPARISON, reasons.SCAN, reasons.MATCHES), reasons.POOLED)
    tables += (reasons.CURVE, reasons.LOG_RANK)
    assert seen == {(id(table), code) for table in tables for code in table}


def test_why_no_middle_time():
    curve = healing_curve(range(6), [True] + [False] * 5)
    told = reasons.told(curve.median_refusal, reasons.MEDIAN)
    assert told.reason == "1 healed sore is too few to say how long half of them take."
    assert reasons.told(curve.refusal, reasons.CURVE) is None


def test_how_it_was_compared():
    found = compare(flock(MIXED), 140)
    assert "by chance" not in reasons.why(found, None)[0]
    assert reasons.why(found, None)[1].startswith("Cases are spread over birds about as chance")
    robust = replace(found, method="within_birds_robust")
    assert reasons.why(robust, None)[1].endswith("the range is widened for that.")
    refused = reasons.told(compare([], 140).refusal, reasons.COMPARISON)
    assert reasons.why(compare([], 140), refused) == (refused.reason,)


@pytest.mark.parametrize(("cases", "side"), [((2, 0), "after"), ((0, 2), "before")])
def test_which_side_had_no_case(cases, side):
    found = compare(flock([cases] * 8), 140)
    assert found.method == "one_sided"
    assert reasons.why(found, None)[0].startswith(f"No case {side} the change")


def test_what_else_to_bear_in_mind():
    found = compare(flock(MIXED), 140)
    assert reasons.notes(found) == ()
    seen = replace(found.watched, straddling=1, largest_share=0.4, gap_before=28.0, gap_after=7.0)
    found = replace(found, watched=seen)
    assert reasons.notes(found) == (
        "1 case may have begun before or after the change.",
        "40% of the cases came from one bird.",
        "Checks were 28 days apart before and 7 after.",
        "Sores that came and went between two checks are not allowed for.",
    )
    assert reasons.notes(replace(found, allows_for_healing=True)) == reasons.notes(found)[:-1]


@pytest.mark.parametrize(
    ("module", "explained"),
    [(limits, thresholds.LIMITS_EXPLAINED), (thresholds, thresholds.EXPLAINED)],
)
def test_every_limit_is_explained(module, explained):
    names = {name for name in vars(module) if name.isupper()}
    assert set(explained) == names - {"EXPLAINED", "LIMITS_EXPLAINED"}
    assert all(text.endswith(".") for text in explained.values())
