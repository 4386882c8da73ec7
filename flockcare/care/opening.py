"""Before a foot is opened: what is asked first, what has to be said, and the answer.

The app never says "open it". What the records and the answers say is put together, and the worse
counts. A sign that calls for a vet ends the questions; without one the common practice is to leave
the sore.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime
from functools import partial

from django import forms
from django.utils import timezone

from flockcare.care.rules import Advice, Answer, Rule, Situation, advise
from flockcare.care.situation import (
    FOLLOWED,
    Advised,
    Looks,
    advise_foot,
    looks_of_bird,
    situation_of,
)
from flockcare.core.forms import KeeperForm
from flockcare.core.sources import CDC, DAMEROW, FIRST_AID, MRSA, PRACTICE, Source
from flockcare.feet.models import Check
from flockcare.photos.models import Foot

UNKNOWN = "unknown"
YES_NO = [("yes", "yes"), ("no", "no"), (UNKNOWN, "not sure")]


def is_for_vet(advice: Advice) -> bool:
    """Whether nobody opens a foot at home: the one place that says so."""
    return advice is Advice.VET


def _ask(label: str) -> forms.ChoiceField:
    return forms.ChoiceField(
        label=label,
        choices=YES_NO,
        widget=forms.RadioSelect(attrs={"class": "chips"}),
        error_messages={"required": "Check her first, and say “not sure” where you are not."},
    )


class OpeningForm(KeeperForm):
    """How she is altogether: asked anew each time, and never filled in from an earlier check."""

    bright = _ask("Is she bright and on her feet?")
    eating = _ask("Does she eat?")
    droppings = _ask("Are her droppings normal?")
    belly = _ask("Is her belly swollen?")
    lame = _ask("Is she obviously lame?")
    from_above = _ask("Can you see the swelling from above?")
    hot = _ask("Is the foot hot, or is the sore oozing?")
    cold = _ask("Is the foot cold, or darker than usual or than the other foot?")
    deep = _ask("Could bone, joint or tendon be affected?")


def _known(word: str) -> bool | None:
    return None if word == UNKNOWN else word == "yes"


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

    While the other foot, or the bird, is for a vet, nobody opens this one either.
    """

    advised: Advised
    signs: tuple[Recorded, ...]

    @property
    def for_vet(self) -> bool:
        return bool(self.signs)


@dataclass(frozen=True)
class OpeningAnswer:
    """``answer``: to records and answers together; ``said``: the signs that the answers gave."""

    answer: Answer
    said: tuple[Rule, ...]
    recorded: tuple[Recorded, ...]
    unsure: tuple[str, ...]
    odd_droppings: bool

    @property
    def vet(self) -> bool:
        """A sign is there, or one cannot be told: then nobody opens a foot at home."""
        return bool(self.said or self.recorded or self.unsure or self.odd_droppings)


def records_of(bird, foot: str, *, now: datetime) -> Records:
    """Three queries. The bird must come with her flock."""
    looks = looks_of_bird(bird, since=now - FOLLOWED)
    signs = []
    for advised in sorted(_feet_for_vet(looks, now=now), key=lambda one: one.foot != foot):
        other = "" if advised.foot == foot else advised.foot_words
        for rule in _vet_rules(advised.answer):
            # What is of the bird herself leads there by either foot, and is said once.
            of_bird = rule.holds(situation_of(None, None, looks.sign)) is True
            if not (of_bird and any(sign.rule is rule for sign in signs)):
                signs.append(_recorded(rule, looks, advised, "" if of_bird else other))
    return Records(advise_foot(looks, foot, now=now), tuple(signs))


def calls_for_vet(looks: Looks, *, now: datetime) -> bool:
    """Whether the records of either foot, or of the bird herself, call for a vet."""
    return bool(_feet_for_vet(looks, now=now))


def bird_is_for_vet(bird, *, now: datetime) -> bool:
    """The same from the database: three queries. The bird must come with her flock."""
    return calls_for_vet(looks_of_bird(bird, since=now - FOLLOWED), now=now)


def _feet_for_vet(looks: Looks, *, now: datetime) -> list[Advised]:
    feet = [advise_foot(looks, foot, now=now) for foot in Foot]
    return [advised for advised in feet if is_for_vet(advised.answer.advice)]


def _vet_rules(answer: Answer) -> list[Rule]:
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


def answer_for(said: dict, records: Records) -> OpeningAnswer:
    told = _told(said)
    answer = advise(_worse(records.advised.situation, told))
    because = _vet_rules(answer)
    by_answers = tuple(rule for rule in because if rule.holds(told) is True)
    known = {one.rule.key for one in records.signs if not one.foot}
    # What neither says by itself: a sign that takes both, such as a limp with a recorded sore.
    by_both = [rule for rule in because if rule not in by_answers and rule.key not in known]
    advised = records.advised
    by = advised.check.by if advised.check else ""
    return OpeningAnswer(
        answer,
        said=by_answers,
        recorded=(
            *(one for one in records.signs if one.foot or one.rule not in by_answers),
            *(Recorded(rule, advised.on, by) for rule in by_both),
        ),
        unsure=tuple(
            OpeningForm.base_fields[name].label for name, word in said.items() if word == UNKNOWN
        ),
        odd_droppings=_known(said["droppings"]) is False,
    )


def _told(said: dict) -> Situation:
    lame = _known(said["lame"])
    return Situation(
        bright=_known(said["bright"]),
        eating=_known(said["eating"]),
        belly_swollen=_known(said["belly"]),
        gait={None: None, True: 3, False: 0}[lame],
        swelling="from above" if _known(said["from_above"]) else None,
        hot=_known(said["hot"]),
        cold_or_dark=_known(said["cold"]),
        bone_or_joint=_known(said["deep"]),
    )


def _worse(recorded: Situation, told: Situation) -> Situation:
    """The records with the answers, of each sign the worse."""
    good, bad = ("bright", "eating"), ("belly_swollen", "hot", "cold_or_dark", "bone_or_joint")
    changed = {}
    for worse, names in ((False, good), (True, bad)):
        for name in names:
            pair = getattr(told, name), getattr(recorded, name)
            known = [value for value in pair if value is not None]
            changed[name] = worse if worse in known else next(iter(known), None)
    gaits = [gait for gait in (recorded.gait, told.gait) if gait is not None]
    return replace(
        recorded,
        gait=max(gaits, default=None),
        swelling=told.swelling or recorded.swelling,
        **changed,
    )


@dataclass(frozen=True)
class Caution:
    title: str
    text: str
    sources: tuple[Source, ...]


CAUTIONS = (
    Caution(
        "It can always be left",
        "A scab with neither swelling nor limp is commonly left and watched, and often works "
        "itself out over weeks. Opening is considered only with marked swelling together with "
        "limping, and these two are signs that call for a vet.",
        (PRACTICE,),
    ),
    Caution(
        "It hurts, and the law may have a say",
        "It hurts her, and at home there is no pain relief for it; a vet has some. In some "
        "countries cutting into a living animal is for a vet by law. Ask before, not after.",
        (PRACTICE,),
    ),
    Caution(
        "She may be ill elsewhere",
        "A bird that is ill elsewhere can lose the foot even after a small step. That is why the "
        "questions come first.",
        (PRACTICE,),
    ),
    Caution(
        "Only what comes out easily",
        "Soften the scab with a soak before; an open sore is not soaked. Take only what comes out "
        "easily and never dig: digging can cost the foot. Stop when it does not come.",
        (PRACTICE,),
    ),
    Caution(
        "Bleeding",
        "Some bleeding is usual. Press clean gauze on it for 5 to 10 minutes without lifting. "
        "Bleeding that does not stop is for a vet at once.",
        (FIRST_AID, PRACTICE),
    ),
    Caution(
        "Clean hands, new blade",
        "Gloves, and hands washed with soap for 20 seconds before and after; own cuts covered, no "
        "splashes to the eyes, not in the kitchen. A new, sterile blade, used once: alcohol does "
        "not make a used one sterile. Blades go into a sharps box, gauze into a closed bag. "
        "Children under 5, people over 65 and people with a weakened immune system keep away. Cut "
        "or stuck yourself? Wash it with soap and water, and see a doctor.",
        (CDC, MRSA, DAMEROW),
    ),
)
