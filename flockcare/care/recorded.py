"""What the records say that calls for a vet: which sign, of which day, seen by whom.

All that keeps a foot from being opened at home asks here.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from flockcare.care.rules import Advice, Answer, Rule, Situation, advise
from flockcare.care.situation import standing
from flockcare.care.standing import Standing, counted, of_foot, signs_in
from flockcare.photos.models import Foot


@dataclass(frozen=True)
class Recorded:
    """A sign in the records that calls for a vet, and the day and keeper of the check with it.

    ``foot``: which one, where it is not the one that is asked about.
    """

    rule: Rule
    on: date | None
    by: str = ""
    foot: str = ""


@dataclass(frozen=True)
class Records:
    """What the records say about a foot, and all that calls for a vet: of either foot and of her.

    While the other foot, or the bird, is for a vet, nobody opens this one either. ``advice``: for
    the bird with both feet, under a vet's plan if one holds. ``checked``, ``checked_by``: the check
    of this foot that ``situation`` rests on.
    """

    situation: Situation
    signs: tuple[Recorded, ...]
    advice: Advice = Advice.LOOK
    checked: date | None = None
    checked_by: str = ""

    @property
    def for_vet(self) -> bool:
        return bool(self.signs)


def records_of(bird, foot: str, *, now: datetime) -> Records:
    """One query as a rule. The bird must come with her flock; one that left is nobody's concern."""
    hers = standing(bird, now=now)
    return records_in(hers, foot) if hers else Records(Situation(), ())


def records_in(hers: Standing, foot: str) -> Records:
    """The same, of a bird of which it is known how she stands."""
    feet = sorted(hers.feet.values(), key=lambda one: one.foot != foot)
    answers = [advise(one.situation) for one in feet]
    signs = [
        Recorded(rule, *_observed(rule, hers))
        for rule in counted(answers, "bird", under_plan=bool(hers.plans))
        if rule.advice.is_for_vet
    ]
    for one, answer in zip(feet, answers, strict=True):
        other = "" if one.foot == foot else one.words
        signs += [
            Recorded(rule, one.checked, one.by, other)
            for rule in vet_rules(of_foot(one.situation, answer))
        ]
    return Records(feet[0].situation, tuple(signs), hers.advice, feet[0].checked, feet[0].by)


def bird_is_for_vet(hers: Standing | None) -> bool:
    """Whether the records of either foot, or of the bird herself, call for a vet.

    Also where a vet's plan holds: what the vet knows is still no foot to open at home.
    """
    return bool(hers) and records_in(hers, Foot.LEFT).for_vet


def vet_rules(answer: Answer) -> list[Rule]:
    return [rule for rule in (*answer.because, *answer.also) if rule.advice.is_for_vet]


def _observed(rule: Rule, hers: Standing) -> tuple[date | None, str]:
    """Day and observer of the sign that leads to a rule of the bird by itself."""
    for sign in hers.signs:
        alone = {sign.name: sign.value}
        if rule.holds(Situation(**signs_in(alone.get))) is True:
            return sign.on, sign.by
    return hers.last_check, ""
