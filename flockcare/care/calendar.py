"""A keeper's care as a calendar to subscribe to (RFC 5545, RFC 7986).

Care that is due stands on its day: at the keeper's time in the flock's zone, with the rules of
that zone beside it, or for the whole day. What is late stands on today. Whole days have no zone
and so no clock to change.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import date, datetime, time, timedelta

from django.utils import timezone
from icalendar import Calendar, Event

from flockcare.birds.models import Bird
from flockcare.care.due import LOOK, Due, line_of, open_dues
from flockcare.care.holds import UNTIL_KNOWN, Hold, open_holds
from flockcare.care.situation import standings

PRODID = "-//Flockcare//Care//EN"
REFRESH = timedelta(hours=1)
TAKES = timedelta(minutes=15)
WITHDRAWAL = {
    "eggs": "egg withdrawal, don’t eat her eggs",
    "meat": "meat withdrawal, don’t eat her meat",
}


def calendar_of(flock, keeper, *, at_time: time | None, now: datetime) -> bytes:
    """What is due and nobody else has taken on, the next checks and withdrawals."""
    today = timezone.localdate(now, flock.zone)
    calendar = Calendar.new(
        name=f"Flockcare: {flock.name}",
        prodid=PRODID,
        refresh_interval=REFRESH,
        calscale="GREGORIAN",
    )
    # A foot that was left to be watched is checked: on the day of the check, which comes below.
    dues = [
        due
        for due in open_dues(flock, now=now)
        if due.step.claimed_by_id in (None, keeper.pk) and line_of(due.step.kind) != LOOK
    ]
    for event in (
        *_care(dues, today, at_time, flock.zone),
        *_checks(flock, keeper, today, now),
        *_held(open_holds(flock, now=now), today, now),
    ):
        calendar.add_component(event)
    if at_time and dues:
        first, last = min(due.on for due in dues), max(due.on for due in dues)
        calendar.add_missing_timezones(
            first_date=min(first, today) - timedelta(366), last_date=last + timedelta(366)
        )
    return calendar.to_ical()


def _event(uid: str, summary: str, start, end, changed: datetime, description="") -> Event:
    # In a calendar without a method the stamp says when the event was last revised.
    return Event.new(
        uid=f"{uid}@flockcare",
        summary=summary,
        description=description or None,
        start=start,
        end=end,
        stamp=changed.astimezone(timezone.get_fixed_timezone(0)),
        transparency="TRANSPARENT",
    )


def _care(dues: Iterable[Due], today: date, at_time: time | None, zone) -> Iterable[Event]:
    for due in dues:
        step = due.step
        day = max(due.on, today)
        foot = f", {step.get_foot_display()}" if step.foot else ""
        late = f" (due since {due.on.day} {due.on:%b})" if due.late else ""
        start = datetime.combine(day, at_time, zone) if at_time else day
        yield _event(
            f"due-{step.pk}",
            f"{step.bird}{foot}: {due.what}{late}",
            start,
            start + (TAKES if at_time else timedelta(1)),
            step.changed_at,
            f"Last: {step.words}" + (f", by {step.by}" if step.by else ""),
        )


def _checks(flock, keeper, today: date, now: datetime) -> Iterable[Event]:
    """One event a day for all the birds to be checked on it, but for those somebody else checks."""
    found = standings(flock, now=now).birds
    by_day = defaultdict(list)
    for bird in Bird.objects.filter(flock=flock).present():
        due = found[bird.pk].check_due
        if due.who_key in (None, keeper.pk):
            by_day[max(due.on, today)].append(bird.name)
    for day, names in sorted(by_day.items()):
        birds = ", ".join(sorted(names, key=str.lower))
        yield _event(
            f"looks-{flock.pk}-{day:%Y%m%d}",
            f"Check feet: {birds if len(names) <= 3 else f'{len(names)} birds'}",
            day,
            day + timedelta(1),
            now,
            birds,
        )


def _held(holds: Iterable[Hold], today: date, now: datetime) -> Iterable[Event]:
    for hold in holds:
        changed = max(step.changed_at for step in hold.steps)
        for what in ("eggs", "meat"):
            until = getattr(hold, f"{what}_until")
            if until:
                yield _event(
                    f"{what}-{hold.bird.pk}",
                    f"{hold.bird}: {WITHDRAWAL[what]}",
                    hold.since,
                    until + timedelta(1),
                    changed,
                    f"Up to and including {until.day} {until:%B %Y}.",
                )
            if getattr(hold, f"{what}_unknown"):
                yield _event(
                    f"{what}-unknown-{hold.bird.pk}",
                    f"{hold.bird}: {WITHDRAWAL[what]} {UNTIL_KNOWN}",
                    today,
                    today + timedelta(1),
                    now,
                    ", ".join(hold.unknown_products),
                )
