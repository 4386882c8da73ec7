"""The migrations one by one, as installations from before they were squashed have them."""

from collections.abc import Callable

from django.db.migrations.executor import MigrationExecutor
from django.db.models import QuerySet

from flockcare.backup.databases import settle


def one_by_one(connection) -> MigrationExecutor:
    """With every migration on its own, also those that a squashed one stands for."""
    executor = MigrationExecutor(connection)
    loader = executor.loader
    loader.replace_migrations = False
    loader.build_graph()
    for key, squashed in loader.replacements.items():
        loader.graph.remove_replacement_node(key, squashed.replaces)
    return executor


def migrated(connection, targets: list[tuple[str, str]]) -> Callable[[str], QuerySet]:
    """Migrate one by one to ``targets``; the rows of that day by ``"app.Model"``."""
    settle(connection.alias)
    one_by_one(connection).migrate(targets)
    models = one_by_one(connection).loader.project_state(targets).apps
    return lambda label: models.get_model(label).objects.using(connection.alias)
