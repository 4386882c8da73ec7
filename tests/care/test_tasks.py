"""Prevention: tasks of houses and birds, each optional, and the checks of a new bird."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils import timezone

from flockcare.birds.models import BirdState, Weighing
from flockcare.birds.services import end_state
from flockcare.care import services_tasks as services
from flockcare.care.calendar import calendar_of
from flockcare.care.models import Task, TaskDone, TaskKind
from flockcare.care.situation import standings, worked_out
from flockcare.care.tasks import tasks_ahead, tasks_due
from flockcare.housing.models import Event, House
from flockcare.housing.services import log_event
from flockcare.people.models import Revision
from tests.care.steps import day, look, today, url

pytestmark = pytest.mark.django_db
CLEAR = {"left": {"score": 0}, "right": {"score": 0}}


def wanted(cast, since=None, **kinds):
    """``muck_out=7`` puts it on the list, None takes it off."""
    said = {
        TaskKind[name.upper()]: (days is not None, None if name == "new_bird" else days or 7)
        for name, days in kinds.items()
    }
    services.set_tasks(flock=cast.flock, wanted=said, today=since or today(), by=cast.owner)


@pytest.fixture
def houses(cast):
    return [House.objects.create(flock=cast.flock, name=name) for name in ("Ark", "Barn")]


def due(cast) -> list[tuple[str, str]]:
    return [(one.what, one.when_words) for one in tasks_due(cast.flock, today())]


def test_nothing_is_on_the_list_until_it_is_wanted(cast, birds, houses):
    assert tasks_ahead(cast.flock, today()) == []
    wanted(cast, since=day(-2), muck_out=7, nails=60, weigh=28)
    assert due(cast) == [
        ("Muck out and renew the bedding, Ark", "2 days late"),
        ("Muck out and renew the bedding, Barn", "2 days late"),
        ("Trim nails: Dill, Mace, Sorrel", "2 days late"),
        ("Weigh: Dill, Mace, Sorrel", "2 days late"),
    ]
    wanted(cast, muck_out=None, nails=None, weigh=None)
    assert due(cast) == []


def test_what_is_done_comes_again_after_its_days(cast, birds, houses):
    wanted(cast, since=day(-30), muck_out=7, weigh=28, nails=60)
    ark, _ = houses
    TaskDone.objects.create(flock=cast.flock, kind="muck out", house=ark, on=day(-7))
    TaskDone.objects.create(flock=cast.flock, kind="trim nails", bird=birds["Dill"], on=day(-5))
    Weighing.objects.create(flock=cast.flock, bird=birds["Mace"], on=day(-27), grams=2000)
    found = {(one.what, (one.on - today()).days) for one in tasks_ahead(cast.flock, today())}
    assert found == {
        ("Muck out and renew the bedding, Ark", 0),
        ("Muck out and renew the bedding, Barn", -30),
        ("Trim nails: Dill", 55),
        ("Trim nails: Mace, Sorrel", -30),
        ("Weigh: Mace", 1),
        ("Weigh: Dill, Sorrel", -30),
    }


def test_nothing_is_late_by_more_than_the_task_is_wanted(cast, birds):
    Weighing.objects.create(flock=cast.flock, bird=birds["Dill"], on=day(-300), grams=2000)
    wanted(cast, since=day(-1), weigh=28)
    assert due(cast) == [("Weigh: Dill, Mace, Sorrel", "1 day late")]


def test_one_tap_on_today_and_who_is_quicker(cast, birds, houses):
    wanted(cast, muck_out=7)
    page = cast.clients.keeper.get(reverse("today", args=[cast.flock.pk])).text
    what = f"muck out:{houses[0].pk}"
    assert "Around the house" in page and f'value="{what}"' in page
    done = url(cast, "task_done")
    answer = cast.clients.keeper.post(
        done, {"what": what, "back": "today"}, headers={"HX-Request": "true"}
    ).text
    assert "Muck out and renew the bedding, Ark" in answer and "Care done today (1)" in answer
    assert f'value="{what}"' not in answer
    answer = cast.clients.owner.post(done, {"what": what}, follow=True)
    assert "Keeper has done this already." in answer.text
    logged = TaskDone.objects.get()
    assert (logged.house, logged.on, logged.keeper) == (houses[0], today(), cast.keeper)
    cast.clients.owner.post(url(cast, "task_undo", logged.pk))
    assert not TaskDone.objects.exists()
    assert Revision.objects.get(action="delete", kind="care.TaskDone")
    assert due(cast)[0] == ("Muck out and renew the bedding, Ark", "today")


@pytest.mark.parametrize("what", ["", "muck out", "muck out:x", "dance:{house}", "weigh:{house}"])
def test_what_is_no_task_is_not_found(cast, houses, what):
    sent = {"what": what.format(house=houses[0].pk)}
    assert cast.clients.keeper.post(url(cast, "task_done"), sent).status_code == 404


def test_a_weighing_is_its_own_record(cast, birds):
    sent = {"what": f"weigh:{birds['Dill'].pk}"}
    answer = cast.clients.keeper.post(url(cast, "task_done"), sent, follow=True)
    assert "recorded by itself" in answer.text and not TaskDone.objects.exists()


def test_tasks_are_chosen_on_one_page(cast):
    address = url(cast, "task_settings")
    page = cast.clients.keeper.get(address).text
    assert page.count('type="checkbox"') == 6 and page.count(" checked") == 1
    days = {f"days_{kind}": "9" for kind in ("MUCK_OUT", "TOP_UP", "SAND", "NAILS", "WEIGH")}
    answer = cast.clients.keeper.post(address, {"on_MUCK_OUT": "on", "days_MUCK_OUT": ""})
    assert answer.status_code == 422 and "Give the number of days." in answer.text
    cast.clients.keeper.post(address, {**days, "on_MUCK_OUT": "on"})
    assert Task.objects.get(kind="muck out").every_days == 9
    assert not Task.objects.get(kind="new bird").is_on
    cast.clients.owner.post(address, {**days, "on_MUCK_OUT": "on", "on_NEW_BIRD": "on"})
    assert Task.objects.get(kind="new bird").is_on


@pytest.mark.parametrize(
    "wrong", [{"kind": "weigh"}, {"kind": "trim nails"}, {"kind": "muck out", "of_bird": True}]
)
def test_what_cannot_have_been_done(cast, birds, houses, wrong):
    of_bird = wrong.pop("of_bird", False)
    of = {"bird": birds["Dill"]} if of_bird else {"house": houses[0]}
    with pytest.raises(ValidationError):
        services.do_task(done=TaskDone(flock=cast.flock, on=today(), **wrong, **of), by=cast.keeper)


# --- A new bird


@pytest.mark.parametrize(
    ("came", "checked", "next_in"),
    [
        # Common practice, no published source: both feet at entry, after two weeks, after four.
        (0, None, 0),
        (5, 20, -5),  # checked before she came, as in another flock
        (5, 5, 9),
        (14, 14, 0),
        (16, 15, -2),
        (16, 2, 12),
        (29, 14, -1),
        (30, 1, 20),  # all are done: the flock's own days
        (40, 12, 9),
    ],
)
def test_the_feet_of_a_new_bird(cast, birds, came, checked, next_in):
    dill = birds["Dill"]
    cast.flock.round_days = 21
    cast.flock.save()
    state = BirdState.objects.create(
        flock=cast.flock, bird=dill, kind="quarantine", since=day(-came)
    )
    if checked is not None:
        look(cast, dill, days_ago=checked, **CLEAR)

    def days_to_go():
        hers = standings(cast.flock, now=timezone.now()).birds[dill.pk]
        return (hers.check_due.on - today()).days

    assert days_to_go() == next_in
    # Also where the quarantine is over by now.
    end_state(state=state, on=today(), by=cast.keeper)
    assert days_to_go() == next_in
    wanted(cast, new_bird=None)
    expected = 0 if checked is None else 21 - checked
    assert days_to_go() == expected


# --- Kept, and elsewhere


def test_what_is_kept_follows_tasks(cast, birds, houses):
    flock = cast.flock
    deeds = [
        lambda: wanted(cast, muck_out=7),
        lambda: wanted(cast, new_bird=None),
        lambda: TaskDone.objects.create(
            flock=flock, kind="muck out", house=houses[0], on=today(), keeper=cast.owner
        ),
        lambda: services.undo_task(done=TaskDone.objects.get(), by=cast.owner),
        lambda: House.objects.create(flock=flock, name="Coop"),
    ]
    for number, deed in enumerate(deeds):
        before = standings(flock, now=timezone.now()).mark
        deed()
        after = standings(flock, now=timezone.now())
        assert after.birds == worked_out(flock, today()).birds and after.mark != before, number


def test_the_calendar_has_them(cast, birds, houses):
    wanted(cast, muck_out=7)
    TaskDone.objects.create(flock=cast.flock, kind="muck out", house=houses[0], on=today())
    feed = calendar_of(cast.flock, cast.keeper, at_time=None, now=timezone.now()).decode()
    assert "Muck out and renew the bedding\\, Ark" in feed
    next_day = (today() + timedelta(7)).strftime("%Y%m%d")
    assert f"DTSTART;VALUE=DATE:{next_day}" in feed


def test_mucking_out_is_bedding_renewed_and_the_other_way_round(cast, houses):
    """Nobody types it twice; a top-up is no full change."""
    ark, barn = houses
    wanted(cast, since=day(-30), muck_out=7, top_up=7)

    def tick(house, kind="muck out", by="keeper"):
        sent = {"what": f"{kind}:{house.pk}"}
        return getattr(cast.clients, by).post(url(cast, "task_done"), sent, follow=True).text

    for kind in ("muck out", "top up landing"):
        tick(ark, kind)
    event = Event.objects.get()
    assert (event.house, event.on, event.kind) == (ark, today(), "bedding")
    assert event.keeper == cast.keeper

    before = standings(cast.flock, now=timezone.now()).mark
    log_event(
        event=Event(flock=cast.flock, house=barn, on=today(), kind="bedding", keeper=cast.owner),
        today=today(),
    )
    assert standings(cast.flock, now=timezone.now()).mark != before
    assert due(cast) == [("Top up the bedding where they land, Barn", "30 days late")]
    assert "Owner has done this already." in tick(barn)

    done = TaskDone.objects.get(kind="muck out")
    cast.clients.keeper.post(url(cast, "task_undo", done.pk))
    assert not TaskDone.objects.filter(kind="muck out").exists()
    assert Event.objects.get().house == barn
    # One deed, undone as one.
    assert len({revision.first_id or revision.pk for revision in Revision.objects.all()}) == 1


def test_a_new_flock_takes_the_three_that_matter_in_one_tap(cast, birds, houses):
    today_page, offer = reverse("today", args=[cast.flock.pk]), url(cast, "task_offer")
    offered = "muck out and renew the bedding every 7 days"
    assert offered in cast.clients.keeper.get(today_page).text
    assert offered not in cast.clients.viewer.get(today_page).text
    page = cast.clients.keeper.post(offer, {"wanted": "yes", "back": "today"}, follow=True).text
    assert "Muck out and renew the bedding, Ark" in page and offered not in page
    on = {(task.kind, task.every_days, task.since) for task in Task.objects.filter(is_on=True)}
    days = {"muck out": 7, "top up landing": 14, "weigh": 28}
    assert on == {(kind, every, today()) for kind, every in days.items()}
    # Who chose meanwhile keeps what they chose.
    wanted(cast, muck_out=None, top_up=3, weigh=None)
    cast.clients.owner.post(offer, {"wanted": "yes"})
    assert [one.every_days for one in Task.objects.filter(is_on=True)] == [3]


def test_who_wants_none_is_not_asked_again(cast, birds, houses):
    page = cast.clients.keeper.post(
        url(cast, "task_offer"), {"wanted": "no", "back": "tasks"}, follow=True
    ).text
    assert "No tasks yet" in page and "Put these on the list" not in page
    assert "Put these" not in cast.clients.owner.get(reverse("today", args=[cast.flock.pk])).text
