"""Prints what the page Trends says about the demo flock's changes, over many seeds: see its README.

python -m tests.demo.demo_verdicts [lives]
"""

import datetime as dt
import os
import sys
from collections import Counter

import numpy as np

from flockcare.demo.cast import CART_SHED, CHANGES, FEED_DAYS, HAPPENED, HENS, ORCHARD
from flockcare.demo.model import FEET, MOVES, SEED, live

TODAY = dt.date(2026, 11, 25)
FIRST_SEED = 100
HOUSES = (CART_SHED, ORCHARD)
TOLD = ("clear", "some_sign", "hint")
NAMES = {
    0: "draining",
    -190: "new roost bar",
    FEED_DAYS: "other feed",
}  # by days after the draining


def records_of(history):
    """The looks, stays and housing changes of one life, as the page's calculations take them."""
    from flockcare.trends.records import (
        ALWAYS,
        STILL,
        WETNESS,
        ChangeRow,
        EventRow,
        StayRow,
        WetnessRow,
        lasting,
    )
    from tests.trends.flocks import DAY_0, birds_of, flock

    rows = {}
    for look in history.looks:
        number = HENS.index(look.hen)
        for side, foot in enumerate(FEET):
            score = look.sores[foot].score(look.on) if foot in look.sores else 0
            rows.setdefault((number, side), []).append((look.on.toordinal() - DAY_0, score))
    moved = history.moved.toordinal()
    stays = []
    for number, hen in enumerate(HENS):
        house = HOUSES.index(hen.house)
        if hen.name == MOVES:
            stays += [StayRow(number, house, ALWAYS, moved), StayRow(number, 1, moved, STILL)]
        else:
            stays.append(StayRow(number, house, ALWAYS, STILL))
    records = flock(rows, houses=HOUSES, stays=stays, birds=birds_of(len(HENS)))
    drained = history.drained.toordinal()
    records.changes[:] = [
        ChangeRow(HOUSES.index(one.house), drained + one.days, (one.feature,), "")
        for one in CHANGES
    ]
    happened = []
    for one in HAPPENED:
        on = drained + one.days
        house = HOUSES.index(one.house) if one.house else None
        happened.append(EventRow(house, on, on + (one.lasted or 0), one.kind, one.kind))
    records.events[:], made = lasting(happened, len(HOUSES))
    records.changes.extend(made)
    records.wetness[:] = [
        WetnessRow(HOUSES.index(house), on.toordinal(), WETNESS.index(level))
        for house, on, level in history.wetness
    ]
    return records


def verdicts(seed: int, today: dt.date = TODAY) -> dict:
    """What the page says of each change of one life: {days after the draining: answer}."""
    from flockcare.trends import changes
    from flockcare.trends.watch import Watch

    history = live(today, seed)
    drained = history.drained.toordinal()
    answers = changes.answers(Watch.of(records_of(history)))
    return {answer.days[0].toordinal() - drained: answer for answer in answers}


def table(lives: int):
    found = [verdicts(seed) for seed in range(FIRST_SEED, FIRST_SEED + lives)]
    yield f"{lives} lives, seeds from {FIRST_SEED}, on {TODAY}"
    for days, name in NAMES.items():
        said = [one[days] for one in found]
        states = Counter(answer.state for answer in said)
        told = [answer.found.ratio.value for answer in said if answer.state in TOLD]
        fewer, more = sum(value < 1 for value in told), sum(value > 1 for value in told)
        yield f"{name}: {dict(states.most_common())}; fewer told {fewer}, more told {more}"
        ranges = [a.found.ratio for a in said if a.found and not a.found.refusal]
        low, value, high = np.median([(r.low, r.value, r.high) for r in ranges], axis=0)
        yield f"  ratio, middle of all lives: {value:.2f} ({low:.2f} to {high:.2f})"
    ours = verdicts(SEED)
    for days, name in NAMES.items():
        answer = ours[days]
        seen = answer.found.ratio
        yield (
            f"the demo's own seed, {name}: {answer.state}, "
            f"ratio {seen.value:.2f} ({seen.low:.2f} to {seen.high:.2f}), p {answer.adjusted_p:.3f}"
        )


if __name__ == "__main__":
    import django

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "flockcare.settings")
    django.setup()
    for line in table(int(sys.argv[1]) if len(sys.argv) > 1 else 60):
        print(line, flush=True)
