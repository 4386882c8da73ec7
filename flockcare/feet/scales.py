"""The published scales that a check uses, with their wording and where it comes from.

Each scale is shown in the app with its definition and its source; ``from memory`` says that the
wording was written down without the publication at hand.
"""

from dataclasses import dataclass

WELFARE_QUALITY = (
    "Welfare Quality assessment protocol for poultry (2009), laying hens, foot pad dermatitis; "
    "wording from memory"
)
KESTIN = (
    "Kestin, Knowles, Tinch and Gregory (1992), Veterinary Record 131:190–194, as cited by "
    "secondary sources; made for broilers, no gait scale validated for hens was found"
)
OWN_WORDS = "common practice, no published source"


@dataclass(frozen=True)
class Step:
    value: int
    short: str
    definition: str


@dataclass(frozen=True)
class Scale:
    name: str
    source: str
    steps: tuple[Step, ...]

    @property
    def choices(self) -> list[tuple[int, str]]:
        return [(step.value, step.short) for step in self.steps]

    def step(self, value: int) -> Step:
        return self.steps[value]


LESION = Scale(
    "Lesion score",
    WELFARE_QUALITY,
    (
        Step(0, "Clear", "Foot intact; the skin is not thickened, or hardly."),
        Step(
            1,
            "Sore",
            "Dead or thickened skin, or a lasting sore, with no or moderate swelling.",
        ),
        Step(2, "Swollen", "Swollen so that it can be seen from above."),
    ),
)
AFFECTED_FROM = 1

GAIT = Scale(
    "Gait",
    KESTIN,
    (
        Step(0, "Normal", "No detectable abnormality, fluid."),
        Step(1, "Slight", "A slight defect that is hard to define."),
        Step(2, "Definite", "A definite, identifiable defect that does not hinder her moving."),
        Step(3, "Obvious", "An obvious defect that affects how she turns and speeds up."),
        Step(4, "Severe", "A severe defect: takes only a few steps if driven, then sits."),
        Step(5, "Lame", "Completely lame, cannot walk."),
    ),
)
SCALES = (LESION, GAIT)
