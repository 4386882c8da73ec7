"""A house otherwise than it is, and which one change of it helps most."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import dataclass, replace

from flockcare.analysis.landing import highest_drop
from flockcare.housing.layout import STEP, Layout, Place
from flockcare.housing.routes import Spot, spots, worst_drop
from flockcare.people.models import Units

# Heights that are read back as they are written, without rounding.
GRID_CM = {Units.METRIC: 1.0, Units.IMPERIAL: 2.54 / 2}
GRID_WORDS = {Units.METRIC: "whole centimetres", Units.IMPERIAL: "half inches"}
EXPLAINED = (
    "For each place every height in {steps} up to the highest place now is tried, and for a new "
    "step every height below each place. The best is the one that leaves the fewest birds above "
    "your limit on their hardest landing; of equal ones that with the least change of height. The "
    "list is ordered by how many birds a change helps, then by the least change. Every bird is "
    "reckoned as if she came down from the highest place, by the gentlest way."
)


# A scratch copy


def scratch(
    before: Layout,
    *,
    changed: Mapping[str, Mapping[str, object]],
    removed: Set[str] = frozenset(),
    step: Place | None = None,
) -> Layout:
    """The house with places changed (new values by name), taken away, and a step put in.

    Nothing moves sideways: where another place has become the next step down of one, the run to
    it is the distance between the two, or unknown. A run among ``changed`` stays as given. The
    new step stands before the next higher place: at its own run, else half-way to the next lower.
    """
    after = before
    for name, values in changed.items():
        after = after.changed(name, **values)
    for name in removed:
        after = after.without(name)
    line = spots(before, 0.0)
    if step:
        step = _placed(step, after, line)
        after = after.plus(step)
    given = {name for name, values in changed.items() if "run_cm" in values}
    for place in after.stands:
        old, new = _lower(before, place.name), _lower(after, place.name)
        if place.name in line and place != step and old != new and place.name not in given:
            after = after.changed(place.name, run_cm=_run(before, place.name, new, line, removed))
    return after


def _lower(layout: Layout, name: str) -> str | None:
    """The next lower place; None: the floor, or that this one is not there."""
    height = next((place.height_cm for place in layout.stands if place.name == name), 0.0)
    return next((place.name for place in layout.stands if place.height_cm < height), None)


def _run(before: Layout, name: str, to: str | None, line, removed: Set[str]) -> float | None:
    if to is None:
        # Only where all that stood before it is away does she land where she landed before.
        lower = [p.name for p in before.stands if p.height_cm < _height(before, name)]
        target = Spot(0.0) if removed.issuperset(lower) else None
    else:
        target = line.get(to)
    if target is None or target.anchor != line[name].anchor:
        return None
    return abs(target.x_cm - line[name].x_cm)


def _height(layout: Layout, name: str) -> float:
    return next((place.height_cm for place in layout.places if place.name == name), None) or 0.0


def _placed(step: Place, layout: Layout, line: dict[str, Spot]) -> Place:
    """The step with its run, its spot noted in the line."""
    above = [place for place in layout.stands if place.height_cm > step.height_cm]
    below = [place for place in layout.stands if place.height_cm < step.height_cm]
    front = line.get(below[0].name) if below else Spot(0.0)
    if step.run_cm is None and above and above[-1].run_cm is not None:
        step = replace(step, run_cm=above[-1].run_cm / 2)
    if front and step.run_cm is not None:
        line[step.name] = Spot(front.x_cm - step.run_cm, front.anchor)
    return step


# Which change helps most


@dataclass(frozen=True, slots=True)
class Limit:
    """What no landing should exceed: a drop in cm, or an energy in J."""

    drop_cm: float | None = None
    energy_j: float | None = None

    def most_cm(self, mass_kg: float | None) -> float:
        """The largest drop that this bird may take. Only an energy asks for her mass."""
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

    def __init__(
        self,
        layout: Layout,
        masses_kg: Iterable[float | None],
        limit: Limit,
        grid_cm: float = 1.0,
    ):
        self.layout, self.stands, self.grid_cm = layout, layout.stands, grid_cm
        self.most = [limit.most_cm(mass) for mass in masses_kg]
        self.worst = self.worst_of(self.stands, {})
        self.over = self.over_at(self.worst)

    def worst_of(self, stands: Sequence[Place], moved: dict[str, float], *more: float) -> float:
        tried = self.layout
        for name, height in moved.items():
            tried = tried.changed(name, height_cm=height)
        for height in more:
            tried = tried.plus(Place("", STEP, height_cm=height))
        return worst_drop(tried)

    def heights(self, low: float, high: float) -> list[float]:
        """The heights that are tried, above ``low`` and up to ``high``."""
        first, last = int(low / self.grid_cm) + 1, round(high / self.grid_cm)
        return [number * self.grid_cm for number in range(first, last + 1)]

    def over_at(self, drop_cm: float) -> int:
        return sum(drop_cm > most + 1e-9 for most in self.most)


def birds_over(layout: Layout, masses_kg: Iterable[float | None], limit: Limit) -> int:
    """How many birds land harder than the limit, coming from the highest place."""
    return _House(layout, masses_kg, limit).over


def suggestions(
    layout: Layout, masses_kg: Iterable[float | None], limit: Limit, *, grid_cm: float = 1.0
) -> list[Suggestion]:
    """The best height for each place and the best new steps, the most helpful first.

    Heights are whole multiples of ``grid_cm``, to be written and read back without rounding.
    Changes that lower no drop are left out. Raises ValueError for a mass or limit that is none.
    """
    house = _House(layout, masses_kg, limit, grid_cm)
    found = [_best_height(house, place) for place in house.stands]
    found += [_best_step(house, place) for place in house.stands]
    worth = [each for each in found if each and each.worst_cm < house.worst]
    return sorted(worth, key=_rank)


def _rank(one: Suggestion) -> tuple:
    # What helps nobody under the limit can still be the way to begin: by the drop it leaves.
    left = 0.0 if one.helped else one.worst_cm
    return -one.helped, left, one.new_step, abs(one.change_cm), one.place.name


def _best_height(house: _House, place: Place) -> Suggestion | None:
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

    tried = house.heights(0.0, house.stands[0].height_cm)
    if not tried:
        return None
    over, _, _, height, worst = min(judged(height) for height in tried)
    return Suggestion(place, height, house.over - over, over, worst)


def _best_step(house: _House, above: Place) -> Suggestion | None:
    """The best step between a place and the next lower one; of equal ones the middle."""
    below = max(
        (each.height_cm for each in house.stands if each.height_cm < above.height_cm), default=0.0
    )
    middle = (above.height_cm + below) / 2

    def judged(height: float) -> tuple:
        worst = house.worst_of(house.stands, {}, height)
        return house.over_at(worst), worst, abs(height - middle), height

    between = [
        height for height in house.heights(below, above.height_cm) if height < above.height_cm
    ]
    if not between:
        return None
    over, worst, _, height = min(judged(height) for height in between)
    return Suggestion(above, height, house.over - over, over, worst, new_step=True)
