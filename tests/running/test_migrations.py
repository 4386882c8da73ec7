"""No migration breaks the processes that still run the release before; see DEPLOY.md.

Where one must, it says in ``safe_because`` why that does no harm.
"""

import pytest
from django.apps import apps
from django.db import models
from django.db.migrations import operations
from django.db.migrations.loader import MigrationLoader

# Made before anybody ran it: the newest migration of each app that nothing is asked of.
BEFORE_THE_FIRST_RELEASE = {
    "birds": 2,
    "care": 3,
    "feet": 5,
    "housing": 4,
    "offline": 1,
    "people": 5,
    "photos": 4,
    "trends": 1,
}
TAKES_AWAY = (
    operations.RemoveField,
    operations.DeleteModel,
    operations.RenameField,
    operations.RenameModel,
    operations.AlterModelTable,
)


def dangers(migration) -> list[str]:
    return [
        f"{migration.app_label}.{migration.name}: {operation.describe()}"
        for operation in migration.operations
        if isinstance(operation, TAKES_AWAY) or _demands(operation)
    ]


def _demands(operation) -> bool:
    """Rows that the release before writes would be refused: it does not know the column."""
    if not isinstance(operation, operations.AddField | operations.AlterField):
        return False
    field = operation.field
    if isinstance(field, models.ManyToManyField):
        return False
    # Only a field that is new, or may be empty no longer, can refuse; Django keeps no default in
    # the database but `db_default`.
    return not field.null and not field.has_db_default()


def later_ones():
    for (app, name), migration in MigrationLoader(None).disk_migrations.items():
        ours = apps.get_app_config(app).module.__name__.startswith("flockcare.")
        if ours and int(name[:4]) > BEFORE_THE_FIRST_RELEASE.get(app, 0):
            yield migration


def test_no_later_migration_is_dangerous_without_a_reason():
    assert [
        danger
        for migration in later_ones()
        if not getattr(migration, "safe_because", "")
        for danger in dangers(migration)
    ] == []


@pytest.mark.parametrize(
    ("operation", "dangerous"),
    [
        (operations.RemoveField("bird", "band"), True),
        (operations.RenameField("bird", "band", "ring"), True),
        (operations.DeleteModel("bird"), True),
        (operations.AddField("bird", "ring", models.TextField(default="")), True),
        (operations.AddField("bird", "ring", models.TextField(db_default="")), False),
        (operations.AddField("bird", "ring", models.TextField(null=True)), False),
        (operations.AlterField("bird", "band", models.TextField()), True),
        (operations.AlterField("bird", "band", models.TextField(null=True)), False),
        (operations.AddField("bird", "eggs", models.ManyToManyField("birds.Egg")), False),
        (operations.CreateModel("egg", [("id", models.UUIDField(primary_key=True))]), False),
    ],
)
def test_what_is_dangerous(operation, dangerous):
    migration = type("M", (), {"app_label": "birds", "name": "0009_x", "operations": [operation]})
    assert bool(dangers(migration)) == dangerous


def test_those_from_before_are_there():
    """A number that no migration has would let a later one through unseen."""
    numbers: dict[str, int] = {}
    for app, name in MigrationLoader(None).disk_migrations:
        if app in BEFORE_THE_FIRST_RELEASE:
            numbers[app] = max(numbers.get(app, 0), int(name[:4]))
    assert all(numbers[app] >= number for app, number in BEFORE_THE_FIRST_RELEASE.items())
