"""Where a bird lived and what changed there, for her timeline."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from django.db.models import Exists, OuterRef, Q
from django.urls import reverse

from flockcare.birds.models import Bird
from flockcare.drawing.timeline import Band, Mark, Window
from flockcare.housing.changes import Change, history
from flockcare.housing.models import FeatureState, HousingChange, Stay
from flockcare.housing.states import records_of

DAY = dt.timedelta(1)


def stays(bird: Bird, window: Window) -> list[Mark | Band]:
    """A band for each stretch of living in one house as it was, a mark for each change of it.

    A change of the house in the window begins a new band while she lives there. What was found
    on a walk, and what was only written down later, is no change of the house.
    """
    days = (window.first, window.last)
    described = FeatureState.objects.filter(feature__house=OuterRef("house"), since__range=days)
    told = HousingChange.objects.filter(house=OuterRef("house"), planned=False, on__range=days)
    lived = (
        Stay.objects.filter(Q(since=None) | Q(since__lte=window.last), bird=bird)
        .filter(Q(until=None) | Q(until__gte=window.first))
        .annotate(stirred=Exists(described) | Exists(told))
        .select_related("house")
    )
    lived = list(lived)
    # Mostly nothing was changed in the days that are shown, and nothing more need be asked.
    stirred = {stay.house for stay in lived if stay.stirred}
    changes = _changes(stirred, window, bird.flock.units) if stirred else {}
    items: list[Mark | Band] = []
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
    return items


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
    return {
        key: [
            change
            for change in reversed(history(record, told.get(key, []), units=units))
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
