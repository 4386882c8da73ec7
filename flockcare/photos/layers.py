"""The photos of a bird, for her timeline."""

from django.db import models

from flockcare.birds.layers import Mark, Window
from flockcare.birds.models import Bird
from flockcare.core.addresses import urls_of
from flockcare.core.prepared import Prepared
from flockcare.photos.models import DateSource, Foot, Photo, Precision

_VAGUE = {Precision.MONTH: "day not known", Precision.YEAR: "only the year known"}
_DOUBTFUL = {
    DateSource.FILE_TIME: "date doubtful: the time of the file",
    DateSource.UPLOAD: "date doubtful: when it was sent",
}


PHOTOS = Prepared(
    lambda bird, start, end: (
        Photo.objects.filter(bird=bird, taken__gte=start, taken__lt=end)
        .order_by("taken", "added_at")
        .values_list(
            "pk", "foot", "taken", "taken_precision", "taken_source", "note", "keeper__name"
        )
    ),
    bird=models.UUIDField(),
    start=models.DateTimeField(),
    end=models.DateTimeField(),
)


def photos(bird: Bird, window: Window) -> list[Mark]:
    """A photo known to the month or year stands where that begins, and says so; a doubtful date
    is said too. Both are of the kind ``unsure photo``."""
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
            kind="unsure photo" if _doubt(precision, source) else "photo",
            label=": ".join(filter(None, (_words(foot, _doubt(precision, source)), note))),
            url=page(pk),
            by=by or "",
            picture=picture(pk),
        )
        for pk, foot, taken, precision, source, note, by in rows
    ]


def _doubt(precision: str, source: str) -> str:
    return _VAGUE.get(precision) or _DOUBTFUL.get(source, "")


def _words(foot: str, doubt: str) -> str:
    words = f"photo of the {Foot(foot).label}" if foot else "photo"
    return f"{words} ({doubt})" if doubt else words
