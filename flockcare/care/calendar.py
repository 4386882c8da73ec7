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
from flockcare.care.due import LOOK, Due, line_of
from flockcare.care.holds import UNTIL_KNOWN, Hold, open_holds
from flockcare.care.plans import PlanDue, all_dues
from flockcare.care.situation import standings
from flockcare.care.tasks import TaskDue, tasks_ahead

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
    all_steps, planned = all_dues(flock, now=now)
    planned = [due for due in planned if due.who_key in (None, keeper.pk)]
    dues = [
        due
        for due in all_steps
        if due.step.claimed_by_id in (None, keeper.pk) and line_of(due.step.kind) != LOOK
    ]
    for event in (
        *_care(dues, today, at_time, flock.zone),
        *_planned(planned, today, at_time, flock.zone, now),
        *_checks(flock, keeper, today, now),
        *_tasks(tasks_ahead(flock, today), flock, today, now),
        *_held(open_holds(flock, now=now), today, now),
    ):
        calendar.add_component(event)
    if at_time and (days := [due.on for due in (*dues, *planned)]):
        first, last = min(days), max(days)
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
        foot = f", {step.get_foot_display()}" if step.foot else ""
        yield _event(
            f"due-{step.pk}",
            f"{step.bird}{foot}: {due.what}{_late(due)}",
            *_when(due, today, at_time, zone),
            step.changed_at,
            f"Last: {step.words}" + (f", by {step.by}" if step.by else ""),
        )


def _planned(
    dues: Iterable[PlanDue], today: date, at_time: time | None, zone, now: datetime
) -> Iterable[Event]:
    """The next day of each plan; the ones after it depend on when that is done."""
    for due in dues:
        plan = due.plan
        foot = f", {plan.get_foot_display()}" if plan.foot else ""
        turn = f" ({due.who})" if due.who else ""
        yield _event(
            f"plan-{plan.pk}",
            f"{plan.bird}{foot}: {due.what}{turn}{_late(due)}",
            *_when(due, today, at_time, zone),
            now,
            due.why,
        )


def _late(due) -> str:
    return f" (due since {due.on.day} {due.on:%b})" if due.late else ""


def _when(due, today: date, at_time: time | None, zone) -> tuple:
    day = max(due.on, today)
    start = datetime.combine(day, at_time, zone) if at_time else day
    return start, start + (TAKES if at_time else timedelta(1))


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


def _tasks(tasks: Iterable[TaskDue], flock, today: date, now: datetime) -> Iterable[Event]:
    for task in tasks:
        day = max(task.on, today)
        of = task.house.pk if task.house else f"{flock.pk}-{day:%Y%m%d}"
        kind = task.kind.name.lower()
        yield _event(f"task-{kind}-{of}", task.what, day, day + timedelta(1), now)


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
