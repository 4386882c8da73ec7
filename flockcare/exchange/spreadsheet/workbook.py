"""Reads the first sheet of a workbook (.xlsx) that holds something.

The XML in a workbook cannot be counted before it is read, and a small file may hold very much of
it. So it is read by a process of its own, which ends where it has had its time and memory:

    python -m flockcare.exchange.spreadsheet.workbook < FILE     prints the rows as JSON
"""

import datetime as dt
import json
import os
import signal
import subprocess
import sys
from io import BytesIO
from pathlib import Path

import openpyxl

from flockcare.exchange.limits import (
    LARGEST_TEXT,
    LONGEST_CELL,
    MOST_TABLE_COLUMNS,
    MOST_TABLE_LINES,
    MOST_TABLE_ROWS,
    WORKBOOK_MEMORY,
    WORKBOOK_SECONDS,
)

DAMAGED = "This is not a workbook, or it is damaged. Save it as CSV."
TAKES_TOO_LONG = "This workbook takes too long to read. Send the one sheet as CSV."
TOO_MANY_LINES = (
    f"This table has more than {MOST_TABLE_LINES:,} rows, most of them empty. Send only the rows "
    "that are filled in."
)
TOO_MUCH_TEXT = "This is too much at once. Send it in parts."
_PROJECT = Path(__file__).resolve().parents[3]
# No sheet has more rows (ECMA-376, Office Open XML, from memory); a damaged one may say so.
_LAST_ROW = 1_048_576
_OUT_OF_MEMORY = 3


def workbook_rows(data: bytes) -> list[tuple[int, list[str]]]:
    """Number and cells of each row that holds something, up to one more than are taken.

    ``data``: the workbook, no part of which unpacks to more than it says. ValueError in a keeper's
    words.
    """
    try:
        done = subprocess.run(  # noqa: S603
            [sys.executable, "-m", __name__],
            input=data,
            capture_output=True,
            timeout=2 * WORKBOOK_SECONDS,
            cwd=_PROJECT,
            # Else numpy, which the reader loads, asks for memory by the number of processors.
            env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
            check=False,
        )
    except subprocess.TimeoutExpired:
        raise ValueError(TAKES_TOO_LONG) from None
    if done.returncode in (_OUT_OF_MEMORY, -getattr(signal, "SIGXCPU", 0)):
        raise ValueError(TAKES_TOO_LONG)
    if done.returncode:
        raise ValueError(DAMAGED)
    said = json.loads(done.stdout)
    if "refused" in said:
        raise ValueError(said["refused"])
    return said["rows"]


def main() -> int:
    _limit_itself()
    try:
        said = {"rows": _rows(sys.stdin.buffer.read())}
    except ValueError as error:
        said = {"refused": str(error)}
    except MemoryError:
        return _OUT_OF_MEMORY
    sys.stdout.write(json.dumps(said))
    return 0


def _limit_itself() -> None:
    try:
        import resource
    except ImportError:  # not on Windows, where the time that passes is the only limit
        return
    for what, most in (
        (resource.RLIMIT_CPU, WORKBOOK_SECONDS),
        (resource.RLIMIT_AS, WORKBOOK_MEMORY),
        (resource.RLIMIT_CORE, 0),
    ):
        # At the second one a process is killed without a signal that says why.
        resource.setrlimit(what, (most, most + 1))


def _rows(data: bytes) -> list[tuple[int, list[str]]]:
    try:
        book = openpyxl.load_workbook(BytesIO(data), read_only=True, data_only=True)
        for sheet in book.worksheets:
            # A sheet may say that it is as wide as can be: one column too many is enough.
            rows = sheet.iter_rows(
                values_only=True, max_col=MOST_TABLE_COLUMNS + 1, max_row=_LAST_ROW
            )
            if filled := rows_that_hold_something(rows):
                return filled
    except (MemoryError, TooMuch):
        raise
    except Exception:  # a damaged file makes the reader say anything
        raise ValueError(DAMAGED) from None
    return []


class TooMuch(ValueError):
    pass


def rows_that_hold_something(rows) -> list[tuple[int, list[str]]]:
    found, length = [], 0
    for number, values in enumerate(rows, 1):
        if number > MOST_TABLE_LINES:
            raise TooMuch(TOO_MANY_LINES)
        if any(value is not None for value in values):
            cells = [_text(value)[:LONGEST_CELL] for value in values]
            length += sum(map(len, cells))
            if length > LARGEST_TEXT:
                raise TooMuch(TOO_MUCH_TEXT)
            found.append((number, cells))
        if len(found) > MOST_TABLE_ROWS + 1:
            break
    return found


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


if __name__ == "__main__":
    sys.exit(main())
