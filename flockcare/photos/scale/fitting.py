"""From corners to a plane: homographies, how certain they are, and how the card stands."""

import cv2
import numpy as np
from scipy.optimize import least_squares, minimize_scalar

from .. import cards

CORNERS_PER_MARKER = 4  # their errors go together
PHONE_FOCAL = 26 / np.hypot(36, 24)  # of the picture's diagonal: 26 mm on 36 × 24 mm film


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


def fit_plane(mm, pixels):
    """Homography pixels → mm, 95 % bound of an area's relative error from it, misfit in mm.

    Least squares over all corners, with a loss that lets covered or glaring ones go.
    """
    centre, size = pixels.mean(axis=0), np.ptp(pixels, axis=0).max() / 2
    normal = np.array([(1, 0, -centre[0]), (0, 1, -centre[1]), (0, 0, size)]) / size
    inner = (pixels - centre) / size
    start = cv2.findHomography(inner, mm, cv2.LMEDS)[0]

    def misfit(h):
        return (project(np.append(h, 1.0).reshape(3, 3), inner) - mm).ravel()

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
    point = project(np.linalg.inv(homography), window_middle())[0]

    def log_area(h):
        return np.log(abs(np.linalg.det(stretch(np.append(h, 1.0).reshape(3, 3), point))))

    h = homography.ravel()[:8]
    steps = np.eye(8) * 1e-6 * np.maximum(abs(h), 1e-3)[:, None]
    return np.array([(log_area(h + d) - log_area(h - d)) / (2 * d.sum()) for d in steps])


def pose(homography, shape):
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
    place = scaled @ np.append(window_middle(), 1.0) / np.sqrt((a @ a + b @ b) / 2)
    return float(np.degrees(np.arccos(min(cosine, 1.0)))), float(np.linalg.norm(place))
