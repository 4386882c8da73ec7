"""Writes a flock as an exchange: the same records give the same files, byte for byte."""

import csv
import hashlib
import io
import logging
import shutil
import zipfile
from collections.abc import Iterator
from pathlib import Path

from django.core.files.storage import default_storage

from flockcare.exchange import lost
from flockcare.exchange.cells import guard
from flockcare.exchange.dictionary import DICTIONARY, PACKAGE, dictionary, package
from flockcare.exchange.outgoing import Outgoing
from flockcare.exchange.problems import Problem, Refused
from flockcare.exchange.tables import FILES, WRITTEN_LAST
from flockcare.people.models import Flock

# A zip keeps a time for each file; the same one always, for the sake of equal bytes.
_ZIP_TIME = (1980, 1, 1, 0, 0, 0)
_PIECE = 256 * 1024
_ROWS_AT_ONCE = 500

logger = logging.getLogger(__name__)


def export(flock: Flock, path: Path | str) -> "Export":
    """Write ``flock`` to a new folder, or to a new file if ``path`` ends with ".zip".

    Raises Refused when something is there already.
    """
    path = Path(path)
    if path.exists() and not (path.is_dir() and not any(path.iterdir())):
        raise Refused([Problem(str(path), "There is something of that name already.")])
    exported = Export(flock)
    unfinished = path.with_name(f"{path.name}.unfinished")
    _remove(unfinished)
    try:
        if path.suffix.lower() == ".zip":
            with unfinished.open("wb") as file:
                for piece in exported.zipped():
                    file.write(piece)
        else:
            _write_folder(unfinished, exported)
    except BaseException:
        _remove(unfinished)
        raise
    if path.is_dir():
        path.rmdir()
    unfinished.replace(path)
    return exported


class Export:
    """One export, written piece by piece.

    Once it is written, ``counts`` has the number of rows of each file, and ``lost`` the names of
    the photos whose files the storage does not have any more.
    """

    def __init__(self, flock: Flock):
        self.counts: dict[str, int] = {}
        self.lost: list[str] = []
        self._outgoing = Outgoing(flock)

    def files(self) -> Iterator[tuple[str, Iterator[bytes]]]:
        """Name and pieces of each file, one after the other."""
        for name in FILES:
            if name not in WRITTEN_LAST:
                yield name, self._table(name)
        for name, stored in self._outgoing.stored().items():
            picture = _read(stored)
            if picture is None:
                self.lost.append(name)
                continue
            self._outgoing.digests[name] = hashlib.sha256(picture).hexdigest()
            yield name, _pieces(picture)
        for name in WRITTEN_LAST:
            yield name, self._table(name)
        yield DICTIONARY, iter([dictionary()])
        yield PACKAGE, iter([package()])
        if self.lost:
            yield lost.LETTER, iter([lost.letter(self.lost)])

    def zipped(self) -> Iterator[bytes]:
        """The pieces of a zip file, made as they are taken."""
        sink = _Sink()
        with zipfile.ZipFile(sink, "w") as archive:
            for name, pieces in self.files():
                entry = zipfile.ZipInfo(name, _ZIP_TIME)
                # Pictures are packed as small as they get.
                if not name.startswith("photos/"):
                    entry.compress_type = zipfile.ZIP_DEFLATED
                with archive.open(entry, "w") as member:
                    for piece in pieces:
                        member.write(piece)
                        yield sink.taken()
        yield sink.taken()

    def _table(self, name: str) -> Iterator[bytes]:
        table = self._outgoing.table(FILES[name])
        self.counts[name] = len(table)
        return csv_pieces(name, table)


class _Sink:
    """Where a zip is written to that goes straight on to somebody else."""

    def __init__(self):
        self._pieces = []

    def write(self, data) -> int:
        self._pieces.append(bytes(data))
        return len(data)

    def flush(self) -> None:
        pass

    def taken(self) -> bytes:
        data = b"".join(self._pieces)
        self._pieces.clear()
        return data


def csv_bytes(name: str, table: list[list[str]]) -> bytes:
    """One file as RFC 4180 has it: CRLF between rows, quotes where they are needed."""
    return b"".join(csv_pieces(name, table))


def csv_pieces(name: str, table: list[list[str]]) -> Iterator[bytes]:
    file = FILES[name]
    guarded = [column in file.free_text for column in file.all]
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(file.all)
    for start in range(0, max(len(table), 1), _ROWS_AT_ONCE):
        writer.writerows(
            [guard(text) if free else text for text, free in zip(cells, guarded, strict=True)]
            for cells in table[start : start + _ROWS_AT_ONCE]
        )
        yield out.getvalue().encode()
        out.seek(0)
        out.truncate()


def _read(stored: str) -> bytes | None:
    """A stored picture; None where it is lost, which includes one that the disk does not give out.

    Read whole before anything of it is written: half a picture could not be taken back.
    """
    try:
        with default_storage.open(stored) as file:
            return file.read() or None
    except OSError:
        logger.warning("The file of a photo is lost: %s", stored, exc_info=True)
        return None


def _pieces(data: bytes) -> Iterator[bytes]:
    return (data[at : at + _PIECE] for at in range(0, len(data), _PIECE))


def _write_folder(root: Path, exported: Export) -> None:
    root.mkdir(parents=True)
    for name, pieces in exported.files():
        path = root / name
        path.parent.mkdir(exist_ok=True)
        with path.open("wb") as file:
            for piece in pieces:
                file.write(piece)


def _remove(path: Path) -> None:
    if path.is_dir():
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)
