"""Better, same or worse over a whole case, from all that was measured in it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

from flockcare.care import sizes
from flockcare.care.sizes import READING_ERROR_MM, Size
from flockcare.care.standing.answer import Course, Trend
from flockcare.care.standing.records import Look, Records
from flockcare.feet.cases import Case

AREA, WIDTH, SCORE = "mm²", "mm", "score"


def sizes_of(foot: str, records: Records, case: Case, today: date) -> tuple[Size, ...]:
    """What was measured of this case: outlines in photos, the largest of a day, and scab widths."""
    clear = case.episode.last_clear_before
    since = clear + timedelta(1) if clear else case.episode.first_affected
    outlines: dict[date, tuple[float, float]] = {}
    for one in records.outlines:
        if one.foot == foot and one.on >= since:
            outlines[one.on] = max(outlines.get(one.on, (0.0, 0.0)), (one.area, one.error))
    widths = {
        look.on: (look.feet[foot].scab_mm, READING_ERROR_MM)
        for look in reversed(records.looks)
        if look.on >= since and foot in look.feet and look.feet[foot].scab_mm
    }
    return tuple(
        Size(*size, unit, (today - on).days)
        for unit, measured in ((AREA, outlines), (WIDTH, widths))
        for on, size in sorted(measured.items())
    )


def trend_of(measured: Sequence[Size], scores: Sequence[Size]) -> Trend:
    """By all areas of the case, else by widths of the scab, else by the scores.

    Where one way of measuring says worse, that is the answer: it is what the advice rests on too.
    """
    known = [_trend(one) for one in reversed(sizes.series(measured)) if len(one) > 1]
    worse = [one for one in known if one.course is Course.WORSE]
    if worse or known:
        return (worse or known)[0]
    return _trend(tuple(scores)) if len(scores) > 1 else Trend()


def _trend(readings: tuple[Size, ...]) -> Trend:
    """``readings`` of one unit, the newest first."""
    course, against = Course.SAME, sizes.peak(readings)
    if sizes.is_worse(readings):
        course, against = Course.WORSE, sizes.lowest_since_peak(readings)
    elif sizes.is_better(readings):
        course = Course.BETTER
    peak = sizes.peak(readings)
    return Trend(course, readings[0].unit, readings[-1], peak, readings[0], against)


def scores_of(foot: str, looks: Sequence[Look], case: Case, today: date) -> list[Size]:
    return [
        Size(look.feet[foot].score, 0.0, SCORE, (today - look.on).days)
        for look in looks
        if foot in look.feet and look.on >= case.first.on and look.feet[foot].affected
    ]
