"""Where a bird lived and what changed there, for her timeline."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterator
from typing import NamedTuple

from django.db.models import Case, Exists, F, OuterRef, Q, Value, When
from django.db.models.functions import Coalesce
from django.urls import reverse

from flockcare.birds.models import Bird
from flockcare.core.dates import PartialDate
from flockcare.drawing.timeline import Band, Mark, Period, Window
from flockcare.housing.changes import Change, history
from flockcare.housing.models import (
    SPELLS,
    Dampness,
    Event,
    EventKind,
    FeatureState,
    House,
    HousingChange,
    Stay,
    Wetness,
)
from flockcare.housing.states import records_of

DAY = dt.timedelta(1)


def stays(bird: Bird, window: Window) -> list[Mark | Band | Period]:
    """Where she lived, what was changed and what happened there, and when it was wet.

    A band for each stretch of living in one house as it was, a mark for each change of it, and see
    ``_happened`` and ``_wet``. A change of the house in the window begins a new band while she
    lives there. What was found on a walk, and what was only written down later, is no change of
    the house.
    """
    lived, events, readings = _read(bird, window)
    # Mostly nothing was changed in the days that are shown, and nothing more need be asked.
    stirred = {stay.house for stay in lived if stay.stirred}
    changes = _changes(stirred, window, bird.flock.units) if stirred else {}
    items: list[Mark | Band | Period] = []
    for number, stay in enumerate(lived):
        last = _last_day(stay, lived[number + 1 :])
        during = [
            change
            for change in changes.get(stay.house_id, [])
            if (stay.since is None or stay.since < change.on)
            and (last is None or change.on <= last)
        ]
        url = reverse("housing:house", args=[bird.flock_id, stay.house_id])
        items += _bands(stay, last, during, window)
        items += [
            Mark(
                at=change.on,
                lane="house",
                kind="change",
                label=f"{stay.house.name}: {_words(change)}",
                url=f"{url}?on={change.on}",
                by=_by(change),
            )
            for change in during
        ]
    return [*items, *_happened(bird, events), *_wet(bird, readings)]


class _Row(NamedTuple):
    """One row of any of the three kinds of records."""

    of: str
    stirred: int
    house: uuid.UUID | None
    name: str | None
    first: dt.date | None
    last: dt.date | None
    kind: str
    what: str
    by: str | None


def _read(bird: Bird, window: Window) -> tuple[list[Stay], list[_Row], list[_Row]]:
    """Her stays, the events there or of the flock, and how wet it was there, in time order.

    One query for all three: a page may make few.
    """
    days = (window.first, window.last)
    described = FeatureState.objects.filter(feature__house=OuterRef("house"), since__range=days)
    told = HousingChange.objects.filter(house=OuterRef("house"), planned=False, on__range=days)
    lived = (
        Stay.objects.filter(Q(since=None) | Q(since__lte=window.last), bird=bird)
        .filter(Q(until=None) | Q(until__gte=window.first))
        .annotate(stirred=Case(When(Exists(described) | Exists(told), then=1), default=0))
    )
    goes_on = Coalesce("until", Value(window.last))
    happened = (
        Event.objects.filter(flock=bird.flock_id, on__lte=window.last)
        .annotate(last=Case(When(kind__in=SPELLS, then=goes_on), default=F("on")))
        .filter(Q(house=None) | Exists(_lived(bird, from_day="on", to_day="last")))
        .filter(last__gte=max(window.first, _since(bird)))
    )
    readings = Wetness.objects.filter(flock=bird.flock_id, on__range=days).filter(
        Exists(_lived(bird, from_day="on", to_day="on"))
    )
    none = Value("")
    house = ("house_id", "house__name")
    rows = lived.order_by().values_list(
        *(Value("stay"), "stirred", *house, "since", "until", none, none, none)
    )
    rows = rows.union(
        happened.order_by().values_list(
            *(Value("event"), Value(0), *house, "on", "until", "kind", "what", "keeper__name")
        ),
        readings.order_by().values_list(
            *(Value("wetness"), Value(0), *house, "on", "on", "level", none, none)
        ),
        all=True,
    )
    found = sorted(map(_Row._make, rows), key=lambda row: (row.first or dt.date.min, row.kind))
    return (
        [_stay(bird, row) for row in found if row.of == "stay"],
        [row for row in found if row.of == "event"],
        [row for row in found if row.of == "wetness"],
    )


def _stay(bird: Bird, row: _Row) -> Stay:
    house = House(pk=row.house, name=row.name, flock=bird.flock)
    stay = Stay(flock=bird.flock, bird=bird, house=house, since=row.first, until=row.last)
    stay.stirred = bool(row.stirred)
    return stay


def _last_day(stay: Stay, later: list[Stay]) -> dt.date | None:
    """The day of a move counts for the house she moved into."""
    moved = stay.until and any(other.since == stay.until for other in later)
    return stay.until - DAY if moved and stay.until != stay.since else stay.until


def _changes(houses, window: Window, units: str) -> dict[object, list[Change]]:
    """The changes of each house in the window that somebody made, in time order."""
    days = (window.first, window.last)
    said = HousingChange.objects.filter(house__in=houses, planned=False, on__range=days)
    told: dict = {}
    for one in said.select_related("keeper"):
        told.setdefault(one.house_id, []).append(one)
    records = records_of(list(houses), first=window.first, last=window.last)
    flock = next(iter(houses)).flock_id
    events = Event.objects.filter(flock=flock, kind=EventKind.BEDDING)
    return {
        key: [
            change
            for change in reversed(history(record, told.get(key, []), events, units=units))
            if change.made and change.on >= window.first
        ]
        for key, record in records.items()
    }


def _bands(
    stay: Stay, last: dt.date | None, during: list[Change], window: Window
) -> Iterator[Band]:
    starts = [stay.since, *(change.on for change in during)]
    ends = [*(change.on - DAY for change in during), last]
    for since, until, change in zip(starts, ends, [None, *during], strict=True):
        if (since and since > window.last) or (until and until < window.first):
            continue
        after = f" after the change: {_words(change)}" if change else ""
        yield Band(
            since,
            until,
            label=f"lived in {stay.house.name}{after}",
            short=stay.house.name,
        )


def _words(change: Change) -> str:
    return change.words or change.kind_words


def _by(change: Change) -> str:
    return str(change.record.keeper) if change.record and change.record.keeper else ""


# What happened where she lived, and when it was wet there

# Readings further apart do not tell that it was wet between them.
WET_FOR_DAYS = 14


def _happened(bird: Bird, events: list[_Row]) -> Iterator[Mark | Period]:
    """A mark for each event of her house or of the flock, a period for each spell."""
    url = reverse("housing:events", args=[bird.flock_id])
    for row in events:
        house = House(pk=row.house, name=row.name) if row.house else None
        words, by = str(Event(kind=row.kind, what=row.what, house=house)), row.by or ""
        if row.kind in SPELLS:
            yield Period(row.first, row.last, words, url, by)
        else:
            yield Mark(row.first, "house", "change", words, url, by)


def _wet(bird: Bird, readings: list[_Row]) -> list[Period]:
    """A period for each time in which every reading where she lived was wet."""
    periods: list[Period] = []
    before: _Row | None = None
    for row in readings:
        is_wet = row.kind == Dampness.WET
        if is_wet and before and _goes_on(before, row):
            periods[-1] = periods[-1]._replace(until=row.first)
        elif is_wet:
            url = reverse("housing:wetness", args=[bird.flock_id, row.house])
            periods.append(Period(row.first, row.first, f"wet underfoot, {row.name}", url))
        before = row
    return periods


def _goes_on(before: _Row, row: _Row) -> bool:
    return (
        before.kind == Dampness.WET
        and before.house == row.house
        and (row.first - before.first).days <= WET_FOR_DAYS
    )


def _lived(bird: Bird, *, from_day: str, to_day: str):
    """Her stays in the house of a record on some day between these of it."""
    return (
        Stay.objects.filter(bird=bird, house=OuterRef("house"))
        .filter(Q(since=None) | Q(since__lte=OuterRef(to_day)))
        .filter(Q(until=None) | Q(until__gt=OuterRef(from_day)))
    )


def _since(bird: Bird) -> dt.date:
    """What happened to the flock before she was there is no part of her record."""
    known = bird.joined or bird.hatched
    return PartialDate.parse(known).first() if known else dt.date.min
