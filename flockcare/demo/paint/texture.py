"""Noise and grain from which surfaces are made. All arrays are float32."""

from functools import cache

import cv2
import numpy as np


def fog(random: np.random.Generator, shape: tuple[int, int], cell: float, octaves: int = 3):
    """Smooth noise about zero, mostly within ±1; `cell` is the size of its largest blotches, px."""
    height, width = shape
    total = np.zeros(shape, np.float32)
    for octave in range(octaves):
        size = cell / 2**octave
        rows, columns = int(height / size) + 3, int(width / size) + 3
        grid = random.standard_normal((rows, columns), dtype=np.float32) * 0.5**octave
        total += cv2.resize(grid, (width, height), interpolation=cv2.INTER_CUBIC)
    return total * 0.6


@cache
def pebbles(cells: int = 24, side: int = 384):
    """A tile that repeats without a seam: rounded grains, 1 at their tops and 0 between them."""
    random = np.random.default_rng(0)
    centres = np.stack(np.meshgrid(np.arange(cells), np.arange(cells)), -1).astype(np.float32)
    centres[1::2, :, 0] += 0.5
    centres += 0.5 + random.uniform(-0.27, 0.27, centres.shape).astype(np.float32)
    place = (np.arange(side, dtype=np.float32) + 0.5) * cells / side
    x, y = np.meshgrid(place, place)
    column, row = x.astype(int), y.astype(int)
    nearest = np.full((side, side), 9.0, np.float32)
    second = nearest.copy()
    for down in (-1, 0, 1):
        for right in (-2, -1, 0, 1):
            other = centres[(row + down) % cells, (column + right) % cells]
            across = (x - other[..., 0] + cells / 2) % cells - cells / 2
            along = (y - other[..., 1] + cells / 2) % cells - cells / 2
            distance = np.hypot(across, along)
            second = np.minimum(second, np.maximum(nearest, distance))
            nearest = np.minimum(nearest, distance)
    return np.sqrt(np.clip((second - nearest) * 1.9, 0, 1))


def lay(tile, x, y, period: float):
    """The repeating tile looked up at plane coordinates x, y; one tile is `period` wide."""
    scale = tile.shape[0] / period
    across = np.remainder(x * scale, tile.shape[1]).astype(np.float32)
    down = np.remainder(y * scale, tile.shape[0]).astype(np.float32)
    return cv2.remap(tile, across, down, cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP)


def blur(field, sigma: float):
    """Gaussian blur; wide ones are done on a smaller copy."""
    if sigma < 6:
        return cv2.GaussianBlur(field, (0, 0), sigma)
    step = int(sigma / 3)
    height, width = field.shape[:2]
    small = cv2.resize(field, (width // step, height // step), interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), sigma / step)
    return cv2.resize(small, (width, height), interpolation=cv2.INTER_CUBIC)


def shifted(field, pixels: float):
    """Moved right and down; what comes in from outside repeats the edge."""
    move = np.float32([[1, 0, pixels], [0, 1, pixels]])
    size = field.shape[1], field.shape[0]
    return cv2.warpAffine(field, move, size, borderMode=cv2.BORDER_REPLICATE)


def mix(below, above, share):
    """`above` over `below`; share 0 … 1 for each pixel, colours with three channels."""
    mixed = np.subtract(above, below, dtype=np.float32)
    mixed *= share[..., None]
    mixed += below
    return mixed
