"""Which of several answers counts: for a foot, and for the bird."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from flockcare.care.rules import Advice, Answer, Rule, Situation
from flockcare.care.rules.answer import is_known_to_vet


def counted(answers: Iterable[Answer], of: str, *, under_plan: bool) -> list[Rule]:
    """The rules of these answers that speak of the bird herself or of a foot, each once, but for
    what a vet knows already whose plan holds.
    """
    found = {rule.key: rule for one in answers for rule in (*one.because, *one.also)}
    return [
        rule
        for rule in found.values()
        if rule.of == of and not (under_plan and is_known_to_vet(rule))
    ]


def strongest(levels: Iterable[Advice]) -> Advice:
    """Where something is to be checked again, nothing is left alone."""
    levels = set(levels)
    if Advice.LOOK in levels:
        levels.discard(Advice.LEAVE)
    return max(levels, default=Advice.LOOK)


def of_foot(situation: Situation, answer: Answer) -> Answer:
    """The answer without the signs of the bird herself, which have a place of their own."""
    rules = counted([answer], "foot", under_plan=bool(situation.under_vet_plan))
    advice = strongest(rule.advice for rule in rules)
    because = tuple(rule for rule in rules if rule.advice is advice)
    there = (*answer.because, *answer.also)
    also = tuple(rule for rule in there if rule.of == "foot" and rule not in because)
    return replace(answer, advice=advice, because=because, also=also)
