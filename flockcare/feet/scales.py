"""The published scales that a check uses, with their wording and where it comes from.

Each scale is shown in the app with its definition and its source, and with a word where the
definition was written from memory, without the publication at hand.
"""

from dataclasses import dataclass

WELFARE_QUALITY = (
    "Welfare Quality assessment protocol for poultry (2009), laying hens, foot pad dermatitis; "
    "wording not checked against the original"
)
KESTIN = (
    "Kestin, Knowles, Tinch and Gregory (1992), Veterinary Record 131:190–194, as cited by "
    "secondary sources; made for broilers, no gait scale validated for hens was found"
)
GREGORY_ROBINS = (
    "Gregory and Robins (1998), New Zealand Journal of Agricultural Research 41:555–559; wording "
    "not checked against the original, so feel the keel and take it as a rough guide"
)
BSAVA = (
    "BSAVA Manual of Raptors, Pigeons and Passerine Birds (2008), chapter 16, figure 16.4, doi "
    "10.22233/9781910443101.chap16; made for raptors, no clinical grade has been validated for hens"
)
OWN_WORDS = "common practice, no published source"


@dataclass(frozen=True)
class Step:
    value: int
    short: str
    definition: str


@dataclass(frozen=True)
class Scale:
    """A scale whose steps are counted up without a gap, from any number."""

    name: str
    source: str
    steps: tuple[Step, ...]

    @property
    def choices(self) -> list[tuple[int, str]]:
        return [(step.value, step.short) for step in self.steps]

    @property
    def numbered(self) -> bool:
        """Whether its steps are called by their numbers, and not by the Roman ones in ``short``."""
        return self.steps[0].value == 0

    def step(self, value: int) -> Step:
        return self.steps[value - self.steps[0].value]


LESION = Scale(
    "Lesion score",
    WELFARE_QUALITY,
    (
        Step(0, "Clear", "Foot intact; the skin is not thickened, or hardly."),
        Step(
            1,
            "Mild",
            "Dead or thickened skin, or a lasting sore, with no or moderate swelling.",
        ),
        Step(2, "Swollen", "Swollen so that it can be seen from above."),
    ),
)
AFFECTED_FROM, SWOLLEN = 1, 2

GAIT = Scale(
    "Gait",
    KESTIN,
    (
        Step(0, "Normal", "No detectable abnormality, fluid."),
        Step(1, "Slight", "A slight defect that is hard to define."),
        Step(2, "Definite", "A definite, identifiable defect that does not hinder movement."),
        Step(3, "Obvious", "An obvious defect that affects turning and speeding up."),
        Step(4, "Severe", "A severe defect: takes only a few steps if driven, then sits."),
        Step(5, "Lame", "Completely lame, cannot walk."),
    ),
)
BODY_CONDITION = Scale(
    "Body condition",
    GREGORY_ROBINS,
    (
        Step(0, "Very thin", "The keel stands out very much; the breast is hollow beside it."),
        Step(1, "Thin", "The keel stands out; the breast is flat beside it."),
        Step(2, "Good", "The keel stands out less; the breast is rounded beside it."),
        Step(3, "Plump", "The breast is plump; the keel is hardly felt."),
    ),
)

CLINICAL_GRADE = Scale(
    "Clinical grade",
    BSAVA,
    (
        Step(
            1,
            "I",
            "Bruised or reddened skin of the sole, a dry growing “corn”, or skin dying from "
            "pressure.",
        ),
        Step(2, "II", "Small scabs on the surface."),
        Step(
            3,
            "III",
            "Infected: a small (5 mm) scab that goes deep, with a swollen foot; or a hot, swollen, "
            "painful or oozing foot without damage to the vital structures below.",
        ),
        Step(
            4,
            "IV",
            "Lasting infection of vital structures below, such as a tendon sheath; the foot can "
            "still be used.",
        ),
        Step(
            5,
            "V",
            "End stage: the foot cannot be used, the bone is infected or a flexor tendon torn, or "
            "both.",
        ),
    ),
)
SCALES = (LESION, GAIT, BODY_CONDITION, CLINICAL_GRADE)
