"""Thresholds of judgement: none comes from a paper, each is explained to the flock's owner.

A threshold that is derived rather than chosen (what a test can attain at all) is computed
where it is needed and does not stand here.
"""

# Longest gap between two checks of a foot that still counts as watching it: in a longer one a
# sore could come and heal unseen.
GAP_LIMIT_DAYS = 60

# Foot-days watched below which no rate is shown, only the count: a single case would swing it.
MIN_FOOT_DAYS = 100

# Cases below which a rate is shown as a range only: its middle would look surer than it is.
MIN_CASES_FOR_RATE = 3

# Cases in all below which a before/after ratio is not worked out.
MIN_CASES_FOR_RATIO = 5

# Birds watched on both sides of a change below which one bird's story would be the answer.
MIN_BIRDS_BOTH_SIDES = 5

# Days with checks needed on each side of a change: one round is a snapshot, not a rate.
MIN_CHECK_DAYS_EACH_SIDE = 2

# Birds with at least one case below which birds cannot be told from luck.
MIN_BIRDS_WITH_CASES = 4

# Share of cases whose two looks stand on either side of the change, above which the checks were
# too far apart around it to say which way things went.
MAX_STRADDLING_SHARE = 1 / 3

# Spread of cases over birds, against what luck gives (1), above which birds differ for sure.
DISPERSION_LIMIT = 1.2

# Birds below which that spread cannot be judged.
MIN_BIRDS_FOR_DISPERSION = 8

# Resampling birds needs this many birds, and this many of them with a case.
MIN_BIRDS_FOR_BOOTSTRAP = 15
MIN_CASE_BIRDS_FOR_BOOTSTRAP = 8

# Share of resamples without a ratio above which only a one-sided bound is shown.
MAX_EMPTY_RESAMPLES = 0.05

# A p-value at or below this speaks of "some sign"; a test that could never reach it is refused.
SIGN_LEVEL = 0.05

# A p-value below this, with enough cases and birds, speaks of a clear change.
CLEAR_LEVEL = 0.01
MIN_CASES_FOR_SIGN = 10
MIN_BIRDS_FOR_CLEAR = 5

# An interval wholly between one half and two speaks of "about the same".
SIMILAR_BETWEEN = (0.5, 2.0)

# Strata (weight classes) allowed when pooling, and cases a stratum needs to be compared.
MAX_STRATA = 4
MIN_CASES_FOR_POOLING = 10
MIN_CASES_PER_STRATUM = 5

# A scan for a change of rate: cases, check days and days on record it needs in all, and what
# must stand on each side of a candidate day.
MIN_CASES_FOR_SCAN = 12
MIN_CHECK_DAYS_FOR_SCAN = 6
MIN_DAYS_FOR_SCAN = 90
MIN_DAYS_EACH_SIDE = 14
MIN_EXPOSURE_SHARE_EACH_SIDE = 0.10
MIN_CASES_EACH_SIDE = 3

# Fall of the log likelihood inside which a day still counts as a plausible day of change.
PLAUSIBLE_DROP = 1.92

# Days after a housing change in which a case is counted as following it, and the share of all
# watched time that such windows may cover before "inside" says nothing.
MATCH_WINDOW_DAYS = 42
MAX_WINDOW_SHARE = 0.7

# Time to healing: cases needed for a curve, healed cases for its median and for comparing two
# groups, and feet still followed below which the curve stops.
MIN_CASES_FOR_CURVE = 5
MIN_HEALED_FOR_MEDIAN = 5
MIN_HEALED_PER_GROUP = 5
MIN_HEALED_FOR_LOG_RANK = 10
MIN_HEALED_FOR_CHI2 = 20
MIN_STILL_FOLLOWED = 3

# An interval whose upper limit is more than this many times its lower one says nothing.
WIDE_INTERVAL = 4.0
