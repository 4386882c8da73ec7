"""Photos and what was measured in them, in a keeper's words; see ``people.kinds``."""

from django.core.exceptions import ValidationError
from django.utils import timezone

from flockcare.people import history
from flockcare.people.kinds import Kind
from flockcare.people.restoring import holding
from flockcare.photos import editing
from flockcare.photos.models import Measurement, Photo

TURNED = {1: "a quarter to the right", 2: "upside down", 3: "a quarter to the left"}


def _title_of_photo(said: dict) -> str:
    of = " ".join(said[name] for name in ("bird_id", "foot") if said[name] != "nothing")
    return f"Photo of {of or 'an unknown bird'}, {said['taken']}"


def _undo_photo(photo: Photo, *, by, kept: dict) -> None:
    if (photo.quarter_turns, photo.crop) != (kept.get("quarter_turns"), kept.get("crop")):
        raise ValidationError("Turn it back, or show all of it again, on the photo’s own page.")
    if photo.deleted_at and not kept.get("deleted_at"):
        editing.put_back(photo=photo, keeper=by)
    history.change(holding(photo, kept, but=OF_FILES | {"keeper_id"}), by=by)


def _drop_photos(photos, *, by) -> None:
    """As if each had been deleted: their files go with them, after a while."""
    for photo in photos:
        photo.bird, photo.deleted_at = None, timezone.now()
        history.change(photo, by=by)


OF_FILES = frozenset(
    {
        "width",
        "height",
        "stored_bytes",
        "sha256",
        "look_hash",
        "added_at",
        "edition",
        "film_focal_mm",
    }
    | {"stored_as", "damaged_since"}
)

KINDS = (
    Kind(
        Photo,
        title=_title_of_photo,
        page=lambda photo: ("photos:photo", photo.pk),
        hidden=OF_FILES | {"keeper_id", "of_house"},
        # Files hang on these; the photo's own page undoes them.
        fixed=frozenset({"deleted_at", "quarter_turns", "crop"}),
        undo=_undo_photo,
        bring_back=None,
        drop=_drop_photos,
        # Their own pages show it.
        listed=False,
        labels={
            "deleted_at": "Deleted",
            "quarter_turns": "Turned",
            "crop": "Shown",
            "taken_precision": "How exactly that is known",
            "taken_source": "Where the date is from",
        },
        words={
            "quarter_turns": lambda turns, names: TURNED.get(turns, ""),
            "crop": lambda box, names: "a part of it" if box else "all of it",
        },
    ),
    Kind(
        Measurement,
        title=lambda said: f"Measurement of {said['area_mm2']}, {said['at']}",
        page=lambda measurement: ("photos:photo", measurement.photo_id),
        hidden=frozenset({"to_mm", "outline_px", "outline_mm", "relative_area_error"}),
        labels={"at": "When", "keeper_id": "Measured by"},
        words={
            "area_mm2": lambda area, names: f"{area:.1f} mm²",
            "perimeter_mm": lambda length, names: f"{length:.1f} mm",
            "longest_diameter_mm": lambda length, names: f"{length:.1f} mm",
        },
    ),
)
