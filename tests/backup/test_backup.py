"""Backup and restore of a whole installation: real folders, real processes, a real SQLite."""

import datetime as dt
import errno
import hashlib
import io
import json
import os
import resource
import shutil
import signal
import sqlite3
import subprocess
import sys
import zipfile
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from django.utils import timezone
from PIL import Image

from flockcare.backup import archive
from flockcare.backup.archive import reading
from flockcare.backup.rows import refuse_newer
from flockcare.backup.services import BackupProblem, check
from tests.backup.installed import (
    ROOT,
    SCRIPT,
    done,
    environment,
    everything,
    files,
    manage,
    members,
    migrations,
    photo_files,
    rows,
    run,
)

pytestmark = pytest.mark.apart


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    """An installation with three birds, checks, a turned photo, a deleted one; and its backup."""
    folder = tmp_path_factory.mktemp("site")
    done(folder, "migrate", "-v0")
    empty = Path(shutil.copytree(folder, folder.parent / "empty"))
    answer = run(folder, str(SCRIPT), "prepare")
    assert answer.returncode == 0, answer.stderr
    backup = folder.parent / f"{folder.name}.zip"
    printed = done(folder, "backup", backup)
    return SimpleNamespace(folder=folder, backup=backup, printed=printed, empty=empty)


@pytest.fixture(scope="module")
def restored(site):
    """Restored into a place that was prepared, but where nobody has been yet."""
    printed = done(site.empty, "restore", site.backup)
    return SimpleNamespace(folder=site.empty, printed=printed)


@pytest.fixture
def copy(restored, tmp_path):
    """A restored installation to do things to."""
    return Path(shutil.copytree(restored.folder, tmp_path / "copy"))


# --- There and back


def test_everything_comes_back_as_it_was(site, restored):
    assert rows(restored.folder) == rows(site.folder)
    assert files(restored.folder) == files(site.folder)
    assert sum(map(len, rows(site.folder).values())) > 15
    assert photo_files(restored.folder) == set(files(restored.folder))
    assert len(photo_files(restored.folder)) == 4 * 3, "the turned and the deleted photo too"


def test_it_says_how_much_there_is(site, restored):
    total = sum(map(len, rows(site.folder).values()))
    assert f"{total} records and 3 photos" in site.printed
    assert f"{total} records and 12 photo files" in restored.printed
    assert f"is whole: {total} records" in done(site.folder, "restore", site.backup, "--check")


def test_every_member_is_named_with_its_sha_256(site):
    about = members(site.backup)
    with zipfile.ZipFile(site.backup) as opened:
        assert set(opened.namelist()) == {*about["members"], "manifest.json"}
        for name, wanted in about["members"].items():
            content = opened.read(name)
            assert hashlib.sha256(content).hexdigest() == wanted["sha256"]
            assert len(content) == wanted["bytes"]
    assert about["format"] == 1 and about["version"] and about["missing"] == []
    for table, count in about["rows"].items():
        assert zipfile.ZipFile(site.backup).read(table).count(b"\n") == count + 1


def test_the_file_is_the_owners_alone_and_has_no_key_and_no_sign_in(site):
    assert site.backup.stat().st_mode & 0o077 == 0
    key = (site.folder / "secret-key").read_text()
    for name in (opened := zipfile.ZipFile(site.backup)).namelist():
        assert "session" not in name.lower()
        assert key.encode() not in opened.read(name)


def test_the_restored_place_answers_pages_after_signing_in(restored):
    answer = run(restored.folder, str(SCRIPT), "look")
    assert answer.returncode == 0, answer.stderr
    assert json.loads(answer.stdout) == {
        "sign in": 302,
        "today": 200,
        "birds": 200,
        "photos": [200, 200],
        "deleted photo put back": 302,
        "old session": 302,
    }


def test_a_name_that_is_taken_is_not_written_over(tmp_path):
    path = tmp_path / "b.zip"
    path.write_bytes(b"mine")
    with pytest.raises(BackupProblem, match="Choose another name"), archive.writing(path):
        pass
    assert path.read_bytes() == b"mine"


def test_a_taken_name_is_numbered(tmp_path):
    for name in ("b.zip", "b-2.zip", "b-3.zip"):
        path = archive.free_name(tmp_path / "b.zip")
        assert path.name == name
        path.touch()


# --- Where there are records already


def test_records_are_not_written_over_unless_told(site, copy, tmp_path):
    assert run(copy, str(SCRIPT), "add", "1").returncode == 0
    before = rows(copy)
    answer = manage(copy, "restore", site.backup)
    assert answer.returncode != 0 and "Use --replace" in answer.stderr
    assert rows(copy) == before

    there = files(copy)
    lost, broken, *_ = sorted(name for name in files(site.folder) if "full" in name)
    (copy / "files" / lost).unlink()
    (copy / "files" / broken).write_bytes(b"no picture")
    done(copy, "restore", site.backup, "--replace")
    assert rows(copy) == rows(site.folder)
    assert files(copy) == files(site.folder)

    [aside] = copy.glob("before-restore-*.zip")
    about = members(aside)
    assert sum(about["rows"].values()) == sum(map(len, before.values()))
    assert about["missing"] == [lost]
    kept = {name.removeprefix("files/"): of["sha256"] for name, of in about["members"].items()}
    assert {name: kept.get(name) for name in there if name not in (lost, broken)} == {
        name: there[name] for name in there if name not in (lost, broken)
    }


def test_two_restores_within_a_second_each_keep_what_was_there(site, copy):
    now = timezone.localtime()
    taken = [
        copy / f"before-restore-{now + dt.timedelta(seconds=later):%Y-%m-%d-%H%M%S}.zip"
        for later in range(120)
    ]
    for path in taken:
        path.touch()
    done(copy, "restore", site.backup, "--replace")
    [aside] = set(copy.glob("before-restore-*.zip")) - set(taken)
    assert aside.stem.endswith("-2") and members(aside)["rows"]
    assert not any(path.stat().st_size for path in taken)


@pytest.mark.parametrize(
    ("step", "brought"),
    [("_bring_rows", False), ("carry_forward", False), ("_remove_others", True)],
)
def test_a_restore_killed_midway_is_all_or_nothing_and_can_be_done_again(site, copy, step, brought):
    # One of those in the backup: what is added now is not.
    lost = min(name for name in files(copy) if "full" in name)
    assert run(copy, str(SCRIPT), "add", "1").returncode == 0
    before = rows(copy)
    (copy / "files" / lost).unlink()
    answer = run(copy, str(SCRIPT), "cut-restore", step, str(site.backup))
    assert answer.returncode == -signal.SIGKILL
    assert rows(copy) == (rows(site.folder) if brought else before)
    assert photo_files(copy) <= set(files(copy))

    done(copy, "restore", site.backup, "--replace")
    assert rows(copy) == rows(site.folder)
    assert files(copy) == files(site.folder)


# --- While people are writing


def test_a_backup_made_while_others_write_is_of_one_moment(copy, tmp_path):
    """Checks with photos come in, and photos are turned, in two processes meanwhile."""
    writers = [
        subprocess.Popen(
            [sys.executable, str(SCRIPT), what, "100000"],
            cwd=ROOT,
            env=environment(copy),
            stdout=subprocess.PIPE,
            text=True,
        )
        for what in ("add", "turn")
    ]
    path = tmp_path / "b.zip"
    try:
        for writer in writers:
            assert writer.stdout.readline().strip() == "writing"
        done(copy, "backup", path)
        assert all(writer.poll() is None for writer in writers), "they wrote to the end"
    finally:
        for writer in writers:
            writer.kill()
            writer.wait()
    about = members(path)
    assert about["missing"] == []
    assert 3 < about["photos"] < len(rows(copy)["photos_photo"]), "there was something to disturb"
    # Each check, its finding and its photo came in one transaction.
    together = ("Check", "FootFinding", "Check_photos")
    assert len({about["rows"][f"rows/feet.{table}.jsonl"] for table in together}) == 1
    back = tmp_path / "back"
    done(back, "restore", path)
    assert photo_files(back) == set(files(back)), "each row's files, and no others"
    assert len(rows(back)["feet_check"]) == about["rows"]["rows/feet.Check.jsonl"]


def test_lost_originals_are_named_and_lost_sizes_made_again(copy, tmp_path):
    lost, other, *_ = sorted(name for name in files(copy) if "/full" in name)
    size = next(name for name in files(copy) if name.startswith(f"{Path(other).parent}/240"))
    for name in (lost, size):
        (copy / "files" / name).unlink()
    answer = manage(copy, "backup", tmp_path / "b.zip")
    assert answer.returncode == 0 and lost in answer.stderr
    about = members(tmp_path / "b.zip")
    assert about["missing"] == [lost]
    named = {name.removeprefix("files/") for name in about["members"]}
    assert named & set(photo_files(copy)) == photo_files(copy) - {lost}
    with zipfile.ZipFile(tmp_path / "b.zip").open(f"files/{size}") as made:
        assert max(Image.open(made).size) == 240


# --- What goes wrong while writing


@pytest.mark.parametrize("room", [0, 1, 30, 100, 2_000, 60_000, 99_000])
def test_a_disk_that_gets_full_leaves_nothing_under_the_name(tmp_path, monkeypatch, room):
    class Full(io.BytesIO):
        def write(self, data):
            if self.tell() + len(data) > room:
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
            return super().write(data)

        def fileno(self):
            return os.open(os.devnull, os.O_WRONLY)

    stick = tmp_path / "stick"
    stick.mkdir()
    earlier = stick / "earlier.zip"
    earlier.write_bytes(b"earlier")
    monkeypatch.setattr(archive, "_open_new", lambda part: part.touch() or Full())
    full = pytest.raises(BackupProblem, match=r"No space left on device.*Earlier backups are")
    with full, archive.writing(stick / "b.zip") as out:
        out.add("photo.jpg", io.BytesIO(os.urandom(98_800)))
        out.finish({}, ["photo.jpg"])
    assert [path.name for path in stick.iterdir()] == ["earlier.zip"]
    assert earlier.read_bytes() == b"earlier"


def test_a_disk_that_takes_no_copy_of_the_database_is_said_plainly(site, tmp_path):
    def limited():
        resource.setrlimit(resource.RLIMIT_FSIZE, (50_000, 50_000))

    stick = tmp_path / "stick"
    stick.mkdir()
    answer = run(site.folder, "manage.py", "backup", str(stick / "b.zip"), preexec_fn=limited)
    assert answer.returncode != 0
    assert "The database cannot be copied" in answer.stderr and "Traceback" not in answer.stderr
    assert list(stick.iterdir()) == []


def test_killed_midway_leaves_nothing_under_the_name(site, tmp_path):
    target = tmp_path / "b.zip"
    process = subprocess.Popen(
        [sys.executable, str(SCRIPT), "slow-backup", str(target)],
        cwd=ROOT,
        env=environment(site.folder),
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdout.readline().strip() == "begun"
    process.send_signal(signal.SIGKILL)
    process.wait()
    assert not target.exists()
    left = tmp_path / "b.zip.part"
    assert left.exists(), "it was cut off before its end"
    with pytest.raises(BackupProblem, match="being written by another"), archive.writing(target):
        pass
    os.utime(left, (0, 0))
    with archive.writing(target) as out:
        out.finish({}, [])
    assert check(target)["members"] == {} and not left.exists()


# --- What goes wrong with the file


def refused(path: Path) -> str:
    with pytest.raises(BackupProblem) as problem:
        check(path)
    return str(problem.value)


def test_a_file_cut_off_anywhere_is_refused(site, tmp_path):
    data = site.backup.read_bytes()
    cut = tmp_path / "cut.zip"
    points = {*range(5, 64), *range(len(data) - 64, len(data))}
    points |= set(np.linspace(64, len(data) - 65, 150, dtype=int).tolist())
    for length in sorted(points):
        cut.write_bytes(data[:length])
        assert "is damaged" in refused(cut), length
    for length in range(4):
        cut.write_bytes(data[:length])
        assert "not a backup" in refused(cut)


def test_a_byte_changed_anywhere_is_refused_or_changes_nothing(site, tmp_path):
    """Only what a zip says beside its content (times, rights) may differ and still be taken."""
    data = site.backup.read_bytes()
    about = members(site.backup)
    flipped = tmp_path / "flipped.zip"
    directory = data.rindex(b"PK\1\2", 0, data.index(b"PK\5\6")) - 2500
    points = {*range(0, 400, 4), *range(directory, len(data), 7)}
    points |= set(np.linspace(400, directory, 200, dtype=int).tolist())
    taken = 0
    for point in sorted(points):
        changed = bytearray(data)
        changed[point] ^= 1 << (point % 8)
        flipped.write_bytes(changed)
        try:
            with reading(flipped) as backup:
                taken += 1
                assert backup.about == about, point
                for name in backup.members:
                    content = backup.open(name).read()
                    assert hashlib.sha256(content).hexdigest() == about["members"][name]["sha256"]
        except BackupProblem as problem:
            assert "damaged" in str(problem) or "not a backup" in str(problem), point
    assert 0 < taken < len(points) / 4


def test_a_damaged_file_touches_nothing(site, restored, tmp_path):
    data = bytearray(site.backup.read_bytes())
    data[len(data) // 2] ^= 1
    bad = tmp_path / "bad.zip"
    bad.write_bytes(data)
    before = everything(restored.folder)
    answer = manage(restored.folder, "restore", bad, "--replace")
    assert answer.returncode != 0 and "Nothing was changed" in answer.stderr
    assert everything(restored.folder) == before


@pytest.mark.parametrize(
    "kind", ["text", "empty", "folder", "missing", "other zip", "other manifest"]
)
def test_what_is_no_backup_is_said_to_be_none(tmp_path, kind):
    path = tmp_path / "file.zip"
    if kind == "text":
        path.write_text("Dear diary, the hens are well.")
    elif kind == "empty":
        path.touch()
    elif kind == "folder":
        path.mkdir()
    elif kind != "missing":
        with zipfile.ZipFile(path, "w") as opened:
            opened.writestr("a.txt", "a")
            if kind == "other manifest":
                opened.writestr("manifest.json", "[1]")
    expected = "cannot be opened" if kind in ("folder", "missing") else "is not a backup"
    assert expected in refused(path)


def rewritten(source: Path, target: Path, change) -> Path:
    """A backup whose manifest somebody changed."""
    with zipfile.ZipFile(source) as old, zipfile.ZipFile(target, "w") as new:
        for name in old.namelist():
            content = old.read(name)
            if name == "manifest.json":
                about = json.loads(content)
                change(about)
                content = json.dumps(about).encode()
            new.writestr(name, content)
    return target


def test_a_newer_form_is_refused(site, tmp_path):
    path = rewritten(site.backup, tmp_path / "n.zip", lambda about: about.update(format=2))
    assert "newer version" in refused(path)


def test_migrations_that_are_not_known_are_refused(site):
    known = members(site.backup)["migrations"]
    refuse_newer(known)
    refuse_newer([*known, ["an_app_no_longer_there", "0001_initial"]])
    with pytest.raises(BackupProblem, match="newer version"):
        refuse_newer([*known, ["feet", "9999_from_the_future"]])


def test_members_with_names_that_lead_elsewhere_write_nothing_outside(site, tmp_path):
    """A prepared zip cannot write outside the storage."""
    content = b"no"
    name = "files/../../outside.jpg"

    def change(about):
        about["members"][name] = {
            "bytes": len(content),
            "sha256": hashlib.sha256(content).hexdigest(),
        }

    path = rewritten(site.backup, tmp_path / "evil.zip", change)
    with zipfile.ZipFile(path, "a") as opened:
        opened.writestr(name, content)
    place = tmp_path / "place"
    answer = manage(place, "restore", path)
    assert answer.returncode != 0 and "is not the file of a photo" in answer.stderr
    assert not list(tmp_path.rglob("outside.jpg"))


# --- An older backup


def test_a_backup_of_an_older_version_is_brought_up_to_date(site, tmp_path):
    """Rows of the first migrations, when photos could not be turned yet."""
    old = tmp_path / "old"
    answer = run(old, str(SCRIPT), "old-rows")
    assert answer.returncode == 0, answer.stderr
    done(old, "backup", tmp_path / "old.zip")
    assert ["photos", "0001_initial"] in members(tmp_path / "old.zip")["migrations"]
    assert len(members(tmp_path / "old.zip")["migrations"]) < 15

    new = tmp_path / "new"
    done(new, "restore", tmp_path / "old.zip")
    assert migrations(new) == migrations(site.folder)
    found = rows(new)
    assert len(found["people_flock"]) == len(found["birds_bird"]) == len(found["photos_photo"]) == 1
    assert photo_files(new) == set(files(new))
    database = sqlite3.connect(new / "flockcare.sqlite3")
    history = database.execute("SELECT id, kind, first_id FROM people_revision ORDER BY id")
    assert history.fetchall() == [(1, "housing.Feature", None), (2, "housing.House", 1)]
    database.close()
