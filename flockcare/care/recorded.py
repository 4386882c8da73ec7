"""What the records say that calls for a vet: which sign, of which day, seen by whom.

All that keeps a foot from being opened at home asks here.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from functools import partial

from django.utils import timezone

from flockcare.care.rules import Advice, Answer, Rule, Situation
from flockcare.care.situation import (
    FOLLOWED,
    Advised,
    Looks,
    advise_foot,
    looks_of_bird,
    situation_of,
)
from flockcare.feet.models import Check
from flockcare.photos.models import Foot


def is_for_vet(advice: Advice) -> bool:
    """Whether nobody opens a foot at home: the one place that says so."""
    return advice is Advice.VET


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

    While the other foot, or the bird, is for a vet, nobody opens this one either. ``checked``,
    ``checked_by``: the check of this foot that ``situation`` rests on.
    """

    situation: Situation
    signs: tuple[Recorded, ...]
    checked: date | None = None
    checked_by: str = ""

    @property
    def for_vet(self) -> bool:
        return bool(self.signs)


def records_of(bird, foot: str, *, now: datetime) -> Records:
    """Three queries. The bird must come with her flock."""
    looks = looks_of_bird(bird, since=now - FOLLOWED)
    signs = []
    for advised in sorted(_feet_for_vet(looks, now=now), key=lambda one: one.foot != foot):
        other = "" if advised.foot == foot else advised.foot_words
        for rule in vet_rules(advised.answer):
            # What is of the bird herself leads there by either foot, and is said once.
            of_bird = rule.holds(situation_of(None, None, looks.sign)) is True
            if not (of_bird and any(sign.rule is rule for sign in signs)):
                signs.append(_recorded(rule, looks, advised, "" if of_bird else other))
    hers = advise_foot(looks, foot, now=now)
    return Records(hers.situation, tuple(signs), hers.on, hers.check.by if hers.check else "")


def bird_is_for_vet(bird, *, now: datetime, looks: Looks | None = None) -> bool:
    """Whether the records of either foot, or of the bird herself, call for a vet.

    Three queries without ``looks``. The bird must come with her flock.
    """
    looks = looks or looks_of_bird(bird, since=now - FOLLOWED)
    return bool(_feet_for_vet(looks, now=now))


def _feet_for_vet(looks: Looks, *, now: datetime) -> list[Advised]:
    feet = [advise_foot(looks, foot, now=now) for foot in Foot]
    return [advised for advised in feet if is_for_vet(advised.answer.advice)]


def vet_rules(answer: Answer) -> list[Rule]:
    return [rule for rule in (*answer.because, *answer.also) if is_for_vet(rule.advice)]


def _recorded(rule: Rule, looks: Looks, advised: Advised, foot: str) -> Recorded:
    """By the newest check that shows the sign by itself, else the one the advice rests on."""
    for check in looks.checks:
        found = next((one for one in check.findings.all() if one.foot == advised.foot), None)
        if rule.holds(situation_of(found, None, partial(_said, check))) is True:
            return Recorded(rule, timezone.localdate(check.at, looks.zone), check.by, foot)
    return Recorded(rule, advised.on, advised.check.by if advised.check else "", foot)


def _said(check: Check, name: str):
    value = getattr(check, name)
    return None if value == "" else value
