"""The text of a card's code: read as any code is, else put together from its modules."""

from functools import cache

import cv2
import numpy as np
import segno
import zxingcpp
from segno import consts

from .. import cards
from .finding import sharpened
from .fitting import project

# What a code's text may make of it: from the usual symbol on to that of the longest code.
VERSIONS = range(1, 7)
MODULE_PX = 8
DRAWN = {
    *(consts.TYPE_DATA_DARK, consts.TYPE_DATA_LIGHT),
    *(consts.TYPE_FORMAT_DARK, consts.TYPE_FORMAT_LIGHT),
}


def read_code(flat, corners_mm, corners_px):
    """Text of the code that stands where the card has it, or None.

    corners_mm, corners_px: the markers' corners on the card and in the photo, (n, 2).
    """
    part = flat.cut(*cards.CODE_BOX, margin=2.0)
    for picture in _easier_and_easier(part):
        text = _read(picture)
        if text:
            return text
    near = corners_mm[:, 0] < cards.WINDOW[0]
    if near.sum() < 8:
        return None
    to_photo, _ = cv2.findHomography(corners_mm[near], corners_px[near], cv2.RANSAC, 3.0)
    return None if to_photo is None else _put_together(flat, to_photo)


def _read(picture, pure=False):
    found = zxingcpp.read_barcodes(
        picture, formats=zxingcpp.BarcodeFormat.QRCode, is_pure=pure, try_downscale=not pure
    )
    return found[0].text if found else ""


def _easier_and_easier(part):
    """The code's part of the picture: as it is, then against blur, then against noise."""
    double = cv2.resize(part, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)
    yield part
    yield sharpened(part, len(part) / 60)
    yield double
    yield sharpened(double, len(double) / 30)
    yield cv2.GaussianBlur(part, (0, 0), len(part) / 150)
    yield cv2.medianBlur(part, 5)


def _put_together(flat, to_photo):
    """The text where dirt or a thumb hides what a reader looks for first, or None.

    The markers say where each module lies; what is the same in every symbol of its size (finder,
    timing and alignment patterns, the quiet zone) is drawn anew, and the correction inside the
    symbol does the rest: what it cannot correct stays unread.
    """
    to_flat = np.linalg.inv(flat.to_photo) @ to_photo
    for version in (cards.USUAL_VERSION, *VERSIONS):
        fixed, dark = _same_in_all(version)
        modules = np.where(fixed, dark, _sampled(flat, to_flat, len(dark)))
        picture = np.where(modules, 0, 255).astype(np.uint8)
        text = _read(np.kron(picture, np.ones((MODULE_PX, MODULE_PX), np.uint8)), pure=True)
        if text:
            return text
    return None


@cache
def _same_in_all(version):
    """Which modules do not depend on the text, and which of them are dark: (n, n) bool each."""
    symbol = segno.make("0", version=version, micro=False)
    kinds = np.array([list(row) for row in symbol.matrix_iter(border=cards.QUIET, verbose=True)])
    plain = np.array([list(row) for row in symbol.matrix_iter(border=cards.QUIET)], dtype=bool)
    return ~np.isin(kinds, list(DRAWN)), plain


def _sampled(flat, to_flat, count):
    """Which of count × count modules are dark in the picture, (count, count) bool."""
    x, y, side, _ = cards.CODE_BOX
    pitch = side / count
    # Nine places in the middle of each module, where its neighbours do not reach.
    inner = np.add.outer(np.arange(count) + 0.5, np.array([-0.22, 0.0, 0.22])).ravel() * pitch
    places = np.stack(np.meshgrid(x + inner, y + inner), axis=-1)
    at = project(to_flat, places.reshape(-1, 2)).astype(np.float32).reshape(places.shape)
    light = cv2.remap(flat.picture, at[..., 0], at[..., 1], cv2.INTER_LINEAR)
    light = np.median(light.reshape(count, 3, count, 3).swapaxes(1, 2).reshape(count, count, 9), 2)
    return light < _threshold(light.astype(np.float32))


def _threshold(light):
    """Half-way between the dark and the light about each module, so that a shadow is borne."""
    about = np.ones((9, 9), np.uint8)
    lowest, highest = cv2.erode(light, about), cv2.dilate(light, about)
    return cv2.blur((lowest + highest) / 2, (5, 5))
