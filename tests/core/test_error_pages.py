"""What a keeper reads when something cannot be shown or taken in."""

import uuid

import pytest
from django.test import Client
from django.urls import path

from flockcare import urls

pytestmark = pytest.mark.django_db


def words(answer) -> str:
    return " ".join(answer.content.decode().split())


def test_an_address_without_a_page_says_what_may_have_happened(cast, client):
    for address in ("/nowhere/", f"/f/{uuid.uuid4()}/today/"):
        answer = cast.clients.keeper.get(address)
        assert answer.status_code == 404
        assert "a flock you are not in" in words(answer)
        assert "Your flocks" in words(answer)
    assert "Sign in" in words(client.get("/calendar/nothing.ics"))


def test_a_viewer_reads_what_is_missing_and_that_nothing_changed(cast):
    answer = cast.clients.viewer.post(f"/f/{cast.flock.pk}/birds/add/")
    assert answer.status_code == 403
    assert "You are a viewer here" in words(answer)
    assert "Nothing was changed" in words(answer)


def test_a_page_that_stood_open_for_too_long(cast):
    strict = Client(enforce_csrf_checks=True)
    strict.force_login(cast.keeper)
    answer = strict.post(f"/f/{cast.flock.pk}/birds/add/", {"name": "Dill"})
    assert answer.status_code == 403
    assert "What you typed is not lost" in words(answer)


def test_too_many_photos_at_once_without_script(cast, birds):
    from django.core.files.uploadedfile import SimpleUploadedFile

    files = [SimpleUploadedFile(f"{number}.jpg", b"x") for number in range(41)]
    answer = cast.clients.keeper.post(
        f"/f/{cast.flock.pk}/birds/{birds['Dill'].pk}/check/", {"left-photos": files}
    )
    assert answer.status_code == 400
    assert "more than 40 photos" in words(answer)


def test_a_fault_of_the_app_says_so_and_that_nothing_typed_is_lost(cast, monkeypatch, settings):
    def broken(request):
        raise RuntimeError("broken on purpose")

    monkeypatch.setattr(urls, "urlpatterns", [path("broken/", broken), *urls.urlpatterns])
    settings.ROOT_URLCONF = type("Urls", (), {"urlpatterns": urls.urlpatterns})
    client = cast.clients.keeper
    client.raise_request_exception = False
    answer = client.get("/broken/")
    assert answer.status_code == 500
    assert "The fault is Flockcare’s, not yours" in words(answer)
    assert "Content-Security-Policy" in answer.headers
