"""Every write about photos. Pictures are decoded and files written outside any transaction."""

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import IntegrityError
from django.utils import timezone

from flockcare.photos.intake import TakenIn, take_in
from flockcare.photos.models import DateSource, Photo, Precision


def add_photo(*, flock, keeper, upload, name: str, bird=None, foot: str = "", now=None):
    """Take in one uploaded picture and return ``(photo, is_new)``.

    A file that this flock has already (by its hash) is not stored again. Raises
    ``intake.RefusedPhoto`` with the reason.
    """
    now = now or timezone.now()
    picture = take_in(upload, name)
    if kept := Photo.objects.filter(flock=flock, sha256=picture.sha256).first():
        return kept, False
    photo, files = prepare(
        picture,
        flock=flock,
        keeper=keeper,
        bird=bird,
        foot=foot,
        added_at=now,
        **_taken(picture, flock=flock, now=now),
    )
    try:
        write(files)
        photo.save(force_insert=True)
    except BaseException as error:
        remove(files)
        # The same file sent twice at the same moment: the first one won.
        if isinstance(error, IntegrityError):
            return Photo.objects.get(flock=flock, sha256=picture.sha256), False
        raise
    return photo, True


def prepare(picture: TakenIn, **fields) -> tuple[Photo, dict[str, bytes]]:
    """The unsaved row for a picture that was taken in, and its files by path in the storage."""
    photo = Photo(
        width=picture.width,
        height=picture.height,
        sha256=picture.sha256,
        # The database keeps signed numbers of 64 bits.
        look_hash=picture.perceptual_hash - (1 << 63),
        **fields,
    )
    files = {photo.path(): picture.original}
    files |= {photo.path(size): content for size, content in picture.sizes.items()}
    photo.stored_bytes = sum(map(len, files.values()))
    # What it belongs to may not be saved yet either.
    photo.full_clean(
        exclude={"flock", "bird", "keeper"}, validate_unique=False, validate_constraints=False
    )
    return photo, files


def write(files: dict[str, bytes]) -> None:
    for path, content in files.items():
        default_storage.save(path, ContentFile(content))


def remove(paths) -> None:
    for path in paths:
        default_storage.delete(path)


def _taken(picture: TakenIn, *, flock, now) -> dict:
    """When it was taken: by the camera's clock, else today, since phones send photos as they go."""
    if picture.taken is None:
        return {
            "taken": now,
            "taken_precision": Precision.DAY,
            "taken_source": DateSource.UPLOAD,
        }
    local, offset = picture.taken
    zone = flock.zone if offset is None else timezone.get_fixed_timezone(offset)
    return {
        "taken": local.replace(tzinfo=zone),
        "taken_precision": Precision.MOMENT,
        "taken_source": DateSource.CAMERA,
    }
