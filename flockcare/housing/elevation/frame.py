"""Where everything in the drawing lies: places along the house, and centimetres to pixels."""

from __future__ import annotations

from dataclasses import dataclass

from flockcare.housing.layout import FLOOR, LANDING, RAMP, Layout, Place
from flockcare.housing.routes import ramp_ends, spots

GAP_CM = 40  # Drawn where a level distance is not recorded.
MARGIN_CM = 25  # From the wall to the first thing, where nobody said where it stands.
LANDING_CM = 60  # Floor before the lowest thing, likewise.
EAVES_CM = 45  # From the highest thing to the eaves, where the walls are not measured.
RUN_CM, MOST_RUN_CM = 110, 170  # Of the ground outside so much is drawn.
OVERHANG_CM = 12  # Of the roof.
# Rise of the roof as a share of the length, how it slopes, and the usual height of the walls.
ROOFS = {
    "coop": (0.10, "single", 75),
    "shed": (0.07, "single", 180),
    "raised": (0.16, "gable", 95),
    "aviary": (0.09, "gable", 230),
    "stable": (0.12, "gable", 220),
    "": (0.06, "single", 0),
}
MOST_RISE_CM = 60


@dataclass(frozen=True, slots=True)
class Plan:
    """The house in centimetres: ``at`` is the middle of every stand, the left wall is at 0."""

    layout: Layout
    at: dict[str, float]
    length_cm: float
    run_cm: float  # Ground drawn outside; 0: none.
    run_left: bool  # On which side.

    @property
    def raised_cm(self) -> float:
        return self.layout.raised_cm or 0.0

    @property
    def wall_cm(self) -> float:
        """Of the walls above the floor inside; never lower than what stands between them."""
        usual = ROOFS[self.layout.shape][2]
        top = max((p.height_cm for p in self.layout.stands if not self.outside(p)), default=40.0)
        return max(self.layout.wall_cm or max(usual, top + EAVES_CM), top + 10)

    @property
    def rise_cm(self) -> float:
        return min(ROOFS[self.layout.shape][0] * self.length_cm, MOST_RISE_CM)

    def outside(self, place: Place) -> bool:
        return self.layout.is_outside(place)

    def base_cm(self, place: Place) -> float:
        """What its height is counted from, above the ground outside."""
        return 0.0 if self.outside(place) else self.raised_cm

    def ends(self, ramp: Place) -> tuple[float, float]:
        """Head and foot of a ramp along the house."""
        if ramp.along_cm is not None:
            return ramp_ends(self.layout, ramp)
        half = (GAP_CM if ramp.run_cm is None else ramp.run_cm) / 2
        return self.at[ramp.name] - half, self.at[ramp.name] + half


def plan_of(layout: Layout) -> Plan:
    """Things stand where it is recorded, others where their level distances put them."""
    stands = layout.stands
    placed = {place.name: place.along_cm for place in stands if place.along_cm is not None}
    line = spots(layout, GAP_CM)
    reach = -min((spot.x_cm for spot in line.values()), default=0.0)
    needed = reach + MARGIN_CM + LANDING_CM
    inside = [
        placed[place.name] + 50
        for place in stands
        if place.name in placed and not layout.is_outside(place)
    ]
    length = layout.length_cm or max([needed if not placed else 0, *inside])
    if not placed:
        length = max(length, needed)
        at = {name: spot.x_cm + reach + MARGIN_CM for name, spot in line.items()}
    else:
        at = _beside(layout, placed, length)
    for place in stands:
        if place.kind == RAMP and place.name not in placed:
            at[place.name] += (GAP_CM if place.run_cm is None else place.run_cm) / 2
    outer = [
        max(-min(ends), max(ends) - length)
        for place in stands
        if place.name in placed and layout.is_outside(place)
        for ends in [ramp_ends(layout, place) if place.kind == RAMP else (place.along_cm,) * 2]
    ]
    areas = [place for place in layout.grounds if place.kind == LANDING]
    sizes = [place.breadth_cm or place.length_cm or RUN_CM for place in areas]
    run = max([0.0, *(each + 25 for each in outer), *(min(each, MOST_RUN_CM) for each in sizes)])
    if not run and layout.raised_cm:
        run = 30.0
    return Plan(layout, at, length, run, run_left=any(x < 0 for x in placed.values()))


def _beside(layout: Layout, placed: dict[str, float], length: float) -> dict[str, float]:
    """Beside what is placed stands what is not: before the next lower place, by its distance."""
    at: dict[str, float] = {}
    for place in reversed(layout.stands):
        if place.name in placed:
            at[place.name] = placed[place.name]
            continue
        lower = [one for one in layout.stands if one.height_cm < place.height_cm]
        front = at[lower[0].name] if lower else length - MARGIN_CM
        run = GAP_CM if place.run_cm is None else place.run_cm
        behind = front - run
        at[place.name] = min(max(behind if behind > 10 else front + run, 10), length - 10)
    return at


def floors(layout: Layout) -> tuple[list[Place], list[Place]]:
    """What lies on the ground inside and outside; where only one is described, it is both."""
    inside = [place for place in layout.grounds if place.kind == FLOOR]
    outside = [place for place in layout.grounds if place.kind == LANDING]
    return inside or outside, outside


class Frame:
    """Centimetres to user units, the same scale both ways; 0 is the left wall and the ground."""

    def __init__(self, plan: Plan, *, width: float, tallest: float, most: float, axis: float):
        self.plan, self.width = plan, width
        low = -(plan.run_cm if plan.run_left else OVERHANG_CM)
        high = plan.length_cm + (OVERHANG_CM if plan.run_left else max(plan.run_cm, OVERHANG_CM))
        ramps = [place for place in plan.layout.stands if place.kind == RAMP]
        ends = [*plan.at.values(), *(x for ramp in ramps for x in plan.ends(ramp))]
        low, high = min([low, *(x - 10 for x in ends)]), max([high, *(x + 10 for x in ends)])
        top = plan.raised_cm + plan.wall_cm + plan.rise_cm + 6
        top = max([top, *(place.height_cm + plan.raised_cm + 6 for place in plan.layout.stands)])
        room = width - axis - 6
        self.scale = min(room / (high - low), tallest / top, most)
        left = axis + (room - (high - low) * self.scale) / 2
        self._x0 = left - low * self.scale
        self.ground = top * self.scale
        self.low, self.high = low, high

    def x(self, cm: float) -> float:
        return self._x0 + cm * self.scale

    def y(self, cm: float) -> float:
        """Of a height above the ground outside."""
        return self.ground - cm * self.scale

    def spot(self, place: Place) -> tuple[float, float]:
        """The middle of where a bird stands on it; of a ramp its head."""
        at = self.plan.at[place.name]
        if place.kind == RAMP:
            at = self.plan.ends(place)[0]
        return self.x(at), self.y(self.plan.base_cm(place) + place.height_cm)

    @property
    def thick(self) -> float:
        """Of a wall."""
        cm = 9 if self.plan.layout.shape == "stable" else 4
        return min(max(3.0, cm * self.scale), 14)

    @property
    def floor(self) -> float:
        return self.y(self.plan.raised_cm)
