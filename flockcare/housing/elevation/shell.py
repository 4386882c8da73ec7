"""What stands round the birds: walls, roof, door, floor with its bedding, the ground outside."""

from __future__ import annotations

import math

from flockcare.drawing.markup import Markup, element, number
from flockcare.housing.elevation.boxes import Box
from flockcare.housing.elevation.frame import OVERHANG_CM, ROOFS, Frame, floors
from flockcare.housing.elevation.pieces import line, path, rect, shape
from flockcare.housing.layout import NO_BEDDING, Place, bedding_of

POP_DOOR_CM, DOOR_CM = 35, 185
WIRE_CM = 120  # Height of the fence of the run.
HEN_CM = 40  # Standing height of a hen of 2 kg: common practice, no published source.


def shell(frame: Frame) -> list[Markup]:
    bedding = [each for ground, box in beds(frame) for each in _layer(bedding_of(ground), box)]
    return [*_ground(frame), *_run(frame), *_house(frame), *bedding]


def _house(frame: Frame) -> list[Markup]:
    plan = frame.plan
    left, right, floor = frame.x(0), frame.x(plan.length_cm), frame.floor
    eaves = frame.y(plan.raised_cm + plan.wall_cm)
    thick = frame.thick
    opening = frame.y(plan.raised_cm + min(POP_DOOR_CM, plan.wall_cm - 5))
    drawn = [rect("inside", left, eaves, right - left, floor - eaves), _roof(frame, eaves)]
    for x, is_open in ((left - thick, plan.run_left), (right, not plan.run_left)):
        low = opening if is_open else floor
        drawn.append(rect("wall", x, eaves, thick, low - eaves))
        if is_open:
            out = x - 5 if plan.run_left else x + thick + 2
            drawn.append(rect("door", out, opening - (floor - opening) * 0.9, 3, floor - opening))
    if plan.raised_cm:
        drawn += [rect("leg", x, floor, 5, frame.ground - floor) for x in (left + 4, right - 9)]
    slab = 4.0 if plan.raised_cm else 3.0
    drawn.append(rect("floor", left - thick, floor, right - left + 2 * thick, slab))
    return drawn


def _roof(frame: Frame, eaves: float) -> Markup:
    plan = frame.plan
    _, kind, _ = ROOFS[plan.layout.shape]
    low, high = frame.x(-OVERHANG_CM), frame.x(plan.length_cm + OVERHANG_CM)
    rise, thick = plan.rise_cm * frame.scale, 5
    if kind == "gable":
        middle = (low + high) / 2
        return shape(
            "roof",
            *((low, eaves), (middle, eaves - rise), (high, eaves)),
            *((high, eaves - thick), (middle, eaves - rise - thick), (low, eaves - thick)),
        )
    return shape(
        "roof",
        *((low, eaves - rise), (high, eaves)),
        *((high, eaves - thick), (low, eaves - rise - thick)),
    )


def _ground(frame: Frame) -> list[Markup]:
    y = frame.ground + (3 if frame.plan.raised_cm else 0)
    return [line("ground", frame.x(frame.low) - 3, y, frame.x(frame.high) + 3, y)]


def _run(frame: Frame) -> list[Markup]:
    """Posts and wire of the run, open at its end."""
    plan = frame.plan
    if plan.run_cm < 60:
        return []
    inner = -OVERHANG_CM if plan.run_left else plan.length_cm + OVERHANG_CM
    outer = frame.low if plan.run_left else frame.high
    high = min(WIRE_CM, (plan.raised_cm + plan.wall_cm) * 0.8)
    left, right = sorted((frame.x(inner), frame.x(outer)))
    top, bottom = frame.y(high), frame.ground
    step = 8.0
    wire = "".join(
        f"M{number(left + n * step)} {number(top)}V{number(bottom)}"
        for n in range(1, int((right - left) / step))
    ) + "".join(
        f"M{number(left)} {number(top + n * step)}H{number(right)}"
        for n in range(1, int((bottom - top) / step))
    )
    return [
        path("wire", wire),
        line("rail", left, top, right, top),
        *(line("post", x, top, x, bottom) for x in (left, right)),
    ]


def beds(frame: Frame) -> list[tuple[Place, Box]]:
    """What lies on the ground inside and outside, as deep as it is."""
    plan = frame.plan
    inside, outside = floors(plan.layout)
    spans = []
    if inside:
        spans.append((inside[0], 0, plan.length_cm, frame.floor))
    if outside and plan.run_cm:
        ends = (-plan.run_cm, -3) if plan.run_left else (plan.length_cm + 3, frame.high)
        spans.append((outside[0], *ends, frame.ground + (3 if plan.raised_cm else 0)))
    return [
        (ground, Box(frame.x(low), y - _deep(frame, ground), frame.x(high), y))
        for ground, low, high, y in spans
        if bedding_of(ground)
    ]


def _deep(frame: Frame, ground: Place) -> float:
    if bedding_of(ground) == NO_BEDDING:
        return 2.0
    return max((ground.bedding_depth_cm or 2.5) * frame.scale, 3)


def _layer(lies: str, box: Box) -> list[Markup]:
    """Straw and chip as strokes, stones as dots."""
    wide, deep = box.right - box.left, box.bottom - box.top
    if lies == NO_BEDDING:
        return [rect("bedding bare", box.left, box.top, wide, deep)]
    strokes = []
    for number_ in range(int(wide / 6)):
        # Strewn, but the same each time: multiples of the golden angle.
        turn = number_ * 2.39996
        x, y = box.left + 3 + number_ * 6, box.bottom - deep * (0.25 + 0.5 * math.sin(turn) ** 2)
        dx, dy = 3 * math.cos(turn), 1.2 * math.sin(turn)
        strokes.append(f"M{number(x - dx)} {number(y - dy)}L{number(x + dx)} {number(y + dy)}")
    stony = "stone" in lies or lies == "gravel"
    return [
        rect("bedding stony" if stony else "bedding", box.left, box.top, wide, deep),
        path("strewn", "".join(strokes)),
    ]


# A hen that stands and looks to the left, 100 high and 96 wide, her toes at (50, 100).
_BODY = (
    "M14 27 24 22C25 13 32 8 39 10 46 12 48 19 48 28 49 38 56 43 66 43 76 43 83 36 90 22"
    " 96 30 97 42 92 54 87 68 76 77 60 78 44 79 33 70 30 57 28 47 30 39 29 33L22 30Z"
)
_COMB = "M26 13 27 5 32 9 36 2 40 8 45 6 44 14"
_WATTLE = "M23 31C21 36 24 39 27 36"
_WING = "M46 50C54 62 70 62 80 50"
_LEGS = "M50 77V97M40 97H56M50 97 44 99M62 76V97M53 97H68M62 97 56 99"


def hen(frame: Frame, x: float, y: float, kg: float) -> Markup:
    """A hen of this weight, to scale: all three of her measures grow with her weight."""
    size = frame.scale * hen_cm(kg) / 100
    move = f"translate({number(x - 50 * size)} {number(y - 98 * size)}) scale({size:.3f})"
    outline = [path("body", _BODY), path("comb", _COMB), path("comb", _WATTLE)]
    return element(
        "g",
        {"class": "hen", "transform": move, "aria-hidden": "true"},
        *outline,
        path("inked", _WING),
        path("inked", _LEGS),
        element("circle", {"class": "eye", "cx": 35.0, "cy": 19.0, "r": 2.2}),
    )


def hen_cm(kg: float) -> float:
    return HEN_CM * (kg / 2) ** (1 / 3)
