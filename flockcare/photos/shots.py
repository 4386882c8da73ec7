"""Photos as they stand beside a record: whether they can be measured, and whose card they show."""

from collections.abc import Iterable
from dataclasses import dataclass

from flockcare.photos.measuring import doubt, named_by
from flockcare.photos.models import CardReading, Photo

SHOWN_TO_MEASURE = 3


@dataclass(frozen=True)
class Shot:
    """``to_measure``: its card gives a scale, and nothing was measured in it yet. ``doubt``: what
    speaks against the card belonging to this photo, in words.
    """

    photo: Photo
    to_measure: bool = False
    doubt: str = ""


def shots(photos: Iterable[Photo]) -> list[Shot]:
    photos = list(photos)
    if not photos:
        return []
    readings = {
        reading.photo_id: reading for reading in CardReading.objects.filter(photo__in=photos)
    }
    measured = _measured(readings)
    return [
        Shot(
            photo,
            to_measure=readings[photo.pk].view is not None and photo.pk not in measured,
            doubt=doubt(photo, readings[photo.pk]),
        )
        if photo.pk in readings
        else Shot(photo)
        for photo in photos
    ]


def _measured(readings: dict) -> set:
    if not readings:
        return set()
    found = Photo.objects.filter(pk__in=readings, measurements__isnull=False)
    return set(found.values_list("pk", flat=True))


def to_measure(bird) -> list[Photo]:
    """Her newest photos whose card gives a scale and in which nothing was measured yet."""
    photos = Photo.objects.filter(
        bird=bird, card_reading__view__isnull=False, measurements__isnull=True
    )
    newest = photos.select_related("card_reading").order_by("-added_at")[:SHOWN_TO_MEASURE]
    return [one for one in newest if named_by(one.card_reading.code)[0] == str(bird.pk)]
