"""The printed card laid over the foot, and what a phone's camera adds."""

from functools import lru_cache

import cv2
import numpy as np
from PIL import Image

from flockcare.demo.paint.camera import View
from flockcare.demo.paint.texture import blur, mix, shifted
from flockcare.photos import cards

CARD_DPI = 300
PAPER = (250, 246, 238)


def lay_card(picture, view: View, code: str, middle, random: np.random.Generator) -> None:
    """Lay the card of that code on the plane, its window about the point `middle` (mm)."""
    printed = _printed(code)
    left, top, width, height = cards.WINDOW
    per_mm = CARD_DPI / cards.MM_PER_INCH
    card = np.ones_like(printed)
    across = slice(round(left * per_mm), round((left + width) * per_mm))
    card[round(top * per_mm) : round((top + height) * per_mm), across] = 0

    turn = np.radians(random.uniform(-7, 7))
    rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    window = np.array([left + width / 2, top + height / 2]) + random.uniform(-2, 2, 2)
    to_plane = np.eye(3)
    to_plane[:2, :2] = rotation / per_mm
    to_plane[:2, 2] = np.asarray(middle) + rotation @ (0.5 / per_mm - window)
    corners = np.array([(-0.05, -0.05), (1.05, -0.05), (1.05, 1.05), (-0.05, 1.05)])
    corners = cv2.perspectiveTransform(
        (corners * printed.shape[::-1]).reshape(-1, 1, 2), to_plane
    ).reshape(-1, 2)
    part = view.box(corners)
    start = np.array([[1, 0, -part[1].start], [0, 1, -part[0].start], [0, 0, 1]])
    to_part = start @ view.to_px @ to_plane
    size = part[1].stop - part[1].start, part[0].stop - part[0].start

    covered = cv2.warpPerspective(card, to_part, size)
    ink = cv2.warpPerspective(printed, to_part, size, borderMode=cv2.BORDER_REPLICATE)
    shadow = shifted(blur(covered, 1.1 * view.scale), 0.9 * view.scale)
    below = picture[part] * (1 - 0.38 * shadow)[..., None]
    picture[part] = mix(below, ink[..., None] * np.float32(PAPER) * 0.95 + 6, covered)


@lru_cache(4)
def _printed(code: str):
    """A foot is photographed with the same card again and again."""
    return np.asarray(cards.render_card(code, CARD_DPI), np.float32) / 255


def exposed(picture, view: View, random: np.random.Generator) -> Image.Image:
    """Uneven light, a warm or cool cast, a soft lens, noise."""
    width, height = view.size
    column = np.linspace(-1, 1, width, dtype=np.float32)[None, :]
    row = np.linspace(-1, 1, height, dtype=np.float32)[:, None]
    slope = random.uniform(-0.09, 0.09, 2).astype(np.float32)
    light = (1 + slope[0] * column + slope[1] * row) * (1 - 0.10 * (column**2 + row**2))
    cast = 1 + random.uniform(-0.025, 0.025) * np.float32((1, 0, -1))
    gain = np.float32(random.uniform(0.97, 1.05))
    picture = cv2.GaussianBlur(picture, (0, 0), random.uniform(0.6, 0.9))
    picture *= (light * gain)[..., None]
    picture *= cast
    grain = random.standard_normal((height // 2, width // 2, 3), dtype=np.float32)
    picture += cv2.resize(1.6 * grain, (width, height))
    picture += 2.0 * random.standard_normal((height, width, 1), dtype=np.float32)
    np.clip(picture, 0, 255, out=picture)
    return Image.fromarray(picture.astype(np.uint8))
