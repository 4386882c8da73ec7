import pytest
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
    assert "You don’t belong to a flock" in client.get("/flocks/").text


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


@pytest.mark.parametrize(
    ("said", "zone"),
    [
        ("Paris", "Europe/Paris"),
        ("europe/paris", "Europe/Paris"),
        (" new york ", "America/New_York"),
        ("Louisville", "America/Louisville"),
        ("utc", "UTC"),
        ("Etc/GMT+3", "Etc/GMT+3"),
    ],
)
def test_a_time_zone_is_found_by_its_place(cast, said, zone):
    cast.clients.keeper.post("/flocks/new/", {"name": "Own", "time_zone": said, "units": "metric"})
    assert Flock.objects.get(name="Own").time_zone == zone


@pytest.mark.parametrize(
    ("said", "why"),
    [
        ("Thistle Hill", "“Thistle Hill” is not known. Give the nearest large town"),
        ("Eastern", "“Eastern” may be Canada/Eastern or US/Eastern. Choose one."),
    ],
)
def test_a_time_zone_that_is_none_is_refused_and_stays_as_it_was_typed(cast, said, why):
    told = {"name": "Own", "time_zone": said, "units": "metric"}
    answer = cast.clients.keeper.post("/flocks/new/", told)
    assert not Flock.objects.filter(name="Own").exists()
    assert f'name="time_zone" value="{said}"' in answer.text
    assert why in answer.text


def test_the_settings_show_the_zone_and_offer_the_others(cast):
    page = cast.clients.owner.get(f"/f/{cast.flock.pk}/settings/").text
    assert f'name="time_zone" value="{cast.flock.time_zone}"' in page
    assert '<option value="Pacific/Auckland"></option>' in page
    # A new flock has one too, until the browser has filled in its own.
    assert 'name="time_zone" value="UTC"' in cast.clients.owner.get("/flocks/new/").text


def test_stranger_cannot_open(cast):
    assert cast.clients.stranger.get(f"/f/{cast.flock.pk}/open/").status_code == 404


def test_list_queries(cast):
    same_queries(cast.clients.owner, "/flocks/", grow=lambda: flocks_of(cast.owner, 20))
