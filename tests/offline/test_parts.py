"""A large photo comes in parts, and is put together once all of them are here."""

import uuid
from datetime import timedelta

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.urls import reverse
from django.utils import timezone

from flockcare.offline import parts
from flockcare.offline.models import Receipt
from flockcare.photos.checking import check_files
from flockcare.photos.models import Photo
from tests.offline.sends import CLEAR, body, picture, send

pytestmark = pytest.mark.django_db
SIZE = 1000


@pytest.fixture
def stored(cast, birds):
    key = uuid.uuid4()
    send(cast.clients.keeper, cast.flock, body(cast.flock, birds["Dill"], cast.keeper, *CLEAR), key)
    return key


@pytest.fixture
def content():
    return picture(quality=95).read()


def pieces(content) -> list[bytes]:
    return [content[start : start + SIZE] for start in range(0, len(content), SIZE)]


def part(client, flock, key, number, content):
    address = reverse("offline:part", args=[flock.pk, key, number])
    return client.post(address, content, content_type="application/octet-stream")


def finish(cast, key, record, count, **more):
    said = {"kind": "check", "record": str(record), "foot": "left", "keeper": str(cast.keeper.pk)}
    address = reverse("offline:photo", args=[cast.flock.pk, key])
    said |= {"parts": str(count), "name": "foot.jpg", **more}
    return cast.clients.keeper.post(address, said)


def all_parts(cast, key, content) -> int:
    found = pieces(content)
    assert len(found) > 2
    for number, piece in enumerate(found):
        assert part(cast.clients.keeper, cast.flock, key, number, piece).status_code == 201
    return len(found)


def left(cast, key) -> list[str]:
    files = default_storage.listdir(f"photos/{cast.flock.pk}/{key}")[1]
    return [name for name in files if name.startswith("part")]


def test_it_is_the_same_picture_as_if_it_had_come_whole(cast, stored, content):
    key = uuid.uuid4()
    count = all_parts(cast, key, content)
    answer = finish(cast, key, stored, count)
    assert (answer.status_code, answer.json()["key"]) == (201, str(key))
    photo = Photo.objects.get()
    assert (photo.pk, photo.width, photo.foot) == (key, 640, "left")
    assert left(cast, key) == []
    whole = picture(quality=95)
    address = reverse("photos:add", args=[cast.flock.pk])
    assert cast.clients.keeper.post(address, {"photo": whole}).json()["id"] == str(key)


def test_a_part_that_is_sent_again_is_there_once(cast, stored, content):
    key = uuid.uuid4()
    count = all_parts(cast, key, content)
    all_parts(cast, key, content)
    assert len(left(cast, key)) == count
    assert finish(cast, key, stored, count).status_code == 201


def test_a_part_that_a_killed_process_left_empty(cast, stored, content):
    key = uuid.uuid4()
    default_storage.save(f"photos/{cast.flock.pk}/{key}/part-0001", ContentFile(b""))
    count = all_parts(cast, key, content)
    assert finish(cast, key, stored, count).status_code == 201


def test_a_part_is_missing(cast, stored, content):
    key = uuid.uuid4()
    count = all_parts(cast, key, content)
    default_storage.delete(f"photos/{cast.flock.pk}/{key}/part-0001")
    assert finish(cast, key, stored, count).status_code == 412
    assert not Photo.objects.exists()
    all_parts(cast, key, content)
    assert finish(cast, key, stored, count).status_code == 201


def test_the_answer_was_lost(cast, stored, content):
    """Its parts are gone, since all is stored: it is answered the same, and nothing comes again."""
    key = uuid.uuid4()
    count = all_parts(cast, key, content)
    first = finish(cast, key, stored, count)
    again = finish(cast, key, stored, count)
    assert (again.status_code, again.json()) == (201, first.json())
    all_parts(cast, key, content)
    again = finish(cast, key, stored, count)
    assert (again.status_code, again.json()) == (201, first.json())
    assert Photo.objects.count() == 1


def test_a_receipt_of_another_flock_or_kind_is_no_answer(cast, stored, content):
    key = uuid.uuid4()
    count = all_parts(cast, key, content)
    finish(cast, key, stored, count)
    assert finish(cast, key, stored, count, kind="step").status_code == 412
    Receipt.objects.filter(pk=key).update(flock=cast.elsewhere)
    assert finish(cast, key, stored, count).status_code == 412


def test_parts_that_nobody_puts_together_go_after_a_day(cast, content):
    key = uuid.uuid4()
    all_parts(cast, key, content)
    check_files()
    assert left(cast, key)
    check_files(now=timezone.now() + timedelta(days=2))
    assert not default_storage.exists(f"photos/{cast.flock.pk}/{key}/part-0000")


@pytest.mark.parametrize(
    ("number", "size"), [(0, 0), (0, parts.MOST_BYTES + 1), (parts.MOST_PARTS, 10)]
)
def test_what_is_no_part(cast, number, size):
    key = uuid.uuid4()
    assert part(cast.clients.keeper, cast.flock, key, number, b"x" * size).status_code == 400


@pytest.mark.parametrize("count", ["-1", "many", "99999", str(parts.MOST_PARTS + 1)])
def test_what_no_outbox_says_of_parts(cast, stored, count):
    assert finish(cast, uuid.uuid4(), stored, count).status_code == 400


def test_more_than_is_taken_in(cast, stored, monkeypatch):
    key = uuid.uuid4()
    monkeypatch.setattr(parts, "MAX_BYTES", 1500)
    monkeypatch.setattr("flockcare.photos.intake.MAX_BYTES", 1500)
    for number in range(3):
        part(cast.clients.keeper, cast.flock, key, number, b"x" * SIZE)
    answer = finish(cast, key, stored, 3)
    assert answer.status_code == 422
    assert "larger than" in answer.json()["reasons"][0]
