"""Reminders: chosen by each keeper, sent once a day, and nothing in them for a stranger's eyes."""

import re
import socket
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import http_ece
import pytest
from django.core import mail
from django.urls import reverse
from django.utils import timezone

from flockcare.care.reminded import count_due
from flockcare.people.models import Membership
from flockcare.reminders import push, sending
from flockcare.reminders.models import Phone, Reminders, Sent
from tests.care.steps import day, look, step, today
from tests.reminders.push_service import serving

LONDON = ZoneInfo("Europe/London")
pytestmark = pytest.mark.django_db


def url(cast, name="page"):
    return reverse(f"reminders:{name}", args=[cast.flock.pk])


def at(hour, minute=20, days=0):
    return datetime.combine(day(days), datetime.min.time(), LONDON).replace(
        hour=hour, minute=minute
    )


@pytest.fixture
def due(cast, birds):
    """Two things are due today: a soak of Dill's and a medicine of Mace's."""
    for bird in birds.values():
        look(cast, bird, left={"score": 0}, right={"score": 0})
    step(cast, birds["Dill"], "soaked", days_ago=1, next_due=today())
    step(cast, birds["Mace"], "medicine", days_ago=1, next_due=today(), product="Salve")
    return birds


@pytest.fixture
def service(settings, tmp_path, monkeypatch):
    settings.DATA_DIR = tmp_path
    # The tests' service is on this machine; what is refused otherwise is tested below.
    monkeypatch.setattr(push, "is_public", lambda endpoint: True)
    with serving() as one:
        one.key = push.public_key()
        yield one


def chosen(cast, keeper=None, **more) -> Reminders:
    keeper = keeper or cast.keeper
    return Reminders.objects.create(
        flock=cast.flock, keeper=keeper, site="https://hens.example", **more
    )


def subscribe(cast, service, name="one", client=None):
    held = service.subscription(name)
    (client or cast.clients.keeper).post(url(cast, "phone"), held.said(), secure=True)
    return held


# --- Choosing


def test_nothing_comes_until_it_is_chosen(cast, due):
    page = cast.clients.keeper.get(url(cast)).content.decode()
    for way in ("by_calendar", "by_push", "by_mail"):
        assert not re.search(rf'name="{way}"[^>]*checked', page)
    assert not Reminders.objects.exists() and sending.send_reminders(now=at(18)) == 0


def test_a_keeper_saves_what_and_when_and_the_calendar_follows(cast, due):
    said = {"care": "on", "hour": "7", "by_calendar": "on"}
    assert cast.clients.viewer.post(url(cast), said).status_code == 302
    saved = Reminders.objects.get()
    assert (saved.keeper, saved.hour, saved.care, saved.checks) == (cast.viewer, 7, True, False)
    file = reverse("reminders:calendar_file", args=[cast.flock.pk])
    assert b"TRIGGER:PT7H" in cast.clients.viewer.get(file).content
    assert b"VALARM" not in cast.clients.keeper.get(file).content
    cast.clients.viewer.post(url(cast), {"hour": "7"})
    assert not Reminders.objects.get().by_calendar


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"hour": "3"}, "“3” isn’t one of the choices."),
        ({"hour": "7", "by_mail": "on"}, "Enter an e-mail address."),
        (
            {"hour": "7", "by_mail": "on", "address": "home"},
            "Enter an address like name@example.org.",
        ),
    ],
)
def test_what_cannot_be_is_said_at_its_field(cast, settings, said, words):
    settings.MAIL = True
    answer = cast.clients.keeper.post(url(cast), said)
    assert answer.status_code == 422 and words in answer.content.decode()
    assert not Reminders.objects.exists()


def test_a_way_that_is_not_open_here_is_not_offered(cast, settings, service):
    settings.MAIL = False
    plain = cast.clients.keeper.get(url(cast)).content.decode()
    assert "data-push" not in plain and "need HTTPS" in plain and "by_mail" not in plain
    secure = cast.clients.keeper.get(url(cast), secure=True).content.decode()
    assert f'data-push="{service.key}"' in secure


# --- Push


def test_a_phone_gets_what_only_it_can_read_and_nothing_private(cast, due, service):
    held = subscribe(cast, service)
    assert held.read(service.came[0][2])["body"] == "Reminders come to this phone."
    assert sending.send_reminders(now=at(18)) == 1
    _, headers, body = service.came[1]
    assert held.read(body) == {
        "body": "2 things are due today in the coop.",
        "url": f"/f/{cast.flock.pk}/today/",
        "tag": cast.flock.pk.hex,
    }
    assert headers["topic"] == cast.flock.pk.hex and not service.refused
    assert b"due" not in body and b"coop" not in body
    with pytest.raises(http_ece.ECEException):
        service.subscription().read(body)


def test_once_a_day_whatever_restarts(cast, due, service):
    subscribe(cast, service)
    del service.came[:]
    for hour in (16, 17):
        assert sending.send_reminders(now=at(hour)) == 0
    for hour in (18, 18, 19, 20):
        sending.send_reminders(now=at(hour))
    assert len(service.came) == 1
    assert sending.send_reminders(now=at(18, days=1)) == 1
    assert sending.send_reminders(now=at(21, days=2)) == 0, "too late in the evening"


def test_of_two_processes_one_sends(cast, due, service, monkeypatch):
    subscribe(cast, service)
    del service.came[:]
    inside = []
    true_send = push.send

    def send(phone, **more):
        if not inside:
            inside.append(1)
            inside.append(sending.send_reminders(now=at(18, 21)))
        return true_send(phone, **more)

    monkeypatch.setattr(push, "send", send)
    assert sending.send_reminders(now=at(18)) == 1
    assert inside == [1, 0] and len(service.came) == 1


@pytest.mark.parametrize("status", [404, 410])
def test_a_phone_that_has_gone_is_forgotten(cast, due, service, status):
    subscribe(cast, service)
    service.status = status
    assert sending.send_reminders(now=at(18)) == 0
    assert not Phone.objects.exists()


@pytest.mark.parametrize("status", [429, 500, 307])
def test_a_service_that_is_busy_is_asked_again_for_a_while(cast, due, service, status):
    subscribe(cast, service)
    subscribe(cast, service, "two")
    del service.came[:]
    service.status = status
    assert sending.send_reminders(now=at(18)) == 0
    # Asked at its own address alone: nobody is followed into the network at home.
    assert [path for path, *_ in service.came] == ["/one", "/two"]
    service.status = 201
    assert sending.send_reminders(now=at(19)) == 2
    assert Phone.objects.count() == 2
    Sent.objects.all().delete()
    service.status = status
    for hour in (18, 19, 20, 21, 22):
        sending.send_reminders(now=at(hour))
    assert set(Sent.objects.values_list("tries", "sent_at")) == {(3, None)}


def test_a_phone_is_kept_only_if_the_first_notice_went_out(cast, service):
    service.status = 503
    answer = cast.clients.keeper.post(
        url(cast, "phone"), service.subscription().said(), secure=True, follow=True
    )
    assert "It needs the internet for that" in answer.content.decode().replace("\n", " ")
    assert not Phone.objects.exists() and not Reminders.objects.exists()
    for spoilt in ({"auth": "abc"}, {"p256dh": "BAAA"}, {"endpoint": ""}):
        said = {**service.subscription().said(), **spoilt}
        cast.clients.keeper.post(url(cast, "phone"), said, secure=True)
    assert not service.came[1:] and not Phone.objects.exists()


def test_a_phone_is_whose_it_was_last_and_ends_for_them_alone(cast, service):
    held = subscribe(cast, service)
    cast.clients.owner.post(url(cast, "phone"), held.said(), secure=True)
    assert Phone.objects.get().keeper == cast.owner
    end = {"endpoint": held.endpoint}
    cast.clients.keeper.post(url(cast, "phone_end"), end)
    assert Phone.objects.exists()
    cast.clients.owner.post(url(cast, "phone_end"), end)
    assert not Phone.objects.exists()


@pytest.mark.parametrize(
    ("address", "found", "is_open"),
    [
        ("https://push.example/a", ["192.0.2.1"], False),  # RFC 5737: nobody's
        ("https://push.example/a", ["8.8.8.8"], True),
        ("https://push.example/a", ["8.8.8.8", "10.0.0.7"], False),
        ("https://push.example/a", ["127.0.0.1"], False),
        ("https://push.example/a", ["fe80::1"], False),
        ("http://push.example/a", ["8.8.8.8"], False),
        ("https://push.example:22/a", ["8.8.8.8"], False),
        ("https://me@push.example/a", ["8.8.8.8"], False),
        ("https://[push/a", [], False),
    ],
)
def test_only_the_internet_is_asked(monkeypatch, address, found, is_open):
    def getaddrinfo(*_, **__):
        return [(0, 0, 0, "", (one, 443)) for one in found]

    monkeypatch.setattr(socket, "getaddrinfo", getaddrinfo)
    assert push.is_public(address) is is_open


def test_the_keys_are_made_once_and_are_private(settings, tmp_path):
    settings.DATA_DIR = tmp_path / "data"
    first = push.public_key()
    assert push.public_key() == first
    (path,) = settings.DATA_DIR.iterdir()
    assert path.name == push.KEY_FILE and path.stat().st_mode & 0o777 == 0o600
    push._make_key(path)  # as another process that came at the same moment would
    assert push.public_key() == first and list(settings.DATA_DIR.iterdir()) == [path]


# --- Who is told, and of what


def test_whoever_has_left_is_told_nothing(cast, due, service):
    subscribe(cast, service)
    Membership.objects.filter(keeper=cast.keeper).delete()
    assert sending.send_reminders(now=at(18)) == 0


def test_only_what_was_asked_for_is_counted(cast, due, service):
    subscribe(cast, service)
    for said in ({"care": False}, {"mine_only": True}):
        Reminders.objects.update(**{"care": True, "mine_only": False, **said})
        assert sending.send_reminders(now=at(18)) == 0
    assert not Sent.objects.exists(), "something may come to be due within the hours"
    step(cast, due["Sorrel"], "soaked", days_ago=1, next_due=today(), claimed_by=cast.keeper)
    held = service.subscription()
    Phone.objects.update(**held.said())
    assert sending.send_reminders(now=at(18)) == 1
    assert held.read(service.came[-1][2])["body"] == "1 thing is due today in the coop."


def test_the_last_day_of_a_withdrawal_and_a_check_count(cast, birds, service):
    look(cast, birds["Dill"], left={"score": 0}, right={"score": 0})
    step(cast, birds["Dill"], "medicine", days_ago=3, egg_days=3, meat_days=9, days_from="vet")
    wanted = chosen(cast).wanted
    now = timezone.now()
    # Mace and Sorrel were never checked; Dill's eggs are withheld up to and including today.
    assert count_due(cast.flock, cast.keeper, wanted, now=now) == 3
    assert count_due(cast.flock, cast.keeper, wanted, now=now + timedelta(days=1)) == 2


# --- E-mail


def test_the_same_by_mail(cast, due, settings):
    settings.MAIL = True
    chosen(cast, by_mail=True, address="keeper@hens.example")
    assert sending.send_reminders(now=at(18)) == 1 and sending.send_reminders(now=at(19)) == 0
    (sent,) = mail.outbox
    assert sent.to == ["keeper@hens.example"]
    assert "2 things are due today in the coop" in sent.subject
    assert f"https://hens.example/f/{cast.flock.pk}/today/" in sent.body
    for private in ("Dill", "Mace", "soak", "medicine", "Salve", "Hill Flock"):
        assert private not in sent.subject + sent.body


def test_mail_that_fails_is_tried_three_times_and_logged(cast, due, settings, caplog):
    settings.MAIL = True
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    with socket.socket() as unused:
        unused.bind(("127.0.0.1", 0))  # and nobody listens
        settings.EMAIL_HOST, settings.EMAIL_PORT = unused.getsockname()
        chosen(cast, by_mail=True, address="keeper@hens.example", hour=17)
        for hour in (17, 18, 19, 20):
            assert sending.send_reminders(now=at(hour)) == 0
    assert caplog.text.count("No e-mail to Keeper") == 3 and "hens.example" not in caplog.text


def test_one_keeper_s_fault_keeps_nobody_else_waiting(cast, due, settings, monkeypatch):
    settings.MAIL = True
    chosen(cast, by_mail=True, address="keeper@hens.example")
    chosen(cast, cast.owner, by_mail=True, address="owner@hens.example")
    true_count = sending.count_due

    def count_due(flock, keeper, *args, **more):
        if keeper == cast.keeper:
            raise ValueError("broken")
        return true_count(flock, keeper, *args, **more)

    monkeypatch.setattr(sending, "count_due", count_due)
    assert sending.send_reminders(now=at(18)) == 1
    assert mail.outbox[0].to == ["owner@hens.example"]
