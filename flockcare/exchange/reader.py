"""Takes the cells of rows one by one; what is wrong with one becomes a problem of its file."""

from dataclasses import dataclass, field
from difflib import get_close_matches

from flockcare.exchange.cells import plain
from flockcare.exchange.limits import LONGEST_SOUGHT, MOST_NAMES, MOST_SOUGHT
from flockcare.exchange.problems import EMPTY, Problems

_WRONG = object()


@dataclass
class FileReader:
    """Reads one file. The same text under the same column is looked at once only.

    ``rows``: as ``reading`` found them. ``work``: of the import, see ``checking``.
    """

    file: str
    rows: list
    work: object
    seen: dict = field(default_factory=dict)
    close: dict[str, str] = field(default_factory=dict)

    @property
    def problems(self) -> Problems:
        return self.work.problems

    def each(self, build) -> list:
        """``build(row)`` of every row in which nothing was wrong."""
        good, pictures = [], self.work.plan.pictures
        for row in self.rows:
            pictures.beat(pictures.photos)
            reader = RowReader(self, row, len(self.problems))
            built = build(reader)
            if reader.good:
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
    row: object
    # How many problems there were before this row.
    before: int

    @property
    def work(self):
        return self.file.work

    @property
    def good(self) -> bool:
        return len(self.file.problems) == self.before

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
            self.wrong(column, EMPTY)
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

    def sign(self, record, column) -> None:
        """Keep the name of whoever did something and has no account here."""
        if self.text(column.name) and getattr(record, column.attr) is None:
            name = self.get(column.name, lambda text: column.parse(text, self.work), "")
            self.work.plan.sign(record, column.attr, name)


def _read(read, text):
    try:
        return read(text), None
    except ValueError as error:
        return _WRONG, str(error)
