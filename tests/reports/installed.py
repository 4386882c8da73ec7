"""Installations in folders of their own, run as processes, and what lies in them."""

import hashlib
import json
import os
import sqlite3
import subprocess
import sys
import uuid
import zipfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SCRIPT = ROOT / "tests" / "reports" / "backup_site.py"
APPS = ("people_", "birds_", "photos_", "housing_", "feet_", "care_", "trends_", "offline_")


def environment(folder: Path, **more: str) -> dict:
    """On SQLite, whatever the tests themselves run on, unless ``more`` names another database."""
    kept = {key: value for key, value in os.environ.items() if not key.startswith("FLOCKCARE_")}
    return {**kept, "FLOCKCARE_DATA": str(folder), "OMP_NUM_THREADS": "1", **more}


def run(folder: Path, *command: str, on=None, **options) -> subprocess.CompletedProcess:
    """``on``: more of the environment."""
    return subprocess.run(
        [sys.executable, *command],
        cwd=ROOT,
        env=environment(folder, **(on or {})),
        capture_output=True,
        text=True,
        timeout=120,
        **options,
    )


def manage(folder: Path, *words, on=None) -> subprocess.CompletedProcess:
    return run(folder, "manage.py", *map(str, words), on=on)


def done(folder: Path, *words, on=None) -> str:
    answer = manage(folder, *words, on=on)
    assert answer.returncode == 0, answer.stderr
    return answer.stdout


def rows(folder: Path) -> dict[str, list]:
    """Every row of the app's tables as SQLite itself has them, but for what ends with a backup."""
    database = sqlite3.connect(folder / "flockcare.sqlite3")
    names = [
        name for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type='table'")
    ]
    found = {
        name: sorted(database.execute(f"SELECT * FROM {name}").fetchall(), key=repr)  # noqa: S608
        for name in names
        if name.startswith(APPS)
    }
    database.close()
    return found


def files(folder: Path) -> dict[str, str]:
    """SHA-256 of every stored file by its path."""
    root = folder / "files"
    return {
        str(path.relative_to(root)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in root.rglob("*")
        if path.is_file()
    }


def everything(folder: Path) -> dict[str, str]:
    """What lies in a folder, but for SQLite's own helpers."""
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in folder.rglob("*")
        if path.is_file() and not path.name.endswith(("-wal", "-shm"))
    }


def photo_files(folder: Path) -> set[str]:
    """The files that the rows of photos name: read from the database with no code of the app's."""
    database = sqlite3.connect(folder / "flockcare.sqlite3")
    named = set()
    asked = "SELECT flock_id, id, stored_as, edition FROM photos_photo"
    for flock, photo, stored_as, edition in database.execute(asked):
        place = f"photos/{uuid.UUID(flock)}/{uuid.UUID(photo)}"
        parts = [("full", stored_as), *((size, edition) for size in (1600, 800, 240))]
        named |= {
            f"{place}/{name}-{part}.jpg" if part else f"{place}/{name}.jpg" for name, part in parts
        }
    database.close()
    return named


def migrations(folder: Path) -> set:
    database = sqlite3.connect(folder / "flockcare.sqlite3")
    found = set(database.execute("SELECT app, name FROM django_migrations"))
    database.close()
    return found


def members(path: Path) -> dict:
    return json.loads(zipfile.ZipFile(path).read("manifest.json"))
