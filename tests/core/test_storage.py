"""A file that has its name is whole and on the disk, whatever happens while it is written."""

import datetime as dt
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from django.core.files.base import ContentFile

from flockcare.core.storage import FolderStorage

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def storage(tmp_path):
    return FolderStorage(location=tmp_path / "files", directory_permissions_mode=0o700)


def files(storage) -> dict[str, bytes]:
    folder = Path(storage.location)
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


def test_it_is_kept_under_its_name_for_us_alone(storage):
    assert storage.save("a/b/full.jpg", ContentFile(b"toes")) == "a/b/full.jpg"
    assert files(storage) == {"a/b/full.jpg": b"toes"}
    assert Path(storage.path("a/b/full.jpg")).stat().st_mode & 0o777 == 0o600
    assert Path(storage.path("a/b")).stat().st_mode & 0o777 == 0o700


def test_content_then_name_then_folders_reach_the_disk_before_save_returns(storage, monkeypatch):
    """fsync(2): syncing a file does not bring its entry in the folder to the disk as well."""
    done = []
    sync, replace = os.fsync, Path.replace

    def note_sync(descriptor):
        path = Path(f"/proc/self/fd/{descriptor}").readlink()
        done.append(("sync", path.name, path.is_file() and path.stat().st_size))
        sync(descriptor)

    def note_replace(path, target):
        done.append(("rename", Path(target).name, False))
        return replace(path, target)

    monkeypatch.setattr(os, "fsync", note_sync)
    monkeypatch.setattr(Path, "replace", note_replace)
    storage.save("a/b/full.jpg", ContentFile(b"toes"))
    above = Path(storage.location).parent.name
    folders = [("sync", name, False) for name in ("b", "a", "files", above)]
    renamed = [("sync", "full.jpg.part", 4), ("rename", "full.jpg", False)]
    assert done == renamed + folders
    done.clear()
    storage.save("a/b/240.jpg", ContentFile(b"toes"))
    assert done[2:] == folders, "one who was killed may have made a folder without syncing it"


def test_a_name_that_is_taken_is_not_written_over(storage):
    storage.save("full.jpg", ContentFile(b"first"))
    other = storage.save("full.jpg", ContentFile(b"second"))
    assert files(storage) == {"full.jpg": b"first", other: b"second"}


def test_of_two_that_want_a_name_at_once_each_gets_one_of_its_own(storage, monkeypatch):
    """Both have asked whether it is free before either takes it."""
    monkeypatch.setattr(FolderStorage, "exists", lambda self, name: False)
    storage.save("full.jpg", ContentFile(b"first"))
    monkeypatch.undo()
    names = iter(["full.jpg", "full_2.jpg"])
    monkeypatch.setattr(storage, "get_available_name", lambda name, **_: next(names))
    assert storage.save("full.jpg", ContentFile(b"second")) == "full_2.jpg"
    assert files(storage) == {"full.jpg": b"first", "full_2.jpg": b"second"}


@pytest.mark.parametrize("fault", ["fsync", "write"])
def test_what_fails_leaves_nothing(storage, monkeypatch, fault):
    storage.save("other.jpg", ContentFile(b"other"))

    class Breaking(ContentFile):
        def chunks(self, chunk_size=None):
            yield b"to"
            if fault == "write":
                raise OSError(28, "No space left on device")

    if fault == "fsync":

        def broken(descriptor):
            raise OSError(5, "Input/output error")

        monkeypatch.setattr(os, "fsync", broken)
    with pytest.raises(OSError):
        storage.save("full.jpg", Breaking(b"toes"))
    assert files(storage) == {"other.jpg": b"other"}


KILLED = """
import os, signal, sys
from django.conf import settings
settings.configure()
from django.core.files.base import ContentFile
from flockcare.core.storage import FolderStorage

class Killing(ContentFile):
    def chunks(self, chunk_size=None):
        yield b"x" * 5_000_000
        os.kill(os.getpid(), signal.SIGKILL)

FolderStorage(location=sys.argv[1]).save("full.jpg", Killing(b""))
"""


def test_killed_while_writing_it_leaves_no_part_under_the_name(storage):
    Path(storage.location).mkdir()
    done = subprocess.run([sys.executable, "-c", KILLED, storage.location], cwd=ROOT)
    assert done.returncode == -signal.SIGKILL
    assert files(storage)["full.jpg"] == b"", "the name is taken, and nothing stands under it"
    again = storage.save("full.jpg", ContentFile(b"toes"))
    assert again != "full.jpg" and files(storage)[again] == b"toes"


def test_what_lies_there_with_size_and_time(storage):
    storage.save("photos/a/full.jpg", ContentFile(b"toes"))
    storage.save("photos/b/full.jpg", ContentFile(b""))
    storage.save("other/full.jpg", ContentFile(b"?"))
    found = {file.name: file for file in storage.stored("photos")}
    assert {name: file.bytes for name, file in found.items()} == {
        "photos/a/full.jpg": 4,
        "photos/b/full.jpg": 0,
    }
    assert found["photos/a/full.jpg"].modified == storage_time(storage, "photos/a/full.jpg")
    assert list(storage.stored("nowhere")) == []


def storage_time(storage, name):
    return dt.datetime.fromtimestamp(Path(storage.path(name)).stat().st_mtime, tz=dt.UTC)


def test_only_an_empty_folder_is_removed(storage):
    storage.save("a/full.jpg", ContentFile(b"toes"))
    storage.remove_empty_folder("a")
    assert storage.exists("a/full.jpg")
    storage.delete("a/full.jpg")
    storage.remove_empty_folder("a")
    storage.remove_empty_folder("a")
    assert not storage.exists("a")
