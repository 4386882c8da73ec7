"""A medicine that a whole house gets for some days: one line on Today, ticked once for all."""

import re
import uuid
from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from flockcare.birds.models import Bird
from flockcare.care import services
from flockcare.care.calendar import calendar_of
from flockcare.care.courses import courses_ahead, given_in_one
from flockcare.care.holds import open_holds
from flockcare.care.models import CareStep
from flockcare.care.record import medicines_given
from flockcare.care.tasks import tasks_due
from flockcare.housing.models import House, Stay
from flockcare.people.models import Revision
from tests.care.steps import ago, day, today, url

pytestmark = pytest.mark.django_db
HTMX = {"HX-Request": "true"}


@pytest.fixture
def ark(cast, birds):
    """Dill and Mace live there; Sorrel does not."""
    house = House.objects.create(flock=cast.flock, name="Ark")
    for name in ("Dill", "Mace"):
        Stay.objects.create(flock=cast.flock, bird=birds[name], house=house, since=day(-30))
    return house


def give(cast, birds, *, days_ago=2, days=5, to="Ark", **said):
    """The first giving of a course of so many days."""
    at = ago(days_ago)
    known = {"product": "Drops", "egg_days": 7, "meat_days": 0, "days_from": "label"}
    said = {**known, "batch": "B 1", "quantity": "5 ml in 10 l", "supplier": "Mill Lane", **said}
    until = today() - timedelta(days_ago - days + 1)
    like = CareStep(
        flock=cast.flock, keeper=cast.keeper, kind="medicine", at=at, given_until=until, **said
    )
    return services.give_to_all(like=like, birds=birds, given_to=to, key=uuid.uuid4())


@pytest.fixture
def course(cast, birds, ark):
    return give(cast, [birds["Dill"], birds["Mace"]])


def due(cast) -> list[tuple[str, str]]:
    return [(one.what, one.when_words) for one in tasks_due(cast.flock, today())]


def given_today() -> list[str]:
    steps = CareStep.objects.filter(at__gte=timezone.now() - timedelta(hours=12))
    return sorted(steps.values_list("bird__name", flat=True))


def test_it_is_due_once_for_the_house_until_its_last_day(cast, course):
    assert due(cast) == [("Medicine for Ark: Drops, day 3 of 5", "today, not ticked for 1 day")]
    services.give_again(step=course[0], by=cast.owner)
    assert due(cast) == []
    (ahead,) = courses_ahead(cast.flock, today())
    assert (ahead.what, ahead.on) == ("Medicine for Ark: Drops, day 4 of 5", day(1))
    # With its last giving it is over; and so it is, ticked or not, once its last day is.
    assert courses_ahead(cast.flock, day(3)) == []


@pytest.mark.parametrize(("days", "more"), [(1, {}), (2, {}), (5, {"past": True}), (5, {"to": ""})])
def test_nothing_is_due_of_what_is_over_or_of_one_bird(cast, birds, ark, days, more):
    """A single bird's course is a plan of care."""
    give(cast, [birds["Dill"]], days=days, **more)
    assert due(cast) == []


def test_one_tap_gives_it_to_all_who_live_there_now_and_undo_takes_it_from_all(
    cast, birds, ark, course
):
    Stay.objects.create(flock=cast.flock, bird=birds["Sorrel"], house=ark, since=day(-1))
    page = cast.clients.keeper.get(url(cast, "today_panel"), headers=HTMX).text
    (button,) = re.findall(r'name="what" value="(medicine:[^"]+)"', page)
    page = cast.clients.keeper.post(url(cast, "task_done"), {"what": button}, headers=HTMX).text
    page = " ".join(page.split())
    assert given_today() == ["Dill", "Mace", "Sorrel"]
    assert "day 3 of 5" not in page
    assert page.count("medicine, Drops (3 birds)") == 1 and "Ark</strong>" in page
    assert ": Ark, medicine, Drops</span>" in page  # What its button undoes, read aloud.
    again = CareStep.objects.latest("logged_at")
    assert (again.batch, again.quantity, again.supplier) == ("B 1", "5 ml in 10 l", "Mill Lane")
    # Two who tap at once give it once.
    page = cast.clients.owner.post(url(cast, "task_done"), {"what": button}, headers=HTMX).text
    assert "Keeper has done this already." in page and len(given_today()) == 3
    page = cast.clients.owner.post(url(cast, "undo", again.pk), {"whole": "1"}, headers=HTMX).text
    assert "Undone: Ark, medicine, Drops (3 birds)." in page
    assert given_today() == [] and due(cast)
    services.give_again(step=course[0], by=cast.owner)
    assert len(given_today()) == 3


def test_what_was_logged_today_without_a_last_day_is_not_given_twice(cast, birds, course):
    again = give(cast, [birds["Dill"], birds["Mace"]], days_ago=0)
    CareStep.objects.filter(pk__in=[step.pk for step in again]).update(given_until=None)
    assert due(cast) == []
    with pytest.raises(ValidationError, match="has done this already"):
        services.give_again(step=course[0], by=cast.owner)
    services.undo_care(steps=again, by=cast.owner)
    assert len(due(cast)) == 1


def test_its_last_day_is_due_too(cast, birds, ark):
    give(cast, [birds["Dill"]], days_ago=1, days=2)
    assert due(cast) == [("Medicine for Ark: Drops, day 2 of 2", "today")]


def test_what_was_given_today_for_one_day_is_over(cast, birds, ark):
    (one,) = give(cast, [birds["Dill"]], days_ago=0)
    CareStep.objects.filter(pk=one.pk).update(given_until=None)
    assert courses_ahead(cast.flock, today()) == []


def test_two_medicines_and_two_houses_are_courses_of_their_own(cast, birds, ark):
    """All logged in the same moment."""
    drops = give(cast, [birds["Dill"], birds["Mace"]])
    others = (("Powder", "Ark", "Dill"), ("Drops", "the whole flock", "Sorrel"))
    powder, flock = (
        give(cast, [birds[name]], product=product, to=to)[0] for product, to, name in others
    )
    CareStep.objects.update(at=drops[0].at)
    drops[0].refresh_from_db()
    assert set(given_in_one(drops[0])) == set(drops)
    assert [what.split(", day")[0] for what, _ in due(cast)] == [
        *("Medicine for Ark: Drops", "Medicine for Ark: Powder"),
        "Medicine for the whole flock: Drops",
    ]
    services.give_again(step=powder, by=cast.owner)
    today_only = CareStep.objects.filter(at__gt=drops[0].at).values_list("product", "given_to")
    assert set(today_only) == {("Powder", "Ark")} and len(due(cast)) == 2
    services.stop_course(step=flock, because="The vet said so.", by=cast.owner)
    assert [what.split(", day")[0] for what, _ in due(cast)] == ["Medicine for Ark: Drops"]


def test_who_comes_later_gets_none_of_it_yet(cast, birds, ark):
    (first, *_) = give(cast, [birds["Dill"]], to="the whole flock")
    Bird.objects.filter(pk=birds["Mace"].pk).update(joined=day(2).isoformat())
    services.give_again(step=first, by=cast.owner)
    assert given_today() == ["Dill", "Sorrel"]


def test_what_was_given_to_all_is_one_change(cast, course):
    before = Revision.objects.count()
    services.give_again(step=course[0], by=cast.owner)
    added = Revision.objects.order_by("pk")[before:]
    assert len({one.changeset for one in added}) == 1 and len(added) == 2


def test_a_house_of_another_name_by_now_gives_it_to_the_same_birds(cast, birds, ark, course):
    House.objects.filter(pk=ark.pk).update(name="Barn")
    services.give_again(step=course[0], by=cast.owner)
    assert given_today() == ["Dill", "Mace"]


def test_the_whole_flock_is_all_who_are_here(cast, birds, ark):
    (first, *_) = give(cast, birds.values(), to="the whole flock")
    Bird.objects.filter(pk=birds["Mace"].pk).update(left=day(-1).isoformat(), left_reason="sold")
    services.give_again(step=first, by=cast.owner)
    assert given_today() == ["Dill", "Sorrel"]


def test_eggs_wait_from_the_last_day_also_of_who_came_late(cast, birds, ark, course):
    Stay.objects.create(flock=cast.flock, bird=birds["Sorrel"], house=ark, since=day(-1))
    services.give_again(step=course[0], by=cast.owner)
    holds = open_holds(cast.flock, now=timezone.now())
    assert {(hold.bird.name, hold.eggs_until) for hold in holds} == {
        (name, day(2 + 7)) for name in ("Dill", "Mace", "Sorrel")
    }


def test_who_stops_it_says_why_and_eggs_wait_from_the_last_giving(cast, course):
    page = url(cast, "drop", course[1].pk)
    assert "Ask the vet before you stop a course." in cast.clients.keeper.get(page).text
    assert cast.clients.keeper.post(page, {"because": ""}).status_code == 422
    assert due(cast)
    cast.clients.keeper.post(page, {"because": "The vet said so."})
    assert due(cast) == []
    holds = open_holds(cast.flock, now=timezone.now())
    assert {hold.eggs_until for hold in holds} == {day(-2 + 7)} and len(holds) == 2
    reasons = CareStep.objects.values_list("dropped_because", "dropped_by")
    assert set(reasons) == {("The vet said so.", cast.keeper.pk)}
    with pytest.raises(ValidationError, match="over"):
        services.give_again(step=course[0], by=cast.owner)


def test_a_correction_of_one_bird_makes_no_plan_for_her_alone(cast, course):
    one = course[0]
    one.given_until = day(3)
    services.change_step(step=one, by=cast.owner)
    assert not one.bird.careplan_set.exists()


def test_the_record_has_the_course_in_one_row(cast, course):
    services.give_again(step=course[0], by=cast.owner)
    (row,) = medicines_given(cast.flock, now=timezone.now())
    assert (row.first, row.last, row.birds) == (day(-2), day(2), {"Dill", "Mace"})
    assert row.by == "Keeper, Owner" and row.supply == "Mill Lane"


def test_the_record_marks_a_day_that_nobody_ticked(cast, course):
    page = url(cast, "medicine_record")
    yesterday = f"{day(-1).day} {day(-1):%b}"
    assert f"Not ticked: {yesterday}<" in cast.clients.viewer.get(page).text.replace("\n", "")
    services.give_again(step=course[0], by=cast.owner, now=ago(1))
    assert "Not ticked" not in cast.clients.viewer.get(page).text


def test_what_was_logged_when_it_was_over_was_never_to_be_ticked(cast, course):
    CareStep.objects.update(at=ago(9), given_until=day(-4))
    (row,) = medicines_given(cast.flock, now=timezone.now())
    assert row.last == day(-4) and row.missed == []


def test_the_sitter_ticks_it_once_and_undoes_it(cast, course):
    made = reverse("vetsheet:sitters", args=[cast.flock.pk])
    said = {"name": "Anna", "first": day(0), "last": day(6), "note": ""}
    page = cast.clients.keeper.post(made, said).text
    link = re.search(r'readonly value="http://testserver([^"]+)"', page)[1]
    page = Client().get(link).text
    assert "Medicine for Ark: Drops, day 3 of 5" in page and "How much: 5 ml in 10 l" in page
    (key,) = set(re.findall(r'value="(task:medicine:[^"]+)"', page))
    page = Client().post(f"{link}tick/", {"what": key, "kind": ""}, follow=True).text
    assert "Ark, medicine, Drops (2 birds)" in page and given_today() == ["Dill", "Mace"]
    assert set(CareStep.objects.filter(keeper=None).values_list("keeper_name", flat=True)) == {
        "Anna (sitter)"
    }
    page = Client().post(f"{link}tick/", {"what": key, "kind": ""}, follow=True).text
    assert len(given_today()) == 2
    (undo,) = re.findall(r'value="(step:[^"]+)"', page)
    Client().post(f"{link}undo/", {"what": undo}, follow=True)
    assert given_today() == []


def test_the_calendar_has_one_entry_for_the_house(cast, course):
    feed = calendar_of(cast.flock, cast.keeper, at_time=None, now=timezone.now()).decode()
    said = feed.replace("\r\n ", "")
    assert said.count("SUMMARY:Medicine for Ark: Drops\\, day 3 of 5") == 1
