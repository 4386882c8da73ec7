"""The gentlest way down from a place in a house.

Where it is recorded how far along the house two places stand, the level distance between them is
known, and what is farther than a hen comes, or beyond a wall, is no stop on her way. Of other
places the record says how far the next lower one lies: all of these are taken to stand in one
line, each before the next higher one. The gentlest way is the one whose largest single drop is
smallest; of several such ways the one with the fewest jumps, then the one with the least level
distance. A ramp is walked: going down it is no drop.
"""

from __future__ import annotations

from dataclasses import dataclass

from flockcare.analysis.landing import descent_angle, landing_speed
from flockcare.housing.layout import RAMP, Layout, Place

RULE = (
    "The drop is the largest single drop on the gentlest way down: the way on which that drop is "
    "smallest; of several such ways the one with the fewest jumps, then the one with the least "
    "level distance. All places within 1 m (40 in) on the same side of the wall count as stops. A "
    "ramp or ladder of up to 45° is walked and is no drop; of a steeper one only its head counts, "
    "as a stop. A bird may still jump straight down; that drop is given beside it."
)
BOTTOM = "floor"
REACH_CM = 100  # Scott & Parker (1994), from memory: difficulty above about 1 m between perches.
WALKED_UP_TO = 45  # Degrees of a ramp: common practice, no published source.
STEP_UP_CM = 10  # So much higher the head of a ramp may lie than where she comes from.


@dataclass(frozen=True, slots=True)
class Leg:
    """One jump down, from a place to another, or to the floor (``to`` is None).

    ``walked``: down a ramp, without a drop. ``over``: onto something broad right below.
    """

    start: Place
    to: Place | None
    drop_cm: float
    run_cm: float | None
    walked: bool = False
    over: bool = False

    @property
    def to_name(self) -> str:
        return self.to.name if self.to else BOTTOM

    @property
    def angle(self) -> float | None:
        """Degrees below level; None where the run is not recorded, or nothing lies between."""
        if self.run_cm is None or self.walked or self.over or self.drop_cm == self.run_cm == 0:
            return None
        return descent_angle(self.drop_cm, self.run_cm)

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


# Ramps


def slope_of(ramp: Place) -> float | None:
    """Degrees above level; None where its run is not recorded."""
    if not ramp.height_cm or ramp.run_cm is None:
        return None
    return descent_angle(ramp.height_cm, ramp.run_cm)


def is_walked(place: Place) -> bool:
    """Whether it is a ramp that birds walk down; one of unknown slope is taken to be."""
    return place.kind == RAMP and (slope_of(place) or 0) <= WALKED_UP_TO + 1e-9


def ramp_ends(layout: Layout, ramp: Place) -> tuple[float, float]:
    """Where along the house head and foot of a placed ramp are.

    Its head is on the side of what it leads to: the nearest place of about its height, else the
    house for one outside.
    """
    half = (ramp.height_cm if ramp.run_cm is None else ramp.run_cm) / 2
    led_to = [
        place.along_cm
        for place in layout.stands
        if place.along_cm is not None
        and place.kind != RAMP
        and layout.is_outside(place) == layout.is_outside(ramp)
        and abs(place.height_cm - ramp.height_cm) <= 3 * STEP_UP_CM
    ]
    if led_to:
        towards = min(led_to, key=lambda x: abs(x - ramp.along_cm))
    elif layout.is_outside(ramp):
        towards = layout.length_cm / 2
    else:
        towards = ramp.along_cm - 1
    side = 1 if towards > ramp.along_cm else -1
    return ramp.along_cm + side * half, ramp.along_cm - side * half


# Jumps


class _Jumps:
    """Which jumps there are in a house, and how far each is."""

    def __init__(self, layout: Layout):
        self.layout = layout
        self.line = _Line(layout)
        self.ramps = [place for place in layout.stands if is_walked(place)]
        # From the floor upwards.
        self.others = [place for place in reversed(layout.stands) if place not in self.ramps]

    def leg(self, start: Place, to: Place | None) -> Leg | None:
        """The jump between two places; None where there is none."""
        if to is None:
            return Leg(start, None, start.height_cm, self.floor_run(start))
        placed = start.along_cm is not None and to.along_cm is not None
        if to.kind == RAMP and is_walked(to):
            return self._onto_ramp(start, to, placed)
        if to.height_cm >= start.height_cm:
            return None
        drop = start.height_cm - to.height_cm
        if not placed:
            return Leg(start, to, drop, self.line.run(start, to))
        gap = max(0.0, abs(start.along_cm - to.along_cm) - start.half_cm - to.half_cm)
        if not self._in_reach(start, to, gap):
            return None
        return Leg(start, to, drop, gap, over=gap == 0 and to.half_cm > 0)

    def _in_reach(self, start: Place, to: Place, gap: float) -> bool:
        outside = self.layout.is_outside
        return gap <= REACH_CM + 1e-9 and outside(start) == outside(to)

    def _onto_ramp(self, start: Place, ramp: Place, placed: bool) -> Leg | None:
        higher = ramp.height_cm - start.height_cm
        if not placed:
            if higher > 0:
                return None
            return Leg(start, ramp, -higher, self.line.run(start, ramp))
        head, foot = ramp_ends(self.layout, ramp)
        # She steps onto it at her own height, or drops to its head.
        share = min(1.0, start.height_cm / ramp.height_cm)
        at = head if higher <= STEP_UP_CM else foot + (head - foot) * share
        gap = max(0.0, abs(start.along_cm - at) - start.half_cm)
        return (
            Leg(start, ramp, max(0.0, -higher), gap) if self._in_reach(start, ramp, gap) else None
        )

    def floor_run(self, start: Place) -> float | None:
        """How far out she lands who jumps past all that stands below."""
        if start.along_cm is None:
            return self.line.run(start, None)
        lower = [leg for leg in self._lower(start) if leg.to.along_cm is not None]
        if not lower or start.kind == RAMP:
            return start.run_cm
        to = _next_of(lower).to
        on = self.floor_run(to)
        return None if on is None else abs(start.along_cm - to.along_cm) + on

    def _lower(self, start: Place) -> list[Leg]:
        return [leg for to in self.others if (leg := self.leg(start, to))]

    def next(self, start: Place) -> Leg:
        if is_walked(start):
            return Leg(start, None, 0.0, start.run_cm, walked=True)
        found = self._lower(start)
        found += [leg for ramp in self.ramps if (leg := self.leg(start, ramp))]
        return _next_of(found) if found else self.leg(start, None)

    def worst(self) -> dict[str, float]:
        """The smallest largest drop from each place, by its name."""
        worst = {ramp.name: 0.0 for ramp in self.ramps}
        for place in self.others:
            legs = [self.leg(place, to) for to in (*self.ramps, *self.others) if to.name in worst]
            ways = [max(leg.drop_cm, worst[leg.to.name]) for leg in legs if leg]
            worst[place.name] = min([place.height_cm, *ways])
        return worst


def _next_of(legs: list[Leg]) -> Leg:
    """The one onto the highest place; of equal ones the nearest, then by name."""
    return min(legs, key=lambda leg: (leg.drop_cm, leg.run_cm or 0.0, leg.to_name))


def gentlest(layout: Layout, start: Place) -> Route:
    """The gentlest way down; ValueError for a place whose height is not recorded or zero."""
    return _gentlest(_Jumps(layout), start)


def _gentlest(jumps: _Jumps, start: Place) -> Route:
    if not start.height_cm or start.height_cm <= 0:
        raise ValueError(f"The height of {start.name} is not recorded: measure it.")
    most = jumps.worst()[start.name]
    # From the floor upwards: the best way on from each place, with jumps no larger than `most`.
    ways: dict[Place, tuple[tuple, tuple[Leg, ...]]] = {
        ramp: ((0, 0, 0.0, ()), (jumps.next(ramp),)) for ramp in jumps.ramps
    }
    if start in ways:
        return Route(ways[start][1])
    stops = [place for place in jumps.others if place.height_cm < start.height_cm]
    for place in [*stops, start]:
        found = []
        for to in [None, *ways]:
            leg = jumps.leg(place, to)
            if leg and leg.drop_cm <= most + 1e-9:
                (hops, unknown, run, names), legs = ways[to] if to else ((0, 0, 0.0, ()), ())
                unsure = leg.run_cm is None
                cost = (hops + 1, unknown + unsure, run + (leg.run_cm or 0), (leg.to_name, *names))
                found.append((cost, (leg, *legs)))
        if found:
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

    def run(self, start: Place, to: Place | None) -> float | None:
        low = to.height_cm if to else 0.0
        between = [level for level in self.levels if low < level < start.height_cm]
        runs = [start.run_cm, *(self.run_of_level[level] for level in between)]
        return None if None in runs else float(sum(runs))


def ways_down(layout: Layout) -> list[Route]:
    """The gentlest way from each place that birds come down from, the hardest first."""
    jumps = _Jumps(layout)
    routes = [_gentlest(jumps, place) for place in layout.starts]
    return sorted(routes, key=lambda route: (-route.hardest.drop_cm, route.legs[0].start.name))


def next_legs(layout: Layout) -> list[Leg]:
    """The jump from every stand to the next one down, the highest first: what is drawn."""
    jumps = _Jumps(layout)
    return [jumps.next(place) for place in layout.stands]


def worst_drop(layout: Layout) -> float:
    """The largest gentlest drop of any place that birds come down from."""
    return max(hardest_drops(layout), default=0.0)


def hardest_drops(layout: Layout) -> list[float]:
    """The largest drop on the gentlest way of each place that birds come down from."""
    worst = _Jumps(layout).worst()
    return [worst[place.name] for place in layout.starts]


@dataclass(frozen=True, slots=True)
class Spot:
    """Where a place stands in the line: ``x_cm`` is 0 where she lands on the floor, less behind.

    Distances are known between spots of one ``anchor``: the place whose unrecorded run they are
    all counted from, empty for the floor.
    """

    x_cm: float
    anchor: str = ""


def spots(layout: Layout, gap_cm: float) -> dict[str, Spot]:
    """The spot of every stand in the line; an unrecorded run counts as ``gap_cm``."""
    found: dict[str, Spot] = {}
    level, front, behind = 0.0, Spot(0.0), Spot(0.0)
    for place in reversed(layout.stands):
        if place.height_cm != level:
            level, front = place.height_cm, behind
        known = place.run_cm is not None
        run = place.run_cm if known else gap_cm
        found[place.name] = Spot(front.x_cm - run, front.anchor if known else place.name)
        if found[place.name].x_cm <= behind.x_cm:
            behind = found[place.name]
    return found
