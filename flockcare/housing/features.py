"""What can be said about each kind of feature, the usual words for it, and what to start from."""

from __future__ import annotations

from dataclasses import dataclass, field

from flockcare.housing.models import GROUND, Dampness, FeatureKind, FeatureState

# The measures in the unit they are kept in, and the words they have in a sentence.
LENGTHS = {
    "height_cm": "cm",
    "along_cm": "cm",
    "run_cm": "cm",
    "length_cm": "cm",
    "breadth_cm": "cm",
    "width_mm": "mm",
    "spacing_cm": "cm",
    "wall_cm": "cm",
    "bedding_depth_cm": "cm",
}
NAMES = {
    "height_cm": "height",
    "along_cm": "from the left wall",
    "run_cm": "level distance",
    "length_cm": "length",
    "breadth_cm": "breadth",
    "width_mm": "width",
    "spacing_cm": "distance to the next roost",
    "wall_cm": "distance to the wall",
    "edge": "edges",
    "surface": "surface",
    "material": "material",
    "cover": "cover",
    "bedding": "bedding",
    "bedding_depth_cm": "bedding depth",
    "damp": "dampness",
    "moisture_percent": "water in the bedding",
}

_UP = ("height_cm", "along_cm", "run_cm", "length_cm", "width_mm")
_FELT = ("edge", "surface", "material", "cover")
_ROOST = (*_UP, "spacing_cm", "wall_cm", *_FELT)
_GROUND = (
    *("length_cm", "breadth_cm", "material", "surface"),
    *("bedding", "bedding_depth_cm", "damp", "moisture_percent"),
)
FIELDS = {
    FeatureKind.ROOST: _ROOST,
    FeatureKind.RAIL: (*_UP, *_FELT),
    FeatureKind.NEST_FRONT: (*_UP, *_FELT),
    FeatureKind.STEP: (*_UP, "breadth_cm", *_FELT),
    FeatureKind.RAMP: ("height_cm", "along_cm", "run_cm", "width_mm", *_FELT),
    FeatureKind.BOARD: (
        *("height_cm", "along_cm", "breadth_cm", "length_cm", "run_cm"),
        *(*_FELT, "bedding", "bedding_depth_cm", "damp"),
    ),
    FeatureKind.FLOOR: ("height_cm", *_GROUND),
    FeatureKind.LANDING: ("height_cm", *_GROUND),
    FeatureKind.OTHER: (*_UP, *_FELT, "bedding", "bedding_depth_cm"),
}

# What the drawing and the landings need; all else is folded away.
ASKED = {
    **dict.fromkeys(FeatureKind, ("height_cm", "along_cm")),
    **dict.fromkeys(GROUND, ("bedding", "bedding_depth_cm")),
    FeatureKind.ROOST: ("height_cm", "along_cm", "length_cm", "edge"),
    FeatureKind.RAMP: ("height_cm", "along_cm", "run_cm"),
    FeatureKind.STEP: ("height_cm", "along_cm", "breadth_cm"),
    FeatureKind.BOARD: ("height_cm", "along_cm", "breadth_cm"),
}


def fields_of(kind: str, state: FeatureState | None = None) -> list[str]:
    """What is asked about a feature of this kind, and what ``state`` says besides."""
    usual = FIELDS[kind]
    if state is None:
        return list(usual)
    return [name for name in NAMES if name in usual or getattr(state, name) not in (None, "")]


# Words to choose from. Covers and beddings of other names may be typed, and what an import brings
# stays; nothing is concluded from those.
EDGES = ("round", "rounded", "square", "sharp")
SURFACES = ("smooth", "rough", "splinters", "slippery")
WORDS = {
    "material": (
        *("planed timber", "sawn timber", "branch", "board", "metal pipe", "plastic pipe"),
        "wire or mesh",
    ),
    "cover": ("none", "rubber", "carpet", "grit tape", "sandpaper", "roofing felt"),
    "bedding": (
        *("none", "wood shavings", "straw", "chopped straw", "hemp", "wood chip", "sand"),
        *("leaves", "grass", "gravel", "sharp stone"),
    ),
}

GROUND_MATERIALS = ("board", "earth", "concrete", "stone", "wire or mesh")


def words_for(name: str, kind: str) -> tuple[str, ...]:
    """The usual words for a field of a feature of this kind."""
    if name == "material" and kind in GROUND:
        return GROUND_MATERIALS
    return {"edge": EDGES, "surface": SURFACES, "damp": tuple(Dampness.values), **WORDS}[name]


@dataclass(frozen=True)
class Start:
    """Something common to begin with, in plain words."""

    key: str
    name: str
    kind: FeatureKind
    hint: str
    values: dict = field(default_factory=dict)


LEVEL = {"height_cm": 0.0}
STARTS = [
    Start("roost", "Roost", FeatureKind.ROOST, "A bar or board they sleep on"),
    Start("board", "Droppings board", FeatureKind.BOARD, "The shelf below the roosts"),
    Start("shelf", "Shelf", FeatureKind.OTHER, "A board they jump to and from"),
    Start("ladder", "Ladder", FeatureKind.RAMP, "With rungs; its height is where it leads"),
    Start("ramp", "Ramp", FeatureKind.RAMP, "A sloping board; its height is where it leads"),
    Start("step", "Step", FeatureKind.STEP, "A block, bale or crate to hop onto"),
    Start("nest", "Nest front", FeatureKind.NEST_FRONT, "The board or rail in front of the nests"),
    Start("sill", "Door sill", FeatureKind.RAIL, "What they hop over, or down from"),
    Start("floor", "Floor", FeatureKind.FLOOR, "Inside the house, with its bedding", LEVEL),
    Start("yard", "Yard surface", FeatureKind.LANDING, "What they land on outside", LEVEL),
    Start("other", "", FeatureKind.OTHER, "Anything else they stand or land on"),
]
START_BY_KEY = {start.key: start for start in STARTS}
