"""The days of a house as the stops of one slider, and what was so on a day."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from flockcare.drawing.dates import date_words
from flockcare.housing.changes import Change
from flockcare.housing.models import Event, House, Wetness
from flockcare.housing.states import HouseRecord

# What is this near to a day may have to do with it.
NEAR = dt.timedelta(14)
# In percent of the slider's width, so that no year is written over another.
_YEARS_APART = 13


@dataclass(frozen=True, slots=True)
class Stop:
    """``x``: percent of the slider's width; ``year`` stands below it where a new one begins."""

    on: dt.date
    words: str
    changed: bool
    x: float
    year: str


def stops_of(
    record: HouseRecord, history: Sequence[Change], events: Sequence[Event], today: dt.date
) -> list[Stop]:
    """Days from the first description on with something on record, and today, in time order."""
    if record.begins is None:
        return []
    told: dict[dt.date, list[str]] = {today: []}
    for one in [*history, *events]:
        if record.begins <= one.on <= today:
            told.setdefault(one.on, []).append(_words(one))
    changed = {change.on for change in history if change.words}
    days, last_x, stops = sorted(told), None, []
    for number, day in enumerate(days):
        x = 100 * number / max(1, len(days) - 1)
        new = not stops or stops[-1].on.year != day.year
        year = str(day.year) if new and (last_x is None or x - last_x >= _YEARS_APART) else ""
        last_x = x if year else last_x
        words = ", ".join(filter(None, ["today" if day == today else date_words(day), *told[day]]))
        stops.append(Stop(day, words, day in changed, round(x, 3), year))
    return stops


def _words(one: Change | Event) -> str:
    if isinstance(one, Event):
        return one.words
    if one.begins:
        return "the record begins"
    return one.called or ("photo" if one.photos else "")


def day_at(stops: Sequence[Stop], step: str) -> dt.date | None:
    """The day of a stop by its number, the nearest where there is no such; None for no number."""
    try:
        number = int(step)
    except ValueError:
        return None
    return stops[min(max(number, 0), len(stops) - 1)].on if stops else None


def then(
    house: House,
    stops: Sequence[Stop],
    history: Sequence[Change],
    events: Sequence[Event],
    *,
    day: dt.date,
    today: dt.date,
) -> dict:
    """What the slider needs, and what is told of the day.

    ``held``: what changed on the day, else the change before it since which all is as it was;
    ``near``, ``wet``: only of a day that is past, since the house's page tells of today.
    """
    before = [stop.on for stop in stops if stop.on < day]
    after = [stop.on for stop in stops if stop.on > day]
    past = day != today
    return {
        "stops": stops,
        "step": sum(stop.on <= day for stop in stops[1:]),
        "earlier_stop": before[-1] if before else None,
        "later_stop": after[0] if after else None,
        "held": next((one for one in history if one.on <= day and _tells(one, day)), None),
        "near": [one for one in events if _is_near(one, day)] if past else [],
        "wet": _wetness(house, day) if past else None,
    }


def _tells(change: Change, day: dt.date) -> bool:
    """Whether it is more than photos of another day."""
    return change.on == day or bool(change.called)


def _is_near(event: Event, day: dt.date) -> bool:
    """Whether it happened within ``NEAR``, or lasted over the day."""
    if event.is_spell and event.on <= day and (event.until is None or day <= event.until):
        return True
    return abs(event.on - day) <= NEAR


def _wetness(house: House, day: dt.date) -> Wetness | None:
    """The nearest on record within ``NEAR``; of two as near, the earlier."""
    found = house.wetness.filter(on__range=(day - NEAR, day + NEAR)).order_by("on")
    return min(found, key=lambda one: abs(one.on - day), default=None)
