"""Where files are kept, so that what ``save`` returned from is still there after a power cut.

Both kinds of storage also answer ``stored(prefix)``: what lies there, in as few questions as it
takes.
"""

import contextlib
import datetime as dt
import os
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from django.core.files.storage import FileSystemStorage

ASIDE = ".part"


class Stored(NamedTuple):
    """A file in a storage. ``modified`` is aware."""

    name: str
    bytes: int
    modified: dt.datetime


class FolderStorage(FileSystemStorage):
    """Files in a folder. One that has its name is whole, and on the disk.

    The name is taken first, so that no other process can write under it; the content is written
    beside it, synced, and renamed over it; then the folder is synced. A process that is killed
    leaves an empty file of that name at most, never a part of one.
    """

    def _save(self, name, content):
        path, top = Path(self.path(name)), Path(self.location).parent
        _make_folder(path.parent, self.directory_permissions_mode)
        while not _take(path):
            name = self.get_available_name(name)
            path = Path(self.path(name))
        aside = path.with_name(path.name + ASIDE)
        try:
            with open(aside, "wb", opener=_only_ours) as file:
                for chunk in content.chunks():
                    file.write(chunk)
                file.flush()
                os.fsync(file.fileno())
            aside.replace(path)
            # Those above too: who made one of them may have been killed before it was synced.
            for folder in path.parents:
                sync_folder(folder)
                if folder == top:
                    break
        except BaseException:
            aside.unlink(missing_ok=True)
            path.unlink(missing_ok=True)
            raise
        return name

    def stored(self, prefix: str) -> Iterator[Stored]:
        for folder, _, files in os.walk(self.path(prefix)):
            for file in files:
                path = Path(folder, file)
                try:
                    found = path.stat()
                except FileNotFoundError:  # removed in this moment
                    continue
                yield Stored(
                    path.relative_to(self.location).as_posix(),
                    found.st_size,
                    dt.datetime.fromtimestamp(found.st_mtime, tz=dt.UTC),
                )

    def remove_empty_folder(self, prefix: str) -> None:
        """Nothing happens where there is none, or something lies in it."""
        with contextlib.suppress(OSError):
            Path(self.path(prefix)).rmdir()


def sync_folder(folder: Path) -> None:
    """Bring the names in a folder to the disk, where the system can."""
    if os.name == "nt":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _make_folder(folder: Path, mode: int | None) -> None:
    if folder.is_dir():
        return
    for each in [*reversed(folder.parents), folder]:
        if not each.is_dir():
            each.mkdir(mode=0o777 if mode is None else mode, exist_ok=True)


def _take(path: Path) -> bool:
    """Whether nobody had this name; now nobody else can get it."""
    try:
        os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
    except FileExistsError:
        return False
    return True


def _only_ours(path, flags):
    return os.open(path, flags, 0o600)
