"""What the study of faults goes by: each kind of loss is noticed, and nothing else is."""

import hashlib
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from flockcare.photos.intake import SIZES, take_in
from tests.offline.audit import Findings, Syncs, audit
from tests.offline.entries import Entry, hard_entries
from tests.offline.sends import picture

ROOT = Path(__file__).resolve().parents[2]
FLOCK = "b9d8f1a2-6f8e-4df1-9a3b-3a2c0e6b4a11"
NOTHING = {"check": [], "step": [], "weighing": [], "receipts": [], "photos": []}


class Shelf(dict):
    """Files by name, as ``Folder`` and ``Bucket`` give them out."""

    root = None

    def names(self):
        return set(self)

    def read(self, name):
        return self[name]


@pytest.fixture
def kept():
    """A check with a photo, acknowledged and stored: the entry, the rows, the files."""
    content = picture("tan").getvalue()
    entry = Entry(bird="a bird", photos={"a photo": content}, taken={False})
    entry.acknowledged = {entry.key: 1, "a photo": 1}
    taken = take_in(picture("tan"), "foot.jpg")
    files = [[size, f"photos/{FLOCK}/a photo/{size or 'full'}.jpg"] for size in (None, *SIZES)]
    row = {"key": "a photo", "flock": FLOCK, "records": [entry.key], "files": files}
    row["sha256"] = hashlib.sha256(content).hexdigest()
    rows = {**NOTHING, "check": [entry.says(other=False)], "photos": [row]}
    rows["receipts"] = [entry.key, "a photo"]
    shelf = Shelf({path: taken.sizes[size] if size else taken.original for size, path in files})
    return entry, rows, shelf


def counted(kept) -> dict[str, int]:
    entry, rows, shelf = kept
    found = audit(rows, shelf, [entry], flock=FLOCK, before=NOTHING)
    names = ("gone", "cut_off", "other_bytes", "doubled", "unowned", "records")
    return {name: len(getattr(found, name)) for name in names if getattr(found, name)}


def test_all_is_well(kept):
    assert counted(kept) == {}


@pytest.mark.parametrize("size", ["full", *SIZES])
def test_each_file_is_looked_at(kept, size):
    name = f"photos/{FLOCK}/a photo/{size}.jpg"
    whole = kept[2][name]
    for content, found in ((whole[:-30], "cut_off"), (picture("red").getvalue(), "other_bytes")):
        kept[2][name] = content
        assert counted(kept) == {found: 1}
    del kept[2][name]
    assert counted(kept) == {"gone": 1}


def test_rows(kept):
    entry, rows, shelf = kept
    (photo,) = rows["photos"]
    assert counted((entry, {**rows, "photos": []}, shelf)) == {"gone": 1, "unowned": 4}
    alone = {**photo, "records": []}
    assert counted((entry, {**rows, "photos": [alone]}, shelf)) == {"gone": 1, "records": 1}
    twice = {**photo, "key": "another"}
    assert counted((entry, {**rows, "photos": [photo, twice]}, shelf)) == {"doubled": 1}
    assert counted((entry, {**rows, "check": []}, shelf)) == {"records": 1}
    assert counted((entry, {**rows, "receipts": ["a photo"]}, shelf)) == {"records": 1}
    corrected = {**rows, "check": [entry.says(other=True)]}
    assert counted((entry, corrected, shelf)) == {"records": 1}
    strange = {**rows, "check": [*rows["check"], ["a key", "a bird", ""]]}
    strange["receipts"] = [*rows["receipts"], "a key"]
    assert counted((entry, strange, shelf)) == {"records": 1}


def test_a_file_that_nobody_owns(kept):
    kept[2][f"photos/{FLOCK}/a photo/full_x7.jpg"] = b"?"
    assert counted(kept) == {"unowned": 1}


def test_the_two_ways_to_say_a_record_differ():
    for entry in hard_entries(["a bird", "another"], 26, phone=1):
        assert entry.says(other=False) != entry.says(other=True)
        assert entry.fields("a keeper", other=False) != entry.fields("a keeper", other=True)


def test_all_that_was_found_is_said():
    found = Findings(gone={"a"}, unowned={"b", "c"}, records=["a check is not stored"])
    assert found.total() == 4
    assert len(found.words()) == 3


WRITES = """
import os, sys
from pathlib import Path

def sync(path):
    descriptor = os.open(path, os.O_RDONLY)
    os.fsync(descriptor)
    os.close(descriptor)

file = Path("flock", "photo", "full.jpg")
file.parent.mkdir(parents=True)
aside = file.with_name("aside")
aside.write_bytes(b"a picture")
steps = sys.argv[1]
if "file" in steps:
    sync(aside)
aside.rename(file)
if "folder" in steps:
    sync(file.parent)
if "above" in steps:
    sync(file.parent.parent)
"""


@pytest.mark.parametrize(
    ("steps", "at_risk"),
    [
        ("file folder above", ""),
        ("folder above", "content"),
        ("file above", "name"),
        ("file folder", "folder"),
        ("", "content"),
    ],
)
def test_what_a_power_cut_would_leave(tmp_path, steps, at_risk):
    (tmp_path / "writes.py").write_text(WRITES)
    first_sent = time.time_ns()
    subprocess.run(
        [sys.executable, ROOT / "tests/running/recorded.py", "writes.py", steps],
        cwd=tmp_path,
        env={**os.environ, "SYNCS": str(tmp_path / "journal")},
        check=True,
    )
    photo = tmp_path / "flock" / "photo" / "full.jpg"
    syncs = Syncs(tmp_path / "journal")
    now = time.time_ns()
    assert syncs.at_risk(photo, first_sent=first_sent, acknowledged=now) == at_risk
    # Nor is it enough that it was synced after the answer.
    soon = photo.stat().st_ctime_ns + 1
    assert at_risk or syncs.at_risk(photo, first_sent=first_sent, acknowledged=soon)


GROWS = """
import time
from pathlib import Path

Path("files").mkdir()
for number in range(20):
    with Path("files", f"{number:02}.jpg").open("wb", buffering=0) as file:
        for _ in range(60):
            file.write(bytes(10_000))
            time.sleep(0.02)
"""


def test_a_process_is_killed_inside_a_file(tmp_path):
    (tmp_path / "grows.py").write_text(GROWS)
    writing = subprocess.Popen([sys.executable, "grows.py"], cwd=tmp_path)
    command = [sys.executable, ROOT / "tests/running/kill_at.py", tmp_path, "/files/"]
    try:
        subprocess.run([*map(str, command), "100000", str(writing.pid), "30"], check=True)
        assert writing.wait(timeout=10) == -9
    finally:
        writing.kill()
    *_, last = sorted((tmp_path / "files").iterdir())
    assert 100_000 <= last.stat().st_size < 600_000
