"""Before a foot is opened: what is asked first, what has to be said, and the answer.

The app never says "open it". A sign that calls for a vet ends the questions with "call a vet";
without one the common practice is to leave it.
"""

from dataclasses import dataclass

from django import forms

from flockcare.care.rules import Answer, Mark, Situation, advise
from flockcare.core.forms import KeeperForm

UNKNOWN = "unknown"
YES_NO = [("yes", "yes"), ("no", "no"), (UNKNOWN, "not sure")]


def _ask(label: str) -> forms.ChoiceField:
    return forms.ChoiceField(
        label=label,
        choices=YES_NO,
        widget=forms.RadioSelect(attrs={"class": "chips"}),
        error_messages={"required": "Check her first, and say “not sure” where you are not."},
    )


class OpeningForm(KeeperForm):
    """How she is altogether: asked anew each time, and never filled in from an earlier look."""

    bright = _ask("Is she bright and on her feet?")
    eating = _ask("Does she eat?")
    droppings = _ask("Are her droppings normal?")
    belly = _ask("Is her belly swollen?")
    lame = _ask("Is she obviously lame?")
    from_above = _ask("Can you see the swelling from above?")
    hot = _ask("Is the foot hot, or is the sore oozing?")
    cold = _ask("Is the foot cold or dark?")
    deep = _ask("Could bone, joint or tendon be affected?")


def _known(word: str) -> bool | None:
    return None if word == UNKNOWN else word == "yes"


@dataclass(frozen=True)
class OpeningAnswer:
    answer: Answer
    unsure: tuple[str, ...]
    odd_droppings: bool

    @property
    def vet(self) -> bool:
        """A sign is there, or one cannot be told: then nobody opens a foot at home."""
        return bool(self.answer.advice.is_for_vet or self.unsure or self.odd_droppings)


def answer_for(said: dict) -> OpeningAnswer:
    lame = _known(said["lame"])
    situation = Situation(
        bright=_known(said["bright"]),
        eating=_known(said["eating"]),
        belly_swollen=_known(said["belly"]),
        gait={None: None, True: 3, False: 0}[lame],
        swelling="from above" if _known(said["from_above"]) else None,
        hot=_known(said["hot"]),
        cold_or_dark=_known(said["cold"]),
        bone_or_joint=_known(said["deep"]),
    )
    unsure = tuple(
        OpeningForm.base_fields[name].label for name, word in said.items() if word == UNKNOWN
    )
    return OpeningAnswer(advise(situation), unsure, _known(said["droppings"]) is False)


@dataclass(frozen=True)
class Caution:
    title: str
    text: str
    source: str


PRACTICE = str(Mark.PRACTICE).capitalize()
# Also for a foot that nobody opens.
DRESSING = (
    Caution(
        "Hold her safely",
        "Two people: one holds her upright and wrapped in a towel, with her breast free so that "
        "she can breathe; the other has both hands for the foot. Good light, no hurry.",
        PRACTICE,
    ),
    Caution(
        "The soak",
        "Warm water, about 20 minutes. Do not let her drink it: Epsom salt is a laxative. Where a "
        "scab is lifted, soak before and after.",
        "Damerow, as others quote it; Epsom salt: common practice, no published source",
    ),
    Caution(
        "Rinse, ointment, cover",
        "Rinse, plain ointment, gauze, and a cover so that she cannot peck it off. A wrap that "
        "clings to itself tightens with time: look at it within a day, and at every dressing until "
        "it is off. Out of doors it gets wet and dirty and is changed daily.",
        f"{PRACTICE}; daily changes: Konicek, Gumpenberger and Schramel 2024, Animals 14(17):2581",
    ),
    Caution(
        "Ointments with an added pain reliever",
        "Ask a vet first: the dose matters in a small bird.",
        "As others quote it, not checked against the original",
    ),
)
CAUTIONS = (
    Caution(
        "It can always be left",
        "A scab with neither swelling nor limp is commonly left and watched, and often works "
        "itself out over weeks. Opening is considered only with marked swelling together with "
        "limping, and these two are signs that call for a vet.",
        PRACTICE,
    ),
    Caution(
        "It hurts, and the law may have a say",
        "It hurts her, and at home there is no pain relief for it. In some countries cutting into "
        "a living animal is for a vet by law. Ask before, not after.",
        "Ask a vet or the authority where you live",
    ),
    Caution(
        "She may be ill elsewhere",
        "A bird that is ill elsewhere can lose the foot even after a small step. That is why the "
        "questions come first.",
        PRACTICE,
    ),
    Caution(
        "Only what comes out easily",
        "Soften the scab with a soak before. Take only what comes out easily and never dig: "
        "digging can cost the foot. Stop when it does not come.",
        PRACTICE,
    ),
    Caution(
        "Bleeding",
        "Some bleeding is usual. Press clean gauze on it. Bleeding that does not stop is for a vet "
        "at once.",
        PRACTICE,
    ),
    Caution(
        "Clean hands, clean blade",
        "Gloves, or hands washed with soap for 20 seconds before and after. A new blade, or one "
        "cleaned with alcohol. Blades go into a sharps box, gauze into a closed bag, and boots and "
        "table are washed. Not in the kitchen. Small children, old people and people with weak "
        "defences stay away.",
        "CDC advice on backyard poultry, as others quote it (it is about Salmonella); "
        "gloves: Damerow, as others quote it",
    ),
)
