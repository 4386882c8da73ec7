"""Photos of a house in the order of their days: of its changes, of what happened, and others."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

from django.urls import reverse

from flockcare.drawing.dates import date_words
from flockcare.housing.changes import Change
from flockcare.housing.models import Event, House
from flockcare.photos.models import Photo
from flockcare.photos.series import Shot, days


@dataclass(frozen=True)
class HouseShot(Shot):
    """A photo with the day that it was put to, what is on record of that day, and its page."""

    on: dt.date
    told: str
    url: str

    @property
    def when(self) -> str:
        return date_words(self.on)

    @property
    def days(self) -> tuple[dt.date, dt.date]:
        return self.on, self.on


def shots_of_house(
    house: House, history: Iterable[Change], events: Iterable[Event]
) -> list[HouseShot]:
    """Oldest day first. A photo of several records stands once, on the first of their days."""
    said: dict[Photo, list[tuple[dt.date, str]]] = {}
    for record, words in [
        *((change, _told(change)) for change in history),
        *((event, f"{event.words[:1].upper()}{event.words[1:]}") for event in events),
    ]:
        for photo in record.photos if isinstance(record, Change) else record.photos.all():
            said.setdefault(photo, []).append((record.on, words))
    page = reverse("housing:house", args=[house.flock_id, house.pk])
    shots = []
    for photo, entries in said.items():
        photo.flock = house.flock
        on = min(day for day, _ in entries)
        words = dict.fromkeys(words for _, words in sorted(entries) if words)
        shots.append(HouseShot(photo, None, on, ". ".join(words), f"{page}?on={on}"))
    return sorted(shots, key=_in_order)


def _in_order(shot: HouseShot):
    return shot.on, shot.photo.taken or shot.photo.added_at, shot.photo.pk


def _told(change: Change) -> str:
    note = change.called if change.record and change.record.note else ""
    words = "The record begins" if change.begins else change.words
    return ". ".join(filter(None, (words, note)))


def day_of(photo: Photo, today: dt.date) -> dt.date:
    """The day on which it was taken; today where that is not known to the day."""
    known = days(photo)
    return min(known[0], today) if known and known[0] == known[1] else today
