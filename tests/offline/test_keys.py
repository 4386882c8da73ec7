"""The key of a record is made on the phone: what comes under it twice, here and in other flocks."""

import uuid

import pytest
from django.db.models import F
from django.urls import reverse

from flockcare.birds.models import Bird, Weighing
from flockcare.care.models import CareStep, KitItem
from flockcare.feet.models import Check
from flockcare.offline.models import Receipt
from flockcare.pages.kinds import KINDS as KINDS_OF_RECORDS
from flockcare.people import restoring
from flockcare.people.models import Revision
from flockcare.photos.models import Photo
from tests.offline.sends import body, local, picture, send, send_photo

pytestmark = pytest.mark.django_db

MODELS = {"check": Check, "step": CareStep, "weighing": Weighing}
KEY_FIELDS = {"check": "check_id", "step": "step_id", "weighing": "weighing_id"}
PAGES = {"check": "check_bird", "step": "care:step_new", "weighing": "birds:weighings"}
KINDS = pytest.mark.parametrize("kind", MODELS)
TAKEN = "This cannot be saved again. Open a new form, and enter it there."


def said(kind, flock, keeper, **otherwise) -> dict:
    """The fields of the form of this kind."""
    fields = {
        "check": {"at": local(flock, days_ago=1), "left-score": "1", "note": "Limps."},
        "step": {
            "at": local(flock, days_ago=1),
            "kind": "soaked",
            "foot": "left",
            "product": "warm water",
            "again": "usual",
            "who": str(keeper.pk),
        },
        "weighing": {"on": local(flock, days_ago=1)[:10], "grams": "2.95"},
    }[kind]
    return {**fields, **otherwise}


def to_outbox(who, flock, bird, kind, key, fields):
    client, keeper = who
    what = body(flock, bird, keeper, kind=kind)
    what["fields"] = [list(field) for field in fields.items()]
    return send(client, flock, what, key)


def to_page(who, flock, bird, kind, key, fields, *, follow=False):
    address = reverse(PAGES[kind], args=[flock.pk, bird.pk])
    return who[0].post(address, {**fields, KEY_FIELDS[kind]: key}, follow=follow)


@pytest.fixture
def me(cast):
    return cast.clients.keeper, cast.keeper


@pytest.fixture
def strange(cast):
    """A stranger, and a hen of theirs."""
    hen = Bird.objects.create(flock=cast.elsewhere, name="Strange")
    return (cast.clients.stranger, cast.stranger), hen


CORRECTED = [
    ("check", {"left-score": "2"}),
    ("check", {"right-score": "0"}),
    ("check", {"note": "Walks well."}),
    ("check", {"gait": "2"}),
    ("check", {"at": 3}),
    ("step", {"kind": "rinsed"}),
    ("step", {"foot": "right"}),
    ("step", {"product": "Epsom salt"}),
    ("step", {"note": "She kicked."}),
    ("step", {"again": "no"}),
    ("step", {"who": "vet"}),
    ("step", {"at": 3}),
    ("weighing", {"grams": "2.9"}),
    ("weighing", {"on": 3}),
]


@pytest.mark.parametrize(("kind", "otherwise"), CORRECTED)
@pytest.mark.parametrize("way", [to_outbox, to_page])
def test_what_was_corrected_is_never_acknowledged_and_dropped(
    cast, birds, me, kind, otherwise, way
):
    """The first had been stored by the page, and only its answer was lost."""
    key, dill = uuid.uuid4(), birds["Dill"]
    otherwise = {
        name: local(cast.flock, days_ago=value)[: 10 if name == "on" else None]
        if isinstance(value, int)
        else value
        for name, value in otherwise.items()
    }
    first = said(kind, cast.flock, cast.keeper)
    assert to_page(me, cast.flock, dill, kind, key, first).status_code == 302
    stored = MODELS[kind].objects.filter(pk=key).values().get()
    answer = way(me, cast.flock, dill, kind, key, {**first, **otherwise})
    if way is to_outbox:
        assert answer.status_code == 409
        assert "This is saved already, with different values: Dill, " in answer.json()["reasons"][0]
        link = answer.json()["url"]
    else:
        assert answer.status_code in (200, 422)
        assert "This is saved already, with other details." in answer.text
        link = next(part for part in answer.text.split('"') if str(key) in part and "/" in part)
    assert cast.clients.keeper.get(link).status_code == 200
    assert list(MODELS[kind].objects.values()) == [stored]


@KINDS
@pytest.mark.parametrize("way", [to_outbox, to_page])
def test_under_another_bird(cast, birds, me, kind, way):
    key, fields = uuid.uuid4(), said(kind, cast.flock, cast.keeper)
    to_page(me, cast.flock, birds["Dill"], kind, key, fields)
    answer = way(me, cast.flock, birds["Mace"], kind, key, fields)
    assert answer.status_code == (409 if way is to_outbox else answer.status_code)
    assert "This is saved already" in answer.text
    assert [record.bird for record in MODELS[kind].objects.all()] == [birds["Dill"]]


@KINDS
@pytest.mark.parametrize("way", [to_outbox, to_page])
def test_the_same_again_is_stored_once(cast, birds, me, kind, way):
    key, fields = uuid.uuid4(), said(kind, cast.flock, cast.keeper)
    to_page(me, cast.flock, birds["Dill"], kind, key, fields)
    answer = way(me, cast.flock, birds["Dill"], kind, key, fields)
    assert answer.status_code == (201 if way is to_outbox else 302)
    assert MODELS[kind].objects.count() == 1


@pytest.mark.parametrize(
    ("kind", "field"), [("check", "left-photos"), ("check", "bird-photos"), ("step", "photos")]
)
def test_a_photo_that_comes_only_with_the_second_sending_belongs_to_the_record(
    cast, birds, me, kind, field
):
    key, fields = uuid.uuid4(), said(kind, cast.flock, cast.keeper)
    to_page(me, cast.flock, birds["Dill"], kind, key, fields)
    to_page(me, cast.flock, birds["Dill"], kind, key, {**fields, field: picture()})
    record = MODELS[kind].objects.get()
    assert [photo.bird for photo in record.photos.all()] == [birds["Dill"]]


def test_what_a_step_used_is_off_the_stock_once(cast, birds, me):
    salt = KitItem.objects.create(flock=cast.flock, name="Epsom salt", stock=10)
    key = uuid.uuid4()
    fields = said("step", cast.flock, cast.keeper, item=str(salt.pk), amount="2")
    for amount, way in (("2", to_page), ("2", to_page), ("3", to_page), ("3", to_outbox)):
        way(me, cast.flock, birds["Dill"], "step", key, {**fields, "amount": amount})
    salt.refresh_from_db()
    assert salt.stock == 8


# Of another flock


@KINDS
@pytest.mark.parametrize("way", [to_outbox, to_page])
@pytest.mark.parametrize("theirs", [to_outbox, to_page])
@pytest.mark.parametrize("fate", ["there", "deleted"])
def test_a_key_of_another_flock_tells_nothing_of_it(
    cast, birds, me, strange, kind, way, theirs, fate
):
    key, (stranger, hen) = uuid.uuid4(), strange
    theirs(stranger, cast.elsewhere, hen, kind, key, said(kind, cast.elsewhere, cast.stranger))
    if fate == "deleted":
        address = {
            "check": reverse("feet:check_delete", args=[cast.elsewhere.pk, key]),
            "step": reverse("care:undo", args=[cast.elsewhere.pk, key]),
            "weighing": reverse("birds:weighing_delete", args=[cast.elsewhere.pk, hen.pk, key]),
        }[kind]
        cast.clients.stranger.post(address)
    before = list(MODELS[kind].objects.values())
    fields = said(kind, cast.flock, cast.keeper)
    answer = way(me, cast.flock, birds["Dill"], kind, key, fields)
    assert TAKEN in answer.text
    if way is to_outbox:
        assert answer.status_code == 409
        assert answer.json() == {"key": str(key), "reasons": [TAKEN], "url": ""}
    assert not any(word in answer.text for word in ("Strange", "Elsewhere", str(cast.elsewhere.pk)))
    assert list(MODELS[kind].objects.values()) == before
    assert not Receipt.objects.filter(flock=cast.flock).exists()
    if fate == "deleted":
        # And it can come back to where it was.
        kept = Revision.objects.get(record=key)
        restoring.bring_back(revision=kept, kinds=KINDS_OF_RECORDS, by=cast.stranger)
        assert MODELS[kind].objects.get().flock == cast.elsewhere


@KINDS
@pytest.mark.parametrize("way", [to_outbox, to_page])
def test_what_was_deleted_does_not_come_back_by_being_sent_again(cast, birds, me, kind, way):
    key, dill, fields = uuid.uuid4(), birds["Dill"], said(kind, cast.flock, cast.keeper)
    to_page(me, cast.flock, dill, kind, key, fields)
    address = {
        "check": reverse("feet:check_delete", args=[cast.flock.pk, key]),
        "step": reverse("care:undo", args=[cast.flock.pk, key]),
        "weighing": reverse("birds:weighing_delete", args=[cast.flock.pk, dill.pk, key]),
    }[kind]
    cast.clients.owner.post(address)
    assert not MODELS[kind].objects.exists()
    answer = way(me, cast.flock, dill, kind, key, fields)
    assert "This was saved, and Owner has deleted it since." in answer.text
    assert not MODELS[kind].objects.exists()
    # Whoever has no account here any more is known by name.
    Revision.objects.filter(record=key).update(by=None, by_name="Rose")
    answer = way(me, cast.flock, dill, kind, key, fields)
    assert "This was saved, and Rose has deleted it since." in answer.text


def test_what_was_deleted_and_brought_back_is_there_when_it_is_sent_again(cast, birds, me):
    key, dill, fields = uuid.uuid4(), birds["Dill"], said("check", cast.flock, cast.keeper)
    to_page(me, cast.flock, dill, "check", key, fields)
    cast.clients.owner.post(reverse("feet:check_delete", args=[cast.flock.pk, key]))
    kept = Revision.objects.get(record=key)
    restoring.bring_back(revision=kept, kinds=KINDS_OF_RECORDS, by=cast.owner)
    assert Check.objects.count() == 1
    assert to_outbox(me, cast.flock, dill, "check", key, fields).status_code == 201


@pytest.mark.parametrize("fate", ["there", "deleted"])
@pytest.mark.parametrize("same", [True, False])
def test_a_photo_under_the_key_of_one_of_another_flock(cast, birds, me, strange, fate, same):
    key, (stranger, hen) = uuid.uuid4(), strange
    theirs, mine = uuid.uuid4(), uuid.uuid4()
    to_outbox(
        stranger, cast.elsewhere, hen, "check", theirs,
        said("check", cast.elsewhere, cast.stranger),
    )  # fmt: skip
    send_photo(cast.clients.stranger, cast.elsewhere, theirs, cast.stranger, picture(), key=key)
    Receipt.objects.filter(pk=key).delete()  # as if it had come by a page
    if fate == "deleted":
        Photo.objects.update(deleted_at=F("added_at"))
    to_outbox(me, cast.flock, birds["Dill"], "check", mine, said("check", cast.flock, cast.keeper))
    upload = picture("tan" if same else "navy")
    answer = send_photo(cast.clients.keeper, cast.flock, mine, cast.keeper, upload, key=key)
    assert (answer.status_code, answer.json()["reasons"]) == (409, [TAKEN])
    assert [photo.flock for photo in Photo.with_deleted.all()] == [cast.elsewhere]


def test_a_photo_under_the_key_of_another_photo_of_the_flock(cast, birds, me):
    mine = uuid.uuid4()
    to_outbox(me, cast.flock, birds["Dill"], "check", mine, said("check", cast.flock, cast.keeper))
    page = cast.clients.keeper.post(f"/f/{cast.flock.pk}/photos/add/", {"photo": picture()})
    key = page.json()["id"]
    other = send_photo(cast.clients.keeper, cast.flock, mine, cast.keeper, picture("navy"), key=key)
    assert (other.status_code, other.json()["reasons"]) == (409, [TAKEN])
    same = send_photo(cast.clients.keeper, cast.flock, mine, cast.keeper, picture(), key=key)
    assert same.status_code == 201
    assert Photo.objects.get().checks.get().pk == mine
