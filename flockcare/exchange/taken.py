"""When a photo was taken, as the text of a cell and back."""

from datetime import datetime

from flockcare.exchange import cells
from flockcare.photos.models import Precision

_FORMS = {Precision.YEAR: "%Y", Precision.MONTH: "%Y-%m", Precision.DAY: "%Y-%m-%d"}


def taken_text(photo, zone) -> str:
    if photo.taken is None or photo.taken_precision == Precision.UNKNOWN:
        return ""
    local = photo.taken.astimezone(zone)
    if photo.taken_precision == Precision.MOMENT:
        return f"{local.date()} {cells.clock_text(local)}"
    return local.strftime(_FORMS[photo.taken_precision])


def read_taken(text: str, zone) -> tuple[datetime, Precision]:
    """The earliest moment that a text like 2023, 2023-05, 2023-05-14 or 2023-05-14 16:05 means."""
    day_part, _, clock_part = text.replace("T", " ").partition(" ")
    partial = cells.partial(day_part)
    clock = cells.clock(clock_part.strip()) if clock_part else None
    if clock and not partial.day:
        raise ValueError(f"“{text}” has a time but no day.")
    at = cells.moment(partial.first(), clock or cells.MIDNIGHT, zone)
    if clock:
        return at, Precision.MOMENT
    return at, Precision.DAY if partial.day else (
        Precision.MONTH if partial.month else Precision.YEAR
    )
