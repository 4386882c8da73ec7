"""What can be known of a foot and its bird, and whether a sign is there: yes, no or not known."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from flockcare.care import sizes
from flockcare.care.sizes import Size

# Above it Marek's disease is unlikely (Clarke, thisnzlife.co.nz, read): six months.
YOUNG_DAYS = 182
# As the bound of the weight class in birds/breeds.py (Mitchell 2012, read in a secondary source).
BANTAM_G = 1470
# From memory, of what vets say; 5 mm is the size from which a finding is recorded at all
# (University of California, Davis, assessment of laying hens, read).
LARGE_MM = 10.0
LARGE_IN_A_BANTAM_MM = 5.0
LIMPS_LONG_DAYS = 3
LIMPS_TOO_LONG_DAYS = 4
SWELLING_LONG_DAYS = 14
SCAB_LONG_DAYS = 28
CASES_IN_A_YEAR = 3
OTHERS_NEW = 3
WEIGHT_LOST = 0.10


@dataclass(frozen=True)
class Situation:
    """What was seen of one foot and its bird. None: nobody wrote it down.

    ``sizes``: the measurements of this case, in any order and any mixture of units. ``grade``:
    clinical grade 1–5. ``cases_in_foot_12_months`` counts this one. ``others_new_14_days``: other
    birds with a new case. ``weight_change_28_days``: as a fraction (−0.12). ``under_vet_plan``: a
    vet's plan holds, and no sign is new since. ``larger_since_visit``: measured since the visit at
    which that plan was made. ``seen_long_ago``: nobody has looked at a sore foot for so long that
    what it showed says nothing of today.
    """

    score: int | None = None
    other_score: int | None = None
    swelling: str | None = None
    scab: str | None = None
    hot: bool | None = None
    oozing: bool | None = None
    cold_or_dark: bool | None = None
    gait: int | None = None
    bright: bool | None = None
    eating: bool | None = None
    belly_swollen: bool | None = None
    grade: int | None = None
    bone_or_joint: bool | None = None
    sizes: tuple[Size, ...] = ()
    bleeding: bool | None = None
    constricted: bool | None = None
    plug_or_hole: bool | None = None
    joint_swollen: bool | None = None
    droppings_normal: bool | None = None
    body_condition: int | None = None
    moulting: bool | None = None
    broody: bool | None = None
    days_affected: int | None = None
    days_limping: int | None = None
    cases_in_foot_12_months: int | None = None
    others_new_14_days: int | None = None
    weight_g: float | None = None
    weight_change_28_days: float | None = None
    age_days: int | None = None
    under_vet_plan: bool | None = None
    larger_since_visit: bool | None = None
    raised_scales: bool | None = None
    comb: str | None = None
    seen_long_ago: bool | None = None


# What a keeper answers at a check, as it is asked for where too little is known.
QUESTIONS = {
    "swelling": "swollen?",
    "scab": "a scab?",
    "hot": "hot?",
    "oozing": "oozing?",
    "gait": "limping?",
    "bright": "bright or dull?",
}


def unanswered(seen: Situation) -> list[str]:
    return [asked for name, asked in QUESTIONS.items() if getattr(seen, name) is None]


# --- Three answers (strong Kleene logic)


def every(*parts: bool | None) -> bool | None:
    """False as soon as one is; else unknown as long as one is."""
    if False in parts:
        return False
    return None if None in parts else True


def either(*parts: bool | None) -> bool | None:
    if True in parts:
        return True
    return None if None in parts else False


def opposite(value: bool | None) -> bool | None:
    return None if value is None else not value


def one_of(value, *wanted) -> bool | None:
    return None if value is None else value in wanted


def at_least(value, least) -> bool | None:
    return None if value is None else value >= least


# --- The foot


def swollen_from_above(seen: Situation) -> bool | None:
    """By the score or by the sign: either says it."""
    return either(one_of(seen.swelling, "from above"), at_least(seen.score, 2))


def moderately_swollen(seen: Situation) -> bool | None:
    """A swelling that was recorded needs no score beside it; only score 2 outdoes it."""
    return every(one_of(seen.swelling, "moderate"), at_least(seen.score, 2) is not True)


def not_swollen(seen: Situation) -> bool | None:
    return every(one_of(seen.swelling, "none"), at_least(seen.score, 2) is not True)


def has_scab(seen: Situation) -> bool | None:
    return one_of(seen.scab, "brown", "black")


def sore(seen: Situation) -> bool | None:
    """A scab or a swelling is one, also where the foot was scored clear."""
    if has_scab(seen) or one_of(seen.swelling, "moderate", "from above"):
        return True
    return at_least(seen.score, 1)


def other_sore(seen: Situation) -> bool | None:
    return at_least(seen.other_score, 1)


def both_sore(seen: Situation) -> bool | None:
    return every(sore(seen), other_sore(seen))


# --- How she walks


def limps(seen: Situation) -> bool | None:
    if seen.gait is not None:
        return seen.gait >= 1
    return True if seen.days_limping else None


def limps_a_little(seen: Situation) -> bool | None:
    """Not known to be worse than a little."""
    return every(limps(seen), at_least(seen.gait, 3) is not True)


def limps_for(seen: Situation, days: int) -> bool | None:
    return every(limps(seen), at_least(seen.days_limping, days))


def swollen_and_limps(seen: Situation) -> bool | None:
    return every(moderately_swollen(seen), limps(seen))


def hot_joint_and_limps(seen: Situation) -> bool | None:
    return every(seen.joint_swollen, seen.hot, limps(seen))


def both_feet_and_worse(seen: Situation) -> bool | None:
    """Its own swelling that is seen from above is a sign by itself."""
    worse = either(at_least(seen.other_score, 2), moderately_swollen(seen), limps(seen))
    return every(both_sore(seen), worse)


def young_and_limps(seen: Situation) -> bool | None:
    return every(limps(seen), None if seen.age_days is None else seen.age_days < YOUNG_DAYS)


def limps_without_a_sore(seen: Situation) -> bool | None:
    """None on this foot, and none known on the other."""
    return every(limps_a_little(seen), opposite(sore(seen)), other_sore(seen) is not True)


def limps_with_a_sore(seen: Situation) -> bool | None:
    return every(limps_a_little(seen), sore(seen))


def limps_for_the_other_foot(seen: Situation) -> bool | None:
    return every(limps_a_little(seen), opposite(sore(seen)), other_sore(seen))


# --- The bird


def very_thin(seen: Situation) -> bool | None:
    return one_of(seen.body_condition, 0)


def lost_weight(seen: Situation) -> bool | None:
    change = seen.weight_change_28_days
    return None if change is None else change <= -WEIGHT_LOST


def quiet_season(seen: Situation) -> bool:
    """In moult or broody a well hen eats little and keeps still. Not known explains nothing."""
    return bool(seen.moulting or seen.broody)


def other_signs_of_illness(seen: Situation) -> bool | None:
    """What moult and broodiness do not explain (a broody hen does lose weight)."""
    return either(
        seen.hot,
        seen.oozing,
        seen.cold_or_dark,
        seen.bleeding,
        seen.constricted,
        seen.plug_or_hole,
        seen.joint_swollen,
        seen.bone_or_joint,
        seen.belly_swollen,
        opposite(seen.droppings_normal),
        one_of(seen.comb, "purple", "pale"),
        very_thin(seen),
        swollen_from_above(seen),
        at_least(seen.gait, 3),
        at_least(seen.grade, 3),
    )


def _explained(seen: Situation) -> bool:
    return quiet_season(seen) and other_signs_of_illness(seen) is not True


def dull(seen: Situation) -> bool | None:
    return every(opposite(seen.bright), not _explained(seen))


def not_eating(seen: Situation) -> bool | None:
    return every(opposite(seen.eating), not _explained(seen))


def dull_in_a_quiet_season(seen: Situation) -> bool | None:
    return every(opposite(seen.bright), quiet_season(seen))


def not_eating_in_a_quiet_season(seen: Situation) -> bool | None:
    return every(opposite(seen.eating), quiet_season(seen))


def both_in_a_quiet_season(seen: Situation) -> bool | None:
    return every(dull_in_a_quiet_season(seen), not_eating_in_a_quiet_season(seen))


def quiet_season_and_a_bad_foot(seen: Situation) -> bool | None:
    return every(
        either(dull_in_a_quiet_season(seen), not_eating_in_a_quiet_season(seen)),
        either(limps(seen), moderately_swollen(seen)),
    )


# --- How long, how often, how many


def _measured_better(seen: Situation) -> bool:
    return any(sizes.is_better(readings) for readings in sizes.series(seen.sizes))


def swollen_for_two_weeks(seen: Situation) -> bool | None:
    """Without measurements that say it shrinks."""
    long = at_least(seen.days_affected, SWELLING_LONG_DAYS)
    return every(moderately_swollen(seen), long, not _measured_better(seen))


def scab_for_four_weeks(seen: Situation) -> bool | None:
    """Without measurements that say it shrinks."""
    long = at_least(seen.days_affected, SCAB_LONG_DAYS)
    return every(has_scab(seen), long, not _measured_better(seen))


def third_case(seen: Situation) -> bool | None:
    """Unless the foot is known to be clear."""
    return every(sore(seen) is not False, at_least(seen.cases_in_foot_12_months, CASES_IN_A_YEAR))


def several_new(seen: Situation) -> bool | None:
    """Unless both her feet are known to be clear, and no limp was seen."""
    affected = either(sore(seen), other_sore(seen), limps(seen) is True)
    return every(affected is not False, at_least(seen.others_new_14_days, OTHERS_NEW))


# --- Sizes: one way of measuring is enough to tell; where two tell, either that warns


def _of_sizes(tell: Callable[[Sequence[Size]], bool | None]):
    def holds(seen: Situation) -> bool | None:
        if not seen.sizes:
            return False if sore(seen) is False else None
        answers = [tell(readings) for readings in sizes.series(seen.sizes)]
        known = [answer for answer in answers if answer is not None]
        return any(known) if known else None

    return holds


growing = _of_sizes(sizes.is_growing)
grown_since_its_smallest = _of_sizes(sizes.is_worse)
surely_not_smaller = _of_sizes(sizes.surely_not_smaller)
less_than_half_gone = _of_sizes(
    lambda readings: (
        sizes.less_than_half_gone(readings)
        and sizes.peak(readings).width_mm >= LARGE_IN_A_BANTAM_MM
    )
)
not_clearly_healing = _of_sizes(
    lambda readings: either(
        sizes.not_smaller(readings),
        sizes.less_than_half_gone(readings),
        sizes.stands_still(readings),
    )
)


def large(seen: Situation) -> bool | None:
    width = max((one[0].width_mm for one in sizes.series(seen.sizes)), default=None)
    if width is None or width < LARGE_IN_A_BANTAM_MM or width >= LARGE_MM:
        return at_least(width, LARGE_MM)
    return None if seen.weight_g is None else seen.weight_g <= BANTAM_G


# --- What may be left


def scab_alone(seen: Situation) -> bool | None:
    """She has to be known to be bright; whether she eats, and the other foot, are asked for."""
    return every(
        has_scab(seen),
        not_swollen(seen),
        one_of(seen.gait, 0),
        seen.bright,
        seen.eating is not False,
    )


def skin_alone(seen: Situation) -> bool | None:
    return every(
        at_least(seen.score, 1), one_of(seen.scab, "none"), not_swollen(seen), one_of(seen.gait, 0)
    )


def clear(seen: Situation) -> bool | None:
    return every(opposite(sore(seen)), limps(seen) is not True)
