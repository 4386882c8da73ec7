"""Where a point of the plane, in millimetres, lands in the picture."""

from dataclasses import dataclass

import cv2
import numpy as np

FOCAL_SHARE = 0.8  # focal length over picture width; a phone's main camera is about this


@dataclass(frozen=True)
class View:
    """A pinhole camera over a plane.

    to_px    (3, 3) homography, plane mm -> pixels; a pixel's centre has whole coordinates
    size     width, height in pixels
    scale    pixels per mm in the middle of the picture
    """

    to_px: np.ndarray
    size: tuple[int, int]
    scale: float

    def project(self, points_mm) -> np.ndarray:
        """(n, 2) mm -> (n, 2) pixels."""
        points = np.asarray(points_mm, float).reshape(-1, 1, 2)
        return cv2.perspectiveTransform(points, self.to_px).reshape(-1, 2)

    def plane(self, part: tuple[slice, slice]) -> tuple[np.ndarray, np.ndarray]:
        """For every pixel of a part the x and y, in mm, of the point of the plane it shows."""
        rows, columns = part
        back = np.linalg.inv(self.to_px).astype(np.float32)
        column = np.arange(columns.start, columns.stop, dtype=np.float32)[None, :]
        row = np.arange(rows.start, rows.stop, dtype=np.float32)[:, None]
        x, y, w = (line[0] * column + line[1] * row + line[2] for line in back)
        return x / w, y / w

    def bounds(self) -> tuple[np.ndarray, np.ndarray]:
        """Least and greatest x, y, in mm, of the points of the plane that are seen."""
        width, height = self.size
        corners = np.array([(0, 0), (width, 0), (width, height), (0, height)], float)
        seen = cv2.perspectiveTransform(corners.reshape(-1, 1, 2), np.linalg.inv(self.to_px))
        return seen.reshape(-1, 2).min(0), seen.reshape(-1, 2).max(0)

    def box(self, points_mm) -> tuple[slice, slice]:
        """Rows and columns of the picture that hold all these points."""
        pixels = self.project(points_mm)
        low = np.clip(np.floor(pixels.min(0)).astype(int), 0, self.size)
        high = np.clip(np.ceil(pixels.max(0)).astype(int) + 1, 0, self.size)
        return slice(low[1], high[1]), slice(low[0], high[0])

    def mm_per_px(self, point_mm) -> float:
        """Geometric mean over all directions at one point of the plane."""
        x, y = point_mm
        corners = self.project([(x, y), (x + 0.1, y), (x, y + 0.1)])
        area = abs(np.linalg.det(corners[1:] - corners[0]))
        return 0.1 / float(np.sqrt(area))


def look(size: tuple[int, int], scale: float, tilt_degrees: float, azimuth_degrees: float) -> View:
    """A view of the plane's origin; tilt 0 looks straight down on it."""
    width, height = size
    focal = FOCAL_SHARE * width
    azimuth, tilt = np.radians([azimuth_degrees, tilt_degrees])
    turn, _ = cv2.Rodrigues(np.array([np.cos(azimuth), np.sin(azimuth), 0.0]) * tilt)
    pose = np.column_stack([turn[:, 0], turn[:, 1], [0.0, 0.0, focal / scale]])
    lens = np.array([[focal, 0, (width - 1) / 2], [0, focal, (height - 1) / 2], [0, 0, 1]])
    return View(lens @ pose, size, scale)
