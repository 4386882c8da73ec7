"""How sharp pictures of the same thing are, so that the best of several copies can be told."""

import numpy as np
from django.core.cache import cache
from PIL import Image

from flockcare.core.files import FileLost, opened
from flockcare.photos.intake import SIZES
from flockcare.photos.models import Photo

# At this size a blur that a keeper would see is seen, and a copy made smaller loses nothing.
SIDE = SIZES[1]
KEPT_SECONDS = 7 * 24 * 3600


def sharpness(image: Image.Image, side: int) -> float:
    """Variance of the Laplacian of the grey levels, the picture reduced to ``side`` pixels.

    Only comparable between pictures of the same thing at the same ``side``. Source: Pech-Pacheco
    et al. (2000), Diatom autofocusing in brightfield microscopy; from memory.
    """
    grey = image.convert("L")
    grey.thumbnail((side, side))
    levels = np.asarray(grey, dtype=np.float32)
    laplacian = (
        levels[:-2, 1:-1]
        + levels[2:, 1:-1]
        + levels[1:-1, :-2]
        + levels[1:-1, 2:]
        - 4 * levels[1:-1, 1:-1]
    )
    return float(laplacian.var()) if laplacian.size else 0.0


def sharpness_of(photos: list[Photo]) -> dict[Photo, float]:
    """Of photos of the same thing; without those whose file is gone. Kept once it was measured."""
    side = min([SIDE, *(max(photo.shown) for photo in photos)])
    found = {}
    for photo in photos:
        name = f"sharpness-{photo.pk}-{photo.edition}-{side}"
        if (kept := cache.get(name)) is None:
            try:
                with opened(photo.path(SIDE)) as file, Image.open(file, formats=["JPEG"]) as image:
                    kept = sharpness(image, side)
            except (FileLost, OSError):
                continue
            cache.set(name, kept, KEPT_SECONDS)
        found[photo] = kept
    return found
