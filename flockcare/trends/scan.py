"""When did the rate itself change, and which logged changes lie there?"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

from flockcare.analysis import limits
from flockcare.analysis.change import ChangeScan, match_changes, scan_pairs
from flockcare.analysis.episodes import PairArrays
from flockcare.analysis.healing import days_lasting
from flockcare.analysis.permutation import pairs_by_bird, scan_p_value
from flockcare.trends import reasons, words
from flockcare.trends.report import ChangeAnswer, ScanAnswer, Window
from flockcare.trends.watch import Watch

PERMUTATIONS = 1999


def answer(watch: Watch, changes: tuple[ChangeAnswer, ...]) -> ScanAnswer:
    found = _located(watch)
    told = found.refusal is None and found.p <= limits.SIGN_LEVEL
    inside: tuple[ChangeAnswer, ...] = ()
    if found.refusal is None:
        first, last = map(
            dt.date.fromordinal, (found.first_plausible_day, found.last_plausible_day)
        )
        inside = tuple(c for c in changes if any(first <= day <= last for day in c.days))
    days = {day.toordinal() for change in changes for day in change.days}
    pairs = watch.pairs
    gaps = pairs_by_bird(watch.bird, pairs.left, pairs.right, pairs.affected)
    matches = match_changes(PairArrays(*gaps), days, neighbours_days=limits.MATCH_WINDOW_DAYS)
    refusal = reasons.told(found.refusal, reasons.SCAN)
    windows_refusal = reasons.told(matches.refusal, reasons.MATCHES)

    def day(ordinal: int | None) -> dt.date | None:
        return None if ordinal is None else dt.date.fromordinal(ordinal)

    return ScanAnswer(
        day=day(found.day),
        first=day(found.first_plausible_day),
        last=day(found.last_plausible_day),
        rate_before=found.rate_before,
        rate_after=found.rate_after,
        p=found.p,
        told=told,
        inside=tuple(change.number for change in inside),
        windows=tuple(_window(one, changes) for one in matches.windows),
        window_days=limits.MATCH_WINDOW_DAYS,
        windows_share=matches.share,
        windows_refusal=windows_refusal,
        refusal=refusal,
        sentences=(
            *_located_words(found, refusal, inside if told and changes else None),
            *_windows_words(matches, windows_refusal, bool(changes)),
        ),
    )


def _located(watch: Watch) -> ChangeScan:
    """The likeliest day, on gaps cut to the days of which a sore would have lasted to the look;
    p by permuting each bird's cases, which `scan_pairs` by itself does not do."""
    pairs = watch.pairs
    left = pairs.right - days_lasting(watch.width, watch.curve)
    found = scan_pairs(replace(pairs, left=left), simulations=0)
    if found.refusal:
        return found
    columns = (watch.bird, pairs.left, pairs.right, pairs.affected)
    return replace(found, p=scan_p_value(*columns, watch.curve, PERMUTATIONS))


def _window(one, changes) -> Window:
    return Window(
        changes=tuple(
            change.number
            for change in changes
            if any(day.toordinal() in one.change_days for day in change.days)
        ),
        cases=one.cases_inside,
        share=one.share,
        p=one.p,
        adjusted_p=one.adjusted_p,
    )


def _located_words(found: ChangeScan, refusal, inside):
    """``inside``: changes that fall there; None where it is not to be said which."""
    if refusal:
        yield refusal.reason
        return
    yield words.scan_sentence(
        found.first_plausible_day,
        found.last_plausible_day,
        found.rate_after > found.rate_before,
        found.p,
        found.p <= limits.SIGN_LEVEL,
    )
    if inside is not None:
        yield words.inside_sentence([(change.number, change.houses) for change in inside])


def _windows_words(matches, refusal, logged: bool):
    if refusal:
        if logged:
            yield refusal.reason
        return
    yield words.windows_sentence(
        limits.MATCH_WINDOW_DAYS, matches.share, matches.cases_inside, matches.cases
    )
    crowded = [one for one in matches.windows if one.adjusted_p <= limits.SIGN_LEVEL]
    for one in crowded:
        yield words.crowded(one.change_days[0], one.cases_inside, one.adjusted_p)
    if not crowded:
        yield words.NONE_CROWDED
