"""Reads what the page rests on into arrays and light tuples, with ten queries.

A flock of sixty has sixty thousand looks in ten years; as objects they would take seconds.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import groupby
from operator import itemgetter
from typing import NamedTuple

import numpy as np
from django.db import models
from django.db.models import FilteredRelation
from django.db.models.functions import Cast

from flockcare.birds.age import GROWN_AT_DAYS
from flockcare.birds.breeds import class_of
from flockcare.birds.models import Bird, Sex
from flockcare.care.models import CareStep
from flockcare.core.dates import PartialDate
from flockcare.feet.models import Check
from flockcare.feet.scales import AFFECTED_FROM
from flockcare.housing.changes import history
from flockcare.housing.landing import layout_of
from flockcare.housing.models import (
    LASTING,
    PERCHES,
    Dampness,
    Event,
    FeatureState,
    HousingChange,
    Stay,
    Wetness,
)
from flockcare.housing.routes import ways_down
from flockcare.housing.states import HouseRecord
from flockcare.people.models import Flock, Units
from flockcare.photos.models import Foot, Measurement, Precision
from flockcare.trends import thresholds
from flockcare.trends.models import WindowChoice

FEET = list(Foot.values)
# Clocks are set forward and back at full quarters of an hour of universal time.
_QUARTER_HOUR = 900
_DAY = 86_400
_UNIX_EPOCH = dt.date(1970, 1, 1).toordinal()
ALWAYS, STILL = -np.inf, np.inf
WETNESS = list(Dampness.values)


class BirdRow(NamedTuple):
    """``weight_class`` and ``adult_grams`` as the keepers or the breed have it; ``hatched`` the
    middle of the days it can have been, as an ordinal; ``weighed`` (ordinal, grams) in order;
    ``left_on`` the last day on which she may have been here. ``adult_grams`` is
    a hen's and None for a cock; it and her class say nothing of the days before ``grown_from``."""

    key: str
    name: str
    breed: str = ""
    weight_class: str = ""
    adult_grams: int | None = None
    hatched: float | None = None
    present: bool = True
    culled_for_feet: bool = False
    weighed: tuple[tuple[int, int], ...] = ()
    left_on: int | None = None
    grown_from: int | None = None


class HouseRow(NamedTuple):
    key: str
    name: str


class StayRow(NamedTuple):
    """Places in the lists of birds and houses; ordinals, infinite where not bounded."""

    bird: int
    house: int
    since: float
    until: float


class ChangeRow(NamedTuple):
    """``changed``: what became otherwise, one phrase a feature; a keeper's note where nothing
    did. ``called``: how a keeper would name it."""

    house: int
    day: int
    changed: tuple[str, ...]
    kind: str
    called: str = ""


class EventRow(NamedTuple):
    """Something that happened; ``house`` None: to the whole flock. ``until``: the last day,
    infinite while it goes on. ``judged``: as a change of the houses it touched, see ``lasting``."""

    house: int | None
    day: int
    until: float
    kind: str
    what: str
    judged: bool = False


class WetnessRow(NamedTuple):
    """How wet it was underfoot in a house on a day: a place in ``WETNESS``."""

    house: int
    day: int
    level: int


class DropRow(NamedTuple):
    """The largest single drop on the gentlest way down from the perches, from a day on."""

    house: int
    since: int
    drop_cm: float | None


class StepRow(NamedTuple):
    """Care given once; ``foot`` is 0, 1, or None for the whole bird."""

    bird: int
    foot: int | None
    day: int
    kind: str


class AreaRow(NamedTuple):
    bird: int
    foot: int
    day: int
    mm2: float


class Chosen(NamedTuple):
    """A stretch that somebody chose for a change, with the day on which they did."""

    house: str
    day: int
    window_days: int
    lag_days: int
    chosen_on: int


@dataclass(frozen=True)
class Looks:
    """One entry per look at one foot, in no order: place of the bird, foot (0 left, 1 right),
    local day (ordinal), lesion score, key of the check, and number of who looked, whose name is
    in ``keepers``."""

    bird: np.ndarray
    foot: np.ndarray
    day: np.ndarray
    score: np.ndarray
    check: list[str]
    keeper: np.ndarray
    keepers: tuple[str, ...] = ()

    @property
    def affected(self) -> np.ndarray:
        return self.score >= AFFECTED_FROM

    @property
    def first_day(self) -> int | None:
        return int(self.day.min()) if self.day.size else None


@dataclass(frozen=True)
class Records:
    """All that the answers rest on; houses, stays, steps and choices refer to places in lists."""

    birds: list[BirdRow]
    looks: Looks
    houses: list[HouseRow] = field(default_factory=list)
    stays: list[StayRow] = field(default_factory=list)
    changes: list[ChangeRow] = field(default_factory=list)
    drops: list[DropRow] = field(default_factory=list)
    steps: list[StepRow] = field(default_factory=list)
    areas: list[AreaRow] = field(default_factory=list)
    choices: list[Chosen] = field(default_factory=list)
    units: str = Units.METRIC
    events: list[EventRow] = field(default_factory=list)
    wetness: list[WetnessRow] = field(default_factory=list)
    # House and day of what was found drier while nobody has said why.
    undecided: list[tuple[int, int]] = field(default_factory=list)


def told_changes(flock: Flock) -> list[HousingChange]:
    """What keepers said about changes that were made; one query."""
    return list(HousingChange.objects.filter(flock=flock, planned=False).order_by("on", "pk"))


def read(flock: Flock, told: list[HousingChange]) -> Records:
    """Everything about the flock that the page rests on. ``told``: see ``told_changes``."""
    birds = _birds(flock)
    place = {row.key: number for number, row in enumerate(birds)}
    stays = _stay_rows(flock)
    states = _states(flock)
    happened = list(Event.objects.filter(flock=flock).select_related("house").order_by("on", "pk"))
    wetness = _wetness_rows(flock)
    houses = _houses(stays, states, happened, wetness)
    house_place = {row.key: number for number, row in enumerate(houses)}
    changes, undecided = _changes(flock, states, told, happened, house_place)
    lived_in = [
        StayRow(
            place[_key(bird)],
            house_place[_key(house)],
            _ordinal(since, ALWAYS),
            _ordinal(until, STILL),
        )
        for bird, house, _, since, until in stays
    ]
    events, more = lasting(_events(happened, house_place), len(houses), lived_in)
    return Records(
        birds=birds,
        looks=_looks(flock, place),
        houses=houses,
        stays=lived_in,
        changes=[*changes, *more],
        drops=list(_drops(states, house_place)),
        steps=list(_steps(flock, place)),
        areas=list(_areas(flock, place)),
        choices=list(_choices(flock)),
        units=flock.units,
        events=events,
        wetness=[
            WetnessRow(house_place[_key(house)], on.toordinal(), WETNESS.index(level))
            for house, _, on, level in wetness
        ],
        undecided=undecided,
    )


def _key(value) -> str:
    return value.hex if isinstance(value, uuid.UUID) else value.replace("-", "")


def _ordinal(day: dt.date | None, otherwise: float) -> float:
    return otherwise if day is None else day.toordinal()


# Looks


def as_text(field: str) -> Cast:
    """A key or a time as the database writes it: sixty thousand of them are read far sooner."""
    return Cast(field, models.CharField())


def _looks_query(flock) -> models.QuerySet:
    """One row per check with the scores of both feet: half as many rows as findings."""
    scores = {
        f"{foot}_foot": FilteredRelation("findings", condition=models.Q(findings__foot=foot))
        for foot in FEET
    }
    return (
        Check.objects.filter(flock=flock)
        .annotate(
            **scores,
            bird_key=as_text("bird_id"),
            moment=as_text("at"),
            key=as_text("pk"),
            seer=as_text("keeper_id"),
        )
        .order_by()
        .values_list(
            *("bird_key", "moment", "key", "seer", "keeper__name", "keeper_name"),
            *(f"{foot}_foot__score" for foot in FEET),
        )
    )


_NOT_LOOKED_AT = -1


def _looks(flock: Flock, place: dict[str, int]) -> Looks:
    rows = list(_looks_query(flock))
    if not rows:
        none = np.zeros(0, np.int64)
        return Looks(none, none, none, none, [], none)
    bird, moment, key, seer, called, name, *scores = zip(*rows, strict=True)
    # Somebody who is no keeper here is known by name.
    who = [(keeper, said or text) for keeper, said, text in zip(seer, called, name, strict=True)]
    score = np.array(
        [[_NOT_LOOKED_AT if one is None else one for one in foot] for foot in scores], np.int64
    )
    foot, check = np.nonzero(score != _NOT_LOOKED_AT)
    numbers = {one: number for number, one in enumerate(sorted(set(who), key=str))}
    return Looks(
        bird=_numbered(bird, {text: place[_key(text)] for text in set(bird)})[check],
        foot=foot,
        day=local_days(moment, flock.zone)[check],
        score=score[foot, check],
        check=[key[at] for at in check.tolist()],
        keeper=_numbered(who, numbers)[check],
        keepers=tuple(name for _, name in numbers),
    )


def _numbered(texts: Sequence, numbers: dict) -> np.ndarray:
    return np.fromiter(map(numbers.__getitem__, texts), np.int64, len(texts))


def local_days(moments: Iterable[str], zone: dt.tzinfo) -> np.ndarray:
    """Local days as ordinals of moments in universal time, such as ``2026-05-01 18:05:00``.

    What follows the seconds (fractions, ``+00``) is left away. The difference to local time is
    looked up once for each quarter of an hour that occurs.
    """
    texts = np.array([moment[:19] for moment in moments], "S19")
    seconds = texts.astype("datetime64[s]").astype(np.int64)
    quarters, which = np.unique(seconds // _QUARTER_HOUR, return_inverse=True)
    ahead = np.array([_seconds_ahead(int(one) * _QUARTER_HOUR, zone) for one in quarters])
    return (seconds + ahead[which]) // _DAY + _UNIX_EPOCH


def _seconds_ahead(moment: int, zone: dt.tzinfo) -> int:
    offset = dt.datetime.fromtimestamp(moment, dt.UTC).astimezone(zone).utcoffset()
    return int(offset.total_seconds())


# Birds


def _birds(flock: Flock) -> list[BirdRow]:
    """Each bird with her weighings, by name; one query."""
    rows = (
        Bird.objects.filter(flock=flock)
        .annotate(key=as_text("pk"))
        .order_by("name", "key", "weighing__on")
        .values_list(
            *("key", "name", "breed__name", "breed__adult_grams", "own_weight_class", "hatched"),
            *("left", "left_reason", "weighing__on", "weighing__grams", "sex"),
        )
    )
    return [_bird(list(group)) for _, group in groupby(rows, key=itemgetter(0))]


def _bird(rows: list[tuple]) -> BirdRow:
    key, name, breed, adult, own, hatched, left, reason, _, _, sex = rows[0]
    is_cock = sex == Sex.COCK
    return BirdRow(
        key=_key(key),
        name=name,
        breed=breed or "",
        weight_class=own or ("" if is_cock else str(class_of(breed or "", adult))),
        adult_grams=None if is_cock else adult,
        hatched=_middle(hatched),
        present=not left,
        culled_for_feet=reason == "culled for the feet",
        grown_from=_grown_from(hatched),
        left_on=PartialDate.parse(left).last().toordinal() if left else None,
        weighed=tuple((row[8].toordinal(), row[9]) for row in rows if row[8]),
    )


def _grown_from(hatched: str) -> int | None:
    """As ``age.may_be_growing`` has it for each day."""
    if not hatched:
        return None
    return PartialDate.parse(hatched).last().toordinal() + GROWN_AT_DAYS


def _middle(partial: str) -> float | None:
    if not partial:
        return None
    day = PartialDate.parse(partial)
    return (day.first().toordinal() + day.last().toordinal()) / 2


# Houses


def _stay_rows(flock: Flock) -> list[tuple]:
    rows = Stay.objects.filter(flock=flock).annotate(
        bird_key=as_text("bird_id"), house_key=as_text("house_id")
    )
    return list(rows.values_list("bird_key", "house_key", "house__name", "since", "until"))


def _states(flock: Flock) -> list[FeatureState]:
    return list(
        FeatureState.objects.filter(flock=flock).select_related("feature__house").order_by("since")
    )


def _wetness_rows(flock: Flock) -> list[tuple]:
    rows = Wetness.objects.filter(flock=flock).annotate(house_key=as_text("house_id"))
    return list(rows.order_by("on").values_list("house_key", "house__name", "on", "level"))


def _houses(
    stays: list[tuple], states: list[FeatureState], events: list[Event], wetness: list[tuple]
) -> list[HouseRow]:
    names = {_key(house): name for _, house, name, _, _ in stays}
    names |= {_key(house): name for house, name, _, _ in wetness}
    names |= {_key(event.house_id): event.house.name for event in events if event.house}
    names |= {_key(state.feature.house_id): state.feature.house.name for state in states}
    return sorted((HouseRow(*item) for item in names.items()), key=lambda row: row.name.lower())


def _house_records(states: list[FeatureState]) -> list[HouseRecord]:
    """As ``housing.states.records_of`` gives them, from rows that are here already."""
    records: dict[object, HouseRecord] = {}
    for state in states:
        house = state.feature.house
        record = records.setdefault(house.pk, HouseRecord(house, [], {}))
        if state.feature_id not in record.states:
            record.features.append(state.feature)
        record.states.setdefault(state.feature_id, []).append(state)
    for record in records.values():
        record.features.sort(key=lambda feature: feature.name)
    return list(records.values())


def _changes(flock, states, told, events, house_place):
    """What was made, and house and day of what only a keeper can say of whether it was."""
    made, undecided = [], []
    for record in _house_records(states):
        said = [one for one in told if one.house_id == record.house.pk]
        house = house_place[_key(record.house.pk)]
        for change in history(record, said, events, units=flock.units):
            on = change.on.toordinal()
            if change.made:
                note = change.record.note if change.record else ""
                changed = change.changed or change.noted or ([note] if note else [])
                made.append(ChangeRow(house, on, tuple(changed), change.kind_words, change.called))
            elif change.asks:
                undecided.append((house, on))
    return made, undecided


def _events(happened: list[Event], house_place) -> list[EventRow]:
    return [
        EventRow(
            event.house_id and house_place[_key(event.house_id)],
            event.on.toordinal(),
            _ordinal(event.until, STILL) if event.is_spell else event.on.toordinal(),
            event.kind,
            event.words.capitalize() if not event.what else event.what,
        )
        for event in happened
    ]


def lasting(
    events: list[EventRow], houses: int, stays: Sequence[StayRow] = ()
) -> tuple[list[EventRow], list[ChangeRow]]:
    """The events, each with whether it is judged as a change, and those changes.

    What stays so until the next time is a change of the houses it touched, unless it was done
    again within ``REPEATED_DAYS``: a habit is on both sides of each of its days. What happened to
    the whole flock touched the houses lived in that day; all of them where nobody's is known.
    """
    told, changes = [], []
    for event in events:
        lived_in = {stay.house for stay in stays if stay.since <= event.day < stay.until}
        of_all = sorted(lived_in) or range(houses)
        touched = of_all if event.house is None else (event.house,)
        judged = event.kind in LASTING and not any(
            other is not event and _again(event, other) for other in events
        )
        told.append(event._replace(judged=judged))
        if judged:
            changes += [
                ChangeRow(house, event.day, (event.what,), "event", event.what) for house in touched
            ]
    return told, changes


def _again(event: EventRow, other: EventRow) -> bool:
    return (
        other.kind == event.kind
        and (None in (event.house, other.house) or other.house == event.house)
        and abs(other.day - event.day) <= thresholds.REPEATED_DAYS
    )


def _drops(states, house_place):
    for record in _house_records(states):
        house = house_place[_key(record.house.pk)]
        for day in record.days:
            layout = layout_of(record.house, day, record.on(day))
            drops = [
                route.hardest.drop_cm
                for route in ways_down(layout)
                if route.legs[0].start.kind in PERCHES
            ]
            yield DropRow(house, day.toordinal(), max(drops, default=None))


# Care, measured areas, choices


def _steps(flock: Flock, place: dict[str, int]):
    rows = CareStep.objects.filter(flock=flock).annotate(
        bird_key=as_text("bird_id"), moment=as_text("at")
    )
    rows = list(rows.values_list("bird_key", "foot", "kind", "moment"))
    days = local_days((row[3] for row in rows), flock.zone) if rows else []
    for (bird, foot, kind, _), day in zip(rows, days, strict=True):
        yield StepRow(place[_key(bird)], FEET.index(foot) if foot else None, int(day), kind)


def _areas(flock: Flock, place: dict[str, int]):
    """The newest measurement of each photo whose day is known."""
    rows = (
        Measurement.objects.filter(
            flock=flock,
            photo__bird__isnull=False,
            photo__deleted_at=None,
            photo__taken_precision__in=(Precision.MOMENT, Precision.DAY),
        )
        .exclude(photo__foot="")
        .annotate(bird_key=as_text("photo__bird_id"), moment=as_text("photo__taken"))
        .order_by("at")
        .values_list("photo_id", "bird_key", "photo__foot", "moment", "area_mm2")
    )
    newest = {row[0]: row[1:] for row in rows}
    days = local_days((row[2] for row in newest.values()), flock.zone) if newest else []
    for (bird, foot, _, area), day in zip(newest.values(), days, strict=True):
        yield AreaRow(place[_key(bird)], FEET.index(foot), int(day), area)


def _choices(flock: Flock):
    for one in WindowChoice.objects.filter(flock=flock).order_by("chosen_at"):
        yield Chosen(
            _key(one.house_id),
            one.on.toordinal(),
            one.window_days,
            one.lag_days,
            one.chosen_at.astimezone(flock.zone).toordinal(),
        )
