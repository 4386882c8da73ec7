"""What is typed on a form stays: as a draft until it is saved, on the form when it is refused."""

import uuid

import pytest
from django.db import transaction
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
# Longer than any field takes, and neither a number nor a day.
JUNK = "9z" * 6000


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


def filled(form: PageForm) -> dict[str, list[str]]:
    """As the page has it, with something in every field that was empty."""
    said = form.sent()
    for name in form.typed():
        fields = form.named(name)
        first = fields[0]
        if form.named(f"{name}-own"):
            said.pop(name, None)  # the word of one's own is chosen
        elif first.is_box:
            said[name] = [one.value for one in fields if one.is_box][-1:]
        elif first.type == "select":
            said[name] = first.options[-1:]
        elif not said.get(name, [""])[0]:
            by_type = {"date": "2026-03-05", "datetime-local": "2026-03-05T10:00", "number": "7"}
            decimal = first.attrs.get("inputmode") in ("numeric", "decimal")
            said[name] = ["7" if decimal else by_type.get(first.type, "Straw & oats")]
    return said


def refused(client, url, form: PageForm, said) -> tuple[Page, PageForm] | None:
    """The page that says what is wrong, and the form on it; nothing is saved."""
    with transaction.atomic():
        answer = client.post(url, said)
        transaction.set_rollback(True)
    if answer.status_code not in (200, 422):
        return None
    page = Page(answer.text)
    same = [one for one in page.forms if {*form.typed()[:3]} <= {*one.typed()}]
    return (page, same[0]) if same else None


# Said by taps, or of a photo that is seen: there is nothing in them that anybody typed.
NOT_TYPED = {"photos:measure"}


def test_what_is_refused_is_said_at_its_field_and_the_rest_stays(cast, all_forms):
    """Each form three times, with junk in every third field, or none of its choices taken."""
    told = 0
    for page_name, url, form in all_forms:
        if len(form.typed()) < 3 or page_name in NOT_TYPED:
            continue
        usual = filled(form)
        for first in range(3):
            spoilt = form.typed()[first::3]
            boxes = {name for name in spoilt if form.named(name)[0].is_box}
            junk = {name: [] if name in boxes else [JUNK] for name in spoilt}
            said = {**usual, **junk}
            answer = refused(cast.clients.owner, url, form, said)
            if answer is None:
                continue
            page, again = answer
            where, shown = (page_name, spoilt), again.sent()
            gone = {name for name, values in said.items() if values and shown.get(name) != values}
            # Of a list nobody can choose junk.
            lists = {name for name in spoilt if form.named(name)[0].options}
            assert gone <= {"csrfmiddlewaretoken", *lists}, where
            errors = {key for key in page.texts if key.endswith("_error")}
            assert errors <= {key for one in page.fields for key in one.described_by}, where
            assert all(page.texts[key].strip() for key in errors), where
            for name in spoilt:
                mine = [errors & {*field.described_by} for field in again.named(name)]
                assert all(len(keys) <= 1 for keys in mine), where
                assert any(mine) or name in boxes or form.named(name)[0].type == "textarea", where
                told += any(mine)
    assert told > 350


def test_a_field_says_one_thing(cast, birds):
    """Not also what only follows from it."""
    answer = cast.clients.keeper.post(
        reverse("care:plan_new", args=[cast.flock.pk, birds["Dill"].pk]), {"foot": "left"}
    )
    assert Page(answer.text).texts["id_parts_error"].strip() == "Say what is to be done."


def test_what_else_happened_is_refused_at_its_field(cast):
    url = reverse("housing:events", args=[cast.flock.pk])
    said = {"house": "all", "kind": "other", "what": "x" * 61}
    page = Page(cast.clients.keeper.post(url, said).text)
    what = page.forms[0].named("what")[0]
    assert what.value == said["what"] and what.described_by == ["id_what_error"]
    assert page.texts["id_what_error"].startswith("This is too long")


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
