"""What in a house exceeds a published figure, goes against custom, or was not written down.

The rules are data: a figure, its words, its source with how sure it is, and a mark. They are
orientation, not a building rule, and say nothing of a single bird.
"""

from __future__ import annotations

import enum
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from flockcare.analysis.landing import descent_angle
from flockcare.core.sources import (
    DAMEROW,
    DIRECTIVE,
    DUNLOP,
    HOCKING,
    LAMBE,
    PARKER,
    PICKEL,
    PRACTICE,
    SCHOLZ,
    SCOTT,
    TAUSON,
    WANG,
    Source,
)
from flockcare.housing.figures import (
    BETWEEN_PERCHES_CM,
    TO_THE_WALL_CM,
    Verdict,
    at_least,
    edge_verdict,
)
from flockcare.housing.layout import (
    GROUND,
    NEST_FRONT,
    NO_BEDDING,
    OTHER,
    PERCHES,
    RAMP,
    ROOST,
    Layout,
    Place,
    bedding_of,
)
from flockcare.housing.routes import REACH_CM, Leg, is_walked, next_legs

STEEP_ANGLE = descent_angle(0.50, 0.75)  # Scholz et al. (2014); 33.7, by them called 34 degrees.
HARD_ANGLE = 45  # Lambe et al. (1997)
SAFE_DROP_CM = 50  # Scholz et al. (2014)
FAR_CM = REACH_CM
LOWEST_ROOST_CM = 46  # 18 in: one author's advice in an interview, as others quote it
HEAVY_ROOST_CM = 120  # 4 ft: common practice, no published source
NARROW_MM = 50  # 2 in: common practice, no published source
THIN_CM = 5  # 2 in: common practice, no published source
STOOD_ON = (*PERCHES, NEST_FRONT)  # Where the figures for perches hold.
MOIST_PERCENT = 30  # Wu & Hocking (2011), turkeys, from memory


class Mark(enum.Enum):
    """How a flag is shown: a sign told apart without colour, and what it means."""

    OVER = "▲", "beyond a published figure"
    CUSTOM = "◆", "against custom, no published figure"
    UNKNOWN = "○", "not recorded"

    def __init__(self, sign: str, meaning: str):
        self.sign, self.meaning = sign, meaning

    @property
    def key(self) -> str:
        return self.name.lower()


@dataclass(frozen=True, slots=True)
class Rule:
    """``holds`` is asked of a Leg, a Place or a Layout, by the list in which the rule stands."""

    key: str
    mark: Mark
    short: str
    words: str
    sources: tuple[Source, ...]
    holds: Callable[..., bool]

    @property
    def gist(self) -> str:
        """The first sentence of its words, to go on after a colon."""
        return f"{self.words[0].lower()}{self.words[1:].partition('. ')[0].rstrip('.')}"


@dataclass(frozen=True, slots=True)
class Flag:
    """A rule that holds of a place, or of the way on from it (``on_leg``)."""

    rule: Rule
    place: str
    on_leg: bool = False


@dataclass(frozen=True, slots=True)
class Finding:
    """All flags of one rule; ``number`` is written beside the mark in the drawing."""

    number: int
    rule: Rule
    flags: tuple[Flag, ...]

    @property
    def label(self) -> str:
        return f"{self.rule.mark.sign}{self.number}"

    @property
    def places(self) -> str:
        return ", ".join(
            f"down from {flag.place}" if flag.on_leg else flag.place for flag in self.flags
        )


# Words to choose from; nothing is concluded from others.
ABRASIVE = {"grit tape", "sandpaper", "roofing felt"}
PIPES = {"metal pipe", "plastic pipe"}
WIRE = "wire or mesh"
NOT_SMOOTH = {"rough", "splinters", "slippery"}
HARD = {NO_BEDDING, "sharp stone", "gravel"}
WITHOUT_DEPTH = {*HARD, "grass"}


def _steep(leg: Leg) -> bool:
    return leg.angle is not None and leg.angle > STEEP_ANGLE + 1e-9


LEG_RULES = (
    Rule(
        "steep-45",
        Mark.OVER,
        "45° or more",
        "The way down falls at 45° or more. At 45° and 60° more hens failed to come down in time "
        "than at lesser slopes, and the time they took rose with the slope.",
        (LAMBE, SCOTT),
        lambda leg: leg.angle is not None and leg.angle >= HARD_ANGLE,
    ),
    Rule(
        "steep-34",
        Mark.OVER,
        "over 34°",
        "The way down is steeper than 34°, that is 50 cm (20 in) down over 75 cm (30 in). Beyond "
        "that safe landings became fewer.",
        (SCHOLZ,),
        lambda leg: _steep(leg) and leg.angle < HARD_ANGLE,
    ),
    Rule(
        "drop-50",
        Mark.OVER,
        "over 50 cm",
        "The drop is more than 50 cm (19 5/8 in). Beyond 50 cm, over 75 cm of level distance, safe "
        "landings became fewer.",
        (SCHOLZ,),
        lambda leg: leg.drop_cm > SAFE_DROP_CM and not _steep(leg),
    ),
    Rule(
        "far",
        Mark.OVER,
        "over 1 m away",
        "The next place is more than 1 m (40 in) away. Hens had difficulty with level distances "
        "above about 1 m between perches.",
        (PARKER,),
        lambda leg: (
            leg.to is not None
            and leg.start.kind in STOOD_ON
            and leg.to.kind in STOOD_ON
            and (leg.run_cm or 0) > FAR_CM
        ),
    ),
    Rule(
        "no-run",
        Mark.UNKNOWN,
        "how far?",
        "The level distance to the next place down is not recorded, so the angle is not known.",
        (),
        lambda leg: leg.run_cm is None and leg.drop_cm > 0,
    ),
)

PLACE_RULES = (
    Rule(
        "no-height",
        Mark.UNKNOWN,
        "height?",
        "The height is not recorded, so the way down from it, or over it, is not known. Measure "
        "it.",
        (),
        lambda place: place.height_cm is None and place.kind not in GROUND and place.kind != OTHER,
    ),
    Rule(
        "square",
        Mark.OVER,
        "square edge",
        "Square edges, or sharp ones: the peak load on the foot pad was higher on a square perch "
        "than on an oval one, and a directive wants perches without sharp edges.",
        (PICKEL, DIRECTIVE),
        lambda place: place.kind in PERCHES and edge_verdict(place.edge) is Verdict.NOT_MET,
    ),
    Rule(
        "sharp",
        Mark.CUSTOM,
        "sharp edge",
        "A sharp edge where they stand or push off can cut the sole.",
        (PRACTICE,),
        lambda place: place.kind not in (*PERCHES, *GROUND) and place.edge == "sharp",
    ),
    Rule(
        "steep-ramp",
        Mark.CUSTOM,
        "over 45°",
        "The ramp is steeper than 45°: birds jump off it instead of walking down. Put its foot "
        "farther out.",
        (PRACTICE,),
        lambda place: place.kind == RAMP and bool(place.height_cm) and not is_walked(place),
    ),
    Rule(
        "no-slope",
        Mark.UNKNOWN,
        "how steep?",
        "How far out the foot of the ramp stands is not recorded, so its slope is not known. It is "
        "taken to be walked.",
        (),
        lambda place: place.kind == RAMP and bool(place.height_cm) and place.run_cm is None,
    ),
    Rule(
        "wire",
        Mark.CUSTOM,
        "wire",
        "Wire underfoot presses into the sole along thin lines, and its cut ends pierce.",
        (PRACTICE,),
        lambda place: place.material == WIRE,
    ),
    Rule(
        "steel",
        Mark.OVER,
        "metal",
        "Metal: of the perches compared, hens landed worst on steel, whatever its width.",
        (SCHOLZ,),
        lambda place: place.kind in PERCHES and place.material == "metal pipe",
    ),
    Rule(
        "plastic",
        Mark.OVER,
        "plastic",
        "Plastic: hens on plastic perches had more bumblefoot than hens on beech.",
        (TAUSON,),
        lambda place: place.kind in PERCHES and place.material == "plastic pipe",
    ),
    Rule(
        "pipe",
        Mark.CUSTOM,
        "round pipe",
        "A round pipe is slippery; wide, flat, smooth roosts are kinder.",
        (PRACTICE,),
        lambda place: place.kind in PERCHES and place.material in PIPES,
    ),
    Rule(
        "abrasive",
        Mark.CUSTOM,
        "rough cover",
        "An abrasive cover that is meant to give grip wears the skin of the foot.",
        (PRACTICE,),
        lambda place: place.kind not in GROUND and place.cover in ABRASIVE,
    ),
    Rule(
        "surface",
        Mark.CUSTOM,
        "not smooth",
        "Rough, splintered or slippery to stand on; wide, flat, smooth roosts are kinder.",
        (PRACTICE,),
        lambda place: place.kind not in GROUND and place.surface in NOT_SMOOTH,
    ),
    Rule(
        "narrow",
        Mark.CUSTOM,
        "narrow",
        "Narrower than about 5 cm (2 in); wide, flat, smooth roosts are kinder.",
        (PRACTICE,),
        lambda place: place.kind in PERCHES and (place.width_mm or NARROW_MM) < NARROW_MM,
    ),
    Rule(
        "wet",
        Mark.OVER,
        "wet",
        "Wet where they land: in a trial 48–49% of the birds on wet litter had foot lesions, "
        "13–17% of those on dry litter.",
        (WANG,),
        lambda place: place.kind in GROUND and place.damp == "wet",
    ),
    Rule(
        "moist",
        Mark.OVER,
        "over 30% water",
        "More than 30% of water in the bedding by weight. In turkeys the scores of foot pads were "
        "lowest below that. Others call litter wet from 25% on; there is no agreed bound.",
        (HOCKING, DUNLOP),
        lambda place: place.kind in GROUND and (place.moisture_percent or 0) > MOIST_PERCENT,
    ),
    Rule(
        "hard",
        Mark.CUSTOM,
        "hard",
        "Hard where they land.",
        (PRACTICE,),
        lambda place: place.kind in GROUND and bedding_of(place) in HARD,
    ),
    Rule(
        "thin",
        Mark.CUSTOM,
        "thin",
        "Less than about 5 cm (2 in) of bedding where they land. Hens scratch it away exactly "
        "there, so check again soon.",
        (PRACTICE,),
        lambda place: (
            place.kind in GROUND
            and place.bedding_depth_cm is not None
            and place.bedding_depth_cm < THIN_CM
        ),
    ),
    Rule(
        "no-depth",
        Mark.UNKNOWN,
        "depth?",
        "The depth of the bedding is not recorded. Measure it at the spot where they land.",
        (),
        lambda place: (
            place.kind in GROUND
            and place.bedding_depth_cm is None
            and place.bedding not in WITHOUT_DEPTH
        ),
    ),
)

# Asked of a place and the layout it stands in.
ROOST_RULES = (
    Rule(
        "lowest-roost",
        Mark.CUSTOM,
        "over 46 cm",
        "The lowest roost is higher than 46 cm (18 in). That is the most that one author of a "
        "handbook advised in an interview.",
        (DAMEROW,),
        lambda place, layout: _is_lowest_roost(place, layout) and place.height_cm > LOWEST_ROOST_CM,
    ),
    Rule(
        "heavy-roost",
        Mark.CUSTOM,
        "over 1.2 m",
        "Higher than 1.2 m (4 ft), which is about the highest sensible roost for heavy hens, and "
        "that only where a step or ladder leads up and down.",
        (PRACTICE,),
        lambda place, layout: place.kind in PERCHES and (place.height_cm or 0) > HEAVY_ROOST_CM,
    ),
    Rule(
        "close",
        Mark.OVER,
        "under 30 cm",
        "Less than 30 cm (12 in) level from the next roost, which a directive wants for flocks of "
        "350 and more.",
        (DIRECTIVE,),
        lambda place, layout: (
            place.kind == ROOST
            and at_least(layout.spacing_of(place), BETWEEN_PERCHES_CM) is Verdict.NOT_MET
        ),
    ),
    Rule(
        "wall",
        Mark.OVER,
        "under 20 cm",
        "Less than 20 cm (8 in) from the wall, which a directive wants for flocks of 350 and more.",
        (DIRECTIVE,),
        lambda place, layout: (
            place.kind == ROOST
            and at_least(layout.wall_of(place), TO_THE_WALL_CM) is Verdict.NOT_MET
        ),
    ),
)
# What a change of height may leave over a published figure.
OF_HEIGHTS = {"steep-45", "steep-34", "drop-50", "lowest-roost"}
# A way down that is one of these is not said to be a milder one as well.
HARSHER = {"steep-34": ("steep-45",), "drop-50": ("steep-45", "steep-34")}
NO_GROUND = Rule(
    "no-ground",
    Mark.UNKNOWN,
    "bedding?",
    "Bedding not recorded: nothing is known about what they land on, so they are taken to "
    "land on a floor at height 0.",
    (),
    lambda layout: not layout.grounds,
)


def _is_lowest_roost(place: Place, layout: Layout) -> bool:
    roosts = [each.height_cm for each in layout.stands if each.kind == ROOST]
    return place.kind == ROOST and bool(roosts) and place.height_cm == min(roosts)


def flags_of(layout: Layout, *, heavy: bool = True) -> list[Flag]:
    """Every rule that holds of a house; ``heavy``: a heavy bird lives in it, or nobody knows."""
    found = list(_flags(layout))
    if not heavy:
        found = [flag for flag in found if flag.rule.key != "heavy-roost"]
    return found


def _flags(layout: Layout) -> Iterator[Flag]:
    for leg in next_legs(layout):
        # A ramp is judged by its own slope.
        for rule in LEG_RULES if leg.start.kind != RAMP else ():
            if rule.holds(leg):
                yield Flag(rule, leg.start.name, on_leg=True)
    for place in sorted(layout.places, key=lambda place: (-(place.height_cm or 0), place.name)):
        for rule in PLACE_RULES:
            if rule.holds(place):
                yield Flag(rule, place.name)
        for rule in ROOST_RULES:
            if rule.holds(place, layout):
                yield Flag(rule, place.name)
    if NO_GROUND.holds(layout):
        yield Flag(NO_GROUND, "floor")


def findings(flags: list[Flag]) -> list[Finding]:
    """The flags by rule and numbered: published figures, then custom, then what is not known."""
    by_rule: dict[str, list[Flag]] = {}
    for flag in flags:
        by_rule.setdefault(flag.rule.key, []).append(flag)
    order = list(Mark)
    groups = sorted(by_rule.values(), key=lambda group: order.index(group[0].rule.mark))
    return [Finding(number, group[0].rule, tuple(group)) for number, group in enumerate(groups, 1)]
