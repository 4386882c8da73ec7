"""How to soak and dress a foot, step by step, for whoever has to do it tonight.

For a foot that no vet is needed for. There is no dose in it, and no blade.
"""

from dataclasses import dataclass

from flockcare.core.sources import (
    BANDAGES,
    CDC,
    DAMEROW,
    FIRST_AID,
    KONICEK,
    MRSA,
    PRACTICE,
    SALINE,
    Source,
)

SURGERY = (
    "Cutting into a foot is surgery. It is for a vet, in many countries by law, and needs pain "
    "relief."
)
# What to do while the vet is awaited, and on a foot that only a vet may open.
UNTIL_VET = (
    "Keep the bird apart, warm and quiet, on deep, dry bedding, water and feed beside it. No "
    "roost.",
    "A sore that bleeds: press clean gauze on it for 5 to 10 minutes without lifting, then cover "
    "it. It does not stop? Ring a vet now.",
    "A wrap on a cold, swollen, pale or dark foot: take it off at once.",
    "Do not squeeze, do not cut, do not pull at a scab.",
    "No medicines for people, no painkillers, no leftovers. Ask the vet for pain relief.",
    "Bring a fresh dropping, and the packets of all that was given.",
)
# While a vet is to be asked, but nothing is urgent.
UNTIL_ASKED = (
    "Ask when you next speak to a vet. Until then follow the advice for each foot, and check it.",
    "Do not squeeze, do not cut, do not pull at a scab.",
    "No medicines for people, no painkillers, no leftovers.",
    "Worse, or a new sign? Ring a vet.",
)
# While a vet's plan holds for signs that the vet knows.
UNDER_PLAN = (
    "Do what the plan says, to its end. Ask the vet before you stop or change anything.",
    "Do not squeeze, cut or pull at a scab, unless the vet told you to.",
    "Worse, or a new sign? Ring the vet.",
)


@dataclass(frozen=True)
class Step:
    """One step with a drawing of its own; ``never``: what must not be done in it."""

    key: str
    title: str
    lines: tuple[str, ...]
    sources: tuple[Source, ...]
    never: str = ""

    @property
    def drawing(self) -> str:
        return f"care/drawings/{self.key}.html"


STEPS = (
    Step(
        "hold",
        "Hold the bird",
        (
            "Wrap the bird in a towel: wings in, head out, upright against you. The other person "
            "has both hands for the foot.",
        ),
        (PRACTICE,),
        "Never squeeze the breast. A bird breathes by moving it.",
    ),
    Step(
        "soak",
        "Soak it, if the skin is closed",
        (
            "A scab or thick, dry skin: about 20 minutes in warm water, no hotter than is pleasant "
            "on the inside of your wrist. Epsom salt may go in.",
            "An open or bleeding sore is not soaked. Go on with step 3.",
        ),
        (DAMEROW, PRACTICE),
        "Never let the bird drink it. Epsom salt is a laxative.",
    ),
    Step(
        "rinse",
        "Rinse the sore with salt water",
        (
            "Weigh 9 g of salt into 1 litre of water that was boiled and has cooled (0.9%). Make "
            "it fresh, or buy sterile saline. Let it run over the sore.",
        ),
        (SALINE, DAMEROW),
        "Never peroxide, spirit or undiluted antiseptic. They harm what has to heal.",
    ),
    Step(
        "dry",
        "Dry the whole foot",
        ("Pat it with a clean cloth until nothing is damp, between the toes too.",),
        (PRACTICE,),
    ),
    Step(
        "ointment",
        "Ointment, if you use one: thin",
        (
            "Plain, a thin film, on the sore alone and not on the feathers.",
            "An antibiotic ointment is a medicine: only one that a vet gave for this bird, and "
            "then eggs are withdrawn.",
        ),
        (PRACTICE,),
        "Never one with cortisone. None with a pain reliever (names that end in ‑caine) unless a "
        "vet says so.",
    ),
    Step(
        "wrap",
        "Gauze, then a soft wrap",
        (
            "Gauze on the sore. The wrap goes over it, between the toes and round the foot. Leave "
            "the tips of the toes free.",
        ),
        (DAMEROW, PRACTICE),
        "Never pull it tight. A wrap that clings to itself gets tighter with time.",
    ),
    Step(
        "look",
        "Check the toes again",
        (
            "After 1 to 2 hours, again before night, then each day: warm, and of their usual "
            "colour?",
            "Cold, swollen, paler or darker than the other foot’s: take the wrap off at once.",
            "Change the dressing every day, unless the vet’s plan says otherwise, and as soon as "
            "it is wet or dirty.",
        ),
        (BANDAGES, KONICEK, PRACTICE),
    ),
)


@dataclass(frozen=True)
class Part:
    """What stands beside the steps."""

    title: str
    lines: tuple[str, ...]
    sources: tuple[Source, ...]


VET_FIRST = (
    "The bird is dull, does not eat, or can hardly walk.",
    "The foot is hot, oozing, or swollen so that you see it from above.",
    "The foot is swollen and the bird limps, or a joint is swollen.",
    "There is a hole in the sore, or a hard core.",
    "The foot is cold, or darker than usual or than the other foot.",
    "It bleeds and does not stop, or you see bone.",
    "A thread or wire cuts into a toe or the leg.",
)
NEEDED = (
    "A towel, clean cloths and gloves",
    "A basin that is used for nothing else",
    "Warm water; Epsom salt if you like",
    "Salt water: see step 3",
    "Gauze and a soft wrap",
    "Plain ointment, if you use one",
)
PARTS = (
    Part(
        "Until it is healed",
        ("No roost. The bird sleeps on deep, dry bedding, with water and feed near.",),
        (DAMEROW, PRACTICE),
    ),
    Part(
        "If it bleeds",
        (
            "Press clean gauze on it for 5 to 10 minutes by the clock, and do not lift it.",
            "Does it still bleed? Keep pressing and ring a vet now.",
        ),
        (FIRST_AID, PRACTICE),
    ),
    Part(
        "If it hurts",
        ("Painkillers for people can kill a hen. Pain relief comes from a vet: ask for it.",),
        (PRACTICE,),
    ),
    Part(
        "Keep yourself well",
        (
            "A sore can carry staphylococci (resistant ones too) and E. coli, a hen Salmonella.",
            "Cover your own cuts, wear gloves, keep splashes out of your eyes. Not in the kitchen.",
            "Afterwards wash your hands with soap for 20 seconds, and the basin too.",
            "Children under 5, people over 65 and people with a weakened immune system keep away.",
            "Cut or stuck yourself? Wash it with soap and water, and see a doctor.",
        ),
        (CDC, MRSA, DAMEROW),
    ),
    Part("No blade", (f"No blade and no tweezers belong to this. {SURGERY}",), (PRACTICE,)),
)
