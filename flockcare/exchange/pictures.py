"""Pictures: read and made smaller before anything is saved.

A file that its hash tells to be an exported one is kept as it is (see ``originals``); any other is
taken in like a photo that a keeper sends. Of a photo whose file was lost before the export all is
kept but the pictures.
"""

import io
import shutil
import tempfile
import time
from collections.abc import Callable
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, replace
from datetime import timedelta
from pathlib import Path, PurePosixPath

from django.conf import settings
from django.core.files import File
from django.core.files.storage import default_storage

from flockcare.exchange import cells, originals
from flockcare.exchange.problems import EMPTY, Problem, Refused
from flockcare.photos.checking import OLD
from flockcare.photos.intake import MAX_BYTES, MAX_SIDE, RefusedPhoto, TakenIn, take_in
from flockcare.photos.models import Photo
from flockcare.photos.services import remove
from flockcare.photos.sizes import sizes_from

WAITING = ".import-"


@dataclass
class Pictures:
    """Finished picture files, waiting in a folder that goes away with this object."""

    waiting: list[tuple[Path, str]] = field(default_factory=list)
    # Told now and then, while an import goes on, how many photos have been read.
    beat: Callable[[int], None] = lambda photos: None
    photos: int = 0
    _folder: tempfile.TemporaryDirectory | None = None

    def keep(self, files: dict[str, bytes]) -> None:
        with _room():
            if self._folder is None:
                self._folder = _folder()
            for name, data in files.items():
                path = Path(self._folder.name, str(len(self.waiting)))
                path.write_bytes(data)
                self.waiting.append((path, name))

    def clear(self) -> None:
        """Remove what is waiting, without waiting for this object to go."""
        if self._folder:
            self._folder.cleanup()

    def store(self) -> list[str]:
        """Copy everything into the storage; on failure nothing stays there."""
        stored = []
        try:
            with _room():
                for path, name in self.waiting:
                    self.beat(self.photos)
                    with path.open("rb") as file:
                        stored.append(default_storage.save(name, File(file)))
        except BaseException:
            take_back(stored)
            raise
        return stored


def take_back(stored: list[str]) -> None:
    """Remove files from the storage, and the folders that were made for them."""
    remove(stored)
    photos = {PurePosixPath(name).parent for name in stored}
    for folder in (*photos, *{photo.parent for photo in photos}):
        # One with photos of others in it stays; object storage has no folders.
        with suppress(OSError):
            default_storage.delete(str(folder))


def clear_left(old: timedelta = OLD) -> None:
    """Remove the folders that killed imports have left."""
    for left in settings.DATA_DIR.glob(f"{WAITING}*"):
        if time.time() - left.stat().st_mtime >= old.total_seconds():
            shutil.rmtree(left, ignore_errors=True)


def _folder() -> tempfile.TemporaryDirectory:
    """Beside the records, since the system's own place for such things may be in memory."""
    return tempfile.TemporaryDirectory(prefix=WAITING, dir=settings.DATA_DIR)


@contextmanager
def _room():
    """What a disk without room says, in words."""
    try:
        yield
    except OSError as error:
        message = f"The pictures cannot be saved: {error.strerror or error}."
        raise Refused([Problem("import", message)]) from error


def picture_of(row) -> TakenIn | None:
    """What the row's file shows; None where it cannot be taken in, which the row says then."""
    name, source = row.text("file"), row.work.tables.source
    if not name:
        row.wrong("file", EMPTY)
        return None
    try:
        size = source.size(name)
        if size is None and row.text("lost"):
            return _without_file(row)
        if size is None:
            row.wrong("file", f"There is no file “{name}”.")
        elif size > MAX_BYTES:
            row.wrong("file", f"“{name}” is larger than 30 MB.")
        else:
            with source.open(name) as stream:
                return _take_in(row, stream, name)
    except (ValueError, OSError) as error:
        row.wrong("file", str(error))
    except RefusedPhoto as refused:
        row.wrong("file", refused.reason)
    return None


def _take_in(row, stream, name: str) -> TakenIn:
    data = stream.read()
    stays = originals.may_stay(data, row.get("file_sha256", cells.sha256))
    return take_in(io.BytesIO(data), name, original=data if stays else None)


def _without_file(row) -> TakenIn | None:
    """What is known of a picture that was lost before the export: its size and its hash."""
    size, sha256 = row.get("lost", _size), row.need("sha256", cells.sha256)
    if size is None or sha256 is None:
        return None
    # Nobody knows any more what it looked like, so it must look like no other.
    look = int(sha256[:16], 16)
    return TakenIn(b"", {}, *size, taken=None, sha256=sha256, perceptual_hash=look, format="JPEG")


def _size(text: str) -> tuple[int, int]:
    sides = tuple(cells.integer(part) for part in text.split())
    if len(sides) != 2 or not all(0 < side <= MAX_SIDE for side in sides):
        raise ValueError(f"“{text}” is not a width and a height in pixels, like 4000 3000.")
    return sides


def as_shown(picture: TakenIn, *, quarter_turns: int, crop: list[int] | None) -> TakenIn:
    """The picture with its smaller sizes turned (clockwise) and cropped; the original stays."""
    if not quarter_turns and crop is None:
        return picture
    photo = Photo(
        width=picture.width, height=picture.height, quarter_turns=quarter_turns, crop=crop
    )
    return replace(picture, sizes=sizes_from(io.BytesIO(picture.original), photo))
