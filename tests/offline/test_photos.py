"""Photos come after the record they belong to, each once, and never without it."""

import uuid

import pytest
from django.core.files.storage import default_storage

from flockcare.care.models import CareStep
from flockcare.feet.models import Check
from flockcare.offline import services
from flockcare.offline.models import Receipt
from flockcare.photos.models import Photo
from tests.offline.sends import CLEAR, body, picture, send, send_photo

pytestmark = pytest.mark.django_db


@pytest.fixture
def stored(cast, birds):
    """The key of a check that was stored."""
    key = uuid.uuid4()
    what = body(cast.flock, birds["Dill"], cast.keeper, *CLEAR)
    assert send(cast.clients.keeper, cast.flock, what, key).status_code == 201
    return key


@pytest.fixture
def add(cast, stored):
    def sent(upload=None, **more):
        return send_photo(cast.clients.keeper, cast.flock, stored, cast.keeper, upload, **more)

    return sent


def test_a_photo_of_a_foot_of_that_check(cast, birds, stored, add):
    key = uuid.uuid4()
    answer = add(key=key)
    assert answer.status_code == 201
    assert answer.json()["key"] == str(key)
    photo = Photo.objects.get()
    assert (photo.pk, photo.bird, photo.foot) == (key, birds["Dill"], "left")
    assert photo.keeper == cast.keeper
    assert list(photo.checks.values_list("pk", flat=True)) == [stored]
    assert default_storage.exists(photo.path())


def test_the_same_photo_again_is_answered_the_same(add):
    key = uuid.uuid4()
    first, again = add(key=key), add(key=key)
    assert (again.status_code, again.json()) == (201, first.json())
    assert Photo.objects.count() == 1


def test_another_photo_under_the_same_key(add):
    key = uuid.uuid4()
    add(key=key)
    assert add(picture("navy"), key=key).status_code == 409
    assert add(key=key, foot="right").status_code == 409
    assert Photo.objects.count() == 1


def test_no_photo_without_its_record(cast, add):
    answer = send_photo(cast.clients.keeper, cast.flock, uuid.uuid4(), cast.keeper)
    assert answer.status_code == 409
    assert "not here" in answer.json()["reasons"][0]
    Check.objects.all().delete()
    assert add().status_code == 409
    assert not Photo.objects.exists()


def test_a_file_that_the_page_had_sent_already(cast, stored, add):
    """Its answer was lost, so the outbox sends the same bytes: one photo, and the check has it."""
    sent_by_page = picture()
    cast.clients.keeper.post(f"/f/{cast.flock.pk}/photos/add/", {"photo": sent_by_page})
    assert add().status_code == 201
    photo = Photo.objects.get()
    assert [check.pk for check in photo.checks.all()] == [stored]
    assert photo.foot == "left"


def test_a_photo_of_another_bird(cast, birds, add):
    add()
    key = uuid.uuid4()
    what = body(cast.flock, birds["Mace"], cast.keeper, *CLEAR)
    send(cast.clients.keeper, cast.flock, what, key)
    answer = send_photo(cast.clients.keeper, cast.flock, key, cast.keeper)
    assert answer.status_code == 422
    (reason,) = answer.json()["reasons"]
    assert reason.startswith("This photo is already on record: Dill, left foot, ")


def test_a_file_that_is_no_picture_is_refused_with_its_reason(add):
    broken = picture()
    broken.truncate(200)
    broken.seek(0)
    answer = add(broken)
    assert answer.status_code == 422
    assert "foot.jpg" in answer.json()["reasons"][0]
    assert not Photo.objects.exists()
    assert Receipt.objects.count() == 1  # of the check


def test_a_photo_of_a_step(cast, birds):
    key = uuid.uuid4()
    said = [("kind", "soaked"), ("foot", "left"), ("who", str(cast.keeper.pk))]
    what = body(cast.flock, birds["Dill"], cast.keeper, *said, kind="step")
    assert send(cast.clients.keeper, cast.flock, what, key).status_code == 201
    answer = send_photo(cast.clients.keeper, cast.flock, key, cast.keeper, kind="step")
    assert answer.status_code == 201
    assert CareStep.objects.get().photos.count() == 1


def test_a_photo_that_the_page_had_sent_with_a_refused_step(cast, birds):
    page = f"/f/{cast.flock.pk}/photos/add/"
    sent = cast.clients.keeper.post(page, {"photo": picture()}).json()["id"]
    said = [("kind", "soaked"), ("foot", "left"), ("who", str(cast.keeper.pk)), ("kept", sent)]
    what = body(cast.flock, birds["Dill"], cast.keeper, *said, kind="step")
    assert send(cast.clients.keeper, cast.flock, what).status_code == 201
    assert [str(photo.pk) for photo in CareStep.objects.get().photos.all()] == [sent]


@pytest.mark.parametrize(
    "wrong", [{"kind": "weighing"}, {"kind": "house"}, {"foot": "both"}, {"record": "it"}]
)
def test_what_no_outbox_sends(cast, stored, wrong):
    said = {"kind": "check", "record": str(stored), "foot": "", "keeper": str(cast.keeper.pk)}
    address = f"/f/{cast.flock.pk}/outbox/photos/{uuid.uuid4()}/"
    assert cast.clients.keeper.post(address, {**said}).status_code == 400
    answer = cast.clients.keeper.post(address, {**said, **wrong, "photo": picture()})
    assert answer.status_code == 400


def test_if_the_receipt_cannot_be_written_no_photo_is_there(cast, add, monkeypatch):
    def fails(*args, **kwargs):
        raise RuntimeError("The disk is full.")

    monkeypatch.setattr(Receipt.objects, "create", fails)
    with pytest.raises(RuntimeError):
        add()
    assert not Photo.objects.exists()
    photos = default_storage.listdir(f"photos/{cast.flock.pk}")[0]
    assert not any(default_storage.listdir(f"photos/{cast.flock.pk}/{key}")[1] for key in photos)


@pytest.mark.parametrize("what", ["record", "photo"])
def test_the_same_at_the_same_moment(cast, birds, stored, monkeypatch, what):
    """Two tabs send at once: the second looks before the first has stored, and hears the same."""
    key = uuid.uuid4()

    def sent():
        if what == "photo":
            return send_photo(cast.clients.keeper, cast.flock, stored, cast.keeper, key=key)
        return send(cast.clients.keeper, cast.flock, said, key)

    said = body(cast.flock, birds["Mace"], cast.keeper, *CLEAR)
    first = sent()
    known, calls = services._answered, []

    def looks_too_early(*args):
        calls.append(args)
        return None if len(calls) == 1 else known(*args)

    monkeypatch.setattr(services, "_answered", looks_too_early)
    second = sent()
    assert len(calls) == 2
    assert (second.status_code, second.json()) == (201, first.json())
    assert (Check.objects.count(), Photo.objects.count()) == (
        (2, 0) if what == "record" else (1, 1)
    )
