"""How a foot is held before the camera."""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Pose:
    """Foot millimetres -> plane millimetres: point @ matrix.T + shift."""

    matrix: np.ndarray
    shift: np.ndarray
    size: float

    @classmethod
    def held(cls, side: str, size: float, random: np.random.Generator) -> "Pose":
        turn = np.radians(random.uniform(-9, 9))
        rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        mirror = np.diag([{"right": 1.0, "left": -1.0}[side], 1.0])
        shift = np.array([0.0, 16.0 * size]) + random.uniform(-3, 3, 2)
        return cls(rotation @ mirror * size, shift, size)

    def to_plane(self, points) -> np.ndarray:
        return np.asarray(points, float) @ self.matrix.T + self.shift

    def to_foot(self, x, y):
        back = np.linalg.inv(self.matrix)
        across, down = x - np.float32(self.shift[0]), y - np.float32(self.shift[1])
        (a, b), (c, d) = back.astype(np.float32)
        return a * across + b * down, c * across + d * down
