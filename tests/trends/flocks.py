"""Invented records for the tests, as the page's calculations take them; days count from DAY_0."""

import datetime as dt

import numpy as np

from flockcare.trends.records import (
    ALWAYS,
    STILL,
    BirdRow,
    ChangeRow,
    HouseRow,
    Looks,
    Records,
    StayRow,
)

DAY_0 = dt.date(2025, 1, 1).toordinal()


def looks_of(histories: dict, keeper=lambda day: 0) -> Looks:
    """``{(bird, foot): "0..1.0"}`` or ``{(bird, foot): [(day, score), …]}``; in text one sign per
    week, ``.`` for no look."""
    rows = []
    for (bird, foot), history in histories.items():
        if isinstance(history, str):
            history = [(7 * n, int(sign)) for n, sign in enumerate(history) if sign != "."]
        rows += [(bird, foot, day + DAY_0, score, keeper(day)) for day, score in history]
    bird, foot, day, score, who = np.array(rows, np.int64).reshape(-1, 5).T
    keys = [f"{number:032x}" for number in range(len(rows))]
    return Looks(bird, foot, day, score, keys, who)


def birds_of(count: int, **each) -> list[BirdRow]:
    """``each`` maps a field of BirdRow to a list with one value per bird."""
    rows = []
    for number in range(count):
        more = {name: values[number] for name, values in each.items()}
        rows.append(BirdRow(f"{number:032x}", f"Hen {number:02}", **more))
    return rows


def flock(
    histories: dict, *, houses=("Ark",), homes=None, changes=(), birds=None, **more
) -> Records:
    """All birds in the first house unless ``homes`` says otherwise; ``changes`` (house, day)."""
    count = 1 + max(bird for bird, _ in histories)
    homes = homes or [0] * count
    keeper = more.pop("keeper", lambda day: 0)
    stays = more.pop("stays", None)
    if stays is None:
        stays = [StayRow(bird, house, ALWAYS, STILL) for bird, house in enumerate(homes)]
    return Records(
        birds=birds or birds_of(count),
        looks=looks_of(histories, keeper),
        houses=[HouseRow(f"{n:032x}", name) for n, name in enumerate(houses)],
        stays=stays,
        changes=[
            ChangeRow(house, day + DAY_0, (f"change {n}",), "a height")
            for n, (house, day) in enumerate(changes)
        ],
        **more,
    )


def simulated(
    *,
    seed=0,
    birds=20,
    houses=1,
    days=730,
    every=14,
    rate=0.0015,
    ratio=1.0,
    change=365,
    changed=None,
    **more,
) -> Records:
    """Birds of equal readiness on regular rounds, sores of about 40 days; in the ``changed``
    houses (all unless given) the rate is ``ratio`` times as high after day ``change``."""
    random = np.random.default_rng(seed)
    rounds = range(0, days + 1, every)
    changed = range(houses) if changed is None else changed
    histories = {}
    for bird in range(birds):
        for foot in (0, 1):
            ill, history = 0, []
            for day in range(days + 1):
                level = rate * (ratio if day > change and bird % houses in changed else 1.0)
                if ill <= day and random.random() < level:
                    ill = day + int(np.ceil(random.gamma(4, 40 / 3.672)))
                if day in rounds:
                    history.append((day, int(ill > day)))
            histories[bird, foot] = history
    return flock(
        histories,
        houses=[f"House {n}" for n in range(houses)],
        homes=[bird % houses for bird in range(birds)],
        changes=[(house, change) for house in changed],
        **more,
    )
