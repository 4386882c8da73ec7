"""What this page decides by judgement, beside what ``analysis.limits`` decides for the figures.

None comes from a paper. `EXPLAINED` has the sentence for each, `LIMITS_EXPLAINED` for those.
"""

WINDOW_DAYS = 365
MIN_DAYS_APART = 42
ROUND_SHARE = 0.4
ROUND_SPREAD_DAYS = 3
MIN_BIRDS_FOR_HOUSE_ROUND = 5
ONLY_CASES_SHARE = 0.5
MIN_CHECKS_OF_KEEPER = 8
BESIDE_CLEAR_DAYS = 42
RIVAL_DAYS = 182
REPEATED_DAYS = 182
WETNESS_DAYS = 10
LONG_PERIOD_DAYS = 180
SCAN_MARGIN_DAYS = 42
AGEING_A_YEAR = 1.5
FRESH_DAYS = 14
SOONEST_AGAIN_DAYS = 28
OTHER_KEEPER = 0.5
OTHER_SEASON = 0.2
OTHER_HALF_YEAR = 0.5
FIRST_ACTION_DAYS = 7
MIN_BIRDS_IN_GROUP = 3
ALIKE_SHARE = 0.95
REPEAT_CASES = 3
WIDE_GAP_DAYS = 21
POWER = 0.8
SOUGHT_RATIO = 0.5
FARTHEST_WEEKS = 52
LIKELY = 0.75
RARELY = 0.15

DROP_EDGES_CM = (50, 100)
ENERGY_EDGES_J = (10, 20, 30)
AGE_EDGES_YEARS = (1, 2, 3)

EXPLAINED = {
    "WINDOW_DAYS": "Days before and after a change that are compared unless others were chosen: "
    "a whole year has every season once.",
    "MIN_DAYS_APART": "Changes of one house closer together than this cannot be told apart and are "
    "judged as one.",
    "ROUND_SHARE": "Share of the birds present, or of one house, that must be checked for a day to "
    "count as watched: a check made because a bird limps nearly always finds something.",
    "ROUND_SPREAD_DAYS": "Days over which such a round may be spread, to either side.",
    "MIN_BIRDS_FOR_HOUSE_ROUND": "Birds of a house below which a round of it alone does not count.",
    "ONLY_CASES_SHARE": "Share of a keeper’s checks of birds last seen clear that find a sore, "
    "from which on the page asks for the clear ones too.",
    "MIN_CHECKS_OF_KEEPER": "Checks of a keeper below which that is not judged.",
    "BESIDE_CLEAR_DAYS": "A house counts as unchanged beside another if nothing was changed in it "
    "so many days before and after.",
    "RIVAL_DAYS": "Days from one change of a house to another of it, below which the first lines "
    "name both: half of what is compared for one is compared for the other.",
    "REPEATED_DAYS": "Days within which an event done again, such as bedding renewed, is a habit: "
    "named beside changes, not compared, since it is on both sides of each of its days.",
    "WETNESS_DAYS": "Days from the middle of a gap between checks within which a reading of how "
    "wet it was counts for it.",
    "LONG_PERIOD_DAYS": "Days from which on a period is too long to be called a time at which the "
    "rate changed.",
    "SCAN_MARGIN_DAYS": "Days around the period in which the rate itself changed, outside which a "
    "change is not called clear.",
    "AGEING_A_YEAR": "How many times as many new cases a year more of age may bring: a rise that "
    "could be less than this is not called clear unless birds in an unchanged house had none.",
    "FRESH_DAYS": "Days for which an answer that has just become possible is shown on Today.",
    "SOONEST_AGAIN_DAYS": "Days below which looking again is not advised.",
    "OTHER_KEEPER": "Share of the checks that went from one keeper to another, above which the "
    "page warns that a different observer may explain a change.",
    "OTHER_SEASON": "Difference of the winter’s share in the time watched, above which the page "
    "names the season.",
    "OTHER_HALF_YEAR": "The same difference above which winter and a change cannot be told apart; "
    "a whole year on either side keeps below it.",
    "FIRST_ACTION_DAYS": "Days after a sore was first seen within which care counts as the first "
    "thing that was done.",
    "MIN_BIRDS_IN_GROUP": "Birds below which a group is one bird’s story.",
    "ALIKE_SHARE": "Share of the time watched that two ways of sorting put together alike, from "
    "which on they are one answer.",
    "REPEAT_CASES": "Cases from which on a bird is called one with repeated cases.",
    "WIDE_GAP_DAYS": "Days between checks above which closer checks would help most.",
    "POWER": "How often a true halving should be told, when the page says how long to wait.",
    "SOUGHT_RATIO": "The size of change that this waiting time is for: a halving.",
    "FARTHEST_WEEKS": "Weeks above which the page says the chance after a year instead.",
    "LIKELY": "Chance that a halving shows, from which on the page says when to look again.",
    "RARELY": "Chance below which it says that a halving would rarely show.",
    "DROP_EDGES_CM": "Edges of the groups of drops.",
    "ENERGY_EDGES_J": "Edges of the groups of landing energy.",
    "AGE_EDGES_YEARS": "Edges of the groups of age.",
}

LIMITS_EXPLAINED = {
    "GAP_LIMIT_DAYS": "Longest gap between two checks of a foot that still counts as watching it: "
    "in a longer one a sore could come and heal unseen.",
    "MIN_FOOT_DAYS": "Foot-days watched below which only the count is shown, no rate: a single "
    "case would swing it.",
    "MIN_CASES_FOR_RATE": "Cases below which a rate is shown as a range only: one figure would "
    "look surer than it is.",
    "MIN_CASES_FOR_RATIO": "Cases in all below which before and after are not compared.",
    "MIN_BIRDS_BOTH_SIDES": "Birds watched both before and after a change below which one bird’s "
    "story would be the answer.",
    "MIN_CHECK_DAYS_EACH_SIDE": "Days with checks needed on each side of a change: one round is a "
    "snapshot, not a rate.",
    "MIN_BIRDS_WITH_CASES": "Birds with a case below which it may be one bird’s story.",
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
