"""What an edit was made from, and what becomes of it when the record has changed since.

A form that edits a record carries a version: a short mark of each value that it showed. When it
comes back, what is stored by then is compared with the marks, value by value. What nobody else
touched is taken from the form. Otherwise `Conflict` is raised with both; its page sends the form
again with a choice for each value. Two who typed the same are not in conflict.

A record is compared by its plain values: a dictionary of what JSON knows, with equal things
written alike, whether they come from a form, from the database or from the history. What means
something only together (the model's ``together``) is one value, under the first of its names.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import uuid
from collections.abc import Iterable
from dataclasses import dataclass, field
from decimal import Decimal

from django.db import models

MINE, THEIRS, BOTH = "mine", "theirs", "both"
VERSION, SEEN, KEEP = "version", "version-seen", "version-keep-"


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


def mark(value) -> str:
    return hashlib.blake2s(json.dumps(value).encode(), digest_size=4).hexdigest()


def version_of(plain: dict) -> str:
    """The mark of each value, as a form carries it."""
    return " ".join(f"{name}:{mark(value)}" for name, value in plain.items())


def read_version(text: str) -> dict[str, str]:
    """Marks by name; what is no version has none."""
    parts = (part.partition(":") for part in text.split())
    return {name: marked for name, _, marked in parts if marked}


@dataclass
class Basis:
    """What an edit was made from (``made``), as the form says.

    After a conflict also the version of the other that the keeper has ``seen``, and for each name
    whose value to ``keep``. ``carry``: more fields to be sent along if there is a conflict, such
    as photos that have been taken in.
    """

    made: dict[str, str]
    seen: dict[str, str] = field(default_factory=dict)
    keep: dict[str, str] = field(default_factory=dict)
    carry: list[tuple[str, str]] = field(default_factory=list)

    @classmethod
    def of(cls, data, names: Iterable[str]) -> Basis | None:
        """What a form that shows ``names`` was made from.

        None where it carries no version: what it says is then taken as it is. A name without a
        mark, as in a page from before the form had it, counts as changed by everybody.
        """
        marks = read_version(data.get(VERSION) or "")
        if not marks:
            return None
        made = {name: marks.get(name, "") for name in names}
        kept = {name.removeprefix(KEEP): data[name] for name in data if name.startswith(KEEP)}
        return cls(made, read_version(data.get(SEEN) or ""), kept)

    def settle(self, record, mine: dict, theirs: dict) -> dict[str, str]:
        """Whose value is to be stored, by name, for all that the form showed.

        ``mine`` and ``theirs`` are plain values, ``record`` is what is stored. Raises Conflict.
        """
        names = [name for name in self.made if name in mine and name in theirs]
        touched = {name for name in names if mark(mine[name]) != self.made[name]}
        changed = {name for name in names if mark(theirs[name]) != self.made[name]}
        differing = [name for name in names if mine[name] != theirs[name]]
        if not touched or changed.isdisjoint(differing):
            own = touched.intersection(differing)
            return {name: MINE if name in own else THEIRS for name in names}
        as_seen = all(mark(theirs[name]) == self.seen.get(name) for name in names)
        if as_seen and self.keep.keys() >= set(differing):
            return {name: self.keep.get(name, THEIRS) for name in names}
        raise Conflict(
            record, mine, theirs, differing, touched=touched, changed=changed, basis=self
        )


class Conflict(Exception):
    """Somebody else has changed the record since; ``names``: what differs from ``mine``."""

    def __init__(self, record, mine, theirs, names, *, touched, changed, basis):
        super().__init__(f"{record} has been changed by somebody else.")
        self.record, self.mine, self.theirs, self.names = record, mine, theirs, names
        self.touched, self.changed, self.basis = touched, changed, basis
