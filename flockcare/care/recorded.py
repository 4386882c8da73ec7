"""What the records say that calls for a vet: which sign, of which day, seen by whom.

All that keeps a foot from being opened at home asks here.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from flockcare.care.rules import Advice, Answer, Rule, Situation, advise
from flockcare.care.situation import standing
from flockcare.care.standing.advice import counted, of_foot
from flockcare.care.standing.answer import FootStanding, Sign, Standing
from flockcare.care.standing.signs import seen_for
from flockcare.care.standing_words import signs_words
from flockcare.photos.models import Foot


@dataclass(frozen=True)
class Recorded:
    """A sign in the records that calls for a vet, and the day and keeper of the check with it.

    ``foot``: which one, where it is not the one that is asked about. ``words``: where the checks
    that it takes are not one, what each of them saw; then there is no ``on``.
    """

    rule: Rule
    on: date | None
    by: str = ""
    foot: str = ""
    words: str = ""


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
    foot: FootStanding | None = None
    today: date | None = None

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
        observed(rule, feet[0], hers.signs, hers.today)
        for rule in counted(answers, "bird", under_plan=bool(hers.plans))
        if rule.advice.is_for_vet
    ]
    for one, answer in zip(feet, answers, strict=True):
        other = "" if one.foot == foot else one.words
        signs += [
            observed(rule, one, hers.signs, hers.today, other=other)
            for rule in vet_rules(of_foot(one.situation, answer))
        ]
    return Records(feet[0].situation, tuple(signs), hers.advice, feet[0], hers.today)


def bird_is_for_vet(hers: Standing | None) -> bool:
    """Whether the records of either foot, or of the bird herself, call for a vet.

    Also where a vet's plan holds: what the vet knows is still no foot to open at home.
    """
    return bool(hers) and records_in(hers, Foot.LEFT).for_vet


def vet_rules(answer: Answer) -> list[Rule]:
    return [rule for rule in (*answer.because, *answer.also) if rule.advice.is_for_vet]


def observed(
    rule: Rule, foot: FootStanding, hers: Iterable[Sign], today: date, *, other: str = ""
) -> Recorded:
    """With day and observer of the signs that lead to it; without, where it was measured."""
    seen = seen_for(rule, foot, hers)
    if len({(sign.on, sign.by) for sign in seen}) == 1:
        return Recorded(rule, seen[0].on, seen[0].by, other)
    return Recorded(rule, None, "", other, signs_words(seen, today))
