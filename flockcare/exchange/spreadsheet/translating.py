"""From somebody's own table to rows of the exchange, as a keeper says what its columns mean.

What the exchange itself then finds wrong with a row is said of the row it came from.
"""

import hashlib
import json
from collections import Counter
from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import cached_property

from django.utils import timezone

from flockcare.birds.models import Bird, LeftReason
from flockcare.care.holds import LONG_PAST_DAYS
from flockcare.care.models import CareStep
from flockcare.exchange.labels import label_birds
from flockcare.exchange.problems import Problems
from flockcare.exchange.reading import Row
from flockcare.exchange.services import Plan, Refused, Tables, check
from flockcare.exchange.spreadsheet import targets as choosing
from flockcare.exchange.spreadsheet import values
from flockcare.exchange.spreadsheet.sheet import Sheet
from flockcare.exchange.tables.columns import Kind
from flockcare.photos.models import Foot

# More different words in one column are no list of values any more.
MOST_WORDS = 60
LEAVE_EMPTY = "-"
# Where a word goes that its column has no value for.
NOTES = {"birds": "traits", "checks": "note", "care": "note"}
_LONGEST_PRODUCT = CareStep._meta.get_field("product").max_length
# A care that was due so long ago is not done any more. Our choice, no published source.
_DUE_FOR = timedelta(days=14)


@dataclass(frozen=True)
class Wrong:
    """Why a row cannot be taken in; ``column`` as the keeper's own table calls it."""

    row: int
    column: str
    message: str


@dataclass(frozen=True)
class Word:
    """A word of the table that has to be told what it means."""

    field: str
    text: str
    options: list[tuple[str, str]]
    chosen: str


@dataclass
class Found:
    """What taking in would do: ``plan`` of the good rows, and the rows that cannot be."""

    plan: Plan | None
    rows: list[Row]
    wrong: list[Wrong] = field(default_factory=list)
    # Rows that were put together with another: by their number, the number of that one.
    joined: dict[int, int] = field(default_factory=dict)
    old: int = 0

    @property
    def why_not(self) -> dict[int, str]:
        """For each row of the table that is not taken in: why."""
        why = {}
        for one in self.wrong:
            said = f"{one.column}: {one.message}" if one.column else one.message
            why.setdefault(one.row, []).append(said)
        for row, first in self.joined.items():
            if first in why:
                why.setdefault(row, []).append(f"Goes with row {first}.")
        return {row: " ".join(said) for row, said in sorted(why.items())}

    @property
    def mark(self) -> str:
        """The same for the same rows, read alike."""
        rows = [(row.line, sorted(row.cells.items())) for row in self.rows]
        return hashlib.sha256(json.dumps(rows).encode()).hexdigest()

    @property
    def bad_rows(self) -> int:
        return len(self.why_not)


class Mapping:
    """How a sheet is read. ``told``: what the keeper chose so far, by the names of the fields."""

    def __init__(self, flock, table: str, sheet: Sheet, told):
        self.flock, self.table, self.sheet, self.told = flock, table, sheet, told
        self.file = f"{table}.csv"
        # Rows of which only the month was told, and birds that left for no told reason, once they
        # are read.
        self.by_month = self.no_reason = 0
        self.targets = choosing.targets(table)
        birds = list(Bird.objects.filter(flock=flock))
        labels = label_birds(birds)
        self.birds = {label.lower(): label for label in labels.values()}
        worn = Counter(bird.band.lower() for bird in birds if bird.band and not bird.left)
        self.bands = {
            bird.band.lower(): labels[bird.pk]
            for bird in birds
            if not bird.left and worn[bird.band.lower()] == 1
        }

    # --- What its columns are

    @cached_property
    def columns(self) -> list[tuple[str, str, list[str], str]]:
        """For each column: name of its field, its own name, some of what it holds, its target."""
        suggested = choosing.suggest(self.table, self.sheet, {*self.birds, *self.bands})
        found = []
        for place, name in enumerate(self.sheet.header):
            told = self.told.get(f"column-{place}")
            target = suggested[place] if told is None else told
            samples = list(dict.fromkeys(self.sheet.column(place)))[:3]
            target = target if target in self.targets else ""
            found.append((f"column-{place}", name, samples, target))
        return found

    @property
    def left_out(self) -> list[str]:
        """Columns in which something stands that would not be taken in."""
        return [name for _, name, samples, target in self.columns if samples and not target]

    @cached_property
    def places(self) -> dict[str, int]:
        """The place of each target's column."""
        return {target: at for at, (*_, target) in enumerate(self.columns) if target}

    @property
    def mistakes(self) -> list[str]:
        """What keeps the table as a whole from being read."""
        counted = Counter(target for *_, target in self.columns if target)
        found = [
            f"Two columns are “{self.targets[target].words}”. Choose one of them."
            for target, count in counted.items()
            if count > 1
        ]
        needed = {name for name, one in self.targets.items() if one.column.required}
        if self.table == "weights":
            needed.discard("grams")
            if not set(values.WEIGHTS) & set(self.places):
                found.append("Choose the column with the weight.")
        found += [
            f"Choose the column with the {name.replace('_', ' ')}."
            for name in self.targets
            if name in needed and name not in self.places
        ]
        if "foot" in self.places and self.table == "checks" and "score" not in self.places:
            found.append("Choose the column with the score of that foot.")
        if self.must_tell_order:
            found.append("Say whether the dates begin with the day or with the month.")
        return found

    # --- Day and month

    @cached_property
    def _dates(self) -> list[str]:
        return [
            text
            for name, place in self.places.items()
            if self.targets[name].column.kind in (Kind.DAY, Kind.PARTIAL)
            for text in self.sheet.column(place)
        ]

    @cached_property
    def order(self) -> str:
        told = self.told.get("order", "")
        if told in (values.DAY_FIRST, values.MONTH_FIRST):
            return told
        return values.date_order(self._dates)[0] or self.told.get("order_before", "")

    @property
    def asks_order(self) -> bool:
        return values.date_order(self._dates)[1]

    @property
    def must_tell_order(self) -> bool:
        return self.asks_order and not self.order

    @property
    def a_date(self) -> str:
        """One that could be read both ways, to ask about."""
        return self._one_that_tells("")

    @property
    def telling_date(self) -> str:
        """One that can only be read in the order that is proposed, or that was chosen."""
        return self._one_that_tells(self.order) if self.order else ""

    def _one_that_tells(self, order: str) -> str:
        return next((t for t in self._dates if values.date_order([t]) == (order, True)), "")

    # --- Words

    @cached_property
    def words(self) -> list[tuple[str, list[Word]]]:
        """For each column with a fixed list of values: its own name and the words to be told."""
        found = []
        for target, place in self.places.items():
            words = self._words_of(target, place)
            if words:
                found.append((self.sheet.header[place], words))
        return found

    def _words_of(self, target: str, place: int) -> list[Word]:
        column = self.targets[target].column
        spelt = {}
        for text in self.sheet.column(place):
            for part in choosing.parts(column, text) if target != "bird" else [text]:
                spelt.setdefault(part.lower(), part)
        unknown = [text for text in spelt.values() if not self._known(target, text)]
        options = self._options(target)
        if not options or len(unknown) > MOST_WORDS:
            return []
        return [
            Word(_word_field(target, text), text, options, self._meaning(target, text))
            for text in unknown
        ]

    def _options(self, target: str) -> list[tuple[str, str]]:
        if target == "bird":
            if self.table == "birds" or not self.birds:
                return []
            return [(label, label) for label in sorted(self.birds.values(), key=str.lower)]
        column = self.targets[target].column
        if not column.values:
            return []
        fixed = [
            (value, label if label.lower().startswith(value.lower()) else f"{value}: {label}")
            for value, label in column.values
        ]
        place = NOTES.get(self.table)
        kept = f"leave it blank; the word goes into the {place}" if place else "leave it blank"
        return [*fixed, (LEAVE_EMPTY, kept)]

    def _known(self, target: str, text: str) -> str:
        if target == "bird":
            if self.table == "birds":
                return text
            return self.birds.get(text.lower()) or self.bands.get(text.lower(), "")
        return choosing.known(self.targets[target].column, text)

    def _meaning(self, target: str, text: str) -> str:
        """What the keeper said that it means, else what it may well mean."""
        told = self.told.get(_word_field(target, text))
        if told is not None and told in {value for value, _ in self._options(target)}:
            return told
        if told is not None or target == "bird":
            return ""
        return choosing.proposal(self.targets[target].column, text)

    # --- Rows

    def read(self) -> Found:
        """Every row as it would be taken in, or why it cannot be."""
        wrong, rows, self.by_month, self.no_reason = [], [], 0, 0
        for number, texts in self.sheet.rows:
            by_month = self.by_month
            cells, here = self._cells(number, texts)
            wrong += here
            if here:
                self.by_month = by_month  # It is not taken in.
            else:
                rows.append(Row(number, cells))
        worn = self._already_worn(rows)
        wrong += worn
        rows = [row for row in rows if row.line not in {one.row for one in worn}]
        joined, old = {}, 0
        if self.table == "checks":
            rows = _by_foot(rows, wrong, joined, self.sheet.header, self.places)
        if self.table == "care":
            old = self._settle_past(rows)
            rows = [each for row in rows for each in _for_each_foot(row)]
        plan, rows = self._check(rows, wrong)
        wrong.sort(key=lambda one: one.row)
        return Found(plan, rows, wrong, joined, old)

    def _check(self, rows, wrong) -> tuple[Plan | None, list[Row]]:
        """Leave out what the exchange refuses, until nothing is left to refuse."""
        while rows:
            names = list(dict.fromkeys(name for row in rows for name in row.cells))
            tables = Tables(None, {self.file: rows}, {self.file: names}, Problems())
            try:
                return check(tables, self.flock), rows
            except Refused as refused:
                bad = {problem.line for problem in refused.problems}
                wrong += [
                    Wrong(problem.line, self._own_name(problem.column), problem.message)
                    for problem in refused.problems
                ]
                rows = [row for row in rows if row.line not in bad]
        return None, rows

    def _own_name(self, column: str) -> str:
        of_foot = column.partition("_")[2] if "foot" in self.places else ""
        for name in (column, of_foot):
            if name in self.places:
                return self.sheet.header[self.places[name]]
        return (of_foot or column).replace("_", " ")

    def _cells(self, number, texts) -> tuple[dict[str, str], list[Wrong]]:
        cells, wrong, notes = {}, [], []
        for target, place in self.places.items():
            if not texts[place]:
                continue
            try:
                cells |= self._cell(target, texts[place], notes)
            except ValueError as error:
                wrong.append(Wrong(number, self.sheet.header[place], str(error)))
        # The exchange knows no cells with nothing in them.
        cells = {name: text for name, text in cells.items() if text}
        left = self.table == "birds" and "left" in cells and "left_reason" not in cells
        if left and not wrong:
            cells["left_reason"] = LeftReason.OTHER
            self.no_reason += 1
        for word in self._words_to_keep(texts):
            fits = self.table == "care" and word.column == "kind" and "product" not in cells
            if fits and len(word.text) <= _LONGEST_PRODUCT:
                cells["product"] = word.text
            else:
                notes.append(f"{self.sheet.header[self.places[word.column]]}: {word.text}")
        if notes and (note := NOTES.get(self.table)):
            cells[note] = "\n".join(filter(None, (cells.get(note), *notes)))
        return cells, wrong

    def _words_to_keep(self, texts) -> list["Kept"]:
        """Words that say more than the value that stands for them."""
        return [
            Kept(target, part)
            for target, place in self.places.items()
            if target != "bird" and self.targets[target].column.values and texts[place]
            for part in choosing.parts(self.targets[target].column, texts[place])
            if self._says_more(target, part)
        ]

    def _says_more(self, target: str, part: str) -> bool:
        column = self.targets[target].column
        if choosing.known(column, part) or not any(letter.isalnum() for letter in part):
            return False
        meaning = self._meaning(target, part)
        if meaning == LEAVE_EMPTY:
            return True
        alike = choosing.proposal(column, part) == meaning
        return (
            target == "kind"
            and bool(meaning)
            and not (alike and part.lower() not in values.SAY_MORE)
        )

    # --- What is past

    @property
    def takes_as_past(self) -> bool:
        return self.told.get("past", "yes") == "yes"

    def _settle_past(self, rows: list[Row]) -> int:
        """Say of old care that it is past, if the keeper has not said that it still counts; how
        many rows are old.
        """
        today = timezone.localdate(timezone=self.flock.zone)
        old = [row for row in rows if _is_over(row.cells, today)]
        if self.takes_as_past:
            for row in old:
                row.cells["past"] = "yes"
        return len(old)

    def _cell(self, target: str, text: str, notes: list[str]) -> dict[str, str]:
        column = self.targets[target].column
        if target in values.WEIGHTS and self.table == "weights":
            return {"grams": str(values.read_weight(text, values.WEIGHTS[target]))}
        if target == choosing.BOTH_SCORES:
            return values.read_both_scores(text)
        if target == "bird":
            return {"bird": self._bird(text)}
        if column.values:
            return {target: self._values(column, target, text)}
        if column.kind in (Kind.DAY, Kind.PARTIAL):
            return self._date(column, text, notes)
        if column.kind == Kind.TIME:
            return {target: values.read_time(text)}
        if column.kind in (Kind.INTEGER, Kind.NUMBER):
            return {target: format(values.read_number(text, column.unit).normalize(), "f")}
        if column.kind == Kind.YES:
            return {target: values.read_yes(text)}
        return {target: text}

    def _date(self, column, text, notes) -> dict[str, str]:
        if column.kind == Kind.PARTIAL and (year := values.read_roughly(text)):
            notes.append(f"{column.name.capitalize()}: {text}")
            return {column.name: year}
        iso, rest = values.read_date(text, self.order)
        if len(iso) == len("2024-03") and column.name == "date" and self.table in NOTES:
            # Of a check or of care the day is needed. The middle is at most half a month off, and
            # the note says so, since cases and Trends count by days.
            iso = self._middle_of(iso)
            notes.append(f"The day is not known, only “{text}”: {iso} stands for it.")
            self.by_month += 1
        if column.kind == Kind.DAY and len(iso) < 10:
            raise ValueError(f"“{text}” is not a full date: the day is missing.")
        cells = {column.name: iso}
        if not rest or _is_midnight(rest):
            return cells  # Some programs write midnight beside every date.
        if column.name == "date" and "time" in self.targets and "time" not in self.places:
            return cells | {"time": values.read_time(rest)}
        raise ValueError(f"“{text}” is more than a date.")

    def _middle_of(self, month: str) -> str:
        """The 15th, or today in a month that is not so far yet."""
        today = str(timezone.localdate(timezone=self.flock.zone))
        return min(f"{month}-15", max(today, f"{month}-01"))

    def _values(self, column, target, text) -> str:
        found = []
        for part in choosing.parts(column, text):
            value = self._known(target, part) or self._meaning(target, part)
            if not value:
                raise ValueError(f"Say above what “{part}” means.")
            if value != LEAVE_EMPTY:
                found.append(value)
        return ";".join(found)

    def _bird(self, text: str) -> str:
        if self.table == "birds" and values.is_sum(text):
            raise ValueError(f"“{text}” seems to be a total, not a bird.")
        return self._known("bird", text) or self._meaning("bird", text) or text

    def _already_worn(self, rows: list[Row]) -> list[Wrong]:
        """Rows about a bird that wears the band of another: the same one, by another name?"""
        if self.table != "birds":
            return []
        return [
            Wrong(
                row.line,
                self._own_name("band"),
                f"{worn_by} wears the band “{row.cells['band']}” already. If this is the same "
                "bird, give her the name that she has here.",
            )
            for row in rows
            if not row.cells.get("left")
            and (worn_by := self.bands.get(row.cells.get("band", "").lower()))
            and worn_by.lower() != row.cells.get("bird", "").lower()
        ]


def _word_field(target: str, text: str) -> str:
    """Capitals do not matter."""
    return f"word-{target}-{text.lower()}"


def _is_midnight(text: str) -> bool:
    try:
        return values.read_time(text) == "00:00"
    except ValueError:
        return False


@dataclass(frozen=True)
class Kept:
    column: str
    text: str


def _is_over(cells: dict[str, str], today: date) -> bool:
    """Whether nothing can be due of this care any more and no eggs can be withdrawn for it."""
    last = max(cells.get(name, "") for name in ("date", "given_until"))
    if not last:
        return False
    step = CareStep(
        kind=cells.get("kind", ""),
        no_medicine=cells.get("no_medicine") == "yes",
        medicine_given=cells.get("medicine_given", ""),
    )
    days = _DUE_FOR.days
    if step.withholds:
        given = [int(cells[name]) for name in ("egg_days", "meat_days") if _is_days(cells, name)]
        # What nobody has told of eggs or of meat withdraws longest.
        days = max(given) if len(given) == 2 else max([LONG_PAST_DAYS, *given])
    is_due = cells.get("next_due", "") >= str(today - _DUE_FOR)
    return date.fromisoformat(last) + timedelta(days) < today and not is_due


def _is_days(cells, name: str) -> bool:
    return cells.get(name, "").isdecimal() and int(cells[name]) <= _MOST_DAYS


# More is a slip, which is said when the row is checked.
_MOST_DAYS = 3650


def _for_each_foot(row: Row) -> list[Row]:
    if row.cells.get("foot") != choosing.BOTH:
        return [row]
    return [Row(row.line, row.cells | {"foot": foot}) for foot in Foot.values]


_MOMENT = ("bird", "date", "time")


def _by_foot(rows: list[Row], wrong: list[Wrong], with_: dict, header, places) -> list[Row]:
    """Rows about one foot put together: one check for each bird and moment.

    ``with_`` comes to say which row each has gone into.
    """
    joined: dict[tuple, Row] = {}
    for row in rows:
        cells, foot = _of_feet(row.cells)
        if foot is None:
            column = header[places["foot"]] if "foot" in places else "foot"
            wrong.append(Wrong(row.line, column, "Say which foot this is about."))
            continue
        key = tuple(cells.get(name, "").lower() for name in _MOMENT)
        first = joined.get(key)
        if not foot or first is None or not _fit(first.cells, cells):
            joined[key if foot and first is None else (*key, row.line)] = Row(row.line, cells)
        else:
            notes = dict.fromkeys(filter(None, (first.cells.get("note"), cells.get("note"))))
            with_[row.line] = first.line
            first.cells.update(cells)
            first.cells.update({"note": "\n".join(notes)} if notes else {})
    return sorted(joined.values(), key=lambda row: row.line)


def _of_feet(cells: dict[str, str]) -> tuple[dict[str, str], str | None]:
    """The cells with what is told of a foot under that foot's columns, and which foot it is.

    None where nobody can tell which.
    """
    foot = cells.get("foot", "")
    told = {name: cells[name] for name in choosing.FOOT_PARTS if name in cells}
    if told and not foot:
        return cells, None
    feet = Foot.values if foot == choosing.BOTH else [foot] * bool(foot)
    found = {name: text for name, text in cells.items() if name != "foot" and name not in told}
    return found | {f"{each}_{name}": text for each in feet for name, text in told.items()}, foot


def _fit(first: dict[str, str], other: dict[str, str]) -> bool:
    """Whether both can be one check: of different feet, with nothing else told in two ways."""
    if _feet(first) & _feet(other):
        return False
    both = set(first) & set(other) - {*_MOMENT, "note"}
    return all(first[name] == other[name] for name in both)


def _feet(cells: dict[str, str]) -> set[str]:
    return {name for name in cells if name.startswith(("left_", "right_"))}
