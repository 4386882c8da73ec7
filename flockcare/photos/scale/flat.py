"""The card's part of a photo laid flat: its corners and how blurred it is."""

from dataclasses import dataclass

import cv2
import numpy as np

from .. import cards
from .finding import detect, resized, resizing, sharpened
from .fitting import project, stretch, window_middle

FINEST_PIXELS_PER_MM = 14.0  # more detail than this adds nothing to the corners
BORDER_MM = 2.0
SMEAR_MM = 0.4


@dataclass(frozen=True)
class FlatCard:
    """The card's part of the picture, turned and stretched to face us.

    picture uint8; scale pixels per mm of it; to_photo homography from its pixels to the photo's;
    native_scale pixels per mm in the photo, in the middle of the window.
    """

    picture: np.ndarray
    scale: float
    to_photo: np.ndarray
    native_scale: float

    def cut(self, x, y, width, height, margin=0.0):
        """Part of the picture given in card mm."""
        start = np.array([x - margin, y - margin]) + BORDER_MM
        stop = np.array([x + width + margin, y + height + margin]) + BORDER_MM
        (left, top), (right, bottom) = (
            np.rint(np.clip(v, 0, None) * self.scale) for v in (start, stop)
        )
        return self.picture[int(top) : int(bottom), int(left) : int(right)]

    def place(self, mm):
        """Card mm as pixels of this picture."""
        return (np.asarray(mm) + BORDER_MM) * self.scale - 0.5


def flatten(grey, homography):
    """The FlatCard of a picture in which a rough homography mm → pixels is known."""
    native = np.sqrt(abs(np.linalg.det(stretch(homography, window_middle()))))
    far = np.array([cards.WIDTH, cards.HEIGHT]) + BORDER_MM
    near = np.array([-BORDER_MM, -BORDER_MM])
    outer = project(homography, [near, (far[0], near[1]), far, (near[0], far[1])])
    height, width = grey.shape
    left, top = np.clip(np.floor(outer.min(axis=0)) - 2, 0, (width - 1, height - 1)).astype(int)
    right, bottom = np.clip(np.ceil(outer.max(axis=0)) + 3, 1, (width, height)).astype(int)
    factor = min(1.0, FINEST_PIXELS_PER_MM / native)
    part = resized(grey[top:bottom, left:right], factor)
    scale = float(np.clip(native, 8.0, FINEST_PIXELS_PER_MM))
    from_flat = np.array(
        [
            (1 / scale, 0, 0.5 / scale - BORDER_MM),
            (0, 1 / scale, 0.5 / scale - BORDER_MM),
            (0, 0, 1),
        ]
    )
    to_photo = homography @ from_flat
    shift = np.array([(1.0, 0, left), (0, 1.0, top), (0, 0, 1)])
    to_part = np.linalg.inv(shift @ resizing(factor)) @ to_photo
    size = tuple(
        int(np.ceil((side + 2 * BORDER_MM) * scale)) for side in (cards.WIDTH, cards.HEIGHT)
    )
    picture = cv2.warpPerspective(part, to_part, size, flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP)
    return FlatCard(picture, scale, to_photo, native)


def find_corners(flat):
    """Corners of the markers: card (n, 2) mm and photo (n, 2) pixels."""
    # Sharpening brings back markers that are lost to a blur of about this width.
    clearer = sharpened(flat.picture, SMEAR_MM * flat.scale)
    near = {
        n: c
        for n, c in [*detect(clearer), *detect(flat.picture)]
        if np.abs(flat.place(cards.marker_outline(n)) - c).max() < 4 * flat.scale
    }
    if not near:
        return np.empty((0, 2)), np.empty((0, 2))
    mm = np.concatenate([cards.marker_outline(n) for n in near])
    corners = np.concatenate(list(near.values())).astype(np.float32)
    cell = cards.MARKER_SIDE / cards.MARKER_CELLS
    reach = max(3, round(0.8 * cell * flat.scale))
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 40, 0.005)
    corners = cv2.cornerSubPix(
        flat.picture, corners.reshape(-1, 1, 2), (reach, reach), (-1, -1), stop
    )
    return mm, project(flat.to_photo, corners)


def blur_mm(flat):
    """Standard deviation of the smear in mm, from how steep the markers' sides are."""
    cell = cards.MARKER_SIDE / cards.MARKER_CELLS
    across = np.arange(-0.75 * cell, 1.21 * cell, 0.1)
    along = np.arange(1.5 * cell, 4.6 * cell, 0.4)
    contrast = np.ptp(np.percentile(flat.picture, (5, 95)))
    widths = {0: [], 1: []}
    for number in range(len(cards.MARKERS)):
        corners = cards.marker_outline(number)
        for side in range(4):
            start, stop = corners[side], corners[(side + 1) % 4]
            unit = (stop - start) / cards.MARKER_SIDE
            outward = np.array([unit[1], -unit[0]])
            grid = start + along[:, None, None] * unit + across[None, :, None] * outward
            x, y = np.moveaxis(flat.place(grid).astype(np.float32), -1, 0)
            profile = cv2.remap(flat.picture, x, y, cv2.INTER_LINEAR).astype(float).mean(axis=0)
            rise, steepest = np.ptp(profile), np.gradient(profile, 0.1).max()
            if steepest > 0 and rise > 0.3 * contrast:
                widths[side % 2].append(rise / (steepest * np.sqrt(2 * np.pi)))
    return float(max(np.median(w) if w else np.inf for w in widths.values()))
