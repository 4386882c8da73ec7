"""Each thing that birds stand on, as it looks in section."""

from __future__ import annotations

import math

from flockcare.drawing.markup import Markup, element
from flockcare.housing.elevation.boxes import Box
from flockcare.housing.elevation.frame import GAP_CM, Frame
from flockcare.housing.elevation.pieces import line, path, rect, shape
from flockcare.housing.layout import (
    BOARD,
    BOARD_CM,
    GROUND,
    NEST_CM,
    NEST_FRONT,
    OTHER,
    RAMP,
    ROOST,
    STEP,
    STEP_CM,
    Place,
)
from flockcare.housing.routes import STEP_UP_CM, Leg, is_walked

SHELF_CM = 30  # Along the house, where it is not measured.
THICK_MM = 50
ROUND = {"round"}
ROUND_MATERIALS = {"branch", "metal pipe", "plastic pipe"}


def is_round(place: Place) -> bool:
    return place.edge in ROUND or (not place.edge and place.material in ROUND_MATERIALS)


def thing(frame: Frame, place: Place) -> tuple[list[Markup], Box]:
    """Its shape, and the box that it takes up."""
    x, y = frame.spot(place)
    draw = _DRAWN.get(place.kind, _bar)
    return draw(frame, place, x, y)


def _bar(frame: Frame, place: Place, x: float, y: float) -> tuple[list[Markup], Box]:
    """A bar in section, round or square, on the post that holds it."""
    size = max((place.width_mm or THICK_MM) / 10 * frame.scale, 7)
    thick = size if is_round(place) else min(size, max(5 * frame.scale, 6))
    base = frame.y(frame.plan.base_cm(place))
    held = line("held", x, y + thick, x, base)
    if is_round(place):
        bar = element("circle", {"class": "bar", "cx": x, "cy": y + size / 2, "r": size / 2})
    else:
        corner = None if place.edge in ("square", "sharp") else min(size, thick) * 0.3
        bar = rect("bar", x - size / 2, y, size, thick, rx=corner)
    return [held, bar], Box(x - size / 2, y, x + size / 2, y + thick)


def _shelf(frame: Frame, place: Place, x: float, y: float) -> tuple[list[Markup], Box]:
    """A board that lies level, on brackets."""
    wide = (place.breadth_cm or (BOARD_CM if place.kind == BOARD else SHELF_CM)) * frame.scale
    left, right = x - wide / 2, x + wide / 2
    drawn = [
        path(
            "bracket",
            f"M{left + wide * 0.15:.1f} {y + 3:.1f}v9M{right - wide * 0.15:.1f} {y + 3:.1f}v9",
        ),
        rect("bar board", left, y, wide, 4),
    ]
    if place.kind == BOARD:
        drawn.append(rect("droppings", left + 2, y - 2, max(wide - 4, 1), 2, rx=1))
    return drawn, Box(left, y - 2, right, y + 5)


def _step(frame: Frame, place: Place, x: float, y: float) -> tuple[list[Markup], Box]:
    """A block that stands on the floor."""
    wide = (place.breadth_cm or STEP_CM) * frame.scale
    base = frame.y(frame.plan.base_cm(place))
    block = rect("block", x - wide / 2, y, wide, base - y)
    top = rect("bar step", x - wide / 2, y, wide, 3)
    return [block, top], Box(x - wide / 2, y, x + wide / 2, base)


def _nest(frame: Frame, place: Place, x: float, y: float) -> tuple[list[Markup], Box]:
    """The box behind its front, towards the nearer wall."""
    deep = high = NEST_CM * frame.scale
    behind = -1 if frame.plan.at[place.name] <= frame.plan.length_cm / 2 else 1
    back, top, lip = x + behind * deep, y - high, max(3, 8 * frame.scale)
    outline = shape("nest", (x, top), (back, top - deep * 0.3), (back, y + 3), (x, y + 3))
    straw = rect("nest-straw", min(x, back) + 1, y - lip * 0.7, deep - 2, lip * 0.7 + 2)
    front = rect("bar front", x - 2, y - lip, 4, lip + 4)
    base = frame.y(frame.plan.base_cm(place))
    held = line("held", back - behind * 3, y + 3, back - behind * 3, base)
    left, right = sorted((x + 2 * -behind, back))
    return [held, outline, straw, front], Box(left, top - deep * 0.3, right, y + 4)


def _ramp(frame: Frame, place: Place, _x: float, y: float) -> tuple[list[Markup], Box]:
    """A sloping board with its cleats."""
    head, foot = (frame.x(at) for at in frame.plan.ends(place))
    base = frame.y(frame.plan.base_cm(place))
    drawn = [line("plank" if is_walked(place) else "plank steep", head, y, foot, base)]
    rungs = max(2, min(14, int(math.hypot(foot - head, base - y) / 9)))
    turn = math.atan2(base - y, foot - head)
    dx, dy = 3 * math.sin(turn), -3 * math.cos(turn)
    if foot < head:
        dx, dy = -dx, -dy
    for n in range(1, rungs):
        x1, y1 = head + (foot - head) * n / rungs, y + (base - y) * n / rungs
        drawn.append(line("cleat", x1, y1, x1 + dx, y1 + dy))
    return drawn, Box(min(head, foot), y - 3, max(head, foot), base)


_DRAWN = {
    ROOST: _bar,
    BOARD: _shelf,
    OTHER: _shelf,
    STEP: _step,
    NEST_FRONT: _nest,
    RAMP: _ramp,
    **dict.fromkeys(GROUND, _step),
}


# Landings


def landing(frame: Frame, leg: Leg) -> tuple[tuple[float, float], tuple[float, float]]:
    """Where she takes off, at the edge, and where she lands, in user units."""
    (x, y), lands = frame.spot(leg.start), _lands(frame, leg)
    half = 0.0 if leg.over else leg.start.half_cm * frame.scale
    return (x + (half if lands[0] > x else -half), y), lands


def _lands(frame: Frame, leg: Leg) -> tuple[float, float]:
    plan, (start, _) = frame.plan, frame.spot(leg.start)
    if leg.to is None:
        return _floor_at(frame, leg), frame.y(plan.base_cm(leg.start))
    x, y = frame.spot(leg.to)
    if leg.to.kind == RAMP and is_walked(leg.to):
        head, foot = plan.ends(leg.to)
        low = max(0.0, leg.to.height_cm - leg.start.height_cm)
        share = 1 - low / leg.to.height_cm if low > STEP_UP_CM else 1.0
        x = frame.x(foot + (head - foot) * share)
        y = frame.y(plan.base_cm(leg.to) + leg.to.height_cm * share)
    elif leg.over:
        x = start
    elif half := leg.to.half_cm * frame.scale:
        x += -half if start < x else half
    if leg.start.along_cm is not None:
        return x, y
    # By its run, which may end before the next place where several stand on one level.
    run = GAP_CM if leg.run_cm is None else leg.run_cm
    return min(start + run * frame.scale, frame.x(frame.high)), y


def _floor_at(frame: Frame, leg: Leg) -> float:
    """As far out as is recorded, towards the side with more room, but not through a wall."""
    plan = frame.plan
    at = plan.ends(leg.start)[0] if leg.start.kind == RAMP else plan.at[leg.start.name]
    run = (GAP_CM if leg.run_cm is None else leg.run_cm) + leg.start.half_cm
    if plan.outside(leg.start):
        away = -1 if at < 0 else 1
        return frame.x(min(max(at + away * run, frame.low), frame.high))
    towards = 1 if plan.length_cm - at >= at - 1 or leg.start.along_cm is None else -1
    return frame.x(min(max(at + towards * run, 4), max(plan.length_cm - 4, at)))


def arc(frame: Frame, leg: Leg, *, worst: bool) -> Markup:
    """The curve of a level take-off: it falls with the square of the way, as the Bézier does."""
    (x, y), (to_x, to_y) = landing(frame, leg)
    kind = "arc worst" if worst else "arc"
    if leg.run_cm is None:
        kind += " unknown"
    middle = (x + to_x) / 2
    d = f"M{x:.1f} {y:.1f}Q{middle:.1f} {y:.1f} {to_x:.1f} {to_y:.1f}"
    return element(
        "g",
        {"aria-hidden": "true"},
        path(kind, d),
        element(
            "circle",
            {
                "class": "lands worst" if worst else "lands",
                "cx": to_x,
                "cy": to_y,
                "r": 3.2 if worst else 2.2,
            },
        ),
    )


def along_arc(frame: Frame, leg: Leg, share: float) -> tuple[float, float]:
    (x, y), (to_x, to_y) = landing(frame, leg)
    return x + (to_x - x) * share, y + (to_y - y) * share**2
