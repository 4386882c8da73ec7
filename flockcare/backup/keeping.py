"""The daily backup of an installation, and which of the earlier ones are kept."""

import datetime as dt
import logging
import re
import shutil
import subprocess
import sys
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from django.conf import settings
from django.utils import timezone

import flockcare
from flockcare.backup.archive import BackupProblem, free_name
from flockcare.backup.databases import is_empty
from flockcare.backup.making import make
from flockcare.core.starting import BACKUPS

DAYS, WEEKS = 7, 4
# Kept whatever room they take.
LEAST = 2
_NAME = re.compile(r"flockcare-(\d{4}-\d\d-\d\d)\.zip")
_FAILED = "failed.txt"

logger = logging.getLogger(__name__)


@dataclass(frozen=True)
class Kept:
    """One daily backup."""

    on: dt.date
    path: Path
    bytes: int
    made: dt.datetime


def folder() -> Path:
    return settings.DATA_DIR / BACKUPS


def kept() -> list[Kept]:
    """The daily backups that are there, newest first."""
    if not folder().is_dir():
        return []
    found = []
    for path in folder().iterdir():
        if match := _NAME.fullmatch(path.name):
            there = path.stat()
            made = dt.datetime.fromtimestamp(there.st_mtime, tz=dt.UTC)
            found.append(Kept(dt.date.fromisoformat(match[1]), path, there.st_size, made))
    return sorted(found, key=lambda one: one.on, reverse=True)


def last_failure() -> str:
    """Why the last attempt made no backup; empty when it did."""
    try:
        return (folder() / _FAILED).read_text()
    except FileNotFoundError:
        return ""


def make_daily(now: dt.datetime | None = None) -> Path | None:
    """Today's backup, unless there is one; older ones go. Raises BackupProblem."""
    path = _of_today(now)
    if path.exists():
        return None
    folder().mkdir(parents=True, exist_ok=True, mode=0o700)
    try:
        make(path, now=now)
    except BackupProblem as problem:
        (folder() / _FAILED).write_text(str(problem))
        raise
    (folder() / _FAILED).unlink(missing_ok=True)
    tidy()
    return path


def keep_before_upgrade(now: dt.datetime | None = None) -> Path | None:
    """A backup of what migrations are about to change, `before-VERSION.zip`; the last two stay.

    None where nobody has been yet. Raises BackupProblem.
    """
    if is_empty():
        return None
    folder().mkdir(parents=True, exist_ok=True, mode=0o700)
    # A version may be brought up to date in several steps.
    path = free_name(folder() / f"before-{flockcare.__version__}.zip")
    make(path, now=now)
    earlier = sorted(folder().glob("before-*.zip"), key=lambda one: one.stat().st_mtime)
    for one in earlier[:-LEAST]:
        one.unlink()
    return path


def make_daily_beside() -> None:
    """As `make_daily`, in a process of its own: the pages do not wait for it, nor fail with it."""
    if _of_today().exists():
        return
    command = [sys.executable, str(settings.BASE_DIR / "manage.py"), "backup", "--daily"]
    done = subprocess.run(command, capture_output=True, text=True)  # noqa: S603
    if done.returncode:
        logger.error("No backup was made: %s", done.stderr.strip()[-500:])


def _of_today(now: dt.datetime | None = None) -> Path:
    return folder() / f"flockcare-{timezone.localdate(now)}.zip"


def tidy() -> None:
    """Remove the backups that are no longer wanted, and more where they fill the disk."""
    there = kept()
    wanted = to_keep(one.on for one in there)
    for one in there:
        if one.on not in wanted:
            one.path.unlink(missing_ok=True)
    there = [one for one in there if one.on in wanted]
    while len(there) > LEAST and sum(one.bytes for one in there) > _free():
        there.pop().path.unlink(missing_ok=True)


def _free() -> int:
    return shutil.disk_usage(folder()).free


def to_keep(days: Iterable[dt.date]) -> set[dt.date]:
    """The newest seven, and the newest of each of the last four weeks that have one.

    Weeks begin on Monday (ISO 8601).
    """
    newest_first = sorted(set(days), reverse=True)
    weeks: dict[tuple[int, int], dt.date] = {}
    for day in newest_first:
        weeks.setdefault(day.isocalendar()[:2], day)
    return {*newest_first[:DAYS], *list(weeks.values())[:WEEKS]}
