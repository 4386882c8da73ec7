"""Photos as they are printed: cut out, at the right scale, fine enough and never blown up."""

from __future__ import annotations

import io
from dataclasses import dataclass
from math import ceil

import numpy as np
from django.core.files.storage import default_storage
from PIL import Image

from flockcare.vetsheet.sheet import PrintPhoto

DPI = 300
# Below this the untouched original is opened, which takes several times as long.
ENOUGH_DPI = 200
MM_PER_INCH = 25.4
_JPEG = {"quality": 85, "subsampling": "4:2:0"}


@dataclass(frozen=True, slots=True)
class Print:
    """A JPEG and the size in mm at which it is to be printed."""

    jpeg: bytes
    width_mm: float
    height_mm: float


def printed(photo: PrintPhoto, *, box_mm: float, span_mm: float | None) -> Print | None:
    """None where the file is no longer there or cannot be read."""
    try:
        if photo.measured:
            return _to_scale(photo, box_mm, span_mm)
        return _whole(photo, box_mm)
    except (OSError, Image.DecompressionBombError):
        return None


def _whole(photo: PrintPhoto, box_mm: float) -> Print:
    wanted = box_mm / MM_PER_INCH * DPI
    image = _open(_path_for(photo, wanted))
    most = round(wanted)
    image.draft("RGB", (most, most))
    image.thumbnail((most, most), Image.Resampling.LANCZOS)
    scale = box_mm / max(photo.shown)
    width, height = (side * scale for side in photo.shown)
    return Print(_jpeg(image), width, height)


def _to_scale(photo: PrintPhoto, box_mm: float, span_mm: float) -> Print:
    """A square piece around the sore, ``span_mm`` of the foot wide."""
    a, b, c, d, e, f = photo.to_mm
    to_mm = np.array([(a, c, e), (b, d, f), (0, 0, 1)])
    wanted = box_mm / MM_PER_INCH * DPI / span_mm  # Pixels for a mm of the foot.
    image, to_shown = _fine_enough(photo, wanted * photo.mm_per_pixel)
    to_mm = to_mm @ to_shown
    have = 1 / _mm_per_pixel(to_mm)
    pixels = max(1, round(span_mm * min(have, wanted)))
    # The filter looks at neighbours only: what is much finer is first reduced.
    if (factor := int(have / wanted)) > 1:
        image = image.reduce(factor)
        to_mm = to_mm @ np.diag([factor, factor, 1.0])
    step = span_mm / pixels
    from_pixel = np.array([(step, 0, -span_mm / 2), (0, step, -span_mm / 2), (0, 0, 1)])
    back = np.linalg.inv(to_mm) @ from_pixel
    piece = image.convert("RGB").transform(
        (pixels, pixels),
        Image.Transform.AFFINE,
        back[:2].ravel().tolist(),
        Image.Resampling.BICUBIC,
        fillcolor=(255, 255, 255),
    )
    return Print(_jpeg(piece), box_mm, box_mm)


def _mm_per_pixel(to_mm: np.ndarray) -> float:
    return float(np.sqrt(abs(np.linalg.det(to_mm[:2, :2]))))


def _fine_enough(photo: PrintPhoto, share: float) -> tuple[Image.Image, np.ndarray]:
    """A file that has ``share`` pixels for each pixel of what is shown, or as many as there are.

    With it the map (3 × 3) from its pixels to those of what is shown.
    """
    longest, largest = max(photo.shown), photo.paths[-1][0]
    if largest < min(longest, longest * share * ENOUGH_DPI / DPI):
        image = _open(photo.original)
        width, height = image.size
        image.draft("RGB", (ceil(width * share), ceil(height * share)))
        larger = np.diag([width / image.width, height / image.height, 1.0])
        return image, _square(photo.from_original) @ larger
    image = _open(_path_for(photo, longest * share))
    larger = longest / max(image.size)
    return image, np.diag([larger, larger, 1.0])


def _square(rows: tuple[float, ...]) -> np.ndarray:
    """Edges of pixels to edges of pixels: ``to_shown`` takes whole numbers for pixel centres."""
    matrix = np.vstack([np.reshape(rows, (2, 3)), (0, 0, 1)])
    return matrix @ np.array([(1, 0, -0.5), (0, 1, -0.5), (0, 0, 1)])


def _path_for(photo: PrintPhoto, side: float) -> str:
    """The smallest file that is fine enough, else the largest."""
    return next((path for long, path in photo.paths if long >= side), photo.paths[-1][1])


def _open(path: str) -> Image.Image:
    with default_storage.open(path) as file:
        return Image.open(io.BytesIO(file.read()), formats=["JPEG"])


def _jpeg(image: Image.Image) -> bytes:
    out = io.BytesIO()
    image.convert("RGB").save(out, "JPEG", **_JPEG)
    return out.getvalue()
