import pytest
from django.test import Client

from flockcare.people.models import Flock, Keeper, Role

pytestmark = pytest.mark.django_db

GOOD = {
    "keeper-name": "Ida",
    "keeper-sign_in_name": "Ida",
    "keeper-password": "barley after rain",
    "keeper-password_again": "barley after rain",
    "flock-name": "Long Meadow",
    "flock-time_zone": "Europe/Dublin",
    "flock-units": "imperial",
}


def test_first_visit_makes_keeper_and_flock_and_signs_in(client):
    flock_page = client.post("/set-up/", GOOD)
    flock = Flock.objects.get()
    assert flock_page.headers["Location"] == f"/f/{flock.pk}/today/"
    assert (flock.name, flock.time_zone, flock.units) == (
        "Long Meadow",
        "Europe/Dublin",
        "imperial",
    )
    membership = flock.membership_set.get()
    assert (membership.keeper.sign_in_name, membership.role) == ("ida", Role.OWNER)
    assert membership.keeper.check_password("barley after rain")
    assert client.get("/flocks/").status_code == 200


def test_whoever_brings_a_flock_in_need_not_start_one(client):
    assert "manage.py restore" in client.get("/set-up/").text
    mine = {name: value for name, value in GOOD.items() if name.startswith("keeper")}
    answer = client.post("/set-up/", {**mine, "bring": "1"}, follow=True)
    assert answer.redirect_chain == [("/flocks/import/", 302)]
    assert not Flock.objects.exists() and Keeper.objects.get().sign_in_name == "ida"
    # Without its name and the rest, but nobody comes in without their own.
    wrong = Client().post("/set-up/", {"bring": "1"}, follow=True)
    assert wrong.redirect_chain == [("/sign-in/", 302)]


def test_a_mistake_about_oneself_is_told_before_a_flock_is_brought_in(client):
    page = client.post("/set-up/", {**GOOD, "keeper-password": "short", "bring": "1"}).text
    assert "too short" in page and not Keeper.objects.exists()


def test_second_visitor_finds_the_door_closed(client):
    client.post("/set-up/", GOOD)
    other = Client()
    assert other.get("/set-up/").headers["Location"] == "/sign-in/"
    assert other.post("/set-up/", {**GOOD, "keeper-sign_in_name": "eve"}).status_code == 302
    assert Keeper.objects.count() == 1


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("keeper-sign_in_name", "ida may", "without spaces"),
        ("keeper-password", "short", "too short"),
        ("keeper-password", "1234567890", "too common"),
        ("keeper-password_again", "barley after sun", "The two passwords differ."),
        ("flock-name", "", "Fill this in."),
        ("flock-time_zone", "Europe/Nowhere", "is not known. Give the nearest large town"),
    ],
)
def test_wrong_field_is_named_and_the_rest_stays(client, field, value, words):
    page = client.post("/set-up/", {**GOOD, field: value}).text
    assert words in page
    assert 'class="field wrong"' in page
    for other in ("keeper-name", "flock-name"):
        if other != field:
            assert f'value="{GOOD[other]}"' in page
    assert not Keeper.objects.exists()


def test_offers_the_places_of_the_time_zone_database(client):
    page = client.get("/set-up/").text
    assert '<option value="America/Argentina/Ushuaia"></option>' in page
    assert "data-guess-zone" in page
