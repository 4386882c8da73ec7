"""What the page Trends costs: 60 birds with 1, 3 and 10 years of weekly checks.

One change of the housing a year; the last rows have two a year, in each of two houses one.

.venv/bin/python tests/bench/trends.py           a minute or two; prints one table

Cold: nothing kept from before, the first request of a process left out. Warm: the report is kept.
Processor time of one request inside Django (test client), and the time on the clock, which says
little on a machine that does other things besides; medians. Beside it the ratio to a view that
renders an empty template for the same keeper, by processor time.
"""

import datetime as dt
import statistics
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.bench.pages import BIRDS, bare_url, set_up

COLD, WARM = 5, 20
MOST = {"cold": 1.0, "warm": 0.1}  # Seconds of processor time, at one change a year.


def flock_of(years: int, changes: int, folder: Path):
    from django.core.management import call_command

    from flockcare.people.models import Flock
    from tests.exchange.big_flock import write_big_flock
    from tests.exchange.folders import write_folder

    today = dt.datetime.now(dt.UTC).date()
    records = write_big_flock(folder / f"records-{years}", birds=BIRDS, years=years, until=today)
    write_folder(records, housing=list(_housing(years, changes, today)))
    name = f"Big {years} {changes}"
    call_command("import_records", records, flock=name, create=True, owner="ros", stdout=sys.stderr)
    return Flock.objects.get(name=name)


def _housing(years: int, changes: int, today: dt.date):
    """A roost in each house, of another height every year, or every other year by turns."""
    for number, house in enumerate(("Barn", "Ark")):
        for year in range(years + 1):
            if changes == 1 and year and year % 2 == number:
                continue
            day = today - dt.timedelta(days=365 * (years - year) + 180 * (1 - number) + 30)
            yield {
                "house": house,
                "feature": "Roost",
                "kind": "roost",
                "from": str(day),
                "height_cm": str(60 + 10 * (year % 5)),
            }


def measured(ask, runs: int, before=lambda: None) -> tuple[float, float]:
    """Median seconds of processor time and on the clock."""
    used, passed = [], []
    for _ in range(runs):
        before()
        start, clock = time.process_time(), time.perf_counter()
        assert ask().status_code == 200
        used.append(time.process_time() - start)
        passed.append(time.perf_counter() - clock)
    return statistics.median(used), statistics.median(passed)


def queries(ask) -> int:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    with CaptureQueriesContext(connection) as captured:
        ask()
        return len(captured)


def lines():
    from django.core.cache import cache
    from django.test import Client
    from django.urls import reverse

    from flockcare.people.services import add_keeper
    from flockcare.trends.report_cache import report_of

    keeper = add_keeper(name="Ros", sign_in_name="ros", password="for the bench only")
    client = Client()
    client.force_login(keeper)
    bare = bare_url()
    yield "years   looks  changes      queries  s used  s clock   ratio"
    for years, changes in ((1, 1), (3, 1), (10, 1), (10, 2)):
        with tempfile.TemporaryDirectory() as name:
            flock = flock_of(years, changes, Path(name))
        url = reverse("trends:page", args=[flock.pk])

        def ask(url=url):
            return client.get(url)

        report = report_of(flock, dt.datetime.now(flock.zone).date())
        ask()
        empty, _ = measured(lambda: client.get(bare), WARM)
        for kind, runs, before in (("cold", COLD, cache.clear), ("warm", WARM, lambda: None)):
            before()
            count = queries(ask)
            used, passed = measured(ask, runs, before)
            fine = "" if used <= MOST[kind] or changes > 1 else "  TOO SLOW"
            yield (
                f"{years:>5} {report.summary.looks:>7} {len(report.changes):>8} {kind:5}{count:>8}"
                f"{used:>8.3f}{passed:>9.3f}{used / empty:>8.0f}{fine}"
            )


def main() -> int:
    with tempfile.TemporaryDirectory() as name:
        set_up(Path(name))
        slow = False
        for line in lines():
            print(line, flush=True)
            slow |= "TOO SLOW" in line
    return int(slow)


if __name__ == "__main__":
    sys.exit(main())
