"""Everything put on, done or given, grouped by what it was, with every date and by whom."""

from __future__ import annotations

import datetime as dt
from collections.abc import Container, Iterable
from itertools import groupby
from operator import itemgetter
from uuid import UUID

from flockcare.care.courses import WHOLE_FLOCK
from flockcare.care.holds import is_to_tell
from flockcare.care.models import CareStep, DaysFrom, StepKind
from flockcare.care.standing.answer import Standing
from flockcare.drawing.dates import date_words
from flockcare.vetsheet.dates import counted, days_in_words, newest
from flockcare.vetsheet.names import Names
from flockcare.vetsheet.sheet import Given

MOST_GROUPS, MOST_REMARKS, MOST_DATES = 14, 3, 60
FIRST = (StepKind.MEDICINE, StepKind.VET, StepKind.VACCINE, StepKind.OINTMENT)
NOBODY = "somebody not recorded"


def given(
    steps: Iterable[CareStep], names: Names, zone: dt.tzinfo, told: Container[UUID]
) -> tuple[list[Given], str]:
    """Medicines, what a vet did and ointments come first, then what was done last; what was cut.

    ``told``: visits that the entry of their medicine tells of, with its days.
    """
    groups: dict[tuple, list[CareStep]] = {}
    for step in steps:
        groups.setdefault(_same(step, told), []).append(step)
    ordered = sorted(groups.values(), key=_place)
    shown, rest = ordered[:MOST_GROUPS], ordered[MOST_GROUPS:]
    left_out = (
        f"{counted(sum(map(len, rest)), 'care record')} of {counted(len(rest), 'other kind')} are "
        "left out here."
        if rest
        else ""
    )
    visit = next((group for group in shown if group[-1].kind == StepKind.VET), None)
    return [
        _group(
            *(group, names, zone),
            holds=_holds(group[-1], told),
            is_first=group is visit or _of_medicine(group[-1]),
        )
        for group in shown
    ], left_out


def in_force(hers: Standing, names: Names) -> Iterable[Given]:
    """The plans of care that ask for something on the day of making, as Today has them."""
    dues = [*hers.due, *(due for foot in hers.feet.values() for due in foot.due)]
    for due in dues:
        if due.plan:
            what, *days = map(names.text, due.terms)
            days.append(f"next on {date_words(due.on)}")
            yield Given(what[:1].upper() + what[1:], tuple(days), "", ())


def _same(step: CareStep, told: Container[UUID]) -> tuple:
    what = step.kind, step.product.strip().casefold(), step.foot, step.decided_by
    return *what, _holds(step, told)


def _place(group: list[CareStep]) -> tuple:
    last = group[-1]
    kind = FIRST.index(last.kind) if last.kind in FIRST else len(FIRST)
    return kind, -last.at.timestamp()


def _of_medicine(step: CareStep) -> bool:
    """Whether it is a medicine, or the visit that prescribed one."""
    return step.kind != StepKind.VACCINE and step.may_have_days and step.withholds


def _group(
    steps: list[CareStep], names: Names, zone: dt.tzinfo, *, holds: str, is_first: bool
) -> Given:
    last = steps[-1]
    product = names.text(last.product)
    done = ": ".join(filter(None, (last.get_kind_display(), product and f"“{product}”")))
    whom = f"all of {names.text(last.given_to)}" if last.given_to else "the bird"
    whom = last.given_to if last.given_to == WHOLE_FLOCK else whom
    what = f"{done}, {last.get_foot_display() if last.foot else whom}"
    what = what[0].upper() + what[1:]
    if last.is_vets:
        what += ", as the vet said"
    if len(steps) > 1:
        what += f", {len(steps)} times"
    return Given(
        what,
        tuple(_dates(steps, names, zone)),
        holds,
        tuple(_remarks(steps, names, zone)),
        is_first,
    )


def _dates(steps: list[CareStep], names: Names, zone: dt.tzinfo) -> Iterable[str]:
    """Each keeper's days; a course that was given for longer by itself."""
    shown = steps[-MOST_DATES:]
    if len(steps) > len(shown):
        days = [step.at.astimezone(zone).date() for step in steps[: -len(shown)]]
        yield (
            f"{counted(len(days), 'time')} from {date_words(days[0])} to {date_words(days[-1])} "
            "(single days left out)"
        )
    single = [step for step in shown if not step.given_until]
    by = sorted(single, key=lambda step: names.who(step.by))
    for who, of_keeper in groupby(by, key=lambda step: names.who(step.by)):
        days = [step.at.astimezone(zone).date() for step in of_keeper]
        yield f"{days_in_words(days)}, by {who or NOBODY}"
    # Each day of a course that a whole house got names the same last day.
    courses: dict[dt.date, list[CareStep]] = {}
    for step in shown:
        if step.given_until:
            courses.setdefault(step.given_until, []).append(step)
    for until, course in courses.items():
        begin = course[0].at.astimezone(zone).date()
        who = " and ".join(sorted({names.who(step.by) or NOBODY for step in course}))
        yield f"{date_words(begin)}, given until {date_words(until)}, by {who}"


def _holds(step: CareStep, told: Container[UUID]) -> str:
    """The days as they were entered. What nobody entered is not known, which is not none."""
    if not (step.withholds and is_to_tell(step, told)):
        return ""
    said = [
        f"{what}: {_days(days)}"
        for what, days in (("without eggs", step.egg_days), ("without meat", step.meat_days))
        if days is not None or step.pk not in told
    ]
    source = f", as {DaysFrom(step.days_from).label} says" if step.days_from else ""
    return "; ".join(said) + source


def _days(days: int | None) -> str:
    return "days not known" if days is None else counted(days, "day")


def _remarks(steps: list[CareStep], names: Names, zone: dt.tzinfo) -> Iterable[str]:
    """What is remarked of several givings in a row stands once, with their days."""
    said = [(_remark(step, names), step.at.astimezone(zone).date()) for step in steps]
    remarks = [
        f"{days_in_words([day for _, day in same])}: {remark}" if len(steps) > 1 else remark
        for remark, same in groupby(said, key=itemgetter(0))
        if remark
    ]
    shown, left_out = newest(remarks, MOST_REMARKS, "remarks")
    yield from shown
    if left_out:
        yield left_out


def _remark(step: CareStep, names: Names) -> str:
    said = []
    if step.amount is not None:
        unit = names.text(step.item.unit) if step.item_id and step.item.unit else ""
        said.append(f"used: {step.amount.normalize():f} {unit}".rstrip())
    if step.batch:
        said.append(f"batch {names.text(step.batch)}")
    if step.quantity:
        said.append(f"given: {names.quoted(step.quantity)}")
    if step.no_medicine:
        said.append("no medicine in it, says the keeper")
    if step.outcome:
        said.append(step.get_outcome_display())
    if step.bleeding:
        said.append(f"bleeding: {step.get_bleeding_display()}")
    for label, typed in (
        ("asked", step.question),
        ("found or said", step.found),
        ("keeper’s note" if step.kind == StepKind.VET else "", step.note),
        ("plan", step.plan),
        ("laboratory", step.laboratory),
    ):
        if typed:
            said.append(f"{label} {names.quoted(typed)}".strip())
    if step.medicine_given:
        said.append(f"medicine given or prescribed: {step.get_medicine_given_display()}")
    return "; ".join(said)
