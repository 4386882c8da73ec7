"""What is done again and again, told in one line, so that a list has room for the rest."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from flockcare.housing.models import Event

# From how many times on.
OFTEN = 4


@dataclass(frozen=True, slots=True)
class Habit:
    """Events of one kind, the newest first; ``on``: the day of the newest."""

    words: str
    often: list[Event]

    @property
    def on(self) -> dt.date:
        return self.often[0].on

    @property
    def where(self) -> str:
        """The house, or the flock; empty where they are of several."""
        places = {event.where for event in self.often}
        return places.pop() if len(places) == 1 else ""


def folded(events: Iterable[Event]) -> list[Event | Habit]:
    """The newest first; what stands in a note or a photo, or goes on, stays by itself.

    ``events`` are in that order, with their ``photo`` if the list shows any.
    """
    events = list(events)
    plain = {event.pk for event in events if not (event.note or event.goes_on or _photo(event))}
    counts = Counter(event.words for event in events if event.pk in plain)
    habits: dict[str, Habit] = {}
    told: list[Event | Habit] = []
    for event in events:
        if event.pk not in plain or counts[event.words] < OFTEN:
            told.append(event)
        elif event.words in habits:
            habits[event.words].often.append(event)
        else:
            habits[event.words] = Habit(event.words, [event])
            told.append(habits[event.words])
    return told


def _photo(event: Event):
    return getattr(event, "photo", None)
