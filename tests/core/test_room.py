"""A full disk is named: 507 (RFC 4918, section 11.5) with words, to pages, pieces and outboxes."""

import contextlib
import errno
import sqlite3
import uuid
from types import SimpleNamespace

import pytest
from django.core.management import CommandError
from django.db import IntegrityError, OperationalError
from django.test import Client
from django.urls import reverse

from flockcare.core import room, starting
from flockcare.core.room import is_full
from flockcare.offline import views as outbox_views
from flockcare.people import attempts
from flockcare.photos import services as photo_services
from tests.conftest import PASSWORD
from tests.offline.sends import CLEAR, body, picture, send, send_photo

pytestmark = pytest.mark.django_db
HOME_IS_FULL = "Flockcare’s computer is full"


def sqlite_says() -> sqlite3.Error:
    """What SQLite itself raises when its file cannot grow."""
    with contextlib.closing(sqlite3.connect(":memory:")) as database:
        database.execute("CREATE TABLE t (x)")
        database.execute("PRAGMA max_page_count = 2")
        with pytest.raises(sqlite3.OperationalError, match="database or disk is full") as full:
            database.execute("INSERT INTO t VALUES (zeroblob(100000))")
    return full.value


def postgresql_says() -> Exception:
    from psycopg import errors

    return errors.DiskFull("could not extend file")


def by_django(cause: Exception) -> OperationalError:
    error = OperationalError(*cause.args)
    error.__cause__ = cause
    return error


FULL = {
    "file": lambda: OSError(errno.ENOSPC, "No space left on device"),
    "quota": lambda: OSError(errno.EDQUOT, "Disk quota exceeded"),
    "SQLite": lambda: by_django(sqlite_says()),
    "PostgreSQL": lambda: by_django(postgresql_says()),
}


@pytest.mark.parametrize("kind", FULL)
def test_a_full_disk_is_known_by_what_is_raised(kind):
    assert is_full(FULL[kind]())
    later = RuntimeError("in the course of it")
    later.__context__ = FULL[kind]()
    assert is_full(later)
    with pytest.raises(CommandError, match="is full"), starting.in_words():
        raise FULL[kind]()


@pytest.mark.parametrize(
    "error", [None, OSError(errno.EACCES, "no"), IntegrityError("unique"), OperationalError("x")]
)
def test_nothing_else_is(error):
    assert not is_full(error)


def test_a_wrong_statement_is_no_trouble_of_the_disk():
    """Its place in the code must be seen, so it is not put into words."""
    with pytest.raises(sqlite3.OperationalError) as wrong:
        sqlite3.connect(":memory:").execute("SELECT missing")
    with pytest.raises(OperationalError, match="no such column"), starting.in_words():
        raise by_django(wrong.value)


def raising(monkeypatch, owner, name, kind) -> None:
    def full(*args, **kwargs):
        raise FULL[kind]()

    monkeypatch.setattr(owner, name, full)


def as_a_browser(keeper=None) -> Client:
    """Shows what the keeper is shown, in place of the error itself."""
    client = Client(raise_request_exception=False)
    if keeper:
        client.force_login(keeper)
    return client


@pytest.mark.parametrize("kind", FULL)
def test_a_page_says_it(cast, monkeypatch, kind):
    raising(monkeypatch, photo_services, "write", kind)
    answer = as_a_browser(cast.keeper).post(
        reverse("photos:add", args=[cast.flock.pk]), {"photo": picture()}
    )
    assert answer.status_code == 507
    assert HOME_IS_FULL in answer.content.decode()
    assert "fault is Flockcare’s" not in answer.content.decode()
    assert "default-src 'none'" in answer.headers["Content-Security-Policy"]


def test_another_error_stays_a_fault(cast, monkeypatch):
    monkeypatch.setitem(FULL, "other", lambda: OSError(errno.EIO, "Input/output error"))
    raising(monkeypatch, photo_services, "write", "other")
    answer = as_a_browser(cast.keeper).post(
        reverse("photos:add", args=[cast.flock.pk]), {"photo": picture()}
    )
    assert answer.status_code == 500
    assert "fault is Flockcare’s" in answer.content.decode()


@pytest.mark.parametrize("name", ["wait", "forget"])
def test_signing_in_says_it(cast, monkeypatch, name):
    raising(monkeypatch, attempts, name, "SQLite")
    answer = as_a_browser().post(
        reverse("people:sign_in"), {"sign_in_name": "owner", "password": PASSWORD}
    )
    assert answer.status_code == 507
    assert HOME_IS_FULL in answer.content.decode()


def test_a_session_that_cannot_be_saved_says_it(cast, monkeypatch):
    """The session's middleware saves it, after the view."""
    from django.contrib.sessions.backends.db import SessionStore

    raising(monkeypatch, SessionStore, "save", "SQLite")
    answer = as_a_browser().post(
        reverse("people:sign_in"), {"sign_in_name": "owner", "password": PASSWORD}
    )
    assert answer.status_code == 507


def test_a_piece_gets_the_words_alone(cast, monkeypatch):
    raising(monkeypatch, photo_services, "write", "file")
    answer = as_a_browser(cast.keeper).post(
        reverse("photos:add", args=[cast.flock.pk]), {"photo": picture()}, HTTP_HX_REQUEST="true"
    )
    assert answer.status_code == 507
    assert answer.headers["Content-Type"].startswith("text/plain")
    assert answer.content.decode() == room.WORDS


def test_an_outbox_gets_the_reason_and_its_key(cast, birds, monkeypatch):
    client = as_a_browser(cast.keeper)
    client.defaults["HTTP_ACCEPT"] = "application/json"
    what, key = body(cast.flock, birds["Dill"], cast.keeper, *CLEAR), uuid.uuid4()
    with monkeypatch.context() as full:
        raising(full, outbox_views.services, "store_record", "SQLite")
        answer = send(client, cast.flock, what, key)
    assert answer.status_code == 507
    assert answer.json() == {"key": str(key), "reasons": [room.WORDS]}
    assert send(client, cast.flock, what, key).status_code == 201
    photo = uuid.uuid4()
    with monkeypatch.context() as full:
        raising(full, photo_services, "write", "file")
        answer = send_photo(client, cast.flock, key, cast.keeper, key=photo)
    assert answer.status_code == 507
    assert answer.json()["key"] == str(photo)
    assert send_photo(client, cast.flock, key, cast.keeper, key=photo).status_code == 201


# --- Seen coming


def disk_with(monkeypatch, free: int) -> None:
    monkeypatch.setattr(room.shutil, "disk_usage", lambda path: SimpleNamespace(free=free))


def test_owners_are_told_before_it_is_full(cast, monkeypatch):
    said = "The disk of the computer that runs Flockcare is nearly full."
    today = reverse("today", args=[cast.flock.pk])
    disk_with(monkeypatch, room.LOW_BYTES - 1)
    assert said in cast.clients.owner.get(today).content.decode()
    assert said not in cast.clients.keeper.get(today).content.decode()
    disk_with(monkeypatch, room.LOW_BYTES)
    assert said not in cast.clients.owner.get(today).content.decode()
