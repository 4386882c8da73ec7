"""The records behind a vet sheet, read with eight queries however many there are."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

from django.db.models import (
    CharField,
    Count,
    DateTimeField,
    Exists,
    F,
    FilteredRelation,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Value,
)
from django.db.models.fields.json import KT
from django.db.models.functions import Cast, Coalesce, Replace

from flockcare.birds.models import Bird, LeftReason, Weighing
from flockcare.care.holds import told_elsewhere
from flockcare.care.models import CareStep, MedicineGiven, StepKind
from flockcare.core.dates import PartialDate
from flockcare.drawing.timeline import Window
from flockcare.feet.cases import Case, Sight, cases_from
from flockcare.feet.models import FOOT_SIGNS, Check, FootFinding
from flockcare.feet.scales import AFFECTED_FROM
from flockcare.feet.words import BIRD_SIGNS, foot_signs, odd_signs
from flockcare.housing.changes import Change, history
from flockcare.housing.models import Event, EventKind, HousingChange, Stay
from flockcare.housing.states import HouseRecord, records_of
from flockcare.people.deletion import FORMER
from flockcare.people.models import Byline, Flock, Keeper, Membership, Revision
from flockcare.photos.models import IS_FACE, Foot, Measurement, Photo
from flockcare.photos.series import Shot

NOTHING_YET_DAYS = 90
# Within which others with a sore foot are told with her: our choice, no published source.
OTHERS_WITHIN = dt.timedelta(30)
PUT_DOWN = (LeftReason.CULLED_FEET, LeftReason.CULLED)
MEASURED = [field.attname for field in Measurement._meta.concrete_fields]
TOLD = [field.attname for field in HousingChange._meta.concrete_fields]
LAST_OF_ALL = Value(dt.datetime(9000, 1, 1, tzinfo=dt.UTC), DateTimeField())


@dataclass(frozen=True, slots=True)
class Period:
    """The days of a sheet, both included; ``first`` None: from the first record on."""

    first: dt.date | None
    last: dt.date


class Seen(NamedTuple):
    """What was seen on one foot (``foot`` empty: only of the bird) at one check."""

    check: uuid.UUID
    at: dt.datetime
    keeper: str | None
    keeper_name: str
    gait: int | None
    limps_on: str
    manner: str
    eating: str
    droppings: str
    belly: str
    comb: str
    body_condition: int | None
    note: str
    foot: str | None
    score: int | None
    sites: list | None
    scab: str | None
    scab_mm: object
    swelling: str | None
    hot: bool | None
    oozing: bool | None
    cold_or_dark: bool | None
    bleeding: bool | None
    constricted: bool | None
    plug_or_hole: bool | None
    joint_swollen: bool | None
    bone_or_joint: bool | None
    raised_scales: bool | None
    clinical_grade: int | None

    @property
    def by(self) -> str:
        return self.keeper or self.keeper_name

    @property
    def odd(self) -> list[str]:
        """What stood out in how the bird was, in words."""
        return odd_signs(*(getattr(self, name) for name in BIRD_SIGNS))

    @property
    def on_foot(self) -> list[str]:
        """What was seen on the foot besides its score, in words."""
        signs = (getattr(self, name) for name in FOOT_SIGNS)
        return foot_signs(self.sites, self.scab, self.scab_mm, self.swelling, *signs)


class Weighed(NamedTuple):
    on: dt.date
    grams: int
    by: str


@dataclass(frozen=True)
class Lived:
    """A stretch of living in a house; None: always before, or still.

    ``others``: how many birds lived there besides her within ``OTHERS_WITHIN`` before the end of
    the period; ``sore``, ``died``, ``put_down``: how many of them had a sore foot, or met that end,
    in those days. ``treated_on``: when the house, or the flock, was last treated for mites or worms
    in the period.
    """

    since: dt.date | None
    until: dt.date | None
    record: HouseRecord
    changes: list[Change]
    others: int = 0
    sore: int = 0
    died: int = 0
    put_down: int = 0
    treated_on: dt.date | None = None
    treated_with: str = ""

    @property
    def house(self):
        return self.record.house


@dataclass(frozen=True)
class Records:
    """All of one bird's records that a sheet is made of; those of her feet since ever.

    ``all_cases``, ``medicines``, ``vaccines``: of all the time up to the end of the period.
    ``told``: the keys of visits that the entry of their medicine tells of.
    """

    bird: Bird
    window: Window
    ever: bool
    seen: list[Seen]
    cases: list[Case]
    steps: list[CareStep]
    visits: list[CareStep]
    weighed: list[Weighed]
    shots: list[Shot]
    lived: list[Lived]
    all_cases: list[Case]
    medicines: list[CareStep]
    vaccines: list[CareStep]
    told: set[uuid.UUID]

    @property
    def home(self) -> Lived | None:
        """Where she lives on the last day of the period, where that is known."""
        last = self.window.last
        return next((stay for stay in self.lived if (stay.until or dt.date.max) > last), None)

    def of_period(self) -> Iterator[Seen]:
        start, end = self.window.moments
        return (seen for seen in self.seen if start <= seen.at < end)


def subjects(flock: Flock) -> QuerySet:
    """The birds of a flock as ``read`` wants one: with her breed."""
    return Bird.objects.filter(flock=flock).select_related("breed")


def read(bird: Bird, period: Period) -> Records:
    """The bird comes from ``subjects``, with her flock."""
    zone = bird.flock.zone
    seen = _seen(bird)
    done = CareStep.objects.filter(bird=bird).select_related("keeper", "item")
    steps = list(done.order_by("at"))
    for step in steps:
        step.bird, step.flock = bird, bird.flock
    weighed = _weighed(bird)
    shots = _shots(bird)
    begins = period.first or _begins(bird, period.last, seen, steps, weighed, shots)
    window = Window(begins, period.last, zone)
    lived = _lived(bird, window)
    cases = _cases(bird, seen, window)
    end = window.moments[1]
    told = told_elsewhere(steps, zone)
    once = [step for step in steps if step.pk not in told]
    return Records(
        bird,
        window,
        period.first is None,
        seen,
        [case for case in cases if case.touches(window)],
        [step for step in steps if _reaches(step, window)],
        [step for step in steps if step.kind == StepKind.VET],
        [one for one in weighed if window.first <= one.on <= window.last],
        [shot for shot in shots if _taken_in(shot.photo, window, ever=period.first is None)],
        lived,
        cases,
        [step for step in once if _is_course(step) and step.at < end],
        [step for step in steps if step.kind == StepKind.VACCINE and step.at < end],
        told,
    )


def _living_there(bird: Bird, window: Window) -> dict[str, Subquery]:
    """Of a stay: how many others lived in that house in the last days, what became of them in
    those, and when it, or the flock, was last treated for mites or worms.
    """
    end = window.moments[1]
    first, last = window.last + dt.timedelta(1) - OTHERS_WITHIN, window.last
    # Of a bird that left, the day of it may be a month or a year.
    month, year = first.isoformat()[:7], first.isoformat()[:4]
    still_here = Q(bird__left="") | Q(bird__left__gte=first.isoformat())
    left = Q(bird__left__gte=first.isoformat(), bird__left__lte=last.isoformat())
    sore = FootFinding.objects.filter(
        check_record__bird=OuterRef("bird"),
        check_record__at__gte=end - OTHERS_WITHIN,
        check_record__at__lt=end,
        score__gte=AFFECTED_FROM,
    )
    others = (
        Stay.objects.filter(house=OuterRef("house"))
        .within(first, last)
        .filter(still_here | Q(bird__left__in=(month, year)))
        .exclude(bird=bird)
        .order_by()
        .values("house")
    )

    def number(*of: Q | Exists) -> Subquery:
        counted = others.filter(*of).annotate(number=Count("bird", distinct=True))
        return Subquery(counted.values("number"))

    treated = Event.objects.filter(
        Q(house=None) | Q(house=OuterRef("house")),
        flock=bird.flock_id,
        kind=EventKind.PARASITES,
        on__range=(window.first, window.last),
    ).order_by("-on")
    return {
        "treated_on": Subquery(treated.values("on")[:1]),
        "treated_with": Subquery(treated.values("what")[:1]),
        "others": number(),
        "sore": number(Exists(sore)),
        "died": number(left & Q(bird__left_reason=LeftReason.DIED)),
        "put_down": number(left & Q(bird__left_reason__in=PUT_DOWN)),
    }


def _is_course(step: CareStep) -> bool:
    """A medicine that a keeper or, at a visit, a vet gave."""
    visit = step.kind == StepKind.VET and step.medicine_given == MedicineGiven.YES
    return visit or step.kind == StepKind.MEDICINE


def _reaches(step: CareStep, window: Window) -> bool:
    """Whether it was done in these days, or was begun before and is still given in them."""
    start, end = window.moments
    going_on = bool(step.given_until and step.given_until >= window.first)
    return step.at < end and (step.at >= start or going_on)


def photo_in(photo: Photo, bird: Bird, period: Period) -> bool:
    """Whether this photo belongs to her sheet of that period."""
    # Of all the time there is the first day says nothing.
    window = Window(period.first or period.last, period.last, bird.flock.zone)
    hers = photo.bird_id == bird.pk and not photo.of_house
    return hers and _taken_in(photo, window, ever=period.first is None)


def _taken_in(photo: Photo, window: Window, *, ever: bool) -> bool:
    """A photo without a date belongs to all the time there is, and to no part of it."""
    if photo.taken is None:
        return ever
    start, end = window.moments
    return (ever or start <= photo.taken) and photo.taken < end


def _begins(bird: Bird, last: dt.date, seen, steps, weighed, shots) -> dt.date:
    zone = bird.flock.zone
    moments = [
        *(one.at for one in (*seen[:1], *steps[:1])),
        *(shot.photo.taken for shot in shots if shot.photo.taken),
    ]
    days = [moment.astimezone(zone).date() for moment in moments]
    days += [one.on for one in weighed[:1]]
    if bird.joined:
        days.append(PartialDate.parse(bird.joined).first())
    return min([day for day in days if day <= last], default=last - dt.timedelta(NOTHING_YET_DAYS))


def _seen(bird: Bird) -> list[Seen]:
    of_check = (*BIRD_SIGNS, "body_condition", "note")
    of_foot = ("foot", "score", "sites", "scab", "scab_mm", "swelling", *FOOT_SIGNS)
    rows = (
        Check.objects.filter(bird=bird)
        .order_by("at", "received_at")
        .values_list(
            *("pk", "at", "keeper__name", "keeper_name", *of_check),
            *(f"findings__{name}" for name in (*of_foot, "clinical_grade")),
        )
    )
    return [Seen(*row) for row in rows]


def _weighed(bird: Bird) -> list[Weighed]:
    """Also by those who have no account any more."""
    gone = Byline.objects.filter(record=OuterRef("pk"), field="keeper").values("name")
    rows = (
        Weighing.objects.filter(bird=bird)
        .order_by("on")
        .annotate(by=Coalesce("keeper__name", Subquery(gone), Value("")))
        .values_list("on", "grams", "by")
    )
    return [Weighed(*row) for row in rows]


def _cases(bird: Bird, seen: list[Seen], window: Window) -> list[Case]:
    """Her cases up to its end, the newest first, told from all looks: each is told whole."""
    found = []
    for foot in Foot.values:
        sights = [
            Sight(one.at.astimezone(window.zone).date(), one.at, one.score, one.check, one.by)
            for one in seen
            if one.foot == foot
        ]
        cases = cases_from(sights, bird_id=bird.pk, foot=foot)
        found += [one for one in cases if _begun(one) <= window.last]
    return sorted(found, key=lambda case: (case.current, case.episode.first_affected), reverse=True)


def _begun(case: Case) -> dt.date:
    """From when on it may have gone on."""
    return case.episode.last_clear_before or case.episode.first_affected


def _shots(bird: Bird) -> list[Shot]:
    """Her photos in time order, each with its newest measurement, in one query.

    Without her portraits: what only stands for her in lists says nothing to a vet.
    """
    through = Check.photos.through, CareStep.photos.through
    told = [Exists(each.objects.filter(photo=OuterRef("pk"))) for each in through]
    photos = (
        Photo.objects.filter(~IS_FACE | told[0] | told[1], bird=bird, of_house=False)
        .annotate(**{f"measured_{name}": F(f"measurements__{name}") for name in MEASURED})
        .order_by(F("taken").asc(nulls_last=True), "added_at", "pk", "measurements__at")
    )
    shots: dict[uuid.UUID, Shot] = {}
    for photo in photos:
        measured = {name: getattr(photo, f"measured_{name}") for name in MEASURED}
        shots[photo.pk] = Shot(photo, Measurement(**measured) if measured["id"] else None)
    return list(shots.values())


def _lived(bird: Bird, window: Window) -> list[Lived]:
    """Where she lived in the period, with what was described and changed there in it."""
    days = (window.first, window.last)
    within = FilteredRelation(
        "house__changes",
        condition=Q(house__changes__planned=False, house__changes__on__range=days),
    )
    rows = (
        Stay.objects.filter(bird=bird)
        .filter(Q(since=None) | Q(since__lte=window.last))
        .filter(Q(until=None) | Q(until__gte=window.first))
        .select_related("house")
        .alias(told=within)
        .annotate(**{f"told_{name}": F(f"told__{name}") for name in TOLD})
        .annotate(**_living_there(bird, window))
        .order_by(F("since").asc(nulls_first=True))
    )
    stays = {row.pk: row for row in rows}.values()
    if not stays:
        return []
    houses = list({stay.house_id: stay.house for stay in stays}.values())
    told = {
        row.told_id: HousingChange(**{name: getattr(row, f"told_{name}") for name in TOLD})
        for row in rows
        if row.told_id
    }.values()
    records = records_of(houses, first=window.first, last=window.last)
    renewed = Event.objects.filter(flock=bird.flock_id, kind=EventKind.BEDDING)
    lived = []
    for stay in stays:
        of_house = records[stay.house_id]
        said = [one for one in told if one.house_id == stay.house_id]
        changes = [
            change
            for change in reversed(history(of_house, said, renewed, units=bird.flock.units))
            if change.made
            and window.first <= change.on <= window.last
            and (stay.since is None or change.on > stay.since)
            and (stay.until is None or change.on < stay.until)
        ]
        counts = stay.others or 0, stay.sore or 0, stay.died or 0, stay.put_down or 0
        treated = stay.treated_on, stay.treated_with or ""
        lived.append(Lived(stay.since, stay.until, of_house, changes, *counts, *treated))
    return lived


def keepers_of(flock: Flock, records: Records) -> Iterator[str]:
    """Every name that may stand in these records: those who belong, as they came, then others.

    Others are those who once belonged, with an account or without one, and whoever else looked or
    helped: a note about her may speak of anybody.
    """
    named = Membership.objects.filter(flock=flock).values_list("keeper__name", "joined_at")
    others = (
        (_once_members(flock), "name"),
        (Byline.objects.filter(flock=flock), "name"),
        (Check.objects.filter(flock=flock).exclude(keeper_name=""), "keeper_name"),
        (CareStep.objects.filter(flock=flock).exclude(keeper_name=""), "keeper_name"),
    )
    named = named.union(
        *(
            rows.order_by().annotate(joined_at=LAST_OF_ALL).values_list(name, "joined_at")
            for rows, name in others
        )
    ).order_by("joined_at", "keeper__name")
    told = [name for name, _ in named]
    told += [one.by for one in (*records.seen, *records.steps)]
    told += [one.by for one in records.weighed]
    # Several people can be “a former keeper”, who are not to become one.
    yield from (name for name in told if name and name != FORMER)


def _once_members(flock: Flock) -> QuerySet:
    """Keepers whose place in the flock was ended; their account may go on."""
    ended = Revision.objects.filter(
        flock=flock, kind=Membership._meta.label, action=Revision.Action.DELETE
    )
    ended = ended.annotate(key=_key_as_text(KT("before__keeper_id")))
    return Keeper.objects.annotate(key=_key_as_text("pk")).filter(key__in=ended.values("key"))


def _key_as_text(key) -> Replace:
    """A key as every database writes it: SQLite keeps one without its dashes."""
    return Replace(Cast(key, CharField()), Value("-"), Value(""))
