"""Reads somebody's own spreadsheet into rows of text: CSV in its many kinds, or .xlsx.

Every refusal is a ValueError in a keeper's words. Between the steps of the page the rows travel in
the page itself, packed: nothing of them is kept before they are taken in.
"""

import base64
import binascii
import csv
import datetime as dt
import io
import json
import zipfile
import zlib
from dataclasses import dataclass

import openpyxl

LARGEST_FILE = 10 * 2**20
MOST_ROWS, MOST_COLUMNS, LONGEST_CELL = 5000, 60, 4000
# What a form may hold beside it; see DATA_UPLOAD_MAX_MEMORY_SIZE.
LARGEST_PACKED = 1_500_000
LARGEST_UNPACKED = 12 * 2**20
# A workbook is a zip of XML, which may unpack to very much.
LARGEST_WORKBOOK = 80 * 2**20
_SEPARATORS = ",;\t"


@dataclass(frozen=True)
class Sheet:
    """``rows``: number in the file as the keeper sees it, and the cells."""

    header: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]

    def column(self, place: int) -> list[str]:
        return [cells[place] for _, cells in self.rows if cells[place]]

    def pack(self) -> str:
        """Raises ValueError for one that no form could carry."""
        text = json.dumps([self.header, self.rows], ensure_ascii=False, separators=(",", ":"))
        packed = base64.b64encode(zlib.compress(text.encode(), 9)).decode()
        if len(packed) > LARGEST_PACKED or len(text.encode()) > LARGEST_UNPACKED:
            raise ValueError("This is more than can be looked through at once. Send it in parts.")
        return packed

    @classmethod
    def unpack(cls, text: str) -> "Sheet":
        try:
            unpacker = zlib.decompressobj()
            data = unpacker.decompress(base64.b64decode(text, validate=True), LARGEST_UNPACKED)
            header, rows = json.loads(data)
            made = cls(
                tuple(str(cell) for cell in header),
                tuple((int(at), tuple(str(cell) for cell in cells)) for at, cells in rows),
            )
        except (ValueError, TypeError, zlib.error, binascii.Error, RecursionError):
            raise ValueError("The table did not arrive whole. Send the file again.") from None
        if len(made.rows) > MOST_ROWS or any(len(c) != len(made.header) for _, c in made.rows):
            raise ValueError("The table did not arrive whole. Send the file again.")
        return made


def read_sheet(data: bytes) -> Sheet:
    if len(data) > LARGEST_FILE:
        raise ValueError("This file is larger than 10 MB.")
    if data.startswith(b"PK\x03\x04"):
        return _sheet(_workbook_rows(data))
    if data.startswith(b"\xd0\xcf\x11\xe0"):
        raise ValueError("This is a workbook of an old kind. Save it as .xlsx or as CSV.")
    return read_text(_decoded(data))


def read_text(text: str) -> Sheet:
    if "\0" in text:
        raise ValueError("This is no table. Send a CSV file or a workbook (.xlsx).")
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
    """The separator that cuts the first lines into most columns, as many in each as can be."""

    def columns(separator):
        lines = io.StringIO(text[:20_000], newline="")
        try:
            rows = [row for row in csv.reader(lines, delimiter=separator) if any(row)][:20]
        except csv.Error:
            return 0, 0
        header = len(rows[0]) if rows else 0
        return sum(len(row) == header for row in rows) if header > 1 else 0, header

    class Dialect(csv.excel):
        delimiter = max(_SEPARATORS, key=columns)

    return Dialect


def _workbook_rows(data: bytes):
    """Rows of the first sheet that holds something."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            if sum(member.file_size for member in archive.infolist()) > LARGEST_WORKBOOK:
                raise ValueError("This workbook is too large. Send the one sheet as CSV.")
            if "mimetype" in archive.namelist():
                raise ValueError("This is an OpenDocument file. Save it as .xlsx or as CSV.")
        book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True)
    except ValueError:
        raise
    except Exception:  # a damaged file makes the reader say anything
        raise ValueError("This workbook is damaged, or it is none. Save it as CSV.") from None
    return _cells_of(book)


def _cells_of(book):
    try:
        for sheet in book.worksheets:
            rows = [
                (number, [_text(value) for value in values])
                for number, values in enumerate(
                    sheet.iter_rows(values_only=True, max_row=MOST_ROWS + 50), 1
                )
            ]
            if any(any(cells) for _, cells in rows):
                return rows
    except Exception:
        raise ValueError("This workbook is damaged. Save it as CSV.") from None
    finally:
        book.close()
    return []


def _text(value) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, dt.datetime):
        return f"{value:%Y-%m-%d}" if value.time() == dt.time(0) else f"{value:%Y-%m-%d %H:%M}"
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, dt.time):
        return f"{value:%H:%M}"
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value)


def _sheet(numbered) -> Sheet:
    rows = []
    for number, cells in numbered:
        cells = [cell.replace("\0", "").strip()[:LONGEST_CELL] for cell in cells]
        if any(cells):
            rows.append((number, cells))
        if len(rows) > MOST_ROWS + 1:
            raise ValueError(f"This table has more than {MOST_ROWS} rows. Send it in parts.")
    if len(rows) < 2:
        raise ValueError("There must be a row with the names of the columns and rows below it.")
    width = max(at + 1 for _, cells in rows for at, cell in enumerate(cells) if cell)
    if width > MOST_COLUMNS:
        raise ValueError(f"This table has more than {MOST_COLUMNS} columns.")
    (_, header), *rest = [(number, [*cells, *[""] * width][:width]) for number, cells in rows]
    names = tuple(name or f"column {at}" for at, name in enumerate(header, 1))
    return Sheet(names, tuple((number, tuple(cells)) for number, cells in rest))
