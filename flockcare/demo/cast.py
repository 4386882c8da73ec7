"""Thistle Yard: its hens, its two houses and what was changed in them. All of it is invented."""

from dataclasses import dataclass

from flockcare.analysis.landing import landing_energy

CART_SHED, ORCHARD = "Cart Shed", "Orchard House"


@dataclass(frozen=True)
class Hen:
    """One hen.

    grams           grown; drop_cm: from where she usually jumps down
    came            days after the records begin; None: she was there before
    months_old      at that time
    left_foot, right_foot   how much more easily than others' each foot gets sore
    """

    name: str
    band: str
    breed: str
    house: str
    drop_cm: int
    grams: int
    months_old: int
    leg: str
    came: int | None = None
    left_foot: float = 1.0
    right_foot: float = 1.0
    traits: str = ""

    @property
    def energy(self) -> float:
        """Joules at landing."""
        return landing_energy(self.grams / 1000, self.drop_cm / 100)

    def readiness(self, foot: str) -> float:
        return self.left_foot if foot == "left" else self.right_foot


HENS = (
    Hen("Nutmeg", "red 1", "Jersey Giant", CART_SHED, 130, 4450, 14, "willow"),
    Hen("Mace", "red 2", "Brahma", CART_SHED, 130, 4250, 26, "yellow"),
    Hen("Saffron", "red 3", "Cochin", CART_SHED, 130, 3900, 12, "yellow"),
    Hen("Clove", "red 4", "Orpington", CART_SHED, 130, 3600, 18, "white"),
    Hen("Lovage", "blue 5", "Plymouth Rock", CART_SHED, 70, 3300, 16, "yellow"),
    Hen("Tansy", "blue 6", "Sussex", CART_SHED, 70, 3100, 7, "white", came=95),
    Hen("Juniper", "blue 7", "Brown hybrid", CART_SHED, 130, 2050, 9, "yellow"),
    Hen("Dill", "blue 8", "Silkie bantam", CART_SHED, 70, 900, 20, "slate"),
    Hen("Fennel", "green 9", "Brahma", ORCHARD, 90, 4200, 15, "yellow"),
    Hen("Ginger", "green 10", "Orpington", ORCHARD, 90, 3700, 22, "white"),
    Hen(
        *("Sorrel", "green 11", "Wyandotte", ORCHARD, 90, 2900, 30, "yellow"),
        right_foot=2.5,
        traits="Old break of the left leg, healed a little crooked; she stands on the right.",
    ),
    Hen("Marjoram", "green 12", "Rhode Island Red", ORCHARD, 90, 2950, 38, "yellow"),
    Hen("Caraway", "white 13", "Australorp", ORCHARD, 45, 2900, 11, "slate"),
    Hen("Thyme", "white 14", "Leghorn", ORCHARD, 90, 2000, 10, "yellow"),
    Hen("Anise", "white 15", "Ameraucana", ORCHARD, 90, 2450, 6, "slate", came=240),
    Hen("Cumin", "white 16", "Sebright bantam", ORCHARD, 45, 600, 13, "slate"),
)

# The houses themselves, as housing.csv has them.
HOUSES = {
    CART_SHED: {
        **{"shape": "shed", "floor_length_cm": "300", "floor_width_cm": "260"},
        "wall_height_cm": "210",
    },
    ORCHARD: {
        **{"shape": "raised", "floor_length_cm": "260", "floor_width_cm": "160"},
        **{"wall_height_cm": "150", "floor_height_cm": "60"},
    },
}

# What the houses hold from the beginning: (house, feature, kind, its state).
FEATURES = (
    (
        *(CART_SHED, "Top roost", "roost"),
        {
            **{"height_cm": "130", "run_cm": "55", "length_cm": "240", "width_mm": "45"},
            "along_cm": "40",
            **{"edge": "square", "material": "sawn pine"},
        },
    ),
    (
        *(CART_SHED, "Lower roost", "roost"),
        {
            **{"height_cm": "70", "run_cm": "80", "length_cm": "240", "width_mm": "45"},
            "along_cm": "95",
            **{"edge": "square", "material": "sawn pine"},
        },
    ),
    (
        *(CART_SHED, "Nest fronts", "nest front"),
        {"height_cm": "55", "run_cm": "50", "along_cm": "265", "material": "board"},
    ),
    (
        *(CART_SHED, "Yard in front", "landing"),
        {
            **{"bedding": "sharp stone", "damp": "wet"},
            "note": "Water stands here from October to March.",
        },
    ),
    (CART_SHED, "Feeder", "other", {"material": "steel trough"}),
    (
        *(ORCHARD, "High roost", "roost"),
        {
            **{"height_cm": "90", "run_cm": "70", "length_cm": "260", "width_mm": "50"},
            "along_cm": "40",
            **{"edge": "rounded", "material": "ash pole"},
        },
    ),
    (
        *(ORCHARD, "Low roost", "roost"),
        {
            **{"height_cm": "45", "run_cm": "60", "length_cm": "260", "width_mm": "50"},
            "along_cm": "110",
            **{"edge": "rounded", "material": "ash pole"},
        },
    ),
    (
        *(ORCHARD, "Pop door sill", "rail"),
        {"height_cm": "60", "along_cm": "266", "length_cm": "35", "width_mm": "80"},
    ),
    (
        *(ORCHARD, "Ramp", "ramp"),
        {"height_cm": "60", "along_cm": "326", "run_cm": "110", "surface": "battens"},
    ),
    (
        *(ORCHARD, "Grass in front", "landing"),
        {"bedding": "grass", "damp": "damp", "note": "The run, under the apple trees."},
    ),
    (ORCHARD, "Feeder", "other", {"material": "steel trough"}),
)


@dataclass(frozen=True)
class Change:
    """A change of one feature, so many days after the yard was drained (before: negative)."""

    house: str
    feature: str
    days: int
    new: dict


CHANGES = (
    Change(
        *(ORCHARD, "Low roost", -190),
        {"width_mm": "70", "edge": "rounded", "note": "New bar; the old one was split."},
    ),
    Change(
        *(CART_SHED, "Yard in front", 0),
        {
            **{"bedding": "wood chip", "bedding_depth_cm": "12", "damp": "damp"},
            "note": "Drain laid along the wall, stone covered.",
        },
    ),
)


@dataclass(frozen=True)
class Happened:
    """Something that happened, so many days after the yard was drained (before: negative).

    ``house`` empty: to the whole flock; ``lasted``: days after the first, of a spell.
    """

    days: int
    kind: str
    keeper: str
    house: str = ""
    lasted: int | None = None
    what: str = ""
    note: str = ""


FEED_DAYS = -330
HAPPENED = (
    Happened(FEED_DAYS, "feed", "Ros", note="Layers’ mash instead of pellets."),
    # Every two months or so, later every fortnight: a habit, on both sides of whatever is changed.
    *(Happened(days, "bedding", "Ted", CART_SHED) for days in range(-500, 401, 60)),
    *(Happened(days, "bedding", "Ines", ORCHARD) for days in range(-480, 401, 80)),
    Happened(-345, "wet spell", "Ines", lasted=16),
    Happened(18, "wet spell", "Ted", lasted=20, note="The new drain took it."),
    Happened(40, "housing order", "Ros", lasted=61, note="The county’s order against bird flu."),
    Happened(230, "predator", "Ines", ORCHARD, note="Fox at the fence at noon, nobody hurt."),
    Happened(290, "parasites", "Ros", CART_SHED, note="Perches and nests dusted against mites."),
)
