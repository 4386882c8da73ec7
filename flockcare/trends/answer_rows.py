"""One line for each change, the same wherever it stands: Trends, the house, the change, Today.

The lines are kept apart from the report, so that a page which only shows them computes nothing.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from django.core.cache import cache

from flockcare.analysis import limits
from flockcare.care.situation import NEW_WITHIN
from flockcare.people.models import Flock
from flockcare.trends import changes, thresholds, words
from flockcare.trends.report import ChangeAnswer, Figure, Grouping, GroupRow, Outbreak, Report

# Goes up when a line has other fields.
EDITION = 2


@dataclass(frozen=True)
class AnswerRow:
    """``on`` and ``house`` lead to the change's own page; ``figure``: the rate after over the
    rate before, None where it is refused; ``told``: whether it can be told from "the same"."""

    number: int
    called: str
    place: str
    when: str
    houses: tuple[str, ...]
    house: uuid.UUID
    on: dt.date
    mark: words.Mark
    sentence: str
    figure: Figure | None
    told: bool
    fresh: bool

    @property
    def says(self) -> bool:
        """Whether it tells something, or when it will."""
        return self.mark not in (words.NO_DIFFERENCE, words.UNTOLD)

    @property
    def fits(self) -> str:
        return words.ratio_range(self.figure.low, self.figure.high) if self.figure else ""


def row_of(change: ChangeAnswer, report: Report) -> AnswerRow:
    mark = words.mark(change)
    near = changes.rivals(change, report.changes, report.scan)
    refused = change.found is None or change.found.refusal
    return AnswerRow(
        number=change.number,
        called=change.called,
        place=change.place,
        when=change.when,
        houses=change.houses,
        house=uuid.UUID(change.house_key),
        on=change.days[0],
        mark=mark,
        sentence=words.one_line(change, near),
        figure=None if refused else change.found.ratio,
        told=mark in (words.FEWER, words.MORE),
        fresh=change.fresh,
    )


def rows_of(report: Report) -> list[AnswerRow]:
    """The newest change first."""
    return [row_of(change, report) for change in reversed(report.changes)]


# Kept for the pages that only show them


class Kept(NamedTuple):
    on: dt.date
    rows: list[AnswerRow]
    outbreaks: Sequence[Outbreak] = ()

    def lately(self, today: dt.date) -> Sequence[Outbreak]:
        """What was said of several birds at once, while it is not old."""
        return self.outbreaks if today - self.on <= NEW_WITHIN else ()

    @property
    def lead(self) -> str:
        return words.lead([(row.mark, row.called) for row in self.rows])


def keep(flock: Flock, report: Report) -> None:
    cache.set(_key(flock.pk), Kept(report.today, rows_of(report), report.outbreaks), timeout=None)


def kept(flock: Flock) -> Kept | None:
    """The lines as they were when Trends was last worked out, on ``on``; None if it never was."""
    return cache.get(_key(flock.pk))


def _key(flock_id) -> str:
    return f"trends-rows:{EDITION}:{flock_id}"


# With too little on record


class Little(NamedTuple):
    """What is on record, what is missing, when to look again."""

    there: str
    missing: str
    again: str


def little(report: Report, rows: Iterable[AnswerRow]) -> Little | None:
    """None where there is enough for an answer."""
    if any(row.figure for row in rows) or report.summary.cases >= limits.MIN_CASES_FOR_RATIO:
        return None
    step = report.steps[0].code if report.steps else "wait"
    again = words.around(report.again, report.today) if report.again else words.AFTER_FIRST_ROUND
    return Little(words.on_record(report.summary, len(report.changes)), words.MISSING[step], again)


# What to change next, and for whom


def next_change(report: Report) -> str:
    """What the records point to: a change that fewer cases followed, one that more followed, a
    house or a height with more cases; never more than that it is worth trying."""
    told = sorted(
        (change for change in report.changes if change.state in ("clear", "some_sign")),
        key=lambda change: change.adjusted_p,
    )
    fewer = [change for change in told if words.mark(change) is words.FEWER]
    if fewer:
        best, lower = fewer[0], _lower(report)
        elsewhere = [name for name in report.lived_in if name not in best.houses]
        elsewhere = elsewhere if best.houses else []
        # The lead above names it where it is the only one.
        said = [words.do_the_same(best, elsewhere, named=len(fewer) == 1), *lower]
        if lower or elsewhere:
            said += _blurred(report, () if lower else elsewhere)
        return " ".join(said)
    if told:
        return " ".join([words.undo(told[0]), *_blurred(report, told[0].houses, but=told[0])])
    if too_high := _lower(report):
        return " ".join([*too_high, *_blurred(report)])
    for grouping, worse, other in _standing_out(report):
        if grouping.key == "house":
            return " ".join([words.house_first(worse, other), *_blurred(report, (worse,))])
        if grouping.key == "wetness" and _higher(grouping, worse, other):
            return " ".join([words.keep_dry(worse, other), *_blurred(report)])
    return f"{words.NOTHING_POINTS} {words.FIGURES_FIRST}"


def _blurred(report: Report, houses: Iterable[str] = (), but: ChangeAnswer | None = None):
    """A change in ``houses``, by default in any, that is still being watched."""
    houses = set(houses)
    watched = [
        change
        for change in report.changes
        if words.mark(change) is words.TOO_EARLY
        and change is not but
        and (not houses or not change.houses or houses & set(change.houses))
    ]
    return [words.blurs(watched[-1])] if watched else []


def _lower(report: Report) -> list[str]:
    return [
        words.lower(grouping.key, worse)
        for grouping, worse, other in _standing_out(report)
        if grouping.key in ("drop", "energy") and _higher(grouping, worse, other)
    ][:1]


def for_whom(report: Report) -> list[str]:
    """The birds that most cases came from, and the group that stands out most."""
    few = 0 < report.repeats.repeated <= report.summary.birds / 2
    said = [words.most_cases(report.repeats)] if few else []
    said += [
        words.more_in(grouping.key, worse, other, higher=_higher(grouping, worse, other))
        for grouping, worse, other in _standing_out(report)
        if grouping.key not in words.TIMES
    ][:1]
    return said or [words.NOBODY_STANDS_OUT]


def _standing_out(report: Report) -> Iterable[tuple[Grouping, str, str]]:
    """Ways of sorting whose surest difference can be told: the group with more cases, the other."""
    for grouping in report.groupings:
        rows = [row for row in grouping.rows if row.adjusted_p <= limits.SIGN_LEVEL]
        if rows:
            row: GroupRow = min(rows, key=lambda row: row.adjusted_p)
            pair = (row.name, grouping.base)
            yield grouping, *(pair if row.ratio.value > 1 else reversed(pair))


def _higher(grouping: Grouping, one: str, other: str) -> bool:
    names = [row.name for row in grouping.rows]
    return names.index(one) > names.index(other)


def new_answer(flock: Flock, today: dt.date) -> AnswerRow | None:
    """A change whose answer has just become possible, by what is kept."""
    found = kept(flock)
    if found is None or (today - found.on).days > thresholds.FRESH_DAYS:
        return None
    return next((row for row in found.rows if row.fresh), None)
