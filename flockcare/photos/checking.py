"""Looking over the files of photos: what is damaged is mended or marked, what nobody owns goes.

A photo's files are written before its record, so a process that is killed between the two leaves
files without a record. They are removed when they are a day old: no sending takes so long.
"""

import datetime as dt
import io
import logging
import uuid
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import PurePosixPath

from django.core.files.storage import default_storage
from django.utils import timezone
from PIL import Image

from flockcare.core import clock
from flockcare.core.storage import Stored
from flockcare.people.models import Flock
from flockcare.photos.models import FileCheck, Photo
from flockcare.photos.services import is_whole, put_files_back, remove

OLD = dt.timedelta(days=1)
# As long as a deleted photo stays: a database without the flock may be the wrong one.
TIMES_LONGER_WITHOUT_FLOCK = 30
FOLDER = "photos"

logger = logging.getLogger(__name__)


@dataclass
class Found:
    """What was found, and done. ``unowned``: files without a record that are too new to go."""

    photos: int = 0
    damaged: int = 0
    mended: int = 0
    removed: int = 0
    unowned: int = 0

    def __str__(self):
        return (
            f"{self.photos} photos checked: {self.damaged} damaged, {self.mended} repaired. "
            f"Files without a record: {self.removed} removed, {self.unowned} left until they are "
            "a day old."
        )


def check_files(*, now: dt.datetime | None = None, old: dt.timedelta = OLD) -> Found:
    """Compare the storage with the records of every flock, and put right what can be.

    ``old``: how old a file without a record must be to be removed, thirty times as old where not
    even its flock is in the database. While something is wrong with the clock none is.
    """
    now = now or timezone.now()
    found = Found()
    # Before the flocks are read: a new one has its record before its first photo.
    folders = _folders()
    is_doubtful = bool(clock.look(now=now))
    flocks = {str(flock.pk): flock for flock in Flock.objects.all()}
    for flock in flocks.values():
        _check_flock(flock, found, now=now, old=dt.timedelta.max if is_doubtful else old)
    if not is_doubtful:
        for folder in folders - set(flocks):
            files = default_storage.stored(f"{FOLDER}/{folder}")
            _sort_out(files, found, now=now, old=old * TIMES_LONGER_WITHOUT_FLOCK)
    if found.damaged:
        logger.warning(
            "Photos whose files are gone or cut off: %d. Owners see which under More, “Space and "
            "deleted photos”.",
            found.damaged,
        )
    return found


def _folders() -> set[str]:
    """Of flocks, by their keys."""
    try:
        return set(default_storage.listdir(FOLDER)[0])
    except FileNotFoundError:
        return set()


def check_daily() -> None:
    """As ``check_files``, where the last time was not within a day."""
    newest = FileCheck.objects.order_by("-at").first()
    if newest is None or timezone.now() - newest.at > OLD:
        check_files()


def _check_flock(flock: Flock, found: Found, *, now, old) -> None:
    stored = {file.name: file for file in default_storage.stored(f"{FOLDER}/{flock.pk}")}
    # The records after the files: a file that came first has its record by now, or is new.
    photos = {photo.pk: photo for photo in Photo.with_deleted.filter(flock=flock)}
    in_folders = defaultdict(list)
    for name in stored:
        in_folders[_key(name)].append(name)
    damaged = set()
    for photo in photos.values():
        found.photos += 1
        # One that was saved after its folder was read is asked for by itself.
        if _is_whole(photo, stored) or is_whole(photo):
            if photo.damaged_since:
                Photo.with_deleted.filter(pk=photo.pk).update(damaged_since=None)
        elif _mend(photo, in_folders[photo.pk]):
            found.mended += 1
        elif _is_damaged_still(photo):
            damaged.add(photo.pk)
    _mark(damaged, now)
    owned = {name for photo in photos.values() for name in photo.paths()}
    # In the folder of a damaged photo may lie what still helps.
    unowned = [
        file for name, file in stored.items() if name not in owned and _key(name) not in damaged
    ]
    left = _sort_out(unowned, found, now=now, old=old)
    found.damaged += len(damaged)
    FileCheck.objects.update_or_create(
        flock=flock,
        defaults={
            "at": now,
            "damaged_photos": len(damaged),
            "unowned_files": len(left),
            "unowned_bytes": sum(file.bytes for file in left),
        },
    )


def _is_whole(photo: Photo, stored: dict[str, Stored]) -> bool:
    files = [stored[name].bytes for name in photo.paths() if name in stored]
    return len(files) == len(photo.paths()) and sum(files) == photo.stored_bytes


def _sort_out(unowned: Iterable[Stored], found: Found, *, now, old) -> list[Stored]:
    """Remove those that are old enough; the others."""
    gone, left = [], []
    for file in unowned:
        (gone if now - file.modified >= old else left).append(file)
    remove(file.name for file in gone)
    for folder in {str(PurePosixPath(file.name).parent) for file in gone}:
        default_storage.remove_empty_folder(folder)
    found.removed += len(gone)
    found.unowned += len(left)
    return left


def _key(name: str) -> uuid.UUID | None:
    """The key of the photo in whose folder a file lies."""
    try:
        return uuid.UUID(PurePosixPath(name).parent.name)
    except ValueError:
        return None


def _mark(damaged: set[uuid.UUID], now) -> None:
    Photo.with_deleted.filter(pk__in=damaged, damaged_since=None).update(damaged_since=now)


def _mend(photo: Photo, names: list[str]) -> bool:
    """Make a photo's files anew from an original that lies in its folder and is whole.

    Earlier versions wrote a photo that was sent twice under a changed name, ``full_….jpg``, and
    could lose the other one.
    """
    for name in sorted(names, key=lambda name: name != photo.path()):
        if PurePosixPath(name).name.startswith("full"):
            with default_storage.open(name) as file:
                original = file.read()
            if _is_original(original, photo):
                return put_files_back(photo, original)
    return False


def _is_original(content: bytes, photo: Photo) -> bool:
    """Whether it is a JPEG that can be read to its end, of the photo's size."""
    try:
        with Image.open(io.BytesIO(content), formats=["JPEG"]) as image:
            size = image.size
            image.draft("L", (image.width // 8, image.height // 8))  # less memory, read as far
            image.load()
    except OSError:
        return False
    return size == (photo.width, photo.height)


def _is_damaged_still(photo: Photo) -> bool:
    """Not where it was changed or removed while we looked."""
    there = Photo.with_deleted.filter(pk=photo.pk)
    return there.filter(stored_as=photo.stored_as, edition=photo.edition).exists()
