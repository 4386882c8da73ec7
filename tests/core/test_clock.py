"""A wrong clock of the server is named as that, and removes nothing."""

import io
import json
import uuid
from datetime import UTC, datetime, timedelta

import pytest
from django.contrib.sessions.models import Session
from django.core.management import call_command
from django.urls import reverse
from django.utils import timezone

from flockcare.core import clock
from flockcare.core.models import ClockMark
from flockcare.feet.models import Check
from flockcare.photos.models import Photo
from tests.offline.sends import CLEAR, body, send

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)
HOUR = timedelta(hours=1)
START = datetime(2027, 3, 1, 12, tzinfo=UTC)


@pytest.fixture(autouse=True)
def _nothing_noticed(monkeypatch):
    monkeypatch.setattr(clock, "_noticed", "")


class Wall:
    """The clock of the computer, which the test turns."""

    def __init__(self, monkeypatch):
        self.now = START
        monkeypatch.setattr(timezone, "now", lambda: self.now)

    def run(self, time: timedelta, *, step=HOUR) -> list[str]:
        """What is noticed while Flockcare runs on for so long."""
        end, said = self.now + time, []
        while self.now < end:
            self.now = min(self.now + step, end)
            said.append(clock.look())
        return said


@pytest.fixture
def wall(monkeypatch):
    with timezone.override(UTC):  # what looks at it works for no flock
        yield Wall(monkeypatch)


def proven() -> bool:
    return clock.is_proven(lambda problem: None)


# What is noticed


def test_a_clock_that_runs_says_nothing_and_is_believed_after_a_week(wall):
    assert not proven()
    assert not any(wall.run(6 * DAY)) and not proven()
    assert not any(wall.run(DAY)) and proven()
    assert ClockMark.objects.count() == 1


@pytest.mark.parametrize("away", [timedelta(minutes=-5), 3 * DAY, 29 * DAY])
def test_what_happens_every_day_is_no_jump(wall, away):
    """Set right by the network; switched off over night, or while the family was away."""
    wall.run(8 * DAY)
    wall.now += away
    assert not clock.look() and proven()


def test_three_days_back_are_told_until_they_are_made_up(wall):
    wall.run(8 * DAY)
    wall.now -= 3 * DAY
    problem = clock.look()
    assert "clock of the computer that runs Flockcare" in problem and "phone" not in problem
    assert "from 9 March 2027, 12:00 UTC to 6 March 2027, 12:00 UTC" in problem
    assert not proven()
    assert all(wall.run(2 * DAY))
    wall.now += DAY
    assert not clock.look(), "set right"


def test_four_hundred_days_ahead_are_told_for_a_week(wall):
    wall.run(8 * DAY)
    wall.now += 400 * DAY
    assert "to 12 April 2028" in clock.look() and not proven()
    assert all(wall.run(6 * DAY)) and not proven()
    wall.run(2 * DAY)
    assert not clock.look() and proven(), "then it is so"


def test_two_months_away_remove_nothing_at_first_and_are_no_news(wall):
    wall.run(8 * DAY)
    wall.now += 60 * DAY
    assert not clock.look() and not proven()
    wall.run(8 * DAY)
    assert proven()


def test_ahead_and_set_right_again_removes_nothing_for_a_week(wall):
    wall.run(8 * DAY)
    wall.now += 400 * DAY
    clock.look()
    wall.now -= 400 * DAY
    clock.look()
    assert not proven()
    wall.run(8 * DAY)
    assert not clock.look() and proven()


def test_a_clock_without_a_battery_is_older_than_the_program(wall):
    wall.now = datetime(1970, 1, 1, 0, 5, tzinfo=UTC)
    assert "1 January 1970" in clock.look() and "before this version was made" in clock.look()
    assert not proven() and not ClockMark.objects.exists()
    wall.now = START
    assert not clock.look()


def test_the_program_is_no_younger_than_this_run():
    assert timezone.now().date() >= clock.WRITTEN


# Nothing is removed


@pytest.fixture
def prepared(monkeypatch, settings, tmp_path):
    """``up --prepare-only`` without what has tests of its own; returns what it says."""
    settings.DATA_DIR = tmp_path
    real = call_command

    def only_clearing(name, **options):
        if name == "clearsessions":
            real(name, **options)

    monkeypatch.setattr("flockcare.running.management.commands.up.call_command", only_clearing)

    def run() -> str:
        said = io.StringIO()
        real("up", prepare_only=True, stderr=said, stdout=io.StringIO())
        return said.getvalue()

    return run


def kept(cast) -> tuple[int, int]:
    return Session.objects.count(), Photo.with_deleted.filter(flock=cast.flock).count()


@pytest.fixture
def aging(cast, wall):
    """A session that ends in a year, and a photo that was deleted just now."""
    Session.objects.all().delete()
    Session.objects.create(session_key="a", session_data="", expire_date=wall.now + 365 * DAY)
    Photo.with_deleted.create(
        flock=cast.flock, width=9, height=9, stored_bytes=9, sha256=uuid.uuid4().hex * 2,
        look_hash=0, deleted_at=wall.now,
    )  # fmt: skip
    return wall


@pytest.mark.parametrize("days", [-3, 400])
def test_up_removes_nothing_after_a_jump_and_says_why(cast, aging, prepared, days):
    aging.run(8 * DAY, step=DAY)
    aging.now += days * DAY
    assert "clock of the computer" in prepared()
    assert kept(cast) == (1, 1)


def test_up_removes_what_is_old_by_a_clock_that_ran(cast, aging, prepared):
    aging.run(20 * DAY, step=DAY)
    assert not prepared() and kept(cast) == (1, 1)
    aging.run(20 * DAY, step=DAY)
    assert not prepared() and kept(cast) == (1, 0)
    aging.run(340 * DAY, step=DAY)
    assert not prepared() and kept(cast) == (0, 0)


# Who is blamed


def back_by(wall, days):
    clock.look()
    wall.now -= days * DAY


def test_a_phone_waits_until_our_clock_is_right_and_loses_nothing(cast, birds, wall):
    key, right = uuid.uuid4(), wall.now
    local = right.astimezone(cast.flock.zone).strftime("%Y-%m-%dT%H:%M")
    what = body(cast.flock, birds["Dill"], cast.keeper, *CLEAR, at=local, clock=right)
    back_by(wall, 3)
    answer = send(cast.clients.keeper, cast.flock, what, key)
    assert answer.status_code == 503
    reasons = " ".join(answer.json()["reasons"])
    assert "computer that runs Flockcare" in reasons and "phone" not in reasons
    assert not Check.objects.exists()
    wall.now = right + timedelta(minutes=5)
    assert send(cast.clients.keeper, cast.flock, what, key).status_code == 201
    assert Check.objects.get(pk=key).at == right


def test_what_was_seen_long_ago_is_stored_without_blaming_the_phone(cast, birds, wall):
    sent = wall.now
    back_by(wall, 3)
    local = (wall.now - DAY).astimezone(cast.flock.zone).strftime("%Y-%m-%dT%H:%M")
    what = body(cast.flock, birds["Dill"], cast.keeper, *CLEAR, at=local, clock=sent)
    answer = send(cast.clients.keeper, cast.flock, what)
    assert answer.status_code == 201
    assert "clock of this phone" not in json.dumps(answer.json()["notices"])


def test_the_form_of_a_page_blames_our_clock(cast, birds, wall):
    right = wall.now.astimezone(cast.flock.zone).strftime("%Y-%m-%dT%H:%M")
    back_by(wall, 3)
    address = reverse("check_bird", args=[cast.flock.pk, birds["Dill"].pk])
    sent = {"check_id": str(uuid.uuid4()), "at": right, "verdict": "both clear"}
    page = cast.clients.keeper.post(address, sent)
    assert "computer that runs Flockcare" in page.text and not Check.objects.exists()
    wall.now += 3 * DAY
    assert cast.clients.keeper.post(address, sent).status_code == 302


def test_a_phone_that_is_wrong_is_still_told_so(cast, birds, wall):
    clock.look()
    ahead = wall.now + 2 * DAY
    local = ahead.astimezone(cast.flock.zone).strftime("%Y-%m-%dT%H:%M")
    what = body(cast.flock, birds["Dill"], cast.keeper, *CLEAR, at=local, clock=ahead)
    answer = send(cast.clients.keeper, cast.flock, what)
    assert answer.status_code == 422
    assert "The clock of this phone is 2 days ahead" in " ".join(answer.json()["reasons"])


def test_every_page_says_so_to_those_signed_in_until_it_is_right(cast, client, wall):
    today = reverse("today", args=[cast.flock.pk])
    wall.run(8 * DAY, step=DAY)
    assert "clock of the computer" not in cast.clients.viewer.get(today).text
    wall.now += 400 * DAY
    clock.look()
    for place in (today, "/flocks/"):
        cast.clients.viewer.force_login(cast.viewer)
        assert "clock of the computer" in cast.clients.viewer.get(place).text
    assert "clock of the computer" not in client.get("/sign-in/").text
    wall.run(8 * DAY, step=DAY)
    assert "clock of the computer" not in cast.clients.viewer.get(today).text
