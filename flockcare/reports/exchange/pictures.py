"""Photos: read and made smaller before anything is saved.

A file that its hash tells to be an exported one is kept as it is (see ``originals``); any other is
taken in like a photo that a keeper sends. Of a photo whose file was lost before the export all is
kept but the pictures. What photos belong to is for ``joining``.
"""

import shutil
import tempfile
import time
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta, timezone
from pathlib import Path, PurePosixPath

from django.conf import settings
from django.core.files import File
from django.core.files.storage import default_storage

from flockcare.feet.models import SortingNote
from flockcare.photos.checking import OLD
from flockcare.photos.intake import MAX_BYTES, MAX_SIDE, RefusedPhoto, TakenIn, take_in
from flockcare.photos.models import DateSource, Photo, Precision
from flockcare.photos.services import prepare, remove
from flockcare.reports.exchange import cells, originals, shown
from flockcare.reports.exchange.columns import FILES
from flockcare.reports.exchange.joining import Candidate, join
from flockcare.reports.exchange.looks import score as read_score
from flockcare.reports.exchange.problems import Problem, Refused
from flockcare.reports.exchange.rows import KEYS, SORTING_ANSWERS, photo_cells

FILE = "photos.csv"
_WAITING = ".import-"
_TOLD = ("bird", "foot", "taken", "note", "quarter_turns", "crop")
_foot = cells.for_field(Photo._meta.get_field("foot"))
_note = cells.for_field(Photo._meta.get_field("note"))
_source = cells.for_field(Photo._meta.get_field("taken_source"))
_quarter_turns = cells.for_field(Photo._meta.get_field("quarter_turns"), cells.integer)


@dataclass
class Pictures:
    """Finished picture files, waiting in a folder that goes away with this object."""

    waiting: list[tuple[Path, str]] = field(default_factory=list)
    _folder: tempfile.TemporaryDirectory | None = None

    def keep(self, files: dict[str, bytes]) -> None:
        with _room():
            if self._folder is None:
                self._folder = _folder()
            for name, data in files.items():
                path = Path(self._folder.name, str(len(self.waiting)))
                path.write_bytes(data)
                self.waiting.append((path, name))

    def store(self) -> list[str]:
        """Copy everything into the storage; on failure nothing stays there."""
        stored = []
        try:
            with _room():
                for path, name in self.waiting:
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
    for left in settings.DATA_DIR.glob(f"{_WAITING}*"):
        if time.time() - left.stat().st_mtime >= old.total_seconds():
            shutil.rmtree(left, ignore_errors=True)


def _folder() -> tempfile.TemporaryDirectory:
    """Beside the records, since the system's own place for such things may be in memory."""
    return tempfile.TemporaryDirectory(prefix=_WAITING, dir=settings.DATA_DIR)


@contextmanager
def _room():
    """What a disk without room says, in words."""
    try:
        yield
    except OSError as error:
        message = f"The pictures cannot be kept: {error.strerror or error}."
        raise Refused([Problem("import", message)]) from error


def check_photos(work) -> None:
    if not work.tables[FILE]:
        return
    existing = {photo.sha256: photo for photo in Photo.objects.filter(flock=work.flock)}
    in_file = {}
    candidates = work.read(FILE).each(lambda row: _photo(work, row, existing, in_file))
    join(work, [candidate for candidate in candidates if candidate])
    # Rows of other files that speak of a photo with a problem of its own need no second message.
    for row in work.tables[FILE]:
        work.photos.setdefault(row.cells.get("file", ""), Photo(flock=work.flock))


def named_photo(work, row, column: str = "file", name: str | None = None) -> Photo | None:
    """The photo of that name in photos.csv; without ``name`` the whole cell is one."""
    name = row.need(column, cells.plain) if name is None else name
    photo = work.photos.get(name)
    if name and photo is None:
        row.wrong(column, f"There is no photo “{name}” in {FILE}.")
    return photo


def _photo(work, row, existing, in_file) -> Candidate | None:
    before = len(work.problems)
    value = row.get("score", read_score)
    details, sorting = _details(work, row), _sorting(work, row)
    picture = _picture(work, row)
    if picture is None:
        return None
    try:
        details["crop"] = shown.fitting(details["crop"], picture)
    except ValueError as error:
        row.wrong("crop", str(error))
    if len(work.problems) > before:
        return None
    name, sha256 = row.text("file"), row.get("sha256", cells.sha256, picture.sha256)
    known = existing.get(sha256) or existing.get(picture.sha256)
    if known:
        _already_there(work, row, Photo(flock=work.flock, **details), known)
        work.photos[name] = known
        return None
    if sha256 in in_file:
        row.wrong("file", f"This is the same picture as “{in_file[sha256]}”.")
        return None
    in_file[sha256] = name
    if details["taken"] is None and picture.taken:
        details |= _by_the_camera(picture, work.zone)
    photo = work.photos[name] = _plan(work, row, replace(picture, sha256=sha256), details)
    if sorting:
        work.plan.add(SortingNote(photo=photo, **sorting))
    return Candidate(row, photo, value, row.text("check"), row.text("care"))


def _plan(work, row, picture: TakenIn, details: dict) -> Photo:
    is_lost = not picture.original
    if not is_lost:
        turns, crop = details["quarter_turns"], details["crop"]
        picture = shown.as_shown(picture, quarter_turns=turns, crop=crop)
    photo, files = prepare(picture, flock=work.flock, **details)
    if is_lost:
        work.plan.lost.append(row.text("file"))
    else:
        work.plan.pictures.keep(files)
    work.sign(row, photo, "keeper")
    work.plan.add(photo)
    return photo


def _details(work, row) -> dict:
    taken, precision = row.get(
        "taken", lambda text: _taken(text, work.zone), (None, Precision.UNKNOWN)
    )
    source = row.get("taken_source", _source, DateSource.HAND if taken else "")
    # A camera's clock may be wrong, and what it wrote is kept; a keeper who says so is asked.
    if taken and source == DateSource.HAND and taken > work.now:
        row.wrong("taken", f"{row.text('taken')} is in the future.")
    return {
        "bird": row.find("bird", "bird", work.birds) if row.text("bird") else None,
        "foot": row.get("foot", _foot, ""),
        "taken": taken,
        "taken_precision": precision,
        "taken_source": source,
        "note": row.get("note", _note, ""),
        "of_house": row.get("of_house", cells.yes_or_no, False),
        "added_at": row.get("added", cells.instant(work.zone), work.now),
        "quarter_turns": row.get("quarter_turns", _quarter_turns, 0),
        "crop": row.get("crop", shown.box),
    }


def _sorting(work, row) -> dict:
    """What was found out while it was sorted; empty for most photos."""
    found = {name: row.get(name, cells.yes_or_no) for name in SORTING_ANSWERS}
    if row.text("card_bird"):
        found["card_bird"] = row.find("card_bird", "bird", work.birds)
    found["card_foot"] = row.get("card_foot", _foot)
    return {name: value for name, value in found.items() if value}


def _by_the_camera(picture, zone) -> dict:
    local, offset = picture.taken
    clock = zone if offset is None else timezone(offset)
    return {
        "taken": local.replace(tzinfo=clock),
        "taken_precision": Precision.MOMENT,
        "taken_source": DateSource.CAMERA,
    }


def _picture(work, row) -> TakenIn | None:
    name, source = row.text("file"), work.tables.source
    if not name:
        row.wrong("file", "This must not be empty.")
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
    picture = take_in(stream, name)
    stream.seek(0)
    return originals.as_it_was(picture, stream.read(), row.get("file_sha256", cells.sha256))


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


def _taken(text: str, zone) -> tuple[datetime, Precision]:
    """The earliest moment that a text like 2023, 2023-05, 2023-05-14 or 2023-05-14 16:05 means."""
    day_part, _, clock_part = text.replace("T", " ").partition(" ")
    partial = cells.partial(day_part)
    clock = cells.clock(clock_part.strip()) if clock_part else None
    if clock and not partial.day:
        raise ValueError(f"“{text}” has a time but no day.")
    at = cells.moment(partial.first(), clock or cells.MIDNIGHT, zone)
    if clock:
        return at, Precision.MOMENT
    return at, Precision.DAY if partial.day else (
        Precision.MONTH if partial.month else Precision.YEAR
    )


def _already_there(work, row, photo, known) -> None:
    here, there = (
        dict(zip(FILES[FILE].all, photo_cells(one, KEYS, work.zone), strict=True))
        for one in (photo, known)
    )
    for column in _TOLD:
        if row.text(column) and here[column] != there[column]:
            row.wrong(column, "This picture is in the flock already, with another value here.")
            return
    work.plan.already_there[FILE] += 1
