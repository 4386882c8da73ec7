"""The gentlest way down from a place in a house.

The record says of each place how high it is and how far the next lower one lies. So all places
are taken to stand in one line, each before the next higher one, and a bird may leave out places
on her way. The gentlest way is the one whose largest single drop is smallest; of several such
ways the one with the fewest jumps, then the one with the least level distance.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

from flockcare.analysis.landing import descent_angle, landing_speed
from flockcare.housing.layout import Layout, Place

RULE = (
    "The drop is the largest single drop on the gentlest way down: the way on which that drop is "
    "smallest; of several such ways the one with the fewest jumps, then the one with the least "
    "level distance. All places of the house count as stops, each standing before the next "
    "higher one, for the record says no more of where they are. A ramp or ladder counts as one "
    "stop at its height, so a bird that walks down it lands softer than is said here; a rung "
    "recorded as a step of its own counts. A bird may still jump straight down; that drop is "
    "given beside it."
)
BOTTOM = "floor"


@dataclass(frozen=True, slots=True)
class Leg:
    """One jump down, from a place to another, or to the floor (``to`` is None)."""

    start: Place
    to: Place | None
    drop_cm: float
    run_cm: float | None

    @property
    def to_name(self) -> str:
        return self.to.name if self.to else BOTTOM

    @property
    def angle(self) -> float | None:
        """Degrees below level; None where the run is not recorded."""
        return None if self.run_cm is None else descent_angle(self.drop_cm, self.run_cm)

    @property
    def speed(self) -> float:
        """Metres per second at landing."""
        return landing_speed(self.drop_cm / 100)


@dataclass(frozen=True, slots=True)
class Route:
    legs: tuple[Leg, ...]

    @property
    def hardest(self) -> Leg:
        """The leg with the largest drop; of equal ones the steepest."""
        return max(self.legs, key=lambda leg: (leg.drop_cm, leg.angle or 0))

    @property
    def straight_cm(self) -> float:
        """The drop of a bird that jumps to the floor without a stop."""
        return self.legs[0].start.height_cm


def gentlest_drop(heights: Iterable[float], start: float) -> float:
    """The smallest largest drop from ``start`` to the floor, stopping at any of these heights.

    Whatever the way, each gap between two neighbouring heights below the start must be crossed
    by one jump, and stopping everywhere crosses no more than one gap at a time.
    """
    below = sorted({0.0, start, *(height for height in heights if 0 < height < start)})
    return max((upper - lower for lower, upper in pairwise(below)), default=0.0)


def gentlest(layout: Layout, start: Place) -> Route:
    """The gentlest way down; ValueError for a place whose height is not recorded or zero."""
    if not start.height_cm or start.height_cm <= 0:
        raise ValueError(f"The height of {start.name} is not recorded: measure it.")
    stops = [place for place in layout.stands if place.height_cm < start.height_cm]
    most = gentlest_drop([place.height_cm for place in stops], start.height_cm)
    line = _Line(layout)
    # From the floor upwards: the best way on from each place, with jumps no larger than `most`.
    ways: dict[Place, tuple[tuple, tuple[Leg, ...]]] = {}
    for place in [*reversed(stops), start]:
        found = []
        for to in [None, *ways]:
            leg = line.leg(place, to)
            if 0 < leg.drop_cm <= most + 1e-9:
                (jumps, unknown, run, names), legs = ways[to] if to else ((0, 0, 0.0, ()), ())
                unsure = leg.run_cm is None
                cost = (jumps + 1, unknown + unsure, run + (leg.run_cm or 0), (leg.to_name, *names))
                found.append((cost, (leg, *legs)))
        ways[place] = min(found, key=lambda way: way[0])
    return Route(ways[start][1])


class _Line:
    """The places in one line, so that the level distance of a jump past others is their sum."""

    def __init__(self, layout: Layout):
        self.levels = sorted({place.height_cm for place in layout.stands})
        self.run_of_level: dict[float, float | None] = dict.fromkeys(self.levels)
        for place in layout.stands:
            known = self.run_of_level[place.height_cm]
            if place.run_cm is not None:
                self.run_of_level[place.height_cm] = max(known or 0.0, place.run_cm)

    def leg(self, start: Place, to: Place | None) -> Leg:
        low = to.height_cm if to else 0.0
        between = [level for level in self.levels if low < level < start.height_cm]
        runs = [start.run_cm, *(self.run_of_level[level] for level in between)]
        run = None if None in runs else float(sum(runs))
        return Leg(start, to, start.height_cm - low, run)


def ways_down(layout: Layout) -> list[Route]:
    """The gentlest way from each place that birds come down from, the hardest first."""
    routes = [gentlest(layout, place) for place in layout.starts]
    return sorted(routes, key=lambda route: (-route.hardest.drop_cm, route.legs[0].start.name))


def next_legs(layout: Layout) -> list[Leg]:
    """The jump from every stand to the next lower one, the highest first: what is drawn."""
    line = _Line(layout)
    legs = []
    for place in layout.stands:
        lower = [other for other in layout.stands if other.height_cm < place.height_cm]
        legs.append(line.leg(place, lower[0] if lower else None))
    return legs


def worst_drop(heights: Iterable[float], starts: Iterable[float]) -> float:
    """The largest gentlest drop of any start. The way of the highest one holds all the others."""
    return gentlest_drop(heights, max(starts, default=0.0))


@dataclass(frozen=True, slots=True)
class Spot:
    """Where a place stands in the line: ``x_cm`` is 0 where she lands on the floor, less behind.

    Distances are known between spots of one ``anchor``: the place whose unrecorded run they are
    all counted from, empty for the floor.
    """

    x_cm: float
    anchor: str = ""


def spots(layout: Layout, gap_cm: float) -> dict[str, Spot]:
    """The spot of every stand by its name; an unrecorded run counts as ``gap_cm``."""
    found: dict[str, Spot] = {}
    level, front, behind = 0.0, Spot(0.0), Spot(0.0)
    for leg in reversed(next_legs(layout)):
        name = leg.start.name
        if leg.start.height_cm != level:
            level, front = leg.start.height_cm, behind
        known = leg.start.run_cm is not None
        run = leg.start.run_cm if known else gap_cm
        found[name] = Spot(front.x_cm - run, front.anchor if known else name)
        if found[name].x_cm <= behind.x_cm:
            behind = found[name]
    return found
