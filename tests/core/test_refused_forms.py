"""What is typed on a form stays: as a draft until it is saved, on the form when it is refused."""

import uuid

import pytest
from django.test import Client
from django.urls import reverse

from flockcare.care.models import VetContact
from flockcare.core.drafts import SAVED
from flockcare.photos.models import Photo
from tests.core.test_access import IN_A_FLOCK, address, records
from tests.people.page_forms import Page, PageForm

pytestmark = pytest.mark.django_db
# What leads past a first choice, where an address begins with one.
MORE = {
    "housing:add": ("?shape=shed", "?shape=empty"),
    "housing:feature_add": ("?start=roost", "?start=floor"),
}
# A draft would do harm there, or has nothing to keep.
WITHOUT_DRAFT = {
    # Settings: an old draft would put back quietly what somebody has chosen since.
    "people:settings",
    "reminders:page",
    "care:task_settings",
    # Taps and sliders that show what they do at once.
    "feet:sort",
    "feet:sort_one",
    "photos:crop",
    "photos:measure",
    # Asked on the spot, of the bird in the hand, and stored nowhere.
    "care:opening",
    # Saved, it shows the one address of a link and leads nowhere; Back has what was typed.
    "vetsheet:sheet",
}


def forms(cast) -> list[tuple[str, str, PageForm]]:
    """Name of the page, where its form goes to, and the form, of all pages of a flock."""
    found, all_forms = records(cast.flock, cast.owner), []
    photo = Photo.objects.create(
        flock=cast.flock,
        width=9,
        height=9,
        stored_bytes=9,
        sha256=uuid.uuid4().hex * 2,
        look_hash=1,
    )
    client = cast.clients.owner
    for name in IN_A_FLOCK:
        for more in MORE.get(name, ("",)):
            url = address(name, cast.flock, found) + more
            if name == "feet:sort_one":
                url += f"?photo={photo.pk}"
            answer = client.get(url)
            if answer.status_code == 200 and "html" in answer.headers["Content-Type"]:
                shown = Page(answer.text).forms
                all_forms += [(name, form.attrs.get("action", url), form) for form in shown]
    return all_forms


@pytest.fixture
def all_forms(cast):
    return forms(cast)


def test_every_form_of_more_than_two_fields_keeps_what_is_typed(all_forms):
    long = [(name, form) for name, _, form in all_forms if len(form.typed()) > 2]
    kept = {name for name, form in long if "data-draft" in form.attrs}
    assert {name for name, _ in long} - kept == WITHOUT_DRAFT
    assert len(kept) > 20
    names = [form.attrs["data-draft"] for _, form in long if "data-draft" in form.attrs]
    assert len(names) == len(set(names))


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
