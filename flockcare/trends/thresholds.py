"""What this page decides by judgement, beside what ``analysis.limits`` decides for the figures.

None comes from a paper; `EXPLAINED` has the sentence for each, to be shown.
"""

WINDOW_DAYS = 365
MIN_DAYS_APART = 42
BESIDE_CLEAR_DAYS = 42
OTHER_EYES = 0.5
OTHER_SEASON = 0.2
FIRST_ACTION_DAYS = 7
MIN_BIRDS_IN_GROUP = 3
REPEAT_CASES = 3
WIDE_GAP_DAYS = 21
POWER = 0.8
SOUGHT_RATIO = 0.5
FARTHEST_WEEKS = 260

DROP_EDGES_CM = (50, 100)
ENERGY_EDGES_J = (10, 20, 30)
AGE_EDGES_YEARS = (1, 2, 3)

EXPLAINED = {
    "WINDOW_DAYS": "Days before and after a change that are compared unless others were chosen: "
    "a whole year has every season once.",
    "MIN_DAYS_APART": "Changes of one house closer together than this cannot be told apart and are "
    "judged as one.",
    "BESIDE_CLEAR_DAYS": "A house counts as unchanged beside another if nothing was changed in it "
    "so many days before and after.",
    "OTHER_EYES": "Share of the looks that went from one keeper to another, above which the page "
    "warns that a different observer may explain a change.",
    "OTHER_SEASON": "Difference of the winter's share in the time watched, above which the page "
    "names the season.",
    "FIRST_ACTION_DAYS": "Days after a sore was first seen within which care counts as the first "
    "thing that was done.",
    "MIN_BIRDS_IN_GROUP": "Birds below which a group is one bird's story.",
    "REPEAT_CASES": "Cases from which on a bird is called one with repeated cases.",
    "WIDE_GAP_DAYS": "Days between checks above which closer checks would help most.",
    "POWER": "How often a true halving should be told, when the page says how long to wait.",
    "SOUGHT_RATIO": "The size of change that this waiting time is for: a halving.",
    "FARTHEST_WEEKS": "Weeks above which waiting is not offered as a way.",
    "DROP_EDGES_CM": "Edges of the groups of drops.",
    "ENERGY_EDGES_J": "Edges of the groups of landing energy.",
    "AGE_EDGES_YEARS": "Edges of the groups of age.",
}
