"""One tap on what is due, made without signal: stored once, at its own moment, and never lost."""

import json
import re
import uuid
from datetime import UTC, datetime, timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from flockcare.care import services_plans
from flockcare.care.models import CarePlan, CareStep
from flockcare.care.services import repeat_step, undo_care
from tests.care.steps import ago, day, look, step
from tests.offline.sends import body, local, send

pytestmark = pytest.mark.django_db


@pytest.fixture
def dill(birds):
    return birds["Dill"]


def tap(cast, bird, due, *said, by=None, **more) -> dict:
    kind = "plan" if isinstance(due, CarePlan) else "step"
    keeper = by or cast.keeper
    fields = [("foot", due.foot), ("who", str(keeper.pk)), ("again", "usual")]
    fields += [("due", f"{kind}:{due.pk}"), *said]
    return body(cast.flock, bird, keeper, *fields, kind="step", **more)


def told(cast) -> dict:
    address = reverse("offline:birds", args=[cast.flock.pk])
    return cast.clients.keeper.get(address).json()


def the_others(due) -> list[CareStep]:
    return list(CareStep.objects.exclude(pk=due.pk).order_by("at"))


def test_a_tap_is_stored_once_with_what_was_given_last_time(cast, dill):
    due = step(cast, dill, "soaked", days_ago=1, next_due=day(0), product="Epsom salt")
    key, what = uuid.uuid4(), tap(cast, dill, due, ("kind", "soaked"), at=local(cast.flock))
    first = send(cast.clients.keeper, cast.flock, what, key)
    assert first.status_code == 201, first.json()
    assert first.json()["words"].startswith("Dill, left foot: soaked")
    (done,) = the_others(due)
    assert (done.pk, done.product, done.keeper, done.next_due) == (
        *(key, "Epsom salt", cast.keeper, day(1)),
    )
    again = send(cast.clients.keeper, cast.flock, what, key)
    assert (again.status_code, again.json()) == (201, first.json())
    assert the_others(due) == [done]
    # Undone on Today since: sent again it does not come back.
    undo_care(steps=[done], by=cast.owner)
    send(cast.clients.keeper, cast.flock, what, key)
    assert the_others(due) == []


def test_it_was_done_when_it_was_tapped(cast, dill):
    due = step(cast, dill, "dressing on", days_ago=2)
    what = tap(cast, dill, due, ("kind", "dressing off"), at=local(cast.flock, days_ago=1))
    assert send(cast.clients.keeper, cast.flock, what).status_code == 201
    (done,) = the_others(due)
    assert done.kind == "dressing off"
    assert timedelta() <= ago(1) - done.at < timedelta(minutes=2)


def test_what_somebody_else_did_meanwhile_is_said_and_both_can_be_saved(cast, dill):
    due = step(cast, dill, "dressing on", days_ago=1, product="Gauze")
    theirs = repeat_step(step=due, by=cast.owner, kind="dressing changed")
    key, said = uuid.uuid4(), ("kind", "dressing changed")
    answer = send(cast.clients.keeper, cast.flock, tap(cast, dill, due, said), key)
    assert answer.status_code == 409
    (reason,) = answer.json()["reasons"]
    assert re.fullmatch(
        r"Owner has done this already \(\d+ [A-Z][a-z]+, \d\d:\d\d\)\. If it was done twice, save "
        "yours as well; otherwise discard it.",
        reason,
    ), reason
    assert answer.json()["url"] == reverse("care:step", args=[cast.flock.pk, theirs.pk])
    assert the_others(due) == [theirs]
    what = tap(cast, dill, due, said, ("as_well", "on"))
    assert send(cast.clients.keeper, cast.flock, what, key).status_code == 201
    assert {one.pk for one in the_others(due)} == {theirs.pk, key}
    assert {one.product for one in the_others(due)} == {"Gauze"}


@pytest.fixture
def plan(cast, dill):
    look(cast, dill, days_ago=5, left={"score": 1})
    return CarePlan.objects.create(
        flock=cast.flock,
        bird=dill,
        foot="left",
        parts=[
            {"kind": "soaked", "product": "Epsom salt", "amount": None},
            {"kind": "dressing changed", "product": "Gauze", "amount": None},
        ],
        since=day(-1),
        every_days=1,
        until=day(0),
        keeper=cast.owner,
        logged_at=ago(2),
    )


def test_a_plan_is_done_with_one_tap_and_twice_only_where_both_say_so(cast, dill, plan):
    key = uuid.uuid4()
    answer = send(cast.clients.keeper, cast.flock, tap(cast, dill, plan), key)
    assert answer.status_code == 201, answer.json()
    done = {(one.kind, one.product) for one in CareStep.objects.all()}
    assert done == {("soaked", "Epsom salt"), ("dressing on", "Gauze")}
    assert CareStep.objects.filter(pk=key).exists()
    theirs = tap(cast, dill, plan, by=cast.owner)
    refused = send(cast.clients.owner, cast.flock, theirs)
    assert refused.status_code == 409
    assert refused.json()["reasons"][0].startswith("Keeper has done this already")
    assert CareStep.objects.count() == 2
    # Its last day is over, and both gave it.
    theirs["fields"].append(["as_well", "on"])
    assert send(cast.clients.owner, cast.flock, theirs).status_code == 201
    assert CareStep.objects.count() == 4


def test_yesterdays_tap_arrives_after_what_was_done_today(cast, dill, plan):
    services_plans.do_plan(plan=plan, by=cast.owner)
    what = tap(cast, dill, plan, at=local(cast.flock, days_ago=1))
    assert send(cast.clients.keeper, cast.flock, what).status_code == 201
    days = [timezone.localdate(one.at, cast.flock.zone) for one in CareStep.objects.order_by("at")]
    assert days == [day(-1), day(-1), day(0), day(0)]


def test_what_cannot_be_has_a_reason_and_stores_nothing(cast, dill, birds, plan):
    due = step(cast, dill, "soaked", days_ago=1, next_due=day(0))
    gone = ["The care this followed has been deleted. Correct it to log it on its own."]
    soaked = ("kind", "soaked")
    for what, reason in (
        (tap(cast, birds["Mace"], due, soaked), gone),
        (tap(cast, dill, CareStep(foot="left"), soaked), gone),
        (
            tap(cast, dill, due, ("kind", "vet")),
            ["One tap can’t log this. Log it as a full entry."],
        ),
    ):
        answer = send(cast.clients.keeper, cast.flock, what)
        assert (answer.status_code, answer.json()["reasons"]) == (422, reason)
    ahead = datetime.now(UTC) + timedelta(days=2)
    late = tap(cast, dill, due, soaked, at=local(cast.flock, days_ago=-2), clock=ahead)
    reasons = send(cast.clients.keeper, cast.flock, late).json()["reasons"]
    assert "in the future" in reasons[0]
    assert "days ahead" in reasons[1] or "day ahead" in reasons[1]
    plan.stopped_on, plan.stopped_because = day(-1), "Healed."
    plan.save()
    answer = send(cast.clients.keeper, cast.flock, tap(cast, dill, plan))
    assert answer.json()["reasons"] == ["This plan is over: nothing more is due."]
    assert list(CareStep.objects.all()) == [due]


def test_what_the_phone_keeps_has_a_button_for_each(cast, dill, birds, plan):
    dressed = step(cast, birds["Mace"], "dressing on", days_ago=2)
    look(cast, birds["Sorrel"], days_ago=10, left={"score": 1})
    watched = step(cast, birds["Sorrel"], "watched", days_ago=9, next_due=day(-2))
    said = told(cast)
    found = {}
    for line in said["today"].split('class="due-line')[1:]:
        due = re.search(r'data-due="([^"]+)"', line)
        found[due and due[1]] = re.findall(r'data-kinds="([^"]*)">([^<]*)<', line)
    assert found[f"plan:{plan.pk}"] == [("soaked,dressing changed", "Done")]
    assert found[f"step:{dressed.pk}"] == [
        ("dressing looked at", "Checked"),
        ("dressing changed", "Changed"),
        ("dressing off", "Taken off"),
    ]
    assert found[f"step:{watched.pk}"] == [("watched", "Checked")]
    hers = next(one for one in said["birds"] if one["name"] == "Mace")["html"]
    assert f'data-due="step:{dressed.pk}"' in hers
    # A page of an older version would show buttons that do nothing.
    for html in (said["today"], hers):
        assert html.count("data-due=") == html.count('<div class="buttons tight" hidden>')


def test_the_form_for_a_tap_that_is_corrected_takes_its_fields(cast, dill):
    """Logged by itself then, without what it answered."""
    due = step(cast, dill, "soaked", days_ago=1, next_due=day(0))
    what = tap(cast, dill, due, ("kind", "soaked"))
    what["fields"] = [pair for pair in what["fields"] if pair[0] != "due"]
    answer = send(cast.clients.keeper, cast.flock, json.loads(json.dumps(what)))
    assert answer.status_code == 201, answer.json()
