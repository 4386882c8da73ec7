"""Which signs hold now, of the bird and of a foot, and which check said each last."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta

from flockcare.care.rules import Rule, Situation
from flockcare.care.standing.answer import FootStanding, Sign
from flockcare.care.standing.records import FootSeen, Look
from flockcare.feet.cases import Case
from flockcare.feet.models import SIGN_WORDS, Swelling
from flockcare.feet.scales import CLINICAL_GRADE

SIGNS_STAND = timedelta(days=14)


GAITS = {
    1: "limps slightly",
    2: "limps",
    3: "obviously lame",
    4: "severely lame",
    5: "cannot walk",
}


# A sign of the bird by its field: the values that stand out, in words.
WORDS: dict[str, Mapping[object, str]] = {
    "gait": GAITS,
    "manner": {"dull": "dull"},
    "eating": {"no": "not eating"},
    "droppings": {"odd": "abnormal droppings"},
    "belly": {"swollen": "swollen belly"},
    "body_condition": {0: "very thin"},
    "comb": {"pale": "pale comb", "purple": "purple comb"},
}


LIMPS_ON = {"left": " on the left", "right": " on the right", "both": " on both"}


def signs_of(looks: Sequence[Look], *, today: date, in_case: bool) -> dict[str, Sign]:
    """The newest word about each sign that still holds, also where all is well, by its field."""
    found: dict[str, Sign] = {}
    for look in looks:
        if looks[0].on - look.on > SIGNS_STAND:
            break
        if today - look.on > SIGNS_STAND and not in_case:
            break
        for name, words in WORDS.items():
            value = look.signs.get(name)
            if name not in found and value not in ("", None):
                said = words.get(value, "")
                if said and name == "gait":
                    said += LIMPS_ON.get(look.signs.get("limps_on"), "")
                found[name] = Sign(name, value, said, look.on, look.by, look.key)
    return found


def shown_signs(signs: Mapping[str, Sign]) -> tuple[Sign, ...]:
    return tuple(sign for sign in signs.values() if sign.words)


def days_limping(looks: Sequence[Look], today: date) -> int | None:
    """Since the first of the checks in a row that saw her limp; those that did not ask are none."""
    since = None
    for look in looks:
        gait = look.signs.get("gait")
        if gait is None:
            continue
        if not gait:
            break
        since = look.on
    return (today - since).days if since else None


def signs_in(value) -> dict[str, object]:
    """The signs of a bird as the rules name them; ``value`` gives what a check says, or None."""
    return {
        "gait": value("gait"),
        "bright": _is(value("manner"), "bright"),
        "eating": _is(value("eating"), "yes"),
        "belly_swollen": _is(value("belly"), "swollen"),
        "droppings_normal": _is(value("droppings"), "normal"),
        "body_condition": value("body_condition"),
        "comb": value("comb"),
    }


def _is(value, wanted) -> bool | None:
    return None if value is None else value == wanted


_TOLD = (
    *("hot", "oozing", "cold_or_dark", "bleeding", "constricted", "plug_or_hole"),
    *("joint_swollen", "bone_or_joint", "raised_scales"),
)


OF_FOOT = ("swelling", "scab", *_TOLD)


def foot_signs(foot: str, looks: Sequence[Look], case: Case | None) -> dict[str, object]:
    """The newest answer about each sign of a foot within its case, else None.

    A foot that is clear is one without these signs, unless the same check says otherwise.
    """
    hers = [look.feet[foot] for look in looks if foot in look.feet]
    if not hers:
        return {}
    if case is None:
        clear = {"swelling": "none", "scab": "none", **dict.fromkeys(_TOLD, False)}
        said = {name: getattr(hers[0], name) for name in OF_FOOT}
        found = {name: said[name] or clear[name] for name in OF_FOOT}
        return {**found, "grade": hers[0].clinical_grade}
    of_case = [look.feet[foot] for look in looks if foot in look.feet and look.on >= case.first.on]
    of_case = [seen for seen in of_case if seen.affected]
    found = {name: _newest(of_case, name) for name in OF_FOOT}
    if found["swelling"] == "from above" and of_case[0].score < 2:
        # Score 1 says that it cannot be seen from above any more, and not how much is left.
        found["swelling"] = None
    return {**found, "grade": _newest(of_case, "clinical_grade")}


def seen_of_foot(foot: str, looks: Sequence[Look], case: Case | None) -> tuple[Sign, ...]:
    """What ``foot_signs`` found there, each with the newest check that said it."""
    found, told = [], foot_signs(foot, looks, case)
    for name in (*OF_FOOT, "clinical_grade"):
        value = told.get(_FIELDS.get(name, name))
        if value in (None, "", "none", False):
            continue
        seen = next(
            look for look in looks if foot in look.feet and getattr(look.feet[foot], name) == value
        )
        found.append(Sign(name, value, _foot_words(name, value), seen.on, seen.by, seen.key))
    return tuple(found)


def _foot_words(name: str, value) -> str:
    if name == "swelling":
        return f"swelling {Swelling(value).label}"
    if name == "scab":
        return f"{value} scab"
    if name == "clinical_grade":
        return f"clinical grade {CLINICAL_GRADE.step(value).short}"
    return SIGN_WORDS[name]


# Where the rules have another name for a sign than a check.
_FIELDS = {
    **{"manner": "bright", "belly": "belly_swollen", "droppings": "droppings_normal"},
    "clinical_grade": "grade",
}


def seen_for(rule: Rule, foot: FootStanding, hers: Iterable[Sign]) -> tuple[Sign, ...]:
    """The signs without which the rule would not hold of this foot, else one that is enough for it.

    ``hers``: those of the bird. Empty where it rests on what was measured or on time alone.
    """
    signs = [*foot.scored_signs, *hers]
    needed = tuple(sign for sign in signs if not _holds_with(rule, foot.situation, sign, None))
    return needed or enough_for(rule, signs)[:1]


def enough_for(rule: Rule, signs: Iterable[Sign]) -> tuple[Sign, ...]:
    """Those of the signs that the rule would hold with if nothing else were known."""
    return tuple(sign for sign in signs if _holds_with(rule, Situation(), sign, sign.value))


def _holds_with(rule: Rule, situation: Situation, sign: Sign, value) -> bool:
    name = _FIELDS.get(sign.name, sign.name)
    if value is not None and sign.name in WORDS:
        value = signs_in({sign.name: value}.get)[name]
    told = {name: value}
    if sign.name == "gait":
        told["days_limping"] = None  # Known by the same checks.
    return rule.holds(replace(situation, **told)) is True


def _newest(seen: Iterable[FootSeen], name: str):
    answers = (getattr(one, name) for one in seen)
    return next((answer for answer in answers if answer not in ("", None)), None)
