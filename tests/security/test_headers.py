"""What every answer says to the browser, and what of a request is believed."""

import http.client
import json
import os
import re
import socket
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path

import pytest
from django.test import Client
from django.urls import reverse

from flockcare.birds.models import Bird
from flockcare.people import attempts
from tests.conftest import PASSWORD
from tests.core.test_access import IN_A_FLOCK, address, records

# Headers and what stands in pages come from no query.
pytestmark = [pytest.mark.django_db, pytest.mark.apart]
ROOT = Path(__file__).resolve().parents[2]
PAGES = [name for name in IN_A_FLOCK if name not in ("photos:file", "photos:full")]


# --- The content policy


def directives(policy: str) -> dict[str, list[str]]:
    return {part.split()[0]: part.split()[1:] for part in policy.split(";") if part.strip()}


class Inline(HTMLParser):
    """Everything in a page that the policy would refuse to run or to load."""

    def __init__(self, page: str):
        super().__init__()
        self.found, self._raw = [], None
        self.feed(page)

    def handle_starttag(self, tag, attributes):
        for name, value in attributes:
            value = (value or "").strip()
            if name == "style" or name.startswith("on") or value.lower().startswith("javascript:"):
                self.found.append((tag, name, value))
            if name in ("src", "href", "action", "formaction", "srcset", "data") and re.match(
                r"(https?:)?//", value
            ):
                self.found.append((tag, name, value))
        given = dict(attributes)
        data = given.get("type") == "application/json"
        if tag == "style" or (tag == "script" and not given.get("src") and not data):
            self.found.append((tag, "inline", ""))
        if tag in ("iframe", "object", "embed", "base", "applet"):
            self.found.append((tag, "", ""))


def test_the_finder_of_inline_code_finds_it():
    for page in (
        "<p style='x'>", "<a onclick=x>", "<script>x</script>", "<style>x</style>",
        "<a href='JavaScript:x'>", "<img src=//example.org/x>", "<iframe>", "<base href=/>",
    ):  # fmt: skip
        assert Inline(page).found, page
    assert not Inline("<script src='/a.js'></script><p class=x>").found


@pytest.mark.parametrize("name", PAGES)
def test_no_page_needs_what_the_policy_refuses(cast, name):
    """Names and notes that would be code are among the records."""
    found = records(cast.flock, cast.owner)
    evil = '"><script>alert(1)</script><img src=x onerror=alert(1)>{{ 7*7 }}'
    for record in (cast.flock, cast.owner):
        type(record).objects.filter(pk=record.pk).update(name=evil[:60])
    Bird.objects.filter(pk=found["bird_id"]).update(name=evil[:40])
    answer = cast.clients.owner.get(address(name, cast.flock, found))
    policy = directives(answer.headers["Content-Security-Policy"])
    assert policy["default-src"] == ["'none'"]
    for values in policy.values():
        assert not {"'unsafe-inline'", "'unsafe-eval'", "*", "data:", "http:", "https:"} & {*values}
    if "html" in answer.headers["Content-Type"] and not answer.streaming:
        assert not Inline(answer.text).found
        assert "<script>alert(1)" not in answer.text
    assert answer.headers["X-Content-Type-Options"] == "nosniff"


def test_no_page_may_be_framed_or_carry_its_address_elsewhere(cast):
    answer = cast.clients.owner.get(reverse("today", args=[cast.flock.pk]))
    assert answer.headers["X-Frame-Options"] == "DENY"
    assert answer.headers["Referrer-Policy"] == "same-origin"
    assert directives(answer.headers["Content-Security-Policy"])["frame-ancestors"] == ["'none'"]
    assert answer.headers["Cross-Origin-Opener-Policy"] == "same-origin"


# --- Forms of other sites


def test_every_form_needs_its_token(cast):
    """Also with the session cookie: another site cannot send a form in somebody's name."""
    client = Client(enforce_csrf_checks=True)
    client.force_login(cast.owner)
    found = records(cast.flock, cast.owner)
    checked = 0
    for name in IN_A_FLOCK:
        status = client.post(address(name, cast.flock, found)).status_code
        assert status in (403, 405), (name, status)
        checked += status == 403
    assert checked > 40


# --- Sessions


def test_the_cookie_of_a_session_is_out_of_reach(cast):
    client = Client()
    client.post("/sign-in/", {"sign_in_name": "owner", "password": PASSWORD})
    cookie = client.cookies["flockcare_session"]
    assert cookie["httponly"] and cookie["samesite"] == "Lax" and not cookie["domain"]


def test_signing_in_gives_a_new_session(cast):
    """A key that somebody planted beforehand is worth nothing (session fixation)."""
    client = Client()
    client.cookies["flockcare_session"] = "planted" * 5
    client.post("/sign-in/", {"sign_in_name": "owner", "password": PASSWORD})
    assert client.cookies["flockcare_session"].value != "planted" * 5


@pytest.mark.parametrize("how", ["sign out", "everywhere", "password", "removed account"])
def test_a_session_ends(cast, how):
    phone, laptop = Client(), Client()
    for client in (phone, laptop):
        client.post("/sign-in/", {"sign_in_name": "keeper", "password": PASSWORD})
        assert client.get("/account/").status_code == 200
    copied = Client()
    copied.cookies["flockcare_session"] = phone.cookies["flockcare_session"].value
    if how == "sign out":
        phone.post("/sign-out/")
        assert laptop.get("/account/").status_code == 200, "only this phone"
    elif how == "everywhere":
        laptop.post("/account/sign-out-everywhere/")
    elif how == "password":
        new = "rain on the roof 8"
        sent = {"old_password": PASSWORD, "password": new, "password_again": new}
        names = re.findall(r'name="(\w+)"', laptop.get("/account/password/").text)
        given = dict.fromkeys(names, new) | {names[1]: PASSWORD} | sent
        assert laptop.post("/account/password/", given).status_code == 302
        assert laptop.get("/account/").status_code == 200, "not where it was changed"
    else:
        type(cast.keeper).objects.filter(pk=cast.keeper.pk).update(is_active=False)
    assert copied.get("/account/").status_code == 302


# --- Which host, which protocol, which address


@pytest.mark.parametrize(
    "host", ["evil.example", "localhost.evil.example", "localhost:80@evil", ""]
)
def test_another_host_is_refused(settings, host):
    """So that no link with a token can be made to lead elsewhere."""
    settings.ALLOWED_HOSTS = ["localhost"]
    assert Client(headers={"host": host}).get("/sign-in/").status_code == 400


def test_a_forwarded_host_is_not_believed(cast):
    people = reverse("people:people", args=[cast.flock.pk])
    page = cast.clients.owner.post(
        people, {"role": "viewer"}, headers={"x-forwarded-host": "evil.example"}
    )
    assert "http://testserver/join/" in page.text and "evil.example" not in page.text


def settings_with(**environment) -> dict:
    """What the settings say with this environment, read in a process of its own."""
    wanted = ("SECURE_PROXY_SSL_HEADER", "USE_X_FORWARDED_HOST", "SECURE_SSL_REDIRECT")
    wanted += ("SECURE_HSTS_INCLUDE_SUBDOMAINS", "SECURE_HSTS_PRELOAD")
    wanted += ("SESSION_COOKIE_SECURE", "CSRF_COOKIE_SECURE", "SECURE_HSTS_SECONDS", "DEBUG")
    code = (
        "import json, os; os.environ['DJANGO_SETTINGS_MODULE'] = 'flockcare.settings';"
        "from django.conf import settings;"
        f"print(json.dumps({{name: getattr(settings, name, None) for name in {wanted}}}))"
    )
    kept = {key: value for key, value in os.environ.items() if not key.startswith("FLOCKCARE_")}
    result = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, env={**kept, **environment},
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    return json.loads(result.stdout)


def test_what_a_visitor_says_of_the_protocol_is_believed_only_behind_a_proxy(tmp_path):
    plain = settings_with(FLOCKCARE_DATA=str(tmp_path))
    assert plain["SECURE_PROXY_SSL_HEADER"] is None and not plain["USE_X_FORWARDED_HOST"]
    assert not plain["DEBUG"]
    behind = settings_with(FLOCKCARE_DATA=str(tmp_path), FLOCKCARE_PROXY="1", FLOCKCARE_HTTPS="1")
    assert behind["SECURE_PROXY_SSL_HEADER"] == ["HTTP_X_FORWARDED_PROTO", "https"]
    assert not behind["USE_X_FORWARDED_HOST"], "a proxy hands on the host itself"
    assert behind["SESSION_COOKIE_SECURE"] and behind["CSRF_COOKIE_SECURE"]
    assert behind["SECURE_SSL_REDIRECT"] and behind["SECURE_HSTS_SECONDS"] > 0


@pytest.mark.parametrize(
    ("given", "below", "preload"),
    [
        ({}, False, False),
        ({"FLOCKCARE_HSTS": "host"}, False, False),
        ({"FLOCKCARE_HSTS": "subdomains"}, True, False),
        ({"FLOCKCARE_HSTS": "preload"}, True, True),
    ],
)
def test_hsts_binds_other_names_only_where_that_is_asked_for(tmp_path, given, below, preload):
    """RFC 6797, 6.1.2: ``includeSubDomains`` binds every name below."""
    said = settings_with(FLOCKCARE_DATA=str(tmp_path), FLOCKCARE_HTTPS="1", **given)
    assert said["SECURE_HSTS_SECONDS"] == 365 * 24 * 3600
    assert said["SECURE_HSTS_INCLUDE_SUBDOMAINS"] is below
    assert said["SECURE_HSTS_PRELOAD"] is preload
    plain = settings_with(FLOCKCARE_DATA=str(tmp_path), **given)
    assert not plain["SECURE_HSTS_SECONDS"] and not plain["SECURE_HSTS_INCLUDE_SUBDOMAINS"]


def test_the_header_itself_names_this_host_alone(cast, settings):
    settings.SECURE_HSTS_SECONDS = 365 * 24 * 3600
    answer = Client().get("/sign-in/", secure=True)
    assert answer.headers["Strict-Transport-Security"] == "max-age=31536000"


def test_an_address_that_a_visitor_makes_up_does_not_escape_the_throttle(cast):
    """X-Forwarded-For from anybody is no address: guesses still count as one place's."""
    for number in range(12):
        page = Client().post(
            "/sign-in/",
            {"sign_in_name": "owner", "password": "another one 12"},
            headers={"x-forwarded-for": f"198.51.100.{number}"},
        )
    assert "Too many wrong passwords" in page.text


def test_behind_a_proxy_each_visitor_counts_apart(cast, settings):
    """The last address is the proxy's word; those before it are the visitor's own."""
    settings.BEHIND_PROXY = True
    wrong = {"sign_in_name": "owner", "password": "another one 12"}
    for number in range(attempts.FREE + 2):
        made_up = f"203.0.113.{number}, 198.51.100.7"
        page = Client().post("/sign-in/", wrong, headers={"x-forwarded-for": made_up})
    assert "Too many wrong passwords" in page.text
    elsewhere = Client().post("/sign-in/", wrong, headers={"x-forwarded-for": "198.51.100.8"})
    assert "Wrong sign-in name or password" in elsewhere.text


def test_a_proxy_that_speaks_https_is_believed_by_the_server_too(tmp_path):
    """No endless redirect: the server in front of the settings hands on what the proxy said."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    given = {"FLOCKCARE_DATA": str(tmp_path), "FLOCKCARE_HTTPS": "1", "FLOCKCARE_PROXY": "1"}
    kept = {key: value for key, value in os.environ.items() if not key.startswith("FLOCKCARE_")}
    server = subprocess.Popen(
        [sys.executable, "manage.py", "up", "--port", str(port)],
        cwd=ROOT, env={**kept, **given}, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        assert any("Stop with" in line for line in server.stdout)
        seen = {}
        for said in ("https", "http", None):
            asked = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
            asked.request("GET", "/set-up/", headers={"X-Forwarded-Proto": said} if said else {})
            seen[said] = asked.getresponse().status
            asked.close()
    finally:
        server.terminate()
        server.wait(timeout=20)
    assert seen == {"https": 200, "http": 301, None: 301}
