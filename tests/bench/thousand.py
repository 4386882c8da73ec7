"""A thousand flocks in one PostgreSQL; JSON for all.py.

    pg_virtualenv -o fsync=on .venv/bin/python tests/bench/thousand.py FILE [--short]

One flock is brought in and multiplied inside the database, a large one comes beside them. Measured:
what the pages cost with one flock in the database and with all, in this process and in the
database's; whether any page reads a large table from end to end; sizes; and a dump.
"""

import datetime as dt
import json
import os
import subprocess
import sys
import tempfile
import time
import uuid
from pathlib import Path
from urllib.parse import quote

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.bench import grid, pages

FLOCKS, BIRDS, YEARS = 1000, 12, 2
# More than one of these flocks has in any table.
LARGE_ROWS = 10_000
TICKS = os.sysconf("SC_CLK_TCK")
# Requests of each page: as many in turns with the empty page, as many for the database's clock.
REPEATS = 20


def name_database() -> None:
    """From the environment that pg_virtualenv makes."""
    if "FLOCKCARE_DATABASE" not in os.environ:
        who = f"{os.environ['PGUSER']}:{quote(os.environ['PGPASSWORD'])}"
        place = f"{os.environ['PGHOST']}:{os.environ['PGPORT']}/{os.environ['PGDATABASE']}"
        os.environ["FLOCKCARE_DATABASE"] = f"postgresql://{who}@{place}"


def tend(flock) -> None:
    """What an import of checks alone leaves out: two photos a month of a bird, steps of care."""
    from flockcare.care.models import CareStep
    from flockcare.photos.models import Photo

    now = dt.datetime.now(dt.UTC)
    for bird in flock.bird_set.all():
        Photo.objects.bulk_create(
            Photo(
                flock=flock,
                bird=bird,
                foot="left",
                taken=now - dt.timedelta(days=15 * number),
                taken_precision="moment",
                width=4000,
                height=3000,
                sha256=uuid.uuid4().hex * 2,
                look_hash=number,
                stored_bytes=2_000_000,
            )
            for number in range(24 * YEARS)
        )
        CareStep.objects.bulk_create(
            CareStep(
                flock=flock,
                bird=bird,
                foot="left",
                kind="soaked",
                at=now - dt.timedelta(days=30 * number),
            )
            for number in range(12 * YEARS)
        )


def multiply(times: int) -> None:
    """Every row again and again, each time under other keys that belong together."""
    from django.apps import apps
    from django.db import connection, transaction

    models = [
        model
        for model in apps.get_models(include_auto_created=True)
        if model._meta.db_table.split("_")[0]
        in ("people", "birds", "photos", "housing", "feet", "care", "trends", "offline")
    ]
    with transaction.atomic(), connection.cursor() as cursor:
        for model in models:
            columns, values = [], []
            for field in model._meta.concrete_fields:
                kind = field.db_type(connection)
                if kind.startswith(("bigint", "integer")) and field.primary_key:
                    continue
                name = f'"{field.column}"'
                columns.append(name)
                if kind == "uuid":
                    values.append(f"md5({name}::text || copy)::uuid")
                elif field.unique:
                    values.append(f"{name} || copy")
                else:
                    values.append(name)
            table = f'"{model._meta.db_table}"'
            cursor.execute(
                f"INSERT INTO {table} ({', '.join(columns)}) SELECT {', '.join(values)} "  # noqa: S608
                f"FROM {table}, generate_series(1, %s) AS copy",
                [times],
            )
    with connection.cursor() as cursor:
        cursor.execute("VACUUM ANALYZE")


def database_seconds() -> float:
    """Processor time that the database has spent for this process's connection."""
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_backend_pid()")
        process = cursor.fetchone()[0]
    words = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    return (int(words[11]) + int(words[12])) / TICKS


def costs(flock, client, bare: str, **where) -> list[dict]:
    """As in grid.py, with milliseconds of the database's processor time for each page."""
    rows = list(grid.costs_of(flock, client, bare, **where))
    for row in rows:
        request = pages.pages(flock).get(row["page"])
        if request:
            with grid.as_before(flock):
                start = database_seconds()
                for _ in range(REPEATS):
                    request(client)
                row["database processor"] = 1000 * (database_seconds() - start) / REPEATS
    return rows


def read_from_end_to_end(flock, client) -> list[str]:
    """``page: table`` for each table of which a page's questions read more rows than one flock has,
    by a scan of the table or of an index; with nothing kept from before.
    """
    from django.core.cache import cache
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    found = set()
    for title, request in pages.pages(flock).items():
        cache.clear()
        with CaptureQueriesContext(connection) as captured:
            request(client)
        for query in captured:
            if not query["sql"].lstrip("( ").startswith("SELECT"):
                continue
            with connection.cursor() as cursor:
                explain = "EXPLAIN (ANALYZE, FORMAT JSON) " + query["sql"].replace("%", "%%")
                cursor.execute(explain, [])
                plan = cursor.fetchone()[0]
            found |= {f"{title}: {table}" for table, rows in _scanned(plan) if rows > LARGE_ROWS}
    return sorted(found)


def _scanned(plan):
    """Of each scan in a plan its table, and how many rows it went through at a time."""
    if isinstance(plan, list):
        for each in plan:
            yield from _scanned(each)
    elif isinstance(plan, dict):
        if "Relation Name" in plan and plan.get("Actual Loops"):
            yield plan["Relation Name"], plan["Actual Rows"] + plan.get("Rows Removed by Filter", 0)
        for value in plan.values():
            yield from _scanned(value)


def sizes(folder: Path) -> dict:
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_database_size(current_database()), version()")
        size, version = cursor.fetchone()
    target = folder / "dump"
    start = time.perf_counter()
    subprocess.run(
        ["pg_dump", "-Fc", "-f", target, os.environ["FLOCKCARE_DATABASE"]],
        check=True,
    )
    return {
        "database_bytes": size,
        "dump_bytes": target.stat().st_size,
        "dump_seconds": time.perf_counter() - start,
        "server": " ".join(version.split()[:2]),
        "pg_dump": subprocess.run(["pg_dump", "--version"], capture_output=True, text=True).stdout,
    }


def main() -> None:
    asked = pages.asked(__doc__)
    flocks = 50 if asked.short else FLOCKS
    name_database()
    pages.RUNS = REPEATS
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        pages.set_up(folder)
        from flockcare.feet.models import Check

        client = pages.signed_in()
        bare = pages.bare_url()
        flock = pages.flock_of(YEARS, folder, BIRDS)
        tend(flock)
        of_one = Check.objects.count()
        rows = costs(flock, client, bare, birds=BIRDS, years=YEARS, flocks=1)
        start = time.perf_counter()
        multiply(flocks - 1)
        print(f"{flocks} flocks after {time.perf_counter() - start:.0f} s", flush=True)
        measured = sizes(folder)
        rows += costs(flock, client, bare, birds=BIRDS, years=YEARS, flocks=flocks)
        if flocks == FLOCKS:
            large = pages.flock_of(10, folder, 60)
            rows += costs(large, client, bare, birds=60, years=10, flocks=flocks + 1)
        result = {
            "flocks": flocks,
            "birds": BIRDS,
            "years": YEARS,
            "checks_of_one": of_one,
            "rows": rows,
            "read_from_end_to_end": read_from_end_to_end(flock, client),
            **measured,
        }
    asked.file.write_text(json.dumps(result))


if __name__ == "__main__":
    main()
