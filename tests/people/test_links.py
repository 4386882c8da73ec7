"""Invitations and password links: used twice, run out, withdrawn, two at once, kept secret."""

import logging
import re
from datetime import timedelta

import pytest
import segno
import zxingcpp
from django.core.exceptions import ValidationError
from django.test import Client
from django.utils import timezone
from PIL import Image

from flockcare.people import services
from flockcare.people.logs import HideTokens
from flockcare.people.models import Invitation, Keeper, Membership, PasswordLink, Role
from tests.conftest import PASSWORD, client_of

NEW = {
    "name": "Una",
    "sign_in_name": "Una",
    "password": "barley after rain",
    "password_again": "barley after rain",
}
JOINING = {key: NEW[key] for key in ("name", "sign_in_name", "password")}


@pytest.fixture
def token(cast):
    return services.invite(flock=cast.flock, role=Role.VIEWER, by=cast.owner)[1]


@pytest.fixture
def password_token(cast):
    return services.make_password_link(keeper=cast.keeper, by=cast.owner)


def run_out(model):
    model.objects.update(expires_at=timezone.now() - timedelta(seconds=1))


def shown_link(response) -> str:
    return re.search(r'readonly value="http://testserver([^"]+)"', response.text)[1]


# Handing out


def test_invitation_is_shown_once_as_link_and_code(cast):
    page = cast.clients.owner.post(f"/f/{cast.flock.pk}/people/", {"role": "viewer"})
    path = shown_link(page)
    assert '<svg viewBox="' in page.text and "style=" not in page.text
    assert "no-store" in page.headers["Cache-Control"]
    token = path.split("/")[2]
    assert Client().get(path).status_code == 200
    assert token not in cast.clients.owner.get(f"/f/{cast.flock.pk}/people/").text
    assert Invitation.objects.get().token_hash != token


def test_code_holds_the_link(cast, tmp_path):
    """Read back by a reader of ISO/IEC 18004 codes that is not the library which drew it."""
    page = cast.clients.owner.post(f"/f/{cast.flock.pk}/people/", {"role": "viewer"})
    link = "http://testserver" + shown_link(page)
    drawn = re.search(r'class="qrline" stroke="#000" d="([^"]+)"', page.text)[1]
    code = segno.make(link, micro=False, error="m")
    assert f'd="{drawn}"' in code.svg_inline(border=4)
    code.save(tmp_path / "code.png", scale=6, border=4)
    assert zxingcpp.read_barcodes(Image.open(tmp_path / "code.png"))[0].text == link


@pytest.mark.parametrize(
    ("hosts", "proxy", "words"),
    [
        (["localhost"], False, "manage.py up --lan"),
        (["localhost", "192.0.2.7"], False, 'href="http://192.0.2.7:8273/"'),
        ([".hens.test", "localhost", "hens.test"], True, 'href="https://hens.test/"'),
    ],
)
def test_page_names_the_address_that_phones_use_where_it_is_known(
    cast, settings, hosts, proxy, words
):
    settings.ALLOWED_HOSTS, settings.BEHIND_PROXY = hosts, proxy
    page = cast.clients.owner.post(
        f"/f/{cast.flock.pk}/people/",
        {"role": "viewer"},
        headers={"host": "localhost:8273"},
        SERVER_PORT="8273",
    )
    assert words in page.text


def test_page_warns_when_the_link_works_on_this_computer_only(cast):
    def page(host):
        return cast.clients.owner.post(
            f"/f/{cast.flock.pk}/people/", {"role": "viewer"}, headers={"host": host}
        ).text

    assert "works on this computer only" in page("127.0.0.1:8000")
    assert "works on this computer only" in page("[::1]:8000")
    assert "works on this computer only" not in page("testserver")


def test_password_link_is_shown_and_replaces_the_one_before(cast, password_token):
    member = Membership.objects.get(flock=cast.flock, keeper=cast.keeper)
    page = cast.clients.owner.post(f"/f/{cast.flock.pk}/people/{member.pk}/new-password/")
    assert Client().get(shown_link(page)).status_code == 200
    assert Client().get(f"/new-password/{password_token}/").status_code == 410


# Joining


def test_looking_does_not_use_an_invitation_up(cast, token, client):
    for _ in range(3):
        assert client.get(f"/join/{token}/").status_code == 200
    assert client.head(f"/join/{token}/").status_code == 200
    assert Invitation.objects.get().uses_left == 1


def test_stranger_becomes_a_keeper_and_joins(cast, token, client):
    response = client.post(f"/join/{token}/", NEW)
    assert response.headers["Location"] == f"/f/{cast.flock.pk}/today/"
    una = Keeper.objects.get(sign_in_name="una")
    assert Membership.objects.get(keeper=una).role == Role.VIEWER
    assert client.get(f"/f/{cast.flock.pk}/people/").status_code == 200


def test_signed_in_keeper_joins_with_one_tap(cast, token):
    client = cast.clients.stranger
    assert "Join as Stranger" in client.get(f"/join/{token}/").text
    client.post(f"/join/{token}/")
    assert client.get(f"/f/{cast.flock.pk}/people/").status_code == 200
    assert client.get("/").headers["Location"] == f"/f/{cast.flock.pk}/today/"


def test_member_keeps_place_and_invitation(cast, token):
    assert "are in this flock already" in cast.clients.owner.get(f"/join/{token}/").text
    cast.clients.owner.post(f"/join/{token}/")
    assert Membership.objects.get(flock=cast.flock, keeper=cast.owner).role == Role.OWNER
    assert Invitation.objects.get().uses_left == 1


def test_sign_in_leads_back_to_the_invitation(cast, token, client):
    assert f"/sign-in/?next=/join/{token}/" in client.get(f"/join/{token}/").text


def test_mistake_in_the_form_keeps_the_rest_and_the_invitation(cast, token, client):
    page = client.post(f"/join/{token}/", {**NEW, "sign_in_name": "owner"})
    assert "Somebody here already uses this sign-in name." in page.text
    assert 'value="Una"' in page.text
    assert Invitation.objects.get().uses_left == 1
    assert client.post(f"/join/{token}/", NEW).status_code == 302


def assert_gone(response):
    assert response.status_code == 410
    assert "no longer works" in response.text


def test_used_twice(cast, token, client):
    client.post(f"/join/{token}/", NEW)
    assert_gone(Client().get(f"/join/{token}/"))
    assert_gone(Client().post(f"/join/{token}/", {**NEW, "sign_in_name": "eve"}))
    assert_gone(cast.clients.stranger.post(f"/join/{token}/"))
    assert not Keeper.objects.filter(sign_in_name="eve").exists()


def test_run_out(cast, token, client):
    run_out(Invitation)
    assert_gone(client.post(f"/join/{token}/", NEW))


def test_withdrawn(cast, token, client):
    invitation = Invitation.objects.get()
    cast.clients.owner.post(f"/f/{cast.flock.pk}/people/invitations/{invitation.pk}/withdraw/")
    assert_gone(client.post(f"/join/{token}/", NEW))


def test_never_made(cast, client):
    assert_gone(client.get("/join/nothing-of-ours/"))


def test_invitation_of_another_flock_cannot_be_withdrawn(cast):
    invitation, _ = services.invite(flock=cast.elsewhere, role=Role.VIEWER, by=cast.stranger)
    url = f"/f/{cast.flock.pk}/people/invitations/{invitation.pk}/withdraw/"
    assert cast.clients.owner.post(url).status_code == 404
    assert Invitation.objects.exists()


def test_two_at_once_and_the_second_is_told(cast, token, client, monkeypatch):
    """Both have seen that the invitation is good; one takes it before the other's button."""
    real = services.join_as_new_keeper

    def overtaken(**kwargs):
        services.accept_invitation(token=token, keeper=cast.stranger)
        return real(**kwargs)

    monkeypatch.setattr(services, "join_as_new_keeper", overtaken)
    assert_gone(client.post(f"/join/{token}/", NEW))
    assert not Keeper.objects.filter(sign_in_name="una").exists()
    assert Membership.objects.filter(flock=cast.flock, keeper=cast.stranger).exists()


def test_slower_of_two_finds_nothing_left_to_spend(cast, token, monkeypatch):
    """Overtaken between reading the invitation and spending it, inside the service."""
    real = Invitation.objects.use

    def use(spent, *, now):
        assert real(spent, now=now)
        return real(spent, now=now)

    monkeypatch.setattr(Invitation.objects, "use", use)
    with pytest.raises(ValidationError, match="just been used"):
        services.join_as_new_keeper(token=token, **JOINING)
    assert not Keeper.objects.filter(sign_in_name="una").exists()


# A new password

PASSWORDS = {"password": "oats before dawn", "password_again": "oats before dawn"}


def test_new_password_signs_in_here_and_out_everywhere_else(cast, password_token, client):
    old_phone = client_of(cast.keeper)
    assert client.get(f"/new-password/{password_token}/").status_code == 200
    assert old_phone.get("/flocks/").status_code == 200
    client.post(f"/new-password/{password_token}/", PASSWORDS)
    assert client.get("/flocks/").status_code == 200
    assert old_phone.get("/flocks/").status_code == 302
    cast.keeper.refresh_from_db()
    assert cast.keeper.check_password("oats before dawn")


def test_password_link_works_once(cast, password_token, client):
    client.post(f"/new-password/{password_token}/", PASSWORDS)
    assert_gone(Client().get(f"/new-password/{password_token}/"))
    assert_gone(Client().post(f"/new-password/{password_token}/", PASSWORDS))


def test_password_link_runs_out(cast, password_token, client):
    run_out(PasswordLink)
    assert_gone(client.post(f"/new-password/{password_token}/", PASSWORDS))
    cast.keeper.refresh_from_db()
    assert cast.keeper.check_password(PASSWORD)


def test_two_set_a_password_at_once(cast, password_token, client, monkeypatch):
    real = services.set_password_by_link

    def overtaken(**kwargs):
        real(token=password_token, password="quicker than you 1")
        return real(**kwargs)

    monkeypatch.setattr(services, "set_password_by_link", overtaken)
    assert_gone(client.post(f"/new-password/{password_token}/", PASSWORDS))
    cast.keeper.refresh_from_db()
    assert cast.keeper.check_password("quicker than you 1")


def test_weak_password_keeps_the_link(cast, password_token, client):
    page = client.post(
        f"/new-password/{password_token}/", {"password": "short", "password_again": "short"}
    )
    assert "too short" in page.text
    assert PasswordLink.objects.get().uses_left == 1


# Secrecy


@pytest.mark.parametrize("path", ["/join/{}/", "/new-password/{}/"])
def test_address_never_travels_on(cast, client, path):
    for page in (client.get(path.format("gone")), client.post(path.format("gone"))):
        assert page.headers["Referrer-Policy"] == "strict-origin"
        assert "no-store" in page.headers["Cache-Control"]


def test_refused_request_keeps_the_token_out_of_the_log(cast, token, caplog):
    strict = Client(enforce_csrf_checks=True)
    with caplog.at_level(logging.WARNING):
        Client().get("/join/spent-token/")
        strict.post(f"/join/{token}/", NEW)
    assert "Gone: /join/…/" in caplog.text
    assert "/join/…/" in caplog.records[-1].getMessage()
    assert token not in caplog.text and "spent-token" not in caplog.text


def test_log_of_the_development_server():
    record = logging.LogRecord(
        "django.server",
        logging.INFO,
        "",
        0,
        '"%s" %s %s',
        ("GET /join/a-b_c/ HTTP/1.1", 200, 5),
        None,
    )
    HideTokens().filter(record)
    assert record.getMessage() == '"GET /join/…/ HTTP/1.1" 200 5'
