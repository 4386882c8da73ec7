"""Queries whose SQL is put together once.

For the few queries behind the pages that a phone opens in the coop: Django takes several times as
long to put such a query together as the database takes to answer it.
"""

import datetime as dt
import uuid
from collections.abc import Callable, Sequence
from itertools import islice

from django.db import DEFAULT_DB_ALIAS, connection, models
from django.db.models import QuerySet
from django.db.models.functions import Cast

Parameter = models.UUIDField | models.DateTimeField | models.DateField


def _stand_in(field: Parameter, number: int):
    """A value that no record has, by which a parameter is found again in the finished query."""
    if isinstance(field, models.UUIDField):
        return uuid.UUID(int=(0xF10C << 112) + number)
    moment = dt.datetime(9876, 5, 4, 3, 2, number, tzinfo=dt.UTC)
    return (
        moment
        if isinstance(field, models.DateTimeField)
        else (moment.date() - dt.timedelta(number))
    )


def columns(model: type[models.Model], at: str = "") -> list[str]:
    """For ``values_list``: all that ``record`` needs; ``at`` leads to it, such as ``breed__``."""
    return [f"{at}{field.attname}" for field in model._meta.concrete_fields]


def record(model: type[models.Model], values: Sequence) -> models.Model:
    """The record from the values of its ``columns``."""
    return model.from_db(DEFAULT_DB_ALIAS, columns(model), values)


def records(row: Sequence, *kinds: type[models.Model]) -> list[models.Model]:
    """A record of each kind, from the values of the columns of all, one kind after the other."""
    values = iter(row)
    return [record(kind, list(islice(values, len(columns(kind))))) for kind in kinds]


def as_text(field: str) -> Cast:
    """A key or a time as the database writes it: left so until it is needed whole."""
    return Cast(field, models.CharField())


def moment_of(text: str) -> dt.datetime:
    """The time of ``as_text``."""
    moment = dt.datetime.fromisoformat(text)
    # SQLite keeps UTC without saying so.
    return moment if moment.tzinfo else moment.replace(tzinfo=dt.UTC)


class Prepared:
    """``Prepared(build, bird=UUIDField()).rows(bird=key)`` are the rows of ``build(bird=key)``.

    ``build`` gives a ``values_list`` query; the fields say of what type its parameters are. Every
    parameter must stand in the SQL as it was given: ValueError for one that does not.
    """

    def __init__(self, build: Callable[..., QuerySet], **fields: Parameter):
        self._build, self._fields = build, fields
        self._made = None

    def rows(self, **values) -> list[tuple]:
        if self._made is None:
            self._made = self._make()
        sql, parameters, converters = self._made
        given = {
            name: field.get_db_prep_value(values[name], connection)
            for name, field in self._fields.items()
        }
        with connection.cursor() as cursor:
            cursor.execute(sql, [given[name] if name else fixed for name, fixed in parameters])
            found = cursor.fetchall()
        return _converted(found, converters) if found and converters else found

    def _make(self):
        stand_ins = {
            name: _stand_in(field, number)
            for number, (name, field) in enumerate(self._fields.items(), start=1)
        }
        compiler = self._build(**stand_ins).query.get_compiler(connection.alias)
        sql, compiled = compiler.as_sql()
        names = {
            field.get_db_prep_value(stand_ins[name], connection): name
            for name, field in self._fields.items()
        }
        parameters = [(names.get(value), value) for value in compiled]
        if unused := set(self._fields) - {name for name, _ in parameters}:
            raise ValueError(f"The query does not use {', '.join(sorted(unused))} as given.")
        columns = [column[0] for column in compiler.select[: compiler.col_count]]
        return sql, parameters, list(compiler.get_converters(columns).items())


def _converted(rows: list[tuple], converters) -> list[tuple]:
    """Column by column, which takes half as long as row by row."""
    columns = list(zip(*rows, strict=True))
    for place, (functions, expression) in converters:
        for function in functions:
            columns[place] = [function(value, expression, connection) for value in columns[place]]
    return list(zip(*columns, strict=True))
