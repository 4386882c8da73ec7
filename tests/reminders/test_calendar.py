"""The calendar feed (RFC 5545): read back, and read by a parser of somebody else."""

import logging
import re
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
import vobject
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from icalendar import Calendar

from flockcare.birds.models import Bird
from flockcare.care import services
from flockcare.care.calendar import calendar_of
from flockcare.care.holds import UNTIL_KNOWN
from flockcare.care.models import CalendarLink
from flockcare.care.wanted import Wanted
from flockcare.core.models import token_hash
from flockcare.people.logs import HideTokens
from flockcare.people.models import Membership
from tests.care.steps import day, look, step, today
from tests.people.rows import READ_PAGE, same_queries, seen

pytestmark = pytest.mark.django_db
LONDON = ZoneInfo("Europe/London")


def url(cast, name):
    return reverse(f"reminders:{name}", args=[cast.flock.pk])


def feed_of(cast, keeper=None, *, now=None, **more) -> bytes:
    said = {"at_time": None, "now": now or timezone.now(), **more}
    return calendar_of(cast.flock, keeper or cast.owner, **said)


def summaries(content: bytes) -> list[str]:
    return sorted(str(event["SUMMARY"]) for event in Calendar.from_ical(content).events)


def event(content: bytes, start: str):
    return next(
        e for e in Calendar.from_ical(content).events if str(e["SUMMARY"]).startswith(start)
    )


def test_what_is_due_the_looks_and_the_holds_are_in_it(cast, birds):
    for bird in birds.values():
        look(cast, bird, left={"score": 0}, right={"score": 0})
    step(cast, birds["Dill"], "dressing on", product="gauze, wrap; tight")
    step(cast, birds["Mace"], "soaked", days_ago=4, next_due=day(-2), foot="right")
    step(cast, birds["Sorrel"], "medicine", egg_days=10, meat_days=0, days_from="vet")
    step(cast, birds["Mace"], "ointment", product="Salve", next_due=None)
    content = feed_of(cast)
    assert summaries(content) == sorted(
        [
            "Dill, left foot: check the dressing",
            f"Mace, right foot: soak (due since {day(-2).day} {day(-2):%b})",
            "Sorrel: egg withdrawal, don’t eat her eggs",
            f"Mace: egg withdrawal, don’t eat her eggs {UNTIL_KNOWN}",
            f"Mace: meat withdrawal, don’t eat her meat {UNTIL_KNOWN}",
            "Check feet: Dill, Mace, Sorrel",
        ]
    )
    assert event(content, "Dill, left").start == day(1)
    assert event(content, "Mace, right").start == today()
    held = event(content, "Sorrel: egg")
    # DTEND of a whole day is the day after the last one (RFC 5545, 3.6.1).
    assert (held.start, held.end) == (today(), day(11))
    assert event(content, "Check feet").start == day(14)


def test_an_independent_parser_reads_the_same(cast, birds):
    step(cast, birds["Dill"], "soaked", next_due=day(1), product="salt; 2 spoons, “warm”\nslowly")
    step(cast, birds["Mace"], "medicine", egg_days=10, meat_days=3, days_from="vet")
    content = feed_of(cast, at_time=time(18, 30))
    ours = Calendar.from_ical(content)
    theirs = vobject.readOne(content.decode())
    assert theirs.version.value == "2.0" and theirs.prodid.value
    assert len(theirs.vevent_list) == len(ours.events) == 4
    for mine, other in zip(ours.events, theirs.vevent_list, strict=True):
        assert other.uid.value == str(mine["UID"])
        assert other.summary.value == str(mine["SUMMARY"])
        start, end = other.dtstart.value, other.dtend.value
        if isinstance(start, datetime):
            assert start.astimezone(UTC) == mine.start.astimezone(UTC)
            assert end.astimezone(UTC) == mine.end.astimezone(UTC)
        else:
            assert (start, end) == (mine.start, mine.end)
    soak = next(e for e in theirs.vevent_list if "soak" in e.summary.value)
    assert "salt; 2 spoons, “warm”\nslowly" in soak.description.value


def test_the_form_of_the_file(cast, birds):
    step(cast, birds["Dill"], "soaked", next_due=day(1), product="ä" * 80)
    content = feed_of(cast, at_time=time(18, 30))
    lines = content.split(b"\r\n")
    # RFC 5545, 3.1: lines end with CRLF and are no longer than 75 octets.
    assert content.endswith(b"END:VCALENDAR\r\n") and b"\n" not in content.replace(b"\r\n", b"")
    assert max(map(len, lines)) <= 75
    # 3.6: VERSION and PRODID once; 3.6.1: each event has a UID and a DTSTAMP in UTC.
    assert lines.count(b"VERSION:2.0") == 1
    assert sum(line.startswith(b"PRODID:") for line in lines) == 1
    events = Calendar.from_ical(content).events
    uids = [str(e["UID"]) for e in events]
    assert len(set(uids)) == len(uids) > 0
    stamps = re.findall(rb"^DTSTAMP:(.*)\r$", content, re.MULTILINE)
    assert len(stamps) == len(events) and all(stamp.endswith(b"Z") for stamp in stamps)
    # 3.6.5 and 3.2.19: a TZID has its VTIMEZONE in the same file.
    used = set(re.findall(rb"TZID=([^:;]+):", content))
    assert used == {b"Europe/London"}
    assert used == set(re.findall(rb"^TZID:(.*)\r$", content, re.MULTILINE))


@pytest.mark.parametrize(
    ("last_done", "due", "utc_hour"),
    [
        # London's clocks go forward at 01:00 UTC on 29 March 2026 and back at 01:00 UTC on
        # 25 October 2026 (Summer Time Order 2002: last Sundays).
        (datetime(2026, 3, 27, 18, 0, tzinfo=UTC), date(2026, 3, 28), 18),
        (datetime(2026, 3, 28, 18, 0, tzinfo=UTC), date(2026, 3, 29), 17),
        (datetime(2026, 3, 29, 17, 0, tzinfo=UTC), date(2026, 3, 30), 17),
        (datetime(2026, 10, 23, 17, 0, tzinfo=UTC), date(2026, 10, 24), 17),
        (datetime(2026, 10, 24, 17, 0, tzinfo=UTC), date(2026, 10, 25), 18),
        (datetime(2026, 10, 25, 18, 0, tzinfo=UTC), date(2026, 10, 26), 18),
    ],
)
def test_six_in_the_evening_stays_six_over_a_clock_change(cast, birds, last_done, due, utc_hour):
    look(cast, birds["Dill"], left={"score": 0}, right={"score": 0})
    step(cast, birds["Dill"], "dressing on", at=last_done)
    content = feed_of(cast, now=last_done + timedelta(hours=1), at_time=time(18, 0))
    mine = event(content, "Dill, left").start
    other = next(
        e.dtstart.value
        for e in vobject.readOne(content.decode()).vevent_list
        if "dressing" in e.summary.value
    )
    for start in (mine, other):
        assert start.date() == due and (start.hour, start.minute) == (18, 0)
        assert start.astimezone(UTC).hour == utc_hour
    # The rules of the zone in the file itself say the same as the zone's database.
    (zone,) = Calendar.from_ical(content).timezones
    assert zone.to_tz().utcoffset(mine.replace(tzinfo=None)) == LONDON.utcoffset(
        mine.replace(tzinfo=None)
    )


def test_a_look_that_the_advice_wants_sooner_stands_on_its_day(cast, birds):
    """A sore with moderate swelling is looked at every day, whatever the flock's seven days say."""
    for name in ("Mace", "Sorrel"):
        look(cast, birds[name], left={"score": 0}, right={"score": 0})
    look(cast, birds["Dill"], left={"score": 0}, right={"score": 1, "swelling": "moderate"})
    assert event(feed_of(cast), "Check feet: Dill").start == day(1)
    # Left to be watched until a day that a keeper named: one check, on that day.
    step(cast, birds["Dill"], "watched", foot="right", next_due=day(3))
    content = feed_of(cast)
    assert not any("check the foot" in line for line in summaries(content))
    assert event(content, "Check feet: Dill").start == day(3)


def test_a_check_that_another_keeper_does_is_not_in_mine(cast, birds):
    look(cast, birds["Dill"], left={"score": 0}, right={"score": 1, "swelling": "moderate"})
    step(cast, birds["Dill"], "watched", foot="right", next_due=day(3), claimed_by=cast.keeper)
    assert any("Dill" in line for line in summaries(feed_of(cast, cast.keeper)))
    assert not any("Dill" in line for line in summaries(feed_of(cast, cast.owner)))


def test_whole_days_need_no_clock(cast, birds):
    step(cast, birds["Dill"], "dressing on")
    content = feed_of(cast)
    assert b"TZID" not in content
    due = event(content, "Dill, left")
    assert (due.start, due.end) == (day(1), day(2))


def test_what_another_keeper_has_taken_on_is_not_in_mine(cast, birds):
    step(cast, birds["Dill"], "dressing on", claimed_by=cast.keeper)
    assert not any("dressing" in line for line in summaries(feed_of(cast, cast.owner)))
    assert any("dressing" in line for line in summaries(feed_of(cast, cast.keeper)))


# --- The secret address


def make(cast, client=None, **said):
    answer = (client or cast.clients.keeper).post(url(cast, "calendar"), said)
    return re.search(r"/calendar/[^\"]+\.ics", answer.content.decode())[0]


def test_the_address_is_shown_once_and_only_its_hash_is_kept(cast, birds):
    step(cast, birds["Dill"], "dressing on")
    address = make(cast, at_time="18:30")
    token = address.removeprefix("/calendar/").removesuffix(".ics")
    link = CalendarLink.objects.get()
    assert link.token_hash == token_hash(token) and link.at_time == time(18, 30)
    assert token not in str(vars(link))
    page = cast.clients.keeper.get(url(cast, "calendar"))
    assert token not in page.content.decode() and page.headers["Cache-Control"] == "no-store"
    answer = Client().get(address)
    assert answer.status_code == 200
    assert answer.headers["Content-Type"] == "text/calendar; charset=utf-8"
    assert answer.headers["Cache-Control"] == "private, no-store"
    assert "dressing" in answer.content.decode()


def test_a_new_address_or_an_end_closes_the_old_one(cast):
    first = make(cast)
    second = make(cast)
    assert [Client().get(a).status_code for a in (first, second)] == [404, 200]
    cast.clients.keeper.post(url(cast, "calendar_end"))
    assert Client().get(second).status_code == 404
    assert Client().get(reverse("calendar_feed", args=["guessed"])).status_code == 404


def test_whoever_leaves_the_flock_loses_the_calendar(cast):
    address = make(cast)
    assert Client().get(address).status_code == 200
    Membership.objects.filter(keeper=cast.keeper).delete()
    assert Client().get(address).status_code == 404


def test_each_keeper_has_one_and_ends_only_their_own(cast):
    mine, theirs = make(cast), make(cast, cast.clients.owner)
    cast.clients.owner.post(url(cast, "calendar_end"))
    assert [Client().get(a).status_code for a in (mine, theirs)] == [200, 404]
    assert seen(cast, url(cast, "calendar")) == READ_PAGE


def test_a_time_that_is_none_is_said(cast):
    answer = cast.clients.keeper.post(url(cast, "calendar"), {"at_time": "evening"})
    assert answer.status_code == 422 and "Enter a time like 18:30." in answer.content.decode()
    assert not CalendarLink.objects.exists()


def test_the_address_stays_out_of_the_logs():
    record = logging.LogRecord("django.request", 20, "", 0, "%s", ("/calendar/abc.ics",), None)
    HideTokens().filter(record)
    assert record.getMessage() == "/calendar/…"


def test_the_calendar_asks_as_often_for_many_rows(cast, birds):
    token = services.make_calendar_link(flock=cast.flock, keeper=cast.owner, at_time=time(18))
    address = reverse("calendar_feed", args=[token])
    step(cast, birds["Dill"], "medicine", next_due=day(1))

    def grow():
        for number in range(20):
            bird = Bird.objects.create(flock=cast.flock, name=f"Hen {number}")
            step(cast, bird, "medicine", next_due=day(1), claimed_by=cast.owner)

    same_queries(Client(), address, grow=grow)


# --- Alarms


def rings(content: bytes, start: str) -> list[datetime]:
    """Local times at which the event rings, told by the parser of somebody else."""
    found = next(
        e
        for e in vobject.readOne(content.decode()).vevent_list
        if e.summary.value.startswith(start)
    )
    first = found.dtstart.value
    if not isinstance(first, datetime):
        # RFC 5545, 3.8.6.3: of a whole day an alarm counts from its midnight where the user lives.
        first = datetime.combine(first, time())
    return [
        first.replace(tzinfo=None) + one.trigger.value for one in found.contents.get("valarm", [])
    ]


def at_hour(on, hour, minute=0):
    return datetime.combine(on, time(hour, minute))


def test_what_is_wanted_rings_at_its_hour_and_nothing_else_does(cast, birds):
    for bird in birds.values():
        look(cast, bird, left={"score": 0}, right={"score": 0})
    step(cast, birds["Dill"], "soaked", next_due=day(1))
    step(cast, birds["Sorrel"], "medicine", days_ago=2, egg_days=10, meat_days=0, days_from="vet")
    assert b"VALARM" not in feed_of(cast)

    def feed(at_time=None, **wanted):
        return feed_of(cast, at_time=at_time, wanted=Wanted(7, **wanted))

    whole = feed()
    assert rings(whole, "Dill, left foot: soak") == [at_hour(day(1), 7)]
    assert rings(whole, "Check feet") == [at_hour(day(14), 7)]
    # On the last day of the withdrawal, not on its first.
    assert rings(whole, "Sorrel: egg") == [at_hour(day(8), 7)]
    assert rings(feed(time(18, 30)), "Dill, left foot: soak") == [at_hour(day(1), 18, 30)]
    for kind, quiet in (("care", "Dill, left"), ("checks", "Check"), ("withdrawal", "Sorrel: egg")):
        content = feed(**{kind: False})
        assert rings(content, quiet) == [] and content.count(b"BEGIN:VALARM") == 2
    alarms = [part for e in Calendar.from_ical(whole).events for part in e.walk("VALARM")]
    # 3.6.6: one that is displayed has an action, a text and a trigger.
    assert {str(one["ACTION"]) for one in alarms} == {"DISPLAY"} and len(alarms) == 3
    assert all(one["DESCRIPTION"] and one.TRIGGER for one in alarms)


def test_only_my_turn_rings_where_a_keeper_wants_no_more(cast, birds):
    for bird in birds.values():
        look(cast, bird, left={"score": 0}, right={"score": 0})
    step(cast, birds["Dill"], "soaked", next_due=day(1), claimed_by=cast.owner)
    step(cast, birds["Mace"], "soaked", next_due=day(1))
    content = feed_of(cast, wanted=Wanted(7, mine_only=True))
    assert rings(content, "Dill, left") and not rings(content, "Mace, left")
    assert not rings(content, "Check feet")


def test_days_that_nobody_named_have_no_last_one(cast, birds):
    step(cast, birds["Dill"], "ointment", egg_days=3, days_from="vet", meat_days=0)
    step(cast, birds["Dill"], "medicine", foot="right", product="Salve")
    assert rings(feed_of(cast, wanted=Wanted(7)), "Dill: egg withdrawal, don’t eat her eggs") == []


def test_the_file_is_the_calendar_as_it_is_now(cast, birds):
    step(cast, birds["Dill"], "dressing on")
    answer = cast.clients.viewer.get(url(cast, "calendar_file"))
    assert answer.headers["Content-Disposition"].startswith("attachment")
    assert summaries(answer.content) == summaries(feed_of(cast, cast.viewer))


def test_a_medicine_of_a_whole_house_is_one_entry(cast, birds):
    given = {"at": timezone.now(), "foot": "", "given_to": "Cart Shed", "product": "Drops"}
    for name in ("Dill", "Mace"):
        step(cast, birds[name], "medicine", **given, egg_days=5, meat_days=0, days_from="vet")
    step(cast, birds["Sorrel"], "medicine", egg_days=5, meat_days=0, days_from="vet")
    content = feed_of(cast)
    said = "egg withdrawal, don’t eat"
    withheld = [words for words in summaries(content) if "withdrawal" in words]
    assert sorted(withheld) == [f"Cart Shed: {said} their eggs", f"Sorrel: {said} her eggs"]
    assert "Dill, Mace" in event(content, "Cart Shed")["DESCRIPTION"]
    assert event(content, "Cart Shed").end == day(6)
    # Who got another one as well withholds hers by herself.
    step(cast, birds["Mace"], "medicine", egg_days=9, meat_days=0, days_from="vet")
    withheld = [words for words in summaries(feed_of(cast)) if "withdrawal" in words]
    assert sorted(withheld) == [f"{name}: {said} her eggs" for name in ("Dill", "Mace", "Sorrel")]


def test_a_cock_has_no_eggs_to_withhold(cast, birds):
    Bird.objects.filter(pk=birds["Dill"].pk).update(sex="cock")
    step(cast, birds["Dill"], "medicine", egg_days=10, meat_days=3, days_from="vet")
    step(cast, birds["Dill"], "ointment", product="Salve")
    withheld = [said for said in summaries(feed_of(cast)) if "withdrawal" in said]
    said = "Dill: meat withdrawal, don’t eat his meat"
    assert withheld == [said, f"{said} {UNTIL_KNOWN}"]
