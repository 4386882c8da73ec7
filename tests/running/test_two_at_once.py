"""Two who save the same at one moment: both had been told that it can be, and one comes second.

The first one's row is put in just before the second one's is saved. On PostgreSQL another
connection does that, and commits. On SQLite writers queue, so that it cannot happen; there the same
connection does it, and the row is gone again with what was refused. Real processes:
``test_processes``.
"""

import io
import uuid
from concurrent.futures import ThreadPoolExecutor

import pytest
from django.conf import settings
from django.db import connection
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from flockcare.birds import services as bird_services
from flockcare.birds.models import Bird, Breed, Weighing
from flockcare.care.models import CalendarLink, KitItem
from flockcare.feet import services as feet_services
from flockcare.feet.models import Check, FootFinding, Round
from flockcare.housing import services as housing_services
from flockcare.housing.models import Feature, House, HousingChange, Walk
from flockcare.people import services as people_services
from flockcare.people.models import Keeper, Membership
from flockcare.photos.models import Photo
from tests.people.page_forms import form_with

pytestmark = pytest.mark.django_db(transaction=True)
by_another = pytest.mark.skipif(
    not settings.POSTGRESQL, reason="On SQLite the second waits until the first is done."
)

ONCE_MORE = "Somebody else saved at the same moment. Save again."


def elsewhere(do) -> None:
    def work():
        do()
        connection.close()

    with ThreadPoolExecutor(1) as pool:
        pool.submit(work).result()


@pytest.fixture
def quicker(monkeypatch):
    """Another is quicker: they do it just before the next record of this model is saved."""

    def before(model, do):
        real, done = model.save, []

        def save(record, *args, **kwargs):
            if not done:
                done.append(record)
                elsewhere(do) if settings.POSTGRESQL else do()
            return real(record, *args, **kwargs)

        monkeypatch.setattr(model, "save", save)
        return done

    return before


def rows(cast, birds):
    """Of each model: the page, what is typed, and what the quicker one stores."""
    flock, dill = cast.flock, birds["Dill"]
    house = House.objects.create(flock=flock, name="Shed")
    today = timezone.localdate()
    return {
        Bird: (
            reverse("birds:add", args=[flock.pk]),
            {"name": "Thyme", "sex": "hen"},
            lambda: Bird.objects.bulk_create([Bird(flock=flock, name="Thyme")]),
            "Another bird of this flock has that name already.",
        ),
        Weighing: (
            reverse("birds:weighings", args=[flock.pk, dill.pk]),
            {"on": str(today), "grams": "2.1"},
            lambda: Weighing.objects.bulk_create(
                [Weighing(flock=flock, bird=dill, on=today, grams=2200)]
            ),
            "She has been weighed on this day already.",
        ),
        House: (
            reverse("housing:add", args=[flock.pk]),
            {"name": "Barn"},
            lambda: House.objects.bulk_create([House(flock=flock, name="Barn")]),
            "name already",
        ),
        Feature: (
            reverse("housing:feature_add", args=[flock.pk, house.pk]) + "?start=roost",
            {"name": "Bar", "kind": "roost", "since": str(today)},
            lambda: Feature.objects.bulk_create(
                [Feature(flock=flock, house=house, name="Bar", kind="roost")]
            ),
            "name already",
        ),
        KitItem: (
            reverse("care:item_new", args=[flock.pk]),
            {"name": "Gauze", "kind": "gauze"},
            lambda: KitItem.objects.bulk_create([KitItem(flock=flock, name="Gauze")]),
            "of that name already",
        ),
    }


@pytest.mark.parametrize("model", [Bird, Weighing, House, Feature, KitItem])
def test_what_may_be_there_once_is_asked_once_more(cast, birds, quicker, model):
    url, typed, do, words = rows(cast, birds)[model]
    known = model.objects.count()
    came = quicker(model, do)
    page = cast.clients.keeper.post(url, typed)
    assert came, page.text
    assert page.status_code in (200, 422)
    # Weighings look for themselves which it was, where the other one's row stays.
    told = words if model is Weighing and settings.POSTGRESQL else ONCE_MORE
    assert told in page.text
    assert f'value="{next(iter(typed.values()))}"' in page.text
    if not settings.POSTGRESQL:
        do()
    # The next try finds what the other has saved, and says so in its own words.
    assert words in cast.clients.keeper.post(url, typed).text
    assert model.objects.count() == known + 1


def test_an_edit_is_refused_in_the_words_of_the_record(cast, birds, quicker):
    url = reverse("birds:edit", args=[cast.flock.pk, birds["Dill"].pk])
    fields = form_with(cast.clients.keeper.get(url), "version") | {"name": ["Thyme"]}
    quicker(Bird, lambda: Bird.objects.bulk_create([Bird(flock=cast.flock, name="Thyme")]))
    page = cast.clients.keeper.post(url, fields)
    words = "Another bird of this flock has that name already."
    assert (words if settings.POSTGRESQL else ONCE_MORE) in page.text
    birds["Dill"].refresh_from_db()
    assert birds["Dill"].name == "Dill"


@by_another
def test_a_breed_that_two_name_at_once_is_one(cast, quicker):
    quicker(Breed, lambda: Breed.objects.bulk_create([Breed(flock=cast.flock, name="marans")]))
    bird = Bird(flock=cast.flock, name="Thyme")
    bird_services.add_bird(bird=bird, breed_name="Marans")
    assert bird.breed == Breed.objects.get()


@by_another
def test_a_round_that_two_begin_at_once_is_one(cast, birds, quicker):
    quicker(Round, lambda: Round.objects.bulk_create([Round(flock=cast.flock)]))
    url = reverse("pages:round_start", args=[cast.flock.pk])
    assert cast.clients.keeper.post(url, {"bird": birds["Dill"].pk}).status_code == 302
    assert Round.objects.get().birds.count() == 0


@by_another
def test_a_photo_that_two_send_at_once_is_one(cast, quicker):
    stream = io.BytesIO()
    Image.effect_noise((900, 600), 50).convert("RGB").save(stream, "JPEG")
    url = reverse("photos:add", args=[cast.flock.pk])

    def send():
        file = io.BytesIO(stream.getvalue())
        file.name = "foot.jpg"
        return cast.clients.keeper.post(url, {"photo": file})

    answers = []
    quicker(Photo, lambda: answers.append(send()))
    answers.append(send())
    assert [answer.status_code for answer in answers] == [201, 201]
    assert {answer.json()["id"] for answer in answers} == {str(Photo.objects.get().pk)}


@by_another
def test_the_same_check_twice_at_once_is_one(cast, birds, quicker):
    key, at = uuid.uuid4(), timezone.now()

    def save():
        return feet_services.save_check(
            flock=cast.flock,
            bird=birds["Dill"],
            keeper=cast.keeper,
            check_id=key,
            at=at,
            seen=feet_services.Seen([FootFinding(foot="left", score=0)]),
        )[1]

    answers = []
    quicker(Check, lambda: answers.append(save()))
    assert (save(), answers) == (False, [True])
    assert Check.objects.get().findings.count() == 1


def test_a_bird_that_is_removed_while_she_is_checked_is_said_to_be(cast):
    """Only at the end of a transaction is asked whether she is there."""
    url = reverse("check_bird", args=[cast.flock.pk, (bird := Bird(flock=cast.flock)).pk])
    bird.name = "Thyme"
    bird.save()
    fields = form_with(cast.clients.keeper.get(url), "check_id")
    fields |= {"verdict": ["both clear"]}
    real = Bird.objects.filter(pk=bird.pk)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(feet_services, "validate_moment", lambda *args, **kwargs: real.delete())
        page = cast.clients.keeper.post(url, fields)
    assert page.status_code == 422
    assert "Somebody has just deleted Thyme." in page.text
    assert not Check.objects.exists()


def test_the_words_of_two_on_one_day_are_joined(cast):
    house = House.objects.create(flock=cast.flock, name="Shed")
    today = timezone.localdate()
    for note in ("Drained.", "Chips laid."):
        told = HousingChange(kind="other", note=note)
        housing_services.change_features(
            house=house, on=today, changes={}, told=told, by=cast.keeper, today=today
        )
        walk = Walk(flock=cast.flock, house=house, on=today, note=note)
        housing_services.save_walk(walk=walk, answers={}, by=cast.keeper, today=today)
    assert HousingChange.objects.get().note == Walk.objects.get().note == "Drained.\nChips laid."


def test_a_plan_is_carried_out_once(cast):
    house = House.objects.create(flock=cast.flock, name="Shed")
    plan = HousingChange(flock=cast.flock, house=house, note="Lower it.")
    housing_services.plan_change(change=plan, states=[])
    url = reverse("housing:plan_done", args=[cast.flock.pk, plan.pk])
    today = timezone.localdate()
    housing_services.carry_out(
        plan=HousingChange.objects.get(pk=plan.pk), on=today, by=cast.owner, today=today
    )
    with pytest.raises(Exception, match="Somebody has just done this"):
        housing_services.carry_out(plan=plan, on=today, by=cast.keeper, today=today)
    assert cast.clients.keeper.post(url, {"on": str(today)}).status_code == 404
    assert HousingChange.objects.get().note == "Lower it."


@by_another
def test_a_sign_in_name_that_two_take_at_once_is_told_in_the_form(cast, quicker):
    _, token = people_services.invite(flock=cast.flock, role="viewer", by=cast.owner)
    taken = Keeper(name="Other", sign_in_name="thyme")
    quicker(Keeper, lambda: Keeper.objects.bulk_create([taken]))
    url = reverse("people:join", args=[token])
    typed = {"name": "Thyme", "sign_in_name": "thyme", "password": "straw and oats 8"}
    typed["password_again"] = typed["password"]
    page = Client().post(url, typed)
    assert "Somebody here already uses this sign-in name." in page.text
    assert Client().post(url, typed | {"sign_in_name": "thyme2"}).status_code == 302


def test_two_invitations_at_once_make_one_member(cast):
    tokens = [
        people_services.invite(flock=cast.flock, role="viewer", by=cast.owner)[1] for _ in range(2)
    ]
    for token in tokens:
        people_services.accept_invitation(token=token, keeper=cast.stranger)
    assert Membership.objects.filter(flock=cast.flock, keeper=cast.stranger).count() == 1


def test_the_usual_kit_and_a_calendar_are_made_once(cast):
    for _ in range(2):
        cast.clients.keeper.post(reverse("care:kit_fill", args=[cast.flock.pk]))
        cast.clients.keeper.post(reverse("reminders:calendar", args=[cast.flock.pk]), {})
    names = KitItem.objects.values_list("name", flat=True)
    assert len(names) == len(set(names)) > 3
    assert CalendarLink.objects.count() == 1
