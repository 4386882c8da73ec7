"""Every write about photos. Pictures are decoded and files written outside any transaction."""

import hashlib
import io
import logging
import secrets
import uuid
from dataclasses import dataclass, field

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import DatabaseError, IntegrityError, transaction
from django.utils import timezone
from PIL import Image

from flockcare.photos.dating import Dated, by_camera
from flockcare.photos.intake import SIZES, RefusedPhoto, TakenIn, take_in
from flockcare.photos.models import DateSource, Photo, Precision
from flockcare.photos.scale import CannotMeasure, read_card
from flockcare.photos.sizes import sizes_from

logger = logging.getLogger(__name__)


def add_photo(
    *,
    flock,
    keeper,
    upload,
    name: str,
    bird=None,
    foot: str = "",
    with_form=False,
    key=None,
    also=None,
    now=None,
):
    """Take in one uploaded picture and return ``(photo, is_new)``.

    A file that this flock has already (by its hash) is not stored again. ``with_form``: what it
    belongs to may not be saved yet. ``key``: the record's,
    where whoever sends it made one. ``also``: see ``keep``. Raises ``intake.RefusedPhoto`` with
    the reason.
    """
    now = now or timezone.now()
    if kept := kept_already(flock=flock, upload=upload, name=name):
        return kept, False
    picture = take_in(upload, name)
    fields = {"keeper": keeper, "bird": bird, "foot": foot, "with_form": with_form}
    fields["id"] = key or uuid.uuid4()
    fields |= _taken(picture, flock=flock, now=now)
    return keep(picture, flock=flock, now=now, also=also, **fields)


def kept_already(*, flock, upload, name: str) -> Photo | None:
    """The photo that this flock has of this very file; found without opening the picture.

    Where the storage has lost files of it, they are there again afterwards.
    """
    photo = Photo.objects.filter(flock=flock, sha256=digest_of_file(upload)).first()
    if photo and not is_whole(photo):
        put_files_back(photo, take_in(upload, name).original)
    return photo


def put_back_damaged(*, flock, upload, name: str) -> bool:
    """Whether this is the file of a damaged photo, whose files are there again now."""
    damaged = Photo.with_deleted.damaged().filter(flock=flock)
    photo = damaged.filter(sha256=digest_of_file(upload)).first()
    return photo is not None and put_files_back(photo, take_in(upload, name).original)


def digest_of_file(upload) -> str:
    upload.seek(0)
    return hashlib.file_digest(upload, "sha256").hexdigest()


def is_whole(photo: Photo) -> bool:
    """Whether all files of a photo are there, and as long as they were written."""
    try:
        return sum(map(default_storage.size, photo.paths())) == photo.stored_bytes
    except FileNotFoundError:
        return False


def put_files_back(photo: Photo, original: bytes) -> bool:
    """Store a photo's files anew; False where somebody else did, or changed it, meanwhile."""
    before, old = (photo.stored_as, photo.edition), photo.paths()
    photo.stored_as = photo.edition = new_part()
    made = sizes_from(io.BytesIO(original), photo)
    files = {photo.path(): original} | {photo.path(size): made[size] for size in made}
    photo.stored_bytes = sum(map(len, files.values()))
    written = write(files)
    there = Photo.with_deleted.filter(pk=photo.pk, stored_as=before[0], edition=before[1])
    done = there.update(
        stored_as=photo.stored_as,
        edition=photo.edition,
        stored_bytes=photo.stored_bytes,
        damaged_since=None,
    )
    remove(old if done else written)
    if not done:
        photo.refresh_from_db(from_queryset=Photo.with_deleted.all())
    return bool(done)


def keep(picture: TakenIn, *, flock, now, also=None, **fields) -> tuple[Photo, bool]:
    """Store a picture that was taken in, with these fields of its record; ``(photo, is_new)``.

    ``also(photo)`` is called inside the transaction that saves a new one. Raises IntegrityError
    where the key is another picture's.
    """
    photo, files = prepare(picture, flock=flock, added_at=now, **fields)
    written = write(files)
    try:
        with transaction.atomic():
            photo.save(force_insert=True)
            if also:
                also(photo)
    except Exception as error:
        if may_be_saved(error):
            raise
        # Their names are of this attempt alone: what another one has saved stays.
        remove(written)
        # The same file sent twice at the same moment: the first one won.
        if isinstance(error, IntegrityError):
            first = Photo.objects.filter(flock=flock, sha256=picture.sha256).first()
            if first:
                return first, False
        raise
    return photo, True


def may_be_saved(error: Exception) -> bool:
    """Whether a transaction that ended so may have been kept all the same.

    A database that is lost while it commits leaves that open. Files stay then; if no record names
    them, they go with others (``photos.checking``).
    """
    return isinstance(error, DatabaseError) and not isinstance(error, IntegrityError)


def card_code(picture: TakenIn) -> str:
    """What the printed card in this picture says, empty when there is none to be read.

    Looks at the largest reduced size: there it takes a fraction of a second also where there is
    much to look through, in a phone's original up to several.
    """
    try:
        with Image.open(io.BytesIO(picture.sizes[SIZES[0]]), formats=["JPEG"]) as image:
            return card_in(image) or ""
    except Exception:  # no reason to lose the photo
        logger.exception("The card could not be read.")
        return ""


def card_in(image: Image.Image) -> str | None:
    """What the card in a picture says, empty where it cannot be read; None where none is seen."""
    try:
        view = read_card(image)
    except CannotMeasure as refused:
        return refused.code or ""
    return (view.code or "") if view else None


def add_photos(*, flock, keeper, uploads, now=None) -> tuple[list[Photo], list[str]]:
    """The pictures that could be kept, and why each of the others could not.

    Some may be on record already, as photos of another bird: see ``is_elsewhere``.
    """
    kept, refusals = [], []
    for upload in uploads:
        try:
            photo, _ = add_photo(
                flock=flock,
                keeper=keeper,
                upload=upload,
                name=upload.name,
                with_form=True,
                now=now,
            )
        except RefusedPhoto as refused:
            refusals.append(str(refused))
            continue
        kept.append(photo)
    return kept, refusals


def is_elsewhere(photo: Photo, bird_id: uuid.UUID) -> bool:
    """Whether it is on record as a photo of another bird; only somebody who says so moves it."""
    return photo.bird_id not in (None, bird_id)


@dataclass
class Sent:
    """Photos that came with a record, or before it.

    ``own`` go with it. ``elsewhere``: on record as another bird's, which are named to the keeper.
    ``lost``: how many have been deleted since they were chosen.
    """

    own: list[Photo] = field(default_factory=list)
    elsewhere: list[Photo] = field(default_factory=list)
    lost: int = 0

    def add(self, photo: Photo, *, bird) -> None:
        (self.elsewhere if is_elsewhere(photo, bird.pk) else self.own).append(photo)


def sent_before(*, flock, bird, keys: list[uuid.UUID]) -> Sent:
    """Those that a form names by their keys, since they came earlier."""
    sent = Sent()
    if keys:
        found = Photo.objects.filter(flock=flock, pk__in=keys).select_related("bird")
        for photo in found:
            sent.add(photo, bird=bird)
        sent.lost = len(set(keys)) - len(found)
    return sent


def prepare(picture: TakenIn, **fields) -> tuple[Photo, dict[str, bytes]]:
    """The unsaved row for a picture that was taken in, and its files by path in the storage."""
    part = new_part()
    fields = {"film_focal_mm": picture.film_focal, **fields}
    photo = Photo(
        stored_as=part,
        edition=part,
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


def new_part() -> str:
    """The part of a file's name that nobody else has for this photo."""
    return secrets.token_hex(4)


def write(files: dict[str, bytes]) -> list[str]:
    """Store files; their names. All of them or none."""
    written = []
    try:
        for path, content in files.items():
            written.append(default_storage.save(path, ContentFile(content)))
    except BaseException:
        remove(written)
        raise
    return written


def remove(paths) -> None:
    for path in paths:
        default_storage.delete(path)


def _taken(picture: TakenIn, *, flock, now) -> dict:
    """When it was taken: by the camera's clock, else today, since phones send photos as they go."""
    dated = by_camera(picture.taken, zone=flock.zone, now=now)
    if dated.taken is None:
        dated = Dated(now, Precision.DAY, DateSource.UPLOAD)
    return dated.fields()
