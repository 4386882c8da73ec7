"""A write that another was quicker than is run again, once, and with its files whole."""

import io

import pytest
from django.db import DataError, IntegrityError, OperationalError
from django.test import Client
from django.urls import reverse
from PIL import Image

from flockcare.photos import views as photo_views
from tests.conftest import PASSWORD

pytestmark = pytest.mark.django_db


def failing(monkeypatch, owner, name, error, times):
    """Let a function do its work, and then fail so often as if another had been quicker."""
    real, calls = getattr(owner, name), []

    def called(*args, **kwargs):
        calls.append(name)
        result = real(*args, **kwargs)
        if len(calls) <= times:
            raise error
        return result

    monkeypatch.setattr(owner, name, called)
    return calls


def send_photo(client, flock):
    stream = io.BytesIO()
    Image.new("RGB", (900, 600), "olive").save(stream, "JPEG")
    stream.seek(0)
    stream.name = "foot.jpg"
    return client.post(reverse("photos:add", args=[flock.pk]), {"photo": stream})


def deadlock():
    class Cause(Exception):
        sqlstate = "40P01"

    error = OperationalError("deadlock detected")
    error.__cause__ = Cause()
    return error


@pytest.mark.parametrize("error", [IntegrityError("unique"), deadlock()], ids=["unique", "lock"])
def test_the_second_run_answers(cast, monkeypatch, error):
    calls = failing(monkeypatch, photo_views.services, "add_photo", error, 1)
    assert send_photo(cast.clients.keeper, cast.flock).status_code == 201
    assert len(calls) == 2


@pytest.mark.parametrize(
    ("error", "runs"), [(IntegrityError("unique"), 2), (DataError("x"), 1), (OperationalError(), 1)]
)
def test_it_is_run_twice_at_most_and_only_where_another_was_quicker(cast, monkeypatch, error, runs):
    calls = failing(monkeypatch, photo_views.services, "add_photo", error, 99)
    client = Client(raise_request_exception=False)
    client.force_login(cast.keeper)
    assert send_photo(client, cast.flock).status_code == 500
    assert len(calls) == runs


def test_nobody_is_let_in_by_it(cast):
    """It looks last: after the token of the form and the sign-in."""
    address = reverse("photos:add", args=[cast.flock.pk])
    assert Client().post(address).headers["Location"].startswith("/sign-in/")
    strict = Client(enforce_csrf_checks=True)
    strict.login(username="keeper", password=PASSWORD)
    assert strict.post(address).status_code == 403
