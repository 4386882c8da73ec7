"""A large invented flock as an exchange, for benchmarks, and what reading and writing it takes.

python -m tests.exchange.big_flock FOLDER        writes it: 60 birds, ten years of weekly checks
python -m tests.exchange.big_flock FOLDER --time also imports twice and exports, in processor time
                                                (into a new installation beside FOLDER)
"""

import datetime as dt
import os
import sys
import time
from pathlib import Path

import numpy as np

from tests.exchange.folders import write_folder

BREEDS = ("Leghorn", "Sussex", "Brahma", "Orpington", "Silkie bantam", "Brown hybrid")


def write_big_flock(root: Path, *, birds=60, years=10, until=dt.date(2026, 5, 20), seed=0) -> Path:
    """Weekly checks of ``birds`` hens over ``years``, one foot in thirty sore for six weeks."""
    random = np.random.default_rng(seed)
    names = [f"Hen {number:02}" for number in range(1, birds + 1)]
    days = [until - dt.timedelta(days=7 * week) for week in range(1, 52 * years + 1)][::-1]
    return write_folder(
        root,
        birds=[
            {"bird": name, "breed": BREEDS[number % len(BREEDS)], "joined": str(days[0].year)}
            for number, name in enumerate(names)
        ],
        housing=[{"house": house} for house in ("Barn", "Ark")],
        stays=[
            {"bird": name, "house": ("Barn", "Ark")[number % 2]}
            for number, name in enumerate(names)
        ],
        weights=[
            {"bird": name, "date": str(day), "grams": str(int(random.integers(1500, 4000)))}
            for name in names
            for day in days[::13]
        ],
        checks=[row for name in names for row in _checks(name, days, random)],
    )


def _checks(name, days, random):
    sore = {"left": 0, "right": 0}
    for day in days:
        row = {"bird": name, "date": str(day), "time": "17:30", "keeper": "Ros"}
        row["received"] = f"{day} 17:31:00+00:00"
        for foot in sore:
            sore[foot] = max(0, sore[foot] - 1) or 6 * int(random.random() < 1 / 180)
            row[f"{foot}_score"] = str(int(sore[foot] > 0))
            if sore[foot]:
                row |= {f"{foot}_sites": "main", f"{foot}_scab": "brown"}
                row[f"{foot}_scab_mm"] = str(sore[foot] + 1.5)
        yield row


def _time_it(root: Path) -> None:
    os.environ["DJANGO_SETTINGS_MODULE"] = "flockcare.settings"
    os.environ["FLOCKCARE_DATA"] = str(root.with_name(f"{root.name}-data"))
    import django

    django.setup()
    from django.core.management import call_command

    call_command("migrate", verbosity=0)
    target = root.with_name(f"{root.name}-out.zip")
    target.unlink(missing_ok=True)
    for words, command in (
        ("import", lambda: call_command("import_records", root, flock="Big", create=True)),
        ("import again", lambda: call_command("import_records", root, flock="Big")),
        ("export", lambda: call_command("export_records", target, flock="Big")),
    ):
        start = time.process_time()
        command()
        print(f"{words}: {time.process_time() - start:.1f} s of processor time")


if __name__ == "__main__":
    folder = Path(sys.argv[1]).resolve()
    write_big_flock(folder)
    if "--time" in sys.argv:
        _time_it(folder)
