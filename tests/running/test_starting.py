"""What keeps Flockcare from starting is said in one sentence, and what it says to do helps."""

import os
import re
import shutil
import sqlite3
import stat
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

import flockcare
from flockcare import gunicorn
from tests.backup.installed import ROOT, SCRIPT, done, environment, manage, rows, run
from tests.running.served import SERVE

pytestmark = pytest.mark.apart
DATABASE, KEY = "flockcare.sqlite3", "secret-key"
# One step back is as old as ten, and much sooner gone.
BEFORE = "0001_squashed"


@pytest.fixture(scope="module")
def site(new_installation, tmp_path_factory):
    """An installation with records and photos, its daily backup beside them."""
    folder = new_installation(tmp_path_factory.mktemp("site") / "data")
    kept_of_nothing = before(folder)
    answer = run(folder, str(SCRIPT), "prepare")
    assert answer.returncode == 0, answer.stderr
    done(folder, "backup", "--daily")
    return SimpleNamespace(folder=folder, rows=rows(folder), kept_of_nothing=kept_of_nothing)


@pytest.fixture
def copy(site, tmp_path):
    return Path(shutil.copytree(site.folder, tmp_path / "copy"))


@pytest.fixture(scope="module")
def older(site, tmp_path_factory):
    """The same installation as the version before the newest column of photos had left it."""
    folder = Path(shutil.copytree(site.folder, tmp_path_factory.mktemp("older") / "data"))
    done(folder, "migrate", "photos", BEFORE, "-v0")
    return folder


@pytest.fixture
def older_copy(older, tmp_path):
    return Path(shutil.copytree(older, tmp_path / "copy"))


def refused(folder: Path, *words: str, **more) -> str:
    """The one sentence (or two) with which `up --prepare-only` ends."""
    answer = manage(folder, "up", "--prepare-only", *words, **more)
    assert answer.returncode != 0, answer.stdout
    assert len(answer.stderr.strip().splitlines()) == 1, answer.stderr
    return answer.stderr.strip()


def overwrite(path: Path, start: int, end: int) -> None:
    content = path.read_bytes()
    path.write_bytes(content[:start] + os.urandom(end - start) + content[end:])


def damage(kind: str, database: Path) -> None:
    size = database.stat().st_size
    if kind == "zero bytes":
        database.write_bytes(b"")
    elif kind == "gone":
        database.unlink()
    elif kind == "cut off":
        os.truncate(database, size // 2 // 4096 * 4096)
    elif kind == "garbage at its head":
        overwrite(database, 0, 100)
    elif kind == "garbage inside":
        overwrite(database, 4096, size // 2)
    elif kind == "no tables":
        database.unlink()
        made = sqlite3.connect(database)
        made.execute("PRAGMA journal_mode=WAL")
        made.execute("PRAGMA user_version=1")
        made.close()


EMPTY = ["zero bytes", "gone", "no tables"]


@pytest.mark.parametrize("kind", [*EMPTY, "cut off", "garbage at its head", "garbage inside"])
def test_a_database_that_is_lost_leads_to_the_newest_backup(site, copy, kind):
    """Else the first visitor would be offered to set up a flock, in front of the photos of it."""
    damage(kind, copy / DATABASE)
    said = refused(copy)
    assert ("is empty or gone" if kind in EMPTY else "is damaged") in said
    assert str(copy / DATABASE) in said
    backup = re.search(r"manage\.py restore (\S+\.zip)", said)[1]
    assert Path(backup).exists()
    if kind in ("gone", "no tables", "garbage at its head"):
        return  # The way back is one.
    if kind not in EMPTY:
        early = manage(copy, "restore", backup)
        assert "is damaged" in early.stderr
        assert "Traceback" not in early.stderr
    for path in copy.glob(f"{DATABASE}*"):
        path.unlink()
    done(copy, "restore", backup)
    assert rows(copy) == site.rows


def test_looking_at_it_changes_nothing(copy):
    """What is in the file beside the database may be all there is, and SQLite would remove it."""
    damage("zero bytes", copy / DATABASE)
    (copy / f"{DATABASE}-wal").write_bytes(b"something")
    refused(copy)
    assert (copy / f"{DATABASE}-wal").read_bytes() == b"something"
    assert (copy / DATABASE).read_bytes() == b""


def test_without_a_backup_it_asks_for_one_from_elsewhere(copy):
    shutil.rmtree(copy / "backups")
    damage("zero bytes", copy / DATABASE)
    said = refused(copy)
    assert "manage.py restore FILE" in said
    assert "/files/" in said


def test_an_empty_file_beside_nothing_is_a_first_start(tmp_path):
    (tmp_path / DATABASE).write_bytes(b"")
    done(tmp_path, "up", "--prepare-only")


@pytest.mark.parametrize("kind", ["empty", "no text", "a folder"])
def test_a_key_that_cannot_be_used(copy, kind):
    key = copy / KEY
    key.unlink()
    if kind == "a folder":
        key.mkdir()
    else:
        key.write_bytes(b"\n" if kind == "empty" else b"\xff\xfe\x00")
    said = refused(copy)
    assert said.startswith(f"The signing key {key} ")
    assert "move it away" in said.lower()
    # gunicorn reads the settings before it serves.
    served = run(copy, *SERVE, "--check-config")
    assert served.returncode != 0
    assert said in served.stderr
    assert "Traceback" not in served.stderr
    key.rename(copy / "aside")
    done(copy, "check")
    assert len(key.read_text()) >= 50


def test_a_data_folder_that_is_none(tmp_path):
    (tmp_path / "file").write_text("")
    said = refused(tmp_path / "file")
    assert f"{tmp_path / 'file'} cannot be written" in said
    assert "FLOCKCARE_DATA" in said


def as_a_user(*command: str) -> list[str]:
    """Root may write where the rights say no; without these two powers it is as anybody else."""
    if os.geteuid():
        return list(command)
    return ["setpriv", "--bounding-set", "-dac_override,-dac_read_search", *command]


@pytest.mark.parametrize("what", ["a new folder", "the folder", "the database", "the key"])
def test_what_may_not_be_written_is_named(copy, tmp_path, what):
    place = {"the folder": copy, "the database": copy / DATABASE, "the key": copy / KEY}
    if what == "a new folder":
        tmp_path.joinpath("locked").mkdir(mode=0o500)
        folder = place[what] = tmp_path / "locked" / "data"
    else:
        folder = copy
        place[what].chmod(0o500 if what == "the folder" else 0o000)
    answer = subprocess.run(
        as_a_user(sys.executable, "manage.py", "up", "--prepare-only"),
        cwd=ROOT,
        env=environment(folder),
        capture_output=True,
        text=True,
    )
    assert answer.returncode != 0
    assert len(answer.stderr.strip().splitlines()) == 1, answer.stderr
    assert str(place[what]) in answer.stderr


# --- Versions


def columns(folder: Path, table: str) -> set[str]:
    database = sqlite3.connect(folder / DATABASE)
    found = {row[1] for row in database.execute(f"PRAGMA table_info({table})")}
    database.close()
    return found


def before(folder: Path) -> list[Path]:
    return sorted((folder / "backups").glob("before-*.zip"))


def test_an_upgrade_keeps_what_was_there_first(site, older_copy):
    copy = older_copy
    was = rows(copy)
    done(copy, "up", "--prepare-only")
    assert [path.name for path in before(copy)] == [f"before-{flockcare.__version__}.zip"]
    assert rows(copy).keys() == site.rows.keys()
    # What was kept is the older version's: brought back there, the rows are as they were.
    (copy / DATABASE).unlink()
    older = manage(copy, "restore", before(copy)[0])
    assert older.returncode == 0, older.stderr
    done(copy, "migrate", "photos", BEFORE, "-v0")
    assert rows(copy) == was


def test_without_migrations_or_without_records_nothing_is_kept(site, copy):
    done(copy, "up", "--prepare-only")
    assert before(copy) == site.kept_of_nothing == []


def test_each_upgrade_is_kept_but_not_for_ever(older, older_copy):
    for _ in range(3):
        shutil.copy(older / DATABASE, older_copy / DATABASE)
        done(older_copy, "up", "--prepare-only")
    assert len(before(older_copy)) == 2


def test_where_nothing_can_be_kept_nothing_is_upgraded(older_copy):
    copy = older_copy
    was = columns(copy, "photos_photo")
    shutil.rmtree(copy / "backups")
    (copy / "backups").mkdir()
    # A backup that another process is writing: as a full disk, it stops ours.
    (copy / "backups" / f"before-{flockcare.__version__}.zip.part").write_bytes(b"")
    said = refused(copy)
    assert "Nothing was upgraded." in said
    assert "--without-backup" in said
    assert columns(copy, "photos_photo") == was
    done(copy, "up", "--prepare-only", "--without-backup")
    assert columns(copy, "photos_photo") > was


def test_an_older_program_refuses_a_newer_database(copy):
    database = sqlite3.connect(copy / DATABASE)
    database.execute(
        "INSERT INTO django_migrations (app, name, applied) "
        "VALUES ('birds', '0099_of_next_year', '2030-01-01')"
    )
    database.commit()
    database.close()
    said = refused(copy)
    assert "newer version of Flockcare" in said
    assert "manage.py restore" in said
    assert before(copy) == []


# --- Nobody else's


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


def test_nothing_in_the_data_folder_is_for_others(tmp_path):
    folder = tmp_path / "data"
    old = os.umask(0o022)
    try:
        done(folder, "up", "--prepare-only")
        done(
            folder,
            "import_records",
            ROOT / "fixtures" / "three-hens",
            "--flock",
            "Hill Flock",
            "--create",
        )
        done(folder, "backup", "--daily")
    finally:
        os.umask(old)
    # Everybody may read the scripts and pictures of the pages; and nobody gets to that folder.
    there = [path for path in [folder, *folder.rglob("*")] if folder / "static" not in path.parents]
    assert gunicorn.umask == 0o077
    assert {DATABASE, KEY, "backups"} <= {path.name for path in there}
    assert [path for path in there if mode(path) & 0o077] == []


def test_what_an_earlier_version_left_open_is_closed(copy):
    copy.chmod(0o755)
    (copy / DATABASE).chmod(0o644)
    done(copy, "up", "--prepare-only")
    assert (mode(copy), mode(copy / DATABASE)) == (0o700, 0o600)
