"""Which one change of a house helps most: an exact search over whole centimetres."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from flockcare.analysis.landing import highest_drop
from flockcare.housing.layout import Layout, Place
from flockcare.housing.routes import worst_drop

EXPLAINED = (
    "For each place every height in whole centimetres up to the highest place now is tried, and "
    "for a new step every height below each place. The best is the one that leaves the fewest "
    "birds above your limit on their hardest landing; of equal ones that with the least change of "
    "height. The list is ordered by how many birds a change helps, then by the least change. "
    "Every bird is reckoned as if she came down from the highest place, by the gentlest way."
)


@dataclass(frozen=True, slots=True)
class Limit:
    """What no landing should exceed: a drop in cm, or an energy in J."""

    drop_cm: float | None = None
    energy_j: float | None = None

    def most_cm(self, mass_kg: float) -> float:
        """The largest drop that this bird may take."""
        if self.energy_j is not None:
            return 100 * highest_drop(mass_kg, self.energy_j)
        return self.drop_cm


@dataclass(frozen=True, slots=True)
class Suggestion:
    """One change: this place at another height, or (``place`` is the next one above) a new step.

    ``helped`` birds come under the limit, ``over`` stay above it; ``worst_cm`` is then the
    largest drop of the house.
    """

    place: Place
    height_cm: float
    helped: int
    over: int
    worst_cm: float
    new_step: bool = False

    @property
    def change_cm(self) -> float:
        return 0.0 if self.new_step else self.height_cm - self.place.height_cm


class _House:
    """Heights alone, which is all that the search needs."""

    def __init__(self, layout: Layout, masses_kg: Iterable[float], limit: Limit):
        self.stands = layout.stands
        self.most = [limit.most_cm(mass) for mass in masses_kg]
        self.worst = self.worst_of(self.stands, {})
        self.over = self.over_at(self.worst)

    def worst_of(self, stands: Sequence[Place], moved: dict[str, float], *more: float) -> float:
        heights = {place: moved.get(place.name, place.height_cm) for place in stands}
        starts = [height for place, height in heights.items() if place.is_start]
        return worst_drop([*heights.values(), *more], starts)

    def over_at(self, drop_cm: float) -> int:
        return sum(drop_cm > most + 1e-9 for most in self.most)


def birds_over(layout: Layout, masses_kg: Iterable[float], limit: Limit) -> int:
    """How many birds land harder than the limit, coming from the highest place."""
    return _House(layout, masses_kg, limit).over


def suggestions(layout: Layout, masses_kg: Iterable[float], limit: Limit) -> list[Suggestion]:
    """The best height for each place and the best new steps, the most helpful first.

    Changes that lower no drop are left out. Raises ValueError for a mass or limit that is none.
    """
    house = _House(layout, masses_kg, limit)
    found = [_best_height(house, place) for place in house.stands]
    found += [_best_step(house, place) for place in house.stands]
    worth = [each for each in found if each and each.worst_cm < house.worst]
    return sorted(worth, key=_rank)


def _rank(one: Suggestion) -> tuple:
    # What helps nobody under the limit can still be the way to begin: by the drop it leaves.
    left = 0.0 if one.helped else one.worst_cm
    return -one.helped, left, one.new_step, abs(one.change_cm), one.place.name


def _best_height(house: _House, place: Place) -> Suggestion | None:
    top = round(house.stands[0].height_cm)

    def judged(height: float) -> tuple:
        worst = house.worst_of(house.stands, {place.name: height})
        over = house.over_at(worst)
        # Once somebody is helped, the least change counts; until then the drop that is left.
        return (
            over,
            worst if over == house.over else 0.0,
            abs(height - place.height_cm),
            height,
            worst,
        )

    over, _, _, height, worst = min(judged(height) for height in range(1, top + 1))
    return Suggestion(place, float(height), house.over - over, over, worst)


def _best_step(house: _House, above: Place) -> Suggestion | None:
    """The best step between a place and the next lower one; of equal ones the middle."""
    below = max(
        (each.height_cm for each in house.stands if each.height_cm < above.height_cm), default=0.0
    )
    middle = (above.height_cm + below) / 2

    def judged(height: float) -> tuple:
        worst = house.worst_of(house.stands, {}, height)
        return house.over_at(worst), worst, abs(height - middle), height

    between = range(int(below) + 1, round(above.height_cm))
    if not between:
        return None
    over, worst, _, height = min(judged(height) for height in between)
    return Suggestion(above, float(height), house.over - over, over, worst, new_step=True)
