import pytest
from django.test import Client

from flockcare.people import services
from flockcare.people.models import Keeper
from tests.conftest import PASSWORD, client_of

CHANGE = {
    "old_password": PASSWORD,
    "password": "oats before dawn",
    "password_again": "oats before dawn",
}


@pytest.mark.parametrize("url", ["/account/", "/account/password/", "/flocks/", "/flocks/new/"])
def test_anonymous_is_sent_to_sign_in(db, url):
    Keeper.objects.create(name="A", sign_in_name="a")
    assert Client().get(url).headers["Location"] == f"/sign-in/?next={url}"
    assert Client().post(url).headers["Location"] == f"/sign-in/?next={url}"


def test_name(cast):
    cast.clients.keeper.post("/account/", {"name": "Keeper of hens"})
    cast.keeper.refresh_from_db()
    assert cast.keeper.name == "Keeper of hens"


def test_empty_name_is_refused(cast):
    assert "Fill this in." in cast.clients.keeper.post("/account/", {"name": " "}).text
    cast.keeper.refresh_from_db()
    assert cast.keeper.name == "Keeper"


def test_new_password_keeps_this_session_and_ends_the_others(cast):
    here, there = cast.clients.keeper, client_of(cast.keeper)
    assert here.post("/account/password/", CHANGE).headers["Location"] == "/account/"
    assert here.get("/account/").status_code == 200
    assert there.get("/account/").status_code == 302
    cast.keeper.refresh_from_db()
    assert cast.keeper.check_password("oats before dawn")


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"old_password": "not this one"}, "That is not your password."),
        ({"password_again": "oats after dawn"}, "The two passwords differ."),
        ({"password": "short", "password_again": "short"}, "too short"),
    ],
)
def test_refused_password(cast, wrong, words):
    assert words in cast.clients.keeper.post("/account/password/", {**CHANGE, **wrong}).text
    cast.keeper.refresh_from_db()
    assert cast.keeper.check_password(PASSWORD)


def test_sign_out_on_all_phones(cast):
    here, there = cast.clients.keeper, client_of(cast.keeper)
    assert here.get("/account/sign-out-everywhere/").status_code == 405
    here.post("/account/sign-out-everywhere/")
    assert here.get("/account/").status_code == 302
    assert there.get("/account/").status_code == 302
    assert cast.clients.owner.get("/account/").status_code == 200


def test_a_new_secret_key_signs_nobody_out_who_is_not_to_be(cast, settings):
    """Sessions are held against the keys of before, too (Django's SECRET_KEY_FALLBACKS)."""
    there, elsewhere = client_of(cast.keeper), client_of(cast.viewer)
    services.end_sessions(keeper=cast.viewer)
    settings.SECRET_KEY, settings.SECRET_KEY_FALLBACKS = "another", [settings.SECRET_KEY]
    assert there.get("/account/").status_code == 200
    assert elsewhere.get("/account/").status_code == 302
    settings.SECRET_KEY_FALLBACKS = []
    assert there.get("/account/").status_code == 200  # Renewed with the new key.
