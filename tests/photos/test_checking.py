"""Damaged photos are found, mended where something whole is left, and shown; leftovers go."""

import io
import logging
import os
from datetime import timedelta

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.management import call_command
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from flockcare.core import clock
from flockcare.core.storage import FolderStorage
from flockcare.photos import editing
from flockcare.photos.checking import check_daily, check_files
from flockcare.photos.models import FileCheck, Photo
from flockcare.photos.services import add_photo
from flockcare.photos.sizes import sizes
from tests.offline.sends import picture
from tests.people.rows import NOT_WRITERS, refused

pytestmark = pytest.mark.django_db
NOISE = os.urandom(3 * 200 * 150)


def noisy(seed: int = 0) -> io.BytesIO:
    """A picture whose file is long enough to be cut anywhere."""
    image = Image.frombytes("RGB", (200, 150), NOISE[seed:] + NOISE[:seed])
    stream = io.BytesIO()
    image.save(stream, "JPEG", quality=95)
    stream.seek(0)
    stream.name = "foot.jpg"
    return stream


@pytest.fixture
def add(cast, birds):
    def added(upload, **fields):
        fields = {"bird": birds["Dill"], "foot": "left", **fields}
        return add_photo(
            flock=cast.flock, keeper=cast.keeper, upload=upload, name="foot.jpg", **fields
        )[0]

    return added


@pytest.fixture
def photo(add):
    return add(noisy())


def put(name: str, content: bytes, *, hours_ago: float = 0) -> str:
    default_storage.delete(name)
    default_storage.save(name, ContentFile(content))
    if hours_ago:
        then = timezone.now().timestamp() - 3600 * hours_ago
        os.utime(default_storage.path(name), (then, then))
    return name


def names(flock) -> set[str]:
    return {file.name for file in default_storage.stored(f"photos/{flock.pk}")}


def contents(photo) -> list[bytes]:
    photo = Photo.with_deleted.get(pk=photo.pk)
    return [default_storage.open(name).read() for name in photo.paths()]


def is_whole_again(photo, original: bytes) -> bool:
    """The very original; the sizes made from it are those that a turn makes."""
    photo = Photo.with_deleted.get(pk=photo.pk)
    assert photo.damaged_since is None and photo.stored_bytes == sum(map(len, contents(photo)))
    return contents(photo) == [original, *sizes(photo).values()]


def as_before(photo) -> list[str]:
    """Move a photo's files to the names that they had before names were of one attempt alone."""
    held = contents(photo)
    for name in photo.paths():
        default_storage.delete(name)
    Photo.objects.filter(pk=photo.pk).update(stored_as="", edition="")
    photo.refresh_from_db()
    for name, content in zip(photo.paths(), held, strict=True):
        put(name, content)
    return photo.paths()


def test_whole_photos_are_left_alone(cast, photo):
    before = names(cast.flock)
    found = check_files(old=timedelta(0))
    assert (found.photos, found.damaged, found.mended, found.removed) == (1, 0, 0, 0)
    assert names(cast.flock) == before


@pytest.mark.parametrize("harm", ["gone", "cut off", "empty", "all gone"])
def test_a_photo_without_a_whole_original_is_marked_and_shown(cast, photo, harm, caplog):
    original = contents(photo)[0]
    for name in photo.paths() if harm == "all gone" else [photo.path()]:
        default_storage.delete(name)
    if harm in ("cut off", "empty"):
        put(photo.path(), original[: 9000 * (harm == "cut off")])
    with caplog.at_level(logging.WARNING):
        found = check_files()
    assert (found.damaged, found.mended) == (1, 0)
    assert "gone or cut off: 1." in caplog.text
    photo.refresh_from_db()
    assert photo.damaged_since
    page = cast.clients.owner.get(reverse("photos:space", args=[cast.flock.pk])).content.decode()
    damaged = page[page.index("Damaged") :]
    assert "Dill" in damaged and reverse("photos:photo", args=[cast.flock.pk, photo.pk]) in damaged
    since = photo.damaged_since
    check_files()
    photo.refresh_from_db()
    assert photo.damaged_since == since, "when it was noticed first"


@pytest.mark.parametrize("size", [0, 1, 2])
def test_a_size_that_is_lost_is_made_anew_from_the_original(cast, photo, size):
    original = contents(photo)[0]
    default_storage.delete(photo.paths()[1 + size])
    found = check_files()
    assert (found.damaged, found.mended) == (0, 1)
    assert is_whole_again(photo, original)
    assert len(names(cast.flock)) == 4, "the former files are gone"


def test_what_the_second_of_two_sendings_left_brings_a_lost_photo_back(cast, photo):
    """Both had one name for their files: the second one's got an ending of the storage's, and
    clearing up it removed the first one's."""
    original = contents(photo)[0]
    for name in as_before(photo):
        put(name.replace(".jpg", "_a1B2c3D.jpg"), default_storage.open(name).read(), hours_ago=90)
        default_storage.delete(name)
    found = check_files()
    assert (found.damaged, found.mended) == (0, 1)
    assert is_whole_again(photo, original)
    assert names(cast.flock) == set(Photo.objects.get().paths()), "and clears up after it"


def test_a_cut_off_original_gives_way_to_the_whole_one_beside_it(cast, photo):
    original = contents(photo)[0]
    name = as_before(photo)[0]
    put(name.replace(".jpg", "_a1B2c3D.jpg"), original)
    put(name, original[:7000])
    assert check_files().mended == 1
    assert is_whole_again(photo, original)


def test_another_picture_in_the_folder_does_not_pass_for_the_lost_one(photo):
    put(photo.path().replace("full", "full_x"), picture(size=(640, 480)).getvalue())
    default_storage.delete(photo.path())
    assert check_files().damaged == 1


def test_what_may_still_help_a_damaged_photo_is_not_removed(cast, photo):
    kept = put(photo.path().replace("full", "1600_x"), b"perhaps of use", hours_ago=90)
    default_storage.delete(photo.path())
    check_files(old=timedelta(0))
    assert kept in names(cast.flock)


def test_deleted_photos_are_whole_too(photo, cast):
    editing.delete(photo=photo, keeper=cast.keeper)
    assert check_files(old=timedelta(0)).removed == 0
    default_storage.delete(photo.path())
    assert check_files().damaged == 1


def test_files_without_a_record_go_when_they_are_a_day_old(cast, photo):
    folder = f"photos/{cast.flock.pk}/{'0' * 8}-0000-0000-0000-{'0' * 12}"
    old = [put(f"{folder}/{n}.jpg", b"left", hours_ago=25) for n in ("full-1", "240-1", "x.part")]
    edition = put(photo.path(240).replace("240-", "240-0"), b"of a turn cut off", hours_ago=25)
    new = put(f"{folder}/full-2.jpg", b"being sent", hours_ago=23)
    found = check_files()
    assert (found.removed, found.unowned) == (4, 1)
    assert new in names(cast.flock) and not {*old, edition} & names(cast.flock)
    kept = FileCheck.objects.get(flock=cast.flock)
    assert (kept.unowned_files, kept.unowned_bytes) == (1, 10)
    page = cast.clients.viewer.get(reverse("photos:space", args=[cast.flock.pk])).content.decode()
    assert "1 file" in page[page.index("Without a record") :]


def test_files_of_a_flock_that_is_not_here_stay_for_a_month(cast, photo):
    """As under an old database that stands in for the real one; or left by a killed import."""
    folder = f"photos/{'0' * 8}-0000-0000-0000-{'0' * 12}"
    kept = put(f"{folder}/x/full.jpg", b"?", hours_ago=24 * 29)
    old = put(f"{folder}/y/full.jpg", b"?", hours_ago=24 * 31)
    found = check_files()
    assert default_storage.exists(kept) and not default_storage.exists(old)
    assert (found.unowned, found.removed) == (1, 1)
    check_files(old=timedelta(0))
    assert not default_storage.exists(kept)


def test_nothing_is_removed_while_the_clock_is_doubtful(cast, photo, monkeypatch):
    monkeypatch.setattr(clock, "look", lambda now: "The clock is wrong.")
    names_here = [
        put(f"photos/{key}/x/full.jpg", b"?", hours_ago=24 * 99)
        for key in (cast.flock.pk, f"{'0' * 8}-0000-0000-0000-{'0' * 12}")
    ]
    assert check_files().removed == 0
    assert all(map(default_storage.exists, names_here))


def test_a_photo_that_is_saved_while_we_look_is_not_taken_for_damaged(add, photo, monkeypatch):
    """Its files came after its folder was read, its record before the records were."""
    stored = FolderStorage.stored

    def then_add(self, prefix):
        yield from list(stored(self, prefix))
        add(noisy(7))

    monkeypatch.setattr(FolderStorage, "stored", then_add)
    found = check_files(old=timedelta(0))
    assert (found.photos, found.damaged, found.mended, found.removed) == (2, 0, 0, 0)


def test_a_photo_that_is_turned_while_we_look_is_not_taken_for_damaged(cast, photo, monkeypatch):
    stored = FolderStorage.stored

    def then_turn(self, prefix):
        yield from list(stored(self, prefix))
        editing.turn(photo=photo, keeper=cast.keeper, quarter_turns=1)

    monkeypatch.setattr(FolderStorage, "stored", then_turn)
    found = check_files(old=timedelta(0))
    assert (found.damaged, found.mended) == (0, 0)
    assert len(names(cast.flock)) == 4


def test_an_owner_chooses_the_pictures_again_and_they_are_put_back(cast, add, photo):
    other = add(noisy(5))
    originals = {each: contents(each)[0] for each in (photo, other)}
    for each in (photo, other):
        default_storage.delete(each.path())
    check_files()
    address = reverse("photos:put_files_back", args=[cast.flock.pk])
    strange = picture("navy")
    strange.name = "sunset.jpg"
    sent = {"photos": [noisy(), strange, noisy(5)]}
    answer = cast.clients.keeper.post(address, sent, follow=True)
    page = answer.content.decode()
    assert "2 photos are whole again" in page
    assert "sunset.jpg” is not one of the damaged" in page
    assert all(is_whole_again(each, originals[each]) for each in (photo, other))
    assert Photo.objects.count() == 2, "nothing was added"


def test_choosing_something_that_is_no_picture_says_so(cast, photo):
    default_storage.delete(photo.path())
    check_files()
    address = reverse("photos:put_files_back", args=[cast.flock.pk])
    text = io.BytesIO(b"not a picture")
    text.name = "list.txt"
    assert (
        "list.txt” is not one"
        in cast.clients.keeper.post(address, {"photos": [text]}, follow=True).content.decode()
    )
    assert (
        "Choose at least one picture"
        in cast.clients.keeper.post(address, {}, follow=True).content.decode()
    )


def test_who_may_put_files_back(cast, photo):
    assert refused(cast, reverse("photos:put_files_back", args=[cast.flock.pk])) == NOT_WRITERS


def test_owners_are_told_on_today(cast, photo):
    today = reverse("today", args=[cast.flock.pk])
    assert "damaged" not in cast.clients.owner.get(today).content.decode()
    default_storage.delete(photo.path())
    check_files()
    assert "1 photo is damaged" in cast.clients.owner.get(today).content.decode()
    assert "damaged" not in cast.clients.keeper.get(today).content.decode()


def test_health_counts_what_was_found(cast, client, photo):
    assert client.get("/health/").json()["photos"] == {"damaged": 0, "unowned": 0}
    put(f"photos/{cast.flock.pk}/x/full.jpg", b"left")
    default_storage.delete(photo.path())
    check_files()
    answer = client.get("/health/")
    assert answer.status_code == 200, "it can still answer keepers"
    assert answer.json()["photos"] == {"damaged": 1, "unowned": 1}


def test_once_a_day(cast, photo):
    default_storage.delete(photo.path())
    check_daily()
    assert Photo.objects.get().damaged_since
    Photo.objects.update(damaged_since=None)
    check_daily()
    assert Photo.objects.get().damaged_since is None, "it was looked over within a day"
    FileCheck.objects.update(at=timezone.now() - timedelta(hours=25))
    check_daily()
    assert Photo.objects.get().damaged_since


def test_by_hand(cast, photo, capsys):
    put(f"photos/{cast.flock.pk}/x/full.jpg", b"left")
    call_command("sweep_files", older_than=0)
    assert "1 removed" in capsys.readouterr().out
    assert len(names(cast.flock)) == 4
