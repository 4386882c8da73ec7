"""A round without signal: what the phone is told of it, and what its checks are on the server."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from flockcare.birds.models import BirdState
from flockcare.feet import services
from flockcare.feet.models import Round, RoundBird
from tests.offline.sends import CLEAR, body, local, send

pytestmark = pytest.mark.django_db


def told(cast) -> dict:
    return cast.clients.keeper.get(reverse("offline:birds", args=[cast.flock.pk])).json()


def of(cast, name) -> dict:
    return next(hen for hen in told(cast)["birds"] if hen["name"] == name)


@pytest.fixture
def round_(cast, birds):
    keys = [birds[name].pk for name in ("Dill", "Mace")]
    return services.start_round(flock=cast.flock, keeper=cast.owner, bird_ids=keys)


def test_who_is_due_and_when_she_was_checked(cast, birds):
    assert (of(cast, "Dill")["due"], of(cast, "Dill")["checked"]) == ("", "")
    send(cast.clients.keeper, cast.flock, body(cast.flock, birds["Dill"], cast.keeper, *CLEAR))
    today = timezone.localdate(timezone=cast.flock.zone)
    due = today + timedelta(cast.flock.round_days)
    assert (of(cast, "Dill")["due"], of(cast, "Dill")["checked"]) == (f"{due}", f"{today}")


def test_who_is_in_quarantine_is_offered_last(cast, birds):
    state = {"kind": "quarantine", "since": timezone.localdate()}
    BirdState.objects.create(flock=cast.flock, bird=birds["Dill"], **state)
    assert [hen["name"] for hen in told(cast)["birds"]] == ["Mace", "Sorrel", "Dill"]


def test_the_round_that_is_on(cast, birds, round_):
    dill, mace = (str(birds[name].pk) for name in ("Dill", "Mace"))
    assert told(cast)["round"]["birds"] == {dill: "left", mace: "left"}
    tag = cast.clients.keeper.get(reverse("offline:birds", args=[cast.flock.pk])).headers["ETag"]
    services.pass_over(place=RoundBird.objects.get(bird=birds["Mace"]))
    again = cast.clients.keeper.get(
        reverse("offline:birds", args=[cast.flock.pk]), headers={"If-None-Match": tag}
    )
    assert again.json()["round"]["birds"] == {dill: "left", mace: "skipped"}
    services.end_round(round_=round_)
    assert told(cast)["round"] is None


def test_a_late_check_counts_for_the_round_of_its_time_and_no_later_one(cast, birds, round_):
    """The round began six days ago; one check of before it, one of during it, both sent now."""
    began = timezone.now() - timedelta(days=6)
    Round.objects.filter(pk=round_.pk).update(started_at=began)
    dill, mace = birds["Dill"], birds["Mace"]
    since = told(cast)["round"]["since"]
    assert local(cast.flock, days_ago=7.1) < since < local(cast.flock, days_ago=6.9)
    for bird, days_ago in ((dill, 8), (mace, 3)):
        at = local(cast.flock, days_ago=days_ago)
        sent = body(cast.flock, bird, cast.keeper, *CLEAR, at=at)
        assert send(cast.clients.keeper, cast.flock, sent).status_code == 201
    assert told(cast)["round"]["birds"] == {str(dill.pk): "left", str(mace.pk): "checked"}
    send(cast.clients.keeper, cast.flock, body(cast.flock, dill, cast.keeper, *CLEAR))
    assert services.open_round(cast.flock) is None
