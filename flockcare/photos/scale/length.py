"""The scale that a known length gives."""

from dataclasses import dataclass

import numpy as np

from .refusals import NO_LENGTH, TOO_SHORT, CannotMeasure

ID_1_CARD_MM = (85.60, 53.98)  # bank and identity cards, ISO/IEC 7810
ISO_216_MM = {"A4": (210, 297), "A5": (148, 210), "A6": (105, 148), "A7": (74, 105)}

ASSUMED_TILT = 30.0  # degrees
ASSUMED_DISTANCE_MM = 200.0
ASSUMED_OFFSET_MM = 25.0
LEAST_LENGTH_PX = 40.0


@dataclass(frozen=True)
class LengthView:
    """A scale from one known length, for pictures without a card; the tilt stays unknown.

    relative_area_error  95 % bound of the relative error of an area close to the known length
    """

    relative_area_error: float
    _origin: np.ndarray
    _mm_per_pixel: float

    def to_mm(self, points_px):
        """Points of the picture, (n, 2) pixels, in mm from the first end of the known length."""
        points = np.asarray(points_px, dtype=float).reshape(-1, 2)
        return (points - self._origin) * self._mm_per_pixel


def from_known_length(p, q, length_mm, tap_error_px=4.0):
    """A LengthView from the two ends of a known length, p and q in pixels.

    tap_error_px: how far from its place each end may have been tapped (95 %).
    Raises CannotMeasure when the ends are too close together or the length is not above zero.

    The stated error has three parts, added in quadrature. Foreshortening: in a plane tilted by t
    areas shrink by cos t and a length by anything from 1 to cos t, so that the area comes out
    between cos t and 1 / cos t of its size; for 30° that is 15 %. Perspective: what lies d mm
    nearer or farther along the tilt is sin t · d / Z larger or smaller at the distance Z; for
    25 mm, 200 mm and 30° that is 6 % in length, 13 % in area. Taps: twice the length's own error.
    """
    ends = np.array([p, q], dtype=float).reshape(2, 2)
    seen = float(np.linalg.norm(ends[1] - ends[0]))
    if not (np.isfinite(length_mm) and length_mm > 0):
        raise CannotMeasure(NO_LENGTH)
    if not seen >= LEAST_LENGTH_PX:
        raise CannotMeasure(TOO_SHORT)
    tilt = np.radians(ASSUMED_TILT)
    foreshortening = 1 / np.cos(tilt) - 1
    perspective = 2 * np.sin(tilt) * ASSUMED_OFFSET_MM / ASSUMED_DISTANCE_MM
    taps = 2 * np.sqrt(2) * tap_error_px / seen
    error = float(np.sqrt(foreshortening**2 + perspective**2 + taps**2))
    return LengthView(error, ends[0], length_mm / seen)
