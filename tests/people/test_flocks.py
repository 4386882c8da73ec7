from django.contrib.sessions.models import Session

from flockcare.people.models import Flock, Membership, Role, Units
from flockcare.people.services import start_flock
from tests.people.rows import same_queries


def flocks_of(owner, count):
    return [
        start_flock(owner=owner, name=f"Flock {n}", time_zone="UTC", units=Units.METRIC)
        for n in range(count)
    ]


def test_home_goes_to_the_only_flock(cast):
    assert cast.clients.viewer.get("/").headers["Location"] == f"/f/{cast.flock.pk}/today/"


def test_home_of_several_flocks_is_the_list_until_one_was_opened(cast):
    client = cast.clients.owner
    (other,) = flocks_of(cast.owner, 1)
    assert client.get("/").headers["Location"] == "/flocks/"
    opened = client.get(f"/f/{other.pk}/open/")
    assert opened.headers["Location"] == f"/f/{other.pk}/today/"
    assert client.get("/").headers["Location"] == f"/f/{other.pk}/today/"


def test_home_forgets_a_flock_one_was_removed_from(cast):
    client = cast.clients.keeper
    client.get(f"/f/{cast.flock.pk}/open/")
    Membership.objects.filter(keeper=cast.keeper).delete()
    assert client.get("/").headers["Location"] == "/flocks/"
    assert "You are in no flock" in client.get("/flocks/").text


def test_session_is_written_only_when_the_flock_changes(cast, django_assert_num_queries):
    client = cast.clients.owner
    client.get(f"/f/{cast.flock.pk}/open/")
    before = list(Session.objects.values_list("session_key", "session_data"))
    # Session, keeper, membership: nothing is saved.
    with django_assert_num_queries(3):
        client.get(f"/f/{cast.flock.pk}/open/")
    assert before == list(Session.objects.values_list("session_key", "session_data"))


def test_list_names_mine_and_only_mine(cast):
    page = cast.clients.keeper.get("/flocks/").text
    assert "Hill Flock" in page and "Elsewhere" not in page


def test_start_another(cast):
    response = cast.clients.keeper.post(
        "/flocks/new/", {"name": "Own", "time_zone": "America/Lima", "units": "metric"}
    )
    flock = Flock.objects.get(name="Own")
    assert response.headers["Location"] == f"/f/{flock.pk}/today/"
    assert Membership.objects.get(flock=flock).role == Role.OWNER
    assert flock.membership_set.get().keeper == cast.keeper


def test_stranger_cannot_open(cast):
    assert cast.clients.stranger.get(f"/f/{cast.flock.pk}/open/").status_code == 404


def test_list_queries(cast):
    same_queries(cast.clients.owner, "/flocks/", grow=lambda: flocks_of(cast.owner, 20))
