"""A bird that was added by mistake goes again, while nothing is recorded about her."""

import io
import uuid
import zipfile
from datetime import date

import pytest
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone

from flockcare.birds.models import Bird, Weighing
from flockcare.care.models import CareStep
from flockcare.exchange import importing
from flockcare.exchange.models import Import
from flockcare.feet.models import Check, Round, RoundBird
from flockcare.housing.models import Stay
from flockcare.pages.leaving import remove_bird
from flockcare.people.models import Flock, Revision
from flockcare.photos.models import Photo
from tests.housing.rows import house, stay
from tests.people.rows import NOT_WRITERS, refused

OFFER = "Added by mistake: delete her"


def url(cast, bird, tail="remove/"):
    return f"/f/{cast.flock.pk}/birds/{bird.pk}/{tail}"


def check_of(bird):
    Check.objects.create(flock=bird.flock, bird=bird, at=timezone.now())


def step_of(bird):
    CareStep.objects.create(
        flock=bird.flock, bird=bird, foot="left", kind="soaked", at=timezone.now()
    )


def weighing_of(bird):
    Weighing.objects.create(flock=bird.flock, bird=bird, on=date(2026, 5, 1), grams=2000)


def photo_of(bird, **more):
    Photo.objects.create(
        flock=bird.flock,
        bird=bird,
        width=9,
        height=9,
        stored_bytes=9,
        sha256=uuid.uuid4().hex * 2,
        look_hash=0,
        **more,
    )


def deleted_photo_of(bird):
    photo_of(bird, deleted_at=timezone.now())


def test_who_may(cast, birds):
    assert refused(cast, url(cast, birds["Dill"])) == NOT_WRITERS
    assert Bird.objects.count() == 3


@pytest.mark.parametrize("who", ["owner", "keeper"])
def test_owner_and_keeper_remove_and_bring_back(cast, birds, who):
    dill, client = birds["Dill"], getattr(cast.clients, who)
    assert OFFER in client.get(url(cast, dill, "leave/")).text
    page = client.post(url(cast, dill), follow=True).text
    assert not Bird.objects.filter(pk=dill.pk).exists()
    history = f"/f/{cast.flock.pk}/history/{dill.pk}/bird/"
    assert f'Dill is deleted. <a href="{history}">Restore her</a>' in page
    assert history in client.get(f"/f/{cast.flock.pk}/history/?removed").text
    gone = Revision.objects.get(record=dill.pk)
    assert gone.by == getattr(cast, who)
    client.post(f"{history}{gone.pk}/")
    there = Bird.objects.get(pk=dill.pk)
    assert (there.name, there.band) == ("Dill", "green 7")


def test_where_she_was_put_goes_and_comes_with_her(cast, birds):
    dill, barn = birds["Dill"], house(cast.flock, "Barn")
    stay(dill, barn, date(2026, 5, 1))
    round_ = Round.objects.create(
        flock=cast.flock, started_by=cast.keeper, started_at=timezone.now()
    )
    RoundBird.objects.create(round=round_, bird=dill, place=0)
    assert OFFER in cast.clients.keeper.get(url(cast, dill, "leave/")).text
    cast.clients.keeper.post(url(cast, dill))
    assert not Stay.objects.exists()
    assert cast.clients.keeper.get(f"/f/{cast.flock.pk}/round/").status_code == 200
    gone = Revision.objects.get(record=dill.pk)
    cast.clients.keeper.post(f"/f/{cast.flock.pk}/history/{dill.pk}/bird/{gone.pk}/")
    back = Stay.objects.get()
    assert (back.bird_id, back.house, back.since) == (dill.pk, barn, date(2026, 5, 1))


@pytest.mark.parametrize(
    ("record", "words"),
    [
        (check_of, "1 check of feet"),
        (step_of, "1 care record"),
        (weighing_of, "1 weighing"),
        (photo_of, "1 photo"),
        (deleted_photo_of, "1 photo"),
    ],
)
def test_not_while_something_is_recorded(cast, birds, record, words):
    dill = birds["Dill"]
    record(dill)
    page = cast.clients.keeper.get(url(cast, dill, "leave/")).text
    assert OFFER not in page
    assert f"cannot be deleted while there are records: {words}." in page
    assert "Wrong bird?" in page
    page = cast.clients.keeper.post(url(cast, dill), follow=True).text
    assert "Something is recorded about Dill already" in page
    with pytest.raises(ValidationError):
        remove_bird(bird=dill, by=cast.keeper)
    assert Bird.objects.filter(pk=dill.pk).exists()


def test_what_was_recorded_and_removed_again_does_not_keep_her(cast, birds):
    dill = birds["Dill"]
    weighing_of(dill)
    there = Weighing.objects.get()
    cast.clients.keeper.post(url(cast, dill, f"weighings/{there.pk}/delete/"))
    cast.clients.keeper.post(url(cast, dill))
    assert not Bird.objects.filter(pk=dill.pk).exists()


def test_an_export_tells_of_her_and_the_flock_made_of_it_can_bring_her_back(cast, birds):
    cast.clients.keeper.post(url(cast, birds["Dill"]))
    data = b"".join(cast.clients.keeper.get(f"/f/{cast.flock.pk}/records/export/"))
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        assert "Dill" not in archive.read("birds.csv").decode()
        assert "Dill" in archive.read("history.csv").decode()
    file = SimpleUploadedFile("records.zip", data)
    cast.clients.stranger.post("/flocks/import/", {"file": file, "name": "Second yard"})
    importing.work(Import.objects.get().pk)
    made = Flock.objects.get(name="Second yard")
    gone = Revision.objects.get(flock=made, kind="birds.Bird", action=Revision.Action.DELETE)
    cast.clients.stranger.post(f"/f/{made.pk}/history/{gone.record}/bird/{gone.pk}/")
    assert Bird.objects.filter(flock=made, name="Dill").exists()
