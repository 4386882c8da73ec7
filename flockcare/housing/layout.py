"""What stands in a house on one day, as plain values: nothing here knows the database."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace

# As in housing.models.FeatureKind; a test holds the two together.
ROOST, RAIL, NEST_FRONT, STEP = "roost", "rail", "nest front", "step"
RAMP, BOARD = "ramp", "droppings board"
FLOOR, LANDING, OTHER = "floor", "landing", "other"
GROUND = (FLOOR, LANDING)
PERCHES = (ROOST, RAIL)
# What a bird comes by on her way down, and does not stay on.
BY_THE_WAY = (STEP, RAMP, BOARD)
NO_BEDDING = "none"
# Along the house, where it is not measured; a nest box is as deep as it is high. Common practice,
# no published source.
STEP_CM, BOARD_CM, NEST_CM = 30, 50, 35


@dataclass(frozen=True, slots=True)
class Place:
    """One thing that a bird stands or lands on. None and empty text: not recorded.

    ``height_cm`` above the floor, outside above the ground; ``run_cm`` level distance to the next
    place down, of a ramp from its head to its foot; ``along_cm`` of its middle from the left wall;
    ``breadth_cm`` along the house, ``length_cm`` across it; ``width_mm`` of what the foot stands
    on; ``bedding_depth_cm`` where she lands; ``moisture_percent`` of the bedding, by weight.
    """

    name: str
    kind: str
    height_cm: float | None = None
    run_cm: float | None = None
    length_cm: float | None = None
    width_mm: float | None = None
    along_cm: float | None = None
    breadth_cm: float | None = None
    spacing_cm: float | None = None
    wall_cm: float | None = None
    edge: str = ""
    surface: str = ""
    material: str = ""
    cover: str = ""
    bedding: str = ""
    bedding_depth_cm: float | None = None
    damp: str = ""
    moisture_percent: float | None = None

    @property
    def is_start(self) -> bool:
        """Whether birds stay there, to come down later: no step and no ground."""
        return self.kind not in (*BY_THE_WAY, *GROUND)

    @property
    def half_cm(self) -> float:
        """Half of what it takes up along the house; a bar is a line."""
        return (self.breadth_cm or 0.0) / 2 if self.kind in (STEP, BOARD, OTHER) else 0.0


def bedding_of(described) -> str:
    """What lies there, of a Place or a state; a depth of 0 says that nothing does."""
    return described.bedding or (NO_BEDDING if described.bedding_depth_cm == 0 else "")


def bedding_words(described) -> str:
    lies = bedding_of(described)
    return "no bedding" if lies == NO_BEDDING else lies


def _across(bar: Place) -> float:
    return (bar.width_mm or 0.0) / 10


@dataclass(frozen=True, slots=True)
class Layout:
    """The places of a house on a day; their order says nothing.

    ``length_cm`` of the floor inside along the house, ``wall_cm`` height of the walls,
    ``raised_cm`` height of the floor above the ground outside, ``shape`` as of the record.
    """

    house: str
    on: dt.date
    places: tuple[Place, ...]
    length_cm: float | None = None
    wall_cm: float | None = None
    raised_cm: float | None = None
    shape: str = ""

    @property
    def stands(self) -> tuple[Place, ...]:
        """Where a bird can stand above the floor, highest first; then by name."""
        above = (place for place in self.places if (place.height_cm or 0) > 0)
        return tuple(sorted(above, key=lambda place: (-place.height_cm, place.name)))

    @property
    def starts(self) -> tuple[Place, ...]:
        """The stands that she comes down from: all but steps and raised landing areas."""
        return tuple(place for place in self.stands if place.is_start)

    @property
    def grounds(self) -> tuple[Place, ...]:
        """Where she lands at the bottom, also where nobody wrote down that its height is 0."""
        areas = (place for place in self.places if place.kind in GROUND and not place.height_cm)
        return tuple(sorted(areas, key=lambda place: place.name))

    @property
    def without_height(self) -> tuple[Place, ...]:
        """Places that must have a height but none is recorded; a feeder need not have one."""
        return tuple(
            place
            for place in self.places
            if place.height_cm is None and place.kind not in (*GROUND, OTHER)
        )

    def is_outside(self, place: Place) -> bool:
        """Whether it stands beyond a wall; only known where its place and the walls are."""
        if place.kind == LANDING:
            return True
        if place.along_cm is None or self.length_cm is None:
            return False
        return not 0 <= place.along_cm <= self.length_cm

    def spacing_of(self, roost: Place) -> float | None:
        """Level, from this roost to the next one: as recorded, else by where the two stand."""
        if roost.spacing_cm is not None or roost.along_cm is None:
            return roost.spacing_cm
        gaps = [
            abs(roost.along_cm - other.along_cm) - (_across(roost) + _across(other)) / 2
            for other in self.places
            if other.kind == ROOST and other.name != roost.name and other.along_cm is not None
        ]
        return max(0.0, min(gaps)) if gaps else None

    def wall_of(self, roost: Place) -> float | None:
        """From this roost to the nearer end wall: as recorded, else by where it stands."""
        if roost.wall_cm is not None or roost.along_cm is None or self.length_cm is None:
            return roost.wall_cm
        nearer = min(roost.along_cm, self.length_cm - roost.along_cm)
        return max(0.0, nearer - _across(roost) / 2)

    def changed(self, name: str, **new) -> Layout:
        """A copy in which the place of this name is different."""
        return replace(
            self,
            places=tuple(
                replace(place, **new) if place.name == name else place for place in self.places
            ),
        )

    def without(self, name: str) -> Layout:
        return replace(self, places=tuple(place for place in self.places if place.name != name))

    def plus(self, place: Place) -> Layout:
        return replace(self, places=(*self.places, place))
