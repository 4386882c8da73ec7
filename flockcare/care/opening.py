"""Why a scab is left: what is asked first, what has to be said, and the answer.

The app never says "open it": cutting is for a vet, and nothing to cut with is named. What the
records and the answers say is put together, and the worse counts. A sign that calls for a vet ends
the questions; without one the common practice is to leave the sore.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from django import forms

from flockcare.care.dressing import SURGERY
from flockcare.care.recorded import Recorded, Records, observed, vet_rules
from flockcare.care.rules import Answer, Rule, Situation, advise
from flockcare.care.standing.answer import NEVER, FootStanding
from flockcare.core.forms import KeeperForm
from flockcare.core.sources import CDC, DAMEROW, FIRST_AID, MRSA, PRACTICE, Source

UNKNOWN = "unknown"
YES_NO = [("yes", "yes"), ("no", "no"), (UNKNOWN, "not sure")]


def _ask(label: str) -> forms.ChoiceField:
    return forms.ChoiceField(
        label=label,
        choices=YES_NO,
        widget=forms.RadioSelect(attrs={"class": "chips"}),
        error_messages={"required": "Check the bird first, and say “not sure” where you are not."},
    )


class OpeningForm(KeeperForm):
    """How she is altogether: asked anew each time, and never filled in from an earlier check."""

    bright = _ask("Is the bird bright and on its feet?")
    eating = _ask("Is it eating?")
    droppings = _ask("Are the droppings normal?")
    belly = _ask("Is the belly swollen?")
    lame = _ask("Is it obviously lame?")
    from_above = _ask("Can you see the swelling from above?")
    hot = _ask("Is the foot hot, or is the sore oozing?")
    cold = _ask("Is the foot cold, or darker than usual or than the other foot?")
    deep = _ask("Could bone, joint or tendon be affected?")


def _known(word: str) -> bool | None:
    return None if word == UNKNOWN else word == "yes"


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


def answer_for(said: dict, records: Records) -> OpeningAnswer:
    told = _told(said)
    worse = _worse(records.situation, told)
    answer = advise(worse)
    because = vet_rules(answer)
    by_answers = tuple(rule for rule in because if rule.holds(told) is True)
    known = {one.rule.key for one in records.signs if not one.foot}
    # What neither says by itself: a sign that takes both, such as a limp with a recorded sore.
    by_both = [rule for rule in because if rule not in by_answers and rule.key not in known]
    foot = replace(records.foot or FootStanding("", NEVER), situation=worse)
    return OpeningAnswer(
        answer,
        said=by_answers,
        recorded=(
            *(one for one in records.signs if one.foot or one.rule not in by_answers),
            *(observed(rule, foot, (), records.today) for rule in by_both),
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
        "A scab with neither swelling nor limp is commonly left and monitored, and often works "
        "itself out over weeks. Swelling together with limping calls for a vet.",
        (PRACTICE,),
    ),
    Caution("Cutting is for a vet", SURGERY, (PRACTICE,)),
    Caution(
        "The scab is its cover",
        "Pulled off, it bleeds and lets dirt in, and digging can cost the foot. Do not pull, "
        "squeeze or dig. If it comes off by itself in a soak, rinse the foot, dry it and dress it.",
        (PRACTICE,),
    ),
    Caution(
        "The bird may be ill elsewhere",
        "A bird that is ill elsewhere can lose the foot even after a small wound. That is why the "
        "questions come first.",
        (PRACTICE,),
    ),
    Caution(
        "If it came off and bleeds",
        "Press clean gauze on it for 5 to 10 minutes without lifting. Bleeding that does not stop "
        "is for a vet at once.",
        (FIRST_AID, PRACTICE),
    ),
    Caution(
        "Clean hands",
        "Gloves, and hands washed with soap for 20 seconds before and after; own cuts covered, no "
        "splashes to the eyes, not in the kitchen. Gauze and scab go into a closed bag. Children "
        "under 5, people over 65 and people with a weakened immune system keep away. Did it get "
        "into a cut of yours? Wash it with soap and water, and see a doctor.",
        (CDC, MRSA, DAMEROW),
    ),
)
