"""A house otherwise than it is, and which one change of it helps most."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Set
from dataclasses import dataclass, replace

from flockcare.analysis.landing import highest_drop
from flockcare.housing.layout import (
    BOARD,
    NEST_FRONT,
    OTHER,
    PERCHES,
    RAIL,
    RAMP,
    ROOST,
    STEP,
    Layout,
    Place,
)
from flockcare.housing.overlaps import new_overlaps
from flockcare.housing.routes import Spot, hardest_drops, spots, worst_drop
from flockcare.people.models import Units

# Heights that are read back as they are written, without rounding.
GRID_CM = {Units.METRIC: 1.0, Units.IMPERIAL: 2.54 / 2}
GRID_WORDS = {Units.METRIC: "whole centimetres", Units.IMPERIAL: "half inches"}
EXPLAINED = (
    "Each thing is tried at the heights, in {steps}, at which a landing comes down to your limit, "
    "and a new step in front of it; where none of that is enough for all birds, two changes "
    "together. The order of what stands there is kept, a roost stays {roost} or more above the "
    "floor, a new step stands on the floor and is no higher than {step}, and a hen keeps her head "
    "room of {head}. First comes what helps most birds for each bit of height that a thing is "
    "raised or lowered; less than {least} counts as that, a new step as {new}. Of each thing there "
    "is that, and what helps most birds. Every bird is taken to come down from the place with the "
    "hardest landing, by the gentlest way."
)
# What a builder would not put up: common practice, no published source.
LOWEST_ROOST_CM = 25
HIGHEST_STEP_CM = 60
HEAD_ROOM_CM = 45
ABOVE_CM = 25  # Nearer than this one thing is above the other.
BEFORE_CM = 45  # So far before the edge of a place a new step stands.
WIDE_CM = 30  # How broad a new step is.
LEAST_CM = 15  # Below this one change of height is as much work as another.
NEW_STEP_CM = 45  # To build a step is as much work as such a change.
NEARLY_CM = 1e-9
TRIED_FURTHER = 5  # So many single changes are tried together with a second one.


# A scratch copy


def scratch(
    before: Layout,
    *,
    changed: Mapping[str, Mapping[str, object]],
    removed: Set[str] = frozenset(),
    step: Place | None = None,
    before_name: str = "",
) -> Layout:
    """The house with places changed (new values by name), taken away, and a step put in.

    Nothing moves sideways: where another place has become the next step down of one, the run to
    it is the distance between the two, or unknown. A run among ``changed`` stays as given. The
    new step stands before the place ``before_name``, where it is recorded along the house, else
    before the next higher one: at its own run, else half-way to the next lower.
    """
    after = before
    for name, values in changed.items():
        after = after.changed(name, **values)
    for name in removed:
        after = after.without(name)
    line = spots(before, 0.0)
    if step:
        step = _placed(step, after, line, before_name)
        after = after.plus(step)
    given = {name for name, values in changed.items() if "run_cm" in values}
    for place in after.stands:
        if place.along_cm is not None:
            continue
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


def _placed(step: Place, layout: Layout, line: dict[str, Spot], before_name: str) -> Place:
    """The step with its run, its spot noted in the line."""
    above = [place for place in layout.stands if place.height_cm > step.height_cm]
    below = [place for place in layout.stands if place.height_cm < step.height_cm]
    front = line.get(below[0].name) if below else Spot(0.0)
    beside = next((place for place in above if place.name == before_name), above and above[-1])
    if step.along_cm is None and beside and beside.along_cm is not None:
        at, before = beside.along_cm, BEFORE_CM + beside.half_cm
        room = before + WIDE_CM / 2
        away = -1 if layout.length_cm and at + room > layout.length_cm else 1
        return replace(step, along_cm=at + away * before, breadth_cm=WIDE_CM)
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
class Move:
    """One change: this place at another height, or a new step in front of it (``new_step``)."""

    place: Place
    height_cm: float
    new_step: bool = False

    @property
    def change_cm(self) -> float:
        return 0.0 if self.new_step else self.height_cm - self.place.height_cm

    @property
    def work_cm(self) -> float:
        return NEW_STEP_CM if self.new_step else max(LEAST_CM, abs(self.change_cm))


@dataclass(frozen=True, slots=True)
class Suggestion:
    """One change or two; ``after`` is the house with them.

    ``helped`` birds come under the limit, ``over`` stay above it; ``worst_cm`` is then the
    largest drop of the house, ``total_cm`` the hardest landings of all places together.
    """

    moves: tuple[Move, ...]
    after: Layout
    helped: int
    over: int
    worst_cm: float
    total_cm: float

    @property
    def work_cm(self) -> float:
        return sum(move.work_cm for move in self.moves)


class _Search:
    def __init__(
        self,
        layout: Layout,
        masses_kg: Iterable[float | None],
        limit: Limit,
        grid_cm: float = 1.0,
    ):
        self.layout, self.grid_cm = layout, grid_cm
        self.most = [limit.most_cm(mass) for mass in masses_kg]
        self.worst = worst_drop(layout)
        self.over = self.over_at(self.worst)

    def over_at(self, drop_cm: float) -> int:
        return sum(drop_cm > most + NEARLY_CM for most in self.most)

    def judged(self, moves: tuple[Move, ...]) -> Suggestion | None:
        """None for what a builder would not put up."""
        changed = {m.place.name: {"height_cm": m.height_cm} for m in moves if not m.new_step}
        new = next((move for move in moves if move.new_step), None)
        step = new and Place(NEW_STEP, STEP, height_cm=new.height_cm)
        before_name = new.place.name if new else ""
        after = scratch(self.layout, changed=changed, step=step, before_name=before_name)
        if not is_sensible(self.layout, after) or new_overlaps(self.layout, after):
            return None
        drops = hardest_drops(after)
        worst = max(drops, default=0.0)
        over = self.over_at(worst)
        return Suggestion(moves, after, self.over - over, over, worst, sum(drops))

    def singles(self, layout: Layout, *, step: bool = True) -> list[Move]:
        """Heights at which some landing comes to a limit, or lies in the middle of a gap."""
        limits = sorted({most for most in self.most if self.worst > most + NEARLY_CM})
        limits = limits if len(limits) <= 3 else [limits[0], limits[len(limits) // 2], limits[-1]]
        heights = sorted({0.0, *(place.height_cm for place in layout.stands)})
        found: dict[tuple, Move] = {}
        for place in layout.stands:
            others = [height for height in heights if height != place.height_cm]
            down = [height + limit for height in others for limit in limits]
            up = [height - limit for height in others for limit in limits]
            lower = max((h for h in heights if h < place.height_cm), default=0.0)
            upper = min((h for h in heights if h > place.height_cm), default=place.height_cm)
            # Where it is known to stand, a step may be lower than what stands elsewhere.
            least = lower if place.along_cm is None else 0.0
            middles = [(lower + place.height_cm) / 2, place.height_cm / 2]
            tried = [self._grid(h, int) for h in [*down, (lower + upper) / 2]]
            tried += [self._grid(h, math.ceil) for h in up]
            if place.kind in MOVABLE:
                found |= {(place.name, h, 0): Move(place, h) for h in tried if h > 0}
            if step:
                own = [self._grid(h, int) for h in [*middles, HIGHEST_STEP_CM, *down]]
                own += [self._grid(h, math.ceil) for h in up]
                found |= {
                    (place.name, h, 1): Move(place, h, new_step=True)
                    for h in own
                    if least < h < place.height_cm
                }
        return list(found.values())

    def _grid(self, height: float, rounded) -> float:
        return rounded(height / self.grid_cm + (1e-9 if rounded is int else -1e-9)) * self.grid_cm


NEW_STEP = "New step"
MOVABLE = {ROOST, RAIL, NEST_FRONT, STEP, OTHER}


def is_sensible(before: Layout, after: Layout) -> bool:
    """Whether one would build it so; what was odd before may stay."""
    order = {place.name: place.height_cm for place in before.stands}
    for place in after.stands:
        was = order.get(place.name)
        if was == place.height_cm:
            continue
        if place.kind in PERCHES and place.height_cm < min(LOWEST_ROOST_CM, was or LOWEST_ROOST_CM):
            return False
        if place.kind == STEP and was is None and place.height_cm > HIGHEST_STEP_CM:
            return False
        if after.wall_cm and place.height_cm > (was or 0) > after.wall_cm - HEAD_ROOM_CM:
            return False
        for other in after.stands:
            if other.name == place.name or other.kind == RAMP:
                continue
            if was is not None and other.name in order:
                sides = (was - order[other.name]) * (place.height_cm - other.height_cm)
                if sides < 0 or (sides == 0 and was != order[other.name]):
                    return False
            if _without_head_room(after, place, other, order):
                return False
    return True


def _without_head_room(after: Layout, one: Place, other: Place, order: Mapping[str, float]) -> bool:
    """Whether the lower one of two that stand above each other has become too low to stand in."""
    gap = abs(one.height_cm - other.height_cm)
    if gap >= HEAD_ROOM_CM or BOARD in (one.kind, other.kind):
        return False
    if one.along_cm is None or other.along_cm is None:
        upper = max(one, other, key=lambda place: place.height_cm)
        across = upper.run_cm if _lower(after, upper.name) in (one.name, other.name) else None
    else:
        across = abs(one.along_cm - other.along_cm) - one.half_cm - other.half_cm
    was = [order.get(place.name) for place in (one, other)]
    narrower = None in was or gap < abs(was[0] - was[1])
    return across is not None and across < ABOVE_CM and narrower


def lands_over(layout: Layout, masses_kg: Iterable[float | None], limit: Limit) -> list[bool]:
    """Of each bird whether she lands harder than the limit, from the place with the hardest
    landing.
    """
    search = _Search(layout, masses_kg, limit)
    return [search.worst > most + NEARLY_CM for most in search.most]


def suggestions(
    layout: Layout, masses_kg: Iterable[float | None], limit: Limit, *, grid_cm: float = 1.0
) -> list[Suggestion]:
    """Changes of each place, new steps, and two together, by how many birds they help for their
    height; after those what helps nobody yet but lowers the largest drop.

    Of each place there is what helps most for its height, and what helps most birds. Heights are
    whole multiples of ``grid_cm``, to be written and read back without rounding. Empty where no
    bird is over the limit. Raises ValueError for a mass or limit that is none.
    """
    search = _Search(layout, masses_kg, limit, grid_cm)
    if not search.over:
        return []
    judged = [search.judged((move,)) for move in search.singles(layout)]
    singles = _best_each([one for one in judged if one], search)
    found = singles
    if not any(one.over == 0 for one in singles):
        found = singles + _pairs(search, [one for one in judged if one])
    return sorted((one for one in found if one.worst_cm < search.worst), key=_rank)


def _best_each(judged: list[Suggestion], search: _Search) -> list[Suggestion]:
    """For each set of places that it is about what helps most for its height, and what helps most
    birds, which may be the same."""
    best: dict[tuple, dict[int, Suggestion]] = {}
    for one in judged:
        if one.worst_cm < search.worst:
            key = tuple(sorted((move.place.name, move.new_step) for move in one.moves))
            least = best.setdefault(key, {})
            if one.helped not in least or _order(one) < _order(least[one.helped]):
                least[one.helped] = one
    found = []
    for least in best.values():
        cheapest, most = min(least.values(), key=_rank), least[max(least)]
        found += [cheapest] if cheapest is most else [cheapest, most]
    return found


def _pairs(search: _Search, singles: list[Suggestion]) -> list[Suggestion]:
    """A second change beside each of the most promising ones."""
    promising = sorted(singles, key=lambda one: (one.over, one.total_cm, _change(one)))
    found = []
    for first in promising[:TRIED_FURTHER]:
        (move,) = first.moves
        for second in search.singles(first.after, step=not move.new_step):
            if second.place.name in (move.place.name, NEW_STEP):
                continue
            place = next(p for p in search.layout.stands if p.name == second.place.name)
            both = search.judged((move, Move(place, second.height_cm, second.new_step)))
            if both and both.helped > first.helped:
                found.append(both)
    return _best_each(found, search)


def _change(one: Suggestion) -> float:
    return sum(abs(move.change_cm) for move in one.moves)


def _order(one: Suggestion) -> tuple:
    """Once somebody is helped, the least change counts; until then the drop that is left.

    Of several that leave the same, the one after which all landings together are lowest.
    """
    steps = any(move.new_step for move in one.moves)
    left = one.worst_cm if steps or not one.helped else 0.0
    return one.over, left, _change(one), one.worst_cm, one.total_cm


def _rank(one: Suggestion) -> tuple:
    # What helps nobody under the limit can still be the way to begin: by the drop it leaves.
    by = -round(one.helped / one.work_cm, 9) if one.helped else one.worst_cm
    steps = sum(move.new_step for move in one.moves)
    names = tuple(move.place.name for move in one.moves)
    return not one.helped, by, one.work_cm, len(one.moves), steps, one.total_cm, names
