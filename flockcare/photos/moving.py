"""Saying that a photo shows another bird or the other foot. Its files stay where they are, and so
do its measurements, outlines and the reading of its card: they are of the picture.
"""

from collections.abc import Iterable

from django.core.exceptions import ValidationError
from django.utils import timezone

from flockcare.people import history
from flockcare.photos.models import DateSource, Foot, Photo, Precision

OTHER_FOOT = {Foot.LEFT.value: Foot.RIGHT.value, Foot.RIGHT.value: Foot.LEFT.value}
# Dates that say when it was taken; the others only say when it was copied or sent.
TRUSTED = (DateSource.CAMERA, DateSource.FILE_NAME, DateSource.HAND)


def validate_day(photo: Photo, bird) -> None:
    """ValidationError where she had left, or had not hatched, when it was taken."""
    day_is_known = photo.taken_precision in (Precision.MOMENT, Precision.DAY)
    if bird and day_is_known and photo.taken_source in TRUSTED:
        bird.validate_day(timezone.localdate(photo.taken, photo.flock.zone))


def move(*, photo: Photo, by, bird, foot: str, basis=None) -> None:
    """It is of this bird (None: nobody knows which) and foot (empty: the whole bird).

    Inside the caller's transaction. ``basis``: see ``history.settle``.
    """
    if photo.of_house:
        raise ValidationError("This is a photo of a house, not of a bird.")
    if bird != photo.bird or foot:
        photo.face_since = None  # it stands for a bird that it does not show
    photo.bird, photo.foot = bird, foot
    # It waits for no form any more, were it nobody's.
    Photo.with_deleted.filter(pk=photo.pk).update(with_form=False)
    history.change(photo, by=by, basis=basis)


def move_along(photos: Iterable[Photo], *, by, bird, feet=None) -> list[Photo]:
    """Photos go with their record to this bird, and to other feet as ``feet`` says; those moved."""
    moved = []
    for photo in photos:
        foot = (feet or {}).get(photo.foot, photo.foot)
        if (photo.bird_id, photo.foot) != (bird.pk, foot):
            move(photo=photo, by=by, bird=bird, foot=foot)
            moved.append(photo)
    return moved
