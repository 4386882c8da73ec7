"""Brings small exchanges into flocks and out again."""

import csv
import io
import struct
import tracemalloc
import zipfile
import zlib
from datetime import UTC, datetime

from flockcare.exchange.services import Refused, apply, check, export, read_folder
from flockcare.people.models import Flock

NOW = datetime(2024, 6, 1, 9, 30, tzinfo=UTC)
BIRDS = [
    {"bird": "Thyme", "band": "green 12", "breed": "Sussex", "hatched": "2021-04"},
    {"bird": "Sage", "band": "red", "weight_class": "bantam"},
]
AWKWARD = [
    "=1+1",
    "'=1+1",
    "''@home",
    "-3, said “no”",
    "\tindented",
    'He said "no", twice',
    "two\nlines\r\nthree",
    "Grüße aus Köln, œufs, 鶏",
    "'plain apostrophe",
    " blanks kept ",
    "+",
]


def bring_in(path, flock, **more):
    plan = check(read_folder(path), flock, now=NOW, **more)
    apply(plan)
    return plan


def problems_of(path, flock) -> list[tuple]:
    """(file, line, column) of each problem, with all of them in words last."""
    try:
        check(read_folder(path), flock, now=NOW)
    except Refused as refused:
        return [(p.file, p.line, p.column) for p in refused.problems] + [str(refused)]
    return []


def csv_files(root) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(root.glob("*.csv"))}


def rows_of(files: dict[str, bytes], name: str) -> list[dict]:
    return list(csv.DictReader(io.StringIO(files[name].decode(), newline="")))


def there_and_back(flock, tmp_path, **more):
    """Export, import into another flock, export again: (first, second) CSV files by name."""
    export(flock, tmp_path / "first")
    other = Flock.objects.create(name="The other yard", time_zone=flock.time_zone)
    bring_in(tmp_path / "first", other, **more)
    export(other, tmp_path / "second")
    return csv_files(tmp_path / "first"), csv_files(tmp_path / "second")


def with_a_short_lie(path, size, name="birds.csv"):
    """A zip of one file of ``size`` zeros, which says that there are only ten of them."""
    with (
        zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive,
        archive.open(name, "w") as member,
    ):
        for _ in range(size // 2**20):
            member.write(b"\0" * 2**20)
    (whole,) = zipfile.ZipFile(path).infolist()
    # APPNOTE.TXT 4.3.7 (PKWARE): CRC-32 and sizes are four bytes each, little-endian.
    data = path.read_bytes()
    for true, told in ((whole.CRC, zlib.crc32(bytes(10))), (whole.file_size, 10)):
        data = data.replace(struct.pack("<L", true), struct.pack("<L", told))
    path.write_bytes(data)
    return path


def peak_mb(deed) -> float:
    tracemalloc.start()
    try:
        deed()
        return tracemalloc.get_traced_memory()[1] / 2**20
    finally:
        tracemalloc.stop()
