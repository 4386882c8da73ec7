"""The photos of a bird, for her timeline."""

from django.db import models

from flockcare.birds.layers import Mark, Window
from flockcare.birds.models import Bird
from flockcare.core.addresses import urls_of
from flockcare.core.prepared import Prepared
from flockcare.photos.models import Foot, Photo, Precision

_VAGUE = {Precision.MONTH: "day not known", Precision.YEAR: "only the year known"}


PHOTOS = Prepared(
    lambda bird, start, end: (
        Photo.objects.filter(bird=bird, taken__gte=start, taken__lt=end)
        .order_by("taken", "added_at")
        .values_list("pk", "foot", "taken", "taken_precision", "note", "keeper__name")
    ),
    bird=models.UUIDField(),
    start=models.DateTimeField(),
    end=models.DateTimeField(),
)


def photos(bird: Bird, window: Window) -> list[Mark]:
    """A photo known to the month or year stands where that begins, and says so."""
    start, end = window.moments
    picture, page = (
        urls_of("photos:file", bird.flock_id, 240),
        urls_of("photos:photo", bird.flock_id),
    )
    rows = PHOTOS.rows(bird=bird.pk, start=start, end=end)
    return [
        Mark(
            at=taken,
            lane="photos",
            kind="photo",
            label=": ".join(filter(None, (_words(foot, precision), note))),
            url=page(pk),
            by=by or "",
            picture=picture(pk),
        )
        for pk, foot, taken, precision, note, by in rows
    ]


def _words(foot: str, precision: str) -> str:
    words = f"photo of the {Foot(foot).label}" if foot else "photo"
    return f"{words} ({_VAGUE[precision]})" if precision in _VAGUE else words
