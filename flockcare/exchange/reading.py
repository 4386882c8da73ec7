"""Reads the files of an exchange into rows of text. What the text means is for ``checking``."""

import csv
import io
from dataclasses import dataclass, field
from pathlib import Path

from flockcare.exchange.cells import unguard
from flockcare.exchange.dictionary import ABOUT
from flockcare.exchange.limits import LONGEST_ROW, MOST_BIRDS, MOST_ROWS
from flockcare.exchange.problems import Problems
from flockcare.exchange.source import LARGEST_FILE, Folder, Zip, open_source
from flockcare.exchange.tables import FILES, Table

csv.field_size_limit(LONGEST_ROW)


@dataclass(frozen=True, slots=True)
class Row:
    line: int
    cells: dict[str, str]


@dataclass
class Tables:
    """Rows and columns by file name, where the photos are, and what could not be read."""

    source: Folder | Zip
    rows: dict[str, list[Row]] = field(default_factory=dict)
    columns: dict[str, list[str]] = field(default_factory=dict)
    problems: Problems = field(default_factory=Problems)

    def __getitem__(self, file: str) -> list[Row]:
        return self.rows.get(file, [])


def read_folder(path: Path | str) -> Tables:
    """Read a folder or zip. Raises Refused where there is nothing that could be read."""
    source = open_source(Path(path))
    tables = Tables(source)
    for name in source.top_names():
        if name in FILES:
            _read_file(tables, name)
        elif name.lower().endswith(".csv") and name not in ABOUT:
            tables.problems.add(
                name, f"This file does not belong to an export: {', '.join(FILES)}."
            )
    if not tables.rows and not tables.problems:
        tables.problems.add(
            str(path), f"None of its files belongs to an export: {', '.join(FILES)}."
        )
    return tables


def _read_file(tables: Tables, name: str) -> None:
    text = _decode(tables.source, name, tables.problems)
    if text is None:
        return
    lines = _Lines(text)
    reader = csv.reader(lines, strict=True)
    most = MOST_ROWS - sum(map(len, tables.rows.values()))
    try:
        header = [cell.strip() for cell in next(reader, [])]
        if _header_is_good(name, header, tables.problems):
            tables.columns[name] = header
            tables.rows[name] = list(
                _rows(FILES[name], reader, header, lines, most, tables.problems)
            )
    except csv.Error as error:
        message = f"It cannot be read from here on ({error})."
        tables.problems.add(name, message, line=reader.line_num)


class _Lines:
    """The lines of a text, as long as those of one row are not too long."""

    def __init__(self, text: str):
        self._lines = io.StringIO(text, newline="")
        self.in_row = 0

    def __iter__(self):
        return self

    def __next__(self) -> str:
        line = next(self._lines)
        self.in_row += len(line)
        if self.in_row > LONGEST_ROW:
            raise csv.Error("a row is too long, or a quote has no end")
        return line


def _decode(source, name: str, problems: Problems) -> str | None:
    try:
        if source.size(name) > LARGEST_FILE:
            problems.add(name, "It is larger than 64 MB.")
            return None
        with source.open(name) as file:
            return file.read().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        problems.add(name, "This is not UTF-8 text. Save it as “CSV UTF-8”.", line=line)
    except ValueError as error:
        problems.add(name, str(error))
    return None


def _header_is_good(name: str, header: list[str], problems: Problems) -> bool:
    before = len(problems)
    columns = FILES[name]
    if not header:
        problems.add(name, f"It is empty. Its first line names the columns: {columns.all[0]}, …")
        return False
    if len(header) == 1 and ";" in header[0]:
        problems.add(name, "It is separated by semicolons. Save it with commas.", line=1)
        return False
    for column in dict.fromkeys(header):
        if column not in columns.all:
            known = ", ".join(columns.all)
            message = f"There is no column “{column}” here. Known: {known}."
            problems.add(name, message, line=1)
        elif header.count(column) > 1:
            problems.add(name, "This column is in the header twice.", line=1, column=column)
    return len(problems) == before


def _rows(file, reader, header, lines, most, problems):
    name = file.name
    start = reader.line_num + 1
    for number, cells in enumerate(reader, 1):
        lines.in_row = 0
        too_many = ""
        if name == "birds.csv" and number > MOST_BIRDS:
            too_many = f"There are more than {MOST_BIRDS:,} birds."
        elif number > most:
            too_many = f"There are more than {MOST_ROWS:,} rows in all the files together."
        if too_many:
            problems.add(name, too_many, line=start)
            problems.refuse_if_any()
        values = {
            column: value
            for column, text in zip(header, cells, strict=False)
            if (value := _value(file, column, text))
        }
        if len(cells) > len(header):
            problems.add(name, "This row has more cells than the header.", line=start)
        elif values:
            yield Row(start, values)
        start = reader.line_num + 1


def _value(file: Table, column: str, text: str) -> str:
    if column in file.free_text:
        text = unguard(text)
    return text if column in file.long_text else text.strip()
