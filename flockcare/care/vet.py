"""The plan that a vet and the keepers made at a visit, and until when it holds."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from textwrap import shorten

from flockcare.care.models import CareStep, DecidedBy
from flockcare.drawing.dates import short_words
from flockcare.photos.models import Foot

# A plan that names no end: four weeks, as long as the rules wait for a sore to be half gone. Our
# choice, no published source.
PLAN_DAYS = 28
MOST_LETTERS = 90


@dataclass(frozen=True)
class Plan:
    """What a vet and the keepers agreed on, from the visit ``visit`` up to and including ``until``.

    ``open_ended``: nobody named the end, so that it is ``PLAN_DAYS`` after the visit.
    """

    visit: CareStep
    until: date
    open_ended: bool

    @property
    def words(self) -> str:
        """Such as ``Vet’s plan for the left foot until 12 Nov: soak daily``."""
        whose = "Vet’s plan" if self.visit.is_vets else "Plan"
        foot = f" for the {Foot(self.visit.foot).label}" if self.visit.foot else ""
        head = f"{whose}{foot} until {short_words(self.until, self.visit.on)}"
        return ": ".join(filter(None, (head, self.visit.plan)))


def came_to(visit: CareStep) -> str:
    """What a visit or a call came to, in few words: its plan, what the vet found or said, or the
    note. Empty where nobody wrote anything down."""
    ours = "our own plan: " if visit.decided_by == DecidedBy.KEEPER else ""
    plan = visit.plan.strip() and f"{ours}{visit.plan}"
    return shorten(plan or visit.found or visit.note, MOST_LETTERS, placeholder=" …")


def plan_for(visits: Iterable[CareStep], foot: str, today: date) -> Plan | None:
    """The plan that holds for this foot on that day: that of the newest visit which has one.

    ``visits``: of one bird, in any order. A visit about the other foot says nothing of this one, a
    visit about the whole bird speaks of both; ``foot`` "": only plans for the whole bird.
    """
    plans = [plan for visit in visits if (plan := _plan_of(visit)) and _speaks_of(visit, foot)]
    holding = [plan for plan in plans if plan.visit.on <= today <= plan.until]
    return max(holding, key=lambda plan: plan.visit.at, default=None)


def _speaks_of(visit: CareStep, foot: str) -> bool:
    return visit.foot in ("", foot)


def _plan_of(visit: CareStep) -> Plan | None:
    """A day up to which nobody says what to do is no plan."""
    if not visit.plan.strip():
        return None
    if visit.plan_until:
        return Plan(visit, visit.plan_until, open_ended=False)
    return Plan(visit, visit.on + timedelta(PLAN_DAYS), open_ended=True)
