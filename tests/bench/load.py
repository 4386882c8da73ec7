"""What ten thousand flocks would need, worked out on paper from what all.py has measured.

    .venv/bin/python tests/bench/load.py        from the all.json beside this file

Nobody has run so many. What is assumed stands in ``ASSUMED`` and is printed with the answer; what
is measured is the cost of each request in this process and in the database, the size of the records
and of a photo, and the speed of a dump.
"""

import json
import math
from pathlib import Path

RESULTS = Path(__file__).with_name("all.json")
FLOCKS = 10_000
# Requests of one flock in a week, by three keepers with twelve birds, a round each fortnight and
# one sore to follow: common practice, no published source. Today is opened twice a day by each and
# counts double, for the panel of care that comes after it; it lies open for three minutes, and asks
# four times a minute whether something is new, a bird's page twice.
WEEK = {
    "Today": 84,
    "Today, unchanged": 250,
    "Care, unchanged": 290,
    "Round, unchanged": 20,
    "Choose a bird": 10,
    "Check form": 10,
    "Save a clear check": 10,
    "Bird": 10,
    "Bird list": 6,
    "Trends, nothing kept": 0.5,
    "Trends again": 1.5,
    "photo sent": 3,
    "photo handed out": 230,
}
ASSUMED = {
    "share of a week's requests that falls in its busiest hour": 0.03,
    "the busiest minutes of that hour, against its mean": 2,
    "how busy a core may be": 0.5,
    "years of records": 10,
}
# What the processes of one core hold open: flockcare/gunicorn.py, as it is without other words.
PROCESSES_PER_CORE, CONNECTIONS_PER_PROCESS = 2, 4


def costs(results: dict, birds: int) -> dict[str, tuple[float, float]]:
    """Processor seconds of each request, here and in the database."""
    rows = [
        row
        for row in results["thousand"]["rows"]
        if row["flocks"] >= results["thousand"]["flocks"] and row["birds"] == birds
    ]
    found = {row["page"]: row for row in rows}
    # The database's part of the pages whose own was not taken apart: as large a share as of Today.
    share = found["Today"]["database processor"] / found["Today"]["page processor"]
    seconds = {
        page: (
            row["page processor"] / 1000,
            row.get("database processor", share * row["page processor"]) / 1000,
        )
        for page, row in found.items()
    }
    photo = results["grid"]["photo"]
    look_up = seconds["Choose a bird"][1]
    seconds["photo sent"] = photo["take_in_ms"] / 1000, look_up
    seconds["photo handed out"] = photo["hand_out_ms"] / 1000, look_up
    return seconds


def lines(results: dict):
    thousand, photo = results["thousand"], results["grid"]["photo"]
    week = FLOCKS * sum(WEEK.values())
    hour = week * ASSUMED["share of a week's requests that falls in its busiest hour"]
    peak = hour / 3600 * ASSUMED["the busiest minutes of that hour, against its mean"]
    yield f"{FLOCKS:,} flocks, on paper. Assumed:"
    for page, number in WEEK.items():
        yield f"  {page:<58}{number:>8} a week and flock"
    for what, number in ASSUMED.items():
        yield f"  {what:<58}{number:>8}"
    yield "Worked out:"
    yield f"  {'requests a second, over the week':<58}{week / 7 / 86400:>8.1f}"
    yield f"  {'requests a second, at the peak':<58}{peak:>8.1f}"
    for words, birds in (
        ("if all flocks are as most are", thousand["birds"]),
        ("if all had 60 birds and ten years", 60),
    ):
        # A short run has no large flock.
        if any(row["birds"] == birds for row in thousand["rows"]):
            yield from _cores(words, costs(results, birds), peak)
    yield from _sizes(thousand, photo)


def _cores(words: str, by_page: dict, peak: float):
    total = sum(WEEK.values())
    cores = [
        peak
        * sum(WEEK[page] / total * by_page[page][part] for page in WEEK)
        / ASSUMED["how busy a core may be"]
        for part in (0, 1)
    ]
    yield f"  {words}:"
    yield f"    {'cores that serve':<56}{cores[0]:>8.1f}"
    yield f"    {'cores of the database':<56}{cores[1]:>8.1f}"
    connections = math.ceil(cores[0]) * PROCESSES_PER_CORE * CONNECTIONS_PER_PROCESS
    yield f"    {'connections to the database, at most':<56}{connections:>8}"


def _sizes(thousand: dict, photo: dict):
    years = ASSUMED["years of records"]
    of_a_year = thousand["database_bytes"] / thousand["flocks"] / thousand["years"]
    database = of_a_year * years * FLOCKS
    photos = WEEK["photo sent"] * 52 * FLOCKS * photo["stored_bytes"]
    speed = thousand["database_bytes"] / thousand["dump_seconds"]
    shrinks = thousand["dump_bytes"] / thousand["database_bytes"]
    yield f"  {'database, kB a flock and year':<58}{of_a_year / 1e3:>8.0f}"
    yield f"  {f'database after {years} years, GB':<58}{database / 1e9:>8.0f}"
    yield f"  {'a dump of it, minutes':<58}{database / speed / 60:>8.0f}"
    yield f"  {'a dump of it, GB':<58}{database * shrinks / 1e9:>8.0f}"
    yield f"  {'photos, TB a year':<58}{photos / 1e12:>8.1f}"
    yield f"  {f'photos after {years} years, TB':<58}{photos * years / 1e12:>8.0f}"
    day = photos / 365 / 1e8 / 60
    yield f"  {'copying a day of new photos at 100 MB/s, minutes':<58}{day:>8.1f}"


if __name__ == "__main__":
    print("\n".join(lines(json.loads(RESULTS.read_text()))))
