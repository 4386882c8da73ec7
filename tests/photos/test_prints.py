"""How large the cards were printed, and how high a sore stood above them."""

import json
from datetime import UTC, date, datetime

import pytest
from django.urls import reverse
from shapely.geometry import Polygon

from flockcare.photos import cards, measuring
from flockcare.photos.models import CardPrint, Measurement
from flockcare.photos.prints import print_for
from tests.photos import scenes
from tests.photos.test_measuring import ask, kept, with_sore

pytestmark = pytest.mark.django_db


@pytest.fixture
def photo(cast, birds):
    scene = scenes.Scene(code=measuring.card_code(birds["Dill"]), turn=25, tilt=15)
    photo = kept(cast, with_sore(scene, scenes.ellipse(7, 5)), birds["Dill"])
    photo.outline = json.dumps(scenes.project(scene, scenes.ellipse(7, 5)).tolist())
    photo.raised = json.dumps(scenes.project(scene, scenes.ellipse(7, 5), 5).tolist())
    return photo


def save(cast, photo, outline=None, **data):
    answer = ask(cast.clients.keeper, photo, "save", outline=outline or photo.outline, **data)
    assert "saved" in answer.json(), answer.json()
    return Measurement.objects.latest("at")


def tell(cast, across, down, client="keeper"):
    url = reverse("photos:card_print", args=[cast.flock.pk])
    said = {"across_mm": across, "down_mm": down}
    return getattr(cast.clients, client).post(url, said)


def test_the_card_spans_what_the_page_says():
    # Black squares of 6 mm: the picture's own black says how far they reach.
    assert pytest.approx((95.0, 49.5)) == cards.SPAN


def test_a_print_of_97_percent_is_allowed_for_once_it_was_measured(cast, photo):
    true = Polygon(scenes.ellipse(7, 5)).area * 0.97**2
    before = save(cast, photo, height_mm="0")
    assert abs(before.area_mm2 / true - 1) > 0.05
    assert abs(before.area_mm2 - true) < before.area_error_mm2
    answer = tell(cast, 95.0 * 0.97, 49.5 * 0.97)
    assert answer.status_code == 302
    after = save(cast, photo, height_mm="0")
    assert after.area_mm2 == pytest.approx(true, rel=0.02)
    assert abs(after.area_mm2 - true) < after.area_error_mm2 < before.area_error_mm2


def test_the_page_says_what_was_measured(cast, photo):
    page = reverse("photos:cards", args=[cast.flock.pk])
    assert "may be\n6% off" in cast.clients.viewer.get(page).content.decode()
    tell(cast, 94.1, 49.0)
    text = cast.clients.viewer.get(page).content.decode()
    assert "94.1 mm across" in text and "6% off" not in text


@pytest.mark.parametrize(
    ("across", "down"), [(9.5, 49.5), (95, 495), ("", 49.5), ("wide", 49.5), (-95, 49.5)]
)
def test_a_length_that_is_not_our_cards_is_refused_at_its_field(cast, birds, across, down):
    answer = tell(cast, across, down)
    assert answer.status_code == 422 and not CardPrint.objects.exists()
    text = answer.content.decode()
    assert str(across) in text and 'class="errorlist"' in text


def test_only_keepers_say_how_cards_were_printed(cast):
    assert tell(cast, 95, 49.5, "viewer").status_code == 403
    assert tell(cast, 95, 49.5, "stranger").status_code == 404


def test_each_photo_goes_by_the_print_of_its_time(cast, photo):
    first, second = (
        CardPrint.objects.create(flock=cast.flock, on=on, across_mm=mm, down_mm=49.5)
        for on, mm in ((date(2026, 3, 1), 92.0), (date(2026, 6, 1), 95.0))
    )
    for day, expected in (("2026-01-05", first), ("2026-03-09", first), ("2026-07-01", second)):
        photo.taken = datetime.fromisoformat(day).replace(tzinfo=UTC)
        assert print_for(photo) == expected
    photo.taken = None
    assert print_for(photo) == first
    CardPrint.objects.all().delete()
    assert print_for(photo) is None


def test_a_sore_above_the_card_is_not_taken_for_a_larger_one(cast, photo):
    true = Polygon(scenes.ellipse(7, 5)).area
    tell(cast, 95, 49.5)
    level = save(cast, photo, photo.raised, height_mm="0")
    raised = save(cast, photo, photo.raised, height_mm="5")
    unsaid = save(cast, photo, photo.raised)
    assert level.area_mm2 / true > 1.04
    assert raised.area_mm2 == pytest.approx(true, rel=0.02) and raised.height_mm == 5
    # Nobody checked: the area is that of the card's plane, and its error says so.
    assert unsaid.area_mm2 == pytest.approx(level.area_mm2) and unsaid.height_mm is None
    assert unsaid.relative_area_error > level.relative_area_error + 0.005


def test_measuring_again_begins_as_it_was_measured(cast, photo):
    save(cast, photo, height_mm="3")
    text = cast.clients.keeper.get(
        reverse("photos:measure", args=[photo.flock_id, photo.pk])
    ).content.decode()
    assert 'name="height_mm" value="3"' in text
    chosen = text.split('name="height_mm" value="3"')[1].split(">")[0]
    assert "checked" in chosen
