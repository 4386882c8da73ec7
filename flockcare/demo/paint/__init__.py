"""Paints invented photographs of the sole of a hen's foot, with a sore of exactly known size.

For the demo flock, and for tests of measuring: whatever is painted lies in one plane, and the true
outline, area and scale come back with the picture. The same arguments give the same pixels.
"""

from dataclasses import dataclass

import numpy as np
from PIL import Image

from flockcare.demo.paint.anatomy import PLACES, foot_shape
from flockcare.demo.paint.camera import look
from flockcare.demo.paint.finish import exposed, lay_card
from flockcare.demo.paint.grounds import GROUNDS
from flockcare.demo.paint.pose import Pose
from flockcare.demo.paint.skin import LEGS, Skin
from flockcare.demo.paint.sore import SCABS, Sore, add_sore, polygon_area

__all__ = ["GROUNDS", "LEGS", "PLACES", "SCABS", "Foot", "Painted", "Sore", "paint_foot"]

SCALE = 10.6  # pixels per mm when 1200 px are high: the whole foot fits


@dataclass(frozen=True)
class Foot:
    """One foot of one hen; the same seed gives the same foot in every photograph.

    side "left" or "right"; leg one of LEGS; size 1.0 for a middling hen, 0.7 … 1.3.
    """

    side: str
    leg: str = "yellow"
    size: float = 1.0
    seed: int = 0


@dataclass(frozen=True)
class Painted:
    """A picture and the truth about it.

    image        RGB
    to_px        (3, 3) homography from the plane in mm to pixels (whole = centre of a pixel)
    mm_per_px    in the plane, at the middle of the sore, or of the main pad if there is none
    outline_mm   (n, 2) edge of the sore in the plane, None without one
    outline_px   (n, 2) the same in the picture
    area_mm2     inside that outline, None without one
    """

    image: Image.Image
    to_px: np.ndarray
    mm_per_px: float
    outline_mm: np.ndarray | None
    outline_px: np.ndarray | None
    area_mm2: float | None


def paint_foot(
    foot: Foot,
    *,
    seed: int,
    ground: str = "straw",
    sore: Sore | None = None,
    card_code: str | None = None,
    tilt_degrees: float = 0.0,
    width: int = 1600,
    height: int = 1200,
) -> Painted:
    """Photograph `foot`; `seed` is this photograph's: its light, its background, how it is held.

    ground: one of GROUNDS. card_code: lays the printed card of that code over the foot, the sore
    (else the main pad) in its window. tilt_degrees: between the view and the upright on the plane.
    """
    photo = np.random.default_rng(seed)
    view = look((width, height), SCALE * height / 1200, tilt_degrees, photo.uniform(0, 360))
    pose = Pose.held(foot.side, foot.size, photo)
    shape = foot_shape(np.random.default_rng(foot.seed))
    picture = GROUNDS[ground](photo, view)
    skin = Skin(view, pose, shape, LEGS[foot.leg], np.random.default_rng(foot.seed + 1))
    middle = pose.to_plane([shape.places[sore.place if sore else "pad"]])[0]
    outline = add_sore(skin, sore, middle) if sore else None
    skin.over(picture)
    if card_code is not None:
        lay_card(picture, view, card_code, middle, photo)
    return Painted(
        image=exposed(picture, view, photo),
        to_px=view.to_px,
        mm_per_px=view.mm_per_px(middle),
        outline_mm=outline,
        outline_px=None if outline is None else view.project(outline),
        area_mm2=None if outline is None else polygon_area(outline),
    )
