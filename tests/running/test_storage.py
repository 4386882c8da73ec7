"""Photos in S3-compatible storage: moto's server, which speaks the protocol over HTTP."""

import io
from datetime import timedelta

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from flockcare.core import env
from flockcare.photos import editing, services
from flockcare.photos.checking import check_files
from flockcare.photos.intake import SIZES
from flockcare.photos.models import Photo
from tests.people.rows import READ_PAGE, seen
from tests.running import with_s3

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def server():
    server, environment = with_s3.started()
    yield environment
    server.stop()


@pytest.fixture
def bucket(server, settings, monkeypatch):
    """The names of what lies in the bucket, which is where this test's photos go."""
    for name, value in server.items():
        monkeypatch.setenv(name, value)
    settings.STORAGES = {**settings.STORAGES, "default": env.s3("FLOCKCARE_S3")}
    client = with_s3.client(server)

    def names() -> set[str]:
        found = client.list_objects_v2(Bucket=with_s3.BUCKET).get("Contents", [])
        return {each["Key"] for each in found}

    assert names() == set()
    yield names
    for name in names():
        client.delete_object(Bucket=with_s3.BUCKET, Key=name)


def picture(colour="olive", size=(1800, 1200)) -> io.BytesIO:
    stream = io.BytesIO()
    Image.new("RGB", size, colour).save(stream, "JPEG")
    stream.seek(0)
    stream.name = "foot.jpg"
    return stream


def send(cast, upload) -> Photo:
    answer = cast.clients.keeper.post(
        reverse("photos:add", args=[cast.flock.pk]), {"photo": upload}
    )
    assert answer.status_code == 201, answer.content
    return Photo.objects.get(pk=answer.json()["id"])


def addresses(photo) -> list[str]:
    full = reverse("photos:full", args=[photo.flock_id, photo.pk])
    return [full, *(reverse("photos:file", args=[photo.flock_id, photo.pk, s]) for s in SIZES)]


def test_every_size_is_kept_there_and_handed_out_to_members_only(cast, bucket, tmp_path):
    photo = send(cast, picture())
    paths = [photo.path(), *(photo.path(size) for size in SIZES)]
    assert bucket() == set(paths)
    assert not (tmp_path / "files").exists()
    for path, address in zip(paths, addresses(photo), strict=True):
        assert seen(cast, address) == READ_PAGE
        answer = cast.clients.viewer.get(address)
        assert b"".join(answer) == default_storage.open(path).read()
        # Through this app, not by an address of the storage that opens it for anybody.
        assert "Location" not in answer.headers
        assert answer.headers["Content-Type"] == "image/jpeg"
        known = {"HTTP_IF_NONE_MATCH": answer.headers["ETag"]}
        assert cast.clients.viewer.get(address, **known).status_code == 304


def test_nobody_without_the_keys_may_read_what_lies_there(cast, bucket):
    """The bucket decides who reads; nothing that is stored asks it to let everybody."""
    photo = send(cast, picture())
    client = default_storage.connection.meta.client
    grants = client.get_object_acl(Bucket=with_s3.BUCKET, Key=photo.path())["Grants"]
    assert all("URI" not in grant["Grantee"] for grant in grants)


def test_a_turned_photo_replaces_its_sizes_and_keeps_its_original(cast, bucket):
    photo = send(cast, picture())
    before = bucket()
    turn = reverse("photos:turn", args=[cast.flock.pk, photo.pk])
    assert cast.clients.keeper.post(turn, {"way": "right"}).status_code == 302
    photo.refresh_from_db()
    after = {photo.path(), *(photo.path(size) for size in SIZES)}
    assert bucket() == after
    assert before & after == {photo.path()}
    with Image.open(default_storage.open(photo.path(800))) as shown:
        assert shown.height > shown.width


def test_a_photo_deleted_for_good_leaves_nothing_there(cast, bucket):
    photo, other = send(cast, picture()), send(cast, picture("navy"))
    delete = reverse("photos:delete", args=[cast.flock.pk, photo.pk])
    assert cast.clients.keeper.post(delete).status_code == 302
    assert photo.path() in bucket()
    assert editing.purge(now=timezone.now() + timedelta(days=31)) == 1
    assert bucket() == {other.path(), *(other.path(size) for size in SIZES)}


def test_a_file_that_is_gone_is_said_to_be_gone(cast, bucket):
    photo = send(cast, picture())
    default_storage.delete(photo.path())
    assert cast.clients.owner.get(addresses(photo)[0]).status_code == 404


def test_what_lies_there_is_looked_over_in_few_questions(cast, bucket, settings):
    photo = send(cast, picture())
    lost = send(cast, picture("navy"))
    default_storage.delete(lost.path())
    left = f"photos/{cast.flock.pk}/{lost.flock_id}/full-1.jpg"
    default_storage.save(left, ContentFile(b"left by one that was killed"))
    asked = []
    client = default_storage.connection.meta.client
    client.meta.events.register("before-call.s3", lambda model, **_: asked.append(model.name))
    found = check_files()
    assert (found.photos, found.damaged, found.unowned, found.removed) == (2, 1, 1, 0)
    # One for the folders, one for each flock, and for the damaged photo those that make sure.
    assert asked.count("ListObjects") <= 3 and len(asked) < 8, asked
    found = check_files(old=timedelta(0))
    assert (found.damaged, found.removed) == (1, 1)
    assert bucket() == {*photo.paths(), *lost.paths()} - {lost.path()}


def test_what_lies_there_under_a_prefix_of_the_bucket(cast, bucket, settings):
    options = {**settings.STORAGES["default"]["OPTIONS"], "location": "hens/a"}
    settings.STORAGES = {
        **settings.STORAGES,
        "default": {**settings.STORAGES["default"], "OPTIONS": options},
    }
    photo = send(cast, picture())
    assert bucket() == {f"hens/a/{name}" for name in photo.paths()}
    assert {file.name for file in default_storage.stored("photos")} == set(photo.paths())
    assert check_files(old=timedelta(0)).removed == 0


def test_the_same_photo_twice_at_once(cast, bucket, monkeypatch):
    take_in, answers, content = services.take_in, [], picture().getvalue()

    def post():
        upload = io.BytesIO(content)
        upload.name = "foot.jpg"
        answers.append(send(cast, upload))

    def slow(*args):
        monkeypatch.setattr(services, "take_in", take_in)
        post()
        return take_in(*args)

    monkeypatch.setattr(services, "take_in", slow)
    post()
    assert answers[0] == answers[1] == Photo.objects.get()
    assert bucket() == set(answers[0].paths())


def test_health_sees_the_storage(bucket, client, server, settings):
    assert client.get("/health/").json()["storage"] is True
    assert bucket() == set()
    options = {**settings.STORAGES["default"]["OPTIONS"], "bucket_name": "not-there"}
    settings.STORAGES = {
        **settings.STORAGES,
        "default": {**settings.STORAGES["default"], "OPTIONS": options},
    }
    answer = Client().get("/health/")
    assert (answer.status_code, answer.json()["storage"]) == (503, False)
