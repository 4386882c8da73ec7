"""The rows of every table of the app, as lines of JSON, out of any database and into any.

A backup says which migrations its rows belong to. They are read and written with the models of
just that state, so that the rows of an older version find the tables they were made for, and are
then carried forward by the same migrations as a running installation.

A table is a member ``rows/APP.Model.jsonl``: the first line names the columns, every other line is
one row in that order. Left out are sign-ins (sessions) and what Django makes anew by itself.
"""

import base64
import datetime as dt
import decimal
import io
import itertools
import json
import uuid
from collections.abc import Iterator

from django.apps import apps
from django.core.management.color import no_style
from django.db import connections, models
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.loader import MigrationLoader

from flockcare.backup.archive import BackupProblem, Reader, Writer
from flockcare.core.starting import unknown_migrations

FOLDER = "rows/"
_BATCH = 500

Migrations = list[list[str]]


def applied(alias: str) -> Migrations:
    """The migrations that this database has, as [app, name]."""
    loader = MigrationLoader(connections[alias])
    if unknown_migrations(loader):
        raise BackupProblem(
            "This database was changed by a newer version of Flockcare. Use that version."
        )
    return sorted(list(key) for key in loader.applied_migrations if _known(loader, key))


def refuse_newer(migrations: Migrations) -> None:
    loader = MigrationLoader(None)
    if any(_is_ours(key) and not _known(loader, key) for key in migrations):
        raise BackupProblem(
            "This backup was made by a newer version of Flockcare. Update this installation "
            "first. Nothing was changed."
        )


def _known(loader: MigrationLoader, key) -> bool:
    return tuple(key) in loader.disk_migrations


def _is_ours(key) -> bool:
    return key[0] in {config.label for config in apps.get_app_configs()}


def _as_of(migrations: Migrations) -> tuple[MigrationLoader, set[tuple[str, str]]]:
    """What Django sees over a database with these migrations, and which of its nodes they are.

    A squashed migration is there where all that it replaces are; else those are, one by one.
    """
    loader = MigrationLoader(None, replace_migrations=False)
    had = {tuple(key) for key in migrations}
    for key, squashed in loader.replacements.items():
        if had.issuperset(squashed.replaces):
            loader.graph.remove_replaced_nodes(key, squashed.replaces)
            had.add(key)
        else:
            loader.graph.remove_replacement_node(key, squashed.replaces)
    return loader, had & loader.graph.nodes.keys()


def tables(migrations: Migrations) -> list[type[models.Model]]:
    """The app's own models, those between two others too, as they were with these migrations."""
    loader, nodes = _as_of(migrations)
    state = loader.project_state([node for node in sorted(nodes) if _is_ours(node)])
    own = {
        config.label for config in apps.get_app_configs() if config.name.startswith("flockcare.")
    }
    return [
        model
        for model in state.apps.get_models(include_auto_created=True)
        if model._meta.app_label in own and model._meta.managed and not model._meta.proxy
    ]


def _columns(model) -> list[models.Field]:
    return [field for field in model._meta.concrete_fields if not field.generated]


# --- Out


def write(out: Writer, model, alias: str) -> tuple[str, int]:
    """Write one table; the name of its member and how many rows it has."""
    name, count = f"{FOLDER}{model._meta.label}.jsonl", 0
    columns = [field.attname for field in _columns(model)]
    rows = model._base_manager.using(alias).order_by("pk").values_list(*columns)
    with out.adding(name, pressed=True) as stream:
        stream.write(_line(columns))
        for row in rows.iterator(chunk_size=2000):
            stream.write(_line(row))
            count += 1
    return name, count


def _line(values) -> bytes:
    text = json.dumps(list(values), default=_plain, ensure_ascii=False, separators=(",", ":"))
    return text.encode() + b"\n"


def _plain(value):
    """What JSON has no word for, as the field reads it again."""
    if isinstance(value, dt.datetime | dt.date | dt.time):
        return value.isoformat()
    if isinstance(value, uuid.UUID | decimal.Decimal):
        return str(value)
    if isinstance(value, bytes | memoryview):
        return base64.b64encode(bytes(value)).decode()
    raise TypeError(f"no form for a {type(value).__name__} in a backup")


# --- In


def migrate_to(alias: str, migrations: Migrations) -> None:
    """Make the tables of an empty database as they were with these migrations."""
    executor = MigrationExecutor(connections[alias])
    executor.loader, wanted = _as_of(migrations)
    graph = executor.loader.graph
    last = [
        node
        for node in wanted
        if not any(
            child.key in wanted
            for child in graph.node_map[node].children
            if child.key[0] == node[0]
        )
    ]
    executor.migrate(sorted(last))


def load(backup: Reader, migrations: Migrations, alias: str) -> int:
    """Write all rows into the tables that `migrate_to` made; how many there were.

    Expects to run inside a transaction, at whose end the references between rows are checked.
    """
    total = 0
    models_of_then = tables(migrations)
    for model in models_of_then:
        for field in model._meta.concrete_fields:
            # These are models of this state only: times are taken as they are, not set anew.
            if isinstance(field, models.DateField):
                field.auto_now = field.auto_now_add = False
        for batch in _batches(_records(backup, model)):
            model._base_manager.using(alias).bulk_create(batch)
            total += len(batch)
    connection = connections[alias]
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(no_style(), models_of_then):
            cursor.execute(statement)
    return total


def _records(backup: Reader, model) -> Iterator[models.Model]:
    name = f"{FOLDER}{model._meta.label}.jsonl"
    fields = {field.attname: field for field in _columns(model)}
    with backup.open(name) as stream:
        lines = io.TextIOWrapper(stream, encoding="utf-8", newline="\n")
        columns = json.loads(next(lines))
        readers = [fields[column].to_python for column in columns]
        for line in lines:
            values = zip(columns, readers, json.loads(line), strict=True)
            yield model(**{column: read(value) for column, read, value in values})


def _batches(records: Iterator[models.Model]) -> Iterator[list[models.Model]]:
    while batch := list(itertools.islice(records, _BATCH)):
        yield batch
