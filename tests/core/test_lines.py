"""A text of one line stays on one line, whichever way it comes in."""

import pytest
from django.apps import apps
from django.core.exceptions import ValidationError
from django.db import models
from django.urls import reverse

from flockcare.birds.models import Bird, Breed
from flockcare.birds.services import NewBird, add_birds
from flockcare.care.models import CareStep, KitItem
from flockcare.core.dates import PartialDateField
from flockcare.core.lines import LineField, one_line
from flockcare.housing.models import House
from flockcare.people.models import Keeper
from flockcare.people.services import invite
from tests.conftest import PASSWORD
from tests.offline.sends import body, send

pytestmark = pytest.mark.django_db
BREAKS = ["\n", "\r\n", "\r", "\v", "\f", "\x1c", "\x85", "\u2028", "\u2029", "\t", "\x1b"]
SAID = "on one line"
# Made by the program, never typed: hashes, keys, names of models. The zone is one of a list.
NOT_TYPED = {
    "exchange.Import": {"told"},
    "exchange.TableMapping": {"table", "head"},
    "offline.Receipt": {"kind", "body_hash"},
    "people.Byline": {"field"},
    "people.Flock": {"time_zone"},
    "people.Keeper": {"password"},
    "people.Revision": {"kind", "words", "by_name"},
    "people.SignInAttempt": {"name", "address"},
    "reminders.Phone": {"endpoint", "p256dh", "auth"},
    "reminders.Reminders": {"address", "site"},
    "reminders.Sent": {"to"},
    "photos.CardReading": {"code"},
    "photos.Photo": {"sha256", "edition", "stored_as"},
}


def test_every_short_text_that_is_typed_is_one_line():
    """A new one fails here until it is a LineField or listed as not typed."""
    loose = {
        f"{model._meta.label}.{field.name}"
        for model in apps.get_models()
        if model.__module__.startswith("flockcare.")
        for field in model._meta.fields
        if isinstance(field, models.CharField)
        and not isinstance(field, LineField | PartialDateField)
        and not field.choices
        and field.name != "token_hash"
        and field.name not in NOT_TYPED.get(model._meta.label, ())
    }
    assert loose == set()


@pytest.mark.parametrize("sign", BREAKS)
def test_what_breaks_a_line_is_refused(cast, sign):
    with pytest.raises(ValidationError, match=SAID):
        Bird(flock=cast.flock, name=f"Dill{sign}Weed").full_clean()


@pytest.mark.parametrize("name", ["Dill", "Ana María", "小春", "🐔‍👶", "d’Uccle\u00a0–\u202f7"])
def test_what_does_not_is_kept(name):
    one_line(name)


def page(name):
    return lambda cast: reverse(name, args=[cast.flock.pk])


FORMS = [
    (page("birds:add"), {"name": "Dill\nWeed", "sex": "hen"}),
    (page("birds:add"), {"name": "Dill", "sex": "hen", "breed_name": "Sus\nsex"}),
    (page("birds:add"), {"name": "Dill", "sex": "hen", "band_number": "1\n2"}),
    (page("people:settings"), {"name": "Hill\nFlock", "time_zone": "UTC", "units": "metric"}),
    (page("housing:add"), {"name": "Cart\nShed"}),
    (page("care:item_new"), {"name": "Gau\nze", "kind": "other"}),
    (lambda cast: "/account/", {"name": "Ro\ns"}),
    (lambda cast: "/flocks/new/", {"name": "A\nB", "time_zone": "UTC", "units": "metric"}),
]


@pytest.mark.parametrize(("where", "sent"), FORMS)
def test_a_form_says_so_and_keeps_what_was_typed(cast, where, sent):
    before = [model.objects.count() for model in (Bird, Breed, House, KitItem)]
    answer = cast.clients.owner.post(where(cast), sent)
    assert answer.status_code in (200, 422) and SAID in answer.text
    typed = next(value for value in sent.values() if "\n" in value)
    assert f'value="{typed}"' in answer.text
    assert [model.objects.count() for model in (Bird, Breed, House, KitItem)] == before
    for record in (cast.flock, cast.owner):
        record.refresh_from_db()
        assert "\n" not in record.name


def test_a_new_keeper_has_a_name_of_one_line(cast, client):
    _, token = invite(flock=cast.flock, role="viewer", by=cast.owner)
    sent = {"name": "U\nna", "sign_in_name": "una"}
    answer = client.post(
        f"/join/{token}/", {**sent, "password": PASSWORD, "password_again": PASSWORD}
    )
    assert SAID in answer.text and not Keeper.objects.filter(sign_in_name="una").exists()


def test_a_list_of_birds_has_no_hidden_signs(cast):
    where = reverse("birds:add_many", args=[cast.flock.pk])
    answer = cast.clients.owner.post(where, {"lines": "Dill\x1b[31m\nMace\tred"})
    assert "invisible character" in answer.text and not Bird.objects.exists()
    assert (
        cast.clients.owner.post(where, {"lines": "Dill\nMace\tred", "add": ""}).status_code == 302
    )


def test_a_service_refuses_it_too(cast):
    with pytest.raises(ValidationError, match=SAID):
        add_birds(flock=cast.flock, birds=[NewBird("Dill", breed="Sus\nsex")])
    assert not Bird.objects.exists() and not Breed.objects.exists()


def test_a_phone_is_told_so(cast, birds):
    said = [("kind", "ointment"), ("foot", "left"), ("product", "Sal\nve")]
    what = body(cast.flock, birds["Dill"], cast.keeper, *said, kind="step")
    answer = send(cast.clients.keeper, cast.flock, what)
    assert answer.status_code == 422 and SAID in " ".join(answer.json()["reasons"])
    assert not CareStep.objects.exists()
