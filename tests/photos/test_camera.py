"""What a camera asks the server: whether a frame shows the card, and what the last photos are."""

import io
from datetime import UTC, datetime

import pytest
from django.urls import reverse
from PIL import Image

from flockcare.photos.measuring import card_code
from flockcare.photos.models import CardReading, Photo
from tests.photos import scenes
from tests.photos.test_series import measured, photo

pytestmark = pytest.mark.django_db


def jpeg(image) -> bytes:
    file = io.BytesIO()
    image.convert("RGB").save(file, "JPEG", quality=70)
    return file.getvalue()


def asked(cast, body: bytes, client=None):
    url = reverse("photos:card", args=[cast.flock.pk])
    return (client or cast.clients.keeper).post(url, body, content_type="image/jpeg")


def frame(bird, **more) -> bytes:
    code = card_code(bird, "right")
    return jpeg(scenes.render(scenes.Scene(code=code, size=(800, 600), **more)))


def test_a_frame_tells_the_card_also_one_too_small_to_measure_with_and_nothing_is_kept(cast, birds):
    near, far = (
        asked(cast, frame(birds["Dill"], distance=distance, tilt=20)).json()
        for distance in (170, 300)
    )
    assert near == {"seen": True, "code": card_code(birds["Dill"], "right")}
    assert far["seen"]
    empty = asked(cast, jpeg(Image.new("RGB", (800, 600), "tan"))).json()
    assert empty == {"seen": False, "code": ""}
    assert not Photo.with_deleted.exists() and not CardReading.objects.exists()


@pytest.mark.parametrize(
    "body",
    [b"", b"no picture", jpeg(Image.new("RGB", (1200, 900), "tan")), b"\xff\xd8\xff" * 200_000],
    ids=["nothing", "text", "too many pixels", "too many bytes"],
)
def test_anything_but_a_small_jpeg_is_refused(cast, body):
    assert asked(cast, body).status_code == 400


def test_the_last_photo_of_each_foot_with_its_outline_as_it_is_shown(cast, birds):
    dill, flock = birds["Dill"], cast.flock
    photo(flock, dill, "2026-02-01", foot="left")
    newest = photo(flock, dill, "2026-03-01", foot="left", quarter_turns=1, edition="abcd1234")
    measured(newest)
    photo(flock, dill, None, foot="left")
    deleted = photo(flock, dill, "2026-03-05", foot="left")
    Photo.objects.filter(pk=deleted.pk).update(deleted_at=datetime(2026, 3, 6, tzinfo=UTC))
    undated = photo(flock, dill, None, foot="right")
    photo(flock, birds["Mace"], "2026-04-01", foot="left")
    url = reverse("photos:last", args=[flock.pk, dill.pk])
    found = cast.clients.keeper.get(url).json()
    left, right = found["left"], found["right"]
    assert left["url"].split("/photos/")[1] == f"{newest.pk}/800.jpg?v=abcd1234"
    assert (left["width"], left["height"]) == (900, 1200)
    # A quarter turn clockwise: x' = height − y, y' = x, counted at the edges of pixels.
    assert left["outline"] == "0.00 1.00 -1.00 0.00 899.50 0.50"
    assert len(left["points"].split()) == 72
    assert str(undated.pk) in right["url"] and "points" not in right
