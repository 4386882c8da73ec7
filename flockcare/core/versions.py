"""What an edit was made from, and what becomes of it when the record has changed since.

Each record counts its changes in ``version``, and a form that edits one carries the number that it
showed. When it comes back and the number has moved on, `Conflict` is raised with both versions; its
page sends the form again with a choice for each value. The history knows what the record held at
the number of the form: what only one of the two has touched is no conflict, nor is it one when both
typed the same.

A record is compared by its plain values: a dictionary of what JSON knows, with equal things
written alike, whether they come from a form, from the database or from the history. What means
something only together (the model's ``together``) is one value, under the first of its names.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable
from dataclasses import dataclass, field
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db import models

MINE, THEIRS, BOTH = "mine", "theirs", "both"
VERSION, KEEP = "version", "version-keep-"
# What reading a history may raise that an import has brought.
UNREADABLE = (ValidationError, ValueError, TypeError, KeyError, AttributeError, IndexError)


def values(record) -> dict:
    """What a row holds, by column."""
    return {field.attname: field.value_from_object(record) for field in record._meta.fields}


def plain(model: type[models.Model], values: dict) -> dict:
    """The plain values of a record of ``model`` that holds ``values``, as far as they are given."""
    found = {
        field.attname: plain_value(field.to_python(values[field.attname]))
        for field in model._meta.concrete_fields
        if field.attname in values
    }
    for first, *others in getattr(model, "together", ()):
        if first in found:
            found[first] = [found[first], *(found.pop(name, None) for name in others)]
    return found


def plain_value(value):
    """Moments to the minute, as forms show them."""
    match value:
        case dt.datetime():
            return value.astimezone(dt.UTC).isoformat(timespec="minutes")
        case dt.date() | dt.time():
            return value.isoformat()
        case Decimal():
            return f"{value.normalize():f}"
        case uuid.UUID():
            return str(value)
        case str():
            return value.replace("\r\n", "\n")
        case list() | tuple():
            return [plain_value(part) for part in value]
    return value


@dataclass
class Basis:
    """What an edit was made from: the version of the record that its form showed, and the names
    of the values in it.

    After a conflict also for each name whose value to ``keep``. ``carry``: more fields to be sent
    along if there is a conflict, such as photos that have been taken in.
    """

    version: int
    names: tuple[str, ...]
    keep: dict[str, str] = field(default_factory=dict)
    carry: list[tuple[str, str]] = field(default_factory=list)

    @classmethod
    def of(cls, data, names: Iterable[str]) -> Basis | None:
        """What a form that shows ``names`` was made from.

        None where it carries no version: what it says is then taken as it is. One that is no
        number, as in a page that was opened before there were numbers, is that of no record.
        """
        said = data.get(VERSION)
        if not said:
            return None
        kept = {name.removeprefix(KEEP): data[name] for name in data if name.startswith(KEEP)}
        number = int(said) if said.isdecimal() and len(said) < 10 else -1
        return cls(number, tuple(names), kept)

    def settle(self, stored, mine: dict, theirs: dict, base: dict | None) -> dict[str, str]:
        """Whose value is to be stored, by name, for all that the form showed.

        ``mine``, ``theirs`` (what ``stored`` holds) and ``base`` (what the form showed, None where
        nobody knows) are plain values. Raises Conflict.
        """
        names = [name for name in self.names if name in mine and name in theirs]
        differing = [name for name in names if mine[name] != theirs[name]]
        if self.version == stored.version or not differing:
            return {name: self.keep.get(name, MINE) for name in names}
        touched, changed = (
            {name for name in differing if base is None or one[name] != base.get(name)}
            for one in (mine, theirs)
        )
        if not touched or not changed:
            return {name: MINE if name in touched else THEIRS for name in names}
        raise Conflict(
            stored, mine, theirs, differing, touched=touched, changed=changed, basis=self
        )


class Conflict(Exception):
    """Somebody else has changed the record since; ``names``: what differs from ``mine``."""

    def __init__(self, record, mine, theirs, names, *, touched, changed, basis):
        super().__init__(f"{record} was changed by somebody else.")
        self.record, self.mine, self.theirs, self.names = record, mine, theirs, names
        self.touched, self.changed, self.basis = touched, changed, basis
