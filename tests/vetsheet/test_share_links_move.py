"""The links of an installation come along when they begin to refer to their birds."""

import uuid
from datetime import date, timedelta

from django.utils import timezone

from tests.running.step_by_step import migrated

BEFORE = [("people", "0005_brought_back"), ("birds", "0002_breeds_go_with_their_flock")]
AFTER = [("people", "0007_share_links_move"), ("vetsheet", "0002_refer_to_the_bird")]


def test_links_keep_their_birds_and_openings(empty_database):
    with empty_database() as connection:
        old = migrated(connection, BEFORE)
        flock = old("people.Flock").create(name="Yard")
        keeper = old("people.Keeper").create(name="Ros", sign_in_name="ros")
        place = old("people.Membership").create(flock=flock, keeper=keeper, role="owner")
        bird = old("birds.Bird").create(flock=flock, name="Dill")
        shared, stray = (
            old("people.ShareLink").create(
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
            old("people.ShareOpening").create(link_id=link.pk, what="page")

        (kept,) = migrated(connection, AFTER)("vetsheet.ShareLink")
        assert (kept.pk, kept.bird_id, kept.bird.name) == (shared.pk, bird.pk, "Dill")
        assert [opening.what for opening in kept.openings.all()] == ["page"]
