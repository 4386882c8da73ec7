"""What is due for one keeper, and how much of it that keeper wants to be reminded of."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime

from django.utils import timezone

from flockcare.birds.models import Bird
from flockcare.care.due import LOOK, Due, line_of
from flockcare.care.holds import Hold, open_holds
from flockcare.care.plans import PlanDue, all_dues
from flockcare.care.situation import standings
from flockcare.care.standing.answer import Due as StandingDue
from flockcare.care.tasks import tasks_due
from flockcare.care.wanted import Wanted


def dues_of(flock, keeper, *, now: datetime) -> tuple[list[Due], list[PlanDue]]:
    """Care that is due, today or later, and that nobody else has taken on.

    A foot that was left to be watched is checked: that is in ``checks_of``.
    """
    steps, planned = all_dues(flock, now=now)
    return [
        due
        for due in steps
        if due.step.claimed_by_id in (None, keeper.pk) and line_of(due.step.kind) != LOOK
    ], [due for due in planned if due.who_key in (None, keeper.pk)]


def checks_of(flock, keeper, *, now: datetime) -> Iterable[tuple[Bird, StandingDue]]:
    """The next check of each bird that is here, but for those that somebody else does."""
    found = standings(flock, now=now).birds
    for bird in Bird.objects.filter(flock=flock).present():
        due = found[bird.pk].check_due
        if due.who_key in (None, keeper.pk):
            yield bird, due


def ends_on(hold: Hold, day: date) -> bool:
    """Whether eggs or meat are withheld up to and including that day, as far as is known."""
    eggs = hold.eggs_until == day and not hold.eggs_unknown
    return eggs or (hold.meat_until == day and not hold.meat_unknown)


def count_due(flock, keeper, wanted: Wanted, *, now: datetime) -> int:
    """How many things are due today or late, of the kinds that are wanted."""
    today = timezone.localdate(now, flock.zone)
    count = 0
    if wanted.care:
        steps, planned = dues_of(flock, keeper, now=now)
        count += sum(
            due.on <= today and wanted.is_for(due.step.claimed_by_id, keeper) for due in steps
        )
        count += sum(due.on <= today and wanted.is_for(due.who_key, keeper) for due in planned)
        count += 0 if wanted.mine_only else len(tasks_due(flock, today))
    if wanted.checks:
        count += sum(
            due.on <= today and wanted.is_for(due.who_key, keeper)
            for _, due in checks_of(flock, keeper, now=now)
        )
    if wanted.withdrawal:
        count += sum(ends_on(hold, today) for hold in open_holds(flock, now=now))
    return count
