"""A log that machines read says what happened, and never to whom or with which words."""

import io
import json
import logging

import pytest
from django.http import Http404
from django.test import Client

from flockcare.core.logs import JsonLines
from flockcare.people import views

pytestmark = pytest.mark.django_db
# Whatever a keeper can write or a request can carry; none of it may be found in any line.
PRIVATE = [
    "Dill",
    "Owner",
    "owner",
    "straw and oats 7",
    "203.0.113.9",
    "tok3n-of-a-link",
    "limping",
]


@pytest.fixture
def lines(settings):
    """The lines written so far, read back; requests are logged as FLOCKCARE_LOG=json does."""
    stream = io.StringIO()
    handler = logging.StreamHandler(stream)
    handler.setFormatter(JsonLines())
    root, requests = logging.getLogger(), logging.getLogger("flockcare.requests")
    before = requests.level
    root.addHandler(handler)
    requests.setLevel(logging.INFO)
    settings.MIDDLEWARE = ["flockcare.core.logs.log_requests", *settings.MIDDLEWARE]

    def read() -> list[dict]:
        text = stream.getvalue()
        assert [word for word in PRIVATE if word in text] == []
        return [json.loads(line) for line in text.splitlines()]

    yield read
    root.removeHandler(handler)
    requests.setLevel(before)


def statuses(lines) -> list[int]:
    return [line["status"] for line in lines if line["logger"] == "flockcare.requests"]


def from_outside(**more) -> Client:
    return Client(REMOTE_ADDR="203.0.113.9", raise_request_exception=False, **more)


def test_a_request_is_one_line_with_the_pattern_of_its_address(cast, birds, lines):
    client = cast.clients.owner
    client.get(f"/f/{cast.flock.pk}/birds/?q=Dill")
    line = lines()[-1]
    assert (line["method"], line["status"]) == ("GET", 200)
    assert line["route"] == "f/<uuid:flock_id>/birds/"
    assert line["ms"] > 0
    assert line["logger"] == "flockcare.requests"
    assert str(cast.flock.pk) not in json.dumps(line)


@pytest.mark.parametrize(
    "ask",
    [
        lambda c: c.get("/join/tok3n-of-a-link/"),
        lambda c: c.get("/calendar/tok3n-of-a-link.ics"),
        lambda c: c.get("/new-password/tok3n-of-a-link/"),
        lambda c: c.get("/vet/tok3n-of-a-link/"),
        lambda c: c.get("/tok3n-of-a-link/Dill/"),
        lambda c: c.get("/Dill.css", SERVER_NAME="tok3n-of-a-link.example"),
        lambda c: c.post(
            "/sign-in/?next=/Dill/", {"sign_in_name": "owner", "password": "limping limping"}
        ),
        lambda c: c.generic("DILL-Dill", "/sign-in/?Dill"),
    ],
)
def test_nothing_of_what_is_sent_is_written(cast, lines, ask):
    answer = ask(from_outside(headers={"User-Agent": "Dill", "Referer": "/tok3n-of-a-link/"}))
    assert statuses(lines()) == [answer.status_code]


def test_a_form_from_elsewhere_is_refused_without_its_words(cast, lines):
    client = from_outside(enforce_csrf_checks=True)
    client.force_login(cast.owner)
    answer = client.post(
        f"/f/{cast.flock.pk}/settings/?Dill", {"name": "Dill"}, HTTP_ORIGIN="https://dill.example"
    )
    assert answer.status_code == 403
    assert statuses(lines()) == [403]


def test_what_breaks_is_told_by_type_and_place_without_its_words(cast, lines, monkeypatch):
    def broken(*args, **kwargs):
        raise ValueError("Key (name)=(Dill) already exists.")

    monkeypatch.setattr(views.attempts, "wait", broken)
    client = from_outside()
    answer = client.post("/sign-in/", {"sign_in_name": "owner", "password": "straw and oats 7"})
    assert answer.status_code == 500
    told = next(line for line in lines() if "error" in line)
    assert told["error"] == "builtins.ValueError"
    assert told["message"] == "Internal Server Error"
    assert any(place.startswith("flockcare/people/views.py:") for place in told["at"])
    assert statuses(lines()) == [500]


def test_other_messages_stand_without_what_is_filled_in(lines):
    logger = logging.getLogger("flockcare.somewhere")
    logger.error("%s could not be read", "Dill")
    logger.error(Http404("Dill"))
    assert [line["message"] for line in lines()] == [
        "%s could not be read",
        "django.http.response.Http404",
    ]
