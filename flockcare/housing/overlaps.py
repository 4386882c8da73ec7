"""What cannot stand as it is drawn: two things in one place, through a wall, into the roof.

Only of things whose place along the house is recorded. Ladders and ramps lean on what they lead
to, and shelves may hang anywhere: neither is asked.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

from flockcare.housing.layout import (
    BOARD,
    BOARD_CM,
    NEST_CM,
    NEST_FRONT,
    PERCHES,
    STEP,
    STEP_CM,
    Layout,
    Place,
)

BAR_CM = 5.0  # How thick and wide a bar is, where it is not measured.
PLANK_CM = 2.0
SLACK_CM = 1.0  # What touches stands beside, and a tape measure is not finer.


@dataclass(frozen=True, slots=True)
class Space:
    """What a thing takes up, seen from the side: centimetres along the house and above its base."""

    left: float
    right: float
    bottom: float
    top: float

    def meets(self, other: Space) -> bool:
        return (
            min(self.right, other.right) - max(self.left, other.left) > SLACK_CM
            and min(self.top, other.top) - max(self.bottom, other.bottom) > SLACK_CM
        )


def space_of(place: Place, layout: Layout) -> Space | None:
    """None where that is not known, or not asked."""
    if place.along_cm is None or not place.height_cm:
        return None
    at, top = place.along_cm, place.height_cm
    if place.kind in PERCHES:
        half = (place.width_mm or BAR_CM * 10) / 20
        return Space(at - half, at + half, max(top - BAR_CM, 0), top)
    if place.kind == BOARD:
        half = (place.breadth_cm or BOARD_CM) / 2
        return Space(at - half, at + half, max(top - PLANK_CM, 0), top)
    if place.kind == STEP:
        half = (place.breadth_cm or STEP_CM) / 2
        return Space(at - half, at + half, 0, top)
    if place.kind == NEST_FRONT and layout.length_cm:
        left, right = (at - NEST_CM, at) if at <= layout.length_cm / 2 else (at, at + NEST_CM)
        return Space(left, right, max(top - PLANK_CM, 0), top + NEST_CM)
    return None


def overlaps(layout: Layout) -> dict[frozenset[str], str]:
    """What is wrong, in words, by the names that it is about."""
    spaces = {
        place: space for place in layout.stands if (space := space_of(place, layout)) is not None
    }
    found = {
        frozenset((one.name, other.name)): f"{one.name} and {other.name} would be in the same "
        "place. Move one of them."
        for (one, first), (other, second) in combinations(spaces.items(), 2)
        if layout.is_outside(one) == layout.is_outside(other) and first.meets(second)
    }
    for place, space in spaces.items():
        if words := _out_of_the_house(place, space, layout):
            found[frozenset((place.name,))] = words
    return found


def _out_of_the_house(place: Place, space: Space, layout: Layout) -> str:
    # Nest boxes are often hung on from outside.
    if place.kind != NEST_FRONT and layout.length_cm:
        for wall in (0.0, layout.length_cm):
            if space.left < wall - SLACK_CM and space.right > wall + SLACK_CM:
                return f"{place.name} would stand through the wall. Move it to one side."
    if layout.wall_cm and not layout.is_outside(place) and place.height_cm > layout.wall_cm:
        return f"{place.name} would be higher than the walls. Lower it."
    return ""


def new_overlaps(before: Layout, after: Layout) -> list[str]:
    """The words for those that were not there before; what is on record may stand as it does."""
    had = overlaps(before)
    return [words for names, words in overlaps(after).items() if names not in had]
