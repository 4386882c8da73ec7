"""What is so with a bird for a time: moult, broodiness, lay, quarantine."""

import re
from datetime import date, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone

from flockcare.birds.models import Bird, BirdState
from flockcare.birds.services import add_state, end_state, start_state
from flockcare.drawing.timeline import Period, Stretch, Timeline, Zoom
from flockcare.drawing.timeline_svg import draw
from flockcare.pages.leaving import came_back, leave_flock, recorded, remove_bird
from flockcare.people.models import Revision
from tests.people.rows import FORM_PAGE, NOT_WRITERS, READ_PAGE, refused, same_queries, seen

pytestmark = pytest.mark.django_db
DAY = timedelta(1)
TODAY = date(2026, 6, 10)


@pytest.fixture
def dill(birds):
    return birds["Dill"]


def state(bird, kind="broody", since=TODAY, until=None):
    return BirdState(flock=bird.flock, bird=bird, kind=kind, since=since, until=until)


def url(bird, tail=""):
    return f"/f/{bird.flock_id}/birds/{bird.pk}/states/{tail}"


# --- The record


@pytest.mark.parametrize(
    ("day", "holds"),
    [(TODAY - DAY, False), (TODAY, True), (TODAY + 4 * DAY, True), (TODAY + 5 * DAY, False)],
)
def test_it_holds_from_its_first_day_until_it_is_over(dill, day, holds):
    add_state(state=(record := state(dill, until=TODAY + 5 * DAY)))
    assert BirdState.objects.on(day).exists() == record.holds_on(day) == holds


def test_without_an_end_it_goes_on(dill):
    add_state(state=state(dill))
    assert BirdState.objects.on(TODAY + 1000 * DAY).get().bird == dill


OVERLAPS = [
    # since, until, of one that holds from the 10th until the 20th
    (10, 20, True),
    (10, None, True),
    (1, None, True),
    (1, 11, True),
    (19, 30, True),
    (12, 13, True),
    (10, 10, True),
    (1, 10, False),
    (20, 30, False),
    (20, None, False),
]


@pytest.mark.parametrize(("since", "until", "refused"), OVERLAPS)
def test_two_of_a_kind_never_hold_at_once(dill, since, until, refused):
    add_state(state=state(dill, since=date(2026, 5, 10), until=date(2026, 5, 20)))
    other = state(dill, since=date(2026, 5, since), until=until and date(2026, 5, until))
    if not refused:
        add_state(state=other)
        return
    with pytest.raises(ValidationError) as error:
        add_state(state=other)
    assert error.value.message_dict == {
        "since": ["On record already: broody from 10 May 2026 until 20 May 2026."]
    }


@pytest.mark.parametrize(("since", "until", "refused"), OVERLAPS)
def test_nor_the_other_way_round(dill, since, until, refused):
    add_state(state=state(dill, since=date(2026, 5, since), until=until and date(2026, 5, until)))
    other = state(dill, since=date(2026, 5, 10), until=date(2026, 5, 20))
    if refused:
        with pytest.raises(ValidationError):
            add_state(state=other)
    else:
        add_state(state=other)


def test_another_kind_and_another_bird_may(dill, birds):
    add_state(state=state(dill))
    add_state(state=state(dill, kind="quarantine"))
    add_state(state=state(birds["Mace"]))
    assert BirdState.objects.count() == 3


def test_the_database_holds_it_too(dill):
    state(dill).save()
    for wrong in (state(dill, since=TODAY - DAY), state(dill, until=TODAY - DAY, kind="in lay")):
        with pytest.raises(IntegrityError), transaction.atomic():
            wrong.save()


@pytest.mark.parametrize(
    ("of_bird", "since", "until", "field", "words"),
    [
        ({}, TODAY, TODAY - DAY, "until", "It ends before it begins."),
        ({"hatched": "2026-07"}, TODAY, None, "since", "before she hatched (July 2026)"),
        (
            {"left": "2026-06-09", "left_reason": "died"},
            *(TODAY, None, "since", "after she left the flock (9 Jun 2026)"),
        ),
        (
            {"left": "2026-06-09", "left_reason": "died", "sex": "cock"},
            *(TODAY - 9 * DAY, TODAY, "until", "after he left the flock"),
        ),
    ],
)
def test_it_fits_into_her_life(dill, of_bird, since, until, field, words):
    for name, value in of_bird.items():
        setattr(dill, name, value)
    dill.save()
    with pytest.raises(ValidationError) as error:
        add_state(state=state(dill, kind="moulting", since=since, until=until))
    assert words in " ".join(error.value.message_dict[field])


@pytest.mark.parametrize("kind", ["broody", "in lay"])
def test_a_cock_is_not_broody(dill, kind):
    dill.sex = "cock"
    dill.save()
    with pytest.raises(ValidationError):
        add_state(state=state(dill, kind=kind))
    add_state(state=state(dill, kind="moulting"))


# --- Two taps


def test_said_and_ended_on_her_page(cast, dill):
    page = f"/f/{cast.flock.pk}/birds/{dill.pk}/"
    client, today = cast.clients.keeper, timezone.localdate()
    text = client.get(page).text
    assert 'value="broody">Broody</button>' in text and "state-now" not in text
    done = client.post(url(dill, "start/"), {"kind": "broody"}, follow=True)
    assert "Saved: Dill is broody." in done.text
    broody = BirdState.objects.get()
    assert (broody.since, broody.until, broody.keeper) == (today, None, cast.keeper)
    assert f"Broody since\n{today.day} {today:%b}" in done.text
    assert 'value="broody"' not in done.text and 'value="moulting"' in done.text
    done = client.post(url(dill, f"{broody.pk}/end/"), follow=True)
    assert "Saved: Dill is no longer broody." in done.text and "Broody since" not in done.text
    broody.refresh_from_db()
    assert broody.until == today
    assert Revision.objects.get().before["until"] is None


def test_a_double_tap_is_one(cast, dill):
    for _ in range(2):
        done = cast.clients.keeper.post(url(dill, "start/"), {"kind": "moulting"}, follow=True)
        assert "Saved: Dill is moulting." in done.text
    record = BirdState.objects.get()
    for _ in range(2):
        cast.clients.keeper.post(url(dill, f"{record.pk}/end/"))
    assert Revision.objects.count() == 1


def test_ended_again_it_stays_as_it_was_ended_first(cast, dill):
    add_state(state=(first := state(dill)))
    end_state(state=first, on=TODAY + DAY, by=cast.keeper)
    end_state(state=BirdState.objects.get(), on=TODAY + 9 * DAY, by=cast.keeper)
    assert BirdState.objects.get().until == TODAY + DAY


def test_one_with_an_end_to_come_can_be_ended_today(cast, dill):
    today = timezone.localdate()
    add_state(state=(held := state(dill, "quarantine", today - 9 * DAY, today + 9 * DAY)))
    cast.clients.keeper.post(url(dill, f"{held.pk}/end/"))
    assert BirdState.objects.get().until == today


def test_broody_again_on_the_day_it_ended_is_told(cast, dill):
    today = timezone.localdate()
    add_state(state=state(dill, since=today, until=today))
    done = cast.clients.keeper.post(url(dill, "start/"), {"kind": "broody"}, follow=True)
    assert "On record already: broody" in done.text
    assert BirdState.objects.count() == 1


@pytest.mark.parametrize("kind", ["", "ill", "left"])
def test_there_are_no_other_kinds(cast, dill, kind):
    done = cast.clients.keeper.post(url(dill, "start/"), {"kind": kind}, follow=True)
    assert done.status_code == 200 and 'class="notice error"' in done.text
    assert not BirdState.objects.exists()


def test_a_viewer_sees_it_and_no_button(cast, dill):
    add_state(state=state(dill, kind="quarantine", since=timezone.localdate()))
    text = cast.clients.viewer.get(f"/f/{cast.flock.pk}/birds/{dill.pk}/").text
    assert "In quarantine since" in text and "Over<" not in text and "state-new" not in text


def test_who_has_left_is_in_no_new_state(cast, dill):
    dill.left, dill.left_reason = "2026-01", "died"
    dill.save()
    assert "state-new" not in cast.clients.keeper.get(f"/f/{cast.flock.pk}/birds/{dill.pk}/").text


def test_a_cock_is_asked_only_what_can_be(cast, dill):
    dill.sex = "cock"
    dill.save()
    text = cast.clients.keeper.get(f"/f/{cast.flock.pk}/birds/{dill.pk}/").text
    assert 'value="moulting"' in text and 'value="broody"' not in text


# --- The page with dates


def test_who_may(cast, dill):
    add_state(state=(record := state(dill, since=date(2026, 1, 1))))
    assert seen(cast, url(dill)) == READ_PAGE
    assert seen(cast, url(dill, f"{record.pk}/")) == FORM_PAGE
    for tail in ("", "start/", f"{record.pk}/", f"{record.pk}/end/", f"{record.pk}/delete/"):
        assert refused(cast, url(dill, tail), {"kind": "moulting"}) == NOT_WRITERS


def test_a_past_one_with_its_dates(cast, dill):
    data = {"kind": "moulting", "since": "2026-01-02", "until": "2026-02-03"}
    done = cast.clients.keeper.post(url(dill), data, follow=True)
    assert "from 2 Jan 2026, over on 3 Feb 2026" in " ".join(done.text.split())
    again = cast.clients.keeper.post(url(dill), data)
    assert "On record already" in str(again.context["form"].errors["since"])
    assert 'value="2026-01-02"' in again.text


def test_not_from_a_day_to_come(cast, dill):
    tomorrow = timezone.localdate() + DAY
    done = cast.clients.keeper.post(url(dill), {"kind": "moulting", "since": tomorrow})
    assert list(done.context["form"].errors) == ["since"]


def test_a_quarantine_may_end_on_a_day_to_come(cast, dill):
    today = timezone.localdate()
    data = {"kind": "quarantine", "since": today, "until": today + 30 * DAY}
    assert cast.clients.keeper.post(url(dill), data).status_code == 302
    assert BirdState.objects.on(today + 29 * DAY).exists()
    assert not BirdState.objects.on(today + 30 * DAY).exists()


def test_changed_and_deleted_with_its_history(cast, dill):
    add_state(state=(record := state(dill, since=date(2026, 1, 1))))
    page = url(dill, f"{record.pk}/")
    cast.clients.keeper.post(page, {"kind": "moulting", "since": "2026-01-02", "version": 1})
    assert BirdState.objects.get().kind == "moulting"
    cast.clients.keeper.post(url(dill, f"{record.pk}/delete/"))
    assert not BirdState.objects.exists()
    deeds = [one.action for one in Revision.objects.order_by("pk")]
    assert deeds == ["change", "delete"]
    recent = cast.clients.keeper.get(
        reverse("recent_changes", args=[cast.flock.pk]), {"removed": ""}
    ).text
    assert "Dill moulting, from 2 Jan 2026" in recent


def test_queries(cast, dill):
    def grow():
        for number in range(20):
            since = date(2020, 1, 1) + 10 * number * DAY
            state(dill, since=since, until=since + 5 * DAY).save()

    state(dill).save()
    same_queries(cast.clients.owner, url(dill), grow=grow)


# --- New birds, and those that leave


def test_a_new_bird_in_quarantine(cast):
    page = f"/f/{cast.flock.pk}/birds/add/"
    assert 'name="quarantine"' in cast.clients.keeper.get(page).text
    data = {"name": "Fennel", "sex": "hen", "quarantine": "on"}
    for name, joined, since in (
        ("Fennel", "", timezone.localdate()),
        ("Basil", str(timezone.localdate()), timezone.localdate()),
        ("Chive", "2026-05-04", date(2026, 5, 4)),
        ("Cumin", "2026-05", timezone.localdate()),
    ):
        cast.clients.keeper.post(page, data | {"name": name, "joined": joined})
        held = BirdState.objects.get(bird__name=name)
        assert (held.kind, held.since, held.keeper) == ("quarantine", since, cast.keeper)


def test_without_the_tick_there_is_none(cast):
    data = {"name": "Fennel", "sex": "hen", "joined": str(timezone.localdate())}
    cast.clients.keeper.post(f"/f/{cast.flock.pk}/birds/add/", data)
    assert Bird.objects.filter(name="Fennel").exists() and not BirdState.objects.exists()


def test_the_form_for_a_known_bird_does_not_ask(cast, dill):
    text = cast.clients.keeper.get(f"/f/{cast.flock.pk}/birds/{dill.pk}/edit/").text
    assert "quarantine" not in text


def gone(bird, by, on="2026-06-10"):
    bird.left, bird.left_reason = on, "given away"
    leave_flock(bird=bird, by=by)


def test_it_ends_when_she_leaves_and_goes_on_when_she_is_back(cast, dill):
    add_state(state=state(dill, since=date(2026, 1, 1)))
    add_state(state=state(dill, kind="moulting", since=date(2026, 1, 1), until=date(2026, 2, 1)))
    planned = state(dill, kind="quarantine", since=date(2026, 6, 1), until=date(2026, 7, 1))
    add_state(state=planned)
    gone(dill, cast.keeper)
    for kind in ("broody", "quarantine"):
        assert BirdState.objects.get(kind=kind).until == date(2026, 6, 10)
    came_back(bird=dill, by=cast.keeper)
    assert BirdState.objects.get(kind="broody").until is None
    assert BirdState.objects.get(kind="quarantine").until == date(2026, 7, 1)
    assert BirdState.objects.get(kind="moulting").until == date(2026, 2, 1)


def test_what_ended_before_she_left_stays_ended(cast, dill):
    start_state(bird=dill, kind="broody", since=date(2026, 1, 1), by=cast.keeper)
    end_state(state=BirdState.objects.get(), on=date(2026, 3, 1), by=cast.keeper)
    gone(dill, cast.keeper)
    came_back(bird=dill, by=cast.keeper)
    assert BirdState.objects.get().until == date(2026, 3, 1)


def test_a_bird_added_by_mistake_goes_with_her_quarantine(cast, dill):
    start_state(bird=dill, kind="quarantine", since=TODAY, by=cast.keeper)
    assert recorded(dill) == []
    remove_bird(bird=dill, by=cast.keeper)
    assert not BirdState.objects.exists()
    assert Revision.objects.filter(kind="birds.BirdState", action="delete").exists()


# --- On her timeline


def test_a_state_lies_along_her_timeline(cast, dill):
    today = timezone.localdate()
    add_state(state=state(dill, since=today - 20 * DAY, until=today - 10 * DAY))
    add_state(state=state(dill, kind="quarantine", since=today - 15 * DAY))
    add_state(state=state(dill, kind="moulting", since=date(2020, 1, 1), until=date(2020, 3, 1)))
    text = cast.clients.keeper.get(f"/f/{cast.flock.pk}/birds/{dill.pk}/").text
    assert text.count('class="state"') == 2
    last = today - 11 * DAY
    assert f"until {last.day} {last:%b %Y}</title>" in text
    assert f"broody, until {last.day} {last:%b %Y}" in text  # In the table behind it.
    assert f"/birds/{dill.pk}/states/" in text


def test_a_short_one_is_named_beside_it():
    day = date(2026, 5, 31)
    periods = [
        Period(day - 60 * DAY, None, "moulting"),
        Period(day - 2 * DAY, None, "in quarantine"),
    ]
    stretch = Stretch.ending(day, Zoom.SEASON, ZoneInfo("UTC"))
    drawn = str(draw(Timeline(stretch.window, periods=periods), stretch, page="/", title="x"))
    assert re.search(r'text-anchor="end"[^>]*>in quarantine<', drawn)
    assert re.search(r'class="state-name"(?![^>]*text-anchor)[^>]*>moulting<', drawn)
    # Each overlaps with the other, so they lie in two rows.
    assert len(set(re.findall(r'class="state"[^>]* y="(\d+)"', drawn))) == 2
