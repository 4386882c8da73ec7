"""Photos and what was measured in them, in a keeper's words; see ``people.kinds``."""

from flockcare.people.kinds import Kind, register
from flockcare.photos.models import Measurement, Photo

TURNED = {1: "a quarter to the right", 2: "upside down", 3: "a quarter to the left"}


def _title_of_photo(said: dict) -> str:
    of = " ".join(said[name] for name in ("bird_id", "foot") if said[name] != "nothing")
    return f"Photo of {of or 'an unknown bird'}, {said['taken']}"


register(
    Kind(
        Photo,
        title=_title_of_photo,
        page=lambda photo: ("photos:photo", photo.pk),
        hidden=frozenset(
            {"width", "height", "stored_bytes", "sha256", "look_hash", "added_at", "edition"}
            | {"stored_as", "damaged_since"}
        )
        | {"keeper_id", "of_house"},
        # Files hang on these; the photo's own page undoes them.
        fixed=frozenset({"deleted_at", "quarter_turns", "crop"}),
        bring_back=None,
        # Sorting changes hundreds at once, and has an undo of its own.
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
