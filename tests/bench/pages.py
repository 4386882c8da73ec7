"""What the pages cost, for a flock of 60 birds with 1, 3 and 10 years of weekly checks.

.venv/bin/python tests/bench/pages.py        a few minutes; prints one table

Times are medians of the whole request inside Django (test client, no network), with the answer
packed as every browser asks for it, as a ratio to a
view that renders an empty template for the same signed-in keeper, measured in turns in one run.
Saving waits for the disk, which only the wall clock sees; other work on the machine disturbs the
wall clock more than the processor's.
"""

import argparse
import datetime as dt
import os
import statistics
import sys
import tempfile
import time
import uuid
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))
RUNS = 40
BIRDS = 60


def asked(about: str) -> argparse.Namespace:
    """What the command line of a part of ``all.py`` says: ``file`` for its JSON, ``short``."""
    parser = argparse.ArgumentParser(description=about.splitlines()[0])
    parser.add_argument("file", type=Path)
    parser.add_argument("--short", action="store_true", help="a small flock, quickly")
    return parser.parse_args()


def set_up(folder: Path) -> None:
    os.environ["DJANGO_SETTINGS_MODULE"] = "flockcare.settings"
    os.environ["FLOCKCARE_DATA"] = str(folder)
    import django

    django.setup()
    from django.conf import settings
    from django.core.management import call_command

    settings.ALLOWED_HOSTS.append("testserver")
    settings.TEMPLATES[0]["DIRS"].append(folder)
    (folder / "bench_empty.html").write_text("")
    call_command("migrate", verbosity=0)
    call_command("collectstatic", verbosity=0, interactive=False)


def signed_in():
    """A client of the keeper who owns what ``flock_of`` makes."""
    from django.test import Client

    from flockcare.people.services import add_keeper

    client = Client(headers={"Accept-Encoding": "gzip"})
    client.force_login(add_keeper(name="Ros", sign_in_name="ros", password="for the bench only"))
    return client


def bare_url():
    from django.shortcuts import render
    from django.urls import path

    from flockcare import urls

    urls.urlpatterns.append(
        path("bench-empty/", lambda request: render(request, "bench_empty.html"))
    )
    return "/bench-empty/"


def flock_of(years: int, folder: Path, birds: int = BIRDS):
    from django.core.management import call_command

    from flockcare.people.models import Flock
    from tests.exchange.big_flock import write_big_flock

    name = f"Big {birds} {years}"
    records = write_big_flock(
        folder / f"records-{birds}-{years}",
        birds=birds,
        years=years,
        until=dt.datetime.now(dt.UTC).date(),
    )
    call_command("import_records", records, flock=name, create=True, owner="ros", stdout=sys.stderr)
    return Flock.objects.get(name=name)


def pages(flock) -> dict:
    """Name to a callable that makes the request with a client and returns the answer."""
    from django.urls import reverse
    from django.utils import timezone

    bird = flock.bird_set.first()

    def get(name, *args):
        return lambda client: client.get(reverse(name, args=[flock.pk, *args]))

    def again(name):
        """A piece that shows already how it is, asking for itself."""
        url, shown = reverse(name, args=[flock.pk]), {}

        def ask(client):
            if not shown:
                first = client.get(url, headers={"HX-Request": "true"})
                shown["If-None-Match"] = first.headers["ETag"]
            return client.get(url, headers={"HX-Request": "true", **shown})

        return ask

    def save(client):
        moment = timezone.now().astimezone(flock.zone)
        return client.post(
            reverse("check_bird", args=[flock.pk, bird.pk]),
            {
                "check_id": str(uuid.uuid4()),
                "at": moment.strftime("%Y-%m-%dT%H:%M"),
                "verdict": "both clear",
            },
        )

    return {
        "Today": get("today"),
        "Choose a bird": get("pick"),
        "Bird": get("bird", bird.pk),
        "Check form": get("check_bird", bird.pk),
        "Bird list": get("birds"),
        "Today, unchanged": again("today"),
        "Round, unchanged": again("feet:round"),
        "Care, unchanged": again("care:today_panel"),
        "Save a clear check": save,
    }


def measured(request, bare, client) -> tuple[dict, int]:
    """Median seconds of the page and of the bare view in turns, by clock; the page's queries."""
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    for _ in range(3):
        assert request(client).status_code in (200, 302, 304)
        client.get(bare)
    with CaptureQueriesContext(connection) as captured:
        request(client)
    # BEGIN and COMMIT are no questions to the data. Counted now: the next request empties the list.
    count = sum(not query["sql"].startswith(("BEGIN", "COMMIT")) for query in captured)
    clocks = {"processor": time.process_time, "wall": time.perf_counter}
    times = {(name, clock): [] for name in ("page", "bare") for clock in clocks}
    for _ in range(RUNS):
        for name, ask in (("page", request), ("bare", lambda client: client.get(bare))):
            start = {clock: read() for clock, read in clocks.items()}
            ask(client)
            for clock, read in clocks.items():
                times[name, clock].append(read() - start[clock])
    return {key: statistics.median(values) for key, values in times.items()}, count


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        set_up(folder)
        client = signed_in()
        bare = bare_url()
        print(f"{'page':<20}{'years':>6}{'queries':>8}", end="")
        print(f"{'processor ms':>14}{'bare':>6}{'ratio':>6}{'wall ms':>10}{'bare':>6}{'ratio':>6}")
        for years in (1, 3, 10):
            flock = flock_of(years, folder)
            for title, request in pages(flock).items():
                times, queries = measured(request, bare, client)
                print(f"{title:<20}{years:>6}{queries:>8}", end="")
                for clock, width in (("processor", 14), ("wall", 10)):
                    page, empty = times["page", clock], times["bare", clock]
                    print(
                        f"{page * 1000:>{width}.1f}{empty * 1000:>6.2f}{page / empty:>6.1f}", end=""
                    )
                print(flush=True)


if __name__ == "__main__":
    main()
