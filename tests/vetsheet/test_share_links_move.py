"""The links of an installation come along when they begin to refer to their birds."""

import uuid
from datetime import date, timedelta

import pytest
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.utils import timezone

BEFORE = [("people", "0005_brought_back"), ("vetsheet", None)]
AFTER = [("people", "0007_share_links_move"), ("vetsheet", "0002_refer_to_the_bird")]


@pytest.fixture
def migrated_back(transactional_db):
    """The database as the release before left it; everything is migrated again at the end."""
    MigrationExecutor(connection).migrate(BEFORE)
    yield
    executor = MigrationExecutor(connection)
    executor.migrate(executor.loader.graph.leaf_nodes())


@pytest.mark.usefixtures("migrated_back")
def test_links_keep_their_birds_and_openings():
    state = MigrationExecutor(connection).loader.project_state(
        [("people", "0005_brought_back"), ("birds", "0002_breeds_go_with_their_flock")]
    )
    model = state.apps.get_model
    flock = model("people", "Flock").objects.create(name="Yard")
    keeper = model("people", "Keeper").objects.create(name="Ros", sign_in_name="ros")
    place = model("people", "Membership").objects.create(flock=flock, keeper=keeper, role="owner")
    bird = model("birds", "Bird").objects.create(flock=flock, name="Dill")
    links = model("people", "ShareLink").objects
    shared, stray = (
        links.create(
            membership=place,
            bird=key,
            last=date(2026, 5, 1),
            token_hash=str(number),
            expires_at=timezone.now() + timedelta(days=7),
            uses_left=9,
        )
        for number, key in enumerate((bird.pk, uuid.uuid4()))
    )
    for link in (shared, stray):
        model("people", "ShareOpening").objects.create(link_id=link.pk, what="page")

    executor = MigrationExecutor(connection)
    executor.migrate(AFTER)

    links = executor.loader.project_state(AFTER).apps.get_model("vetsheet", "ShareLink").objects
    (kept,) = links.all()
    assert (kept.pk, kept.bird_id, kept.bird.name) == (shared.pk, bird.pk, "Dill")
    assert [opening.what for opening in kept.openings.all()] == ["page"]
