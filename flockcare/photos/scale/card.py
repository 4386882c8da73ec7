"""The scale that the printed card gives."""

from dataclasses import asdict, dataclass, replace

import cv2
import numpy as np

from .. import cards
from . import refusals
from .code import read_code
from .finding import as_grey, find_card
from .fitting import Sheet, fit_sheet, window_middle
from .flat import blur_mm, find_corners, flatten
from .refusals import CannotMeasure

GREATEST_TILT = 45.0  # degrees
LEAST_PIXELS_PER_MM = 3.5
GREATEST_BLUR_MM = 0.35  # standard deviation of the smear
SOFT_MM = 0.25  # so soft that markers are lost to it
GREATEST_MISFIT_MM = 0.25  # three quarters of the markers must fit better: else it is creased
GREATEST_BEND_ERROR = 0.05  # of an area, by whether it follows the bent paper
LEAST_CORNERS = 20
FLATNESS_MM = 1.5  # how far the paper may lie above or below the plane of the foot
# Of an area, by a printer nobody has checked: "fit to page" and "shrink to margins" print a sheet
# 3 % too large or small each way (common practice, no published source).
UNCHECKED_PRINT = 0.065
# Of the distance told where the lens was taken for an ordinary phone's, as it was before.
UNKNOWN_LENS = 0.7
REACH_MM = 12.0  # how far beyond the markers an outline may go


@dataclass(frozen=True)
class CardView:
    """One card seen in one photo.

    code            text of its code; None where it cannot be read: then the card gives a size but
                    no name
    tilt_degrees    angle between the card and the plane of the picture
    distance_mm     camera to the middle of the window
    distance_error  95 % bound of its relative error, as a fraction: large where the card faces the
                    camera and nobody knows the lens
    pixels_per_mm   in the middle of the window
    blur_mm         standard deviation of the smear at the markers' edges
    plane_error     95 % bound of the relative error of an area in the window that lies as the card
                    does, were the card printed at its true size
    print_across, print_down, print_error
                    true size over drawn size of this print, and the 95 % bound of the relative
                    error of an area by it; 1, 1 and what a printer may do where nobody checked
    shrink, height_error
                    what a length above the card is to be multiplied by, and the 95 % bound of the
                    relative error of an area by it; 1 and 0 in the card's plane
    """

    code: str | None
    tilt_degrees: float
    distance_mm: float
    pixels_per_mm: float
    blur_mm: float
    plane_error: float
    _sheet: Sheet
    _hull_mm: np.ndarray
    distance_error: float = UNKNOWN_LENS
    print_across: float = 1.0
    print_down: float = 1.0
    print_error: float = UNCHECKED_PRINT
    shrink: float = 1.0
    height_error: float = 0.0

    @property
    def relative_area_error(self):
        """95 % bound of the relative error of an area, as a fraction; drawing adds its own."""
        return float(np.sqrt(self.plane_error**2 + self.print_error**2 + self.height_error**2))

    def as_printed(self, across, down, error):
        """The same view of a print that was measured: true size over drawn size each way.

        error: 95 % bound of the relative error of an area by that measuring.
        """
        return replace(self, print_across=across, print_down=down, print_error=error)

    def at_height(self, height_mm, give_mm=0.0):
        """The same view of what lies so much nearer to the camera than the card, give or take.

        What is nearer looks larger: with the distance Z a length is Z / (Z − h) too large.
        """
        larger = self.area_error_at_height(height_mm)
        give = self.area_error_at_height(height_mm + give_mm) - larger
        nearest = replace(self, distance_mm=self.distance_mm * np.exp(-self.distance_error))
        unsure = nearest.area_error_at_height(height_mm) - larger
        shrink = (self.distance_mm - height_mm) / self.distance_mm
        return replace(self, shrink=shrink, height_error=float(np.hypot(give, unsure)))

    def plain(self):
        """Everything in it as JSON can hold it; ``from_plain`` makes the same view of it."""
        return _plain(asdict(self))

    @classmethod
    def from_plain(cls, plain):
        values = _from_plain(plain)
        # What was kept before prints could be checked: its error took the print for a true one.
        if "plane_error" not in values:
            values["plane_error"] = values.pop("relative_area_error")
        # Before bends and lenses were seen, all was taken to lie in one plane.
        if "_homography" in values:
            values["_sheet"] = {"homography": values.pop("_homography")}
        return cls(**{**values, "_sheet": Sheet(**values["_sheet"])})

    def window_px(self, inset_mm=1.0):
        """Corners of the card's window in the picture, (4, 2) pixels, drawn in by some mm."""
        x, y, width, height = cards.WINDOW
        left, top, right, bottom = x, y, x + width, y + height
        corners = np.array([(left, top), (right, top), (right, bottom), (left, bottom)])
        inner = corners + inset_mm * np.array([(1, 1), (-1, 1), (-1, -1), (1, -1)])
        return self._sheet.in_picture(inner)

    def to_mm(self, points_px):
        """Points of the picture, (n, 2) pixels, on the card, (n, 2) mm along its paper.

        Raises CannotMeasure when one of them lies too far outside the card's markers.
        """
        points_mm = self._sheet.on_paper(points_px)
        if not all(self._reaches(point) for point in points_mm.tolist()):
            raise CannotMeasure(refusals.OUT_OF_REACH, self.code)
        return points_mm * (self.shrink * np.array([self.print_across, self.print_down]))

    def _reaches(self, point_mm):
        inside_by = cv2.pointPolygonTest(self._hull_mm, point_mm, True)
        return bool(np.all(np.isfinite(point_mm)) and inside_by >= -REACH_MM)

    def area_error_at_height(self, height_mm):
        """Relative error of an area that lies so much nearer to the camera, taken as in the card.

        With the distance Z and the height h it looks (Z / (Z − h))² as large.
        """
        return (self.distance_mm / (self.distance_mm - height_mm)) ** 2 - 1


def read_card(image, film_focal=None):
    """Find the card in a PIL image of any mode: a CardView, or None when no card is seen in it.

    film_focal: focal length of its lens in mm on 35 mm film, where the camera said it.
    Raises CannotMeasure when there is a card that must not be measured with.
    """
    grey = as_grey(image)
    rough = find_card(grey)
    if rough is None:
        return None
    flat = flatten(grey, rough)
    seen = find_corners(flat)
    return _judge(read_code(flat, *seen), flat, seen, grey.shape, film_focal)


def _judge(code, flat, seen, shape, film_focal):
    """The view that the corners seen give, or the reason why there is none."""
    mm, pixels = seen
    blur = blur_mm(flat)
    if flat.native_scale < LEAST_PIXELS_PER_MM:
        raise CannotMeasure(refusals.TOO_SMALL, code)
    if len(mm) < LEAST_CORNERS or not _surrounds_window(mm):
        raise CannotMeasure(refusals.TOO_BLURRED if blur > SOFT_MM else refusals.TOO_COVERED, code)
    fit = fit_sheet(mm, pixels, shape, film_focal)
    for refused, reason in (
        (fit.tilt_degrees > GREATEST_TILT, refusals.TOO_TILTED),
        (blur > GREATEST_BLUR_MM, refusals.TOO_BLURRED),
        (fit.misfit_mm > GREATEST_MISFIT_MM, refusals.TOO_BENT),
        (fit.bend_error > GREATEST_BEND_ERROR, refusals.TOO_BENT),
    ):
        if refused:
            raise CannotMeasure(reason, code)
    flatness = 2 * FLATNESS_MM / fit.distance_mm
    return CardView(
        code=code,
        tilt_degrees=fit.tilt_degrees,
        distance_mm=fit.distance_mm,
        distance_error=fit.distance_error,
        pixels_per_mm=flat.native_scale,
        blur_mm=blur,
        plane_error=float(np.sqrt(fit.area_error**2 + fit.bend_error**2 + flatness**2)),
        _sheet=fit.sheet,
        _hull_mm=cv2.convexHull(mm.astype(np.float32)),
    )


def _plain(value):
    if isinstance(value, dict):
        return {name: _plain(part) for name, part in value.items()}
    return [value.dtype.name, value.tolist()] if isinstance(value, np.ndarray) else value


def _from_plain(value):
    if isinstance(value, dict):
        return {name: _from_plain(part) for name, part in value.items()}
    return np.array(value[1], value[0]) if isinstance(value, list) else value


def _surrounds_window(mm):
    """Whether the middle of the window lies well inside what the corners span."""
    hull = cv2.convexHull(mm.astype(np.float32))
    middle = tuple(window_middle().tolist())
    return cv2.pointPolygonTest(hull, middle, True) >= cards.WINDOW[3] / 4
