"""The photos of a bird, for her timeline."""

from django.urls import reverse

from flockcare.birds.models import Bird
from flockcare.drawing.timeline import Mark, Window
from flockcare.photos.models import IS_FACE, DateSource, Foot, Photo, Precision

_VAGUE = {Precision.MONTH: "day not known", Precision.YEAR: "only the year known"}
_DOUBTFUL = {
    DateSource.FILE_TIME: "date doubtful: the time of the file",
    DateSource.UPLOAD: "date doubtful: when it was sent",
}


def photos(bird: Bird, window: Window) -> list[Mark]:
    """A photo known to the month or year stands where that begins, and says so; a doubtful date
    is said too. Both are of the kind ``unsure photo``. A portrait without a date has no place."""
    start, end = window.moments
    rows = (
        Photo.objects.filter(bird=bird, of_house=False, taken__gte=start, taken__lt=end)
        .exclude(IS_FACE, taken_source__in=_DOUBTFUL)
        .order_by("taken", "added_at")
        .values_list(
            "pk", "foot", "taken", "taken_precision", "taken_source", "note", "keeper__name"
        )
    )
    marks = []
    for pk, foot, taken, precision, source, note, by in rows:
        doubt = _VAGUE.get(precision) or _DOUBTFUL.get(source, "")
        marks.append(
            Mark(
                at=taken,
                lane="photos",
                kind="unsure photo" if doubt else "photo",
                label=": ".join(filter(None, (_words(foot, doubt), note))),
                url=reverse("photos:photo", args=[bird.flock_id, pk]),
                by=by or "",
                picture=reverse("photos:file", args=[bird.flock_id, pk, 240]),
            )
        )
    return marks


def _words(foot: str, doubt: str) -> str:
    words = f"photo of the {Foot(foot).label}" if foot else "photo"
    return f"{words} ({doubt})" if doubt else words
