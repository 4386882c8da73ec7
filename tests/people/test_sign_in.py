import io

import pytest
from django.core.management import call_command
from django.test import Client

from flockcare.people import attempts
from flockcare.people.models import Keeper
from tests.conftest import PASSWORD


def sign_in(client, name="owner", password=PASSWORD, **more):
    return client.post("/sign-in/", {"sign_in_name": name, "password": password, **more})


def test_right_password_opens_today(cast, client):
    assert sign_in(client).headers["Location"] == "/"
    assert client.get("/").headers["Location"] == f"/f/{cast.flock.pk}/today/"


def test_capitals_and_spaces_of_a_phone_keyboard_do_not_matter(cast, client):
    assert sign_in(client, name="Owner ").status_code == 302


def test_wrong_password_keeps_the_name_and_says_what_to_do(cast, client):
    response = sign_in(client, password="another one 12")
    assert response.status_code == 200
    assert 'value="owner"' in response.text
    assert "Wrong sign-in name or password" in response.text
    assert "another one 12" not in response.text


def test_unknown_name_reads_the_same_as_a_wrong_password(cast, client):
    assert "Wrong sign-in name or password" in sign_in(client, name="nobody").text


def test_right_password_forgets_the_wrong_ones(cast, client):
    for _ in range(3):
        for _ in range(attempts.FREE - 1):
            sign_in(client, password="another one 12")
        assert sign_in(client).status_code == 302
        client.logout()


def test_next_goes_on_inside_and_never_outside(cast):
    inside = f"/f/{cast.flock.pk}/birds/"
    assert sign_in(Client(), next=inside).headers["Location"] == inside
    for outside in ("https://example.com/", "//example.com/x", "javascript:alert(1)"):
        assert sign_in(Client(), next=outside).headers["Location"] == "/"
        page = cast.clients.owner.get("/sign-in/", {"next": outside})
        assert page.headers["Location"] == "/"


def test_page_behind_sign_in_leads_back_to_itself(cast, client):
    page = f"/f/{cast.flock.pk}/birds/"
    asked = client.get(page)
    assert asked.headers["Location"] == f"/sign-in/?next={page}"
    assert f'name="next" value="{page}"' in client.get(asked.headers["Location"]).text


def test_sign_out_needs_a_post(cast):
    client = cast.clients.owner
    assert client.get("/sign-out/").status_code == 405
    assert client.get("/flocks/").status_code == 200
    assert client.post("/sign-out/").headers["Location"] == "/sign-in/"
    assert client.get("/flocks/").status_code == 302


def test_only_the_demo_names_its_keepers(cast, client, settings):
    assert "ines" not in client.get("/sign-in/").text
    settings.DEMO, settings.DEMO_PASSWORD = True, "barley barley barley"
    page = client.get("/sign-in/").text
    assert all(word in page for word in ("ros", "ted", "ines", "barley barley barley"))


def test_deactivated_keeper_stays_out(cast, client):
    Keeper.objects.filter(pk=cast.keeper.pk).update(is_active=False)
    assert "Wrong sign-in name or password" in sign_in(client, name="keeper").text


@pytest.mark.django_db
def test_home_of_an_empty_installation_is_set_up(client):
    assert client.get("/").headers["Location"] == "/set-up/"


def test_the_only_owner_who_forgot_the_password_is_told_a_command_that_works(
    cast, client, monkeypatch
):
    page = client.get("/sign-in/").text
    assert "Forgot your password?" in page and "manage.py changepassword" in page
    monkeypatch.setattr("getpass.getpass", lambda prompt: "a brand new one 12")
    call_command("changepassword", "owner", stdout=io.StringIO())
    assert sign_in(Client(), password=PASSWORD).status_code == 200
    assert sign_in(Client(), password="a brand new one 12").status_code == 302
    # Whoever was signed in with the old one is so no longer.
    assert cast.clients.owner.get(f"/f/{cast.flock.pk}/today/").status_code == 302
