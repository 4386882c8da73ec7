"""What is shown of a photo: turned by quarters, and only a part of it."""

import io
from dataclasses import replace

from flockcare.exchange import cells
from flockcare.photos.editing import LEAST_CROP_PX
from flockcare.photos.intake import TakenIn
from flockcare.photos.models import Photo
from flockcare.photos.sizes import sizes_from


def box(text: str) -> list[int]:
    """Left, top, right, bottom in pixels of the original."""
    edges = [cells.integer(part) for part in text.split()]
    if len(edges) != 4:
        raise ValueError(f"“{text}” is not four numbers: left, top, right, bottom.")
    return edges


def fitting(edges: list[int] | None, picture: TakenIn) -> list[int] | None:
    """``edges`` if they keep something of the picture to be seen; None where they keep it all."""
    if edges in (None, [0, 0, picture.width, picture.height]):
        return None
    left, top, right, bottom = edges
    if not (0 <= left < right <= picture.width and 0 <= top < bottom <= picture.height):
        raise ValueError(
            f"This part lies outside the photo, which is {picture.width} × {picture.height}."
        )
    least = min(LEAST_CROP_PX, picture.width, picture.height)
    if min(right - left, bottom - top) < least:
        raise ValueError(f"This part is too small to see: it needs {least} pixels each way.")
    return edges


def as_shown(picture: TakenIn, *, quarter_turns: int, crop: list[int] | None) -> TakenIn:
    """The picture with its smaller sizes turned (clockwise) and cropped; the original stays."""
    if not quarter_turns and crop is None:
        return picture
    photo = Photo(
        width=picture.width, height=picture.height, quarter_turns=quarter_turns, crop=crop
    )
    return replace(picture, sizes=sizes_from(io.BytesIO(picture.original), photo))
