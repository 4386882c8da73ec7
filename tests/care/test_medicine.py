"""Medicines: what withdraws eggs and for how long, many birds at once, and the record of them."""

import re
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils import timezone

from flockcare.birds.models import Bird
from flockcare.care import services
from flockcare.care.due import open_dues
from flockcare.care.holds import LONG_PAST_DAYS, open_holds, still_runs
from flockcare.care.models import FOR_A_VET, CarePlan, CareStep, ItemKind, KitItem
from flockcare.care.record import LAW_SOURCE, medicines_given
from flockcare.care.services_plans import do_plan
from flockcare.housing.models import House, Stay
from flockcare.people.models import Revision
from tests.care.steps import ago, day, form, step, url
from tests.people.rows import FORM_PAGE, NOT_WRITERS, READ_PAGE, refused, seen

pytestmark = pytest.mark.django_db


def holds(cast):
    return open_holds(cast.flock, now=timezone.now())


def logged(cast, bird, **said) -> CareStep:
    page = url(cast, "step_new", bird.pk)
    answer = cast.clients.keeper.post(page, form(who=str(cast.keeper.pk), **said))
    assert answer.status_code == 302, answer.text
    return CareStep.objects.latest("logged_at")


# --- For how long


@pytest.mark.parametrize("days_ago", [LONG_PAST_DAYS + 1, 900])
def test_days_that_nobody_entered_withdraw_until_somebody_does(cast, birds, days_ago):
    """Residues end by no silence: not after twelve weeks, nor after years."""
    given = step(cast, birds["Dill"], "medicine", days_ago=days_ago, product="Drops")
    (hold,) = holds(cast)
    assert hold.eggs_unknown == [given]
    page = " ".join(cast.clients.viewer.get(url(cast, "holds")).text.split())
    assert "until somebody enters the days" in page
    given.past = True
    given.save()
    assert holds(cast) == []


@pytest.mark.parametrize(("days_ago", "asked"), [(6, False), (7, True)])
def test_today_asks_after_a_week_for_days_that_nobody_entered(cast, birds, days_ago, asked):
    step(cast, birds["Dill"], "medicine", days_ago=days_ago, product="Drops")
    step(cast, birds["Mace"], "medicine", days_ago=days_ago, product="Drops")
    today = cast.clients.viewer.get(reverse("today", args=[cast.flock.pk])).text
    shown = " ".join(today.split())
    assert shown.count("Don’t eat the eggs of Dill and Mace <a") == 1
    assert ("until the withdrawal days are known: ask the vet</a>." in shown) == asked


@pytest.mark.parametrize(
    ("said", "refused"),
    [
        ({"kind": "medicine", "egg_days": 7, "days_from": "vet"}, True),
        ({"kind": "medicine", "egg_days": 7, "meat_days": 0, "days_from": "vet"}, True),
        ({"kind": "medicine", "egg_days": 0, "meat_days": 0, "days_from": "vet"}, False),
        ({"kind": "medicine"}, True),
        ({"kind": "vet", "medicine_given": "unknown"}, True),
        ({"kind": "vet", "medicine_given": "no"}, False),
        ({"kind": "ointment", "no_medicine": "on"}, False),
        ({"kind": "soaked"}, False),
    ],
)
def test_what_still_runs_is_not_long_past(cast, birds, said, refused):
    page = url(cast, "step_new", birds["Dill"].pk)
    sent = form(who=str(cast.keeper.pk), past="on", **said)
    answer = cast.clients.keeper.post(page, sent)
    assert answer.status_code == (422 if refused else 302)
    assert ("It is not past yet" in answer.text) is refused


@pytest.mark.parametrize(
    ("days_ago", "days", "refused"),
    [
        (7, {"egg_days": 7, "meat_days": 0}, True),
        (8, {"egg_days": 7, "meat_days": 0}, False),
        (LONG_PAST_DAYS, {}, True),
        (LONG_PAST_DAYS + 1, {}, False),
    ],
)
def test_long_past_is_said_of_what_is_over(cast, birds, days_ago, days, refused):
    given = step(cast, birds["Dill"], "medicine", days_ago=days_ago, **days)
    runs = still_runs(given, today=day(0), zone=cast.flock.zone)
    assert bool(runs) is refused and given.past is False


def test_a_course_counts_from_its_last_giving(cast, birds):
    step(cast, birds["Dill"], "medicine", days_ago=LONG_PAST_DAYS + 20, given_until=day(-30))
    assert holds(cast)


def test_what_is_past_withdraws_nothing_and_is_not_due(cast, birds):
    for more in ({}, {"egg_days": 30, "days_from": "vet"}):
        step(cast, birds["Dill"], "medicine", days_ago=9, next_due=day(-5), past=True, **more)
    step(cast, birds["Mace"], "dressing on", days_ago=30, past=True)
    assert holds(cast) == []
    assert open_dues(cast.flock, now=timezone.now()) == []


def test_an_old_record_is_entered_as_past(cast, birds):
    old = logged(cast, birds["Dill"], kind="medicine", past="on", at=f"{day(-90)}T10:00")
    assert old.past and holds(cast) == []


def test_plain_salve_withdraws_nothing_and_asks_no_question(cast, birds):
    salve = KitItem.objects.create(
        flock=cast.flock, name="Plain salve", kind="ointment", no_medicine=True, batch="S1"
    )
    said = {"kind": "ointment", "item": salve.pk, "egg_days": "5", "days_from": "label"}
    given = logged(cast, birds["Dill"], **said)
    assert (given.no_medicine, given.egg_days, given.days_from) == (True, None, "")
    assert holds(cast) == []
    page = cast.clients.keeper.get(url(cast, "step_new", birds["Dill"].pk)).text
    assert "data-no-medicine" in page
    said = logged(cast, birds["Mace"], kind="ointment", product="Own salve", no_medicine="on")
    assert said.no_medicine and holds(cast) == []
    # A medicine stays one, whatever it lies beside in the kit.
    assert not logged(cast, birds["Mace"], kind="medicine", item=salve.pk).no_medicine
    assert holds(cast)


def test_one_tap_repeats_that_it_contains_no_medicine(cast, birds):
    first = step(cast, birds["Dill"], "ointment", days_ago=1, no_medicine=True, batch="S1")
    again = services.repeat_step(step=first, by=cast.owner)
    assert (again.no_medicine, again.batch) == (True, "S1") and holds(cast) == []


ITEM = {"name": "Thing", "stock": "4", "unit": "g", "egg_days": "7", "days_from": "label"}


@pytest.mark.parametrize("kind", [kind for kind in ItemKind.values if kind not in FOR_A_VET])
def test_only_what_may_hold_a_medicine_keeps_days(cast, kind):
    """Gauze and gloves have no egg days, whatever a form from elsewhere sends."""
    cast.clients.keeper.post(url(cast, "item_new"), {**ITEM, "kind": kind, "batch": "A1"})
    item = KitItem.objects.get()
    asked = kind in ("ointment", "antiseptic", "medicine", "other")
    assert (item.egg_days, item.batch) == ((7, "A1") if asked else (None, ""))


def test_a_thing_without_medicine_has_no_days(cast):
    said = {**ITEM, "kind": "ointment", "no_medicine": "on"}
    cast.clients.keeper.post(url(cast, "item_new"), said)
    item = KitItem.objects.get()
    assert (item.no_medicine, item.egg_days, item.days_from) == (True, None, "")
    assert "contains no medicine" in " ".join(
        cast.clients.viewer.get(url(cast, "kit")).text.split()
    )


def test_the_usual_plain_ointment_contains_no_medicine(cast):
    services.fill_kit(flock=cast.flock)
    assert KitItem.objects.get(kind="ointment").no_medicine


def test_whose_eggs_is_said_wherever_eggs_are_withdrawn(cast, birds):
    step(cast, birds["Dill"], "medicine", egg_days=5, meat_days=5, days_from="vet")
    for page in (url(cast, "bird", birds["Dill"].pk), url(cast, "holds")):
        text = " ".join(cast.clients.viewer.get(page).text.split())
        assert "If you cannot tell a treated bird’s eggs from the others’" in text
        assert "Do not eat, sell, give away or hatch them, and do not feed them back." in text


# --- The kit


def test_stock_below_nothing_is_refused_at_its_field(cast):
    answer = cast.clients.keeper.post(
        url(cast, "item_new"), {"name": "Gauze", "kind": "gauze", "stock": "-5"}
    )
    assert answer.status_code == 422 and "Enter 0 or more" in answer.text
    assert not KitItem.objects.exists()


def test_what_taps_took_beyond_the_count_hinders_no_other_change(cast):
    gauze = KitItem.objects.create(flock=cast.flock, name="Gauze", kind="gauze", stock=-2)
    said = {"name": "Gauze", "kind": "gauze", "stock": "-2.0", "initial-stock": "-2.0"}
    cast.clients.keeper.post(url(cast, "item", gauze.pk), {**said, "unit": "pads"})
    gauze.refresh_from_db()
    assert (gauze.unit, gauze.stock) == ("pads", -2)


def test_changed_with_one_tap_takes_from_the_kit(cast, birds):
    gauze = KitItem.objects.create(flock=cast.flock, name="Gauze", kind="gauze", stock=9)
    on = step(cast, birds["Dill"], "dressing on", days_ago=2, item=gauze, amount=2, product="Gauze")
    seen_on = services.repeat_step(step=on, by=cast.owner)
    gauze.refresh_from_db()
    assert (seen_on.item, gauze.stock) == (None, 9)  # To check a dressing takes nothing.
    cast.clients.keeper.post(url(cast, "done", seen_on.pk), {"kind": "dressing changed"})
    changed = CareStep.objects.get(kind="dressing changed")
    assert (changed.item, changed.amount, changed.product) == (gauze, 2, "Gauze")
    gauze.refresh_from_db()
    assert gauze.stock == Decimal(7)
    services.repeat_step(step=changed, by=cast.owner, kind="dressing off")
    gauze.refresh_from_db()
    assert gauze.stock == 7


# --- For many birds at once

KEY = "5b0c7c1e-30a5-4a3f-9d8b-53b04cf6f7a1"


def given_form(**said) -> dict:
    at = timezone.localtime(timezone.now()).strftime("%Y-%m-%dT%H:%M")
    return {
        **{"give_id": KEY, "whom": "flock", "product": "Drops", "at": at},
        **{"egg_days": "7", "meat_days": "0", "days_from": "vet", "decided_by": "vet"},
        **{"batch": "B7", "quantity": "5 ml in 10 l of water"},
        **said,
    }


def test_a_medicine_for_the_whole_flock_is_one_deed_and_undone_as_one(cast, birds):
    Bird.objects.filter(name="Sorrel").update(left="2025", left_reason="sold")
    answer = cast.clients.keeper.post(url(cast, "give"), given_form(), follow=True)
    assert "Drops for the whole flock, 2 birds" in answer.text
    steps = CareStep.objects.order_by("bird__name").select_related("bird")
    assert [(one.bird.name, one.foot, one.kind, one.given_to) for one in steps] == [
        ("Dill", "", "medicine", "the whole flock"),
        ("Mace", "", "medicine", "the whole flock"),
    ]
    assert {(one.batch, one.quantity, one.egg_days, one.keeper) for one in steps} == {
        ("B7", "5 ml in 10 l of water", 7, cast.keeper)
    }
    assert {hold.bird.name: hold.eggs_until for hold in holds(cast)} == {
        "Dill": day(7),
        "Mace": day(7),
    }
    first = Revision.objects.get(first=None)
    assert first.words == "Drops, given to the whole flock (2 birds)"
    # The same form sent once more stores nothing twice.
    cast.clients.keeper.post(url(cast, "give"), given_form())
    assert CareStep.objects.count() == 2
    page = reverse("pages:changeset", args=[cast.flock.pk, first.pk])
    assert "Undo all of it" in cast.clients.keeper.get(page).text
    cast.clients.keeper.post(page)
    assert not CareStep.objects.exists() and holds(cast) == []
    answer = cast.clients.keeper.post(url(cast, "give"), given_form())
    assert answer.status_code == 422 and "has deleted it since" in answer.text


def test_a_medicine_for_a_house_is_for_those_who_lived_there_that_day(cast, birds):
    ark = House.objects.create(flock=cast.flock, name="Ark")
    lived = (("Dill", None, None), ("Mace", None, day(-1)), ("Sorrel", day(0), None))
    for name, since, until in lived:
        Stay.objects.create(flock=cast.flock, bird=birds[name], house=ark, since=since, until=until)
    cast.clients.keeper.post(url(cast, "give"), given_form(whom=str(ark.pk)))
    assert {one.bird.name for one in CareStep.objects.all()} == {"Dill", "Sorrel"}
    assert set(CareStep.objects.values_list("given_to", flat=True)) == {"Ark"}
    said = given_form(whom=str(ark.pk), at=f"{day(-3)}T10:00", give_id=KEY.replace("5b", "6b"))
    cast.clients.keeper.post(url(cast, "give"), said)
    older = CareStep.objects.filter(at__lt=ago(1))
    assert {one.bird.name for one in older} == {"Dill", "Mace"}


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"product": ""}, "Say which medicine it is."),
        ({"whom": ""}, "required"),
        ({"at": "2031-01-01T10:00"}, "in the future"),
        ({"given_until": "2020-01-01"}, "before the first giving"),
        ({"days_from": ""}, "the vet or the label"),
    ],
)
def test_what_cannot_be_given_to_many_is_said_and_nothing_is_lost(cast, birds, said, words):
    answer = cast.clients.keeper.post(url(cast, "give"), given_form(note="Typed.", **said))
    assert answer.status_code == 422
    assert words in answer.text and "Typed." in answer.text
    assert not CareStep.objects.exists()


def test_a_house_without_birds_is_said(cast, birds):
    ark = House.objects.create(flock=cast.flock, name="Ark")
    answer = cast.clients.keeper.post(url(cast, "give"), given_form(whom=str(ark.pk)))
    assert answer.status_code == 422 and "No bird is there on that day." in answer.text


# --- The record


def test_the_record_tells_each_medicine_with_its_batch_and_its_end(cast, birds):
    """What a keeper in Great Britain records: SI 2013/2033, regulation 19, as of 1 October 2013."""
    step(
        *(cast, birds["Dill"], "medicine"),
        **{"at": ago(9), "given_until": day(-2), "product": "Drops"},
        **{"batch": "B7", "quantity": "2 ml", "egg_days": 7, "meat_days": 0, "days_from": "vet"},
        decided_by="vet",
    )
    step(cast, birds["Mace"], "ointment", days_ago=1, product="Salve", no_medicine=True)
    step(cast, birds["Mace"], "vet", days_ago=2, medicine_given="no")
    step(cast, birds["Mace"], "vet", days_ago=3, medicine_given="yes", product="Jab")
    step(cast, birds["Mace"], "soaked")
    step(cast, birds["Sorrel"], "medicine", days_ago=366 * 5 + 2, product="Long ago")
    cast.clients.keeper.post(url(cast, "give"), given_form())
    found = medicines_given(cast.flock, now=timezone.now())
    assert [(one.product, one.whom) for one in found] == [
        ("Drops", "the whole flock: Dill, Mace, Sorrel"),
        ("Jab", "Mace, left foot"),
        ("Drops", "Dill, left foot"),
    ]
    course = found[-1]
    assert (course.first, course.last) == (day(-9), day(-2))
    assert (course.quantity, course.meat) == ("2 ml", "none")
    assert course.eggs == f"{day(5).day} {day(5):%b %Y}"
    assert found[1].eggs == "not known"
    page = " ".join(cast.clients.viewer.get(url(cast, "medicine_record")).text.split())
    for words in ("batch B7", "batch not recorded", "2 ml", "the vet", "Keeper", LAW_SOURCE):
        assert words in page
    assert "Salve" not in page and "five years" in page
    # In sight on a phone, where the table is wider than the screen.
    heads = re.findall(r'<th scope="col">([^<]*)</th>', page)
    cells = re.findall(r"<td>(.*?)</td>", page)[: len(heads)]
    assert heads[:2] == ["From, to", "Withdrawal ends"] and cells[1].startswith("eggs: ")


def test_the_record_has_whatever_withdraws_eggs(cast, birds):
    """A visit is told by the entry of its medicine, else it has a row of its own."""
    days = {"egg_days": 7, "meat_days": 0, "days_from": "vet"}
    own = step(cast, birds["Dill"], "vet", days_ago=9, medicine_given="yes")
    step(cast, birds["Dill"], "medicine", days_ago=9, product="Drops", **days)
    step(cast, birds["Mace"], "vet", days_ago=8, medicine_given="unknown")
    step(cast, birds["Mace"], "vet", days_ago=7, medicine_given="unknown", past=True)
    step(cast, birds["Sorrel"], "vet", days_ago=6, medicine_given="yes")

    def told():
        found = medicines_given(cast.flock, now=timezone.now())
        return [(one.step.bird.name, one.product, one.kind) for one in found]

    unknown = "a medicine from the vet"
    rows = [("Sorrel", unknown, ""), ("Mace", unknown, "if any was given")]
    assert told() == [*rows, ("Dill", "Drops", "")]
    page = " ".join(cast.clients.viewer.get(url(cast, "medicine_record")).text.split())
    assert f"{unknown}, if any was given" in page
    # Days of its own count, so that it is told; none at all say nothing.
    own.egg_days, own.meat_days, own.days_from = 0, 0, "vet"
    own.save()
    assert told() == [*rows, ("Dill", "Drops", "")]
    own.egg_days = 30
    own.save()
    assert sorted(told()[2:]) == [("Dill", "Drops", ""), ("Dill", unknown, "")]
    own.meat_days = None
    own.save()
    found = medicines_given(cast.flock, now=timezone.now())
    assert "see the medicine" in {one.meat for one in found}


# Regulation (EU) 2019/6, article 108(2), read in its German version: a first day, b name, c amount,
# d supplier, e proof, f animals, g prescribing vet, h withdrawal even if none, i how long.
SUPPLY = {
    "supplier": "Mill Lane Surgery, 2 Mill Lane",
    "supplied_on": str(day(-4)),
    "supplied_amount": "100 ml",
    "prescribed_by": "A. Reed, 01632 960001",
}


def test_the_record_has_all_that_the_union_asks_of_a_medicine(cast, birds):
    said = {"kind": "medicine", "product": "Drops", "quantity": "5 ml", "given_until": day(2)}
    days = {"egg_days": 0, "meat_days": 28, "days_from": "vet"}
    logged(cast, birds["Dill"], **said, **days, batch="B 1", **SUPPLY)
    page = cast.clients.viewer.get(url(cast, "medicine_record")).text
    rows = re.findall(r"<td>(.*?)</td>", page.split("<tbody>")[1], re.S)
    row = [" ".join(re.sub(r"<[^>]+>", " ", cell).split()) for cell in rows]

    def on(number):
        return f"{day(number).day} {day(number):%b %Y}"

    assert row[:7] == [
        f"{on(0)} to {on(2)}",
        f"eggs: none meat: {on(30)}",
        "Dill, left foot",
        "Drops batch B 1",
        "5 ml",
        f"Mill Lane Surgery, 2 Mill Lane, {on(-4)}, 100 ml",
        "not recorded prescribed by A. Reed, 01632 960001",
    ]


@pytest.mark.parametrize(
    ("said", "field", "words"),
    [
        ({"supplied_on": str(day(1))}, "supplied_on", "This is after it was given."),
        ({"supplied_on": "2026-13-01"}, "supplied_on", ""),
    ],
)
def test_a_day_on_which_nothing_can_have_been_obtained(cast, birds, said, field, words):
    said = form(who=str(cast.keeper.pk), kind="medicine", product="Drops", supplier="Here", **said)
    page = cast.clients.keeper.post(url(cast, "step_new", birds["Dill"].pk), said)
    assert page.status_code == 422 and set(page.context["form"].errors) == {field}
    assert words in page.text and 'value="Here"' in page.text


def test_what_is_no_medicine_is_from_nowhere(cast, birds):
    """What was typed while another kind was chosen is not kept, and no import brings it."""
    given = logged(cast, birds["Dill"], kind="soaked", **SUPPLY)
    assert (given.supplier, given.supplied_on, given.prescribed_by) == ("", None, "")
    given.supplier = "Mill Lane"
    with pytest.raises(ValidationError, match="Only a medicine"):
        given.clean()


def test_each_day_of_a_course_says_where_it_is_from(cast, birds):
    days = {"egg_days": 0, "meat_days": 0, "days_from": "vet"}
    said = {"kind": "medicine", "product": "Drops", "given_until": day(2), **days, **SUPPLY}
    at = f"{day(-1)}T10:00"
    given = logged(cast, birds["Dill"], batch="B 1", **said | {"at": at})
    (again,) = do_plan(plan=CarePlan.objects.get(), by=cast.owner)
    assert again.pk != given.pk and again.supplier == SUPPLY["supplier"]
    assert again.supplied_on == day(-4)


# --- Vaccines


def test_a_vaccine_for_a_house_is_in_the_record_and_withdraws_as_its_label_says(cast, birds):
    said = given_form(
        kind="vaccine", product="ND drops", egg_days=0, meat_days=0, days_from="label"
    )
    page = cast.clients.keeper.post(url(cast, "give"), {**said, "batch": "V 9"}, follow=True)
    assert "Saved: ND drops for the whole flock" in page.text
    assert set(CareStep.objects.values_list("kind", "batch")) == {("vaccine", "V 9")}
    assert holds(cast) == []
    page = " ".join(cast.clients.viewer.get(url(cast, "medicine_record")).text.split())
    assert "ND drops, vaccine" in page and "the whole flock: Dill, Mace, Sorrel" in page


def test_a_vaccine_of_which_nobody_said_the_days_withdraws_until_somebody_does(cast, birds):
    given = logged(cast, birds["Dill"], kind="vaccine", foot="", product="ND drops", next_due="")
    (hold,) = holds(cast)
    assert hold.eggs_unknown == [given] and str(given.words) == "vaccinated, ND drops"


def test_a_vaccine_makes_no_course(cast, birds):
    said = {"egg_days": 0, "days_from": "label", "given_until": day(3)}
    logged(cast, birds["Dill"], kind="vaccine", product="ND drops", **said)
    assert not CarePlan.objects.exists()


def test_what_was_taken_from_the_kit_says_how_much_was_given(cast, birds):
    drops = KitItem.objects.create(flock=cast.flock, name="Drops", kind="medicine", unit="ml")
    step(cast, birds["Dill"], "medicine", item=drops, amount=Decimal("2.0"))
    (given,) = medicines_given(cast.flock, now=timezone.now())
    assert given.quantity == "2 ml"


def test_the_record_asks_as_often_for_many(cast, birds, django_assert_max_num_queries):
    for number in range(20):
        step(cast, birds["Dill"], "medicine", days_ago=number, product="Drops")
    with django_assert_max_num_queries(5):
        cast.clients.owner.get(url(cast, "medicine_record"))


def test_who_sees_the_record_and_who_gives(cast, birds):
    assert seen(cast, url(cast, "medicine_record")) == READ_PAGE
    assert seen(cast, url(cast, "give")) == FORM_PAGE
    assert refused(cast, url(cast, "give")) == NOT_WRITERS
