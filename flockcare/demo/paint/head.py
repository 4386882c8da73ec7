"""A hen's head from the side, for the face that stands for her in lists."""

import cv2
import numpy as np
from PIL import Image

from flockcare.demo.paint.texture import fog

SIDE = 480
RED, BEAK, EYE = (178, 38, 34), (206, 168, 96), (214, 128, 44)
SUB = 4  # OpenCV draws at quarters of a pixel, 2 ** -2


def paint_head(plumage: str, *, seed: int) -> Image.Image:
    """``plumage``: the colour of her feathers, ``#rrggbb``; the same arguments give the same."""
    random = np.random.default_rng(seed)
    feathers = np.array([int(plumage[at : at + 2], 16) for at in (1, 3, 5)], float)
    picture = _meadow(random)
    middle = np.array([215, 190]) + random.integers(-12, 13, 2)
    _feather(picture, feathers * 0.82, _neck(middle), random)
    comb = [(-62, -48), (-52, -104), (-26, -70), (-6, -122), (18, -76), (44, -106), (56, -52)]
    _fill(picture, middle + comb, RED)
    _feather(picture, feathers, _oval(middle, (86, 78)), random)
    _fill(picture, np.add(middle, [(60, -14), (136, 14), (62, 30)]), BEAK)
    _fill(picture, np.add(middle, [(64, 8), (136, 14), (62, 30)]), np.multiply(BEAK, 0.8))
    _fill(picture, _oval(middle, (42, 34), off=(22, 6)), np.multiply(RED, 1.15))
    _fill(picture, _oval(middle, (20, 40), off=(52, 66)), RED)
    for radius, colour in ((16, EYE), (8, (18, 14, 12))):
        _fill(picture, _oval(middle, (radius, radius), off=(22, -6)), colour)
    _fill(picture, _oval(middle, (3, 3), off=(26, -11)), (250, 250, 250))
    picture = cv2.GaussianBlur(picture, (0, 0), 1.1)
    picture += 3 * random.standard_normal((SIDE, SIDE, 1), dtype=np.float32)
    return Image.fromarray(np.clip(picture, 0, 255).astype(np.uint8))


def _meadow(random):
    tone = 1 + 0.22 * fog(random, (SIDE, SIDE), 120)[..., None]
    return np.float32((112, 138, 84)) * tone


def _neck(middle):
    x, y = middle
    return np.array(
        [(x - 74, y - 18), (x - 120, y + 140), (x - 190, SIDE), (x + 150, SIDE), (x + 66, y + 54)]
    )


def _oval(middle, half, off=(0, 0)):
    around = np.linspace(0, 2 * np.pi, 48, endpoint=False)
    return np.add(middle, off) + np.column_stack([np.cos(around), np.sin(around)]) * half


def _fill(picture, points, colour) -> None:
    points = np.rint(np.asarray(points, float) * SUB).astype(np.int32)
    cv2.fillPoly(picture, [points], [float(part) for part in colour], cv2.LINE_AA, 2)


def _feather(picture, colour, points, random) -> None:
    """Filled, and streaked downwards as feathers lie."""
    inside = np.zeros(picture.shape, np.float32)
    _fill(inside, points, (1, 1, 1))
    streaks = cv2.GaussianBlur(
        random.standard_normal((SIDE, SIDE), dtype=np.float32), (0, 0), sigmaX=1.6, sigmaY=11
    )
    shade = 1 + 0.9 * streaks[..., None] + 0.14 * fog(random, (SIDE, SIDE), 90)[..., None]
    picture += inside * (np.float32(colour) * shade - picture)
