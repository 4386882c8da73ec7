"""What is kept of Today and of a bird's standing is never older than the records."""

import re
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from flockcare.birds.services import change_bird
from flockcare.care.models import CareStep, KitItem
from flockcare.care.services import claim
from flockcare.care.situation import standing, standings
from flockcare.feet.services import delete_check
from flockcare.people.models import Membership, Role
from flockcare.people.services import change_flock, rename_keeper
from flockcare.photos.models import Photo
from tests.care.steps import day, look, step

pytestmark = pytest.mark.django_db
MILD = {"score": 1, "scab": "black", "swelling": "none"}
CLEAR = {"score": 0}


def text(client, cast) -> str:
    page = client.get(reverse("today", args=[cast.flock.pk]))
    assert page.status_code == 200
    return " ".join(re.sub(r"<[^>]*>", " ", page.text).split())


def body(client, cast) -> str:
    return client.get(reverse("today", args=[cast.flock.pk])).text


def said(cast, *wanted):
    """Before the deed, so that what is read after it could have been kept."""
    for client in (cast.clients.owner, cast.clients.keeper, cast.clients.viewer):
        assert all(words in text(client, cast) for words in wanted)


def test_another_keepers_claim_is_seen_and_each_reads_it_as_theirs(cast, birds):
    due = step(cast, birds["Dill"], days_ago=1, next_due=day(0))
    said(cast, "Dill")
    claim(step=due, by=cast.keeper)
    assert "You said you will do it" in text(cast.clients.keeper, cast)
    assert "Keeper will do it" in text(cast.clients.owner, cast)
    assert "You said" not in text(cast.clients.owner, cast)


def test_a_bird_renamed_a_check_and_care_given_are_seen(cast, birds):
    look(cast, birds["Dill"], days_ago=3, left=MILD)
    said(cast, "Dill")
    birds["Dill"].name = "Lovage"
    change_bird(bird=birds["Dill"], by=cast.keeper)
    said(cast, "Lovage")
    check = look(cast, birds["Mace"], left=CLEAR, right=CLEAR)
    said(cast, "Checked today")
    delete_check(check=check, keeper=cast.keeper)
    assert "Checked today" not in text(cast.clients.keeper, cast)
    step(cast, birds["Mace"], "soaked")
    said(cast, "Care done today (1)")


def test_the_kit_is_counted_anew(cast, birds):
    said(cast, "No care is due tonight")
    item = KitItem.objects.create(flock=cast.flock, name="Gauze", stock=0)
    said(cast, "Gauze none left")
    item.delete()
    assert "Gauze" not in text(cast.clients.keeper, cast)


def test_a_keeper_who_is_renamed_or_gone_stands_there_as_now(cast, birds):
    due = step(cast, birds["Dill"], days_ago=1, next_due=day(0), claimed_by=cast.keeper)
    look(cast, birds["Mace"], left=CLEAR, keeper=cast.keeper)
    assert "Keeper will do it" in text(cast.clients.owner, cast)
    rename_keeper(keeper=cast.keeper, name="Ros")
    page = text(cast.clients.owner, cast)
    assert "Ros will do it" in page and "Keeper" not in page
    CareStep.objects.filter(pk=due.pk).update(claimed_by=None)
    cast.keeper.delete()
    assert "Ros will do it" not in text(cast.clients.owner, cast)


def test_who_may_only_look_gets_no_buttons_and_none_are_kept_for_them(cast, birds):
    step(cast, birds["Dill"], days_ago=1, next_due=day(0))
    look(cast, birds["Mace"], days_ago=40, left=CLEAR, right=CLEAR)
    check = reverse("check_bird", args=[cast.flock.pk, birds["Mace"].pk])
    for _ in range(2):
        page = body(cast.clients.keeper, cast)
        assert 'form="tap"' in page and check in page
        page = body(cast.clients.viewer, cast)
        assert 'form="tap"' not in page and check not in page
    Membership.objects.filter(keeper=cast.keeper).update(role=Role.VIEWER)
    page = body(cast.clients.keeper, cast)
    assert 'form="tap"' not in page and check not in page


def test_mine_and_everyones_are_kept_apart(cast, birds):
    step(cast, birds["Dill"], days_ago=1, next_due=day(0), claimed_by=cast.keeper)
    panel = reverse("care:today_panel", args=[cast.flock.pk])
    for _ in range(2):
        for query, there in (("", True), ("?mine", False)):
            page = cast.clients.owner.get(panel + query, headers={"HX-Request": "true"}).text
            assert ("Dill" in page) is there
            assert ('name="mine"' in page) is not there


def test_no_token_is_kept(cast, birds):
    step(cast, birds["Dill"], days_ago=1, next_due=day(0))
    pages = [body(client, cast) for client in (cast.clients.keeper, cast.clients.keeper)]
    tokens = [set(re.findall(r'name="csrfmiddlewaretoken" value="(\w+)"', one)) for one in pages]
    assert all(tokens) and not tokens[0] & tokens[1]


def test_after_midnight_of_the_flock_it_is_another_day(cast, birds, monkeypatch):
    zone = ZoneInfo("Europe/London")
    now = datetime.combine(day(0), datetime.min.time(), zone) + timedelta(hours=23, minutes=59)
    monkeypatch.setattr(timezone, "now", lambda: now)
    step(cast, birds["Dill"], at=now - timedelta(days=1), next_due=day(1))
    step(cast, birds["Mace"], at=now - timedelta(hours=1))
    page = text(cast.clients.keeper, cast)
    assert "Care done today (1)" in page and "Dill, left foot: soak" not in page
    now += timedelta(minutes=2)
    page = text(cast.clients.keeper, cast)
    assert "Care done today" not in page and "Dill, left foot: soak" in page


def test_other_days_between_rounds_and_another_zone_are_followed(cast, birds):
    look(cast, birds["Dill"], days_ago=5, left=CLEAR, right=CLEAR)
    assert "9 days" not in text(cast.clients.keeper, cast)
    cast.flock.round_days = 3
    change_flock(flock=cast.flock, by=cast.owner)
    assert "2 days late" in text(cast.clients.keeper, cast)


def test_a_quiet_today_asks_five_questions(cast, birds):
    step(cast, birds["Dill"], days_ago=1, next_due=day(0))
    look(cast, birds["Mace"], left=CLEAR)
    for client in (cast.clients.keeper, cast.clients.owner):
        body(client, cast)
        with CaptureQueriesContext(connection) as asked:
            body(client, cast)
        # Session, keeper, place in the flock, the mark, the round.
        assert len(asked) == 5


def test_owners_are_told_of_damaged_photos_as_long_as_there_are_any(cast, birds):
    for number in range(2):
        Photo.objects.create(
            **{"flock": cast.flock, "bird": None if number else birds["Dill"], "look_hash": 0},
            **{"width": 9, "height": 9, "stored_bytes": 9, "sha256": f"photo {number}"},
        )
    said(cast, "Due for a check")
    photos = Photo.objects.filter(flock=cast.flock)
    photos.update(damaged_since=timezone.now())
    assert "2 photos are damaged" in text(cast.clients.owner, cast)
    assert "damaged" not in text(cast.clients.keeper, cast)
    photos.filter(bird=None).update(damaged_since=None)
    assert "1 photo is damaged" in text(cast.clients.owner, cast)
    photos.update(damaged_since=None)
    assert "damaged" not in text(cast.clients.owner, cast)


def test_a_bird_kept_alone_stands_as_in_the_flock(cast, birds):
    dill, now = birds["Dill"], timezone.now
    dill.flock = cast.flock
    deeds = [
        lambda: look(cast, dill, days_ago=2, left=MILD),
        lambda: step(cast, dill, "dressing on", days_ago=1),
        lambda: rename_keeper(keeper=cast.owner, name="Ros"),
        lambda: Photo.with_deleted.filter(bird=dill).update(deleted_at=now()),
        lambda: look(cast, dill, left=CLEAR, right=CLEAR),
    ]
    for deed in deeds:
        standing(dill, now=now())
        deed()
        assert standing(dill, now=now()) == standings(cast.flock, now=now()).birds[dill.pk]
    assert standing(dill, now=now()).feet["left"].by == "Ros"
    dill.left, dill.left_reason = str(day(-1)), "died"
    change_bird(bird=dill, by=cast.keeper)
    assert standing(dill, now=now()) is None
