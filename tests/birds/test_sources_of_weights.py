"""How sure a figure is stood beside each one; now it is on the page of sources alone."""

import pytest
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

BEFORE = [("birds", "0003_versions")]
AFTER = [("birds", "0004_sources_of_weights")]
STANDARD = "American Poultry Association, Standard of Perfection"


@pytest.fixture
def migrated_back(transactional_db):
    """The database as the release before left it; everything is migrated again at the end."""
    MigrationExecutor(connection).migrate(BEFORE)
    yield
    executor = MigrationExecutor(connection)
    executor.migrate(executor.loader.graph.leaf_nodes())


@pytest.mark.usefixtures("migrated_back")
def test_only_the_source_stays():
    old = MigrationExecutor(connection).loader.project_state(BEFORE).apps.get_model
    flock = old("people", "Flock").objects.create(name="Yard")
    for name, source in (
        ("Leghorn", f"{STANDARD} (from memory)"),
        ("Orpington", f"{STANDARD}, as cited by secondary sources"),
        ("Brown hybrid", "common practice, no published source"),
        ("Own", "entered by a keeper"),
    ):
        old("birds", "Breed").objects.create(flock=flock, name=name, source=source)

    executor = MigrationExecutor(connection)
    executor.migrate(AFTER)

    breeds = executor.loader.project_state(AFTER).apps.get_model("birds", "Breed").objects
    assert dict(breeds.values_list("name", "source")) == {
        "Leghorn": STANDARD,
        "Orpington": STANDARD,
        "Brown hybrid": "common practice",
        "Own": "entered by a keeper",
    }
