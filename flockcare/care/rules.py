"""When to leave a foot, care for it at home or call a vet: a table of rules and nothing else.

A pure function of what was seen. What nobody wrote down is not known, which is not the same as
"no". A sign that calls for a vet is never outvoted. There is no diagnosis and no dose in it.

The sources: Welfare Quality assessment protocol for poultry (2009); BSAVA Manual of Raptors,
Pigeons and Passerine Birds (2008), chapter 16, doi 10.22233/9781910443101.chap16; Kestin et al.
(1992), Veterinary Record 131:190–194.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from enum import IntEnum, StrEnum
from math import hypot

from flockcare.care.sizes import Size

LIMITS = (
    "No clinical scale has been validated for hens: the grades were made for raptors, the gait "
    "score for broilers, and what is known of healing sores for people. These rules point to a "
    "vet. They are no diagnosis."
)


class Advice(IntEnum):
    """The stronger, the higher."""

    LOOK = 0
    LEAVE = 1
    HOME = 2
    VET = 3

    @property
    def words(self) -> str:
        return {
            Advice.LOOK: "Look again first",
            Advice.LEAVE: "Leave and watch",
            Advice.HOME: "Care at home",
            Advice.VET: "Call a vet",
        }[self]


class Mark(StrEnum):
    """How sure it is that a rule is what its source says."""

    SEEN = "checked against the original"
    MEMORY = "not checked against the original"
    SECOND_HAND = "as others quote it, not checked against the original"
    JOINED = "put together from several sources, no single one says it"
    PRACTICE = "common practice, no published source"


WEEKS_TO_SHRINK = 2


@dataclass(frozen=True)
class Situation:
    """What was seen of one foot and its bird. None: nobody wrote it down.

    ``sizes``: the measurements of this case, in any order and any mixture of units. ``grade``:
    clinical grade 1–5.
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


def _all(*parts: bool | None) -> bool | None:
    """False as soon as one is; else unknown as long as one is (strong Kleene logic)."""
    if False in parts:
        return False
    return None if None in parts else True


def _any(*parts: bool | None) -> bool | None:
    if True in parts:
        return True
    return None if None in parts else False


def _is(value, *wanted) -> bool | None:
    return None if value is None else value in wanted


def _at_least(value, least) -> bool | None:
    return None if value is None else value >= least


def _not(value: bool | None) -> bool | None:
    return None if value is None else not value


def swollen_from_above(seen: Situation) -> bool | None:
    """By the score or by the sign: either says it."""
    return _any(_is(seen.swelling, "from above"), _at_least(seen.score, 2))


def _no_swelling(seen: Situation) -> bool | None:
    return _all(_is(seen.swelling, "none"), _not(swollen_from_above(seen)))


def _moderate_swelling(seen: Situation) -> bool | None:
    return _all(_is(seen.swelling, "moderate"), _not(_at_least(seen.score, 2)))


def _sore(seen: Situation) -> bool | None:
    return _at_least(seen.score, 1)


def _limps_slightly(seen: Situation) -> bool | None:
    return _all(_sore(seen), _at_least(seen.gait, 1), _not(_at_least(seen.gait, 3)))


def _series(seen: Situation) -> list[list[Size]]:
    """The measurements by unit, for only what has one unit can be compared; the newest first."""
    units = sorted({size.unit for size in seen.sizes})
    return [
        sorted((s for s in seen.sizes if s.unit == unit), key=lambda size: size.days_ago)
        for unit in units
    ]


def not_smaller_after_two_weeks(seen: Situation) -> bool | None:
    """Against the newest of the measurements that are two weeks and more before the last one."""
    answers = []
    for newest, *earlier in _series(seen):
        old = [s for s in earlier if s.days_ago - newest.days_ago >= 7 * WEEKS_TO_SHRINK]
        answers.append(newest.value >= old[0].value if old else None)
    return _any_known(answers)


def larger_than_the_error(seen: Situation) -> bool | None:
    """Against the first and the last of the earlier measurements of this case.

    The bounds of two readings that err independently add as squares (JCGM 100:2008, from memory).
    """
    answers = []
    for newest, *earlier in _series(seen):
        pair = (earlier[0], earlier[-1]) if earlier else ()
        grown = any(newest.value - old.value > hypot(newest.error, old.error) for old in pair)
        answers.append(grown if earlier else None)
    return _any_known(answers)


def _any_known(answers: list[bool | None]) -> bool | None:
    """One way of measuring is enough to tell; where two tell, either that warns."""
    known = [answer for answer in answers if answer is not None]
    return any(known) if known else None


@dataclass(frozen=True)
class Rule:
    """``holds`` says whether the sign is there: yes, no or not known.

    ``look_at`` is what a keeper should look at where it is not known. ``look_again_days``: how long
    after a look the next one is due, where the reason says so. ``soak``: whether the reason says to
    soak and cover the foot.
    """

    key: str
    sign: str
    threshold: str
    advice: Advice
    reason: str
    source: str
    mark: Mark
    holds: Callable[[Situation], bool | None] = field(repr=False)
    look_at: str = ""
    look_again_days: int | None = None
    soak: bool = False


BSAVA = "BSAVA Manual of Raptors, Pigeons and Passerine Birds (2008), ch. 16, made for raptors"
WELFARE_QUALITY = "Welfare Quality protocol for poultry (2009), laying hens, foot pad dermatitis"
KESTIN = "Kestin et al. (1992), made for broilers"
OF_SEVERAL = "The signs of the raptor grades III to V taken together"
WOUNDS = (
    "Studies of ulcers in people, where a wound that does not shrink seldom heals "
    "(Sheehan et al. 2003; Coerper et al. 2009); never tested in birds"
)
LORE = "Keepers"
EVERY_DAY = 1  # Common practice, no published source.

RULES = (
    Rule(
        "swelling from above",
        "Swelling that can be seen from above",
        "lesion score 2, or swelling “seen from above”",
        Advice.VET,
        "The infection may have gone deep.",
        f"{WELFARE_QUALITY}; {BSAVA}: a swollen foot is grade III",
        Mark.JOINED,
        swollen_from_above,
        "swelling",
    ),
    Rule(
        "hot",
        "The foot is hot",
        "“hot” is ticked",
        Advice.VET,
        "A hot foot is an infected one.",
        f"{BSAVA}: hot, swollen, painful or oozing is grade III",
        Mark.SEEN,
        lambda seen: seen.hot,
        "heat",
    ),
    Rule(
        "oozing",
        "The sore is oozing",
        "“oozing” is ticked",
        Advice.VET,
        "An oozing sore is an infected one.",
        f"{BSAVA}: hot, swollen, painful or oozing is grade III",
        Mark.SEEN,
        lambda seen: seen.oozing,
        "oozing",
    ),
    Rule(
        "cold or dark",
        "The foot is cold or dark",
        "“cold or dark” is ticked",
        Advice.VET,
        "Blood may not reach it. If a wrap is on, take it off at once.",
        LORE,
        Mark.PRACTICE,
        lambda seen: seen.cold_or_dark,
        "whether the foot is cold or dark",
    ),
    Rule(
        "lame",
        "She is obviously lame",
        "gait score 3 or more",
        Advice.VET,
        "The defect hinders how she moves.",
        f"{KESTIN}, as others quote it; from which score on is our choice",
        Mark.JOINED,
        lambda seen: _at_least(seen.gait, 3),
        "how she walks",
    ),
    Rule(
        "dull",
        "She is not bright",
        "“dull”",
        Advice.VET,
        "A bird that is ill elsewhere can lose a foot even after a small step.",
        LORE,
        Mark.PRACTICE,
        lambda seen: _not(seen.bright),
        "whether she is bright",
    ),
    Rule(
        "not eating",
        "She is not eating",
        "“not eating”",
        Advice.VET,
        "She may be ill in some other way.",
        OF_SEVERAL,
        Mark.JOINED,
        lambda seen: _not(seen.eating),
        "whether she eats",
    ),
    Rule(
        "belly",
        "Her belly is swollen",
        "belly “swollen”",
        Advice.VET,
        "She may be ill in some other way.",
        LORE,
        Mark.PRACTICE,
        lambda seen: seen.belly_swollen,
        "her belly",
    ),
    Rule(
        "grade III",
        "Infected, with a deep scab or a swollen foot",
        "clinical grade III or more",
        Advice.VET,
        "From grade III on the outlook is guarded.",
        BSAVA,
        Mark.SEEN,
        lambda seen: _at_least(seen.grade, 3),
    ),
    Rule(
        "bone or joint",
        "Bone, joint or tendon may be affected",
        "clinical grade IV or V, or a keeper who suspects it",
        Advice.VET,
        "Deep structures: the use of the foot is at stake.",
        f"{BSAVA}: grades IV and V",
        Mark.SEEN,
        lambda seen: _any(seen.bone_or_joint, _at_least(seen.grade, 4)),
    ),
    Rule(
        "not smaller",
        "Not smaller after two weeks",
        "the newest measurement is no smaller than one of two weeks and more before",
        Advice.VET,
        "What is being done does not help, or the cause is still there.",
        WOUNDS,
        Mark.JOINED,
        not_smaller_after_two_weeks,
        "whether it is smaller than two weeks ago (measure it)",
    ),
    Rule(
        "larger",
        "Larger than before",
        "by more than the error of measurement of both (a scab read to the millimetre: 1 mm each)",
        Advice.VET,
        "It grows.",
        WOUNDS,
        Mark.JOINED,
        larger_than_the_error,
        "whether it is larger than before (measure it)",
    ),
    Rule(
        "both feet",
        "Both feet are sore",
        "lesion score 1 or more on both",
        Advice.VET,
        "She has no sound foot to stand on, and the cause may lie in her and not in one foot.",
        OF_SEVERAL,
        Mark.JOINED,
        lambda seen: _all(_sore(seen), _at_least(seen.other_score, 1)),
        "the other foot",
    ),
    Rule(
        "moderate swelling",
        "A sore with moderate swelling",
        "lesion score 1, swelling “moderate”",
        Advice.HOME,
        "Soak, rinse, cover and rest it, and look every day. Swelling that is seen from above, "
        "or a limp, is for a vet.",
        LORE,
        Mark.PRACTICE,
        lambda seen: _all(_sore(seen), _moderate_swelling(seen)),
        "swelling",
        look_again_days=EVERY_DAY,
        soak=True,
    ),
    Rule(
        "slight limp",
        "A sore, and she limps a little",
        "lesion score 1 or more, gait score 1 or 2",
        Advice.HOME,
        "It hurts her. Rest it, soften what she stands on, and look every day.",
        LORE,
        Mark.PRACTICE,
        _limps_slightly,
        "how she walks",
        look_again_days=EVERY_DAY,
    ),
    Rule(
        "scab alone",
        "A scab, with neither swelling nor limp",
        "scab black or brown, no swelling, gait score 0",
        Advice.LEAVE,
        "It often works itself out over weeks. Opening it can do more harm.",
        LORE,
        Mark.PRACTICE,
        lambda seen: _all(
            _sore(seen),
            _is(seen.scab, "brown", "black"),
            _no_swelling(seen),
            _is(seen.gait, 0),
        ),
        "scab, swelling and gait",
    ),
    Rule(
        "skin alone",
        "Thick or dead skin, no scab, neither swelling nor limp",
        "lesion score 1, no scab, no swelling, gait score 0",
        Advice.LEAVE,
        "Look for the cause: what she lands and stands on.",
        f"{BSAVA}: grade I",
        Mark.JOINED,
        lambda seen: _all(
            _sore(seen), _is(seen.scab, "none"), _no_swelling(seen), _is(seen.gait, 0)
        ),
        "scab, swelling and gait",
    ),
    Rule(
        "clear",
        "No sore on this foot",
        "lesion score 0",
        Advice.LEAVE,
        "There is nothing to treat.",
        WELFARE_QUALITY,
        Mark.MEMORY,
        lambda seen: _is(seen.score, 0),
        "the foot itself",
    ),
)
VET_RULES = tuple(rule for rule in RULES if rule.advice is Advice.VET)


@dataclass(frozen=True)
class Answer:
    """``because``: the rules that led to this advice. ``also``: signs of weaker advice.

    ``unknown``: what nobody wrote down and a rule would want to know. ``calls_for_vet``: signs that
    would make it "call a vet" (those not there so far).
    """

    advice: Advice
    because: tuple[Rule, ...]
    also: tuple[Rule, ...]
    unknown: tuple[str, ...]
    calls_for_vet: tuple[Rule, ...]

    @property
    def look_again_days(self) -> int | None:
        """The soonest of what led here; None where the flock's own days count."""
        asked = (rule.look_again_days for rule in self.because)
        return min((days for days in asked if days is not None), default=None)

    @property
    def change(self) -> str:
        """What would change the advice."""
        if self.advice is Advice.VET:
            return "Only a check without these signs, or what the vet says."
        if self.advice is Advice.LOOK:
            return "A check that says how the foot is, how she walks and how she is in other ways."
        return "Any one of the signs that call for a vet, and each new check."


def advise(seen: Situation) -> Answer:
    """The strongest advice of the rules whose sign is there; LOOK where none is."""
    there = [rule for rule in RULES if rule.holds(seen) is True]
    advice = max((rule.advice for rule in there), default=Advice.LOOK)
    unknown = dict.fromkeys(
        rule.look_at
        for rule in RULES
        if rule.look_at and rule.advice >= advice and rule.holds(seen) is None
    )
    return Answer(
        advice=advice,
        because=tuple(rule for rule in there if rule.advice is advice),
        also=tuple(rule for rule in there if rule.advice is not advice),
        unknown=tuple(unknown),
        calls_for_vet=tuple(rule for rule in VET_RULES if rule not in there),
    )
