"""What keeps Flockcare from starting, each in a sentence that says what to do (CommandError)."""

import contextlib
import os
import sqlite3
import stat
import tempfile
from collections.abc import Iterator
from pathlib import Path

from django.conf import settings
from django.core.management import CommandError
from django.db import DatabaseError, OperationalError, connection
from django.db.migrations.loader import MigrationLoader

import flockcare
from flockcare.core import env
from flockcare.core.room import is_full

BACKUPS = "backups"
_DAMAGED = {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB}
_PRIMARY = 0xFF  # the kind of an error without its details (SQLite, "Result and Error Codes")


@contextlib.contextmanager
def in_words() -> Iterator[None]:
    """Say what a failed step means, here or in another command; what nobody foresaw stays."""
    try:
        yield
    except (OSError, DatabaseError) as error:
        if is_full(error):
            raise CommandError(
                f"The disk of {settings.DATA_DIR} is full. Make room on it and try again; "
                "what was saved is not touched."
            ) from error
        if isinstance(error, DatabaseError) and _kind(error) in _DAMAGED:
            raise damaged() from error
        if isinstance(error, PermissionError):
            raise CommandError(str(env.cannot_write(error.filename, error))) from error
        # A statement that is wrong is a fault of ours, whose place must be seen.
        if isinstance(error, OperationalError) and _kind(error) != sqlite3.SQLITE_ERROR:
            name, why = connection.settings_dict["NAME"], " ".join(str(error).split())
            raise CommandError(f"The database {name} cannot be opened: {why}.") from error
        raise


def check_folder() -> None:
    """The data folder is there, takes files, and nobody else can look into it."""
    folder = settings.DATA_DIR
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError as error:
        if is_full(error):
            raise
        raise CommandError(str(env.cannot_write(folder, error))) from error
    _tighten(folder)
    for path in folder.glob("flockcare.sqlite3*"):
        _tighten(path)


def _tighten(path: Path) -> None:
    """Take away what other users of this computer may do with what is ours."""
    there = path.stat()
    # A folder that everybody may write to, such as /tmp, is not ours alone.
    ours = there.st_uid == os.geteuid() if hasattr(os, "geteuid") else False
    if ours and not there.st_mode & stat.S_ISVTX:
        path.chmod(stat.S_IMODE(there.st_mode) & 0o700)


def check_database() -> None:
    """SQLite's file is whole, and is not an empty one beside what belongs to another."""
    if connection.vendor != "sqlite":
        return
    path = _database()
    # Looked at from outside first: opening an empty file throws away what may stand beside it.
    if not path.exists() or not path.stat().st_size:
        _refuse_beside_records()
    with connection.cursor() as cursor:
        if cursor.execute("PRAGMA quick_check(1)").fetchone()[0] != "ok":
            raise damaged()
        if not connection.introspection.table_names(cursor):
            _refuse_beside_records()


def damaged() -> CommandError:
    return CommandError(f"The database {_database()} is damaged. {_way_back()}")


def _kind(error: DatabaseError) -> int:
    """SQLite's kind of error, 0 where it is not SQLite's."""
    return getattr(error.__cause__, "sqlite_errorcode", 0) & _PRIMARY


def _refuse_beside_records() -> None:
    folder, photos = settings.DATA_DIR, Path(settings.MEDIA_ROOT)
    beside = next((path for path in [*_backups(), *photos.rglob("*")] if path.is_file()), None)
    if beside:
        raise CommandError(
            f"The database {_database()} is empty or gone, but {beside} is there. {_way_back()} "
            f"To start again instead, move everything out of {folder}."
        )


def _way_back() -> str:
    move = f"Move it away, with {_database().name}-wal and -shm if they exist"
    if newest := max(_backups(), key=lambda path: path.stat().st_mtime, default=None):
        return f"{move}, and restore the newest backup: manage.py restore {newest}"
    return (
        f"{move}, and restore a backup: manage.py restore FILE "
        f"(there is none in {settings.DATA_DIR / BACKUPS})."
    )


def _backups() -> list[Path]:
    folder = settings.DATA_DIR
    return [*(folder / BACKUPS).glob("*.zip"), *folder.glob("*.zip")]


def _database() -> Path:
    return Path(connection.settings_dict["NAME"])


def migrations_wait() -> bool:
    """Whether the database is of an older version. Refuses one of a newer version."""
    loader = MigrationLoader(connection)
    if unknown_migrations(loader):
        raise CommandError(
            f"The database was changed by a newer version of Flockcare than this one, "
            f"{flockcare.__version__}. Start the newer one. Or, to go back: {_way_back()}"
        )
    return any(key not in loader.applied_migrations for key in loader.graph.nodes)


def unknown_migrations(loader: MigrationLoader) -> list[tuple[str, str]]:
    """What was done to this database by a version that is newer than this code."""
    # Of those on disk, the graph lacks the ones that a squashed migration stands for.
    ours = loader.migrated_apps | loader.unmigrated_apps
    return [
        key
        for key in loader.applied_migrations
        if key[0] in ours and key not in loader.disk_migrations
    ]
