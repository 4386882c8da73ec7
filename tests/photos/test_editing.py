"""Turning, cropping and deleting photos: the original stays, and all of it can be undone."""

import io
from datetime import timedelta
from pathlib import Path

import pytest
from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.urls import reverse
from django.utils import timezone
from PIL import Image, ImageDraw, ImageOps

from flockcare.feet.models import Check
from flockcare.people.models import Revision
from flockcare.photos import editing
from flockcare.photos.forms import CropForm
from flockcare.photos.intake import SIZES
from flockcare.photos.models import Photo
from flockcare.photos.series import to_shown
from flockcare.photos.services import add_photo
from flockcare.photos.sizes import sizes
from tests.people.rows import FORM_PAGE, NOT_WRITERS, READ_PAGE, refused, same_queries, seen

pytestmark = pytest.mark.django_db

SPOT = 1500, 300  # of a picture of 2400 × 1200


def drawn(size=(2400, 1200), spot=SPOT) -> Image.Image:
    """Four colours in the quarters and a white spot, so that no two of its turns look alike."""
    image = Image.new("RGB", size, (180, 60, 60))
    draw = ImageDraw.Draw(image)
    width, height = size
    draw.rectangle((width // 2, 0, width, height // 2), fill=(60, 160, 60))
    draw.rectangle((0, height // 2, width // 2, height), fill=(60, 60, 180))
    draw.ellipse([value + off for off in (-40, 40) for value in spot], fill="white")
    return image


def sent(image) -> io.BytesIO:
    stream = io.BytesIO()
    image.save(stream, "JPEG", quality=95)
    stream.seek(0)
    return stream


@pytest.fixture
def photo(cast, birds):
    return add_photo(
        flock=cast.flock,
        keeper=cast.keeper,
        upload=sent(drawn()),
        name="foot.jpg",
        bird=birds["Dill"],
        foot="left",
    )[0]


def stored(photo, size=None) -> Image.Image:
    return Image.open(io.BytesIO(default_storage.open(photo.path(size)).read()))


def files_of(photo) -> set[str]:
    return set(default_storage.listdir(f"photos/{photo.flock_id}/{photo.pk}")[1])


def apart(one, other) -> float:
    """Mean difference of two pictures of one size, in grey levels."""
    assert one.size == other.size
    small = [ImageOps.grayscale(each).resize((40, 40)).tobytes() for each in (one, other)]
    return sum(abs(a - b) for a, b in zip(*small, strict=True)) / 1600


# --- Turning and cropping


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_turned_clockwise_at_every_size(cast, photo, turns):
    """Image.rotate counts counter-clockwise: Pillow's documentation."""
    editing.turn(photo=photo, keeper=cast.keeper, quarter_turns=turns)
    expected = drawn().rotate(-90 * turns, expand=True)
    for size in SIZES:
        shown = stored(photo, size)
        assert shown.size == photo.shown_at(size) and max(shown.size) == size
        assert apart(shown, expected.resize(shown.size)) < 3


def test_four_turns_come_back_to_the_first_picture(cast, photo):
    before = {size: stored(photo, size) for size in SIZES}
    original = default_storage.open(photo.path()).read()
    for _ in range(4):
        editing.turn(photo=Photo.objects.get(), keeper=cast.keeper, quarter_turns=1)
    photo.refresh_from_db()
    assert photo.quarter_turns == 0
    assert all(apart(before[size], stored(photo, size)) < 1 for size in SIZES)
    # From the untouched original each time: no picture is pressed twice.
    assert default_storage.open(photo.path()).read() == original
    assert len(files_of(photo)) == 4
    assert photo.stored_bytes == sum(
        default_storage.size(photo.path(size)) for size in (None, *SIZES)
    )


def test_cropped_and_turned(cast, photo):
    editing.crop(photo=photo, keeper=cast.keeper, box=(1200, 100, 2000, 500))
    editing.turn(photo=photo, keeper=cast.keeper, quarter_turns=3)
    photo.refresh_from_db()
    expected = drawn().crop((1200, 100, 2000, 500)).rotate(90, expand=True)
    assert photo.shown == expected.size == (400, 800)
    # Never larger than the original: 1600 asked for, 800 there.
    assert stored(photo, 1600).size == (400, 800) and stored(photo, 240).size == (120, 240)
    assert apart(stored(photo, 800), expected) < 3
    editing.crop(photo=photo, keeper=cast.keeper, box=None)
    assert photo.shown == (1200, 2400)


@pytest.mark.parametrize("turns", range(4))
def test_places_in_the_original_are_found_in_what_is_shown(cast, photo, turns):
    """The white spot, known in the original, lies where the mapping of places says."""
    editing.crop(photo=photo, keeper=cast.keeper, box=(1100, 50, 2300, 900))
    editing.turn(photo=photo, keeper=cast.keeper, quarter_turns=turns)
    mapped = to_shown(photo)
    x, y = mapped[:, :2] @ SPOT + mapped[:, 2]
    shown = ImageOps.grayscale(stored(photo, 1600)).point(lambda value: 255 * (value > 215))
    left, top, right, bottom = shown.getbbox()
    assert ((left + right) / 2, (top + bottom) / 2) == pytest.approx((x, y), abs=3)


def test_a_small_photo_can_be_turned_too(cast):
    tiny, _ = add_photo(
        flock=cast.flock,
        keeper=cast.keeper,
        upload=sent(drawn((50, 30), (35, 8))),
        name="tiny.jpg",
    )
    editing.turn(photo=tiny, keeper=cast.keeper, quarter_turns=1)
    assert stored(tiny, 240).size == (30, 50)


def test_who_turned_it_and_how_it_was_before_is_kept(cast, photo):
    editing.turn(photo=photo, keeper=cast.keeper, quarter_turns=1)
    revision = Revision.objects.get(record=photo.pk)
    assert revision.by == cast.keeper and revision.before["quarter_turns"] == 0


@pytest.mark.parametrize(
    ("box", "said"),
    [((0, 0, 2500, 100), "outside"), ((5, 5, 5, 100), "outside"), ((0, 0, 10, 900), "too small")],
)
def test_a_crop_that_shows_nothing_is_refused(cast, photo, box, said):
    with pytest.raises(ValidationError, match=said):
        editing.crop(photo=photo, keeper=cast.keeper, box=box)
    photo.refresh_from_db()
    assert photo.crop is None and len(files_of(photo)) == 4


def test_the_slower_of_two_keepers_is_told(cast, photo):
    mine, theirs = Photo.objects.get(), Photo.objects.get()
    editing.turn(photo=theirs, keeper=cast.owner, quarter_turns=1)
    with pytest.raises(ValidationError, match="Somebody has just changed"):
        editing.turn(photo=mine, keeper=cast.keeper, quarter_turns=1)
    photo.refresh_from_db()
    assert photo.quarter_turns == 1 and len(files_of(photo)) == 4
    assert default_storage.exists(photo.path(240))


@pytest.mark.parametrize("turns", range(4))
def test_the_sliders_mean_the_sides_as_they_are_shown(turns):
    photo = Photo(width=1000, height=500, quarter_turns=turns)
    form = CropForm({"left": 10, "right": 0, "top": 20, "bottom": 0}, photo=photo)
    assert form.is_valid(), form.errors
    left, top, right, bottom = form.box()
    photo.crop = [left, top, right, bottom]
    # Cut away on the left and at the top of what is shown.
    whole = Photo(width=1000, height=500, quarter_turns=turns).shown
    assert photo.shown == (round(0.9 * whole[0]), round(0.8 * whole[1]))
    expected = {0: (100, 100, 1000, 500), 1: (200, 0, 1000, 450),
                2: (0, 0, 900, 400), 3: (0, 50, 800, 500)}[turns]  # fmt: skip
    assert (left, top, right, bottom) == expected
    assert CropForm(photo=photo).initial == {"left": 10, "right": 0, "top": 20, "bottom": 0}


def test_cropping_through_the_page(cast, photo):
    url = reverse("photos:crop", args=[cast.flock.pk, photo.pk])
    client = cast.clients.keeper
    answer = client.post(url, {"left": 60, "right": 60, "top": 0, "bottom": 0})
    assert answer.status_code == 422 and "Nothing would be left" in answer.content.decode()
    assert client.post(url, {"left": 50, "right": 0, "top": 0, "bottom": 50}).status_code == 302
    photo.refresh_from_db()
    assert photo.crop == [1200, 0, 2400, 600]


def test_a_changed_size_is_never_kept_by_the_browser_under_the_old_address(cast, photo):
    client = cast.clients.viewer
    url = reverse("photos:file", args=[cast.flock.pk, photo.pk, 240])

    def cached(address):
        answer = client.get(address)
        assert answer.status_code == 200
        b"".join(answer.streaming_content)
        return answer.headers["Cache-Control"], answer.headers["ETag"]

    assert "immutable" in cached(f"{url}?v={photo.edition}")[0]
    plain, tag = cached(url)
    assert "no-cache" in plain
    editing.turn(photo=photo, keeper=cast.keeper, quarter_turns=1)
    plain, new_tag = cached(url)
    assert "no-cache" in plain and new_tag != tag
    assert "no-cache" in cached(f"{url}?v=0")[0]
    assert "immutable" in cached(f"{url}?v={photo.edition}")[0]
    assert client.get(url, headers={"If-None-Match": new_tag}).status_code == 304


# --- Deleting


def test_deleted_photos_are_out_of_sight_and_can_be_put_back(cast, photo, birds):
    check = Check.objects.create(flock=cast.flock, bird=birds["Dill"], at=timezone.now())
    check.photos.add(photo)
    assert editing.hanging_on(photo) == [(1, "check")]
    client, where = cast.clients.keeper, [cast.flock.pk, photo.pk]
    text = client.get(reverse("photos:delete", args=where)).content.decode()
    assert "1 check" in text and "30 days" in text
    client.post(reverse("photos:delete", args=where))
    assert not Photo.objects.exists() and not check.photos.exists()
    series = reverse("series", args=[cast.flock.pk, photo.bird_id, "left"])
    assert str(photo.pk) not in client.get(series).content.decode()
    page = client.get(reverse("photos:photo", args=where)).content.decode()
    assert "is deleted" in page and "Restore it" in page
    space = client.get(reverse("photos:space", args=[cast.flock.pk])).content.decode()
    assert "Dill" in space and "1 photo," in space
    client.post(reverse("photos:put_back", args=where))
    assert Photo.objects.get() == photo and check.photos.get() == photo
    assert [revision.by for revision in Revision.objects.filter(record=photo.pk)] == [
        cast.keeper
    ] * 2


def test_a_deleted_photo_may_be_sent_again(cast, photo):
    editing.delete(photo=photo, keeper=cast.keeper)
    again, is_new = add_photo(
        flock=cast.flock, keeper=cast.keeper, upload=sent(drawn()), name="foot.jpg"
    )
    assert is_new and again.pk != photo.pk
    with pytest.raises(ValidationError, match="sent again"):
        editing.put_back(photo=photo, keeper=cast.keeper)
    answer = cast.clients.keeper.post(
        reverse("photos:put_back", args=[cast.flock.pk, photo.pk]), follow=True
    )
    assert "sent again" in answer.content.decode()


def test_after_thirty_days_it_is_gone_with_its_files(cast, photo):
    now = timezone.now()
    editing.turn(photo=photo, keeper=cast.keeper, quarter_turns=1)
    other, _ = add_photo(
        flock=cast.flock, keeper=cast.keeper, upload=sent(drawn((300, 200), (9, 9))), name="b.jpg"
    )
    editing.delete(photo=photo, keeper=cast.keeper, now=now)
    editing.delete(photo=other, keeper=cast.keeper, now=now + timedelta(days=1))
    assert editing.purge(now=now + timedelta(days=30, seconds=-1)) == 0
    with pytest.raises(ValidationError, match="more than 30 days"):
        editing.put_back(photo=photo, keeper=cast.keeper, now=now + timedelta(days=30))
    assert editing.purge(now=now + timedelta(days=30)) == 1
    assert files_of(photo) == set() and len(files_of(other)) == 4
    assert list(Photo.with_deleted.all()) == [other]
    assert editing.purge(now=now + timedelta(days=30)) == 0


def test_purging_that_was_cut_off_goes_on(cast, photo, monkeypatch):
    now = timezone.now()
    editing.delete(photo=photo, keeper=cast.keeper, now=now)
    removed = editing.remove

    def cut_off(paths):
        removed(paths)
        raise KeyboardInterrupt

    monkeypatch.setattr(editing, "remove", cut_off)
    with pytest.raises(KeyboardInterrupt):
        editing.purge(now=now + timedelta(days=31))
    monkeypatch.undo()
    assert Photo.with_deleted.count() == 1
    assert editing.purge(now=now + timedelta(days=31)) == 1
    assert not Photo.with_deleted.exists()


def test_space_counts_what_lies_in_the_storage(cast, photo):
    on_disk = sum(
        default_storage.size(f"photos/{cast.flock.pk}/{photo.pk}/{name}")
        for name in files_of(photo)
    )
    assert editing.space(cast.flock) == editing.Space(1, on_disk, 0, 0)
    editing.delete(photo=photo, keeper=cast.keeper)
    assert editing.space(cast.flock) == editing.Space(0, 0, 1, on_disk)
    assert editing.space(cast.elsewhere) == editing.Space(0, 0, 0, 0)


# --- Pages


def test_who_may_do_what(cast, photo):
    where = [cast.flock.pk, photo.pk]
    assert seen(cast, reverse("photos:photo", args=where)) == READ_PAGE
    assert seen(cast, reverse("photos:space", args=where[:1])) == READ_PAGE
    for name in ("crop", "delete"):
        assert seen(cast, reverse(f"photos:{name}", args=where)) == FORM_PAGE
    for name in ("crop", "delete", "turn", "put_back"):
        assert refused(cast, reverse(f"photos:{name}", args=where)) == NOT_WRITERS
    assert Photo.objects.get().quarter_turns == 0


def test_turning_through_the_page(cast, photo):
    url = reverse("photos:turn", args=[cast.flock.pk, photo.pk])
    for way, expected in (("left", 3), ("right", 0), ("right", 1)):
        cast.clients.keeper.post(url, {"way": way})
        assert Photo.objects.get().quarter_turns == expected


def test_queries_of_the_deleted(cast, photo):
    def delete(count):
        for number in range(count):
            Photo.objects.create(
                flock=cast.flock,
                bird=photo.bird,
                width=9,
                height=9,
                stored_bytes=9,
                sha256=f"{Photo.with_deleted.count():064}",
                look_hash=number,
                deleted_at=timezone.now(),
            )

    delete(1)
    url = reverse("photos:space", args=[cast.flock.pk])
    same_queries(cast.clients.owner, url, grow=lambda: delete(19))


def test_a_picture_whose_file_is_lost_is_said_to_be_gone(cast, photo):
    """As after a disk fault: no page fails for it."""
    default_storage.delete(photo.path())
    args = [cast.flock.pk, photo.pk]
    for answer in (
        cast.clients.keeper.post(reverse("photos:turn", args=args), {"way": "right"}),
        cast.clients.keeper.get(reverse("photos:full", args=args)),
    ):
        assert answer.status_code == 404
    with pytest.raises(FileNotFoundError):
        sizes(photo)
    assert cast.clients.keeper.get(reverse("photos:photo", args=args)).status_code == 200


@pytest.mark.parametrize("harm", ["gone", "cut off", "a size gone", "a size empty"])
def test_a_damaged_picture_is_whole_again_when_it_is_sent_again(cast, photo, harm):
    editing.turn(photo=photo, keeper=cast.keeper, quarter_turns=1)
    before = [default_storage.open(name).read() for name in photo.paths()]
    name = photo.path(240) if "size" in harm else photo.path()
    left = {"cut off": before[0][:5000], "a size empty": b""}.get(harm)
    default_storage.delete(name)
    if left is not None:
        default_storage.save(name, ContentFile(left))
    again, is_new = add_photo(
        flock=cast.flock, keeper=cast.keeper, upload=sent(drawn()), name="foot.jpg"
    )
    assert (again, is_new) == (photo, False)
    now = Photo.objects.get()
    assert again.paths() == now.paths()
    assert [default_storage.open(name).read() for name in now.paths()] == before
    assert sorted(default_storage.listdir(str(Path(photo.path()).parent))[1]) == sorted(
        Path(name).name for name in now.paths()
    )
