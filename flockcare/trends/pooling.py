"""Puts the summaries of several flocks together, one kind of change at a time."""

from __future__ import annotations

import json
import math
import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import median
from typing import NamedTuple

from flockcare.analysis import limits
from flockcare.analysis.rates import ExactRatio, PooledRatio, exact_ratio, holm, pooled_ratio
from flockcare.trends.summary import BANDS, FORMAT, KINDS, VERSION, WEIGHTS, sum_of
from flockcare.trends.words import count

LARGEST_FILE = 1_000_000
# Rounds this many times as far apart on one side see another share of the sores that come and go.
OTHER_ROUNDS = 1.5
# More than any flock is watched, so that no figure leaves the range of what can be worked out.
_MOST = 10_000_000

CAUTIONS = (
    "Flocks that chose to share are not a random sample: who saw a change help is likelier to "
    "share. Nothing here says that a change was the cause.",
    "Counted plainly: cases of one bird go together, so the true ranges are wider; sores that came "
    "and went between two rounds are not counted.",
)


class Unusable(ValueError):
    """Why a file cannot be pooled, in words for whoever named it."""


class Stratum(NamedTuple):
    """Birds of some weight classes, watched before and after the change."""

    weight: str
    cases_before: int
    cases_across: int
    cases_after: int
    foot_days_before: int
    foot_days_after: int


class Change(NamedTuple):
    kind: str
    quarter: str
    period_days: int
    other_changes: int
    rounds_before_days: int | None
    rounds_after_days: int | None
    spread: float | None
    strata: tuple[Stratum, ...]

    @property
    def watched(self) -> int:
        """Foot-days on the side that was watched less."""
        return min(
            sum(one.foot_days_before for one in self.strata),
            sum(one.foot_days_after for one in self.strata),
        )

    @property
    def has_other_rounds(self) -> bool:
        both = (self.rounds_before_days, self.rounds_after_days)
        return all(both) and max(both) >= OTHER_ROUNDS * min(both)


@dataclass(frozen=True)
class Summary:
    flock: str
    birds: str
    changes: tuple[Change, ...]


# Reading


def read_all(paths: Iterable[Path]) -> tuple[list[Summary], list[str]]:
    """The usable summaries, and one line for each file that is not."""
    found: dict[Path, Summary] = {}
    refused = []
    for path in paths:
        try:
            summary = read(path)
            for other, known in found.items():
                if summary.flock == known.flock:
                    raise Unusable(f"the same flock as {other}")
                if summary.changes and summary.changes == known.changes:
                    raise Unusable(f"the same figures as {other}: the same flock, it seems")
            found[path] = summary
        except Unusable as error:
            refused.append(f"{path}: left out, {error}.")
    return list(found.values()), refused


def read(path: Path) -> Summary:
    """One file. Raises Unusable."""
    try:
        with path.open("rb") as file:
            raw = file.read(LARGEST_FILE + 1)
    except OSError as error:
        raise Unusable(f"it cannot be read ({error.strerror})") from error
    if len(raw) > LARGEST_FILE:
        raise Unusable("it is too large for a summary")
    try:
        said = json.loads(raw)
    except (ValueError, RecursionError) as error:
        raise Unusable("it is not a summary, or it is damaged") from error
    if not isinstance(said, dict) or said.get("format") != FORMAT:
        raise Unusable("it is not a summary of a flock")
    if said.get("version") != VERSION:
        raise Unusable("it was made by another version of Flockcare, which this one cannot read")
    try:
        if said["sum"] != sum_of(said):
            raise Unusable("it was damaged or changed since it was made")
        return _summary(said)
    except (KeyError, TypeError, ValueError) as error:
        if isinstance(error, Unusable):
            raise
        raise Unusable("it is damaged: something in it is missing or is not a count") from error


def _summary(said: dict) -> Summary:
    return Summary(
        flock=_matching(said["flock"], r"[0-9a-f]{32}"),
        birds=_among(said["birds"], BANDS.values()),
        changes=tuple(_change(one) for one in _list(said["changes"])),
    )


def _change(said: dict) -> Change:
    return Change(
        kind=_among(said["kind"], KINDS),
        quarter=_matching(said["quarter"], r"\d{4}-Q[1-4]"),
        period_days=_count(said["period_days"]),
        other_changes=_count(said["other_changes"]),
        rounds_before_days=_or_none(_count, said["rounds_before_days"]),
        rounds_after_days=_or_none(_count, said["rounds_after_days"]),
        spread=_or_none(_figure, said["spread"]),
        strata=tuple(
            Stratum(_weights(one["weight"]), *(_count(one[name]) for name in Stratum._fields[1:]))
            for one in _list(said["strata"])
        ),
    )


def _weights(value) -> str:
    for one in _matching(value, r".+").split("+"):
        _among(one, WEIGHTS)
    return value


def _matching(value, pattern: str) -> str:
    if not re.fullmatch(pattern, value):
        raise ValueError(value)
    return value


def _among(value, known: Iterable[str]) -> str:
    if value not in list(known):
        raise ValueError(value)
    return value


def _list(value) -> list:
    if not isinstance(value, list):
        raise TypeError(value)
    return value


def _count(value) -> int:
    if type(value) is not int or not 0 <= value <= _MOST:
        raise ValueError(value)
    return value


def _figure(value) -> float:
    if type(value) not in (int, float) or not 0 <= value <= _MOST:
        raise ValueError(value)
    return float(value)


def _or_none(read_as, value):
    return None if value is None else read_as(value)


# Pooling


@dataclass(frozen=True)
class Pooled:
    """One kind of change over all flocks that have one, a stratum for each flock and weight class.

    ``all_before``, ``all_after``: with the cases that may have begun on either side of a change
    counted before it, or after; the same where there are none. ``between``: whether the flocks
    agree, one stratum each.
    """

    kind: str
    changes: tuple[Change, ...]
    left_aside: int
    all_before: ExactRatio
    all_after: ExactRatio
    between: PooledRatio

    def total(self, name: str) -> int:
        return sum(getattr(one, name) for change in self.changes for one in change.strata)

    @property
    def cases(self) -> int:
        return sum(map(self.total, ("cases_before", "cases_across", "cases_after")))

    @property
    def p(self) -> float:
        """The larger of both, for what the cases across leave open."""
        return max(self.all_before.p, self.all_after.p)

    @property
    def told(self) -> bool:
        """Whether so many cases could have told anything."""
        return self.cases >= limits.MIN_CASES_FOR_RATIO and all(
            min(one.smallest_p_excess, one.smallest_p_deficit) <= limits.SIGN_LEVEL
            for one in (self.all_before, self.all_after)
        )


def pool(summaries: Sequence[Summary]) -> list[Pooled]:
    """By kind of change, in the order of KINDS.

    Of several changes of one kind in one flock the one watched longest counts, whatever came of it:
    their days may be the same days.
    """
    pooled = []
    for kind in KINDS:
        own = [[one for one in flock.changes if one.kind == kind] for flock in summaries]
        longest = tuple(max(one, key=lambda change: change.watched) for one in own if one)
        if longest:
            pooled.append(_pooled(kind, longest, sum(map(len, own)) - len(longest)))
    return pooled


def _pooled(kind: str, changes: tuple[Change, ...], left_aside: int) -> Pooled:
    strata = [one for change in changes for one in change.strata]
    return Pooled(
        kind=kind,
        changes=changes,
        left_aside=left_aside,
        all_before=exact_ratio(_row(one, before=one.cases_across) for one in strata),
        all_after=exact_ratio(_row(one, after=one.cases_across) for one in strata),
        between=pooled_ratio(map(_flock_row, changes)),
    )


def _row(one: Stratum, *, before: int = 0, after: int = 0) -> tuple[int, int, int, int]:
    return (
        one.cases_after + after,
        one.foot_days_after,
        one.cases_before + before,
        one.foot_days_before,
    )


def _flock_row(change: Change) -> tuple[int, ...]:
    """Without the cases across, which say nothing of how flocks differ."""
    return tuple(map(sum, zip(*map(_row, change.strata), strict=True)))


# Words


def spoken(summaries: Sequence[Summary], pooled: Sequence[Pooled]) -> Iterable[str]:
    """All that is said of them, a line each."""
    sizes = Counter(one.birds for one in summaries)
    bands = ", ".join(f"{band} in {sizes[band]}" for band in BANDS.values() if sizes[band])
    yield f"{count(len(summaries), 'flock')}. Birds: {bands}."
    told = [one for one in pooled if one.told]
    adjusted = dict(zip(map(id, told), holm([one.p for one in told]), strict=True))
    for one in pooled:
        yield ""
        yield from _said(one, adjusted.get(id(one)), len(told))
    if not pooled:
        yield "No change with enough birds watched before and after it."
    yield ""
    yield from CAUTIONS


def _said(one: Pooled, adjusted: float | None, compared: int) -> Iterable[str]:
    across = one.total("cases_across")
    yield (
        f"{one.kind.capitalize()}, {count(len(one.changes), 'flock')}: "
        f"{count(one.total('cases_before'), 'case')} in "
        f"{one.total('foot_days_before'):,} foot-days before, {one.total('cases_after')} in "
        f"{one.total('foot_days_after'):,} after"
        + (f", {across} on either side of the change." if across else ".")
    )
    if not one.told:
        yield "  Too few cases: even the most lopsided split could be chance."
        return
    if across > limits.MAX_STRADDLING_SHARE * one.cases:
        yield "  Too many cases may have begun on either side: checks were too far apart."
        return
    p = f"p = {_p(one.p)}"
    if compared > 1:
        p += f", {_p(adjusted)} allowing for {compared} kinds of change (Holm)"
    if across:
        yield f"  Rate after over before: {_ratio(one.all_before)} with those put before,"
        yield f"  {_ratio(one.all_after)} with those put after; {p}."
    else:
        yield f"  Rate after over before: {_ratio(one.all_before)}; {p}."
    yield f"  {_agreement(one)}"
    yield from map("  {}".format, _doubts(one))


def _agreement(one: Pooled) -> str:
    if len(one.changes) < 2:
        return "One flock only: there is nothing to pool yet."
    if math.isnan(one.between.homogeneity_p):
        return "Whether the flocks agree cannot be told: too few cases in them."
    strata = len(one.changes) - len(one.between.dropped)
    test = (
        f"(chi² = {one.between.homogeneity_chi2:.2f} on {strata - 1}, "
        f"p = {_p(one.between.homogeneity_p)})"
    )
    if one.between.homogeneity_p <= limits.SIGN_LEVEL:
        return f"The flocks differ by more than chance {test}: one figure does not fit them all."
    return f"The flocks differ by no more than chance explains {test}."


def _doubts(one: Pooled) -> Iterable[str]:
    flocks = len(one.changes)
    others = sum(change.other_changes > 0 for change in one.changes)
    if others:
        yield f"In {others} of {flocks} something else was changed within the same period."
    rounds = sum(change.has_other_rounds for change in one.changes)
    if rounds:
        yield f"In {rounds} of {flocks} rounds became closer or farther apart, which shifts counts."
    spreads = [change.spread for change in one.changes if change.spread is not None]
    if spreads and median(spreads) > limits.DISPERSION_LIMIT:
        yield f"Cases gather in some birds ({median(spreads):.1f} times as much as by chance)."
    if one.left_aside:
        yield (
            f"{count(one.left_aside, 'further change')} of these flocks left aside: one a flock "
            "counts, the one watched longest."
        )


def _ratio(found: ExactRatio) -> str:
    return f"{_figures(found.ratio)} ({_figures(found.low)} to {_figures(found.high)})"


def _figures(value: float) -> str:
    return "without limit" if math.isinf(value) else f"{value:.2f}"


def _p(value: float) -> str:
    return "less than 0.001" if value < 0.001 else f"{value:.3f}"
