"""The shape of the sole of a hen's foot: where its pads, toes and claws lie, and how high.

Drawn for the right foot seen from below, toes up: toe II, the inner one, is then on the right.
Lengths are millimetres for a hen of middling size, x to the right, y down, from the middle of the
main (metatarsal) pad. Toes II, III and IV point forward, the hallux (I) back; they have 2, 3, 4
and 1 digital pads here. Proportions: common practice, no published source.
"""

import math
from dataclasses import dataclass

import numpy as np

# toe: (root x, root y, direction in degrees from straight up, bend, length, radius, end radius)
TOES = {
    "toe_2": (7.5, -7.5, 38, -10, 35, 5.6, 3.9),
    "toe_3": (0.5, -10.0, -2, 5, 48, 6.1, 4.1),
    "toe_4": (-8.0, -6.5, -45, 12, 38, 5.4, 3.7),
    "hallux": (4.5, 10.0, 155, 14, 18, 5.2, 3.7),
}
PADS = {
    "toe_2": (0.42, 0.86),
    "toe_3": (0.30, 0.59, 0.89),
    "toe_4": (0.24, 0.46, 0.68, 0.90),
    "hallux": (0.80,),
}
PLACES = ("pad", *TOES)


@dataclass(frozen=True)
class Bump:
    """An ellipse that rises like a dome: half axes and height in mm, angle in radians."""

    x: float
    y: float
    long: float
    short: float
    angle: float
    height: float


@dataclass(frozen=True)
class Shape:
    skin: list[Bump]
    pads: list[Bump]  # those of `skin` that bear weight
    claws: list[Bump]
    places: dict[str, tuple[float, float]]


def foot_shape(random: np.random.Generator) -> Shape:
    """One hen's foot; each differs a little."""
    sway = random.uniform
    pads = [Bump(0, 0, 13.0 * sway(0.95, 1.05), 11.8 * sway(0.95, 1.05), sway(-0.3, 0.3), 7.0)]
    for x, y in ((-8.0, -5.0), (0.3, -8.0), (7.6, -5.3), (3.0, 7.5)):
        pads.append(Bump(x + sway(-0.6, 0.6), y + sway(-0.6, 0.6), 7.4, 6.6, sway(-1, 1), 6.0))
    skin, claws, places = list(pads), [], {"pad": (sway(-1.5, 1.5), sway(-1.0, 2.0))}
    for name, toe in TOES.items():
        line = _centre_line(toe, random)
        skin += [Bump(x, y, radius, radius, 0, radius * 0.66) for x, y, _, radius in line(24)]
        for share in PADS[name]:
            x, y, angle, radius = line.at(share + sway(-0.015, 0.015))
            pad = Bump(
                x, y, radius * sway(1.2, 1.4), radius * sway(1.14, 1.24), angle, radius * 1.05
            )
            pads.append(pad)
            skin.append(pad)
            places.setdefault(name, (x, y))
        claws += _claw(*line.at(1.0), sway(7, 10), sway(-0.35, 0.35))
    return Shape(skin, pads, claws, places)


class _centre_line:
    def __init__(self, toe, random):
        x, y, direction, bend, length, self.start, self.end = toe
        self.length = length * random.uniform(0.94, 1.06)
        self.x, self.y = x, y
        self.direction = np.radians(direction + random.uniform(-4, 4))
        self.bend = np.radians(bend + random.uniform(-8, 8))

    def at(self, share: float) -> tuple[float, float, float, float]:
        """x, y, angle of the long axis, radius at a share of the length."""
        steps = np.linspace(0, share, 12)
        headings = self.direction + self.bend * steps
        x = self.x + self.length * share * np.mean(np.sin(headings))
        y = self.y - self.length * share * np.mean(np.cos(headings))
        radius = self.start + (self.end - self.start) * share
        return float(x), float(y), float(headings[-1] - np.pi / 2), float(radius)

    def __call__(self, count: int):
        return [self.at(share) for share in np.linspace(0, 1, count).tolist()]


def _claw(x, y, angle, radius, length, bend) -> list[Bump]:
    bumps = []
    for share in np.linspace(0.15, 1, 22).tolist():
        heading = angle + bend * share
        reach = radius * 0.55 + length * share
        size = radius * 0.56 * (1 - 0.78 * share**1.3)
        place = x + reach * math.cos(heading), y + reach * math.sin(heading)
        bumps.append(Bump(*place, size, size, 0, size * 1.1))
    return bumps
