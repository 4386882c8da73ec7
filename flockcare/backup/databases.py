"""What a backup needs of the database itself, for each of the two kinds we run on.

``unchanging(alias)``: the database as it is at one moment, under another alias, while others go on
writing. ``replaced(alias)``: an empty database under another alias, which takes the place of the
present one at the end, whole or not at all.
"""

import contextlib
import shutil
import sqlite3
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from django.core.management import call_command
from django.db import connections, transaction
from django.db.migrations.recorder import MigrationRecorder

from flockcare.backup.archive import BackupProblem
from flockcare.backup.rows import applied, tables
from flockcare.people.models import Flock, Keeper

_ASIDE = "backup"
_ROOM = ".backup-"
_LEFT_SECONDS = 24 * 3600
_DAMAGED = (
    "The database itself is damaged, so no backup is made of it. Keep the earlier backups, stop "
    "Flockcare and restore the newest one that is whole."
)


def is_empty(alias: str = "default") -> bool:
    """Nobody has been here: no keeper and no flock, whatever version made the tables."""
    connection = connections[alias]
    if connection.vendor == "sqlite" and not Path(connection.settings_dict["NAME"]).exists():
        return True
    there = set(connection.introspection.table_names())
    with connection.cursor() as cursor:
        for model in (Keeper, Flock):
            table = model._meta.db_table
            if table in there:
                cursor.execute(f"SELECT 1 FROM {connection.ops.quote_name(table)} LIMIT 1")  # noqa: S608
                if cursor.fetchone():
                    return False
    return True


@contextlib.contextmanager
def unchanging(folder: Path, alias: str = "default") -> Iterator[str]:
    """`folder`: where SQLite's copy may lie meanwhile; one of our own."""
    if connections[alias].vendor == "sqlite":
        with _copied(folder, alias) as aside:
            yield aside
    else:
        with _as_of_now(alias) as aside:
            yield aside


@contextlib.contextmanager
def replaced(folder: Path, alias: str = "default") -> Iterator[str]:
    if connections[alias].vendor == "sqlite":
        with _built_beside(folder, alias) as aside:
            yield aside
    else:
        with _built_in_place(alias):
            yield alias


@contextlib.contextmanager
def _connection(settings: dict) -> Iterator[str]:
    """A further connection, for as long as it is needed."""
    connections.databases[_ASIDE] = settings
    try:
        yield _ASIDE
    finally:
        connections[_ASIDE].close()
        del connections[_ASIDE]
        del connections.databases[_ASIDE]


# --- SQLite: the file, copied page by page by SQLite itself


def _beside(alias: str, path: Path) -> dict:
    # A file of our own that is thrown away: it need not survive a power cut.
    options = {"init_command": "PRAGMA journal_mode=MEMORY; PRAGMA synchronous=OFF;"}
    return {**connections.databases[alias], "NAME": str(path), "OPTIONS": options}


def _copy(source: Path | str, target: Path | str, *, timeout: float) -> None:
    """In one step, so that it is one moment of the source; the target is changed as a whole."""
    with (
        contextlib.closing(sqlite3.connect(source, timeout=timeout)) as read,
        contextlib.closing(sqlite3.connect(target, timeout=timeout)) as written,
    ):
        read.backup(written)


def _check_whole(path: Path) -> None:
    with contextlib.closing(sqlite3.connect(path)) as connection:
        if connection.execute("PRAGMA integrity_check(1)").fetchone()[0] != "ok":
            raise BackupProblem(_DAMAGED)


@contextlib.contextmanager
def _room(folder: Path) -> Iterator[Path]:
    """A folder for a while, and an end to those that killed processes have left."""
    for left in folder.glob(f"{_ROOM}*"):
        if time.time() - left.stat().st_mtime > _LEFT_SECONDS:
            shutil.rmtree(left, ignore_errors=True)
    with tempfile.TemporaryDirectory(dir=folder, prefix=_ROOM) as temporary:
        yield Path(temporary)


@contextlib.contextmanager
def _copied(folder: Path, alias: str) -> Iterator[str]:
    with _room(folder) as room:
        path = room / "copy.sqlite3"
        try:
            _copy(connections.databases[alias]["NAME"], path, timeout=20)
            _check_whole(path)
        except sqlite3.DatabaseError as error:
            if isinstance(error, sqlite3.OperationalError):
                raise BackupProblem(f"The database cannot be copied ({error}).") from error
            raise BackupProblem(_DAMAGED) from error
        with _connection(_beside(alias, path)) as aside:
            yield aside


@contextlib.contextmanager
def _built_beside(folder: Path, alias: str) -> Iterator[str]:
    with _room(folder) as room:
        path = room / "new.sqlite3"
        with _connection(_beside(alias, path)) as aside:
            yield aside
        _check_whole(path)
        target = Path(connections.databases[alias]["NAME"])
        connections[alias].close()
        try:
            _copy(path, target, timeout=20)
        except sqlite3.DatabaseError as error:
            raise BackupProblem(f"The database cannot be replaced ({error}).") from error


# --- PostgreSQL: one transaction


@contextlib.contextmanager
def _as_of_now(alias: str) -> Iterator[str]:
    given = connections.databases[alias]
    options = {name: value for name, value in given["OPTIONS"].items() if name != "pool"}
    with (
        _connection({**given, "OPTIONS": options, "CONN_MAX_AGE": 0}) as aside,
        transaction.atomic(using=aside),
    ):
        with connections[aside].cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
        yield aside


@contextlib.contextmanager
def _built_in_place(alias: str) -> Iterator[None]:
    """Drop every table of ours and let the caller make new ones; others see it all at once."""
    connection = connections[alias]
    with transaction.atomic(using=alias):
        there = set(connection.introspection.table_names())
        ours = {MigrationRecorder.Migration._meta.db_table}
        ours |= set(connection.introspection.django_table_names(include_views=False))
        if MigrationRecorder.Migration._meta.db_table in there:
            ours |= {model._meta.db_table for model in tables(applied(alias))}
        with connection.cursor() as cursor:
            for table in sorted(ours & there):
                cursor.execute(f"DROP TABLE {connection.ops.quote_name(table)} CASCADE")
        yield


def settle(alias: str) -> None:
    """Check references now: PostgreSQL changes no table while some wait to be checked."""
    connection = connections[alias]
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
    else:
        connection.check_constraints()


def carry_forward(alias: str) -> None:
    """Apply every migration that is newer than the rows."""
    call_command("migrate", database=alias, verbosity=0, interactive=False)
