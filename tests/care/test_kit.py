"""The kit: what is there, low, past its date, and what to buy."""

import re
from datetime import date

import pytest

from flockcare.birds.models import Bird
from flockcare.care.kit import Shelf
from flockcare.care.models import CareStep, ItemKind, KitItem
from flockcare.care.starting_kit import STARTING_KIT
from flockcare.people.models import Revision
from tests.care.steps import day, step, today, url
from tests.people.rows import FORM_PAGE, NOT_WRITERS, READ_PAGE, refused, same_queries, seen

TODAY = date(2026, 5, 20)


@pytest.mark.parametrize(
    ("fields", "warning", "to_buy"),
    [
        ({}, "", False),
        ({"stock": 5, "low_at": 4}, "", False),
        ({"stock": 4, "low_at": 4}, "low", True),
        ({"stock": 0, "low_at": 4}, "none left", True),
        ({"stock": -2}, "none left", True),
        ({"stock": 4}, "", False),
        ({"expires_on": date(2026, 5, 19)}, "past its date since 19 May 2026", True),
        ({"expires_on": date(2026, 5, 20)}, "use by 20 May 2026", False),
        ({"expires_on": date(2026, 6, 19)}, "use by 19 Jun 2026", False),
        ({"expires_on": date(2026, 6, 20)}, "", False),
        # Opened on 1 May and good for 10 days: to the 11th, whatever is printed on it.
        (
            {"opened_on": date(2026, 5, 1), "keeps_days": 10, "expires_on": date(2027, 1, 1)},
            "past its date since 11 May 2026",
            True,
        ),
        ({"opened_on": date(2026, 5, 1)}, "", False),
    ],
)
def test_what_is_low_or_past_its_date(fields, warning, to_buy):
    shelf = Shelf(KitItem(name="Salve", **fields), TODAY)
    assert (shelf.warning, shelf.to_buy) == (warning, to_buy)


def test_nothing_that_cuts_or_pulls_is_proposed(cast):
    """Cutting into a foot is surgery (common practice, no published source)."""
    for_a_vet = {ItemKind.BLADE, ItemKind.TWEEZERS}
    assert not for_a_vet & {thing.kind for thing in STARTING_KIT}
    page = cast.clients.keeper.get(url(cast, "kit")).text
    page += cast.clients.keeper.get(url(cast, "item_new")).text
    assert not re.search("blade|tweezer", page, re.IGNORECASE)
    # An old record of one stays, and can still be corrected.
    old = KitItem.objects.create(flock=cast.flock, name="Old", kind="blade", stock=2)
    said = {"name": "Old", "kind": "blade", "stock": "1"}
    assert cast.clients.keeper.post(url(cast, "item", old.pk), said).status_code == 302
    old.refresh_from_db()
    assert (old.kind, old.stock) == ("blade", 1)
    assert cast.clients.keeper.post(url(cast, "item_new"), said).status_code == 422


def test_the_usual_things_are_offered_while_one_is_missing(cast):
    fill = url(cast, "kit_fill")
    KitItem.objects.create(flock=cast.flock, name="Own gauze", kind="gauze")
    page = cast.clients.keeper.get(url(cast, "kit")).content.decode()
    assert (
        fill in page
        and "gloves, Epsom salt" in page
        and "alcohol" not in page
        and "gauze, " not in page
    )
    assert fill not in cast.clients.viewer.get(url(cast, "kit")).content.decode()
    cast.clients.keeper.post(fill)
    assert KitItem.objects.count() == 6
    assert fill not in cast.clients.keeper.get(url(cast, "kit")).content.decode()


def test_an_empty_kit_begins_with_the_usual_things(cast):
    page = cast.clients.keeper.get(url(cast, "kit")).content.decode()
    assert "Start with the usual things" in page
    KitItem.objects.create(flock=cast.flock, name="My gauze", kind="gauze")
    cast.clients.keeper.post(url(cast, "kit_fill"))
    kinds = list(KitItem.objects.values_list("kind", flat=True))
    assert len(kinds) == len(set(kinds)) == 6
    cast.clients.keeper.post(url(cast, "kit_fill"))
    assert KitItem.objects.count() == 6


ITEM = {
    **{"name": "Salve", "kind": "ointment", "stock": "40", "unit": "g", "low_at": "10"},
    **{"egg_days": "0", "meat_days": "0", "days_from": "label", "pain_reliever": "False"},
}


def test_a_thing_is_added_mended_and_taken_out(cast, birds):
    cast.clients.keeper.post(url(cast, "item_new"), ITEM)
    item = KitItem.objects.get()
    assert (item.stock, item.egg_days, item.pain_reliever) == (40, 0, False)
    cast.clients.owner.post(url(cast, "item", item.pk), {**ITEM, "stock": "5"})
    item.refresh_from_db()
    assert item.stock == 5
    assert Revision.objects.get(record=item.pk).before["stock"] == "40.0"
    page = cast.clients.viewer.get(url(cast, "kit")).content.decode()
    assert "Shopping list" in page and "low" in page
    used = step(cast, birds["Dill"], "ointment", item=item, product="Salve")
    cast.clients.keeper.post(url(cast, "item_delete", item.pk))
    used.refresh_from_db()
    assert (used.item, used.product) == (None, "Salve")
    assert not KitItem.objects.exists()


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"name": ""}, "required"),
        ({"name": "gauze"}, "something of that name already"),
        ({"egg_days": "400"}, "more than a year"),
        ({"days_from": ""}, "the vet or the label"),
        ({"stock": "many"}, "number"),
        ({"expires_on": "soon"}, "date"),
    ],
)
def test_what_cannot_be_is_said(cast, said, words):
    KitItem.objects.create(flock=cast.flock, name="Gauze")
    answer = cast.clients.keeper.post(url(cast, "item_new"), {**ITEM, **said})
    assert answer.status_code == 422 and words in answer.content.decode()
    assert KitItem.objects.count() == 1


def test_an_added_pain_reliever_is_said_before_it_is_chosen(cast, birds):
    """Ask a vet first; the dose matters in small birds (as cited by secondary sources)."""
    KitItem.objects.create(flock=cast.flock, name="Salve", pain_reliever=True)
    page = cast.clients.keeper.get(url(cast, "step_new", birds["Dill"].pk)).content.decode()
    assert "Salve (added pain reliever: ask a vet first)" in page


def test_who_sees_and_changes_the_kit(cast):
    item = KitItem.objects.create(flock=cast.flock, name="Gauze")
    assert seen(cast, url(cast, "kit")) == READ_PAGE
    assert seen(cast, url(cast, "item", item.pk)) == FORM_PAGE
    assert seen(cast, url(cast, "item_new")) == FORM_PAGE
    for name, args in (("item", [item.pk]), ("item_delete", [item.pk]), ("kit_fill", [])):
        assert refused(cast, url(cast, name, *args)) == NOT_WRITERS


def test_the_kit_asks_as_often_for_many_things(cast, birds):
    def grow():
        for number in range(20):
            KitItem.objects.create(flock=cast.flock, name=f"Thing {number}", expires_on=day(number))

    KitItem.objects.create(flock=cast.flock, name="Gauze", expires_on=today())
    same_queries(cast.clients.owner, url(cast, "kit"), grow=grow)
    assert not CareStep.objects.exists() and Bird.objects.exists()
