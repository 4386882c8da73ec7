"""Find the markers of a card in a picture, coarsely."""

import cv2
import numpy as np
from PIL import Image

from .. import cards
from .fitting import project
from .refusals import TWO_CARDS, CannotMeasure

OWN_MARGIN_MM = 8.0  # round a card: what bends out of its place is still of it


def as_grey(image):
    """The picture as (height, width) uint8."""
    if image.mode in ("I", "I;16", "I;16L", "I;16B", "F"):
        values = np.asarray(image, dtype=np.float32)
        return np.clip(values * (255 / max(values.max(), 255)), 0, 255).astype(np.uint8)
    if "A" in image.mode or "transparency" in image.info:
        shown = image.convert("RGBA")
        image = Image.new("RGBA", image.size, "white")
        image.alpha_composite(shown)
    return np.asarray(image.convert("L"))


def find_card(grey):
    """Rough homography from card mm to pixels, (3, 3), or None."""
    # 1600 pixels show most cards, 3200 small ones, 800 blurred ones, and sharpening those that are
    # more blurred still. Twice its size helps a small picture, whose markers are hardly more than
    # blots; more than that helps none.
    for side, most, soften in ((1600, 1.0, 0), (3200, 2.0, 0), (800, 1.0, 0), (1600, 1.0, 2.5)):
        factor = min(most, side / max(grey.shape))
        picture = resized(grey, factor)
        markers = detect(sharpened(picture, soften) if soften else picture)
        groups = _sort_into_cards(markers)
        if not groups:
            continue
        numbers = [{number for number, _ in group} for group in groups]
        # Groups without a number in common are parts of one badly bent card.
        if any(len(numbers[0] & others) > 1 for others in numbers[1:]):
            raise CannotMeasure(TWO_CARDS)
        if len(groups[0]) < len(markers) / 2:
            return None  # the same markers put together in another way
        rough = resizing(factor) @ homography_of(groups[0])
        if _another_beside(grey, rough):
            raise CannotMeasure(TWO_CARDS)
        return rough
    return None


def _another_beside(grey, rough):
    """Whether a second card, smaller or less sharp, lies beside the one that was found."""
    factor = min(1.0, 3200 / max(grey.shape))
    rest = resized(grey, factor).copy()
    edge = np.array([(0, 0), (cards.WIDTH, 0), (cards.WIDTH, cards.HEIGHT), (0, cards.HEIGHT)])
    beyond = edge + OWN_MARGIN_MM * np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)])
    corners = project(np.linalg.inv(resizing(factor)) @ rough, beyond)
    cv2.fillConvexPoly(rest, np.rint(corners).astype(np.int32), 128)
    return bool(_sort_into_cards(detect(rest)))


def resized(grey, factor):
    """A smaller copy, each pixel the mean of those it stands for; or a larger one."""
    if factor == 1.0:
        return grey
    way = cv2.INTER_AREA if factor < 1 else cv2.INTER_CUBIC
    return cv2.resize(grey, None, fx=factor, fy=factor, interpolation=way)


def resizing(factor):
    """Homography from pixels of a resized copy to those of the whole picture."""
    shift = 0.5 / factor - 0.5
    return np.array([(1 / factor, 0, shift), (0, 1 / factor, shift), (0, 0, 1)])


def sharpened(picture, radius):
    """A copy with more contrast between what lies about ``radius`` pixels apart."""
    soft = cv2.GaussianBlur(picture, (0, 0), radius)
    return cv2.addWeighted(picture, 3.0, soft, -2.0, 0)


def detect(grey):
    """Squares that look like markers: [(number, corners (4, 2) pixels)]."""
    settings = cv2.aruco.DetectorParameters()
    settings.minMarkerPerimeterRate = 0.01
    detector = cv2.aruco.ArucoDetector(cards.marker_dictionary(), settings)
    corners, numbers, _ = detector.detectMarkers(grey)
    if numbers is None:
        return []
    found = zip(numbers.ravel().tolist(), corners, strict=True)
    return [(n, c.reshape(4, 2).astype(float)) for n, c in found if n < len(cards.MARKERS)]


def _sort_into_cards(markers):
    """Markers of each card in the picture, largest group first; fewer than four are no card."""
    left = sorted(markers, key=lambda marker: -cv2.contourArea(marker[1].astype(np.float32)))
    groups = []
    while left:
        group = _largest_group(left)
        left = [marker for marker in left if not any(marker is member for member in group)]
        if len(group) >= 4:
            groups.append(group)
    return sorted(groups, key=len, reverse=True)


def _largest_group(markers):
    """The group that the first marker leads to; where that is but a few, the largest of all."""
    group = _grow(markers, markers[0])
    if len(group) > len(markers) / 2:
        return group
    return max([group, *(_grow(markers, start) for start in markers[1:])], key=len)


def _grow(markers, start):
    """Start at one marker and take in those that stand where the card has them."""
    group = [start]
    while True:
        homography = homography_of(group)
        taken = {number for number, _ in group}
        others = [marker for marker in markers if marker[0] not in taken]
        best = min(others, key=lambda marker: _mismatch(homography, marker), default=None)
        if best is None or _mismatch(homography, best) > 0.35:
            return group
        group.append(best)


def homography_of(group):
    """Homography mm → pixels that fits markers, [(number, corners)], best."""
    mm = np.concatenate([cards.marker_outline(number) for number, _ in group])
    pixels = np.concatenate([corners for _, corners in group])
    return cv2.findHomography(mm, pixels, 0)[0]


def _mismatch(homography, marker):
    """Farthest corner from where it should be, in marker sides."""
    number, corners = marker
    off = np.linalg.norm(project(homography, cards.marker_outline(number)) - corners, axis=1)
    return off.max() / np.sqrt(max(cv2.contourArea(corners.astype(np.float32)), 1e-9))
