"""What became of everything that phones had acknowledged: asked of the database, and of the files
byte by byte."""

import hashlib
import io
import json
from collections import Counter, defaultdict
from dataclasses import dataclass, field
from pathlib import Path

from PIL import Image

from flockcare.photos.intake import take_in
from tests.offline.entries import DOUBLE, Entry
from tests.running import with_s3

KINDS = ("check", "step", "weighing")
# The file system's clock ticks this coarsely, in nanoseconds.
TICK = 20_000_000


def stored(place) -> dict[str, list]:
    """What the database of a running or stopped installation holds; see ``stored.py``."""
    return json.loads(place.run("tests/offline/stored.py"))


class Folder:
    """The files of an installation that keeps them in its data folder."""

    def __init__(self, place):
        self.root = Path(place.environment["FLOCKCARE_DATA"], "files")

    def names(self) -> set[str]:
        found = self.root.rglob("*")
        return {str(path.relative_to(self.root)) for path in found if path.is_file()}

    def read(self, name: str) -> bytes:
        return (self.root / name).read_bytes()

    def state(self):
        """Different as long as anybody writes."""
        return sorted(
            (str(path), status.st_size, status.st_mtime_ns)
            for path in self.root.rglob("*")
            if (status := _status(path))
        )


class Bucket:
    """The same of one that keeps them in S3-compatible storage."""

    root = None

    def __init__(self, place):
        self.client = with_s3.client(place.environment)

    def names(self) -> set[str]:
        pages = self.client.get_paginator("list_objects_v2").paginate(Bucket=with_s3.BUCKET)
        return {each["Key"] for page in pages for each in page.get("Contents", [])}

    def read(self, name: str) -> bytes:
        return self.client.get_object(Bucket=with_s3.BUCKET, Key=name)["Body"].read()

    def state(self):
        return sorted(self.names())


def _status(path: Path):
    try:
        return path.stat()
    except OSError:
        return None


class Syncs:
    """What a server under ``recorded.py`` wrote to disk for good, and when."""

    def __init__(self, journal: Path):
        self.times: dict[tuple[int, int], list[int]] = defaultdict(list)
        for line in journal.read_text().splitlines() if journal.exists() else ():
            device, inode, at = map(int, line.split())
            self.times[device, inode].append(at)

    def has(self, path: Path, *, since: int, until: int) -> bool:
        status = path.stat()
        times = self.times[status.st_dev, status.st_ino]
        return any(since - TICK <= at <= until for at in times)

    def at_risk(self, path: Path, *, first_sent: int, acknowledged: int, once=True) -> str:
        """What of this file a power cut right after the answer could have taken; empty for nothing.

        Its content, its name in its folder, that folder's own name in the one above: each is
        certain only once it was synced (fsync(2): "does not necessarily ensure that the entry in
        the directory containing the file has also reached disk"). Where it was not sent ``once``,
        the name may stand for the same content of another request since.
        """
        status = path.stat()
        if status.st_ctime_ns > acknowledged:
            return ""  # replaced since by the same content; what was there at the answer is gone
        named = status.st_ctime_ns if once else first_sent
        for what, place, since in (
            ("content", path, status.st_mtime_ns),
            ("name", path.parent, named),
            ("folder", path.parent.parent, first_sent),
        ):
            if not self.has(place, since=since, until=acknowledged):
                return what
        return ""


@dataclass
class Findings:
    """Photos that were acknowledged, by what is wrong with them; files; and records, in words.

    ``unsynced``: by photo, what of it a power cut could have taken.
    """

    gone: set[str] = field(default_factory=set)
    cut_off: set[str] = field(default_factory=set)
    other_bytes: set[str] = field(default_factory=set)
    doubled: set[str] = field(default_factory=set)
    unsynced: dict[str, str] = field(default_factory=dict)
    unowned: set[str] = field(default_factory=set)
    records: list[str] = field(default_factory=list)

    def counts(self) -> dict[str, int]:
        return {
            "acknowledged photos with a file that is gone": len(self.gone),
            "acknowledged photos with a file that is cut off": len(self.cut_off),
            "acknowledged photos with a file of other bytes": len(self.other_bytes),
            "photos or records stored twice": len(self.doubled),
            "acknowledged photos that a power cut could take": len(self.unsynced),
            "files that belong to no photo": len(self.unowned),
        }

    def total(self) -> int:
        return sum(self.counts().values()) + len(self.records)

    def words(self) -> list[str]:
        said = [f"{count} {what}" for what, count in self.counts().items() if count]
        said += [f"not synced before the answer: the {what}" for what in self.unsynced.values()]
        return said + self.records


def audit(now: dict, storage, entries: list[Entry], *, flock, before, syncs=None) -> Findings:
    """What is wrong with what is stored ``now``, given what was acknowledged since ``before``."""
    found = Findings()
    _look_at_records(found, now, before, entries)
    earlier = {photo["key"] for photo in before["photos"]}
    new = [photo for photo in now["photos"] if photo["flock"] == flock]
    alone = [photo for photo in new if photo["key"] not in earlier and not photo["records"]]
    found.records += ["a photo is not with its record"] * len(alone)
    _look_for_doubles(found, now)
    names = storage.names()
    found.unowned = names - {path for photo in now["photos"] for _, path in photo["files"]}
    rows = {photo["sha256"]: photo for photo in now["photos"] if photo["flock"] == flock}
    for entry in entries:
        for key, content in entry.photos.items():
            if acknowledged := entry.acknowledged.get(key):
                photo = rows.get(hashlib.sha256(content).hexdigest())
                if photo is None or entry.key not in photo["records"]:
                    found.gone.add(key)
                    continue
                look_at_files(found, key, content, photo, storage, names)
                sent = {"first_sent": entry.first_sent, "acknowledged": acknowledged}
                sent["once"] = entry.photo_way not in DOUBLE
                for _, path in photo["files"] if syncs else ():
                    if path in names and (what := syncs.at_risk(storage.root / path, **sent)):
                        found.unsynced[key] = what
    return found


def look_at_files(found: Findings, key: str, content: bytes, photo, storage, names) -> None:
    """Compare each file with what an undisturbed intake makes of the bytes that were sent."""
    picture = take_in(io.BytesIO(content), "foot.jpg")
    for size, path in photo["files"]:
        wanted = picture.sizes[size] if size else picture.original
        if path not in names:
            found.gone.add(key)
        elif (there := storage.read(path)) != wanted:
            (found.other_bytes if is_whole(there) else found.cut_off).add(key)


def is_whole(jpeg: bytes) -> bool:
    try:
        with Image.open(io.BytesIO(jpeg)) as image:
            image.load()
    except (OSError, SyntaxError):
        return False
    return True


def _look_at_records(found: Findings, now: dict, before: dict, entries: list[Entry]) -> None:
    there = {kind: {row[0]: row for row in now[kind]} for kind in KINDS}
    for entry in entries:
        row = there[entry.kind].get(entry.key)
        if entry.key in entry.acknowledged and row is None:
            found.records.append(f"a {entry.kind} that was acknowledged is not stored")
        for other in entry.taken:
            if row and row != entry.says(other=other):
                said = "in corrected words" if other else "in its first words"
                found.records.append(f"a {entry.kind} acknowledged {said} is stored in others")
        found.records += entry.refused
    acknowledged = {entry.key for entry in entries if entry.key in entry.acknowledged}
    for kind in KINDS:
        new = set(there[kind]) - {row[0] for row in before[kind]}
        if new - {entry.key for entry in entries}:
            found.records.append(f"a {kind} came from nowhere")
        if new & acknowledged - set(now["receipts"]):
            found.records.append(f"a {kind} has no receipt")


def _look_for_doubles(found: Findings, now: dict) -> None:
    for kind in KINDS:
        counted = Counter(row[0] for row in now[kind])
        found.doubled |= {key for key, count in counted.items() if count > 1}
    pictures = Counter((photo["flock"], photo["sha256"]) for photo in now["photos"])
    keys = Counter(photo["key"] for photo in now["photos"])
    found.doubled |= {sha256 for (_, sha256), count in pictures.items() if count > 1}
    found.doubled |= {key for key, count in keys.items() if count > 1}
