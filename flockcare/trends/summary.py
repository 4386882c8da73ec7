"""A flock's cases around each change as plain counts, to be pooled with those of other flocks.

README.md beside this file says what stands in it. No name, place, day, note or photo does: a kind
of change, its quarter of the year, and counts over at least FEWEST_BIRDS birds.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import math
from collections.abc import Iterable

import numpy as np
from django.utils.crypto import salted_hmac

from flockcare.analysis.comparison import Comparison
from flockcare.housing.models import ChangeKind
from flockcare.people.models import Flock
from flockcare.trends import changes
from flockcare.trends.changes import Event, Stretch
from flockcare.trends.groups import CLASSES, by_weight_class
from flockcare.trends.records import Records, read, told_changes
from flockcare.trends.watch import UNKNOWN, Watch

FORMAT, VERSION = "flockcare summary", 1
FEWEST_BIRDS = 5
KINDS = tuple(kind.value for kind in ChangeKind if kind != ChangeKind.FOUND)
WEIGHTS = (*CLASSES, "not known")
BANDS = {9: "under 10", 19: "10-19", 39: "20-39", 60: "40-60", math.inf: "over 60"}

_KIND_OF = {ChangeKind(value).label: value for value in KINDS}


def summary_of(flock: Flock) -> str:
    """The file, as text."""
    # The same for each summary of this flock; who lacks the installation's key cannot work it
    # out, not even from the flock's own key.
    number = salted_hmac(__name__, flock.pk.hex, algorithm="sha256").hexdigest()[:32]
    return as_text(counted(read(flock, told_changes(flock)), number))


def counted(records: Records, number: str) -> dict:
    """What stands in the file, but for its sum. ``number``: of the flock."""
    return {
        "format": FORMAT,
        "version": VERSION,
        "flock": number,
        "birds": _band(sum(bird.present for bird in records.birds)),
        "changes": list(_changes(Watch.of(records))),
    }


def as_text(said: dict) -> str:
    """With its sum, by which a damaged file is known."""
    return json.dumps({**said, "sum": sum_of(said)}, indent=1) + "\n"


def sum_of(said: dict) -> str:
    """SHA-256 of all but the sum itself, keys sorted and without spaces."""
    rest = {key: value for key, value in said.items() if key != "sum"}
    text = json.dumps(rest, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def _band(birds: int) -> str:
    return next(band for most, band in BANDS.items() if birds <= most)


def _changes(watch: Watch) -> Iterable[dict]:
    """Always over the usual period: one that a keeper chose may be the one that fitted best."""
    events = changes.events(watch.records.changes)
    weights = by_weight_class(watch).code
    period = Stretch()
    for event in events:
        chosen = changes.touched(watch, event.houses, event.first)
        chosen &= changes.within(watch, event, period)
        whole = changes.compare(watch, chosen, event.first)
        seen = whole.watched
        if seen.birds_both < FEWEST_BIRDS or not (seen.days_before and seen.days_after):
            continue
        yield {
            "kind": _kind(event),
            "quarter": _quarter(dt.date.fromordinal(event.first)),
            "period_days": period.window,
            "other_changes": _others(event, events, period.window),
            "rounds_before_days": _whole(seen.gap_before),
            "rounds_after_days": _whole(seen.gap_after),
            "spread": None if math.isnan(whole.dispersion) else round(whole.dispersion, 1),
            "strata": [
                {
                    "weight": "+".join(WEIGHTS[one] for one in group),
                    **_counts(changes.compare(watch, own, event.first)),
                }
                for group, own in _strata(watch, chosen, weights)
            ],
        }


def _kind(event: Event) -> str:
    kinds = {_KIND_OF.get(row.kind, ChangeKind.OTHER.value) for row in event.rows}
    return kinds.pop() if len(kinds) == 1 else ChangeKind.SEVERAL.value


def _quarter(day: dt.date) -> str:
    return f"{day.year}-Q{(day.month + 2) // 3}"


def _others(event: Event, events: list[Event], days: int) -> int:
    return sum(
        one is not event and one.last > event.first - days and one.first < event.last + days
        for one in events
    )


def _whole(days: float) -> int | None:
    return None if math.isnan(days) else round(days)


def _counts(found: Comparison) -> dict:
    seen = found.watched
    return {
        "cases_before": seen.cases_before,
        "cases_across": seen.straddling,
        "cases_after": seen.cases_after,
        "foot_days_before": round(seen.days_before),
        "foot_days_after": round(seen.days_after),
    }


def _strata(watch: Watch, chosen: np.ndarray, weights: np.ndarray):
    """Weight classes (places in WEIGHTS) and the mask of their pairs, the small ones joined with
    the next until FEWEST_BIRDS birds are in each."""
    code = np.where(weights == UNKNOWN, len(CLASSES), weights)
    groups = [[one] for one in np.unique(code[chosen]).tolist()]

    def mask(group: list[int]) -> np.ndarray:
        return chosen & np.isin(code, group)

    def birds(group: list[int]) -> int:
        return np.unique(watch.bird[mask(group)]).size

    while len(groups) > 1:
        at = min(range(len(groups)), key=lambda one: birds(groups[one]))
        if birds(groups[at]) >= FEWEST_BIRDS:
            break
        beside = at - 1 if at else 1
        groups[min(at, beside) : max(at, beside) + 1] = [
            sorted(groups[at] + groups[beside]),
        ]
    return [(group, mask(group)) for group in groups]
