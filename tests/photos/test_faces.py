"""Every bird has a face: a photo of her, else a disc in the colour of her breed."""

import io
import re
from datetime import UTC, datetime, timedelta

import pytest
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from flockcare.birds.models import Bird, Breed
from flockcare.birds.plumage import initial, ink_on, plumage
from flockcare.drawing.timeline import Window
from flockcare.feet.models import Check
from flockcare.feet.sorting import loose
from flockcare.people.models import Revision
from flockcare.photos import editing
from flockcare.photos.faces import clear_face, faces_of, set_face
from flockcare.photos.layers import photos
from flockcare.photos.models import Photo
from flockcare.photos.series import shots_of
from flockcare.photos.services import add_photo
from tests.exchange.folders import picture
from tests.people.rows import FORM_PAGE, NOT_WRITERS, refused, seen

AT = datetime(2026, 5, 1, 9, tzinfo=UTC)


# --- The disc


@pytest.mark.parametrize(
    ("breed", "like"),
    [
        ("Buff Orpington", "Orpington"),
        ("Speckled Sussex", "Ancona"),
        ("White Leghorn", "Leghorn"),
        ("Black Orpingtons", "Australorp"),
        ("Barred Rock", "Plymouth Rock"),
        ("RIR", "Rhode Island Red"),
    ],
)
def test_colours_are_those_of_the_plumage(breed, like):
    """Common practice, no published source."""
    assert plumage(breed) == plumage(like) != plumage("")


def test_every_colour_can_be_read_on():
    """WCAG 2.2, 1.4.3: a contrast of 4.5 at least."""

    def luminance(colour):
        parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
        linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    names = ("Leghorn", "Sussex", "Orpington", "Sebright", "RIR", "Welsummer", "Australorp")
    for name in (*names, "Andalusian", "Dorking", "Ancona", ""):
        light, dark = sorted(map(luminance, (plumage(name), ink_on(plumage(name)))), reverse=True)
        assert (light + 0.05) / (dark + 0.05) >= 4.5, name


@pytest.mark.parametrize(
    ("name", "shown"),
    [("Dill", "D"), ("  éclair", "É"), ("Hen 12", "12"), ("№ 7", "7"), ("?", "?")],
)
def test_the_initial(name, shown):
    assert initial(name) == shown


# --- Choosing a photo


@pytest.fixture
def dill(birds, cast):
    breed = Breed.objects.create(flock=cast.flock, name="Buff Orpington")
    birds["Dill"].breed = breed
    birds["Dill"].save()
    return birds["Dill"]


def url(bird):
    return f"/f/{bird.flock_id}/photos/face/{bird.pk}/"


def upload(colour="red", name="hen.jpg"):
    return SimpleUploadedFile(name, picture(colour), "image/jpeg")


def photo_of(bird, colour="red", foot="", **more):
    found, _ = add_photo(
        **({"flock": bird.flock, "keeper": None, "bird": bird, "foot": foot} | more),
        upload=io.BytesIO(picture(colour)),
        name=f"{colour}.jpg",
    )
    return found


def shown(cast, bird):
    return faces_of(cast.flock)[bird.pk].url


def test_who_may(cast, dill):
    assert seen(cast, url(dill)) == FORM_PAGE
    assert refused(cast, url(dill), {"photo": upload()}) == NOT_WRITERS
    assert not Photo.objects.exists()


def test_taken_or_chosen_on_a_phone(cast, dill):
    page = cast.clients.keeper.get(url(dill)).text
    assert 'capture="environment"' in page and "data-at-once" in page
    done = cast.clients.keeper.post(url(dill), {"photo": upload()})
    assert done.url == f"/f/{cast.flock.pk}/birds/{dill.pk}/"
    photo = Photo.objects.get()
    assert (photo.bird, photo.foot, photo.keeper) == (dill, "", cast.keeper)
    assert shown(cast, dill).startswith(f"/f/{cast.flock.pk}/photos/{photo.pk}/240.jpg?v=")
    assert cast.clients.viewer.get(shown(cast, dill)).status_code == 200
    assert cast.clients.stranger.get(shown(cast, dill)).status_code == 404


def test_one_that_is_on_record(cast, dill):
    photo, of_a_foot = photo_of(dill), photo_of(dill, "blue", foot="left")
    page = cast.clients.keeper.get(url(dill)).text
    assert str(photo.pk) in page and str(of_a_foot.pk) not in page
    cast.clients.keeper.post(url(dill), {"choose": photo.pk})
    assert str(photo.pk) in shown(cast, dill)
    assert Revision.objects.get().before["face_since"] is None


def test_the_same_file_again_is_taken_as_it_is(cast, dill):
    photo = photo_of(dill)
    cast.clients.keeper.post(url(dill), {"photo": upload()})
    assert Photo.objects.count() == 1 and str(photo.pk) in shown(cast, dill)


def test_one_that_nobody_had_named_is_hers_now(cast, dill):
    photo_of(dill)
    Photo.objects.update(bird=None)
    cast.clients.keeper.post(url(dill), {"photo": upload()})
    assert Photo.objects.get().bird == dill and shown(cast, dill)


@pytest.mark.parametrize(
    ("kept", "words"),
    [
        ({"foot": "left"}, "saved already, as one of the left foot"),
        ({"of": "Mace"}, "saved already, as a photo of Mace"),
        ({"of_house": True}, "saved already, as one of a house"),
    ],
)
def test_what_shows_something_else_is_refused(cast, dill, birds, kept, words):
    photo = photo_of(birds[kept.get("of", "Dill")], foot=kept.get("foot", ""))
    if kept.get("of_house"):
        Photo.objects.filter(pk=photo.pk).update(bird=None, of_house=True)
    for data in ({"photo": upload()}, {"choose": photo.pk}):
        answer = cast.clients.keeper.post(url(dill), data)
        assert answer.status_code == 422 and words in answer.text
    assert not shown(cast, dill)
    assert not Photo.objects.exclude(face_since=None).exists()


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ({}, "Take or choose a photo first."),
        ({"choose": "x"}, "Take or choose a photo first."),
        ({"photo": SimpleUploadedFile("hen.pdf", b"%PDF-1.7 no picture")}, "hen.pdf"),
    ],
)
def test_nothing_and_what_is_no_picture(cast, dill, data, words):
    answer = cast.clients.keeper.post(url(dill), data)
    assert answer.status_code == 422 and words in answer.text


def test_a_photo_of_another_flock_is_not_found(cast, dill):
    other = Bird.objects.create(flock=cast.elsewhere, name="Rue")
    answer = cast.clients.keeper.post(url(dill), {"choose": photo_of(other).pk})
    assert answer.status_code == 422 and not shown(cast, dill)


# --- Which one counts


def test_the_one_chosen_last_counts_and_the_one_before_when_it_is_deleted(cast, dill):
    first, second = photo_of(dill), photo_of(dill, "blue")
    set_face(photo=second, bird=dill, by=None, now=AT)
    set_face(photo=first, bird=dill, by=None, now=AT + timedelta(1))
    assert str(first.pk) in shown(cast, dill)
    editing.delete(photo=first, keeper=cast.keeper)
    assert str(second.pk) in shown(cast, dill)
    editing.put_back(photo=first, keeper=cast.keeper)
    assert str(first.pk) in shown(cast, dill)
    clear_face(bird=dill, by=cast.keeper)
    assert not shown(cast, dill) and Photo.objects.count() == 2


def test_no_photo_again_by_one_tap(cast, dill):
    set_face(photo=photo_of(dill), bird=dill, by=None)
    assert 'name="none"' in cast.clients.keeper.get(url(dill)).text
    cast.clients.keeper.post(url(dill), {"none": ""})
    assert not shown(cast, dill) and 'name="none"' not in cast.clients.keeper.get(url(dill)).text


def test_what_turns_out_to_be_a_foot_is_no_face_any_more(cast, dill):
    set_face(photo=photo_of(dill), bird=dill, by=None)
    Photo.objects.update(foot="left")
    assert not shown(cast, dill)


def test_a_turned_photo_has_a_new_address(cast, dill):
    photo = photo_of(dill)
    set_face(photo=photo, bird=dill, by=None)
    before = shown(cast, dill)
    editing.turn(photo=Photo.objects.get(), keeper=cast.keeper, quarter_turns=1)
    assert shown(cast, dill) != before


# --- It is no photo of a foot


def test_it_is_in_no_series_and_not_to_be_sorted(cast, dill):
    face, other = photo_of(dill), photo_of(dill, "blue")
    set_face(photo=face, bird=dill, by=None)
    assert list(loose(cast.flock)) == [other]
    assert shots_of(dill, "left") == shots_of(dill, "right") == []


def test_a_vet_sees_it_only_where_it_tells_of_a_check(cast, dill):
    face, told = photo_of(dill), photo_of(dill, "blue")
    for photo in (face, told):
        set_face(photo=photo, bird=dill, by=None)
    check = Check.objects.create(flock=cast.flock, bird=dill, at=timezone.now())
    check.photos.add(told)
    sheet = cast.clients.keeper.get(reverse("vetsheet:sheet", args=[cast.flock.pk, dill.pk])).text
    assert str(told.pk) in sheet
    assert str(face.pk) not in sheet


# --- Where it is shown


def faces_on(text):
    return re.findall(r'<(img|svg) class="face( large)?"', text)


def test_it_stands_beside_her_name(cast, dill):
    photo = photo_of(dill)
    set_face(photo=photo, bird=dill, by=None)
    base = f"/f/{cast.flock.pk}"
    client = cast.clients.keeper
    for page in (
        reverse("today", args=[cast.flock.pk]),
        f"{base}/birds/",
        reverse("pick", args=[cast.flock.pk]),
    ):
        text = client.get(page).text
        assert sorted(kind for kind, _ in faces_on(text)) == ["img", "svg", "svg"], page
        assert f"{photo.pk}/240.jpg?v=" in text
    assert faces_on(client.get(f"{base}/birds/{dill.pk}/").text) == [("img", " large")]
    clear_face(bird=dill, by=None)
    text = client.get(f"{base}/birds/{dill.pk}/").text
    assert faces_on(text) == [("svg", " large")]
    assert f'fill="{plumage("Buff Orpington")}"' in text and ">D</text>" in text


def test_on_a_round_too(cast, dill):
    client = cast.clients.keeper
    client.post(reverse("pages:round_start", args=[cast.flock.pk]))
    text = client.get(reverse("feet:round", args=[cast.flock.pk])).text
    assert len(faces_on(text)) == 3


def test_a_viewer_cannot_tap_it(cast, dill):
    page = f"/f/{cast.flock.pk}/birds/{dill.pk}/"
    assert url(dill) in cast.clients.keeper.get(page).text
    assert url(dill) not in cast.clients.viewer.get(page).text


def test_one_query_whatever_the_number_of_birds(cast, dill):
    set_face(photo=photo_of(dill), bird=dill, by=None)

    def asked():
        with CaptureQueriesContext(connection) as queries:
            cast.clients.keeper.get(f"/f/{cast.flock.pk}/birds/")
        return [one["sql"] for one in queries if "face_since" in one["sql"]]

    few = len(asked())
    Bird.objects.bulk_create(Bird(flock=cast.flock, name=f"Hen {n}") for n in range(20))
    assert len(asked()) == few == 1


def test_a_page_without_faces_asks_for_none(cast):
    with CaptureQueriesContext(connection) as queries:
        cast.clients.keeper.get(reverse("birds:breeds", args=[cast.flock.pk]))
    assert not [one for one in queries if "face_since" in one["sql"]]


def test_a_face_that_is_none_is_refused_by_the_service(cast, dill, birds):
    with pytest.raises(ValidationError):
        set_face(photo=photo_of(birds["Mace"]), bird=dill, by=None)


def test_a_portrait_without_a_date_has_no_place_on_her_timeline(cast, dill):
    today = timezone.localdate()
    window = Window(today - timedelta(9), today, cast.flock.zone)
    face, other = photo_of(dill), photo_of(dill, "blue")
    set_face(photo=face, bird=dill, by=None)
    assert [str(other.pk) in mark.url for mark in photos(dill, window)] == [True]
    Photo.objects.filter(pk=face.pk).update(taken_source="hand")
    assert len(photos(dill, window)) == 2
