"""What every table of an exchange can do: say its columns, write records as rows, plan rows.

An item is what one row stands for: mostly a record, sometimes a record and what belongs to it.
"""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple
from uuid import UUID
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError

from flockcare.exchange.tables.columns import Column, KeeperOrName, Kind, Person


class _Keys(dict):
    """Every key stands for itself."""

    def __missing__(self, key):
        return str(key)

    def __contains__(self, key):
        return True


KEYS = _Keys()


@dataclass
class Names:
    """What records are called in the files, by their keys: by default each stands for itself.

    ``bylines``: by key and field, the name of whoever has no account here.
    """

    zone: ZoneInfo
    birds: Mapping = field(default_factory=lambda: KEYS)
    houses: Mapping = field(default_factory=lambda: KEYS)
    kit: Mapping = field(default_factory=lambda: KEYS)
    vets: Mapping = field(default_factory=lambda: KEYS)
    photos: Mapping = field(default_factory=lambda: KEYS)
    people: Mapping = field(default_factory=lambda: KEYS)
    # What a round calls a check.
    checks: dict = field(default_factory=dict)
    bylines: Mapping = field(default_factory=dict)


class Key(NamedTuple):
    """What is remembered of a record once its row is written."""

    kind: str
    pk: UUID


def keys(*records) -> tuple[Key, ...]:
    return tuple(Key(one._meta.label, one.pk) for one in records if one is not None)


class Table:
    name = ""
    about = ""
    model = None
    columns: tuple[Column, ...] = ()
    # Columns by which a row names its record. Without any, equal rows are counted.
    key: tuple[str, ...] = ()
    # Columns that tell no two records apart, besides those of people: these may have an account
    # in one flock and not in the other.
    silent: tuple[str, ...] = ()
    contradiction = "Something else is recorded here already: “{there}”. Change it in the app."
    # What is said to be wrong with a row that contradicts a record; else what differs.
    blamed = ""

    @cached_property
    def all(self) -> tuple[str, ...]:
        return tuple(column.name for column in self.columns)

    def column(self, name: str) -> Column:
        return next(column for column in self.columns if column.name == name)

    @cached_property
    def _parts(self) -> dict[str, tuple[Column, ...]]:
        holding = [column for column in self.columns if column.attr]
        parts = {column.part: () for column in holding}
        return {part: tuple(c for c in holding if c.part == part) for part in parts}

    def columns_of(self, part: str = "") -> tuple[Column, ...]:
        """Columns that say just what a field of the main record holds, or of another part."""
        return self._parts[part]

    @cached_property
    def long_text(self) -> frozenset[str]:
        """Kept to the letter; cells of other columns lose blanks at their ends."""
        return frozenset(column.name for column in self.columns if column.kind == Kind.NOTE)

    @cached_property
    def free_text(self) -> frozenset[str]:
        """What a keeper typed, and a spreadsheet might take for a formula."""
        typed = (Kind.NOTE, Kind.TEXT)
        return frozenset(column.name for column in self.columns if column.kind in typed)

    @cached_property
    def telling(self) -> tuple[str, ...]:
        """Columns by which a row is told to say the same as a record."""
        return tuple(
            column.name
            for column in self.columns
            if not isinstance(column, Person) and column.name not in self.silent
        )

    # --- Writing

    def items(self, flock) -> Iterable:
        people = [c.attr for c in self.columns if isinstance(c, Person | KeeperOrName)]
        return self.model.objects.filter(flock=flock).select_related(*people)

    def rows(self, outgoing) -> Iterable[tuple[list[str], tuple[Key, ...]]]:
        """The cells of each row, with the keys of records that the history may speak of."""
        for item in self.items(outgoing.flock):
            parts = self.parts(item)
            if outgoing.is_in_time(parts[0]):
                yield self.cells(self.to_row(item, outgoing.names)), keys(*parts)

    def to_row(self, item, names: Names) -> dict[str, str]:
        return write_all(self.columns_of(), item, names)

    def parts(self, item) -> tuple:
        """The records of an item, as they have to be saved."""
        return (item,)

    def cells(self, row: dict[str, str]) -> list[str]:
        return [row.get(name, "") for name in self.all]

    # --- Reading

    def from_row(self, row):
        """The item that a row stands for, or anything at all where something is wrong with it."""
        return self.checked(row, self.model(flock=row.work.flock, **self.values(row)))

    def values(self, row) -> dict:
        return read_all(self.columns_of(), row)

    def checked(self, row, record, part: str = ""):
        """The record, once it has said what is wrong with what it holds together."""
        if not row.good:
            return record
        try:
            self.clean(record)
        except ValidationError as error:
            for name, messages in error.message_dict.items():
                named = next((c.name for c in self.columns_of(part) if c.attr == name), "")
                row.wrong(named, " ".join(messages))
        return record

    def clean(self, record) -> None:
        record.clean()

    def plan(self, work) -> None:
        """Plan what the rows say and the flock does not hold yet."""
        planned = work.read(self).each(lambda row: (row, self.from_row(row)))
        if not planned:
            return
        existing = [self.to_row(item, work.keys) for item in self.items(work.flock)]
        told = [(row, item, self.to_row(item, work.keys)) for row, item in planned]
        is_new = self._by_key if self.key else self._by_count
        for row, item in is_new(work, existing, told):
            self.add(row, item)

    def add(self, row, item) -> None:
        record, *_ = parts = self.parts(item)
        row.work.plan.add(*parts)
        for column in self.columns:
            if isinstance(column, Person):
                row.sign(record, column)

    def _by_count(self, work, existing, told):
        def all_of(one):
            return tuple(one.get(name, "") for name in self.telling)

        there = Counter(map(all_of, existing))
        for row, item, says in told:
            same = all_of(says)
            if there[same]:
                there[same] -= 1
                work.plan.already_there[self.name] += 1
            else:
                yield row, item

    def _by_key(self, work, existing, told):
        def key(one):
            return tuple(one[name].lower() for name in self.key)

        there = {key(one): one for one in existing}
        for row, item, says in told:
            known = there.setdefault(key(says), says)
            if known is says:
                yield row, item
            elif differs := next((n for n in self.telling if self.differ(row, n, says, known)), ""):
                message = self.contradiction.format(there=known[differs], **says)
                row.wrong(self.blamed or differs, message)
            else:
                work.plan.already_there[self.name] += 1

    def differ(self, row, name: str, says: dict, known: dict) -> bool:
        """Whether the row says something else than what is known; an empty cell says nothing."""
        return bool(row.text(name)) and says[name].lower() != known[name].lower()


def read_all(columns, row) -> dict:
    """What the cells of these columns say of a record, by the names of its fields."""
    return {name: value for column in columns for name, value in column.read(row).items()}


def write_all(columns, record, names: Names) -> dict[str, str]:
    return {column.name: column.write(record, names) for column in columns}


def counted_name(name: str, number: int) -> str:
    """What the first, second … of several things of one name is called."""
    return name if number == 1 else f"{name} ({number})"


class Grouped(Table):
    """Rows of one number are one item, such as a round; all of them say the same of the whole."""

    number = ""
    of_group: tuple[Column, ...] = ()

    def group(self, item, names: Names) -> list[tuple[dict[str, str], tuple[Key, ...]]]:
        """The rows of an item, without their number, and the keys of the records they stand for."""
        raise NotImplementedError

    def rows(self, outgoing):
        groups = [
            self.group(item, outgoing.names)
            for item in self.items(outgoing.flock)
            if outgoing.is_in_time(self.parts(item)[0])
        ]
        groups.sort(key=lambda group: [self.cells(row) for row, _ in group])
        width = len(str(len(groups)))
        for number, group in enumerate(groups, 1):
            for row, of_row in group:
                yield self.cells(row | {self.number: f"{number:0{width}}"}), of_row

    def plan(self, work) -> None:
        if not work.tables[self.name]:
            return
        known = [self.told(work, item) for item in self.items(work.flock)]
        shared = tuple(column.name for column in self.of_group)
        for rows in work.read(self).groups(self.number, shared):
            before = len(work.problems)
            item = self.from_rows(rows)
            if len(work.problems) > before:
                continue
            if self.told(work, item) in known:
                work.plan.already_there[self.name] += len(rows)
            else:
                self.add(rows[0], item)

    def told(self, work, item):
        """What an item says, to tell whether the flock has it already."""
        says = [name for name in self.telling if name != self.number]
        rows = (row for row, _ in self.group(item, work.keys))
        return sorted([row.get(name, "") for name in says] for row in rows)

    def from_rows(self, rows):
        raise NotImplementedError
