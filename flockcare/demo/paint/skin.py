"""The foot as a relief in the plane, its colour, and the light on it."""

import math
from dataclasses import dataclass

import cv2
import numpy as np

from flockcare.demo.paint.anatomy import Bump, Shape
from flockcare.demo.paint.camera import View
from flockcare.demo.paint.pose import Pose
from flockcare.demo.paint.texture import blur, fog, lay, mix, pebbles, shifted


@dataclass(frozen=True)
class Colours:
    toes: tuple[int, int, int]
    pads: tuple[int, int, int]
    claws: tuple[int, int, int]


LEGS = {
    "yellow": Colours((224, 172, 84), (232, 190, 122), (206, 182, 140)),
    "slate": Colours((122, 120, 116), (178, 164, 148), (92, 86, 82)),
    "white": Colours((228, 200, 178), (232, 196, 174), (226, 208, 186)),
    "willow": Colours((162, 148, 104), (204, 184, 140), (118, 108, 84)),
}
DIRT = (104, 82, 58)
WARM = np.float32((0.22, 0.0, -0.12))  # light that has been under the skin comes out red
TOWARD = np.float32((-0.421, -0.521, 0.742))  # of length 1
HALFWAY = (TOWARD + np.float32((0, 0, 1))) / np.linalg.norm(TOWARD + np.float32((0, 0, 1)))


class Skin:
    """Fields over that piece of the picture (`part`) which the foot needs, changed until it is lit.

    relief  height in mm        edge    mm inside (+) or outside (−) the foot's outline
    colour  RGB, 0 … 255        grain   how strongly the skin's grains stand out, 0 … 1
    gloss   0 … 1               x, y    in the plane, mm
    """

    def __init__(self, view: View, pose: Pose, shape: Shape, colours: Colours, random):
        self.view, self.pose = view, pose
        ends = pose.to_plane([(bump.x, bump.y) for bump in shape.skin + shape.claws])
        self.part = view.box(np.vstack([ends - 14, ends + 14]))
        self.x, self.y = view.plane(self.part)
        self.u, self.v = pose.to_foot(self.x, self.y)
        self.relief, self.edge = self._raise(shape.skin, blend=1.3)
        self.relief = blur(np.clip(self.relief, 0, None), 0.25 * view.scale)
        self.claw_relief, self.claw_edge = self._raise(shape.claws, blend=0.1)
        self.claw_colour = np.float32(colours.claws)
        bearing = self._weight(shape.pads)
        self.grain = 0.35 + 0.65 * bearing
        self.gloss = np.full_like(self.relief, 0.25)
        slide = random.uniform(0, 21, 2).tolist()
        self.grains = lay(pebbles(), self.u + slide[0], self.v + slide[1], 21.0)
        self._colour(colours, bearing, random)

    def around(self, points_mm) -> tuple[slice, slice]:
        """Rows and columns of these fields that hold all these points of the plane."""
        return tuple(
            slice(max(0, asked.start - own.start), max(0, min(asked.stop, own.stop) - own.start))
            for asked, own in zip(self.view.box(points_mm), self.part, strict=True)
        )

    def _colour(self, colours: Colours, bearing, random) -> None:
        shape, scale = self.relief.shape, self.view.scale
        bare = np.full((*shape, 3), colours.toes, np.float32)
        self.colour = mix(bare, colours.pads, bearing * 0.9)
        flush = fog(random, shape, 16 * scale)[..., None] * np.float32((0.03, 0.05, 0.08))
        flush += 1
        self.colour *= flush
        stain = np.clip(fog(random, shape, 11 * scale) + 0.25, 0, 1)
        in_grooves = (1 - self.grains) ** 2 * (0.14 + 0.45 * stain) * self.grain + 0.10 * stain
        self.colour = mix(self.colour, DIRT, in_grooves)

    def _raise(self, bumps: list[Bump], blend: float):
        relief = np.full_like(self.u, -4.0)
        edge = np.full_like(self.u, -30.0)
        for bump in bumps:
            part = self._near(bump, 1.6)
            share = self._share(bump, part)
            dome = 1 - share * share
            dome = bump.height * np.where(dome > 0, np.sqrt(np.abs(dome)), dome)
            inside = (1 - share) * min(bump.long, bump.short)
            relief[part] = _smooth_max(relief[part], dome, blend)
            edge[part] = _smooth_max(edge[part], inside, blend)
        return relief * self.pose.size, edge * self.pose.size

    def _weight(self, pads: list[Bump]):
        weight = np.zeros_like(self.u)
        for pad in pads:
            part = self._near(pad, 1.2)
            share = np.clip(1.25 * (1 - self._share(pad, part) ** 2), 0, 1)
            weight[part] = np.maximum(weight[part], share)
        return blur(weight, 0.5 * self.view.scale)

    def _near(self, bump: Bump, reach: float) -> tuple[slice, slice]:
        half = max(bump.long, bump.short) * reach
        corners = [(bump.x + i * half, bump.y + j * half) for i in (-1, 1) for j in (-1, 1)]
        return self.around(self.pose.to_plane(corners))

    def _share(self, bump: Bump, part):
        """Distance from the middle of a bump as a share of the way to its edge."""
        across, down = self.u[part] - bump.x, self.v[part] - bump.y
        cos, sin = math.cos(bump.angle), math.sin(bump.angle)
        return np.hypot(
            (across * cos + down * sin) / bump.long, (down * cos - across * sin) / bump.short
        )

    def over(self, ground) -> None:
        """Put the lit foot and its shadow on a ground, in place."""
        scale = self.view.scale
        foot = np.clip(self.edge * scale * 0.8 + 0.5, 0, 1)
        whole = np.maximum(np.clip(self.claw_edge * scale + 0.5, 0, 1), foot)
        light = np.ones_like(whole)
        for reach, strength in ((1.6, 0.45), (5.0, 0.38)):
            fallen = shifted(blur(whole, reach * scale), reach * scale * 0.7)
            light *= 1 - strength * fallen
        relief = self.relief + 0.16 * self.grains * self.grain
        relief = np.where(self.edge > 0, relief, np.clip(self.claw_relief, 0, None))
        lit = _lit(mix(self.claw_colour, self.colour, foot), relief, self.gloss, scale)
        hollow = np.clip((blur(self.relief, 1.3 * scale) - self.relief) / 1.6, 0, 1)
        lit *= 1 - hollow[..., None] * np.float32((0.38, 0.50, 0.56))
        ground[self.part] = mix(ground[self.part] * light[..., None], lit, whole)


def _lit(colour, relief, gloss, scale: float):
    across = cv2.Sobel(relief, cv2.CV_32F, 1, 0, ksize=3, scale=scale / 8)
    down = cv2.Sobel(relief, cv2.CV_32F, 0, 1, ksize=3, scale=scale / 8)
    steep = across * across
    steep += down * down
    steep += 1
    np.sqrt(steep, out=steep)
    light = 0.44 + 0.72 * np.clip(_facing(across, down, TOWARD, steep) * 0.85 + 0.15, 0, 1)
    shine = np.clip(_facing(across, down, HALFWAY, steep), 0, 1)
    for _ in range(5):
        shine *= shine
    shine *= 70 * gloss
    lit = (1 - light)[..., None] * WARM
    lit += 1
    lit *= light[..., None]
    lit *= colour
    lit += shine[..., None]
    return lit


def _facing(across, down, toward, steep):
    facing = across * -toward[0]
    facing -= down * toward[1]
    facing += toward[2]
    facing /= steep
    return facing


def _smooth_max(one, other, blend: float):
    near = np.clip(blend - np.abs(one - other), 0, None)
    return np.maximum(one, other) + near * near / (4 * blend)
