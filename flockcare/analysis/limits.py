"""Thresholds of judgement: none comes from a paper, each is explained to the flock's owner.

A threshold that is derived rather than chosen (what a test can attain at all) is computed
where it is needed and does not stand here. `EXPLAINED` has the sentence for each, to be shown.
"""

GAP_LIMIT_DAYS = 60

MIN_FOOT_DAYS = 100
MIN_CASES_FOR_RATE = 3

MIN_CASES_FOR_RATIO = 5
MIN_BIRDS_BOTH_SIDES = 5
MIN_CHECK_DAYS_EACH_SIDE = 2
MIN_BIRDS_WITH_CASES = 4
MAX_STRADDLING_SHARE = 1 / 3

DISPERSION_LIMIT = 1.2
MIN_BIRDS_FOR_DISPERSION = 8

SIGN_LEVEL = 0.05
CLEAR_LEVEL = 0.01
MIN_CASES_FOR_SIGN = 10
MIN_BIRDS_FOR_CLEAR = 5
SIMILAR_BETWEEN = (0.5, 2.0)

MAX_STRATA = 4
MIN_CASES_FOR_POOLING = 10
MIN_CASES_PER_STRATUM = 5

MIN_CASES_FOR_SCAN = 12
MIN_CHECK_DAYS_FOR_SCAN = 6
MIN_DAYS_FOR_SCAN = 90
MIN_DAYS_EACH_SIDE = 14
MIN_EXPOSURE_SHARE_EACH_SIDE = 0.10
MIN_CASES_EACH_SIDE = 3
PLAUSIBLE_DROP = 1.92

MATCH_WINDOW_DAYS = 42
MAX_WINDOW_SHARE = 0.7

MIN_CASES_FOR_CURVE = 5
MIN_HEALED_FOR_MEDIAN = 5
MIN_HEALED_PER_GROUP = 5
MIN_HEALED_FOR_LOG_RANK = 10
MIN_HEALED_FOR_CHI2 = 20
MIN_STILL_FOLLOWED = 3

EXPLAINED = {
    "GAP_LIMIT_DAYS": "Longest gap between two checks of a foot that still counts as watching it: "
    "in a longer one a sore could come and heal unseen.",
    "MIN_FOOT_DAYS": "Foot-days watched below which only the count is shown, no rate: a single "
    "case would swing it.",
    "MIN_CASES_FOR_RATE": "Cases below which a rate is shown as a range only: one figure would "
    "look surer than it is.",
    "MIN_CASES_FOR_RATIO": "Cases in all below which before and after are not compared.",
    "MIN_BIRDS_BOTH_SIDES": "Birds watched both before and after a change below which one bird's "
    "story would be the answer.",
    "MIN_CHECK_DAYS_EACH_SIDE": "Days with checks needed on each side of a change: one round is a "
    "snapshot, not a rate.",
    "MIN_BIRDS_WITH_CASES": "Birds with a case needed before chance can be told from one bird's "
    "bad luck.",
    "MAX_STRADDLING_SHARE": "Share of cases that may have begun on either side of a change, above "
    "which the checks were too far apart around it.",
    "DISPERSION_LIMIT": "Spread of cases over birds, where chance alone gives 1, above which birds "
    "are taken to differ.",
    "MIN_BIRDS_FOR_DISPERSION": "Birds below which that spread cannot be judged.",
    "SIGN_LEVEL": "How rarely chance alone may give as much, for a result to be called a sign; a "
    "test that could never be as rare is refused.",
    "CLEAR_LEVEL": "The same for a result to be called clear.",
    "MIN_CASES_FOR_SIGN": "Cases needed before a result is called a sign, or clear.",
    "MIN_BIRDS_FOR_CLEAR": "Birds with a case needed before a result is called clear.",
    "SIMILAR_BETWEEN": "A range wholly between these ratios is called about the same.",
    "MAX_STRATA": "Groups (such as weight classes) that may be pooled at most.",
    "MIN_CASES_FOR_POOLING": "Cases needed before groups are allowed for.",
    "MIN_CASES_PER_STRATUM": "Cases a group needs before groups are compared with each other.",
    "MIN_CASES_FOR_SCAN": "Cases needed before looking for a day on which the rate changed.",
    "MIN_CHECK_DAYS_FOR_SCAN": "Days with checks needed for that.",
    "MIN_DAYS_FOR_SCAN": "Days on record needed for that.",
    "MIN_DAYS_EACH_SIDE": "Days that must lie on each side of such a day.",
    "MIN_EXPOSURE_SHARE_EACH_SIDE": "Share of the time watched that must lie on each side of it.",
    "MIN_CASES_EACH_SIDE": "Cases that must lie on each side of it.",
    "PLAUSIBLE_DROP": "Fall of the log likelihood inside which a day still counts as plausible.",
    "MATCH_WINDOW_DAYS": "Days after a change in which a case counts as following it.",
    "MAX_WINDOW_SHARE": "Share of the time watched that such days may cover before nearly every "
    "case would fall inside.",
    "MIN_CASES_FOR_CURVE": "Sores needed for a curve of the time to healing.",
    "MIN_HEALED_FOR_MEDIAN": "Healed sores needed to say how long half of them take.",
    "MIN_HEALED_PER_GROUP": "Healed sores needed in each of two groups to compare them.",
    "MIN_HEALED_FOR_LOG_RANK": "Healed sores needed in both groups together.",
    "MIN_HEALED_FOR_CHI2": "Healed sores below which only the test by bird is used.",
    "MIN_STILL_FOLLOWED": "Feet still followed below which the curve stops.",
}
