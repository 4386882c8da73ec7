"""Turning and cropping what is shown of a photo, deleting it and putting it back.

The original file is never touched: the sizes that are shown are made from it anew, and places in
a photo go on referring to it. Pictures are decoded and files written outside any transaction.
"""

import datetime as dt
from dataclasses import dataclass

from django.core.exceptions import ValidationError
from django.core.files.storage import default_storage
from django.db import transaction
from django.db.models import Count, Q, Sum
from django.utils import timezone

from flockcare.people import history
from flockcare.photos.intake import SIZES
from flockcare.photos.models import Photo
from flockcare.photos.services import may_be_saved, new_part, remove, write
from flockcare.photos.sizes import sizes

KEPT_AFTER_DELETION = dt.timedelta(days=30)
LEAST_CROP_PX = 64


# --- What is shown


def turn(*, photo: Photo, keeper, quarter_turns: int) -> None:
    """Turn what is shown by so many quarters, clockwise."""
    _show(photo, keeper=keeper, quarter_turns=(photo.quarter_turns + quarter_turns) % 4)


def crop(*, photo: Photo, keeper, box: tuple[int, int, int, int] | None) -> None:
    """Show only a part: left, top, right, bottom in pixels of the original; None shows all.

    Raises ValidationError for a part that lies outside the photo or is too small to see.
    """
    _show(photo, keeper=keeper, crop=fitting_box(box, photo.width, photo.height))


def fitting_box(box, width: int, height: int) -> list[int] | None:
    """``box`` if it keeps something of the picture to be seen; None where it keeps it all."""
    if box is None or tuple(box) == (0, 0, width, height):
        return None
    left, top, right, bottom = box
    if not (0 <= left < right <= width and 0 <= top < bottom <= height):
        raise ValidationError(f"This part lies outside the photo, which is {width} × {height}.")
    least = min(LEAST_CROP_PX, width, height)
    if min(right - left, bottom - top) < least:
        raise ValidationError(f"This part is too small to see: keep {least} pixels each way.")
    return list(box)


def _show(photo: Photo, *, keeper, **values) -> None:
    before = photo.edition
    for name, value in values.items():
        setattr(photo, name, value)
    old = [photo.path(size) for size in SIZES]
    # A name of its own: whoever looks at the page meanwhile still gets the files before.
    photo.edition = new_part()
    files = {photo.path(size): content for size, content in sizes(photo).items()}
    photo.stored_bytes = sum(map(len, files.values())) + default_storage.size(photo.path())
    written = write(files)
    try:
        with transaction.atomic():
            stored = Photo.objects.select_for_update().filter(pk=photo.pk).first()
            if stored is None or stored.edition != before:
                raise ValidationError("Somebody has just changed this photo. Reload the page.")
            history.change(photo, by=keeper)
    except Exception as error:
        if not may_be_saved(error):
            remove(written)
        raise
    remove(old)


# --- Deleting


def hanging_on(photo: Photo) -> list[tuple[int, str]]:
    """What belongs to a photo or is shown with it: how many, and their name."""
    found = []
    for relation in photo._meta.related_objects:
        name = relation.related_model._meta
        if relation.one_to_many or relation.many_to_many:
            count = getattr(photo, relation.get_accessor_name()).count()
            found.append(
                (count, str(name.verbose_name if count == 1 else name.verbose_name_plural))
            )
    return [(count, name) for count, name in found if count]


def used_in_records(keys) -> set:
    """Keys of those of these photos that a check, care or a measurement has; one query."""
    names = [
        relation.name
        for relation in Photo._meta.related_objects
        if relation.one_to_many or relation.many_to_many
    ]
    used = Q(*((f"{name}__isnull", False) for name in names), _connector=Q.OR)
    return set(Photo.objects.filter(used, pk__in=keys).values_list("pk", flat=True))


def gone_on(photo: Photo) -> dt.datetime:
    """When a deleted photo cannot be put back any more."""
    return photo.deleted_at + KEPT_AFTER_DELETION


@transaction.atomic
def delete(*, photo: Photo, keeper, now=None) -> None:
    """Hide a photo; for 30 days it can be put back with all that hangs on it."""
    photo.deleted_at = now or timezone.now()
    history.change(photo, by=keeper)


def put_back(*, photo: Photo, keeper, now=None) -> None:
    """Raises ValidationError when it is too late, or the same photo was sent again since."""
    if photo.deleted_at is None:
        return
    if gone_on(photo) <= (now or timezone.now()):
        raise ValidationError("This photo was deleted more than 30 days ago and is gone.")
    with transaction.atomic():
        if Photo.objects.filter(flock=photo.flock_id, sha256=photo.sha256).exists():
            raise ValidationError("The same photo has been sent again since. Open that one.")
        photo.deleted_at = None
        history.change(photo, by=keeper)


def purge(*, now=None) -> int:
    """Remove what was deleted more than 30 days ago, files first; how many photos that were.

    Cut off half-way, it ends its work the next time.
    """
    too_old = (now or timezone.now()) - KEPT_AFTER_DELETION
    photos = list(Photo.with_deleted.filter(deleted_at__lte=too_old))
    for photo in photos:
        remove(photo.paths())
        with transaction.atomic():
            history.delete(photo, by=None)
    return len(photos)


@dataclass(frozen=True)
class Space:
    """How many photos a flock keeps, and their bytes; those deleted are counted apart."""

    photos: int
    bytes: int
    deleted: int
    deleted_bytes: int


def space(flock) -> Space:
    kept, gone = Q(deleted_at=None), Q(deleted_at__isnull=False)
    sums = Photo.with_deleted.filter(flock=flock).aggregate(
        photos=Count("pk", filter=kept),
        bytes=Sum("stored_bytes", filter=kept, default=0),
        deleted=Count("pk", filter=gone),
        deleted_bytes=Sum("stored_bytes", filter=gone, default=0),
    )
    return Space(**sums)
