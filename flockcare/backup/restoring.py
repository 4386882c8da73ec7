"""Bringing a backup back."""

import datetime as dt
import hashlib
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from django.conf import settings
from django.core.files.base import File
from django.core.files.storage import default_storage
from django.db import transaction
from django.utils import timezone

from flockcare.backup import rows
from flockcare.backup.archive import BackupProblem, Reader, free_name, reading
from flockcare.backup.databases import carry_forward, is_empty, replaced, settle
from flockcare.backup.making import FILES, make

_PHOTOS = "photos"
_OF_A_PHOTO = re.compile(r"files/photos/[0-9a-f-]{36}/[0-9a-f-]{36}/[0-9a-z-]+\.jpg")
_CHUNK = 1024 * 1024


@dataclass(frozen=True)
class Restored:
    """What was brought back, and where what was there before is kept, if anything was."""

    made: dt.datetime
    rows: int
    files: int
    aside: Path | None


def restore(path: Path, *, replace: bool = False, now: dt.datetime | None = None) -> Restored:
    """Bring a backup into an empty installation, or with `replace` into one with records.

    The whole file is checked before anything is touched. What is there is then kept in the data
    folder as a backup with a dated name. The database changes at one moment; cut off before it,
    nothing has changed but files of photos that no record names.

    Raises BackupProblem.
    """
    folder = settings.DATA_DIR
    folder.mkdir(parents=True, exist_ok=True)
    with reading(Path(path)) as backup:
        migrations = backup.about["migrations"]
        rows.refuse_newer(migrations)
        files = _files(backup)
        aside = None
        if not is_empty():
            if not replace:
                raise BackupProblem(
                    "There are records here already. Use --replace to replace them; they are "
                    "kept in a file. Nothing was changed."
                )
            now = timezone.localtime(now)
            # A second may see two: a restore that was cut off and is done again.
            aside = free_name(folder / f"before-restore-{now:%Y-%m-%d-%H%M%S}.zip")
            make(aside)
        added = []
        try:
            for name in files:
                if _bring_file(backup, name):
                    added.append(name)
            total = _bring_rows(backup, migrations, folder)
        except BaseException as error:
            for name in added:
                default_storage.delete(name)
            # A full disk, a database that refuses a row, a table that is not in the file …
            if isinstance(error, Exception) and not isinstance(error, BackupProblem):
                raise BackupProblem(
                    f"The backup could not be restored ({error}). The records here are as they "
                    "were."
                ) from error
            raise
        _remove_others(set(files))
        made = dt.datetime.fromisoformat(backup.about["made"])
        return Restored(made, total, len(files), aside)


def _bring_rows(backup: Reader, migrations: rows.Migrations, folder: Path) -> int:
    with replaced(folder) as database:
        rows.migrate_to(database, migrations)
        with transaction.atomic(using=database):
            total = rows.load(backup, migrations, database)
            settle(database)
        carry_forward(database)
    return total


# --- Files


def _files(backup: Reader) -> list[str]:
    """Their paths in the storage. Nobody's zip makes us write anywhere else."""
    names = [name for name in backup.members if name.startswith(FILES)]
    if odd := next((name for name in names if not _OF_A_PHOTO.fullmatch(name)), None):
        raise BackupProblem(f"{odd!r} is not the file of a photo. Nothing was changed.")
    return [name.removeprefix(FILES) for name in names]


def _bring_file(backup: Reader, name: str) -> bool:
    """True when the file was not there and has been added."""
    there = default_storage.exists(name)
    if there:
        if _digest(name) == backup.sha256(FILES + name):
            return False
        # Files never change under their name: this one is broken.
        default_storage.delete(name)
    with backup.open(FILES + name) as source:
        default_storage.save(name, File(source))
    return not there


def _digest(name: str) -> str:
    with default_storage.open(name) as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _remove_others(wanted: set[str]) -> None:
    """Files of photos that no record names any more; they are in the backup made before."""
    for name in list(_stored(_PHOTOS)):
        if name not in wanted:
            default_storage.delete(name)


def _stored(folder: str) -> Iterator[str]:
    try:
        folders, files = default_storage.listdir(folder)
    except FileNotFoundError:
        return
    yield from (f"{folder}/{file}" for file in files)
    for inner in folders:
        yield from _stored(f"{folder}/{inner}")
