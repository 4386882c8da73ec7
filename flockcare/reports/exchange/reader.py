"""Takes the cells of rows one by one; what is wrong with one becomes a problem of its file."""

from dataclasses import dataclass, field
from difflib import get_close_matches

from flockcare.reports.exchange.cells import plain
from flockcare.reports.exchange.problems import Problems
from flockcare.reports.exchange.reading import Row
from flockcare.reports.limits import LONGEST_SOUGHT, MOST_NAMES, MOST_SOUGHT

_WRONG = object()


@dataclass
class FileReader:
    """Reads one file. The same text under the same rule is looked at once only."""

    file: str
    rows: list[Row]
    problems: Problems
    seen: dict = field(default_factory=dict)
    close: dict[str, str] = field(default_factory=dict)

    def each(self, build) -> list:
        """``build(cells)`` of every row in which nothing was wrong."""
        good = []
        for row in self.rows:
            before = len(self.problems)
            built = build(RowReader(self, row))
            if len(self.problems) == before:
                good.append(built)
        return good

    def close_to(self, text: str, known: dict) -> str:
        """The most alike among the names that are known, or "": it takes long to look."""
        if text not in self.close:
            too_long = len(text) > LONGEST_SOUGHT or len(known) > MOST_NAMES
            if too_long or len(self.close) == MOST_SOUGHT:
                return ""
            self.close[text] = next(iter(get_close_matches(text, known, n=1)), "")
        return self.close[text]

    def groups(self, column: str, shared: tuple[str, ...]) -> list[list["RowReader"]]:
        """The rows of each number in ``column``; ``shared`` cells are to be the same in all."""
        found: dict[str, list] = {}
        self.each(lambda row: found.setdefault(row.need(column, plain) or "", []).append(row))
        for first, *others in found.values():
            for row in others:
                row.same(first, column, shared)
        return list(found.values())


@dataclass(slots=True)
class RowReader:
    file: FileReader
    row: Row

    def wrong(self, column: str, message: str) -> None:
        self.file.problems.add(self.file.file, message, line=self.row.line, column=column)

    def text(self, column: str) -> str:
        return self.row.cells.get(column, "")

    def get(self, column: str, read, default=None):
        """The value, or ``default`` for an empty cell and for one that was wrong."""
        text = self.row.cells.get(column)
        if text is None:
            return default
        seen, key = self.file.seen, (column, text)
        if key in seen:
            value, message = seen[key]
        else:
            value, message = _read(read, text)
            if len(text) < 100:
                seen[key] = value, message
        if message:
            self.wrong(column, message)
        return default if value is _WRONG else value

    def need(self, column: str, read):
        if not self.text(column):
            self.wrong(column, "This must not be empty.")
            return None
        return self.get(column, read)

    def same(self, first: "RowReader", number: str, columns: tuple[str, ...]) -> None:
        for column in columns:
            if self.text(column) != first.text(column):
                told = f"{number.capitalize()} {self.text(number)}"
                self.wrong(column, f"{told} says something else in its first row.")

    def find(self, column: str, kind: str, known: dict):
        """The record called so in ``known`` (by small letters); unknown ones are a problem."""
        text = self.need(column, plain) or ""
        found = known.get(text.lower())
        if found is None and text:
            close = self.file.close_to(text.lower(), known)
            hint = f" Did you mean “{close}”?" if close else ""
            self.wrong(column, f"No {kind} is called “{text}” here.{hint}")
        return found


def _read(read, text):
    try:
        return read(text), None
    except ValueError as error:
        return _WRONG, str(error)
