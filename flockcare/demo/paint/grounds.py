"""What lies behind the foot: straw, a cloth over the knee, a gloved hand, a plank."""

import math

import cv2
import numpy as np

from flockcare.demo.paint.camera import View
from flockcare.demo.paint.texture import fog, mix

CLOTHS = ((132, 146, 158), (150, 118, 100), (118, 134, 112), (176, 166, 150))
GLOVES = ((96, 132, 160), (70, 74, 82), (196, 176, 142))


def straw(random: np.random.Generator, view: View):
    width, height = view.size
    tone = fog(random, (height, width), 260)
    ground = np.array((126, 100, 68), np.float32) * (1 + 0.2 * tone[..., None])
    ground = np.ascontiguousarray(ground)
    for layer, (bright, sharp) in enumerate(((0.66, 4.0), (0.76, 2.6), (0.86, 1.5), (0.94, 0.9))):
        _scatter(ground, random, view, 75 + 17 * layer, bright)
        ground = cv2.GaussianBlur(ground, (0, 0), sharp)
    return ground


def _scatter(ground, random, view, per_dm2: int, bright: float) -> None:
    low, high = view.bounds()
    count = round(per_dm2 * np.prod(high - low) / 1e4)
    start = random.uniform(low - 12, high + 12, (count, 1, 2))
    heading = random.uniform(0, 2 * np.pi, (count, 1))
    steps = np.linspace(0, 1, 8) * random.uniform(12, 70, (count, 1))
    heading = heading + random.normal(0, 0.05, (count, 1)) * steps / 9
    along = np.stack([np.cos(heading), np.sin(heading)], -1) * steps[..., None]
    points = view.project((start + along).reshape(-1, 2)).reshape(count, 8, 2)
    thick = random.uniform(0.5, 1.8, count) * view.scale
    colours = np.array((232, 198, 140)) + np.array((8, 2, -12)) * random.uniform(-1, 1, (count, 1))
    colours *= bright * random.uniform(0.82, 1.1, (count, 1))
    strokes = []  # shadow, stalk, its lit side
    for shift, part, shade in ((0.35, 1.1, 0.62), (0, 1.0, 0.92), (-0.12, 0.7, 1.0)):
        moved = np.rint((points + shift * thick[:, None, None]) * 16).astype(np.int32)
        widths = np.maximum(1, np.rint(thick * part)).astype(int).tolist()
        strokes.append(list(zip(moved, (colours * shade).tolist(), widths, strict=True)))
    for stalk in zip(*strokes, strict=True):
        for line, colour, width in stalk:
            cv2.polylines(ground, [line], False, colour, width, cv2.LINE_AA, 4)


def cloth(random: np.random.Generator, view: View):
    x, y = _whole(view)
    shape = x.shape
    colour = np.array(CLOTHS[random.integers(len(CLOTHS))], np.float32)
    wander = fog(random, shape, 300, 2) * 1.5
    weave = np.sin((x + wander) * 7.4) * np.sin((y - wander) * 7.4)
    loops = fog(random, shape, 7, 2)
    shade = 1 + 0.05 * weave + 0.06 * loops + 0.13 * _slope(fog(random, shape, 520, 2), 60)
    return colour * shade[..., None]


def glove(random: np.random.Generator, view: View):
    x, y = _whole(view)
    shape = x.shape
    colour = np.array(GLOVES[random.integers(len(GLOVES))], np.float32)
    palm = fog(random, shape, 700, 1) * 1.6 - (x**2 + y**2) / 9000
    wrinkles = fog(random, shape, 90, 2) * np.clip(fog(random, shape, 400, 1) + 0.3, 0, 1)
    shade = 0.94 + 0.20 * _slope(palm, 60) + 0.09 * _slope(wrinkles, 12)
    return colour * (shade + 0.012 * fog(random, shape, 4, 1))[..., None]


def plank(random: np.random.Generator, view: View):
    x, y = _whole(view)
    shape = x.shape
    turn = random.uniform(-0.3, 0.3)
    across = y * math.cos(turn) + x * math.sin(turn)
    wander = fog(random, shape, 420, 2)
    lines = cv2.resize(random.standard_normal((260, 12), dtype=np.float32), shape[::-1])
    rings = 0.5 + 0.5 * np.sin(across * 1.1 + wander * 5)
    wood = mix(np.full((*shape, 3), (156, 130, 102), np.float32), (128, 104, 78), rings * 0.6)
    gap = np.exp(-(((across + 26) % 62 - 31) ** 2) / 0.35)
    return wood * (1 + 0.05 * lines + 0.05 * fog(random, shape, 60) - 0.6 * gap)[..., None]


def _whole(view: View):
    width, height = view.size
    return view.plane((slice(0, height), slice(0, width)))


def _slope(field, reach: float):
    """Light from the upper left on a field taken as height."""
    across = cv2.Sobel(field, cv2.CV_32F, 1, 0, ksize=3)
    down = cv2.Sobel(field, cv2.CV_32F, 0, 1, ksize=3)
    return np.clip(-(across * 0.6 + down * 0.8) * reach / 8, -1.5, 1.5)


GROUNDS = {"straw": straw, "cloth": cloth, "glove": glove, "plank": plank}
