"""No request may end in an error of ours, whatever it holds: every address takes spoilt forms,
bodies that are no forms, query strings and arguments that mean nothing.

Django's own answer to what is not well formed is 400; ours to what makes no sense is the form
again, with words, or 404.
"""

import io
import random
import uuid
import warnings

import pytest
from django.core.files.base import File
from django.core.files.storage import default_storage
from django.db import transaction
from django.urls import reverse

from flockcare.photos.intake import SIZES
from flockcare.photos.models import Photo
from tests.core.test_access import ADDRESSES, IN_A_FLOCK, OPEN_TO_ALL, SIGNED_IN, address, records
from tests.exchange.folders import picture
from tests.security.hostile import Fields, body, form, names_in_code, picture_file, urlencoded

A_PICTURE = picture()
pytestmark = pytest.mark.django_db

POSTS, GETS = 6, 2
# Arguments that are no keys of records, and what is put into the address in their place.
TEXTS = dict.fromkeys(("on", "foot"), "stand-in")
NUMBERS = dict.fromkeys(("size", "revision_id"), 424242)
ODD = set(TEXTS) | set(NUMBERS)
ELSEWHERE = names_in_code("POST")
QUERIES = names_in_code("GET")
UPLOADS = names_in_code("FILES") or ["photos"]


def test_the_names_of_fields_are_found():
    assert len(ELSEWHERE) > 10 and len(QUERIES) > 5 and UPLOADS


@pytest.fixture
def ask(cast):
    """Send a request of the owner's and undo what it did; its status must not be an error."""
    client = cast.clients.owner
    cookies = client.cookies.copy()

    def asked(method: str, url: str, **request):
        client.cookies = cookies.copy()
        with transaction.atomic(), warnings.catch_warnings():
            warnings.simplefilter("ignore")
            try:
                answer = client.generic(method, url, **request)
                if answer.streaming:
                    b"".join(answer.streaming_content)
            except Exception as error:
                shown = {key: str(value)[:1500] for key, value in request.items()}
                raise AssertionError(f"{method} {url[:1500]} {shown}") from error
            finally:
                transaction.set_rollback(True)
        assert answer.status_code < 500, (method, url, request)
        return answer

    return asked


def spoil(ask, name: str, url: str) -> None:
    chance = random.Random(name)
    page = ask("GET", url)
    fields = Fields(page.text).found if "html" in page.headers.get("Content-Type", "") else []
    files = [field for field, _ in fields if "photo" in field or "file" in field] or UPLOADS
    for _ in range(POSTS):
        pairs = form(fields, ELSEWHERE, chance)
        sent = [
            (chance.choice(files), picture_file(chance))
            for _ in range(chance.choice((0, 0, 0, 1, 3)))
        ]
        content_type, data = body(pairs, sent, chance)
        headers = {"HX-Request": "true"} if chance.random() < 0.3 else {}
        ask("POST", url, data=data, content_type=content_type, headers=headers)
    for _ in range(GETS):
        pairs = form([(query, "") for query in QUERIES], [], chance)
        ask("GET", url, query_string=urlencoded(pairs).decode() + chance.choice(("", "&%FF=%C0")))


@pytest.mark.parametrize("name", IN_A_FLOCK)
def test_pages_of_a_flock_stand_any_request(cast, ask, name):
    found = records(cast.flock, cast.owner)
    photo = Photo.objects.get(pk=found["photo_id"])
    for path in (photo.path(), *map(photo.path, SIZES)):
        default_storage.save(path, File(io.BytesIO(A_PICTURE)))
    spoil(ask, name, address(name, cast.flock, found))


@pytest.mark.parametrize("name", [name for name in IN_A_FLOCK if ODD & set(ADDRESSES[name])])
def test_arguments_that_mean_nothing_are_not_found(cast, ask, name):
    found = records(cast.flock, cast.owner) | TEXTS | NUMBERS
    url = address(name, cast.flock, found)
    for odd in ("x", "left ", "9" * 30, "0", "é", "%00", "a" * 3000, "2026-02-30", "..%2f"):
        for method in ("GET", "POST"):
            ask(method, url.replace("stand-in", odd).replace("424242", odd))


@pytest.mark.parametrize("name", sorted(SIGNED_IN))
def test_pages_of_ones_own_stand_any_request(cast, ask, name):
    spoil(ask, name, reverse(name, args=[uuid.uuid4()] * len(ADDRESSES[name])))


@pytest.mark.parametrize("name", sorted(OPEN_TO_ALL))
def test_open_pages_stand_any_request(cast, ask, name):
    for token in ("x", "é", "a" * 5000):
        given = {"photo_id": uuid.uuid4(), "size": 240, "name": "check"}
        arguments = {key: given.get(key, token) for key in ADDRESSES[name]}
        spoil(ask, name, reverse(name, kwargs=arguments))


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\xff\xfe",
        b"[" * 100_000,
        b"{}",
        b"[]",
        b"null",
        b'{"kind": []}',
        b"1" * 5000,
        b'"\\ud800"',
    ],
    ids=lambda data: str(data[:12]),
)
def test_what_is_no_outbox_gets_400(cast, ask, data):
    found = records(cast.flock, cast.owner)
    names = [name for name in IN_A_FLOCK if name.startswith("offline:")]
    assert names
    for name in names:
        url = address(name, cast.flock, found)
        ask("POST", url, data=data, content_type="application/json")


def test_headers_that_mean_nothing(cast, ask):
    today = reverse("today", args=[cast.flock.pk])
    for value in (
        "",
        "x" * 9000,
        "é\udcff".encode("utf-8", "surrogateescape").decode("latin-1"),
        ";;=,,",
        "0x",
        "-1",
    ):
        for header in (
            "if-none-match",
            "if-modified-since",
            "range",
            "accept-language",
            "accept",
            "hx-request",
            "hx-current-url",
            "hx-target",
            "hx-trigger",
            "x-forwarded-for",
            "x-forwarded-proto",
            "x-forwarded-host",
            "referer",
            "origin",
            "cookie",
        ):
            ask("GET", today, headers={header: value})
