"""Which birds lived in a house on a day."""

from __future__ import annotations

import datetime as dt
from collections import Counter

from flockcare.birds.models import Bird
from flockcare.core.dates import PartialDate
from flockcare.housing.models import House, Stay
from flockcare.people.models import Flock


def residents_on(house: House, day: dt.date) -> list[Bird]:
    """By name. A bird that had left the flock by then lives nowhere, whatever her stay says."""
    return [stay.bird for stay in stays_on(house, day)]


def stays_on(house: House, day: dt.date, **further) -> list[Stay]:
    """The stays of these birds, by their names; ``further``: what each is annotated with."""
    stays = _stays(house.flock, day).filter(house=house).annotate(**further)
    here = [stay for stay in stays if _here(stay, day)]
    return sorted(here, key=lambda stay: stay.bird.name.lower())


def counts_on(flock: Flock, day: dt.date) -> Counter:
    """How many birds lived in each house, by the key of the house."""
    return Counter(stay.house_id for stay in _stays(flock, day) if _here(stay, day))


def houses_on(flock: Flock, day: dt.date) -> dict[object, object]:
    """The key of the house of each bird that lived in one, by the key of the bird."""
    return {stay.bird_id: stay.house_id for stay in _stays(flock, day)}


def _stays(flock: Flock, day: dt.date):
    return Stay.objects.filter(flock=flock).on(day).select_related("bird__breed")


def _here(stay: Stay, day: dt.date) -> bool:
    left = stay.bird.left
    return not left or day <= PartialDate.parse(left).last()
