"""From what was seen to the advice, with the rules that led there."""

from __future__ import annotations

from dataclasses import dataclass

from flockcare.care.rules.levels import Advice, Rule
from flockcare.care.rules.signs import Situation
from flockcare.care.rules.table import EVERY_DAY, RULES

URGENT = tuple(rule for rule in RULES if rule.advice.is_urgent)


@dataclass(frozen=True)
class Answer:
    """``because``: the rules that led to this advice. ``also``: other signs that are there.

    ``unknown``: what nobody wrote down and a rule would want to know. ``calls_for_vet``: signs that
    would bring her to a vet sooner (those not there so far), the most urgent first.
    """

    advice: Advice
    because: tuple[Rule, ...]
    also: tuple[Rule, ...]
    unknown: tuple[str, ...]
    calls_for_vet: tuple[Rule, ...]

    @property
    def look_again_days(self) -> int | None:
        """The soonest that any sign asks for, and every day while a vet within days is wanted: a
        worse foot is never checked later than a milder one. None where the flock's own days count.

        Common practice, no published source.
        """
        asked = [rule.look_again_days for rule in (*self.because, *self.also)]
        asked += [EVERY_DAY] if self.advice.is_urgent else []
        return min((days for days in asked if days is not None), default=None)

    @property
    def notifiable(self) -> bool:
        """Whether a sign is also one of diseases that must be reported."""
        return any(rule.notifiable for rule in (*self.because, *self.also))

    @property
    def change(self) -> str:
        """What would change the advice."""
        if self.advice.is_for_vet:
            return "Only a check without these signs, or what the vet says."
        if self.advice is Advice.LOOK:
            return "A check that says how the foot is, how the bird walks and how it is otherwise."
        return "Any one of the signs that call for a vet, and each new check."


def advise(seen: Situation) -> Answer:
    """The strongest advice of the rules whose sign is there; LOOK where none is.

    A sign to be checked again outdoes LEAVE. Under a vet's plan only what calls for a vet today, or
    what the plan cannot know of, outdoes it.
    """
    there = [rule for rule in RULES if rule.holds(seen) is True]
    counted = [rule for rule in there if not (seen.under_vet_plan and is_known_to_vet(rule))]
    if any(rule.advice is Advice.LOOK for rule in counted):
        counted = [rule for rule in counted if rule.advice is not Advice.LEAVE]
    advice = max((rule.advice for rule in counted), default=Advice.LOOK)
    because = tuple(rule for rule in counted if rule.advice is advice)
    unknown = dict.fromkeys(
        rule.look_at
        for rule in RULES
        if rule.look_at and rule.advice >= advice and rule.holds(seen) is None
    )
    return Answer(
        advice=advice,
        because=because,
        also=tuple(rule for rule in there if rule not in because),
        unknown=tuple(unknown),
        calls_for_vet=tuple(rule for rule in URGENT if rule.advice > advice and rule not in there),
    )


def is_known_to_vet(rule: Rule) -> bool:
    if rule.plan_knows is not None:
        return rule.plan_knows
    return rule.advice.is_for_vet and rule.advice is not Advice.NOW
