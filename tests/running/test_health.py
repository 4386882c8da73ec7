"""``/health/`` says whether keepers can be served, to anybody, and nothing else."""

import shutil
from types import SimpleNamespace

import pytest
from django.db import Error, connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from flockcare import health
from flockcare.core import room

pytestmark = pytest.mark.django_db
WELL = {
    "database": True,
    "storage": True,
    "space": True,
    "photos": {"damaged": 0, "unowned": 0},
}


@pytest.fixture(autouse=True)
def disk(monkeypatch):
    """Room enough, whatever the machine of the tests has; `disk(free)` sets another."""

    def set_free(free: int) -> None:
        usage = SimpleNamespace(total=10**12, used=10**12 - free, free=free)
        monkeypatch.setattr(room.shutil, "disk_usage", lambda path: usage)

    set_free(10**11)
    return set_free


def test_it_answers_a_balancer_that_knows_only_the_address(settings):
    """Over HTTP where keepers are sent to HTTPS, and under a host that keepers may not ask for."""
    settings.SECURE_SSL_REDIRECT, settings.ALLOWED_HOSTS = True, ["hens.example"]
    client = Client(SERVER_NAME="10.0.0.7")
    answer = client.get("/health/")
    assert (answer.status_code, answer.json()) == (200, WELL)
    assert answer.headers["Cache-Control"] == "no-store"
    assert not answer.cookies
    assert client.head("/health/").status_code == 200
    assert client.get("/sign-in/").status_code == 400


def test_it_is_cheap(client):
    client.get("/health/")
    with CaptureQueriesContext(connection) as queries:
        client.get("/health/")
    assert len(queries) == 2


def test_it_says_when_the_database_is_away(client, monkeypatch):
    def away():
        raise Error("connection to server at “10.0.0.9” failed for user “hens”")

    monkeypatch.setattr(health.connection, "cursor", away)
    answer = client.get("/health/")
    assert (answer.status_code, answer.json()) == (
        503,
        {**WELL, "database": False, "photos": None},
    )


def test_it_says_when_no_file_can_be_kept(settings, tmp_path):
    client = Client()
    assert client.get("/health/").json() == WELL
    assert list((tmp_path / "files").iterdir()) == []
    shutil.rmtree(tmp_path / "files")
    (tmp_path / "files").write_text("no folder")
    # What went well is believed for a while; a process that looks now sees it.
    assert client.get("/health/").json() == WELL
    answer = Client().get("/health/")
    assert (answer.status_code, answer.json()) == (503, {**WELL, "storage": False})


def test_what_went_wrong_is_tried_again_at_once(tmp_path):
    client = Client()
    (tmp_path / "files").write_text("no folder")
    assert client.get("/health/").status_code == 503
    (tmp_path / "files").unlink()
    assert client.get("/health/").json() == WELL


def test_little_space_is_told_to_a_watchdog_but_takes_no_process_out(disk):
    """All of it can still be read, and no other process on this disk would have more."""
    disk(room.LOW_BYTES - 1)
    answer = Client().get("/health/")
    assert (answer.status_code, answer.json()) == (200, {**WELL, "space": False})
    disk(room.LOW_BYTES)
    assert Client().get("/health/").json() == WELL
