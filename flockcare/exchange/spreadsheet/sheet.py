"""Reads somebody's own spreadsheet into rows of text: CSV in its many kinds, or .xlsx.

Every refusal is a ValueError in a keeper's words. Between the steps of the page the rows travel in
the page itself, packed: nothing of them is kept before they are taken in.
"""

import base64
import binascii
import csv
import io
import json
import zipfile
import zlib
from collections import Counter
from dataclasses import dataclass

from flockcare.exchange import limits
from flockcare.exchange.cells import unguard
from flockcare.exchange.source import unpacked
from flockcare.exchange.spreadsheet.workbook import (
    DAMAGED,
    TOO_MANY_LINES,
    TOO_MUCH_TEXT,
    workbook_rows,
)

# The first of those that do equally well: commas stand in numbers and sentences too.
_SEPARATORS = "\t;,"
# Among how many rows the names of the columns are looked for.
_MOST_TITLES = 10
# The last column of a file of refused rows; it is passed over when that comes back.
WHY_NOT = "Not imported because"
_TOO_WIDE = f"This table has more than {limits.MOST_TABLE_COLUMNS} columns."


@dataclass(frozen=True)
class Sheet:
    """``rows``: number in the file as the keeper sees it, and the cells.

    ``above``: what stood above the names of the columns, such as a title, row by row.
    """

    header: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    above: tuple[str, ...] = ()

    def column(self, place: int) -> list[str]:
        return [cells[place] for _, cells in self.rows if cells[place]]

    def pack(self) -> str:
        """Raises ValueError for one that no form could carry."""
        parts = self.header, self.rows, self.above
        text = json.dumps(parts, ensure_ascii=False, separators=(",", ":"))
        packed = base64.b64encode(zlib.compress(text.encode(), 9)).decode()
        if len(packed) > limits.LARGEST_PACKED or len(text.encode()) > limits.LARGEST_TEXT:
            raise ValueError(TOO_MUCH_TEXT)
        return packed

    @classmethod
    def unpack(cls, text: str) -> "Sheet":
        try:
            unpacker = zlib.decompressobj()
            data = unpacker.decompress(base64.b64decode(text, validate=True), limits.LARGEST_TEXT)
            header, rows, above = json.loads(data)
            if len(rows) > limits.MOST_TABLE_ROWS or len(header) > limits.MOST_TABLE_COLUMNS:
                raise ValueError
            made = cls(
                tuple(str(cell) for cell in header),
                tuple((int(at), tuple(str(cell) for cell in cells)) for at, cells in rows),
                tuple(str(line) for line in above),
            )
        except (ValueError, TypeError, zlib.error, binascii.Error, RecursionError):
            raise ValueError("The table did not arrive whole. Send the file again.") from None
        if any(len(c) != len(made.header) for _, c in made.rows):
            raise ValueError("The table did not arrive whole. Send the file again.")
        return made


def read_sheet(data: bytes) -> Sheet:
    if len(data) > limits.LARGEST_TABLE:
        raise ValueError("This file is larger than 10 MB.")
    if data.startswith(b"PK\x03\x04"):
        return _sheet(workbook_rows(_repacked(data)))
    if data.startswith(b"\xd0\xcf\x11\xe0"):
        raise ValueError("This is an old kind of workbook. Save it as .xlsx or as CSV.")
    return read_text(_decoded(data))


def read_text(text: str) -> Sheet:
    if "\0" in text:
        raise ValueError("This is not a table. Send a CSV file or a workbook (.xlsx).")
    try:
        return _sheet(enumerate(csv.reader(io.StringIO(text, newline=""), _dialect(text)), 1))
    except csv.Error as error:
        raise ValueError(f"This cannot be read as a table ({error}).") from None


def _decoded(data: bytes) -> str:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return data.decode("utf-16", errors="replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")


def _dialect(text: str):
    """The separator that cuts most of the first lines into as many columns as each other."""

    def columns(separator):
        lines = io.StringIO(text[:20_000], newline="")
        try:
            rows = [row for row in csv.reader(lines, delimiter=separator) if any(row)][:20]
        except csv.Error:
            return 0, 0
        widths = Counter(len(row) for row in rows if len(row) > 1)
        return max(((count, width) for width, count in widths.items()), default=(0, 0))

    class Dialect(csv.excel):
        delimiter = max(_SEPARATORS, key=columns)

    return Dialect


def _repacked(data: bytes) -> bytes:
    """The parts of a workbook, each no longer than it says; openpyxl unpacks them without limit."""
    out = io.BytesIO()
    try:
        archive = zipfile.ZipFile(io.BytesIO(data))
    except Exception:
        raise ValueError(DAMAGED) from None
    if sum(member.file_size for member in archive.infolist()) > limits.LARGEST_WORKBOOK:
        raise ValueError("This workbook is too large. Send the one sheet as CSV.")
    if "mimetype" in archive.namelist():
        raise ValueError("This is an OpenDocument file. Save it as .xlsx or as CSV.")
    try:
        with zipfile.ZipFile(out, "w") as parts:
            for member in archive.infolist():
                parts.writestr(member.filename, unpacked(archive, member))
    except Exception:
        raise ValueError(DAMAGED) from None
    return out.getvalue()


def _sheet(numbered) -> Sheet:
    rows, length = [], 0
    for at, (number, cells) in enumerate(numbered, 1):
        if at > limits.MOST_TABLE_LINES:
            raise ValueError(TOO_MANY_LINES)
        if len(cells) > limits.MOST_TABLE_CELLS:
            raise ValueError(_TOO_WIDE)
        cells = [unguard(cell.replace("\0", "").strip())[: limits.LONGEST_CELL] for cell in cells]
        if any(cells):
            rows.append((number, cells))
            length += sum(map(len, cells))
        if len(rows) > limits.MOST_TABLE_ROWS + 1:
            raise ValueError(
                f"This table has more than {limits.MOST_TABLE_ROWS} rows. Send it in parts."
            )
        if length > limits.LARGEST_TEXT:
            raise ValueError(TOO_MUCH_TEXT)
    titles = _titles(rows)
    above = tuple(" ".join(filter(None, cells)) for _, cells in rows[:titles])
    rows = rows[titles:]
    if len(rows) < 2:
        raise ValueError("There must be a row with the names of the columns, and rows below it.")
    width = max(at + 1 for _, cells in rows for at, cell in enumerate(cells) if cell)
    if width > limits.MOST_TABLE_COLUMNS:
        raise ValueError(_TOO_WIDE)
    (_, header), *rest = [(number, [*cells, *[""] * width][:width]) for number, cells in rows]
    if header[-1] == WHY_NOT:
        header, rest = header[:-1], [(number, cells[:-1]) for number, cells in rest]
    names = tuple(name or f"column {at}" for at, name in enumerate(header, 1))
    return Sheet(names, tuple((number, tuple(cells)) for number, cells in rest), above)


def _titles(rows: list[tuple[int, list[str]]]) -> int:
    """How many rows stand above the names of the columns: they fill at most half as many cells."""
    filled = [sum(map(bool, cells)) for _, cells in rows[:_MOST_TITLES]]
    most = max(filled, default=0)
    return next((at for at, count in enumerate(filled) if 2 * count > most), 0)
