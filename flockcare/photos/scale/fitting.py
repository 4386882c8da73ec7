"""How the card lies before the camera: where it is, how the paper bends, what the lens does.

Paper that is left alone bends along one direction only, to a cylinder. A phone's lens draws what
lies off the picture's middle too far out or in, by a share that grows with the square of how far
off it is (first radial term of Brown 1966, Photogramm Eng 32:444–462, from memory). All of it is
found at once, by least squares over the corners of the markers.

Points of the card are mm from its top left corner, measured along the paper; points of the
picture are pixels. In space lengths are mm, the window's middle is the origin, x and y are the
card's and z goes away from the camera.
"""

from dataclasses import dataclass, field

import cv2
import numpy as np
from scipy.optimize import least_squares

from .. import cards

FILM_DIAGONAL = float(np.hypot(36, 24))  # mm, of the film that a "35 mm equivalent" is of
PHONE_FOCAL = 26.0  # mm on that film: a phone's main camera
# What is known beforehand, as standard deviations; of the focal length, of its logarithm. Where the
# camera says nothing it may be anything from a wide lens to a near one. What it says may be meant
# for the picture's width or diagonal, or for the whole of a picture that was cut since.
ANY_FOCAL, TOLD_FOCAL = 0.35, 0.08
BARREL = 0.03  # at the picture's corner
OFF_AXIS = 0.05  # of the picture's half diagonal: a picture may have been cut
CURVATURE = 1 / 150  # per mm
CORNERS_PER_MARKER = 4  # their errors go together
NOISE_MM, LEAST_NOISE_MM = 0.1, 0.01  # of a corner: before the first fit, and at least
BENT_FIRST = np.radians((0, 45, 90, 135))


def project(homography, points):
    """Points, (n, 2), through a homography, (3, 3)."""
    points = np.asarray(points, dtype=float).reshape(-1, 2)
    image = np.column_stack([points, np.ones(len(points))]) @ homography.T
    return image[:, :2] / image[:, 2:]


def window_middle():
    """Middle of the card's window, (2,) mm."""
    x, y, width, height = cards.WINDOW
    return np.array([x + width / 2, y + height / 2])


def stretch(homography, point):
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


@dataclass(frozen=True)
class Sheet:
    """One card in one picture.

    homography  from pixels of a lens without distortion to mm in the plane that touches the paper
                in the middle of the window, (3, 3)
    eye         the camera, (3,) mm in space
    axis        where the lens looks, (2,) pixels
    barrel      what a pixel is drawn too far out, as a share, per square pixel from there
    curvature   of the paper, per mm; above zero where its ends come nearer to the camera
    along       direction in which it is bent, radians from x
    """

    homography: np.ndarray
    eye: np.ndarray = field(default_factory=lambda: np.array([0.0, 0.0, -1.0]))
    axis: np.ndarray = field(default_factory=lambda: np.zeros(2))
    barrel: float = 0.0
    curvature: float = 0.0
    along: float = 0.0

    def on_paper(self, pixels):
        """Points of the picture, (n, 2) pixels, on the card, (n, 2) mm; NaN where it is not."""
        flat = self.on_plane(pixels)
        if not self.curvature:
            return flat
        # From the eye through the plane on to the cylinder p² + (z + 1/c)² = 1/c², where p is
        # measured along the bend: a t² + b t + k = 0 for the share t of the way to the plane.
        ray = np.column_stack([flat - window_middle(), np.zeros(len(flat))]) - self.eye
        unit = np.array([np.cos(self.along), np.sin(self.along)])
        c = self.curvature
        p, z, dp, dz = self.eye[:2] @ unit, self.eye[2], ray[:, :2] @ unit, ray[:, 2]
        a, k = c * (dp**2 + dz**2), c * (p**2 + z**2) + 2 * z
        b = 2 * (c * (p * dp + z * dz) + dz)
        with np.errstate(invalid="ignore", divide="ignore"):
            root = np.sqrt(b * b - 4 * a * k)
            t = np.where(b > 0, -2 * k / (b + root), (root - b) / (2 * a))  # both are the same
        hit = self.eye + t[:, None] * ray
        length = np.arctan2(c * hit[:, :2] @ unit, 1 + c * hit[:, 2]) / c
        return hit[:, :2] + np.outer(length - hit[:, :2] @ unit, unit) + window_middle()

    def on_plane(self, pixels):
        """The same in the plane that touches the paper in the middle of the window."""
        return project(self.homography, self._straight(pixels))

    def in_picture(self, mm):
        """Points of the card, (n, 2) mm, in the picture, (n, 2) pixels."""
        flat = np.asarray(mm, dtype=float).reshape(-1, 2) - window_middle()
        if self.curvature:
            unit = np.array([np.cos(self.along), np.sin(self.along)])
            angle = self.curvature * (flat @ unit)
            flat = flat + np.outer(np.sin(angle) / self.curvature - flat @ unit, unit)
            z = (np.cos(angle) - 1) / self.curvature
            share = self.eye[2] / (self.eye[2] - z)
            flat = self.eye[:2] + share[:, None] * (flat - self.eye[:2])
        off = project(np.linalg.inv(self.homography), flat + window_middle()) - self.axis
        return self.axis + off * (1 + self.barrel * (off**2).sum(axis=1, keepdims=True))

    def _straight(self, pixels):
        """Where a lens without distortion would have drawn points of the picture."""
        drawn = np.asarray(pixels, dtype=float).reshape(-1, 2) - self.axis
        off = drawn
        for _ in range(20 if self.barrel else 0):
            off = drawn / (1 + self.barrel * (off**2).sum(axis=1, keepdims=True))
        return off + self.axis


@dataclass(frozen=True)
class Fitted:
    """The sheet that fits corners best, and how far it can be trusted.

    tilt_degrees     angle between the picture and the plane that touches the window's middle
    distance_mm      camera to the middle of the window
    distance_error   95 % bound of its relative error, as a fraction
    area_error       95 % bound of the relative error of an area on the paper, in the window
    bend_error       how far an area that lies flat under bent paper may be from one along it
    misfit_mm        how far off the markers lie as wholes, three quarters of them at most
    """

    sheet: Sheet
    tilt_degrees: float
    distance_mm: float
    distance_error: float
    area_error: float
    bend_error: float
    misfit_mm: float


def fit_sheet(mm, pixels, shape, film_focal=None):
    """The Fitted of corners seen: card (n, 2) mm, picture (n, 2) pixels, four by four of a marker.

    shape: (height, width) of the picture. film_focal: focal length on 35 mm film in mm, as the
    camera says, or None. A loss that grows slowly lets covered and glaring corners go.
    """
    height, width = shape
    middle = np.array([width - 1, height - 1]) / 2
    told = np.log((film_focal or PHONE_FOCAL) / FILM_DIAGONAL * np.hypot(width, height))
    known = np.array([told, 0, 0, 0, 0])
    give = (TOLD_FOCAL if film_focal else ANY_FOCAL), BARREL, OFF_AXIS, OFF_AXIS, CURVATURE
    start = _start(mm, pixels, middle, told)

    def off_mm(values):
        return (_sheet(values, middle).in_picture(mm) - pixels) * np.exp(start[2])

    def misfits(values, noise):
        return np.concatenate([off_mm(values).ravel() / noise, (values[6:11] - known) / give])

    def fit(values, noise, tolerance):
        how = {"loss": "soft_l1", "x_scale": "jac", "ftol": tolerance, "args": (noise,)}
        return least_squares(misfits, values, **how)

    # Which way it is bent has more than one answer that no small step improves.
    ways = [fit([*start, 0, 0, 0, 1e-4, along], NOISE_MM, 1e-4) for along in BENT_FIRST]
    best = min(ways, key=lambda way: way.cost)
    typical = 1.48 * np.median(np.linalg.norm(off_mm(best.x), axis=1)) / np.sqrt(2)
    best = fit(best.x, max(np.sqrt(CORNERS_PER_MARKER) * typical, LEAST_NOISE_MM), 1e-8)
    markers = off_mm(best.x).reshape(-1, CORNERS_PER_MARKER, 2).mean(axis=1)
    return _judged(best, middle, float(np.percentile(np.linalg.norm(markers, axis=1), 75)))


def _start(mm, pixels, middle, focal):
    """What of the values (see ``_sheet``) a plain homography tells, (7,)."""
    centre, size = pixels.mean(axis=0), np.ptp(pixels, axis=0).max() / 2
    inner, _ = cv2.findHomography(mm - window_middle(), (pixels - centre) / size, cv2.LMEDS)
    spread = np.array([(size, 0, centre[0]), (0, size, centre[1]), (0, 0, 1)])
    camera = np.array([(1, 0, -middle[0]), (0, 1, -middle[1]), (0, 0, np.exp(focal))])
    a, b, place = (camera @ spread @ inner).T
    if place[2] < 0:
        a, b, place = -a, -b, -place
    length = np.sqrt(np.linalg.norm(a) * np.linalg.norm(b))
    u, _, v = np.linalg.svd(np.column_stack([a, b, np.cross(a, b) / length]))
    turn = cv2.Rodrigues(u @ v)[0].ravel()
    seen = place[:2] / place[2] * np.exp(focal)
    return np.array([*seen, np.log(place[2] / length) - focal, *turn, focal])


def _sheet(values, middle):
    """The sheet of twelve values, for a picture with this middle.

    Where the window's middle would be seen by a perfect lens, (2,) pixels from the picture's;
    logarithm of the mm that a pixel shows there; rotation vector from the card's directions to the
    camera's, (3,); logarithm of the focal length in pixels; barrel at the picture's corner; where
    the lens looks, (2,) half diagonals from the picture's middle; curvature, and its direction.
    """
    half_diagonal = np.linalg.norm(middle)
    axis = middle + values[8:10] * half_diagonal
    focal = np.exp(values[6])
    rotation, _ = cv2.Rodrigues(values[3:6])
    place = np.exp(values[2]) * np.array([*(values[:2] + middle - axis), focal])
    camera = np.array([(focal, 0, axis[0]), (0, focal, axis[1]), (0, 0, 1)])
    x, y = window_middle()
    shift = np.array([(1, 0, -x), (0, 1, -y), (0, 0, 1)])
    return Sheet(
        homography=np.linalg.inv(camera @ np.column_stack([rotation[:, :2], place]) @ shift),
        eye=-rotation.T @ place,
        axis=axis,
        barrel=values[7] / half_diagonal**2,
        curvature=values[10],
        along=values[11],
    )


def _judged(fit, middle, misfit):
    sheet, values = _sheet(fit.x, middle), fit.x
    covariance = np.linalg.pinv(fit.jac.T @ fit.jac)
    places = sheet.in_picture(_places())

    def sizes(values):
        changed = _sheet(values, middle)
        return np.append(_log_areas(changed.on_paper, places), np.log(np.linalg.norm(changed.eye)))

    steps = np.diag(1e-3 * np.maximum(np.sqrt(np.diag(covariance)), 1e-6))
    slopes = np.array([(sizes(values + d) - sizes(values - d)) / (2 * d.sum()) for d in steps])
    errors = 2 * np.sqrt(np.einsum("is,ij,js->s", slopes, covariance, slopes))
    flat = _log_areas(sheet.on_plane, places) - _log_areas(sheet.on_paper, places)
    distance = np.linalg.norm(sheet.eye)
    return Fitted(
        sheet=sheet,
        tilt_degrees=float(np.degrees(np.arccos(min(1.0, cv2.Rodrigues(values[3:6])[0][2, 2])))),
        distance_mm=float(distance),
        distance_error=float(errors[-1]),
        area_error=float(errors[:-1].max()),
        bend_error=float(np.abs(flat).max()),
        misfit_mm=misfit,
    )


def _places():
    """Nine places in the window, its middle among them, (9, 2) mm."""
    _, _, width, height = cards.WINDOW
    away = np.array([(x, y) for x in (-1, 0, 1) for y in (-1, 0, 1)])
    return window_middle() + away * np.array([width, height]) / 4


def _log_areas(to_mm, pixels):
    """Logarithm of how many mm² a pixel shows at each place, (n,)."""
    step = 0.5
    here = to_mm(pixels)
    right, down = (to_mm(pixels + way) - here for way in step * np.eye(2))
    return np.log(abs(right[:, 0] * down[:, 1] - right[:, 1] * down[:, 0]) / step**2)
