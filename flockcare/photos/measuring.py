"""Measuring a sore in a photo: the scale, a suggested outline, its sizes, and keeping them."""

import logging
import uuid
from contextlib import contextmanager
from dataclasses import dataclass
from math import hypot

import cv2
import numpy as np
from django.db import transaction
from django.utils import timezone
from PIL import Image

from flockcare.analysis import planimetry
from flockcare.birds.models import Bird
from flockcare.core.files import opened
from flockcare.people import history
from flockcare.photos.intake import SIZES
from flockcare.photos.models import Bounds, CardReading, Foot, Measurement, Photo, Scaling
from flockcare.photos.outline import Suggestion, suggest_outline
from flockcare.photos.prints import as_printed, print_for
from flockcare.photos.scale import CannotMeasure, CardView, LengthView, from_known_length, read_card

logger = logging.getLogger(__name__)

# How far a whole edge may be drawn too far in or out (95 %): our assumption for one drawn by hand.
# Suggested ones on painted sores stay within 0.05 mm: tests/studies/suggested_areas.txt.
EDGE_MM = 0.15
# A sore reaches no farther from the tap than this.
SUGGESTED_REACH_MM = 14.0
# Fingers on a small screen miss the end of a known length by about as many of its pixels (95 %):
# common practice, no published source.
TAP_ERROR_SCREEN_PX = 3.0
NARROWEST_SCREEN_PX = 320
# How high a swollen pad may stand above its card where nobody looked, and how far a keeper's eye
# may be off: our assumptions.
NOT_LOOKED_MM = 3.0
HEIGHT_GIVE_MM = 1.5
MOST_POINTS = 400
LARGEST_AREA_MM2 = 3000.0  # more than the sole of the largest hen

NO_CARD = (
    "No card was found in this photo. If it is there, it is too blurred, too small or covered too "
    "much to be seen."
)
TOO_FEW = "The outline needs at least three points."
TOO_MANY = f"The outline has more than {MOST_POINTS} points. Draw it with fewer."
CROSSES = "The outline crosses itself. Move or take away the points where it does."
NO_AREA = "The outline has no area. Move its points apart."
OUTSIDE = "The outline goes outside the photo."
TOO_LARGE = (
    "This outline is larger than a whole foot. Check that the known length is in millimetres and "
    "that its two ends lie where they should."
)
WRONG_CARD = "The card in this photo is {other}’s, but the photo is of {bird}."
UNKNOWN_CARD = "The card in this photo belongs to no bird of this flock."
WRONG_FOOT = "The card in this photo is for the {other}, but the photo is of the {foot}."


@dataclass(frozen=True)
class Scale:
    """What turns pixels into mm, and how it came about."""

    view: CardView | LengthView
    scaled_by: Scaling
    length_mm: float | None = None
    height_mm: float | None = None


@dataclass(frozen=True)
class Sizes(Bounds):
    """Area, perimeter and longest diameter in mm² and mm, with the 95 % bound of the area."""

    outline_mm: np.ndarray
    area_mm2: float
    perimeter_mm: float
    longest_diameter_mm: float
    relative_area_error: float


# --- Scale


def card_code(bird: Bird, foot: str = "") -> str:
    """What the card of a bird, or of one of her feet, says: capitals and digits.

    Codes hold these in fewer modules than other text, which leaves more for what dirt hides.
    """
    return f"{bird.pk.hex}-{foot[0]}".upper() if foot else bird.pk.hex.upper()


def named_by(code: str) -> tuple[str, str]:
    """The bird's key and the foot (or nothing) that a card's code names, as they are written.

    Cards printed before say ``0b9a3f52-6c1e-…-right``.
    """
    start, _, end = code.rpartition("-")
    foot = {word: foot for foot in Foot.values for word in (foot, foot[0].upper())}.get(end, "")
    key = start if start and foot else code
    try:
        return str(uuid.UUID(key)), foot if key is start else ""
    except ValueError:
        return key, foot if key is start else ""


def bird_of_card(flock, code: str) -> tuple[Bird | None, str]:
    """The bird of this flock, and the foot, that a card names."""
    key, foot = named_by(code)
    try:
        bird = Bird.objects.filter(flock=flock, pk=uuid.UUID(key)).first()
    except ValueError:
        bird = None
    return bird, foot if bird else ""


def note_card(photo: Photo) -> CardReading | None:
    """Read the card of a photo that has just come, if there is one, and keep what it says.

    Takes up to some seconds, outside any transaction. Most photos have no card, which the largest
    reduced size tells in a fraction of that. A reader that fails is no reason to lose the photo.
    """
    if known := CardReading.objects.filter(photo=photo).first():
        return known
    try:
        with opened(photo.path(SIZES[0])) as file, Image.open(file, formats=["JPEG"]) as image:
            found = read_card(image) is not None
    except CannotMeasure:
        found = True
    except Exception:
        logger.exception("The card could not be read.")
        return None
    return read_card_anew(photo) if found else None


def card_reading(photo: Photo) -> CardReading:
    """What is known of the card in this photo; it is looked for at the first call."""
    reading = CardReading.objects.filter(photo=photo).first()
    return reading or read_card_anew(photo)


def read_card_anew(photo: Photo) -> CardReading:
    """Look for the card in the original, and keep what came of it."""
    found = {"code": "", "reason": "", "view": None}
    try:
        with original(photo) as image:
            image.draft("L", None)  # the card is black and white: a third of the memory
            view = read_card(image, photo.film_focal_mm)
    except CannotMeasure as refused:
        found |= {"code": refused.code or "", "reason": refused.reason}
    else:
        found |= {"code": view.code or "", "view": view.plain()} if view else {"reason": NO_CARD}
    found["code"] = found["code"][:64]
    reading, _ = CardReading.objects.update_or_create(
        photo=photo, defaults=found, create_defaults={"flock": photo.flock, **found}
    )
    return reading


@contextmanager
def original(photo: Photo):
    """The untouched picture."""
    with (
        opened(photo.path()) as file,
        Image.open(file, formats=["JPEG"]) as image,
    ):
        yield image


def card_scale(reading: CardReading, height_mm: float | None = None) -> Scale:
    """The scale for what stands so far above the card; None where nobody looked.

    Raises CannotMeasure with the reason why this card gives no scale.
    """
    if reading.view is None:
        raise CannotMeasure(reading.reason, reading.code or None)
    view = as_printed(CardView.from_plain(reading.view), print_for(reading.photo))
    if height_mm is None:
        view = view.at_height(0, NOT_LOOKED_MM)
    elif height_mm > 0:
        view = view.at_height(height_mm, HEIGHT_GIVE_MM)
    return Scale(view, Scaling.CARD, height_mm=height_mm)


def length_scale(photo: Photo, ends, length_mm: float, px_per_screen_px: float | None) -> Scale:
    """From the two ends of a known length, (2, 2) pixels of the original.

    px_per_screen_px: how many of them one pixel of the screen showed when the ends were tapped;
    without it, the narrowest screen is taken. Raises CannotMeasure.
    """
    coarsest = max(photo.width, photo.height) / NARROWEST_SCREEN_PX
    px = min(px_per_screen_px or coarsest, coarsest)
    view = from_known_length(*ends, length_mm, tap_error_px=max(1.0, TAP_ERROR_SCREEN_PX * px))
    return Scale(view, Scaling.LENGTH, length_mm)


def doubt(photo: Photo, reading: CardReading) -> str:
    """What speaks against this card belonging to this photo, in words; else empty."""
    if not reading.code or photo.bird_id is None:
        return ""
    key, foot = named_by(reading.code)
    if key != str(photo.bird_id):
        other, _ = bird_of_card(photo.flock, reading.code)
        return WRONG_CARD.format(other=other, bird=photo.bird) if other else UNKNOWN_CARD
    if foot and photo.foot and foot != photo.foot:
        return WRONG_FOOT.format(other=Foot(foot).label, foot=Foot(photo.foot).label)
    return ""


# --- Outline


def suggest(photo: Photo, tap, scale: Scale | None = None) -> Suggestion:
    """The outline, (n, 2) pixels of the original, of what was tapped.

    Raises outline.NoOutline, and CannotMeasure for a tap too far from the card.
    """
    reach = within = None
    if scale:
        start, step = scale.view.to_mm([tap, np.add(tap, (1, 0))])
        reach = SUGGESTED_REACH_MM / float(np.linalg.norm(step - start))
        within = scale.view.window_px() if scale.scaled_by == Scaling.CARD else None
    with original(photo) as image:
        return suggest_outline(image, tap, reach, within)


def sizes(photo: Photo, scale: Scale, outline, spread: float = 0.0) -> Sizes:
    """Sizes inside an outline, (n, 2) pixels of the original.

    spread: that of the suggestion it is, 0 for one drawn by hand.

    Raises CannotMeasure with the reason when it is no outline or must not be measured so.
    """
    points = np.asarray(outline, dtype=float).reshape(-1, 2)
    _check_outline(photo, points)
    outline_mm = scale.view.to_mm(points)
    area, around = planimetry.area(outline_mm), planimetry.perimeter(outline_mm)
    if area > LARGEST_AREA_MM2:
        raise CannotMeasure(TOO_LARGE)
    drawing = EDGE_MM * around / area
    return Sizes(
        outline_mm=outline_mm,
        area_mm2=area,
        perimeter_mm=around,
        longest_diameter_mm=planimetry.longest_diameter(outline_mm),
        relative_area_error=hypot(scale.view.relative_area_error, drawing, spread),
    )


def _check_outline(photo: Photo, points: np.ndarray) -> None:
    if len(np.unique(points, axis=0)) < 3:
        raise CannotMeasure(TOO_FEW)
    if len(points) > MOST_POINTS:
        raise CannotMeasure(TOO_MANY)
    if not photo.holds(points):
        raise CannotMeasure(OUTSIDE)
    if planimetry.crosses_itself(points):
        raise CannotMeasure(CROSSES)
    if planimetry.area(points) < 1:
        raise CannotMeasure(NO_AREA)


# --- Keeping


def next_to_measure(photo: Photo) -> Photo | None:
    """Another photo whose card gives a scale and in which nothing was measured: of the same foot,
    the next in time or else the oldest; where it has none, the newest of the flock's."""
    waiting = Photo.objects.filter(
        flock_id=photo.flock_id,
        of_house=False,
        foot__in=Foot.values,
        card_reading__view__isnull=False,
        measurements__isnull=True,
    ).exclude(pk=photo.pk)
    if photo.bird_id and photo.foot:
        same = list(waiting.filter(bird=photo.bird_id, foot=photo.foot).in_time_order())
        later = [one for one in same if photo.taken and one.taken and one.taken > photo.taken]
        if same:
            return (later or same)[0]
    return waiting.exclude(bird=None).order_by("-added_at", "pk").first()


def measure(
    *, photo: Photo, keeper, scale: Scale, outline, spread: float = 0.0, now=None
) -> Measurement:
    """Keep the sizes inside an outline, as ``sizes`` gives them. Raises CannotMeasure."""
    found = sizes(photo, scale, outline, spread)
    measurement = Measurement(
        flock=photo.flock,
        photo=photo,
        keeper=keeper,
        at=now or timezone.now(),
        scaled_by=scale.scaled_by,
        length_mm=scale.length_mm,
        height_mm=scale.height_mm,
        to_mm=_plane(scale, outline).tolist(),
        outline_px=np.round(outline, 2).tolist(),
        outline_mm=np.round(found.outline_mm, 4).tolist(),
        area_mm2=found.area_mm2,
        perimeter_mm=found.perimeter_mm,
        longest_diameter_mm=found.longest_diameter_mm,
        relative_area_error=found.relative_area_error,
    )
    measurement.full_clean(exclude={"flock", "photo", "keeper"}, validate_constraints=False)
    measurement.save(force_insert=True)
    return measurement


def _plane(scale: Scale, outline) -> np.ndarray:
    """Homography from pixels to mm; the middle of the outline makes four points of a triangle."""
    points = np.asarray(outline, dtype=float).reshape(-1, 2)
    points = np.vstack([points, points.mean(axis=0)])
    # OpenCV works in single precision: near the origin that is far finer than a pixel.
    shift = points.mean(axis=0)
    plane, _ = cv2.findHomography(points - shift, scale.view.to_mm(points))
    back = np.array([(1, 0, -shift[0]), (0, 1, -shift[1]), (0, 0, 1)])
    return plane @ back


@transaction.atomic
def delete_measurement(*, measurement: Measurement, keeper) -> None:
    """Take a measurement back; the one before it counts again."""
    history.delete(measurement, by=keeper)
