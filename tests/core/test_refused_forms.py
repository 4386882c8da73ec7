"""What is typed on a form stays: as a draft until it is saved, on the form when it is refused."""

import pytest
from django.test import Client
from django.urls import reverse

from flockcare.care.models import VetContact
from flockcare.core.drafts import SAVED

pytestmark = pytest.mark.django_db


# Which draft may go


def add_a_vet(client, flock, name):
    said = {"name": name, "telephone": "01632 960001", "draft": "vet/1"}
    return client.post(reverse("care:vet_new", args=[flock.pk]), said)


def test_who_saved_a_form_hears_which_draft_may_go(cast):
    saved = add_a_vet(cast.clients.keeper, cast.flock, "Surgery")
    assert saved.status_code == 302 and saved.cookies[SAVED].value == "vet%2F1"
    assert VetContact.objects.filter(name="Surgery").exists()


def test_what_was_refused_and_what_nobody_signed_in_sent_stay_drafts(cast):
    for client in (cast.clients.keeper, Client(), cast.clients.viewer, cast.clients.stranger):
        assert SAVED not in add_a_vet(client, cast.flock, "").cookies
    to_sign_in = add_a_vet(Client(), cast.flock, "Surgery")
    assert to_sign_in.status_code == 302 and SAVED not in to_sign_in.cookies
