"""A few plain houses to start from: what usually stands in them, and where.

All figures are usual ones, to be corrected with a tape measure: common practice, no published
source.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

from flockcare.housing.layout import Layout, Place
from flockcare.housing.models import FeatureKind, HouseShape

# What its edges are like and of what it is nobody can guess.
BAR = {"width_mm": 50.0}


@dataclass(frozen=True)
class Thing:
    name: str
    kind: FeatureKind
    values: dict = field(default_factory=dict)
    spare: bool = False  # Offered, but not usually there.


@dataclass(frozen=True)
class Shape:
    """A house with ``house`` (fields of the record) and what stands in it."""

    key: HouseShape
    hint: str
    house: dict
    things: tuple[Thing, ...]

    @property
    def name(self) -> str:
        return str(self.key.label).capitalize()

    def layout(self) -> Layout:
        return Layout(
            self.name,
            dt.date.min,
            tuple(
                Place(thing.name, str(thing.kind), **thing.values)
                for thing in self.things
                if not thing.spare
            ),
            length_cm=self.house["floor_length_cm"],
            wall_cm=self.house["wall_height_cm"],
            raised_cm=self.house.get("floor_height_cm"),
            shape=str(self.key),
        )


def _roost(name: str, high: float, along: float, *, spare: bool = False) -> Thing:
    values = {"height_cm": high, "along_cm": along, **BAR}
    return Thing(name, FeatureKind.ROOST, values, spare=spare)


def _nests(high: float, along: float) -> Thing:
    return Thing(
        "Nest boxes", FeatureKind.NEST_FRONT, {"height_cm": high, "along_cm": along, "run_cm": 50.0}
    )


def _floor(bedding: str = "wood shavings", deep: float = 8.0) -> Thing:
    lies = {"bedding": bedding, "bedding_depth_cm": deep, "damp": "dry"}
    return Thing("Floor", FeatureKind.FLOOR, lies)


def _run(name: str = "Run", bedding: str = "grass") -> Thing:
    return Thing(name, FeatureKind.LANDING, {"bedding": bedding})


def _walls(length: float, width: float, high: float, **more: float) -> dict:
    return {
        "floor_length_cm": length,
        "floor_width_cm": width,
        "wall_height_cm": high,
        **more,
    }


SHAPES = (
    Shape(
        HouseShape.COOP,
        "Knee to waist high, one or two roosts, a run beside it",
        _walls(130.0, 90.0, 80.0),
        (
            _roost("Roost", 30.0, 45.0),
            _roost("Second roost", 30.0, 80.0, spare=True),
            _nests(12.0, 95.0),
            _floor(),
            _run(),
        ),
    ),
    Shape(
        HouseShape.SHED,
        "High enough to stand in, roosts over a droppings board",
        _walls(240.0, 180.0, 180.0),
        (
            _roost("Top roost", 100.0, 35.0),
            _roost("Low roost", 70.0, 75.0),
            _roost("Third roost", 45.0, 115.0, spare=True),
            Thing(
                "Droppings board",
                FeatureKind.BOARD,
                {"height_cm": 45.0, "along_cm": 55.0, "breadth_cm": 90.0, "run_cm": 50.0},
            ),
            _nests(50.0, 205.0),
            _floor(),
            _run(),
        ),
    ),
    Shape(
        HouseShape.RAISED,
        "On legs, with a pop door and a ramp down to the run",
        _walls(160.0, 110.0, 95.0, floor_height_cm=60.0),
        (
            _roost("Roost", 35.0, 50.0),
            _roost("Second roost", 35.0, 85.0, spare=True),
            _nests(15.0, 125.0),
            Thing(
                "Pop door sill",
                FeatureKind.RAIL,
                {"height_cm": 60.0, "along_cm": 166.0},
            ),
            Thing(
                "Ramp", FeatureKind.RAMP, {"height_cm": 60.0, "along_cm": 226.0, "run_cm": 110.0}
            ),
            _floor(),
            _run(),
        ),
    ),
    Shape(
        HouseShape.AVIARY,
        "A long aisle with roosts on several levels and a ladder",
        _walls(500.0, 300.0, 230.0),
        (
            _roost("Top roost", 170.0, 50.0),
            _roost("Middle roost", 120.0, 95.0),
            _roost("Low roost", 75.0, 145.0),
            Thing(
                "Droppings board",
                FeatureKind.BOARD,
                {"height_cm": 50.0, "along_cm": 90.0, "breadth_cm": 120.0, "run_cm": 50.0},
                spare=True,
            ),
            Thing(
                "Ladder",
                FeatureKind.RAMP,
                {"height_cm": 75.0, "along_cm": 215.0, "run_cm": 110.0},
            ),
            _nests(90.0, 465.0),
            Thing(
                "Nest step",
                FeatureKind.STEP,
                {"height_cm": 45.0, "along_cm": 410.0, "breadth_cm": 40.0, "run_cm": 40.0},
            ),
            _floor("straw", 12.0),
        ),
    ),
    Shape(
        HouseShape.STABLE,
        "Thick walls, a hard floor, roosts fixed to one side",
        _walls(360.0, 300.0, 220.0),
        (
            _roost("Top roost", 120.0, 45.0),
            _roost("Low roost", 80.0, 95.0),
            _roost("Third roost", 60.0, 140.0, spare=True),
            Thing(
                "Straw bale",
                FeatureKind.STEP,
                {"height_cm": 40.0, "along_cm": 150.0, "breadth_cm": 50.0, "run_cm": 40.0},
            ),
            _nests(60.0, 325.0),
            _floor("straw", 10.0),
            Thing("Yard", FeatureKind.LANDING, {"bedding": "none", "material": "concrete"}),
        ),
    ),
)
SHAPE_BY_KEY = {shape.key.value: shape for shape in SHAPES}
