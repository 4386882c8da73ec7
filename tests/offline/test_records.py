"""A record from an outbox is stored once and only once, through the forms of the pages."""

import json
import uuid
from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from flockcare.birds.models import Bird, Weighing
from flockcare.care.models import CareStep
from flockcare.feet.cases import cases_of_flock
from flockcare.feet.models import Check
from flockcare.offline.models import Receipt
from flockcare.people.models import Membership
from flockcare.trends.report_cache import report_of
from tests.offline.sends import CLEAR, SORE, body, local, send
from tests.people.rows import same_queries

pytestmark = pytest.mark.django_db


@pytest.fixture
def dill(birds):
    return birds["Dill"]


@pytest.fixture
def sending(cast):
    return cast.clients.keeper, cast.flock


def check_body(cast, bird, *said, **more):
    return body(cast.flock, bird, cast.keeper, *(said or CLEAR), **more)


def test_a_check_is_stored_under_the_key_it_was_made_with(cast, dill, sending):
    key = uuid.uuid4()
    answer = send(*sending, check_body(cast, dill, *SORE), key)
    assert answer.status_code == 201
    check = Check.objects.get(pk=key)
    left, right = check.findings.order_by("foot")
    assert (left.score, left.sites, left.scab, right.score) == (1, ["main", "toe III"], "brown", 0)
    assert (check.keeper, check.bird, check.note) == (cast.keeper, dill, "Limps.")
    said = answer.json()
    assert said["key"] == str(key)
    assert said["words"] == "Dill, left foot mild, right foot clear"
    assert cast.clients.keeper.get(said["url"]).status_code == 200


def test_both_moments_are_kept_when_it_was_seen_and_when_it_arrived(cast, dill, sending):
    key = uuid.uuid4()
    send(*sending, check_body(cast, dill, at=local(cast.flock, days_ago=3)), key)
    check, receipt = Check.objects.get(), Receipt.objects.get(pk=key)
    assert timedelta(days=2.9) < check.received_at - check.at < timedelta(days=3.1)
    assert receipt.received_at == check.received_at
    assert abs(receipt.sent_at - receipt.received_at) < timedelta(minutes=1)


def test_the_same_sent_again_is_answered_the_same(cast, dill, sending):
    key, what = uuid.uuid4(), check_body(cast, dill, *SORE)
    first = send(*sending, what, key)
    what["clock"] = (datetime.now(UTC) + timedelta(seconds=30)).isoformat()
    again = send(*sending, what, key)
    assert (again.status_code, again.json()) == (first.status_code, first.json())
    assert Check.objects.count() == Receipt.objects.count() == 1


def test_something_else_under_the_same_key_is_refused(cast, dill, birds, sending):
    key = uuid.uuid4()
    send(*sending, check_body(cast, dill), key)
    for other in (check_body(cast, dill, *SORE), check_body(cast, birds["Mace"])):
        answer = send(*sending, other, key)
        assert answer.status_code == 409
        said = answer.json()
        assert said["key"] == str(key)
        assert said["reasons"] == [
            "This is saved already, with different values: Dill, both feet clear. "
            "Correct what is saved, and discard this."
        ]
        assert said["url"] == reverse("feet:check", args=[cast.flock.pk, key])
    assert Check.objects.get().bird == dill


def test_what_the_page_had_stored_before_its_answer_was_lost(cast, dill, sending):
    key, at = uuid.uuid4(), local(cast.flock)
    page = reverse("check_bird", args=[cast.flock.pk, dill.pk])
    cast.clients.keeper.post(page, {"check_id": key, "at": at, "verdict": "both clear"})
    assert send(*sending, check_body(cast, dill, at=at), key).status_code == 201
    assert Check.objects.count() == 1
    otherwise = send(*sending, check_body(cast, dill, *SORE, at=at), key)
    assert otherwise.status_code == 409
    assert "with different values: Dill, both feet clear" in otherwise.json()["reasons"][0]
    assert otherwise.json()["url"] == reverse("feet:check", args=[cast.flock.pk, key])
    assert Check.objects.get().findings.filter(score=0).count() == 2


def test_a_check_that_was_taken_back_does_not_come_back(cast, dill, sending):
    """The page had stored it, its answer was lost, and another keeper has taken it back since."""
    key, at = uuid.uuid4(), local(cast.flock)
    page = reverse("check_bird", args=[cast.flock.pk, dill.pk])
    cast.clients.keeper.post(page, {"check_id": key, "at": at, "verdict": "both clear"})
    cast.clients.owner.post(reverse("feet:check_delete", args=[cast.flock.pk, key]))
    answer = send(*sending, check_body(cast, dill, at=at), key)
    assert answer.status_code == 409
    assert answer.json()["reasons"] == ["This was saved, and Owner has deleted it since."]
    assert not Check.objects.exists()


def test_the_reasons_of_a_refusal_are_those_of_the_form(cast, dill, sending):
    nothing = send(*sending, check_body(cast, dill, ("note", "Only a note.")))
    assert nothing.status_code == 422
    assert "Say how at least one foot is" in nothing.json()["reasons"][0]
    wide = [*SORE, ("left-scab_mm", "99")]
    reasons = send(*sending, check_body(cast, dill, *wide)).json()["reasons"]
    assert reasons == [
        "Left foot, Width of the scab in mm: A hen’s foot pad is not wider than 60 mm."
    ]
    assert not Check.objects.exists()
    assert not Receipt.objects.exists()


def test_a_refused_check_can_be_mended_under_its_key(cast, dill, sending):
    key = uuid.uuid4()
    assert send(*sending, check_body(cast, dill, ("note", "-")), key).status_code == 422
    assert send(*sending, check_body(cast, dill, *SORE), key).status_code == 201


def test_a_clock_that_is_days_ahead(cast, dill, sending):
    """The check would lie in the future: it is refused, says why, and can be mended."""
    ahead = datetime.now(UTC) + timedelta(days=2, hours=3)
    key = uuid.uuid4()
    what = check_body(cast, dill, at=local(cast.flock, days_ago=-2), clock=ahead)
    answer = send(*sending, what, key)
    assert answer.status_code == 422
    reasons = answer.json()["reasons"]
    assert "in the future" in reasons[0]
    assert "The clock of this phone is 2 days ahead." in reasons[1]
    assert send(*sending, check_body(cast, dill, clock=ahead), key).status_code == 201


def test_a_clock_that_is_days_behind(cast, dill, sending):
    """Such a date cannot be told from a late check: it is stored, and the answer says so."""
    behind = datetime.now(UTC) - timedelta(days=3, hours=1)
    answer = send(*sending, check_body(cast, dill, at=local(cast.flock, days_ago=3), clock=behind))
    assert answer.status_code == 201
    assert "3 days behind" in answer.json()["notices"][0]
    receipt = Receipt.objects.get()
    assert abs(receipt.received_at - receipt.sent_at - timedelta(days=3, hours=1)) < timedelta(
        minutes=1
    )


def test_a_clock_that_is_right_is_not_spoken_of(cast, dill, sending):
    assert send(*sending, check_body(cast, dill)).json()["notices"] == []


def test_a_late_check_changes_the_cases_and_the_trends(cast, dill, sending):
    """Sore and sore again is one case, until a clear look between the two arrives at last."""

    def told():
        today = timezone.localdate(timezone=cast.flock.zone)
        return len(cases_of_flock(cast.flock)), report_of(cast.flock, today).summary.cases

    for days_ago, said in ((40, CLEAR), (30, SORE), (10, SORE), (3, CLEAR)):
        at = local(cast.flock, days_ago=days_ago)
        assert send(*sending, check_body(cast, dill, *said, at=at)).status_code == 201
    before = told()
    send(*sending, check_body(cast, dill, at=local(cast.flock, days_ago=20)))
    assert (before, told()) == ((1, 1), (2, 2))


@pytest.mark.parametrize("who", ["viewer", "stranger", None])
def test_who_must_not_gets_no_record_in(cast, dill, who):
    client = getattr(cast.clients, who) if who else Client()
    keeper = getattr(cast, who) if who else cast.keeper
    answer = send(client, cast.flock, body(cast.flock, dill, keeper, *CLEAR))
    assert answer.status_code == {"viewer": 403, "stranger": 404, None: 302}[who]
    assert not Check.objects.exists()


def test_a_keeper_who_was_removed(cast, dill, sending):
    what = check_body(cast, dill)
    Membership.objects.get(keeper=cast.keeper).delete()
    assert send(*sending, what).status_code == 404
    assert not Check.objects.exists()


def test_nothing_goes_under_the_name_of_another_keeper(cast, dill):
    answer = send(cast.clients.owner, cast.flock, check_body(cast, dill))
    assert answer.status_code == 422
    assert "Another keeper made this" in answer.json()["reasons"][0]
    assert not Check.objects.exists()


def test_a_bird_that_is_not_there(cast, dill, sending):
    gone = Bird(pk=uuid.uuid4(), flock=cast.flock, name="Gone")
    elsewhere = Bird.objects.create(flock=cast.elsewhere, name="Strange")
    for bird in (gone, elsewhere):
        answer = send(*sending, check_body(cast, bird))
        assert answer.status_code == 422
        assert answer.json()["reasons"] == ["This bird is not in the flock any more."]


def test_a_key_of_another_flock(cast, dill, sending):
    key = uuid.uuid4()
    hen = Bird.objects.create(flock=cast.elsewhere, name="Strange")
    there = body(cast.elsewhere, hen, cast.stranger, *CLEAR)
    assert send(cast.clients.stranger, cast.elsewhere, there, key).status_code == 201
    assert send(*sending, check_body(cast, dill), key).status_code == 409


@pytest.mark.parametrize(
    "wrong",
    [
        "no JSON",
        "[]",
        "{}",
        {"kind": "birthday"},
        {"fields": "verdict"},
        {"fields": [["verdict"]]},
        {"fields": [["verdict", 1]]},
        {"bird": "Dill"},
    ],
)
def test_what_no_outbox_sends(cast, dill, sending, wrong):
    text = wrong if isinstance(wrong, str) else json.dumps({**check_body(cast, dill), **wrong})
    client, flock = sending
    address = reverse("offline:record", args=[flock.pk, uuid.uuid4()])
    answer = client.post(address, text, content_type="application/json")
    assert answer.status_code == 400
    assert answer.json()["reasons"] == ["This is not what an outbox sends."]


def test_a_step_of_care(cast, dill, sending):
    key = uuid.uuid4()
    said = [("kind", "soaked"), ("foot", "left"), ("again", "usual"), ("who", str(cast.keeper.pk))]
    what = check_body(cast, dill, *said, kind="step")
    first = send(*sending, what, key)
    assert first.status_code == 201
    assert send(*sending, what, key).json() == first.json()
    step = CareStep.objects.get()
    assert (step.pk, step.kind, step.keeper) == (key, "soaked", cast.keeper)
    assert step.next_due
    wrong = send(*sending, check_body(cast, dill, kind="step"))
    assert "What was done: Say what was done." in wrong.json()["reasons"]


def test_a_weighing(cast, dill, sending):
    key, today = uuid.uuid4(), local(cast.flock)[:10]
    what = check_body(cast, dill, ("on", today), ("grams", "2.95"), kind="weighing")
    first = send(*sending, what, key)
    assert first.status_code == 201
    assert send(*sending, what, key).json() == first.json()
    weighing = Weighing.objects.get()
    assert (weighing.pk, weighing.grams, weighing.keeper) == (key, 2950, cast.keeper)
    second = send(*sending, what)
    assert second.status_code == 422
    assert "weighed on this day already" in second.json()["reasons"][0]


def test_a_weighing_that_the_page_had_stored(cast, dill, sending):
    key, today = uuid.uuid4(), local(cast.flock)[:10]
    page = reverse("birds:weighings", args=[cast.flock.pk, dill.pk])
    cast.clients.keeper.post(page, {"weighing_id": key, "on": today, "grams": "2.95"})
    what = check_body(cast, dill, ("on", today), ("grams", "2.95"), kind="weighing")
    assert send(*sending, what, key).status_code == 201
    otherwise = check_body(cast, dill, ("on", today), ("grams", "3"), kind="weighing")
    Receipt.objects.all().delete()
    refused = send(*sending, otherwise, key)
    assert refused.status_code == 409
    assert f"Dill, weighed 2950 g on {today}" in refused.json()["reasons"][0]
    assert Weighing.objects.get().grams == 2950


def test_the_receipt_and_the_record_are_one(cast, dill, sending, monkeypatch):
    """If the receipt cannot be written, the record is not there either."""

    def fails(*args, **kwargs):
        raise RuntimeError("The disk is full.")

    monkeypatch.setattr(Receipt.objects, "create", fails)
    with pytest.raises(RuntimeError):
        send(*sending, check_body(cast, dill))
    assert not Check.objects.exists()


def test_a_request_without_the_token_is_refused(cast, dill):
    client = Client(enforce_csrf_checks=True)
    client.force_login(cast.keeper)
    assert send(client, cast.flock, check_body(cast, dill)).status_code == 403
    token = client.get(reverse("offline:hello")).json()["token"]
    address = reverse("offline:record", args=[cast.flock.pk, uuid.uuid4()])
    answer = client.post(
        address,
        json.dumps(check_body(cast, dill)),
        content_type="application/json",
        headers={"X-CSRFToken": token},
    )
    assert answer.status_code == 201


def test_the_page_answers_a_script_with_where_to_go_and_what_to_say_there(cast, dill):
    """As the page's own sending asks: a redirect would be followed unseen."""
    page = reverse("check_bird", args=[cast.flock.pk, dill.pk])
    said = {"check_id": uuid.uuid4(), "at": local(cast.flock), "verdict": "both clear"}
    answer = cast.clients.keeper.post(page, said, headers={"HX-Request": "true"})
    assert answer.status_code == 204
    today = cast.clients.keeper.get(answer.headers["HX-Redirect"]).content.decode()
    assert "Saved: Dill, both feet clear." in today


def test_hello_names_the_keeper_or_says_that_nobody_is_signed_in(cast):
    said = cast.clients.keeper.get(reverse("offline:hello"))
    assert said.json()["keeper"] == str(cast.keeper.pk)
    assert "no-store" in said.headers["Cache-Control"]
    assert Client().get(reverse("offline:hello")).status_code == 401


def test_the_list_for_the_phone_holds_names_bands_and_sore_feet(cast, birds):
    """Sore feet, so that a form without signal asks before it calls them clear."""
    address = reverse("offline:birds", args=[cast.flock.pk])
    send(cast.clients.keeper, cast.flock, check_body(cast, birds["Dill"], *SORE))
    said = cast.clients.keeper.get(address).json()
    sore = {hen["name"]: hen["sore"] for hen in said["birds"]}
    assert sore == {"Dill": ["left"], "Mace": [], "Sorrel": []}
    assert {hen["name"] for hen in said["birds"]} == set(birds)
    assert {key for hen in said["birds"] for key in hen} == {
        *("id", "name", "colour", "band", "due", "checked", "sore", "was", "html"),
    }
    check = Check.objects.get()
    was = {hen["name"]: hen["was"] for hen in said["birds"]}
    assert was == {
        "Dill": dict.fromkeys(("left", "right"), str(check.pk)),
        "Mace": {},
        "Sorrel": {},
    }
    assert cast.clients.viewer.get(address).status_code == 403
    assert cast.clients.stranger.get(address).status_code == 404


def test_the_list_asks_the_database_as_often_for_many_birds(cast, birds):
    def more():
        Bird.objects.bulk_create(Bird(flock=cast.flock, name=f"Hen {n}") for n in range(20))

    same_queries(cast.clients.keeper, reverse("offline:birds", args=[cast.flock.pk]), grow=more)


def test_what_a_sending_asks_of_the_database(cast, dill, sending):
    key, what = uuid.uuid4(), check_body(cast, dill)
    counts = []
    for _ in range(2):
        with CaptureQueriesContext(connection) as queries:
            send(*sending, what, key)
        counts.append(len(queries))
    assert counts[0] <= 20
    assert counts[1] < counts[0]
