"""From the records to everything the page says: asks ``analysis`` and words the answers."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import replace

import numpy as np

from flockcare.analysis import limits
from flockcare.analysis.onset import days_until
from flockcare.drawing.dates import add_months
from flockcare.housing.models import SPELLS
from flockcare.trends import (
    changes,
    groups,
    healing,
    next_steps,
    outbreak,
    scan,
    thresholds,
    words,
)
from flockcare.trends.records import FEET, STILL, EventRow, Records
from flockcare.trends.report import (
    BirdCases,
    CaseLine,
    ChangeAnswer,
    EventLine,
    Month,
    Refusal,
    Repeats,
    Report,
    ScanAnswer,
    Summary,
    Threshold,
)
from flockcare.trends.watch import Watch


def build(records: Records, *, flock: str, today: dt.date) -> Report:
    """Everything the page says; the same for the same records, since simulations are seeded."""
    watch = Watch.of(records)
    told = changes.answers(watch, today.toordinal())
    scanned = scan.answer(watch, told)
    told = changes.weighed(told, scanned)
    summary = _summary(watch)
    lately = outbreak.outbreaks(watch, today)
    moved = tuple(change for change in told if change.state in ("clear", "some_sign"))
    return Report(
        flock=flock,
        today=today,
        headline=(*(one.sentence for one in lately), *_headline(watch, summary, told, scanned)),
        summary=summary,
        months=_months(watch, today),
        changes=told,
        scan=scanned,
        groupings=groups.groupings(watch, moved) if records.birds else (),
        apart=words.apart(len(records.houses), [change.title for change in moved]),
        repeats=_repeats(watch),
        healing=healing.answer(watch),
        steps=next_steps.steps(watch, told),
        cases=_case_lines(watch),
        thresholds=_thresholds(),
        lived_in=_lived_in(records, today),
        again=_again(watch, today),
        events=tuple(_event_line(watch, event, told) for event in records.events),
        outbreaks=lately,
    )


def _event_line(watch: Watch, event: EventRow, told: tuple[ChangeAnswer, ...]) -> EventLine:
    house = "" if event.house is None else watch.records.houses[event.house].name
    on = dt.date.fromordinal(event.day)
    spell = event.kind in SPELLS
    numbers = (
        one.number
        for one in told
        if on in one.days and event.what in ", ".join(one.what) and house in (*one.houses, "")
    )
    return EventLine(
        kind=event.kind,
        what=event.what,
        house=house,
        on=on,
        until=dt.date.fromordinal(int(event.until)) if spell and event.until < STILL else None,
        spell=spell,
        change=next(numbers, None) if event.judged else None,
    )


def _lived_in(records: Records, today: dt.date) -> tuple[str, ...]:
    day = today.toordinal()
    here = {stay.house for stay in records.stays if stay.since <= day < stay.until}
    return tuple(records.houses[house].name for house in sorted(here))


def _again(watch: Watch, today: dt.date) -> dt.date | None:
    """When, at the rate so far, there may be the fewest cases that before and after need; None
    before the first look."""
    days = watch.records.looks.day
    if not days.size:
        return None
    cases = int(watch.pairs.affected.sum())
    span = today.toordinal() - int(days.min()) + 1
    wait = max(0, limits.MIN_CASES_FOR_RATIO - cases) * span / max(cases, 0.5)
    soonest, latest = thresholds.SOONEST_AGAIN_DAYS, thresholds.WINDOW_DAYS
    return today + dt.timedelta(round(min(latest, max(soonest, wait))))


def _day(ordinal: int | None) -> dt.date | None:
    return None if ordinal is None else dt.date.fromordinal(ordinal)


def _summary(watch: Watch) -> Summary:
    looks, pairs = watch.records.looks, watch.pairs
    foot_days, cases = float(watch.days.sum()), int(pairs.affected.sum())
    birds = int(np.unique(looks.bird).size)
    rate = refusal = None
    if foot_days < limits.MIN_FOOT_DAYS:
        facts = {"cases": cases, "foot_days": foot_days}
        refusal = Refusal("too_little_time", words.too_little_time(**facts), facts)
    else:
        rate = groups.rate_of(watch, np.ones(watch.bird.size, bool))
    prevalent = int((~watch.episodes.incident).sum())
    return Summary(
        birds=birds,
        looks=int(looks.day.size),
        first_day=_day(int(looks.day.min())) if looks.day.size else None,
        last_day=_day(int(looks.day.max())) if looks.day.size else None,
        foot_days=foot_days,
        cases=cases,
        prevalent=prevalent,
        dropped_days=pairs.dropped_days,
        dropped_cases=pairs.dropped_cases,
        both_ways=_called_both_ways(looks),
        gap_limit=float(limits.GAP_LIMIT_DAYS),
        checks_between=watch.between,
        rate=rate,
        refusal=refusal,
        sentences=tuple(_summary_words(watch, rate, refusal, foot_days, cases, prevalent)),
    )


def _summary_words(watch, rate, refusal, foot_days, cases, prevalent):
    if not watch.records.looks.day.size:
        yield words.NOT_CHECKED
        return
    shown = rate.value if rate and cases >= limits.MIN_CASES_FOR_RATE else None
    yield (
        refusal.reason
        if refusal
        else words.rate_words(cases, foot_days, rate.low, rate.high, shown)
    )
    if prevalent:
        yield words.sore_at_first(prevalent)
    if watch.pairs.dropped_days:
        yield words.dropped(watch.pairs.dropped_days, watch.pairs.dropped_cases)
    if watch.between:
        yield words.between(watch.between)


def _called_both_ways(looks) -> int:
    """Feet called both clear and sore on one day."""
    key = (looks.bird * 2 + looks.foot) * 10_000_000 + looks.day
    sore, clear = np.unique(key[looks.affected]), key[~looks.affected]
    if not sore.size:
        return 0
    at = np.minimum(np.searchsorted(sore, clear), sore.size - 1)
    return int(np.unique(clear[sore[at] == clear]).size)


def _months(watch: Watch, today: dt.date) -> tuple[Month, ...]:
    """From the month of the first look to this one, empty ones too."""
    days = watch.records.looks.day
    if not days.size:
        return ()
    first = dt.date.fromordinal(int(days.min())).replace(day=1)
    last = max(today, dt.date.fromordinal(int(days.max())))
    count = (last.year - first.year) * 12 + last.month - first.month + 1
    starts = [add_months(first, number) for number in range(count + 1)]
    # A day of looks belongs to the interval that it ends, so months are cut after their last day.
    edges = np.array([start.toordinal() - 1 for start in starts])
    pairs = watch.pairs
    spread = pairs.affected / watch.width
    cases = np.diff(days_until(edges, pairs.left, pairs.right, spread))
    watched = np.diff(
        days_until(edges, pairs.left, pairs.right, np.where(pairs.affected, 0.5, 1.0))
    )
    found = np.diff(np.searchsorted(np.sort(pairs.right[pairs.affected]), edges, side="right"))
    rows = zip(starts, cases.tolist(), found.tolist(), watched.tolist(), strict=False)
    return tuple(
        Month(start, max(0.0, round(spread, 6)), int(seen), max(0.0, round(time, 3)))
        for start, spread, seen, time in rows
    )


def _case_lines(watch: Watch) -> tuple[CaseLine, ...]:
    records = watch.records
    return tuple(
        CaseLine(
            bird=records.birds[case.bird].key,
            name=records.birds[case.bird].name,
            foot=FEET[case.foot],
            clear_on=_day(case.clear_on),
            found_on=_day(case.found_on),
            cleared_on=_day(case.cleared_on),
            score=case.score,
            house="" if case.house is None else records.houses[case.house].name,
            check=case.check,
            counted=case.counted,
        )
        for case in watch.cases
    )


# Birds with repeated cases


def _repeats(watch: Watch) -> Repeats:
    size = len(watch.records.birds)
    cases = np.bincount(watch.bird, watch.pairs.affected, size).astype(int)
    days = np.bincount(watch.bird, watch.days, size)
    numbers: dict[int, list[int]] = {}
    for number, bird in enumerate(watch.bird[watch.case_pairs].tolist()):
        numbers.setdefault(bird, []).append(number)
    repeated = np.flatnonzero(cases >= thresholds.REPEAT_CASES)
    rest = ~np.isin(watch.bird, repeated)
    rate = None
    if repeated.size and watch.days[rest].sum() >= limits.MIN_FOOT_DAYS:
        rate = groups.rate_of(watch, rest)
    both, every = _both_feet(watch)
    order = sorted(np.flatnonzero(cases), key=lambda bird: (-cases[bird], bird))
    found = Repeats(
        birds=tuple(
            BirdCases(
                watch.records.birds[bird].key,
                watch.records.birds[bird].name,
                int(cases[bird]),
                float(days[bird]),
                tuple(numbers[bird]),
            )
            for bird in order
        ),
        repeated=int(repeated.size),
        repeated_cases=int(cases[repeated].sum()),
        cases=int(cases.sum()),
        both_feet=both,
        all_cases=every,
        spread=groups.spread_of(watch, np.ones(watch.bird.size, bool)),
        rate_without=rate,
        foot_days_without=float(watch.days[rest].sum()),
        cases_without=int(watch.pairs.affected[rest].sum()),
        sentences=(),
    )
    return _with_words(found)


def _with_words(found: Repeats) -> Repeats:
    said = []
    if not found.cases:
        said.append(words.NO_CASE)
    elif not found.repeated:
        said.append(words.NONE_REPEATED)
    else:
        said.append(words.repeated(found))
        if found.rate_without:
            rate = found.rate_without
            shown = rate.value if found.cases_without >= limits.MIN_CASES_FOR_RATE else None
            without = words.rate_words(
                found.cases_without, found.foot_days_without, rate.low, rate.high, shown
            )
            said.append(words.without_repeated(without))
    if found.spread > limits.DISPERSION_LIMIT:
        said.append(words.GO_TOGETHER)
    if found.all_cases:
        said.append(words.both_feet(found.both_feet, found.all_cases))
    return replace(found, sentences=tuple(said))


def _both_feet(watch: Watch) -> tuple[int, int]:
    """Cases during which the other foot was sore too, and all cases; those at first sight too."""
    found = watch.episodes
    end = np.where(found.first_clear_after >= 0, found.first_clear_after, found.last_affected + 1)
    by_unit: dict[int, list[tuple[int, int]]] = {}
    spans = zip(found.unit.tolist(), found.first_affected.tolist(), end.tolist(), strict=True)
    for unit, start, stop in spans:
        by_unit.setdefault(unit, []).append((start, stop))
    both = sum(
        any(start < until and since < stop for since, until in by_unit.get(unit ^ 1, ()))
        for unit, cases in by_unit.items()
        for start, stop in cases
    )
    return both, int(found.unit.size)


# The first sentence, and the thresholds


def _headline(
    watch: Watch, summary: Summary, told: tuple[ChangeAnswer, ...], scanned: ScanAnswer
) -> tuple[str, ...]:
    if not summary.looks:
        return (words.NOT_CHECKED,)
    standing = [change for change in told if change.state in ("clear", "some_sign")]
    said = [words.only_cases(one) for one in watch.only_cases] + [summary.sentences[0]]
    seasonal = [change for change in told if change.state == "season"]
    if standing or seasonal:
        named = {change.number for change in seasonal}
        for change in sorted(standing, key=lambda one: one.adjusted_p):
            if change.number not in named:
                near = changes.rivals(change, told, scanned)
                said.append(words.moved_after(change, near))
                named |= {change.number, *(one.number for one in near)}
        said += [words.in_season(change) for change in seasonal]
        rest = [change for change in told if change.number not in named]
        said += words.rest([words.mark(change) for change in rest])
    elif told:
        said += words.rest([words.mark(change) for change in told], "change")
    else:
        said.append(words.NO_CHANGE)
    if scanned.told and not any(change.number in scanned.inside for change in standing):
        said.append(scanned.sentences[0])
    return tuple(said)


def _thresholds() -> tuple[Threshold, ...]:
    return tuple(
        Threshold(name, _value_words(getattr(module, name)), meaning)
        for module, explained in (
            (limits, thresholds.LIMITS_EXPLAINED),
            (thresholds, thresholds.EXPLAINED),
        )
        for name, meaning in explained.items()
    )


def _value_words(value) -> str:
    if isinstance(value, tuple):
        return ", ".join(map(_value_words, value))
    if isinstance(value, float) and not value.is_integer() and math.isclose(value, 1 / 3):
        return "1/3"
    return f"{value:g}"
