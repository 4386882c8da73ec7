"""Eggs and meat that are withdrawn: by entered days only, to the latest end, and never by none."""

import re
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest
from django.urls import reverse
from django.utils import timezone
from django.utils.html import strip_tags
from hypothesis import given, settings
from hypothesis import strategies as st

from flockcare.birds.models import Bird
from flockcare.care.holds import UNTIL_KNOWN, Hold, last_day, open_holds
from flockcare.care.models import CareStep, KitItem
from flockcare.drawing.dates import short_words
from flockcare.housing.models import House, Stay
from tests.care.steps import day, form, look, step, today, url
from tests.people.rows import NOT_WRITERS, refused

pytestmark = pytest.mark.django_db
LONDON = ZoneInfo("Europe/London")


def holds(cast):
    return open_holds(cast.flock, now=timezone.now())


def test_days_are_counted_in_full_from_the_last_giving():
    """Given on 1 March with 14 days: held to the 15th, that day too.

    14 days is what the United Kingdom asks of a cascade use in birds not authorised for eggs
    (SI 2013/2033 as amended by SI 2024/567); here it is only a number somebody entered.
    """
    assert last_day(date(2026, 3, 1), 14) == date(2026, 3, 15)
    assert last_day(date(2026, 3, 1), 0) is None


@pytest.mark.parametrize(
    ("given", "until"),
    # The flock's own day counts: 23:30 UTC on 30 June is 00:30 on 1 July in London.
    [
        (datetime(2026, 6, 30, 23, 30, tzinfo=UTC), date(2026, 7, 4)),
        (datetime(2026, 1, 30, 23, 30, tzinfo=UTC), date(2026, 2, 2)),
    ],
)
def test_the_day_is_the_flocks(given, until):
    hold = Hold(Bird(name="Dill"), today=date(2026, 1, 1))
    hold.add(CareStep(kind="medicine", at=given, egg_days=3, meat_days=0), LONDON)
    assert hold.eggs_until == until
    assert hold.meat_until is None and not hold.meat


givings = st.lists(
    st.tuples(
        st.datetimes(datetime(2026, 1, 1), datetime(2026, 3, 1), timezones=st.just(UTC)),  # noqa: DTZ001
        st.none() | st.integers(0, 40),
        st.none() | st.integers(0, 40),
    ),
    min_size=1,
    max_size=6,
)


@settings(deadline=None)
@given(givings, st.randoms())
def test_the_latest_end_counts_in_any_order_and_unknown_stays(steps, random):
    def held(order):
        hold = Hold(Bird(name="Dill"), today=date(2026, 2, 1))
        for at, eggs, meat in order:
            hold.add(CareStep(kind="medicine", at=at, egg_days=eggs, meat_days=meat), LONDON)
        return hold

    first = held(steps)
    random.shuffle(steps)
    second = held(steps)
    assert (first.eggs_until, first.meat_until) == (second.eggs_until, second.meat_until)
    ends = [last_day(at.astimezone(LONDON).date(), eggs) for at, eggs, _ in steps if eggs]
    still = [end for end in ends if end >= date(2026, 2, 1)]
    assert first.eggs_until == max(still, default=None)
    assert len(first.eggs_unknown) == sum(eggs is None for _, eggs, _ in steps)
    assert first.eggs == bool(still or first.eggs_unknown)


def test_nothing_entered_is_unknown_and_never_none(cast, birds):
    step(cast, birds["Dill"], "medicine", days_ago=20)
    (hold,) = holds(cast)
    assert hold.eggs and hold.meat
    assert hold.words == (
        "egg and meat withdrawal: don’t eat her eggs or her meat until the withdrawal days are "
        "known"
    )
    for name in ("list", "holds"):
        page = cast.clients.viewer.get(url(cast, name)).content.decode()
        assert "ot known" in page or "days are known" in page
        assert "Dill" in page


def test_entered_as_none_is_no_hold(cast, birds):
    step(cast, birds["Dill"], "ointment", egg_days=0, meat_days=0, days_from="label")
    assert holds(cast) == []
    page = cast.clients.keeper.get(url(cast, "holds")).text
    assert page.count("No eggs are withdrawn.") == 1
    assert page.index("No eggs are withdrawn.") < page.index("If you cannot tell"), "first"


def test_what_is_no_medicine_withdraws_nothing(cast, birds):
    for kind in ("soaked", "dressing on", "rinsed"):
        step(cast, birds["Dill"], kind)
    assert holds(cast) == []


def test_it_is_held_on_today_on_the_bird_and_on_her_page(cast, birds):
    step(cast, birds["Dill"], "medicine", days_ago=2, egg_days=10, meat_days=20, days_from="vet")
    (hold,) = holds(cast)
    assert (hold.eggs_until, hold.meat_until) == (day(8), day(18))
    until = f"up to and including {short_words(day(8), today())}"
    hers = birds["Dill"].get_absolute_url()
    pages = [reverse("today", args=[cast.flock.pk]), hers]
    pages += [url(cast, "list"), url(cast, "bird", birds["Dill"].pk), url(cast, "holds")]
    for page in pages:
        text = " ".join(cast.clients.viewer.get(page).text.split())
        assert re.search(f"on’t eat (her|Dill’s) eggs {until}", text), page
        assert page == hers or text.count(until) == 1, page


@pytest.mark.parametrize("days", [{"egg_days": 10, "meat_days": 0, "days_from": "vet"}, {}])
def test_her_row_on_today_says_what_her_row_in_birds_says(cast, birds, days):
    dill = birds["Dill"]
    look(cast, dill, days_ago=1, left={"score": 1}, right={"score": 0})
    look(cast, birds["Mace"], days_ago=1, left={"score": 1}, right={"score": 0})
    step(cast, dill, "medicine", days_ago=2, **days)
    until = f"up to and including {short_words(day(8), today())}" if days else UNTIL_KNOWN
    for page in (reverse("today", args=[cast.flock.pk]), reverse("birds", args=[cast.flock.pk])):
        text = " ".join(strip_tags(cast.clients.viewer.get(page).text).split())
        assert text.count(f"Don’t eat her eggs {until}") == 1, page


@pytest.mark.parametrize("egg_days", [30, None])
def test_a_cock_has_no_eggs_to_withhold(cast, birds, egg_days):
    Bird.objects.filter(pk=birds["Dill"].pk).update(sex="cock")
    medicine = {"egg_days": egg_days, "meat_days": 0, "days_from": "vet"}
    step(cast, birds["Dill"], "medicine", **medicine)
    assert holds(cast) == []
    step(cast, birds["Dill"], "medicine", **{**medicine, "meat_days": 3})
    (hold,) = holds(cast)
    until = short_words(day(3), today())
    assert hold.words == f"meat withdrawal: don’t eat his meat up to and including {until}"
    assert not hold.unknown_products


def test_on_today_no_name_is_left_out_and_a_house_stands_for_all_its_hens(cast, birds):
    """Whoever collects the eggs reads nothing else."""
    names = ["Anise", "Basil", "Caraway", "Chive", "Clove", "Fennel", "Ginger"]
    house = House.objects.create(flock=cast.flock, name="Orchard House")
    for number, name in enumerate(names):
        bird = Bird.objects.create(flock=cast.flock, name=name)
        Stay.objects.create(flock=cast.flock, bird=bird, house=house, since=day(-9))
        if name != "Ginger":
            step(cast, bird, "medicine", egg_days=4 + number, meat_days=0, days_from="vet")
    cock = Bird.objects.create(flock=cast.flock, name="Rex", sex="cock")
    Stay.objects.create(flock=cast.flock, bird=cock, house=house, since=day(-9))
    step(cast, birds["Dill"], "medicine", egg_days=30, meat_days=0, days_from="vet")
    step(cast, birds["Mace"], "medicine", egg_days=5, meat_days=0, days_from="vet")
    page = reverse("today", args=[cast.flock.pk])
    for address in (page, f"{page}?mine"):
        shown = " ".join(cast.clients.viewer.get(address).text.split())
        for whose, days in (("Anise’s eggs", 4), ("the eggs of Basil and Mace", 5)):
            until = f"up to and including {short_words(day(days), today())}"
            assert f"Don’t eat {whose} {until}." in shown
    ginger = Bird.objects.get(name="Ginger")
    last = step(cast, ginger, "medicine", egg_days=10, meat_days=0, days_from="vet")
    shown = cast.clients.viewer.get(page).text
    until = f"up to and including {short_words(day(10), today())}"
    assert f"Don’t eat any egg from Orchard House {until}." in shown
    assert "Don’t eat Dill’s eggs up to and including" in shown
    last.egg_days, last.days_from = None, ""
    last.save()
    shown = " ".join(strip_tags(cast.clients.viewer.get(page).text).split())
    assert "Don’t eat any egg from Orchard House until the withdrawal days are known." in shown


@pytest.mark.parametrize(("days_ago", "held"), [(10, True), (11, False)])
def test_the_last_day_is_held_too(cast, birds, days_ago, held):
    step(
        cast,
        birds["Dill"],
        "medicine",
        days_ago=days_ago,
        egg_days=10,
        meat_days=0,
        days_from="vet",
    )
    assert bool(holds(cast)) == held


def test_a_course_holds_from_its_last_giving(cast, birds):
    step(
        cast,
        birds["Dill"],
        "medicine",
        days_ago=2,
        given_until=day(3),
        egg_days=7,
        meat_days=0,
        days_from="vet",
    )
    assert holds(cast)[0].eggs_until == day(10)


def test_another_giving_makes_it_longer_with_one_tap(cast, birds):
    first = step(
        cast,
        birds["Dill"],
        "medicine",
        days_ago=5,
        egg_days=7,
        meat_days=7,
        days_from="vet",
        product="Drops",
        next_due=day(0),
    )
    assert holds(cast)[0].eggs_until == day(2)
    cast.clients.keeper.post(url(cast, "done", first.pk))
    assert holds(cast)[0].eggs_until == day(7)


def test_a_hold_outlives_a_move_and_a_sale(cast, birds):
    dill = birds["Dill"]
    step(cast, dill, "medicine", days_ago=1, egg_days=9, meat_days=0, days_from="vet")
    house = House.objects.create(flock=cast.flock, name="Ark")
    Stay.objects.create(flock=cast.flock, bird=dill, house=house, since=today())
    assert holds(cast)[0].eggs_until == day(8)
    leave = f"/f/{cast.flock.pk}/birds/{dill.pk}/leave/"
    warning = cast.clients.keeper.get(leave).content.decode()
    assert "Tell whoever takes Dill" in warning and f"{day(8).day} {day(8):%b}" in warning
    cast.clients.keeper.post(leave, {"left": str(today()), "left_reason": "given away"})
    dill.refresh_from_db()
    assert dill.left
    assert holds(cast)[0].eggs_until == day(8)
    assert "Dill" in cast.clients.keeper.get(url(cast, "list")).content.decode()


def test_the_kit_knows_the_days_of_a_product(cast, birds):
    salve = KitItem.objects.create(
        flock=cast.flock, name="Salve", kind="ointment", egg_days=0, meat_days=0, days_from="label"
    )
    cast.clients.keeper.post(
        url(cast, "step_new", birds["Dill"].pk),
        form(kind="ointment", who=str(cast.keeper.pk), item=salve.pk),
    )
    logged = CareStep.objects.get()
    assert (logged.product, logged.egg_days, logged.days_from) == ("Salve", 0, "label")
    assert holds(cast) == []


def test_days_entered_later_count_for_all_givings_of_that_product(cast, birds):
    for name in ("Dill", "Mace"):
        step(cast, birds[name], "medicine", days_ago=3, product="Drops")
    known = step(
        cast,
        birds["Sorrel"],
        "medicine",
        days_ago=3,
        product="Drops",
        egg_days=20,
        meat_days=20,
        days_from="vet",
    )
    step(cast, birds["Dill"], "ointment", product="Salve")
    page = url(cast, "holds")
    said = {"product": "Drops", "egg_days": "10", "days_from": "vet"}
    assert refused(cast, page, said) == NOT_WRITERS
    answer = cast.clients.keeper.post(page, said, follow=True)
    assert "Entered for Drops, given to Dill and Mace." in answer.text
    found = {
        (s.bird.name, s.product): (s.egg_days, s.meat_days, s.days_from)
        for s in CareStep.objects.select_related("bird")
    }
    assert found == {
        ("Dill", "Drops"): (10, None, "vet"),
        ("Mace", "Drops"): (10, None, "vet"),
        ("Sorrel", "Drops"): (20, 20, "vet"),
        ("Dill", "Salve"): (None, None, ""),
    }
    known.refresh_from_db()
    assert known.egg_days == 20


def test_days_that_somebody_else_entered_meanwhile_are_not_lost_in_silence(cast, birds):
    given = step(cast, birds["Dill"], "medicine", days_ago=3, product="Drops")
    page, said = url(cast, "holds"), {"product": "Drops", "egg_days": "10", "days_from": "vet"}
    cast.clients.keeper.post(page, said)
    answer = cast.clients.owner.post(page, {**said, "egg_days": "7"}, follow=True)
    assert "just been entered by somebody else" in answer.text
    assert "eggs 7 days" in answer.text
    given.refresh_from_db()
    assert given.egg_days == 10


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"days_from": "vet"}, "Enter the days for eggs"),
        ({"egg_days": "5"}, "Say whether the vet or the label"),
        ({"egg_days": "-1", "days_from": "vet"}, "Enter 0 to "),
    ],
)
def test_days_that_cannot_be_are_said(cast, birds, said, words):
    step(cast, birds["Dill"], "medicine", product="Drops")
    answer = cast.clients.keeper.post(url(cast, "holds"), {"product": "Drops", **said})
    assert answer.status_code == 422 and words in answer.content.decode()
    assert CareStep.objects.get().egg_days is None
