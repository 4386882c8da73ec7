"""A photo that is on record elsewhere is named and can be moved; a card in one says whose it is."""

import json
import uuid

import pytest
from django.db import connection
from django.urls import reverse

from flockcare.birds.models import Bird
from flockcare.care.models import CareStep
from flockcare.feet.models import Check
from flockcare.offline.models import Receipt
from flockcare.people.models import Revision
from flockcare.photos import measuring
from flockcare.photos.models import CardReading, Photo
from tests.feet.test_check import SORE_LEFT, check_url, form, picture
from tests.offline.sends import body, send, send_photo
from tests.people.page_forms import form_with
from tests.photos import scenes
from tests.photos.test_measuring import picture as jpeg

pytestmark = pytest.mark.django_db


def add(cast, upload, bird=None) -> dict:
    said = {"photo": upload} | ({"bird": str(bird.pk)} if bird else {})
    return cast.clients.keeper.post(reverse("photos:add", args=[cast.flock.pk]), said).json()


@pytest.fixture
def of_mace(cast, birds):
    """A photo of Mace's left foot, in a check of hers."""
    said = {**form(**SORE_LEFT), "left-photos": [picture()]}
    cast.clients.keeper.post(check_url(cast, birds["Mace"]), said)
    return Photo.objects.get()


# Named, and moved in one tap


def test_the_upload_says_where_it_is_on_record(cast, birds, of_mace):
    answer = add(cast, picture(), birds["Dill"])
    assert answer["id"] == str(of_mace.pk)
    assert answer["elsewhere"]["words"].startswith("Mace, left foot, ")
    assert answer["elsewhere"]["page"] == reverse("photos:photo", args=[cast.flock.pk, of_mace.pk])
    assert "elsewhere" not in add(cast, picture(), birds["Mace"])
    assert "elsewhere" not in add(cast, picture("navy"), birds["Dill"])


WAYS = {
    "chosen before": lambda photo: {"left-kept_photo": str(photo.pk)},
    "with the form": lambda photo: {"left-photos": [picture()]},
}


@pytest.mark.parametrize("way", WAYS.values(), ids=WAYS)
@pytest.mark.parametrize("edited", [False, True])
def test_a_check_is_saved_without_it_and_says_so(cast, birds, of_mace, way, edited):
    client, url = cast.clients.keeper, check_url(cast, birds["Dill"])
    if edited:
        client.post(url, form(**SORE_LEFT))
        mine = Check.objects.get(bird=birds["Dill"])
        url = reverse("feet:check_edit", args=[cast.flock.pk, mine.pk])
    answer = client.post(url, {**form(**SORE_LEFT), "note": "Limps.", **way(of_mace)}, follow=True)
    mine, theirs = (Check.objects.get(bird=birds[name]) for name in ("Dill", "Mace"))
    assert mine.note == "Limps."
    assert not mine.photos.exists()
    assert "Mace, left foot, " in answer.text and "Move it here" in answer.text
    # One tap.
    client.post(reverse("move_photo", args=[cast.flock.pk, of_mace.pk]), form_with(answer, "to"))
    of_mace.refresh_from_db()
    assert (of_mace.bird, of_mace.foot) == (birds["Dill"], "")
    assert list(mine.photos.all()) == [of_mace]
    assert not theirs.photos.exists()


def test_the_tap_says_which_foot(cast, birds, of_mace):
    client = cast.clients.keeper
    said = {**form(**SORE_LEFT), "right-photos": [picture()]}
    page = client.post(check_url(cast, birds["Dill"]), said, follow=True).text
    assert 'name="foot" value="right"' in page
    mine = Check.objects.get(bird=birds["Dill"])
    move = reverse("move_photo", args=[cast.flock.pk, of_mace.pk])
    client.post(move, {"to": str(mine.pk), "foot": "right"})
    of_mace.refresh_from_db()
    assert (of_mace.bird, of_mace.foot) == (birds["Dill"], "right")


def test_a_refused_form_keeps_it_chosen(cast, birds, of_mace):
    said = {**form(**{"left-sites": "main"}), "left-kept_photo": str(of_mace.pk)}
    answer = cast.clients.keeper.post(check_url(cast, birds["Dill"]), said)
    assert answer.status_code == 422
    assert f'name="left-kept_photo" value="{of_mace.pk}"' in answer.text


@pytest.mark.parametrize("way", ["kept", "photos"])
def test_care_is_saved_without_it_and_says_so(cast, birds, of_mace, way):
    client = cast.clients.keeper
    sent = {"kept": str(of_mace.pk)} if way == "kept" else {"photos": [picture()]}
    said = {"kind": "soaked", "foot": "left", "who": str(cast.keeper.pk), "again": "no"}
    url = reverse("care:step_new", args=[cast.flock.pk, birds["Dill"].pk])
    answer = client.post(url, {**form(**said), "step_id": str(uuid.uuid4()), **sent}, follow=True)
    step = CareStep.objects.get()
    assert not step.photos.exists()
    assert "Mace, left foot, " in answer.text
    client.post(reverse("move_photo", args=[cast.flock.pk, of_mace.pk]), form_with(answer, "to"))
    assert list(step.photos.all()) == [of_mace]


def test_one_that_was_deleted_meanwhile_is_told(cast, birds):
    key = add(cast, picture(), birds["Dill"])["id"]
    Photo.objects.all().delete()
    said = {**form(**SORE_LEFT), "left-kept_photo": key}
    answer = cast.clients.keeper.post(check_url(cast, birds["Dill"]), said, follow=True)
    assert "1 chosen photo has been deleted since" in answer.text
    assert Check.objects.count() == 1


def test_logged_again_for_the_right_bird_with_the_same_photo(cast, birds, of_mace):
    """As a keeper does who deletes the check of the wrong bird and logs it anew."""
    client = cast.clients.keeper
    client.post(reverse("feet:check_delete", args=[cast.flock.pk, Check.objects.get().pk]))
    said = {**form(**SORE_LEFT), "left-kept_photo": add(cast, picture(), birds["Dill"])["id"]}
    answer = client.post(check_url(cast, birds["Dill"]), said, follow=True)
    assert "already on record" in answer.text


def test_what_is_gone_cannot_take_it_over(cast, birds, of_mace):
    move = reverse("move_photo", args=[cast.flock.pk, of_mace.pk])
    for to in (str(uuid.uuid4()), "it"):
        assert cast.clients.keeper.post(move, {"to": to, "foot": "left"}).status_code == 302
    assert cast.clients.keeper.post(move, {"to": to, "foot": "both"}).status_code == 404
    strange = Bird.objects.create(flock=cast.elsewhere, name="Strange")
    theirs = Check.objects.create(flock=cast.elsewhere, bird=strange, at=of_mace.added_at)
    cast.clients.keeper.post(move, {"to": str(theirs.pk), "foot": "left"})
    of_mace.refresh_from_db()
    assert of_mace.bird == birds["Mace"]


# From the outbox


@pytest.fixture
def waiting(cast, birds, of_mace):
    """The key of a check of Dill whose photo waits on the phone, and is Mace's so far."""
    key = uuid.uuid4()
    what = body(cast.flock, birds["Dill"], cast.keeper, ("left-score", "1"))
    assert send(cast.clients.keeper, cast.flock, what, key).status_code == 201
    return key


def test_the_record_is_stored_and_its_photo_is_refused_with_a_choice(cast, birds, waiting):
    answer = send_photo(cast.clients.keeper, cast.flock, waiting, cast.keeper)
    assert answer.status_code == 422
    assert answer.json()["elsewhere"]["words"].startswith("Mace, left foot, ")
    assert Check.objects.filter(pk=waiting).exists()


def test_chosen_to_be_moved_it_is(cast, birds, of_mace, waiting):
    key = uuid.uuid4()
    address = reverse("offline:photo", args=[cast.flock.pk, key])
    said = {"kind": "check", "record": str(waiting), "foot": "left", "take_over": "1"}
    for _ in range(2):  # its answer was lost
        sent = {**said, "keeper": str(cast.keeper.pk), "photo": picture()}
        assert cast.clients.keeper.post(address, sent).status_code == 201
    of_mace.refresh_from_db()
    assert (of_mace.bird, of_mace.foot) == (birds["Dill"], "left")
    assert [check.pk for check in of_mace.checks.all()] == [waiting]
    assert Receipt.objects.filter(pk=key).count() == 1
    (first,) = Revision.objects.filter(first=None)
    assert first.words == "Photo moved to Dill, left foot"


@pytest.mark.parametrize("kind", ["check", "step"])
def test_one_that_the_page_had_sent_is_named_in_the_notices(cast, birds, of_mace, kind):
    fields = {
        "check": [("left-score", "1"), ("left-kept_photo", str(of_mace.pk))],
        "step": [
            *(("kind", "soaked"), ("foot", "left"), ("who", str(cast.keeper.pk))),
            ("kept", str(of_mace.pk)),
        ],
    }[kind]
    what = body(cast.flock, birds["Dill"], cast.keeper, *fields, kind=kind)
    answer = send(cast.clients.keeper, cast.flock, what)
    assert answer.status_code == 201
    (notice,) = answer.json()["notices"]
    assert "already on record: Mace, left foot, " in notice


# The card


@pytest.fixture
def with_card(cast, birds):
    """A photo with the card of Mace's left foot in it."""
    code = measuring.card_code(birds["Mace"], "left")
    image = scenes.render(scenes.Scene(code=code, turn=25, tilt=10))
    upload = jpeg(image)
    upload.name = "card.jpg"
    return upload


def test_the_card_of_another_bird_is_read_at_the_upload(cast, birds, with_card):
    answer = add(cast, with_card, birds["Dill"])
    assert answer["card"] == {"bird": str(birds["Mace"].pk), "name": "Mace"}
    assert CardReading.objects.get().view is not None


def test_nothing_is_said_of_the_same_bird_or_without_a_card(cast, birds, with_card):
    assert "card" not in add(cast, with_card, birds["Mace"])
    assert CardReading.objects.count() == 1  # it can be measured all the same
    assert "card" not in add(cast, picture(), birds["Dill"])
    assert CardReading.objects.count() == 1


def test_a_card_of_nobody_here(cast, birds):
    image = scenes.render(scenes.Scene(code=str(uuid.uuid4()), turn=25, tilt=10))
    upload = jpeg(image)
    upload.name = "card.jpg"
    assert "card" not in add(cast, upload, birds["Dill"])


def test_the_reader_is_asked_for_only_where_a_bird_is_named(cast, birds, with_card):
    add(cast, with_card)
    assert not CardReading.objects.exists()


def test_what_was_read_is_not_read_again_for_measuring(cast, birds, with_card, monkeypatch):
    photo = Photo.objects.get(pk=add(cast, with_card, birds["Mace"])["id"])

    def fails(photo):
        raise AssertionError("It was read again.")

    monkeypatch.setattr(measuring, "read_card_anew", fails)
    assert measuring.card_scale(measuring.card_reading(photo)).view.code
    assert measuring.note_card(photo).code


def test_no_transaction_is_open_while_a_card_is_read(cast, birds, with_card, monkeypatch):
    depth, seen, real = len(connection.savepoint_ids), [], measuring.read_card

    def looks(image, film_focal=None):
        seen.append(len(connection.savepoint_ids))
        return real(image)

    monkeypatch.setattr(measuring, "read_card", looks)
    add(cast, with_card, birds["Dill"])
    assert seen and set(seen) == {depth}


def test_a_reader_that_fails_loses_no_photo(cast, birds, monkeypatch):
    def fails(image):
        raise RuntimeError("no luck")

    monkeypatch.setattr(measuring, "read_card", fails)
    assert add(cast, picture(), birds["Dill"])["id"]


def test_measure_now_after_saving_and_beside_the_photo(cast, birds, with_card):
    client, mace = cast.clients.keeper, birds["Mace"]
    key = add(cast, with_card, mace)["id"]
    said = {**form(**SORE_LEFT), "left-kept_photo": key}
    saved = client.post(check_url(cast, mace), said, follow=True).text
    measure = reverse("photos:measure", args=[cast.flock.pk, key])
    assert f'href="{measure}">Measure now' in saved
    check = reverse("feet:check", args=[cast.flock.pk, Check.objects.get().pk])
    for address in (check, mace.get_absolute_url()):
        assert measure in client.get(address).text
        assert measure not in cast.clients.viewer.get(address).text
    outline = scenes.project(scenes.Scene(turn=25, tilt=10), scenes.ellipse(7, 5)).tolist()
    said = {"do": "save", "outline": json.dumps(outline), "scaled_by": "card"}
    client.post(measure, said)
    assert Photo.objects.get().measurements.exists()
    for address in (check, mace.get_absolute_url()):
        assert measure not in client.get(address).text


def test_the_check_says_that_its_card_is_anothers(cast, birds, with_card):
    said = {**form(**SORE_LEFT), "left-kept_photo": add(cast, with_card, birds["Dill"])["id"]}
    saved = cast.clients.keeper.post(check_url(cast, birds["Dill"]), said, follow=True).text
    check = Check.objects.get()
    shown = cast.clients.keeper.get(reverse("feet:check", args=[cast.flock.pk, check.pk])).text
    for page in (saved, shown):
        assert "The card in this photo is Mace’s" in page and "Measure now" not in page
        assert reverse("move_check", args=[cast.flock.pk, check.pk]) in page
    hers = cast.clients.keeper.get(birds["Dill"].get_absolute_url()).text
    assert "Measure now" not in hers


def test_a_photo_from_the_outbox_says_whose_card_it_has(cast, birds, with_card):
    key = uuid.uuid4()
    what = body(cast.flock, birds["Dill"], cast.keeper, ("left-score", "1"))
    send(cast.clients.keeper, cast.flock, what, key)
    answer = send_photo(cast.clients.keeper, cast.flock, key, cast.keeper, with_card)
    assert answer.status_code == 201
    assert "The card in a photo of Dill is Mace’s." in answer.json()["notices"][0]
    assert CardReading.objects.count() == 1
