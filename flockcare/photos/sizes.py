"""The sizes in which a photo is shown, made from its original, turned and cropped as it is."""

import io

from PIL import Image

from flockcare.core.files import opened
from flockcare.photos.intake import SIZES
from flockcare.photos.models import Photo

# Clockwise, as it is meant; Pillow counts the other way.
_TURNS = {
    1: Image.Transpose.ROTATE_270,
    2: Image.Transpose.ROTATE_180,
    3: Image.Transpose.ROTATE_90,
}


def sizes(photo: Photo) -> dict[int, bytes]:
    """What is shown at each size, from the stored original."""
    with opened(photo.path()) as file:
        return sizes_from(file, photo)


def sizes_from(file, photo: Photo) -> dict[int, bytes]:
    """Each size made from the one above it, the first from the original, a JPEG in ``file``."""
    shown = _largest(file, photo)
    made = {}
    for side in SIZES:
        if shown.size != photo.shown_at(side):
            shown = shown.resize(photo.shown_at(side), Image.Resampling.LANCZOS, reducing_gap=2.0)
        out = io.BytesIO()
        shown.save(out, "JPEG", quality=85, subsampling="4:2:0")
        made[side] = out.getvalue()
    return made


def _largest(file, photo: Photo) -> Image.Image:
    """What is shown, at the largest size; a large photo is decoded no larger than it needs."""
    factor = max(1, max(photo.shown) // SIZES[0])
    width, height = photo.shown_at(SIZES[0])
    if photo.quarter_turns % 2:
        width, height = height, width
    with Image.open(file, formats=["JPEG"]) as image:
        # The decoder halves, quarters … the picture as far as it stays larger than this.
        image.draft("RGB", (photo.width // factor, photo.height // factor))
        part = [edge * image.width / photo.width for edge in photo.crop_box]
        part[2], part[3] = min(part[2], image.width), min(part[3], image.height)
        shown = image.convert("RGB").resize(
            (width, height), Image.Resampling.LANCZOS, box=part, reducing_gap=2.0
        )
    return shown.transpose(_TURNS[photo.quarter_turns]) if photo.quarter_turns else shown
