"""Columns of the tables of an exchange: what each means, and how its cells are written and read.

A column that holds a field of a model reads by that field's own rules. The dictionary inside an
export, its datapackage.json and the mapping of spreadsheets are made from these declarations.
"""

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property
from typing import Any

from django.core.exceptions import ValidationError
from django.db import models

from flockcare.core.dates import PartialDate, PartialDateField
from flockcare.exchange import cells
from flockcare.exchange.problems import EMPTY
from flockcare.feet.services import CLOCK_TOLERANCE
from flockcare.people.models import Keeper

SEPARATOR = ";"


class Kind(StrEnum):
    """What the text of a cell is."""

    TEXT = "text"  # one line, as a keeper typed it
    NOTE = "long text"  # kept to the letter, line breaks too
    CODE = "code"  # text that the app writes, in a form of its own
    CHOICE = "one of"
    CHOICES = "several of"
    DAY = "day"
    PARTIAL = "day, month or year"
    TIME = "time"
    MOMENT = "day and time"
    INTEGER = "whole number"
    NUMBER = "number"
    YES = "yes or no"


_READERS = {
    Kind.DAY: cells.day,
    Kind.PARTIAL: cells.partial_day,
    Kind.INTEGER: cells.integer,
    Kind.NUMBER: cells.decimal,
    Kind.YES: cells.yes_or_no,
}


@dataclass(frozen=True)
class Column:
    """``values``: (value, label) of every value there is, where they are fixed.

    ``of``: "file.csv" whose first column this one names. ``field``: whose rules hold for a cell.
    ``attr``: of the record, where the cell says just that.
    """

    name: str
    meaning: str
    kind: Kind = Kind.TEXT
    unit: str = ""
    values: tuple[tuple[str, str], ...] = ()
    of: str = ""
    required: bool = False
    # Whether no record can be without it, though the dictionary does not demand it.
    needed: bool = False
    field: models.Field | None = None
    attr: str = ""
    # Which of the records it is of that a row speaks of, where it is not the main one.
    part: str = ""
    # Whether it may not lie in the future.
    past: bool = False
    reader: Callable[[str], Any] | None = None
    writer: Callable[[Any], str] | None = None

    @cached_property
    def must_be_there(self) -> bool:
        field = self.field if self.attr else None
        has_no_default = field and not (field.blank or field.null or field.has_default())
        return self.required or self.needed or bool(has_no_default)

    # --- Writing

    def write(self, record, names) -> str:
        return self.text(getattr(record, self.attr), names.zone)

    def text(self, value, zone=None) -> str:
        if value is None or value == "":
            return ""
        if self.writer:
            return self.writer(value)
        if self.kind == Kind.MOMENT:
            return cells.moment_text(value, zone)
        if self.kind == Kind.YES:
            return "yes" if value else "no" * self.field.null
        if self.kind in (Kind.INTEGER, Kind.NUMBER):
            return cells.number_text(value)
        return SEPARATOR.join(value) if self.kind == Kind.CHOICES else str(value)

    # --- Reading

    def read(self, row) -> dict:
        """What the cell says of the record, by the names of its fields."""
        if row.text(self.name):
            return {self.attr: self.value(row)}
        return {self.attr: self.wanted(row)} if self.must_be_there else {}

    def value(self, row):
        """What the cell says; None for an empty one and for one that is wrong."""
        return row.get(self.name, lambda text: self.parse(text, row.work))

    def wanted(self, row):
        """As ``value``, where the cell may not be empty."""
        if not row.text(self.name):
            row.wrong(self.name, EMPTY)
        return self.value(row)

    def parse(self, text: str, work):
        """The value that ``text`` stands for; ValueError in a keeper's words."""
        value = self._value(text, work)
        is_day = self.kind in (Kind.DAY, Kind.PARTIAL)
        if self.past and is_day and PartialDate.parse(str(value)).first() > work.today:
            raise ValueError(f"{text} is in the future.")
        if self.field:
            _hold(self.field, value)
        return value

    def _value(self, text, work):
        if self.reader:
            return self.reader(text)
        if self.kind == Kind.MOMENT:
            return cells.instant(work.zone, latest=work.now if self.past else None)(text)
        if self.kind == Kind.CHOICE:
            return self._choice(text)
        if self.kind == Kind.CHOICES:
            parts = [part.strip() for part in text.split(SEPARATOR)]
            return list(dict.fromkeys(self._choice(part) for part in parts if part))
        return _READERS.get(self.kind, cells.plain)(text)

    @cached_property
    def _chosen(self) -> dict:
        """Every value by what it may be written as, in small letters."""
        of_field = self.field.choices if self.field and self.kind == Kind.CHOICE else self.values
        choices = [(value, label) for value, label in of_field if value != ""]
        by_label = {str(label).lower(): value for value, label in choices}
        return by_label | {str(value).lower(): value for value, _ in choices}

    def _choice(self, text):
        if text.lower() not in self._chosen:
            known = ", ".join(value for value, _ in self.values)
            raise ValueError(f"“{text}” is not one of: {known}.")
        return self._chosen[text.lower()]


def _hold(field: models.Field, value) -> None:
    """The field's own rules: length and range."""
    if field.max_length and isinstance(value, str) and len(value) > field.max_length:
        raise ValueError(f"This has {len(value)} characters; there is room for {field.max_length}.")
    try:
        field.run_validators(value)
    except ValidationError as error:
        raise ValueError(" ".join(error.messages)) from None


@dataclass(frozen=True)
class Link(Column):
    """Names another record. ``known``: where ``Work`` and ``Names`` have all of its kind."""

    known: str = ""
    called: str = ""

    def write(self, record, names) -> str:
        key = getattr(record, f"{self.attr}_id")
        return getattr(names, self.known)[key] if key else ""

    def value(self, row):
        if not row.text(self.name):
            return None
        return row.find(self.name, self.called, getattr(row.work, self.known))


@dataclass(frozen=True)
class Person(Column):
    """Who did something: a keeper of the flock, or a name that stands beside the record."""

    def write(self, record, names) -> str:
        keeper = getattr(record, self.attr)
        return keeper.name if keeper else names.bylines.get((record.pk, self.attr), "")

    def read(self, row) -> dict:
        return {self.attr: row.work.keepers.get(row.text(self.name))}


@dataclass(frozen=True)
class KeeperOrName(Column):
    """Who did something, where the record itself has room for a name."""

    def write(self, record, names) -> str:
        return record.by

    def read(self, row) -> dict:
        keeper = row.work.keepers.get(row.text(self.name))
        return {"keeper": keeper, "keeper_name": "" if keeper else self.value(row) or ""}


@dataclass(frozen=True)
class Day(Column):
    """The local day of ``at``; the column ``time`` beside it has the time of day."""

    def write(self, record, names) -> str:
        return str(record.at.astimezone(names.zone).date())

    def read(self, row) -> dict:
        work, on = row.work, super().read(row).get("at")
        clock = row.get("time", cells.clock)
        if on is None:
            return {}
        at = cells.moment(on, clock or cells.NOON, work.zone)
        if clock is None:
            return {"at": min(at, work.now)}
        if at > work.now + CLOCK_TOLERANCE:
            row.wrong("time", f"{on} {row.text('time')} is in the future.")
        return {"at": at}


@dataclass(frozen=True)
class Clock(Column):
    """The local time of ``at``, where ``known(record, time)`` says that there is one."""

    known: Callable = lambda record, time: True

    def write(self, record, names) -> str:
        local = record.at.astimezone(names.zone)
        return cells.clock_text(local) if self.known(record, local.time()) else ""

    def read(self, row) -> dict:
        return {}


# --- Ways to declare a column


def fields_of(model, part=""):
    """``column(name, meaning)`` for a field of ``model``; its kind and values are the field's."""

    def column(name, meaning="Anything else, as it was typed.", kind=None, *, field="", **more):
        field = model._meta.get_field(field or name)
        kind = kind or _kind(field)
        if kind == Kind.CHOICE:
            more["values"] = labels(field.choices)
        if isinstance(field, models.FloatField):
            more.setdefault("reader", cells.real)
        more = {"attr": field.name, "part": part, **more}
        return Column(name, meaning, kind, field=field, **more)

    return column


def labels(choices) -> tuple[tuple[str, str], ...]:
    return tuple((str(value), str(label)) for value, label in choices if value != "")


def _kind(field) -> Kind:
    if field.choices and not isinstance(field, models.BooleanField):
        return Kind.CHOICE
    return next(kind for of_class, kind in _KINDS if isinstance(field, of_class))


# The first that fits: a DateTimeField is a DateField too.
_KINDS = (
    (PartialDateField, Kind.PARTIAL),
    (models.TextField, Kind.NOTE),
    (models.CharField, Kind.TEXT),
    (models.BooleanField, Kind.YES),
    (models.DateTimeField, Kind.MOMENT),
    (models.DateField, Kind.DAY),
    (models.FloatField, Kind.NUMBER),
    (models.DecimalField, Kind.NUMBER),
    (models.IntegerField, Kind.INTEGER),
)


def code(name, meaning, **more) -> Column:
    return Column(name, meaning, Kind.CODE, **more)


def bird(meaning="Which bird, as birds.csv calls her.", name="bird", **more) -> Link:
    more = {"required": True, "of": "birds.csv", "attr": name, **more}
    return Link(name, meaning, known="birds", called="bird", **more)


def house(**more) -> Link:
    more = {"required": True, "attr": "house", "known": "houses", "called": "house", **more}
    return Link("house", "Name of the house.", **more)


def day(meaning="The day.", **more) -> Column:
    return Column("date", meaning, Kind.DAY, attr="on", required=True, **more)


def person(meaning="Who did it, by name.", name="keeper") -> Person:
    return Person(name, meaning, field=Keeper._meta.get_field("name"), attr=name)


def keeper(model, meaning="Who did it, by name.") -> KeeperOrName:
    field = model._meta.get_field("keeper_name")
    return KeeperOrName("keeper", meaning, field=field, attr="keeper")


def clock(known) -> Clock:
    return Clock("time", "Time of day; empty: not known.", Kind.TIME, known=known, attr="at")
