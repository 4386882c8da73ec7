"""Plans of care: what is due when and whose turn it is, courses of a medicine, one tap."""

import io
import json
import uuid
from datetime import date, datetime, time, timedelta

import pytest
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.http import QueryDict
from django.urls import reverse
from django.utils import timezone

from flockcare.care import services_plans as services
from flockcare.care.calendar import calendar_of
from flockcare.care.holds import open_holds
from flockcare.care.models import CarePlan, CareStep, KitItem
from flockcare.care.plans import all_dues, next_of, plan_dues, turn_of
from flockcare.care.services import AlreadyDone, change_step, plan_course, undo_step
from flockcare.care.situation import standings, worked_out
from flockcare.drawing.dates import short_words
from flockcare.exchange.services import apply, check, export, read_folder
from flockcare.offline.kinds import KINDS, Sent
from flockcare.pages.leaving import leave_flock
from flockcare.people.models import Flock, Keeper, Membership, Revision
from tests.care.steps import day, form, look, step, today, url

MON = date(2026, 10, 19)
SOAK = {"kind": "soaked", "product": "", "amount": None}
DRESS = {"kind": "dressing changed", "product": "Gauze", "amount": None}


def on(*numbers) -> list[date]:
    return [MON + timedelta(number) for number in numbers]


def bare(**more) -> CarePlan:
    return CarePlan(**{"parts": [SOAK], "since": MON, "every_days": 2, **more})


# --- Worked out, without a database


@pytest.mark.parametrize(
    ("done", "more", "next_in", "why"),
    [
        ([], {}, 0, ""),
        ([0], {}, 2, ""),
        ([0, 1], {}, 3, "moved to Thu: done a day early"),
        ([0, 4], {}, 6, "moved to Sun: done 2 days late"),
        ([0, 4, 6], {}, 8, ""),
        # Daily there is nothing to move.
        ([0, 2], {"every_days": 1}, 3, ""),
        ([0], {"put_off": "skipped", "put_off_from": 2, "put_off_to": 4}, 4, "Wed 21 Oct skipped"),
        ([0], {"put_off": "moved", "put_off_from": 2, "put_off_to": 3}, 3, "not on Wed 21 Oct"),
        # Done on the day it was moved to: in time, and it is over with having been moved.
        ([0, 3], {"put_off": "moved", "put_off_from": 2, "put_off_to": 3}, 5, ""),
        ([0, 2], {"until": 3}, None, ""),
        ([0], {"until": 2}, 2, ""),
        ([0], {"stopped": True}, 2, ""),
    ],
)
def test_the_next_day(done, more, next_in, why):
    more.pop("stopped", None)
    dates = {name: on(n)[0] for name, n in more.items() if name not in ("put_off", "every_days")}
    coming = next_of(bare(**{**more, **dates}), on(*done))
    assert (coming and (coming.on - MON).days) == next_in
    if coming:
        assert why in coming.why and bool(coming.why) == bool(why)


ROS, TED, BO, GONE = (
    Keeper(pk=uuid.UUID(int=n), name=["Ros", "Ted", "Bo", "Gone"][n]) for n in range(4)
)
MEMBERS = {str(one.pk): one for one in (ROS, TED, BO)}


@pytest.mark.parametrize(
    ("turns", "done_by", "who"),
    [
        ([], [TED], ""),
        ([ROS], [TED], "Ros"),
        ([ROS, TED], [], "Ros"),
        ([ROS, TED], [ROS], "Ted"),
        ([ROS, TED], [ROS, TED], "Ros"),
        # Ted stood in for Ros: she is still the one who did it longest ago.
        ([ROS, TED], [ROS, TED, TED], "Ros"),
        ([ROS, TED], [BO], "Ros"),
        ([ROS, GONE], [ROS], "Ros"),
        ([GONE], [], ""),
        ([ROS, "Ines"], [ROS], "Ines"),
        ([ROS, "Ines"], [ROS, "Ines"], "Ros"),
    ],
)
def test_whose_turn(turns, done_by, who):
    turns = [["", one] if isinstance(one, str) else [str(one.pk), ""] for one in turns]
    done_by = [(None, one) if isinstance(one, str) else (one.pk, "") for one in done_by]
    key = next((one.pk for one in MEMBERS.values() if one.name == who), None)
    assert turn_of(turns, done_by, MEMBERS) == (key, who)


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"parts": []}, "what is to be done"),
        ({"parts": [SOAK, SOAK]}, "once"),
        ({"parts": [{"kind": "vet", "product": "", "amount": None}]}, "once"),
        ({"parts": [{"kind": "soaked"}]}, "cannot be read"),
        ({"parts": "soaked"}, "cannot be read"),
        ({"parts": [{**SOAK, "amount": "-1"}]}, "Enter 0 or more"),
        ({"parts": [{**SOAK, "amount": "NaN"}]}, "Enter 0 or more"),
        ({"parts": [{**SOAK, "product": "a\nb"}]}, "one line"),
        ({"until": MON - timedelta(1)}, "before the first day"),
        ({"parts": [{**SOAK, "kind": "medicine"}]}, "needs a last day"),
        ({"foot": ""}, "needs a last day"),
        ({"egg_days": 3, "days_from": "vet"}, "Only an ointment or a medicine"),
        ({"parts": [{**SOAK, "kind": "ointment"}], "egg_days": 3}, "the vet or the label"),
    ],
)
def test_what_no_plan_can_be(more, words):
    with pytest.raises(ValidationError, match=words):
        bare(**{"foot": "left", **more}).clean()


# --- A fortnight, day by day


class Story:
    """Of one plan, told from a day long enough ago that all of it is past."""

    def __init__(self, cast, bird, *, began=20, **more):
        self.cast, self.bird, self.began = cast, bird, began
        self.plan = CarePlan.objects.create(
            **{"flock": cast.flock, "bird": bird, "foot": "left", "since": self.day(0), **more},
            logged_at=self.at(0, 7),
        )

    def day(self, number: int) -> date:
        return day(number - self.began)

    def at(self, number: int, hour: int = 18) -> datetime:
        return datetime.combine(self.day(number), time(hour), self.cast.flock.zone)

    def due(self, number: int):
        """(on which day of the story, what, who, why), as it is told on that day."""
        dues = plan_dues(self.cast.flock, now=self.at(number, 8))
        return [((one.on - self.day(0)).days, one.what, one.who, one.why) for one in dues]

    def tap(self, number: int, by):
        return services.do_plan(plan=self.plan, by=by, now=self.at(number))


@pytest.mark.django_db
def test_a_fortnight_of_two_people_by_turns(cast, birds):
    dill, ros, ted = birds["Dill"], cast.owner, cast.keeper
    gauze = KitItem.objects.create(flock=cast.flock, name="Gauze", kind="gauze", stock=4)
    told = {
        "parts": [SOAK, DRESS],
        "every_days": 2,
        "turns": [[str(ros.pk), ""], [str(ted.pk), ""]],
    }
    story = Story(cast, dill, **told)
    both = "soak, dressing"
    assert story.due(0) == [(0, both, "Owner", "")]
    kinds = [one.kind for one in story.tap(0, ros)]
    assert kinds == ["soaked", "dressing on"]
    assert story.due(1) == [(2, both, "Keeper", "")]
    assert [one.kind for one in story.tap(2, ted)] == ["soaked", "dressing changed"]
    # Skipped: her turn stays hers.
    assert story.due(4) == [(4, both, "Owner", "")]
    services.skip(plan=story.plan, by=ros, now=story.at(4))
    ((number, _, who, why),) = story.due(4)
    assert (number, who) == (6, "Owner") and f"{story.day(4):%a} {story.day(4).day}" in why
    # Moved by a day, and done then.
    services.move(plan=story.plan, to=story.day(7), by=ted, now=story.at(6, 9))
    ((number, _, who, why),) = story.due(6)
    assert (number, who) == (7, "Owner") and why.startswith(f"moved to {story.day(7):%a}: not on")
    story.tap(7, ros)
    assert story.due(8) == [(9, both, "Keeper", "")]
    # Ted did it on day 9, out of signal. On day 10 it is late, until his phone has sent it.
    assert [one[:3] for one in story.due(10)] == [(9, both, "Keeper")]
    key = uuid.uuid4()
    fields = QueryDict(mutable=True)
    fields.update({"step_id": str(key), "foot": "left", "who": str(ted.pk), "again": "usual"})
    fields["at"] = story.at(9).strftime("%Y-%m-%dT%H:%M")
    fields.setlist("kind", ["soaked", "dressing changed"])
    fields["with_dressing"] = "gauze"
    KINDS["step"].read(Sent(cast.flock, ted, dill, key, fields, story.at(10, 12)))()
    # "As usual" is by the plan now.
    assert CareStep.objects.get(kind="soaked", at=story.at(9)).next_due is None
    assert story.due(10) == [(11, both, "Owner", "")]
    # She is done a day early, which moves the next.
    story.tap(10, ros)
    assert story.due(11) == [(12, both, "Keeper", f"moved to {story.day(12):%a}: done a day early")]
    gauze.refresh_from_db()
    assert gauze.stock == -1 and CareStep.objects.filter(item=gauze).count() == 5
    with pytest.raises(ValidationError, match="Say why"):
        services.stop(plan=story.plan, because=" ", by=ted)
    services.stop(plan=story.plan, because="Healing by itself.", by=ted, now=story.at(12))
    assert story.due(13) == []
    # Nothing that was logged meanwhile asks by itself, but the dressing that is still on.
    dues, _ = all_dues(cast.flock, now=story.at(13))
    assert [due.what for due in dues] == ["check the dressing"]


@pytest.mark.django_db
def test_a_dressing_is_checked_on_the_days_between(cast, birds):
    story = Story(cast, birds["Dill"], parts=[SOAK, DRESS], every_days=2)
    story.tap(0, cast.owner)
    assert [due.what for due in all_dues(cast.flock, now=story.at(1))[0]] == ["check the dressing"]
    # On the day of the plan it is changed: that is asked for once.
    assert all_dues(cast.flock, now=story.at(2))[0] == []
    services.move(plan=story.plan, to=story.day(4), by=cast.owner, now=story.at(2))
    assert [due.what for due in all_dues(cast.flock, now=story.at(2))[0]] == ["check the dressing"]


@pytest.mark.django_db
def test_a_course_of_five_days_and_its_withdrawal(cast, birds):
    dill = birds["Dill"]
    drops = {"kind": "medicine", "product": "Drops", "amount": "2"}
    KitItem.objects.create(flock=cast.flock, name="drops", kind="medicine", stock=30)
    story = Story(
        cast,
        dill,
        parts=[drops],
        every_days=1,
        until=day(-16),
        egg_days=7,
        meat_days=0,
        days_from="vet",
        decided_by="vet",
        batch="B7",
        quantity="2 ml",
    )
    for number in range(5):
        assert story.due(number) == [(number, "medicine (Drops), as the vet said", "", "")]
        story.tap(number, cast.keeper)
        (hold,) = open_holds(cast.flock, now=story.at(number, 20))
        assert (hold.eggs_until, hold.meat_until) == (story.day(4 + 7), None), number
    assert story.due(5) == []
    given = CareStep.objects.get(at=story.at(4))
    told = (given.egg_days, given.batch, given.quantity, given.product, given.amount, given.is_vets)
    assert told == (7, "B7", "2 ml", "drops", 2, True)
    assert KitItem.objects.get().stock == 20
    assert open_holds(cast.flock, now=story.at(11, 20)) and not open_holds(
        cast.flock, now=story.at(12, 1)
    )


@pytest.mark.django_db
def test_a_course_that_is_stopped_withdraws_from_its_last_giving(cast, birds):
    drops = {"kind": "medicine", "product": "Drops", "amount": None}
    days = {"egg_days": 7, "meat_days": 9, "days_from": "vet"}
    story = Story(cast, birds["Dill"], parts=[drops], until=day(-10), **days)
    # Nothing is withdrawn for a course that was never begun.
    assert open_holds(cast.flock, now=story.at(0)) == []
    for number in (0, 1):
        story.tap(number, cast.keeper)
    services.stop(plan=story.plan, because="The vet said so.", by=cast.keeper, now=story.at(2))
    (hold,) = open_holds(cast.flock, now=story.at(2, 20))
    assert (hold.eggs_until, hold.meat_until) == (story.day(8), story.day(10))


@pytest.mark.django_db
def test_between_two_givings_eggs_are_withdrawn_too(cast, birds):
    drops = {"kind": "medicine", "product": "Drops", "amount": None}
    days = {"egg_days": 1, "meat_days": 1, "days_from": "vet"}
    story = Story(cast, birds["Dill"], parts=[drops], every_days=4, until=day(-12), **days)
    story.tap(0, cast.keeper)
    (hold,) = open_holds(cast.flock, now=story.at(3))
    assert hold.eggs_until == story.day(9)


@pytest.mark.django_db
@pytest.mark.parametrize("hour", [0, 12, 23])
def test_days_on_which_the_clocks_change(cast, birds, hour):
    """Europe/London: 25 October 2026 has 25 hours, 28 March 2027 has 23 (tz database)."""
    dill, zone = birds["Dill"], cast.flock.zone
    for first in (date(2026, 10, 24), date(2027, 3, 27)):
        plan = CarePlan.objects.create(
            flock=cast.flock, bird=dill, foot="left", parts=[SOAK], every_days=1, since=first
        )
        for number in range(4):
            now = datetime.combine(first + timedelta(number), time(hour, 30), zone)
            (due,) = plan_dues(cast.flock, now=now, pk=plan.pk)
            assert (due.on, due.days_late) == (first + timedelta(number), 0)
            services.do_plan(plan=plan, by=cast.owner, now=now)
        plan.delete()
        CareStep.objects.all().delete()


# --- When it ends


@pytest.mark.django_db
def test_until_healed_ends_with_the_first_clear_check_for_good(cast, birds):
    story = Story(cast, birds["Dill"], parts=[SOAK], every_days=2)
    look(cast, birds["Dill"], days_ago=25, left={"score": 0})
    assert story.due(5)
    look(cast, birds["Dill"], days_ago=14, left={"score": 1}, right={"score": 0})
    assert story.due(8)
    look(cast, birds["Dill"], days_ago=8, left={"score": 0})
    look(cast, birds["Dill"], days_ago=1, left={"score": 1})
    assert plan_dues(cast.flock, now=timezone.now()) == []


@pytest.mark.django_db
def test_a_bird_that_left_has_nothing_due(cast, birds):
    dill = birds["Dill"]
    story = Story(cast, dill, parts=[SOAK])
    assert story.due(5)
    dill.left, dill.left_reason = str(today()), "died"
    leave_flock(bird=dill, by=cast.keeper)
    assert plan_dues(cast.flock, now=timezone.now()) == []


@pytest.mark.django_db
def test_a_missed_last_day_is_late_for_two_weeks(cast, birds):
    story = Story(cast, birds["Dill"], parts=[SOAK], until=day(-20))
    assert story.due(14) and not story.due(15)


# --- Shown, tapped, undone


@pytest.fixture
def plan(cast, birds):
    gauze = {"kind": "gauze", "stock": 3}
    KitItem.objects.create(flock=cast.flock, name="Gauze", **gauze)
    look(cast, birds["Dill"], days_ago=1, left={"score": 1})
    return CarePlan.objects.create(
        flock=cast.flock,
        bird=birds["Dill"],
        foot="left",
        parts=[SOAK, DRESS],
        every_days=2,
        since=today(),
        turns=[[str(cast.keeper.pk), ""]],
    )


def shown(client, address) -> str:
    return " ".join(client.get(address).text.split())


@pytest.mark.django_db
def test_it_is_due_on_every_page_that_tells_what_is(cast, birds, plan):
    out = io.StringIO()
    call_command("today", flock=cast.flock.name, json=True, stdout=out)
    hers = next(one for one in json.loads(out.getvalue())["birds"] if one["bird"] == "Dill")
    due = {"what": "soak, dressing", "on": today().isoformat(), "who": "Keeper"}
    assert due in hers["feet"]["left"]["due"]
    for address in (
        reverse("today", args=[cast.flock.pk]),
        birds["Dill"].get_absolute_url(),
        url(cast, "bird", birds["Dill"].pk),
    ):
        page = shown(cast.clients.keeper, address)
        assert "eft foot: soak, dressing" in page and "Your turn" in page, address
        assert "Keeper’s turn" in shown(cast.clients.owner, address), address
    feed = calendar_of(cast.flock, cast.keeper, at_time=None, now=timezone.now()).decode()
    assert "soak\\, dressing (Keeper)" in feed
    others = calendar_of(cast.flock, cast.owner, at_time=time(18), now=timezone.now()).decode()
    assert "soak\\, dressing" not in others


@pytest.mark.django_db
@pytest.mark.parametrize("decided_by", ["", "vet"])
def test_what_the_advice_now_leaves_alone_is_said_to_be_of_the_plan(cast, birds, plan, decided_by):
    plan.since, plan.decided_by = day(-4), decided_by
    plan.save()
    whose = f"By the plan of {short_words(day(-4), today())}; the advice now is to leave the foot"
    addresses = (
        reverse("today", args=[cast.flock.pk]),
        birds["Dill"].get_absolute_url(),
        url(cast, "bird", birds["Dill"].pk),
    )
    # Too little is recorded to say so.
    assert not any(whose in shown(cast.clients.keeper, address) for address in addresses)
    scab = {"score": 1, "scab": "brown", "swelling": "none", "hot": False, "oozing": False}
    look(cast, birds["Dill"], left=scab, right={"score": 0}, gait=0, manner="bright", eating="yes")
    for address in addresses:
        page = shown(cast.clients.keeper, address)
        assert "eft foot: soak, dressing" in page or "Soak, dressing" in page, address
        assert (whose in page) is (not decided_by), address


@pytest.mark.django_db
def test_one_tap_logs_it_counts_the_kit_down_and_is_undone_as_one(cast, plan):
    tap = url(cast, "plan_done", plan.pk)
    page = cast.clients.owner.post(tap, {"back": "today"}, headers={"HX-Request": "true"}).text
    assert "left foot: soaked; dressing on, Gauze" in " ".join(page.split())
    assert KitItem.objects.get().stock == 2
    # The other keeper, whose list is a moment old.
    answer = cast.clients.keeper.post(tap, {"back": "today"}, follow=True)
    assert "Owner has done this already." in answer.text
    assert CareStep.objects.count() == 2
    first = Revision.objects.get(first=None, action="add")
    cast.clients.owner.post(reverse("pages:changeset", args=[cast.flock.pk, first.pk]))
    assert not CareStep.objects.exists() and KitItem.objects.get().stock == 3
    (due,) = plan_dues(cast.flock, now=timezone.now())
    assert due.on == today()


@pytest.mark.django_db
def test_what_is_done_already_today_is_not_done_again(cast, birds, plan):
    step(cast, birds["Dill"], "soaked")
    (due,) = plan_dues(cast.flock, now=timezone.now())
    assert (due.what, due.on) == ("dressing", today())
    done = services.do_plan(plan=plan, by=cast.owner)
    assert [one.kind for one in done] == ["dressing on"]
    with pytest.raises(AlreadyDone):
        services.do_plan(plan=plan, by=cast.owner)


@pytest.mark.django_db
def test_what_is_kept_follows_a_plan(cast, plan):
    flock = cast.flock
    deeds = [
        lambda: CarePlan.objects.create(
            flock=flock, bird=plan.bird, foot="right", parts=[SOAK], since=today()
        ),
        lambda: services.skip(plan=plan, by=cast.owner),
        lambda: services.move(plan=plan, to=day(3), by=cast.owner),
        lambda: services.do_plan(plan=plan, by=cast.owner),
        lambda: Membership.objects.filter(keeper=cast.keeper).delete(),
        lambda: services.stop(plan=plan, because="Healed.", by=cast.owner),
        lambda: services.delete_plan(plan=plan, by=cast.owner),
    ]
    for number, deed in enumerate(deeds):
        before = standings(flock, now=timezone.now()).mark
        deed()
        after = standings(flock, now=timezone.now())
        assert after.birds == worked_out(flock, today()).birds and after.mark != before, number


SENT = {
    **{"foot": "left", "parts": ["soaked", "dressing changed"], "with_soak": "warm water"},
    **{"with_dressing": "gauze", "every_days": "2", "ends": "healed"},
}


@pytest.mark.django_db
def test_a_plan_is_set_up_changed_stopped_and_deleted(cast, birds):
    KitItem.objects.create(flock=cast.flock, name="Gauze", kind="gauze", stock=3)
    client, new = cast.clients.keeper, url(cast, "plan_new", birds["Dill"].pk)
    turns = [str(cast.owner.pk), str(cast.keeper.pk)]
    client.post(new, {**SENT, "since": str(today()), "turns": turns})
    plan = CarePlan.objects.get()
    assert plan.parts == [
        {"kind": "soaked", "product": "warm water", "amount": None},
        {"kind": "dressing changed", "product": "Gauze", "amount": None},
    ]
    assert (plan.until, plan.turns) == (None, [[key, ""] for key in turns])
    page = shown(client, url(cast, "plan", plan.pk))
    assert "Left foot: soak, warm water; dressing, Gauze, every 2 days" in page
    assert "Next:" in page and "(Owner)" in page
    assert "Ask the vet before" not in page
    answer = client.post(url(cast, "plan_move", plan.pk), {"to": str(day(-1))})
    assert answer.status_code == 422 and "This day is past." in answer.text
    answer = client.post(url(cast, "plan_stop", plan.pk), {"because": ""})
    assert answer.status_code == 422 and "Say why" in answer.text
    client.post(url(cast, "plan_stop", plan.pk), {"because": "Rests."})
    page = shown(client, url(cast, "plan", plan.pk))
    assert "Nothing is due any more." in page and "Rests." in page
    client.post(url(cast, "plan_delete", plan.pk))
    assert not CarePlan.objects.exists()


@pytest.mark.django_db
def test_a_medicine_asks_for_the_vet_before_it_is_stopped(cast, birds):
    client, new = cast.clients.keeper, url(cast, "plan_new", birds["Dill"].pk)
    said = {**SENT, "parts": ["medicine"], "since": str(today()), "every_days": "1"}
    answer = client.post(new, said)
    assert answer.status_code == 422 and "Say which medicine it is." in answer.text
    answer = client.post(new, {**said, "with_medicine": "Drops"})
    assert answer.status_code == 422 and "A medicine needs a last day." in answer.text
    days = {"egg_days": "7", "days_from": "vet", "quantity": "2 ml", "batch": "B7"}
    dated = {**said, "with_medicine": "Drops", "ends": "day", "until": str(day(4)), **days}
    client.post(new, dated)
    plan = CarePlan.objects.get()
    assert (plan.egg_days, plan.batch, plan.until) == (7, "B7", day(4))
    page = shown(client, url(cast, "plan", plan.pk))
    assert "Ask the vet before you stop a course. Never use leftovers." in page
    assert "How much: 2 ml." in page and "eggs 7 days, meat not known" in page


def log(cast, bird, **said):
    page = url(cast, "step_new", bird.pk)
    sent = form(who=str(cast.keeper.pk), again="no", **said)
    answer = cast.clients.keeper.post(page, sent, follow=True)
    assert answer.status_code == 200, answer.text
    return answer


def dues_of(cast, bird, *, in_days=0):
    now = timezone.now() + timedelta(in_days)
    return [(due.what, due.on) for due in plan_dues(cast.flock, now=now, bird=bird)]


@pytest.mark.django_db
def test_a_medicine_with_a_last_day_is_due_each_day_until_then(cast, birds):
    """Given today, so that the next is due tomorrow; told here, on Today and to a sitter."""
    dill = birds["Dill"]
    days = {"egg_days": "7", "days_from": "vet", "quantity": "2 ml", "decided_by": "vet"}
    answer = log(cast, dill, kind="medicine", product="Drops", given_until=str(day(4)), **days)
    plan, given = CarePlan.objects.get(), CareStep.objects.get()
    assert "It is due each day from" in answer.text and url(cast, "plan", plan.pk) in answer.text
    assert dues_of(cast, dill) == [("medicine (Drops), as the vet said", day(1))]
    assert (plan.until, plan.egg_days, plan.quantity) == (day(4), 7, "2 ml")
    (hold,) = open_holds(cast.flock, now=timezone.now())
    assert hold.eggs_until == day(11)
    # Late until it is given; tapped once, it is due the day after.
    assert dues_of(cast, dill, in_days=3) == [("medicine (Drops), as the vet said", day(1))]
    services.do_plan(plan=plan, by=cast.keeper, now=timezone.now() + timedelta(1))
    assert dues_of(cast, dill, in_days=1) == [("medicine (Drops), as the vet said", day(2))]
    services.stop(plan=plan, because="The vet said so.", by=cast.keeper)
    assert dues_of(cast, dill) == []
    # Deleted, what was entered by mistake is due no more.
    undo_step(step=given, by=cast.keeper)
    assert not CarePlan.objects.exists()


@pytest.mark.django_db
def test_what_a_vet_prescribed_is_due_from_the_next_day_and_not_twice(cast, birds):
    dill = birds["Dill"]
    said = {"kind": "vet", "medicine_given": "yes", "given_until": str(day(4))}
    log(cast, dill, plan="Drops twice.", **said)
    assert dues_of(cast, dill) == [("medicine", day(1))]
    # Its own entry is the same medicine: a dose is due once, also where the foot is not named.
    log(cast, dill, kind="medicine", product="Drops", foot="", given_until=str(day(4)))
    assert CarePlan.objects.count() == 1
    log(cast, birds["Mace"], kind="medicine", product="Drops", given_until=str(day(4)))
    log(cast, birds["Mace"], kind="medicine", product="Other", given_until=str(day(4)))
    assert CarePlan.objects.filter(bird=birds["Mace"]).count() == 2


@pytest.mark.django_db
def test_a_course_goes_on_where_an_earlier_plan_of_it_ends(cast, birds):
    part = {"kind": "medicine", "product": "drops", "amount": None}
    for ends, since in ((day(-3), day(0)), (day(2), day(3)), (day(9), None)):
        CarePlan.objects.all().delete()
        CarePlan.objects.create(
            flock=cast.flock, bird=birds["Dill"], parts=[part], since=day(-9), until=ends
        )
        given = {"product": "Drops", "given_until": day(5)}
        made = step(cast, birds["Dill"], "medicine", foot="left", **given)
        plan_course(step=made)
        new = CarePlan.objects.exclude(until=ends).first()
        assert (new and new.since) == since


@pytest.mark.django_db
@pytest.mark.parametrize(
    "said",
    [
        {"given_until": str(day(0))},
        {},
        {"at": f"{day(-9)}T10:00", "given_until": str(day(-2))},
        {"kind": "ointment", "no_medicine": "on", "given_until": str(day(4))},
        {"kind": "vet", "medicine_given": "no", "given_until": str(day(4))},
    ],
)
def test_what_is_over_or_no_medicine_is_planned_by_nobody(cast, birds, said):
    log(cast, birds["Dill"], **{"kind": "medicine", "product": "Drops", **said})
    assert CareStep.objects.exists() and not CarePlan.objects.exists()


@pytest.mark.django_db
def test_a_corrected_last_day_moves_the_plan(cast, birds):
    log(cast, birds["Dill"], kind="medicine", product="Drops", given_until=str(day(4)))
    given = CareStep.objects.get()
    given.given_until = day(6)
    change_step(step=given, by=cast.keeper)
    assert CarePlan.objects.get().until == day(6)
    given.given_until = None
    change_step(step=given, by=cast.keeper)
    assert not CarePlan.objects.exists()
    given.given_until = day(5)
    given.note = "Again."
    change_step(step=given, by=cast.keeper)
    assert CarePlan.objects.count() == 1


@pytest.mark.django_db
def test_plans_travel_and_name_those_without_an_account(cast, plan, tmp_path):
    plan.turns = [[str(one.pk), ""] for one in (cast.keeper, cast.owner)]
    plan.parts = [{**SOAK, "product": "=salt", "amount": "2.5"}, DRESS]
    plan.save()
    services.move(plan=plan, to=day(3), by=cast.owner)
    export(cast.flock, tmp_path / "a.zip")
    other = Flock.objects.create(name="Other", time_zone="Europe/London")
    apply(check(read_folder(tmp_path / "a.zip"), other))
    export(other, tmp_path / "b.zip")
    assert (tmp_path / "a.zip").read_bytes() == (tmp_path / "b.zip").read_bytes()
    brought = CarePlan.objects.get(flock=other)
    assert (brought.turns, brought.put_off_to) == ([["", "Keeper"], ["", "Owner"]], day(3))
    assert brought.parts == plan.parts
    (due,) = plan_dues(other, now=timezone.now())
    assert (due.who, due.who_key) == ("Keeper", None)
