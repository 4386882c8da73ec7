"""Kinds of records that are edited, in a keeper's words: for conflicts and for the history.

Each app lists its own in its ``histories.py``; ``pages/kinds.py`` has them all.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from django.db import models
from django.utils import timezone

from flockcare.core import versions
from flockcare.core.dates import PartialDate, PartialDateField
from flockcare.drawing.dates import date_words
from flockcare.people import history
from flockcare.people.models import Byline, Flock, Keeper, Role

NOTHING = "nothing"


def _change(record, *, by, basis, kept) -> None:
    history.change(record, by=by, basis=basis)


def _bring_back(record, *, by, kept) -> None:
    history.bring_back(record, by=by, kept=kept)


@dataclass(frozen=True)
class Kind:
    """``title(said)``: what a record is called; ``said[name]`` is a value in words.

    ``page(record)``: address and arguments after the flock of the page it is seen on.
    ``hidden``: columns that say nothing to a keeper; ``fixed``: those that are told but do not come
    back with an earlier version; ``joined``: lists of which both can be kept.
    ``holding``: columns that may be empty, but say something else then: with what such a column
    names, the record goes and comes back.
    ``labels``, ``words``: of single names, where the model's own do not do. ``snapshot(record)``
    is what the history keeps of it, ``plain`` its plain values.

    ``change(record, by=, basis=, kept=)`` stores an earlier version that ``record`` holds,
    ``bring_back(record, by=, kept=)`` one that was deleted; ``kept`` is what the history has of it.
    ``undo(record, by=, kept=)`` takes back the last change of all, where ``change`` is not enough.
    ``drop(records, by=)`` removes what was added, where that is more than to delete it.
    ``parts``: relations that ``snapshot`` reads.
    ``picture(flock, key)``: the address of what a ``joined`` list names, where it can be shown.
    ``listed``: among the newest changes of the flock; ``part``: of another record, without a page.
    ``read``, ``write``: whose role is needed; None: nothing is brought back.
    """

    model: type[models.Model]
    title: Callable[[dict], str]
    page: Callable[[models.Model], tuple]
    hidden: frozenset[str] = frozenset()
    fixed: frozenset[str] = frozenset()
    joined: frozenset[str] = frozenset()
    holding: frozenset[str] = frozenset()
    labels: dict[str, str] = field(default_factory=dict)
    words: dict[str, Callable[[object, Names], str]] = field(default_factory=dict)
    plain: Callable[[dict], dict] | None = None
    snapshot: Callable[[models.Model], dict] = versions.values
    change: Callable = _change
    bring_back: Callable | None = _bring_back
    picture: Callable[[Flock, str], str] | None = None
    undo: Callable | None = None
    drop: Callable | None = None
    parts: tuple[str, ...] = ()
    listed: bool = True
    part: bool = False
    read: Role = Role.VIEWER
    write: Role | None = Role.KEEPER

    @property
    def slug(self) -> str:
        return self.model._meta.model_name

    @property
    def model_label(self) -> str:
        return self.model._meta.label

    def plain_of(self, values: dict) -> dict:
        """What is shown of a record, from its columns or from what the history kept of it."""
        found = self.plain(values) if self.plain else versions.plain(self.model, values)
        unseen = {"id", "flock_id", "version", *self.hidden}
        return {name: value for name, value in found.items() if name not in unseen}

    def label(self, name: str) -> str:
        label = self.labels.get(name) or self.model._meta.get_field(name).verbose_name
        return label[:1].upper() + label[1:]

    def in_words(self, name: str, value, names: Names) -> str:
        if name in self.words:
            return self.words[name](value, names) or NOTHING
        columns = next((each for each in _together(self.model) if each[0] == name), None)
        if columns is None:
            return value_words(self.model._meta.get_field(name), value, names) or NOTHING
        parts = (
            value_words(self.model._meta.get_field(column), part, names)
            for column, part in zip(columns, value, strict=True)
        )
        return ", ".join(filter(None, parts)) or NOTHING

    def title_of(self, plain: dict, names: Names) -> str:
        said = {name: self.in_words(name, value, names) for name, value in plain.items()}
        return self.title(said)


def by_model(kinds: Iterable[Kind]) -> dict[str, Kind]:
    """Under the label of their model, as the history names it."""
    return {kind.model_label: kind for kind in kinds}


def _together(model):
    return getattr(model, "together", ())


class Names:
    """What other records that are referred to are called: one query for each kind of them."""

    def __init__(self, flock: Flock, records: Iterable[tuple[Kind, dict]]):
        self.flock = flock
        wanted = defaultdict(set)
        for kind, plain in records:
            for column, value in _references(kind.model, plain):
                wanted[column.related_model].add(value)
        self._found = {model: _called(model, keys) for model, keys in wanted.items()}
        if keepers := wanted[Keeper] - self._found.get(Keeper, {}).keys():
            named = Byline.objects.filter(flock=flock, record__in=keepers, field="name")
            self._found[Keeper] |= {str(one.record): one.name for one in named}

    def of(self, model, key) -> str:
        gone = "somebody who is no longer here" if model is Keeper else "one that is gone"
        return self._found.get(model, {}).get(key) or gone


def _references(model, plain: dict):
    together = {names[0]: names for names in _together(model)}
    columns = {column.attname: column for column in model._meta.concrete_fields}
    for name, value in plain.items():
        if name not in columns:
            continue
        names = together.get(name, (name,))
        for one, part in zip(names, value if name in together else (value,), strict=True):
            if columns[one].is_relation and part:
                yield columns[one], part


def _called(model, keys) -> dict[str, str]:
    named = [one.name for one in model._meta.fields if one.is_relation and one.name != "flock"]
    rows = model._base_manager.filter(pk__in=keys).select_related(*named)
    return {str(row.pk): str(row) for row in rows}


def value_words(column: models.Field, value, names: Names) -> str:
    """A plain value in words; empty where there is none."""
    if value is None or value == "":
        return ""
    if column.is_relation:
        return names.of(column.related_model, value)
    if column.choices:
        return str(dict(column.flatchoices).get(value, value))
    match column:
        case models.BooleanField():
            return "yes" if value else "no"
        case models.DateTimeField():
            return moment_words(dt.datetime.fromisoformat(value), names.flock)
        case models.DateField():
            return date_words(dt.date.fromisoformat(value))
        case PartialDateField():
            return PartialDate.parse(value).words()
        case models.FloatField():
            return f"{value:g}"
    return str(value)


def moment_words(moment: dt.datetime, flock: Flock) -> str:
    local = timezone.localtime(moment, flock.zone)
    return f"{date_words(local.date())}, {local:%H:%M}"
