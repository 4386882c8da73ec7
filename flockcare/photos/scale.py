"""How large things in a photo are: from the printed card, or from a known length.

Points in a picture are pixels, x to the right and y down, with whole numbers at pixel centres.
Points on the card are millimetres from its top left corner (see ``photos.cards``).
"""

from dataclasses import dataclass

import cv2
import numpy as np
import zxingcpp
from PIL import Image
from scipy.optimize import least_squares, minimize_scalar

from . import cards

GREATEST_TILT = 45.0  # degrees
LEAST_PIXELS_PER_MM = 3.5
GREATEST_BLUR_MM = 0.35  # standard deviation of the smear
SOFT_MM = 0.25  # so soft that markers are lost to it
GREATEST_MISFIT_MM = 0.7  # three quarters of the corners must fit better
LEAST_CORNERS = 20
CORNERS_PER_MARKER = 4  # their errors go together
FLATNESS_MM = 1.5  # how far the paper may lie above or below the plane of the foot
PRINT_ERROR = 0.005  # of an area, by the printer
PHONE_FOCAL = 26 / np.hypot(36, 24)  # of the picture's diagonal: 26 mm on 36 × 24 mm film
REACH_MM = 12.0  # how far beyond the markers an outline may go
FINEST_PIXELS_PER_MM = 14.0  # more detail than this adds nothing to the corners

TOO_TILTED = (
    "The card is too tilted towards the camera. Hold the phone straight above the card and take "
    "the photo again."
)
TOO_SMALL = "The card is too small in the picture. Go closer, or use a larger size of the picture."
TOO_BLURRED = (
    "The card is blurred. Hold still, let the camera focus on the card and take the photo again."
)
TOO_BENT = (
    "The card is bent or creased, so its markers do not lie flat. Lay it flat and take the photo "
    "again."
)
TOO_COVERED = (
    "Too few of the card's black squares can be seen round the window. Get the whole card into "
    "the picture, keep fingers and bright reflections off it and take the photo again."
)
NO_CODE = (
    "There is a card in the picture, but its square code cannot be read. Keep fingers and bright "
    "reflections off the code, hold still and take the photo again."
)
TWO_CARDS = "There is more than one card in the picture. Take a photo with one card only."
OUT_OF_REACH = (
    "The outline goes too far outside the card's black squares to be measured. Lay the foot in "
    "the card's window and take the photo again."
)


class CannotMeasure(Exception):
    """The photo must not be measured. ``reason``: why, in words for a keeper.

    code: the card's code where it could be read all the same, else None.
    """

    def __init__(self, reason, code=None):
        super().__init__(reason)
        self.reason = reason
        self.code = code


@dataclass(frozen=True)
class CardView:
    """One card seen in one photo.

    code                 text of its code
    tilt_degrees         angle between the card and the plane of the picture
    relative_area_error  95 % bound of the relative error of an area in the window that lies in
                         the card's plane, as a fraction; drawing the outline adds its own
    distance_mm          camera to window, taking the lens for an ordinary phone's
    pixels_per_mm        in the middle of the window
    blur_mm              standard deviation of the smear at the markers' edges
    """

    code: str
    tilt_degrees: float
    relative_area_error: float
    distance_mm: float
    pixels_per_mm: float
    blur_mm: float
    _homography: np.ndarray
    _hull_mm: np.ndarray

    def to_mm(self, points_px):
        """Points of the picture, (n, 2) pixels, on the card's plane, (n, 2) mm.

        Raises CannotMeasure when one of them lies too far outside the card's markers.
        """
        points_mm = _project(self._homography, points_px)
        reach = [-cv2.pointPolygonTest(self._hull_mm, point, True) for point in points_mm.tolist()]
        if not np.all(np.isfinite(points_mm)) or max(reach, default=0.0) > REACH_MM:
            raise CannotMeasure(OUT_OF_REACH, self.code)
        return points_mm

    def check_covers(self, points_px):
        """Raise CannotMeasure when an outline, (n, 2) pixels, goes too far outside the markers."""
        self.to_mm(points_px)

    def area_error_at_height(self, height_mm):
        """Relative error of an area that lies this much nearer to the camera than the card.

        What is nearer looks larger: with the distance Z the area is (Z / (Z − h))² too large.
        """
        return (self.distance_mm / (self.distance_mm - height_mm)) ** 2 - 1


ID_1_CARD_MM = (85.60, 53.98)  # bank and identity cards, ISO/IEC 7810
ISO_216_MM = {"A4": (210, 297), "A5": (148, 210), "A6": (105, 148), "A7": (74, 105)}

ASSUMED_TILT = 30.0  # degrees
ASSUMED_DISTANCE_MM = 200.0
ASSUMED_OFFSET_MM = 25.0
LEAST_LENGTH_PX = 40.0

TOO_SHORT = (
    "The two points are too close together in the picture to give a scale. Tap the ends of a "
    "longer piece, or use a larger size of the picture."
)
NO_LENGTH = "The known length must be a number of millimetres above zero."


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


def read_card(image):
    """Find the card in a PIL image of any mode: a CardView, or None when no card is seen in it.

    Raises CannotMeasure when there is a card that must not be measured with.
    """
    grey = _grey(image)
    rough = _find_card(grey)
    if rough is None:
        return None
    flat = _flatten(grey, rough)
    return _judge(_read_code(flat), flat, _find_corners(flat), grey.shape)


# --- finding the card -------------------------------------------------------------------------


def _grey(image):
    """The picture as (height, width) uint8."""
    if image.mode in ("I", "I;16", "I;16L", "I;16B", "F"):
        values = np.asarray(image, dtype=np.float32)
        return np.clip(values * (255 / max(values.max(), 255)), 0, 255).astype(np.uint8)
    if "A" in image.mode or "transparency" in image.info:
        shown = image.convert("RGBA")
        image = Image.new("RGBA", image.size, "white")
        image.alpha_composite(shown)
    return np.asarray(image.convert("L"))


def _find_card(grey):
    """Rough homography from card mm to pixels, (3, 3), or None."""
    for long_side in (1600, 3200, 800):
        factor = min(1.0, long_side / max(grey.shape))
        markers = _detect(_reduced(grey, factor))
        groups = _sort_into_cards(markers)
        if not groups:
            continue
        numbers = [{number for number, _ in group} for group in groups]
        # Groups without a number in common are parts of one badly bent card.
        if any(len(numbers[0] & others) > 1 for others in numbers[1:]):
            raise CannotMeasure(TWO_CARDS)
        if len(groups[0]) < len(markers) / 2:
            return None  # the same markers put together in another way
        return _reduction(factor) @ _homography(groups[0])
    return None


def _reduced(grey, factor):
    if factor == 1.0:
        return grey
    return cv2.resize(grey, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)


def _reduction(factor):
    """Homography from pixels of a reduced copy to those of the whole picture."""
    shift = 0.5 / factor - 0.5
    return np.array([(1 / factor, 0, shift), (0, 1 / factor, shift), (0, 0, 1)])


def _detect(grey):
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
        group = _grow(left)
        left = [marker for marker in left if not any(marker is member for member in group)]
        if len(group) >= 4:
            groups.append(group)
    return sorted(groups, key=len, reverse=True)


def _grow(markers):
    """Start at the first marker and take in those that stand where the card has them."""
    group = [markers[0]]
    while True:
        homography = _homography(group)
        taken = {number for number, _ in group}
        others = [marker for marker in markers if marker[0] not in taken]
        best = min(others, key=lambda marker: _mismatch(homography, marker), default=None)
        if best is None or _mismatch(homography, best) > 0.35:
            return group
        group.append(best)


def _homography(group):
    mm = np.concatenate([cards.marker_outline(number) for number, _ in group])
    pixels = np.concatenate([corners for _, corners in group])
    return cv2.findHomography(mm, pixels, 0)[0]


def _mismatch(homography, marker):
    """Farthest corner from where it should be, in marker sides."""
    number, corners = marker
    off = np.linalg.norm(_project(homography, cards.marker_outline(number)) - corners, axis=1)
    return off.max() / np.sqrt(max(cv2.contourArea(corners.astype(np.float32)), 1e-9))


def _project(homography, points):
    points = np.asarray(points, dtype=float).reshape(-1, 2)
    image = np.column_stack([points, np.ones(len(points))]) @ homography.T
    return image[:, :2] / image[:, 2:]


# --- the card laid flat -----------------------------------------------------------------------

BORDER_MM = 2.0


@dataclass(frozen=True)
class _Flat:
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


def _flatten(grey, homography):
    native = np.sqrt(abs(np.linalg.det(_stretch(homography, _window_middle()))))
    outer = _project(
        homography,
        [
            (-2, -2),
            (cards.WIDTH + 2, -2),
            (cards.WIDTH + 2, cards.HEIGHT + 2),
            (-2, cards.HEIGHT + 2),
        ],
    )
    height, width = grey.shape
    left, top = np.clip(np.floor(outer.min(axis=0)) - 2, 0, (width - 1, height - 1)).astype(int)
    right, bottom = np.clip(np.ceil(outer.max(axis=0)) + 3, 1, (width, height)).astype(int)
    factor = min(1.0, FINEST_PIXELS_PER_MM / native)
    part = _reduced(grey[top:bottom, left:right], factor)
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
    to_part = np.linalg.inv(shift @ _reduction(factor)) @ to_photo
    size = tuple(
        int(np.ceil((side + 2 * BORDER_MM) * scale)) for side in (cards.WIDTH, cards.HEIGHT)
    )
    picture = cv2.warpPerspective(part, to_part, size, flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP)
    return _Flat(picture, scale, to_photo, native)


def _window_middle():
    x, y, width, height = cards.WINDOW
    return np.array([x + width / 2, y + height / 2])


def _stretch(homography, point):
    """Derivative of a homography at a point, (2, 2)."""
    u, v, w = homography @ np.append(point, 1.0)
    return (
        np.array(
            [
                homography[0, :2] - u / w * homography[2, :2],
                homography[1, :2] - v / w * homography[2, :2],
            ]
        )
        / w
    )


def _read_code(flat):
    """Text of the code that stands where the card has it, or None."""
    part = flat.cut(*cards.CODE_BOX, margin=2.0)
    for picture in _easier_and_easier(part):
        found = zxingcpp.read_barcodes(picture, formats=zxingcpp.BarcodeFormat.QRCode)
        if found:
            return found[0].text
    return None


def _easier_and_easier(part):
    """The code's part of the picture: as it is, then against blur, then against noise."""
    double = cv2.resize(part, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)
    yield part
    yield _sharpened(part, len(part) / 60)
    yield double
    yield _sharpened(double, len(double) / 30)
    yield cv2.GaussianBlur(part, (0, 0), len(part) / 150)
    yield cv2.medianBlur(part, 5)


def _sharpened(picture, radius):
    soft = cv2.GaussianBlur(picture, (0, 0), radius)
    return cv2.addWeighted(picture, 3.0, soft, -2.0, 0)


def _find_corners(flat):
    """Corners of the markers: card (n, 2) mm and photo (n, 2) pixels."""
    markers = _detect(flat.picture)
    near = [
        (n, c)
        for n, c in markers
        if np.abs(flat.place(cards.marker_outline(n)) - c).max() < 4 * flat.scale
    ]
    if not near:
        return np.empty((0, 2)), np.empty((0, 2))
    mm = np.concatenate([cards.marker_outline(n) for n, _ in near])
    corners = np.concatenate([c for _, c in near]).astype(np.float32)
    reach = max(3, round(1.1 * flat.scale))
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 40, 0.005)
    corners = cv2.cornerSubPix(
        flat.picture, corners.reshape(-1, 1, 2), (reach, reach), (-1, -1), stop
    )
    return mm, _project(flat.to_photo, corners)


# --- fit and judgement ------------------------------------------------------------------------


def _judge(code, flat, seen, shape):
    mm, pixels = seen
    blur = _blur_mm(flat)
    if flat.native_scale < LEAST_PIXELS_PER_MM:
        raise CannotMeasure(TOO_SMALL, code)
    if code is None:
        raise CannotMeasure(TOO_BLURRED if blur > SOFT_MM else NO_CODE)
    if len(mm) < LEAST_CORNERS or not _surrounds_window(mm):
        raise CannotMeasure(TOO_BLURRED if blur > SOFT_MM else TOO_COVERED, code)
    to_mm, fit_error, misfit = _fit(mm, pixels)
    tilt, distance = _pose(np.linalg.inv(to_mm), shape)
    for refused, reason in (
        (tilt > GREATEST_TILT, TOO_TILTED),
        (blur > GREATEST_BLUR_MM, TOO_BLURRED),
        (misfit > GREATEST_MISFIT_MM, TOO_BENT),
    ):
        if refused:
            raise CannotMeasure(reason, code)
    flatness = 2 * FLATNESS_MM / distance
    return CardView(
        code=code,
        tilt_degrees=tilt,
        relative_area_error=float(np.sqrt(fit_error**2 + flatness**2 + PRINT_ERROR**2)),
        distance_mm=distance,
        pixels_per_mm=flat.native_scale,
        blur_mm=blur,
        _homography=to_mm,
        _hull_mm=cv2.convexHull(mm.astype(np.float32)),
    )


def _surrounds_window(mm):
    """Whether the middle of the window lies well inside what the corners span."""
    hull = cv2.convexHull(mm.astype(np.float32))
    middle = tuple(_window_middle().tolist())
    return cv2.pointPolygonTest(hull, middle, True) >= cards.WINDOW[3] / 4


def _fit(mm, pixels):
    """Homography pixels → mm, 95 % bound of an area's relative error from it, misfit in mm.

    Least squares over all corners, with a loss that lets covered or glaring ones go.
    """
    centre, size = pixels.mean(axis=0), np.ptp(pixels, axis=0).max() / 2
    normal = np.array([(1, 0, -centre[0]), (0, 1, -centre[1]), (0, 0, size)]) / size
    inner = (pixels - centre) / size
    start = cv2.findHomography(inner, mm, cv2.LMEDS)[0]

    def misfit(h):
        return (_project(np.append(h, 1.0).reshape(3, 3), inner) - mm).ravel()

    fit = least_squares(
        misfit, (start / start[2, 2]).ravel()[:8], loss="soft_l1", f_scale=0.2, x_scale="jac"
    )
    off = np.linalg.norm(misfit(fit.x).reshape(-1, 2), axis=1)
    spread = CORNERS_PER_MARKER * (1.48 * np.median(off)) ** 2 / 2
    covariance = np.linalg.pinv(fit.jac.T @ fit.jac) * spread
    homography = np.append(fit.x, 1.0).reshape(3, 3)
    slope = _log_area_slope(homography)
    error = 2 * np.sqrt(slope @ covariance @ slope)
    return homography @ normal, float(error), float(np.percentile(off, 75))


def _log_area_slope(homography):
    """Derivative of the logarithm of an area in the window's middle by the eight free elements."""
    point = _project(np.linalg.inv(homography), _window_middle())[0]

    def log_area(h):
        return np.log(abs(np.linalg.det(_stretch(np.append(h, 1.0).reshape(3, 3), point))))

    h = homography.ravel()[:8]
    steps = np.eye(8) * 1e-6 * np.maximum(abs(h), 1e-3)[:, None]
    return np.array([(log_area(h + d) - log_area(h - d)) / (2 * d.sum()) for d in steps])


def _pose(homography, shape):
    """Tilt in degrees and distance of the window's middle in mm, from a homography mm → pixels.

    The focal length follows from the two first columns being of one length and at right angles
    (Zhang 2000, IEEE TPAMI 22:1330–1334, from memory); where the card faces the camera they
    say nothing about it, and an ordinary phone's is taken.
    """
    height, width = shape
    middle = np.array([(1, 0, -(width - 1) / 2), (0, 1, -(height - 1) / 2), (0, 0, 1)])
    centred = middle @ homography
    usual = PHONE_FOCAL * np.hypot(width, height)

    def columns(log_ratio):
        focal = usual * np.exp(log_ratio)
        return np.diag([1, 1, focal]) @ centred

    def unlikeliness(log_ratio):
        a, b, _ = columns(log_ratio).T
        size = (a @ a + b @ b) / 2
        skew = (a @ b / size) ** 2 + ((a @ a - b @ b) / (2 * size)) ** 2
        return skew / 0.005**2 + (log_ratio / 0.15) ** 2

    log_ratio = minimize_scalar(unlikeliness, bounds=(-0.7, 1.4), method="bounded").x
    scaled = columns(log_ratio)
    a, b, _ = scaled.T
    across = np.cross(a, b)
    cosine = abs(across[2]) / np.linalg.norm(across)
    place = scaled @ np.append(_window_middle(), 1.0) / np.sqrt((a @ a + b @ b) / 2)
    return float(np.degrees(np.arccos(min(cosine, 1.0)))), float(np.linalg.norm(place))


def _blur_mm(flat):
    """Standard deviation of the smear in mm, from how steep the markers' sides are."""
    across = np.arange(-1.0, 1.81, 0.1)
    along = np.arange(2.0, 6.1, 0.5)
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
