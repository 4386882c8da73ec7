"""The same photo sent twice at once, as a phone does whose line dropped while we decode: one photo
is kept, whole, whichever comes first, and each request removes only what it wrote itself."""

import io
import uuid

import pytest
from django.core.files.storage import default_storage
from django.db import OperationalError, connection

from flockcare.feet.models import Check
from flockcare.offline.models import Receipt
from flockcare.photos import services
from flockcare.photos.models import Photo
from tests.offline.sends import CLEAR, body, picture, send, send_photo

pytestmark = pytest.mark.django_db


@pytest.fixture
def check(cast, birds):
    key = uuid.uuid4()
    send(cast.clients.keeper, cast.flock, body(cast.flock, birds["Dill"], cast.keeper, *CLEAR), key)
    return Check.objects.get(pk=key)


@pytest.fixture
def meanwhile(monkeypatch):
    """``meanwhile(do)``: the next picture is decoded only after ``do()`` has ended."""
    take_in = services.take_in

    def set_up(do):
        def slow(*args):
            monkeypatch.setattr(services, "take_in", take_in)
            do()
            return take_in(*args)

        monkeypatch.setattr(services, "take_in", slow)

    return set_up


def stored(flock) -> dict[str, bytes]:
    return {
        file.name: default_storage.open(file.name).read()
        for file in default_storage.stored(f"photos/{flock.pk}")
    }


def expected(content: bytes) -> list[bytes]:
    """An undisturbed run's files: what was sent decides them to the byte."""
    made = services.take_in(io.BytesIO(content), "foot.jpg")
    return [made.original, *made.sizes.values()]


def test_one_photo_is_kept_whole_and_both_are_answered_alike(cast, check, meanwhile):
    key, content, answers = uuid.uuid4(), picture().getvalue(), []

    def post():
        upload = io.BytesIO(content)
        upload.name = "foot.jpg"
        answers.append(
            send_photo(cast.clients.keeper, cast.flock, check.pk, cast.keeper, upload, key=key)
        )

    meanwhile(post)
    post()
    assert [answer.status_code for answer in answers] == [201, 201]
    assert answers[0].json() == answers[1].json()
    photo = Photo.objects.get()
    assert photo.pk == key and list(check.photos.all()) == [photo]
    assert Receipt.objects.filter(pk=key).count() == 1
    files = stored(cast.flock)
    assert [files[name] for name in photo.paths()] == expected(content)
    assert set(files) == set(photo.paths()), "nothing of the slower one is left"


def test_one_picture_under_two_keys_is_kept_once(cast, check, meanwhile):
    content, answers = picture().getvalue(), []

    def post():
        upload = io.BytesIO(content)
        upload.name = "foot.jpg"
        answers.append(send_photo(cast.clients.keeper, cast.flock, check.pk, cast.keeper, upload))

    meanwhile(post)
    post()
    assert [answer.status_code for answer in answers] == [201, 201]
    photo = Photo.objects.get()
    files = stored(cast.flock)
    assert [files[name] for name in photo.paths()] == expected(content)
    assert set(files) == set(photo.paths())


def test_another_picture_under_the_same_key_at_once_is_refused(cast, check, meanwhile):
    key, answers = uuid.uuid4(), []

    def post(colour):
        answers.append(
            send_photo(
                cast.clients.keeper, cast.flock, check.pk, cast.keeper, picture(colour), key=key
            )
        )

    meanwhile(lambda: post("navy"))
    post("tan")
    assert [answer.status_code for answer in answers] == [201, 409]
    files = stored(cast.flock)
    photo = Photo.objects.get()
    assert [files[name] for name in photo.paths()] == expected(picture("navy").getvalue())
    assert set(files) == set(photo.paths())


def test_a_database_that_refuses_leaves_the_other_ones_files(cast, check, meanwhile, monkeypatch):
    """The slower request fails for a reason of its own, after the first was acknowledged."""
    key, content = uuid.uuid4(), picture().getvalue()
    cast.clients.keeper.raise_request_exception = False
    answers = []

    def post():
        upload = io.BytesIO(content)
        upload.name = "foot.jpg"
        answers.append(
            send_photo(cast.clients.keeper, cast.flock, check.pk, cast.keeper, upload, key=key)
        )

    def first_then_break():
        post()

        def refuse(self, **options):
            raise OperationalError("disk I/O error")

        monkeypatch.setattr(Photo, "save", refuse)

    meanwhile(first_then_break)
    post()
    assert [answer.status_code for answer in answers] == [201, 500]
    photo = Photo.objects.get()
    files = stored(cast.flock)
    assert [files[name] for name in photo.paths()] == expected(content)


@pytest.mark.django_db(transaction=True)
def test_a_database_that_is_lost_after_it_has_saved_loses_no_file(cast, birds, monkeypatch):
    """Its answer to the commit does not arrive, so nobody can tell; the phone sends again."""
    key, photo_key, content = uuid.uuid4(), uuid.uuid4(), picture().getvalue()
    send(cast.clients.keeper, cast.flock, body(cast.flock, birds["Dill"], cast.keeper, *CLEAR), key)
    cast.clients.keeper.raise_request_exception = False
    commit = connection.commit

    def post():
        upload = io.BytesIO(content)
        upload.name = "foot.jpg"
        return send_photo(
            cast.clients.keeper, cast.flock, key, cast.keeper, upload, key=photo_key
        ).status_code

    def lost():
        commit()
        if Photo.objects.exists():
            raise OperationalError("server closed the connection unexpectedly")

    with monkeypatch.context() as away:
        away.setattr(connection, "commit", lost)
        assert post() == 500
    files, photo = stored(cast.flock), Photo.objects.get()
    assert [files[name] for name in photo.paths()] == expected(content)
    assert post() == 201
    assert stored(cast.flock) == files


def test_a_photo_whose_files_were_lost_comes_back_when_its_phone_sends_it_again(cast, check):
    key, content = uuid.uuid4(), picture().getvalue()

    def post():
        upload = io.BytesIO(content)
        upload.name = "foot.jpg"
        return send_photo(cast.clients.keeper, cast.flock, check.pk, cast.keeper, upload, key=key)

    first = post()
    for name in Photo.objects.get().paths():
        default_storage.delete(name)
    assert post().json() == first.json()
    files = stored(cast.flock)
    assert [files[name] for name in Photo.objects.get().paths()] == expected(content)
