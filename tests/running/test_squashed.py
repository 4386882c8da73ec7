"""Squashed migrations make what those make that they replace, wherever an installation stands."""

import re

from django.apps import apps
from django.db.migrations.autodetector import MigrationAutodetector
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.recorder import MigrationRecorder
from django.db.migrations.state import ProjectState

from flockcare.backup.databases import carry_forward
from tests.running.step_by_step import one_by_one

# Some apps in the middle, some at their end, some not yet begun.
PART_OF_THE_WAY = [
    ("people", "0010_when_a_keeper_was_renamed"),
    ("birds", "0006_say_check"),
    ("photos", "0004_order_when_no_day_is_known"),
    ("housing", "0004_order_when_no_day_is_known"),
    ("feet", "0005_checks_as_they_came"),
    ("care", "0003_find_the_last_change"),
]
# Indexes and constraints have names of their own; columns may stand in any order.
OF_POSTGRESQL = {
    "columns": "SELECT table_name, column_name, udt_name, character_maximum_length, "
    "numeric_precision, numeric_scale, is_nullable, column_default, is_identity "
    "FROM information_schema.columns WHERE table_schema = 'public'",
    "constraints": "SELECT conrelid::regclass::text, conname, pg_get_constraintdef(oid) "
    "FROM pg_constraint WHERE connamespace = 'public'::regnamespace",
    "indexes": "SELECT tablename, indexdef FROM pg_indexes WHERE schemaname = 'public'",
}


def schema(connection) -> dict[str, set]:
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            return {
                what: set(cursor.execute(asked).fetchall()) for what, asked in OF_POSTGRESQL.items()
            }
        asked = "SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL"
        made = cursor.execute(asked).fetchall()
    return {name: set(parts(sql)) for name, sql in made}


def parts(sql: str) -> list[str]:
    """Of CREATE TABLE, its columns and constraints; an index is one."""
    if not sql.startswith("CREATE TABLE"):
        return [sql]
    found, depth = [""], 0
    for sign in sql[sql.index("(") + 1 : -1]:
        depth += (sign == "(") - (sign == ")")
        if sign == "," and not depth:
            found.append("")
        else:
            found[-1] += sign
    return [re.sub(r"\s+", " ", part).strip() for part in found]


def waiting(connection) -> list:
    loader = MigrationExecutor(connection)
    return loader.migration_plan(loader.loader.graph.leaf_nodes())


def squashed(connection) -> list[tuple[str, str]]:
    return list(MigrationExecutor(connection).loader.replacements)


def test_an_older_installation_ends_as_a_new_one(empty_database):
    with empty_database() as new:
        carry_forward(new.alias)
        of_a_new_one = schema(new)
    with empty_database() as old:
        one_by_one(old).migrate(PART_OF_THE_WAY)
        carry_forward(old.alias)
        assert waiting(old) == []
        assert schema(old) == of_a_new_one

        # As if the older version had made it all: then the squashed ones count as made.
        recorder = MigrationRecorder(old)
        for key in squashed(old):
            recorder.record_unapplied(*key)
        assert waiting(old) == []


def test_one_by_one_they_lead_to_the_models_of_today(empty_database):
    with empty_database() as connection:
        loader = one_by_one(connection).loader
    found = MigrationAutodetector(loader.project_state(), ProjectState.from_apps(apps))
    assert found.changes(loader.graph) == {}
