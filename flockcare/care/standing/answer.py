"""How a bird stands, as plain values: what the calculation gives."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from uuid import UUID

from flockcare.care.rules import Advice, Answer, Situation, advise
from flockcare.care.sizes import Size
from flockcare.care.standing.advice import of_foot
from flockcare.care.standing.records import Eggs, State, VetPlan
from flockcare.feet.scales import LESION


class Course(StrEnum):
    BETTER = "better"
    SAME = "same"
    WORSE = "worse"
    NOT_KNOWN = "not known"


@dataclass(frozen=True, slots=True)
class Trend:
    """Whether a case gets better, by all readings of its ``unit``: mm², mm (scab) or score.

    Not known of one that was seen long ago. ``against``: what the last reading is compared with,
    the peak or where worse the lowest since.
    """

    course: Course = Course.NOT_KNOWN
    unit: str = ""
    first: Size | None = None
    peak: Size | None = None
    last: Size | None = None
    against: Size | None = None


@dataclass(frozen=True, slots=True)
class Sign:
    """A sign that holds now, with the day and the observer of the check that said it last."""

    name: str
    value: object
    words: str
    on: date
    by: str
    check: UUID | None


@dataclass(frozen=True, slots=True)
class Due:
    """What is due, such as ``check`` or ``dressing``. ``step`` or ``plan``: that asks for it, else
    the advice or the flock's own days do. ``why``: what changed the day, in words. ``terms``: of
    a plan, as ``keepers_since``, see ``Asked``. ``alone``: of a check, that the other foot is not
    due yet; ``checked``: when this foot was checked last."""

    what: str
    on: date
    who: str = ""
    who_key: int | None = None
    step: UUID | None = None
    line: str = ""
    foot: str = ""
    plan: UUID | None = None
    why: str = ""
    terms: tuple[str, ...] = ()
    keepers_since: date | None = None
    alone: bool = False
    checked: date | None = None


@dataclass(frozen=True, slots=True)
class FootStanding:
    """``advice`` and ``because``: of this foot alone; None and empty where nothing is on it.

    ``signs``: what it shows besides its score. ``older``: those of them that led to the advice and
    that its newest check (``checked``, ``by``) did not say.
    ``first_check``: with which its case began; a clear foot has none. ``check``: the newest.
    """

    foot: str
    state: str
    score: int | None = None
    checked: date | None = None
    by: str = ""
    since: date | None = None
    last_clear: date | None = None
    first_check: UUID | None = None
    check: UUID | None = None
    days: int | None = None
    trend: Trend = Trend()
    areas: tuple[Size, Size, Size] | None = None
    advice: Advice | None = None
    because: tuple[str, ...] = ()
    look_again_days: int | None = None
    due: tuple[Due, ...] = ()
    signs: tuple[Sign, ...] = ()
    older: tuple[Sign, ...] = ()
    situation: Situation = field(default_factory=Situation)

    @property
    def is_case(self) -> bool:
        return self.state == CASE

    @property
    def words(self) -> str:
        return f"{self.foot} foot"

    @property
    def answer(self) -> Answer:
        """The advice of this foot alone, with the rules that led there."""
        return of_foot(self.situation, advise(self.situation))

    @property
    def scored_signs(self) -> list[Sign]:
        """Its score, then what it shows besides."""
        if not self.checked or self.score is None:
            return list(self.signs)
        words = LESION.step(self.score).short.lower()
        return [Sign("score", self.score, words, self.checked, self.by, None), *self.signs]


CLEAR, CASE, NEVER = "clear", "case", "never checked"


@dataclass(frozen=True, slots=True)
class Standing:
    """``because``: signs of the bird herself that lead to her ``advice``, if they do; those of her
    feet stand with each foot. ``due``: of the whole bird; ``all_due``: with that of her feet, each
    thing once and the earliest first. ``plans``: of a vet, while they hold and
    no sign is new since; ``broken``: where one is. ``asked``: visits and calls of the last weeks
    that left no such plan, so that the advice stands. ``rung``: that at which a vet was asked about
    all that is urgent now, no longer ago than she may wait to be seen; None: a vet is to be rung.
    """

    today: date
    advice: Advice
    because: tuple[str, ...]
    bird_advice: Advice | None
    signs: tuple[Sign, ...]
    feet: Mapping[str, FootStanding]
    eggs: Eggs
    due: tuple[Due, ...] = ()
    all_due: tuple[Due, ...] = ()
    last_check: date | None = None
    plans: tuple[VetPlan, ...] = ()
    asked: tuple[VetPlan, ...] = ()
    rung: VetPlan | None = None
    broken: tuple[VetPlan, ...] = ()
    states: Sequence[State] = ()
    round_on: date | None = None
    # A sign is also one of diseases that must be reported.
    notifiable: bool = False
    # Of a bird that was never checked: how many others got a sore foot lately, if several did.
    others_new: int = 0

    @property
    def urgent(self) -> bool:
        """Whether a vet is to see her today or within days."""
        return self.advice.is_urgent

    @property
    def of_care(self) -> bool:
        """Whether there is more to say of her than that her clear feet are checked now and then,
        and whether her eggs are eaten, which is said of all birds at once."""
        care = any(due.what != CHECK for due in self.all_due)
        return bool(self.concerns or self.signs or self.plans or care)

    @property
    def in_quarantine(self) -> bool:
        return any(state.kind == "quarantine" for state in self.states)

    @property
    def both_clear(self) -> bool:
        return all(foot.state == CLEAR for foot in self.feet.values())

    @property
    def first_due(self) -> date:
        return self.all_due[0].on

    @property
    def check_due(self) -> Due:
        return next(due for due in self.all_due if due.what == CHECK)

    @property
    def in_round(self) -> bool:
        """Whether the flock's own days ask for a check by now."""
        return self.round_on is None or self.round_on <= self.today

    @property
    def cases(self) -> list[FootStanding]:
        return [foot for foot in self.feet.values() if foot.is_case]

    @property
    def concerns(self) -> list[FootStanding]:
        """Her sore feet, and a foot that was scored clear but shows a sign."""
        return [foot for foot in self.feet.values() if foot.advice is not None]


CHECK = "check"
