"""A keeper's care as a calendar to subscribe to (RFC 5545, RFC 7986).

Care that is due stands on its day: at the keeper's time in the flock's zone, with the rules of
that zone beside it, or for the whole day. What is late stands on today. Whole days have no zone
and so no clock to change.

Who wants to be reminded gets alarms (VALARM, RFC 5545, 3.6.6): with care that has a time at that
time, with what stands for the whole day so many hours after midnight.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from uuid import UUID

from django.utils import timezone
from icalendar import Alarm, Calendar, Event

from flockcare.care.courses import CourseDue
from flockcare.care.due import Due
from flockcare.care.holds import UNTIL_KNOWN, Hold, open_holds
from flockcare.care.plans import PlanDue
from flockcare.care.reminded import checks_of, dues_of
from flockcare.care.tasks import TaskDue, house_work
from flockcare.care.wanted import Wanted

PRODID = "-//Flockcare//Care//EN"
REFRESH = timedelta(hours=1)
TAKES = timedelta(minutes=15)
WITHDRAWAL = {"eggs": "egg withdrawal", "meat": "meat withdrawal"}


def calendar_of(
    flock, keeper, *, at_time: time | None, now: datetime, wanted: Wanted | None = None
) -> bytes:
    """What is due and nobody else has taken on, the next checks and withdrawals.

    ``wanted``: of what there are alarms; None: of nothing.
    """
    today = timezone.localdate(now, flock.zone)
    calendar = Calendar.new(
        name=f"Flockcare: {flock.name}",
        prodid=PRODID,
        refresh_interval=REFRESH,
        calscale="GREGORIAN",
    )
    dues, planned = dues_of(flock, keeper, now=now)
    alarms = _Alarms(keeper, wanted)
    for event in (
        *_care(dues, today, at_time, flock.zone, alarms),
        *_planned(planned, today, at_time, flock.zone, now, alarms),
        *_checks(flock, keeper, today, now, alarms),
        *_tasks(house_work(flock, today), flock, today, now, alarms),
        *_held(open_holds(flock, now=now), today, now, alarms),
    ):
        calendar.add_component(event)
    if at_time and (days := [due.on for due in (*dues, *planned)]):
        first, last = min(days), max(days)
        calendar.add_missing_timezones(
            first_date=min(first, today) - timedelta(366), last_date=last + timedelta(366)
        )
    return calendar.to_ical()


@dataclass(frozen=True)
class _Alarms:
    keeper: object
    wanted: Wanted | None

    def when(self, kind: str, start, who: UUID | None = None) -> timedelta | None:
        """How long after its start an event of this kind of reminder has its alarm, if it has."""
        if not self.wanted or not getattr(self.wanted, kind):
            return None
        if kind != "withdrawal" and not self.wanted.is_for(who, self.keeper):
            return None
        return timedelta(0) if isinstance(start, datetime) else self.hour

    @property
    def hour(self) -> timedelta:
        return timedelta(hours=self.wanted.hour)


def _event(
    uid: str,
    summary: str,
    start,
    end,
    changed: datetime,
    description="",
    alarm: timedelta | None = None,
) -> Event:
    # In a calendar without a method the stamp says when the event was last revised.
    event = Event.new(
        uid=f"{uid}@flockcare",
        summary=summary,
        description=description or None,
        start=start,
        end=end,
        stamp=changed.astimezone(timezone.get_fixed_timezone(0)),
        transparency="TRANSPARENT",
    )
    if alarm is not None:
        event.add_component(Alarm.new_display(description=summary, trigger=alarm))
    return event


def _care(
    dues: Iterable[Due], today: date, at_time: time | None, zone, alarms: _Alarms
) -> Iterable[Event]:
    for due in dues:
        step = due.step
        foot = f", {step.get_foot_display()}" if step.foot else ""
        start, end = _when(due, today, at_time, zone)
        yield _event(
            f"due-{step.pk}",
            f"{step.bird}{foot}: {due.what}{_late(due)}",
            start,
            end,
            step.changed_at,
            f"Last: {step.words}" + (f", by {step.by}" if step.by else ""),
            alarms.when("care", start, step.claimed_by_id),
        )


def _planned(
    dues: Iterable[PlanDue],
    today: date,
    at_time: time | None,
    zone,
    now: datetime,
    alarms: _Alarms,
) -> Iterable[Event]:
    """The next day of each plan; the ones after it depend on when that is done."""
    for due in dues:
        plan = due.plan
        foot = f", {plan.get_foot_display()}" if plan.foot else ""
        turn = f" ({due.who})" if due.who else ""
        start, end = _when(due, today, at_time, zone)
        yield _event(
            f"plan-{plan.pk}",
            f"{plan.bird}{foot}: {due.what}{turn}{_late(due)}",
            start,
            end,
            now,
            due.why,
            alarms.when("care", start, due.who_key),
        )


def _late(due) -> str:
    return f" (due since {due.on.day} {due.on:%b})" if due.late else ""


def _when(due, today: date, at_time: time | None, zone) -> tuple:
    day = max(due.on, today)
    start = datetime.combine(day, at_time, zone) if at_time else day
    return start, start + (TAKES if at_time else timedelta(1))


def _checks(flock, keeper, today: date, now: datetime, alarms: _Alarms) -> Iterable[Event]:
    """One event a day for all the birds to be checked on it, but for those somebody else checks."""
    by_day = defaultdict(list)
    for bird, due in checks_of(flock, keeper, now=now):
        by_day[max(due.on, today)].append((bird.name, due.who_key))
    for day, found in sorted(by_day.items()):
        names = sorted((name for name, _ in found), key=str.lower)
        birds = ", ".join(names)
        reminders = [alarms.when("checks", day, who) for _, who in found]
        yield _event(
            f"looks-{flock.pk}-{day:%Y%m%d}",
            f"Check feet: {birds if len(names) <= 3 else f'{len(names)} birds'}",
            day,
            day + timedelta(1),
            now,
            birds,
            next((one for one in reminders if one is not None), None),
        )


def _tasks(
    tasks: Iterable[TaskDue | CourseDue], flock, today: date, now: datetime, alarms: _Alarms
) -> Iterable[Event]:
    for task in tasks:
        day = max(task.on, today)
        of = task.house.pk if task.house else f"{flock.pk}-{day:%Y%m%d}"
        kind, alarm = "medicine", alarms.when("care", day)
        if task.kind:
            kind = task.kind.name.lower()
        else:
            # The same entry while the course goes on, whoever gave it last.
            of = task.steps[-1].pk
        yield _event(f"task-{kind}-{of}", task.what, day, day + timedelta(1), now, "", alarm)


def _held(holds: Iterable[Hold], today: date, now: datetime, alarms: _Alarms) -> Iterable[Event]:
    """One for each bird, and one for all that got a medicine together and withhold as long. The
    alarm rings on the last day; with days that nobody named there is no last one.
    """
    for what in WITHDRAWAL:
        together = defaultdict(list)
        for hold in holds:
            until, unknown = (getattr(hold, f"{what}_{which}") for which in ("until", "unknown"))
            if until or unknown:
                given = {step.given_to for step in hold.steps}
                whole = given.pop() if len(given) == 1 else ""
                key = (whole, hold.since, until, bool(unknown)) if whole else hold.bird.pk
                together[key].append(hold)
        for some in together.values():
            yield from _held_together(what, some, today, now, alarms)


def _held_together(
    what: str, holds: list[Hold], today: date, now: datetime, alarms: _Alarms
) -> Iterable[Event]:
    hold = holds[0]
    until, unknown = (getattr(hold, f"{what}_{which}") for which in ("until", "unknown"))
    ends = alarms.when("withdrawal", today)
    names = ", ".join(sorted((one.bird.name for one in holds), key=str.lower))
    of, whom, whose = hold.bird.pk, str(hold.bird), hold.bird.pronouns.possessive
    if len(holds) > 1:
        given_to = hold.steps[0].given_to
        whom, whose = given_to[:1].upper() + given_to[1:], "their"
        of = min(step.pk for one in holds for step in one.steps)
    said = f"{whom}: {WITHDRAWAL[what]}, don’t eat {whose} {what}"
    about = [names] if len(holds) > 1 else []
    if until:
        yield _event(
            f"{what}-{of}",
            said,
            hold.since,
            until + timedelta(1),
            max(step.changed_at for one in holds for step in one.steps),
            ". ".join([f"Up to and including {until.day} {until:%B %Y}", *about]) + ".",
            None if unknown or ends is None else until - hold.since + ends,
        )
    if unknown:
        yield _event(
            f"{what}-unknown-{of}",
            f"{said} {UNTIL_KNOWN}",
            today,
            today + timedelta(1),
            now,
            ". ".join([", ".join(hold.unknown_products), *about]),
        )
