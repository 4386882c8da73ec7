"""What is recorded of a bird, as plain values: what the calculation of how she stands rests on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from uuid import UUID

from flockcare.feet.cases import Case
from flockcare.feet.scales import AFFECTED_FROM

FEET = ("left", "right")


@dataclass(frozen=True, slots=True)
class FootSeen:
    """What a check saw of one foot; empty or None: not checked."""

    score: int
    swelling: str = ""
    scab: str = ""
    scab_mm: float | None = None
    hot: bool | None = None
    oozing: bool | None = None
    cold_or_dark: bool | None = None
    bleeding: bool | None = None
    constricted: bool | None = None
    plug_or_hole: bool | None = None
    joint_swollen: bool | None = None
    bone_or_joint: bool | None = None
    raised_scales: bool | None = None
    clinical_grade: int | None = None

    @property
    def affected(self) -> bool:
        return self.score >= AFFECTED_FROM


@dataclass(frozen=True, slots=True)
class Look:
    """One check: ``signs`` of the bird by their field (empty or None: not checked); her feet."""

    key: UUID
    at: datetime
    on: date
    by: str
    signs: Mapping[str, object]
    feet: Mapping[str, FootSeen]
    time_known: bool = True


@dataclass(frozen=True, slots=True)
class Outline:
    """The size of a sore in a photo. ``error``: its 95 % bound, in mm² as the area. ``at``: None
    where the time of the day is not known."""

    foot: str
    on: date
    area: float
    error: float
    at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Asked:
    """What the newest step of a line asks for, or a plan. ``line``: see ``care.due``; ``what``: in
    words.

    ``foot`` "": of the whole bird. ``who``, ``who_key``: whoever said that they will do it, or
    whose turn it is. ``why``: what changed the day of a plan. ``dresses``: it looks after a
    dressing. ``terms``: of a plan, what it asks for and from when until when; ``keepers_since``:
    the first day of one that keepers made by themselves.
    """

    step: UUID | None
    foot: str
    line: str
    what: str
    done_on: date | None
    on: date
    who: str = ""
    who_key: int | None = None
    plan: UUID | None = None
    why: str = ""
    dresses: bool = False
    terms: tuple[str, ...] = ()
    keepers_since: date | None = None


@dataclass(frozen=True, slots=True)
class FootLast:
    """The newest finding on a foot."""

    score: int
    on: date
    by: str = ""
    check: UUID | None = None


@dataclass(frozen=True, slots=True)
class Eggs:
    """``state``: free, withdrawn or not known (which withholds). ``until``: the last such day.

    ``words``: of both eggs and meat; ``products``: those whose days nobody knows, ``to_ask``: for
    a while already; see ``care.holds``.
    """

    state: str = "free"
    until: date | None = None
    meat: str = "free"
    meat_until: date | None = None
    products: tuple[str, ...] = ()
    words: str = ""
    to_ask: tuple[str, ...] = ()

    @property
    def known_until(self) -> date | None:
        """The last day on which no egg of hers is eaten; None where nobody knows it, or none is."""
        return self.until if self.state == "withdrawn" else None


@dataclass(frozen=True, slots=True)
class State:
    """What is so with her for a time, such as ``moulting``; ``until``: the day it is over."""

    pk: UUID
    kind: str
    words: str
    since: date
    until: date | None = None

    def get_kind_display(self) -> str:
        return self.words


@dataclass(frozen=True, slots=True)
class VetPlan:
    """What a vet said on that day of a foot, and the last day on which it holds.

    ``words``: empty where nobody wrote a plan down. ``step``: the visit, or the call. ``at``: None
    where its time is not known. ``open_ended``: nobody named the last day. ``new``: the urgent
    signs that have come since, where they broke it. ``said``: what it came to, in few words.
    """

    on: date
    until: date
    words: str = ""
    step: UUID | None = None
    open_ended: bool = False
    at: datetime | None = None
    by_vet: bool = True
    new: tuple[str, ...] = ()
    said: str = ""

    @property
    def answers(self) -> bool:
        """Whether it stands in for the advice: only what a vet planned and somebody wrote down."""
        return bool(self.words) and self.by_vet

    def knew(self, on: date, at: datetime | None) -> bool:
        """Whether something seen then was known at the visit; of the same day, only by the time."""
        if on != self.on:
            return on < self.on
        return at is not None and self.at is not None and at <= self.at


@dataclass(frozen=True)
class Records:
    """Of one bird, up to the day on which she is to be seen.

    ``looks``: the newest first, from 14 days before her oldest open case on, and without one the
    last weeks. ``cases``: all of hers. ``last``: of each foot that was ever checked.
    ``looked_at``: when a foot was last seen with a step of care (watched, its dressing changed).
    ``weights``: day and grams, the oldest first. ``plans``: of a vet, by foot. ``calls``: when a
    vet was last asked about a foot, in the last four weeks, whether it left a plan or not; not of a
    plan that has run out. ``new_since``: when her quarantine began, also where it is over.
    ``bantam``: by her breed or what was entered of her; a weighing says more.
    """

    looks: Sequence[Look] = ()
    last: Mapping[str, FootLast] = field(default_factory=dict)
    last_check: date | None = None
    cases: Sequence[Case] = ()
    outlines: Sequence[Outline] = ()
    asked: Sequence[Asked] = ()
    looked_at: Mapping[str, date] = field(default_factory=dict)
    weights: Sequence[tuple[date, int]] = ()
    eggs: Eggs = Eggs()
    plans: Mapping[str, VetPlan] = field(default_factory=dict)
    calls: Mapping[str, VetPlan] = field(default_factory=dict)
    states: Sequence[State] = ()
    age_days: int | None = None
    new_since: date | None = None
    bantam: bool = False


@dataclass(frozen=True, slots=True)
class Rounds:
    """The flock's own days between checks: of clear birds, and of those with a sore foot.

    ``new_bird_days``: after a new bird came, those on which her feet are checked besides.
    """

    clear_days: int
    sore_days: int
    new_bird_days: tuple[int, ...] = ()
