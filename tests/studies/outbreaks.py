"""How often does Trends speak of an outbreak in invented flocks without one, and with one?

    python tests/studies/outbreaks.py            some minutes
    python tests/studies/outbreaks.py --short    fewer flocks, under a minute, for CI
    python tests/studies/outbreaks.py --write    all, and keep the table

Ends with status 1 where a quiet flock gets more than one false line a year.

The flocks: 16 hens, eight in each of two houses, on rounds for two years. Feet fall ill at a
constant rate while sound, both at once in three of ten cases; hens differ by a gamma-distributed
factor of variance 0.5; sores heal after a gamma-distributed time (shape 4, median 40 days). Trends
is opened on every day of the second year on which a bird is checked, and on every fifth day; each
line that was not there the time before counts. In an outbreak some birds of one house fall ill
within ten days of day 500, and the share is given in which a line stands by day 521.
"""

from __future__ import annotations

import argparse
import datetime as dt
import math
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))
TABLE = Path(__file__).with_suffix(".txt")

FIRST = dt.date(2024, 1, 1).toordinal()
DAYS, BIRDS, HOUSES = 730, 16, 2
HEAL, FRAILTY, TOGETHER = 40.0, 0.5, 0.3
OUTBREAK = 500


@dataclass(frozen=True)
class Kind:
    name: str
    rate: float = 0.001  # per foot and day: 10 cases a year in 16 hens
    every: int = 7
    limping: float = 0.0  # chance a day that a bird with a new sore is checked between rounds
    season: float = 0.0  # height of a yearly wave whose top is in January
    ageing: float = 1.0  # by how many times the rate rises in a year
    gap: int = 0  # days without any check before day 500
    ill: int = 0  # birds of an outbreak


QUIET = (
    Kind("weekly"),
    Kind("weekly, three times the rate", rate=0.003),
    Kind("weekly, limping birds at once", rate=0.002, limping=0.2),
    Kind("every two weeks", every=14, rate=0.002),
    Kind("every two weeks, limping at once", every=14, rate=0.002, limping=0.2),
    Kind("every four weeks", every=28, rate=0.002),
    Kind("weekly, worse in winter", rate=0.002, season=0.8),
    Kind("weekly, half as much again a year", rate=0.002, ageing=1.5),
    Kind("weekly, 50 days without a check", rate=0.002, gap=50),
    Kind("weekly, 90 days without a check", rate=0.002, gap=90),
)
ILL = tuple(
    Kind(f"{ill} of 8 fall ill, {words}", every=every, ill=ill, limping=limping)
    for every, words, limping in ((7, "weekly", 0.0), (14, "every two weeks", 0.2))
    for ill in (3, 4, 5)
)


def flock(kind: Kind, rng: np.random.Generator):
    """Day, bird, left and right foot of each check (n, 4)."""
    factor = rng.gamma(1 / FRAILTY, FRAILTY, (BIRDS, 1))
    until = np.zeros((BIRDS, 2), np.int64)
    known = np.zeros(BIRDS, bool)
    struck = dict.fromkeys(2 * rng.permutation(BIRDS // 2)[: kind.ill], 0)
    struck = {bird: OUTBREAK + int(rng.integers(0, 10)) for bird in struck}
    start, rows = int(rng.integers(0, kind.every)), []
    for day in range(DAYS + 1):
        wave = 1 + kind.season * math.cos(2 * math.pi * (day - 15) / 365.25)
        rate = kind.rate * wave * kind.ageing ** (day / 365) * factor
        falls = rng.random((BIRDS, 2)) < -np.expm1(-rate * (1 - TOGETHER))
        falls |= rng.random((BIRDS, 1)) < -np.expm1(-rate * TOGETHER)
        for bird, on in struck.items():
            falls[bird, 0] |= on == day
        falls &= until <= day
        lasts = np.ceil(rng.gamma(4, HEAL / 3.672, int(falls.sum()))).astype(int)
        until[falls] = day + lasts
        sore = until > day
        checked = sore.any(1) & ~known & (rng.random(BIRDS) < kind.limping)
        if day % kind.every == start:
            checked = rng.random(BIRDS) < 0.95
        if OUTBREAK - kind.gap <= day < OUTBREAK:
            checked[:] = False
        rows += [(day, bird, *sore[bird]) for bird in np.flatnonzero(checked).tolist()]
        known = np.where(checked, sore.any(1), known)
    return np.array(rows, np.int64)


def records_of(checks: np.ndarray):
    from flockcare.trends.records import ALWAYS, STILL, BirdRow, HouseRow, Looks, Records, StayRow

    day, bird = np.repeat(checks[:, 0], 2) + FIRST, np.repeat(checks[:, 1], 2)
    foot, score = np.tile([0, 1], len(checks)), checks[:, 2:].ravel()
    keys = [f"{number:032x}" for number in range(day.size)]
    return Records(
        birds=[BirdRow(f"{number:032x}", f"Hen {number}") for number in range(BIRDS)],
        looks=Looks(bird, foot, day, score, keys, np.zeros(day.size, np.int64)),
        houses=[HouseRow(f"{house:032x}", f"House {house}") for house in range(HOUSES)],
        stays=[StayRow(bird, bird % HOUSES, ALWAYS, STILL) for bird in range(BIRDS)],
    )


def lines(checks: np.ndarray, days) -> list[set[str]]:
    """The houses that Trends speaks of on each of the days."""
    from flockcare.trends.outbreak import outbreaks
    from flockcare.trends.watch import Watch

    found = []
    for day in days:
        watch = Watch.of(records_of(checks[checks[:, 0] <= day]))
        told = outbreaks(watch, dt.date.fromordinal(FIRST + day))
        found.append({one.house for one in told if one.told})
    return found


def false_lines(kind: Kind, rng) -> int:
    checks = flock(kind, rng)
    days = sorted({*range(366, DAYS, 5), *checks[checks[:, 0] > 365, 0].tolist()})
    told = lines(checks, days)
    return sum(len(now - last) for last, now in zip([set(), *told], told, strict=False))


def speaks(kind: Kind, rng) -> bool:
    checks = flock(kind, rng)
    days = sorted(set(checks[(checks[:, 0] >= OUTBREAK) & (checks[:, 0] <= OUTBREAK + 21), 0]))
    return any("House 0" in told for told in lines(checks, days))


def main() -> int:
    reader = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    reader.add_argument("--short", action="store_true")
    reader.add_argument("--write", action="store_true")
    reader.add_argument("--runs", type=int, default=60)
    given = reader.parse_args()
    set_up()
    runs = 3 if given.short else given.runs
    said, worst = [f"{runs} flocks of each kind", "", "false lines in a year, quiet flocks"], 0.0
    for number, kind in enumerate(QUIET):
        rng = np.random.default_rng(number)
        counts = [false_lines(kind, rng) for _ in range(runs)]
        worst = max(worst, float(np.mean(counts)))
        said.append(f"  {kind.name:36}{np.mean(counts):6.2f}   most in one flock {max(counts)}")
        print(said[-1], flush=True)
    said += ["", "share in which the line stands within three weeks"]
    for number, kind in enumerate(ILL):
        rng = np.random.default_rng(100 + number)
        told = [speaks(kind, rng) for _ in range(runs)]
        said.append(f"  {kind.name:36}{np.mean(told):6.0%}")
        print(said[-1], flush=True)
    if given.write:
        TABLE.write_text("\n".join(said) + "\n", encoding="utf-8")
    return int(worst > 1)


def set_up() -> None:
    import os

    import django

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "flockcare.settings")
    django.setup()


if __name__ == "__main__":
    sys.exit(main())
