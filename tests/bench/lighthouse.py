"""Lighthouse over the pages that are held to it: as a phone sees them for the first time.

    .venv/bin/python tests/bench/lighthouse.py              the demo flock; some minutes
    .venv/bin/python tests/bench/lighthouse.py --write      keeps the table beside this file
    … --data FOLDER                 a demo that was made before   … --only Today Bird   … --runs 1
    … --node FOLDER                 where npm has put Lighthouse, else it is put into a folder
                                    that is thrown away

Needs Node and Chromium. Mobile, with a cold cache, slowed as Lighthouse does by itself (simulated);
of ``--runs`` the median by performance. Performance is time, so it says little on a machine that
does other things besides: the table names the load. What fell short is listed below it.
"""

import argparse
import json
import os
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.browser.conftest import chromium
from tests.running.served import Up

LIGHTHOUSE = "lighthouse@12.8.2"
TABLE = Path(__file__).with_suffix(".txt")
CATEGORIES = {"performance": 95, "accessibility": 100, "best-practices": 100}
LARGEST_SHIFT = 0.02
CHROMIUM = "--headless=new --no-sandbox --disable-dev-shm-usage --disable-gpu --no-first-run"

# Run where the demo lies: addresses of the pages, and a session of the keeper who sees them.
PREPARE = """
import json
from django.test import Client
from django.urls import reverse
from flockcare.people.models import Flock, Keeper
from flockcare.photos.models import Measurement
flock, client = Flock.objects.get(), Client()
client.force_login(Keeper.objects.get(sign_in_name="ros"))
photos = [one.photo for one in Measurement.objects.select_related("photo")]
of_feet = [(photo.bird_id, photo.foot) for photo in photos]
bird, foot = max(sorted(set(of_feet), key=str), key=of_feet.count)
pages = {
    "Today": reverse("today", args=[flock.pk]),
    "Bird": reverse("bird", args=[flock.pk, bird]),
    "Check": reverse("check_bird", args=[flock.pk, bird]),
    "Series": reverse("series", args=[flock.pk, bird, foot]),
    "Trends": reverse("trends:page", args=[flock.pk]),
    "House": reverse("housing:house", args=[flock.pk, flock.house_set.earliest("name").pk]),
}
print(json.dumps({"pages": pages, "session": client.cookies["flockcare_session"].value}))
"""


def installed(folder: Path) -> Path:
    """The program, put into the folder if it is not there."""
    program = folder / "node_modules" / ".bin" / "lighthouse"
    if not program.exists():
        subprocess.run(
            ["npm", "install", "--silent", "--prefix", str(folder), LIGHTHOUSE], check=True
        )
    return program


def report_of(program: Path, url: str, session: str) -> dict:
    try:
        return _report_of(program, url, session)
    except subprocess.CalledProcessError:
        # Now and then the browser records nothing; Lighthouse itself asks for one more try.
        return _report_of(program, url, session)


def _report_of(program: Path, url: str, session: str) -> dict:
    done = subprocess.run(
        [
            *(str(program), url, "--quiet", "--output=json", "--max-wait-for-load=90000"),
            f"--only-categories={','.join(CATEGORIES)}",
            f"--chrome-flags={CHROMIUM}",
            f"--extra-headers={json.dumps({'Cookie': f'flockcare_session={session}'})}",
        ],
        env={**os.environ, "CHROME_PATH": chromium()},
        stdout=subprocess.PIPE,
        text=True,
        check=True,
    )
    report = json.loads(done.stdout)
    if report["finalDisplayedUrl"].rstrip("/") != url.rstrip("/"):
        raise SystemExit(f"{url} led to {report['finalDisplayedUrl']}: nobody was signed in.")
    return report


def scores(report: dict) -> dict[str, int]:
    return {
        name: round(100 * category["score"]) if category["score"] is not None else -1
        for name, category in report["categories"].items()
    }


def shift(report: dict) -> float:
    return report["audits"]["cumulative-layout-shift"]["numericValue"]


def figures(report: dict) -> str:
    audits = report["audits"]
    seconds = (
        audits[name]["numericValue"] / 1000
        for name in ("first-contentful-paint", "largest-contentful-paint", "total-blocking-time")
    )
    requests = audits["network-requests"]["details"]["items"]
    kilobytes = sum(request.get("transferSize", 0) for request in requests) / 1000
    return (
        "".join(f"{score:15}" for score in scores(report).values())
        + f"{shift(report):9.3f}"
        + "".join(f"{value:7.2f}" for value in seconds)
        + f"{kilobytes:8.0f}{len(requests):10}"
    )


def short_of(report: dict) -> list[str]:
    """What keeps a page from what it is held to, in the program's own words."""
    said = [] if shift(report) <= LARGEST_SHIFT else [f"layout shift {shift(report):.3f}"]
    for name, least in CATEGORIES.items():
        if scores(report)[name] >= least:
            continue
        for part in report["categories"][name]["auditRefs"]:
            audit = report["audits"][part["id"]]
            if part["weight"] and audit["score"] is not None and audit["score"] < 0.9:
                said.append(f"{name}: {audit['title']} {audit.get('displayValue', '')}".strip())
    return said


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--data", type=Path)
    parser.add_argument("--node", type=Path)
    parser.add_argument("--only", nargs="+")
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--write", action="store_true", help=f"keep the table in {TABLE.name}")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        program = installed(given.node or Path(name))
        demo = Up(given.data or Path(name, "demo"), {"FLOCKCARE_DEMO": "1"})
        try:
            demo.start("--demo")
            table = measured(program, demo, given)
        finally:
            demo.stop()
    if given.write:
        TABLE.write_text(table)


def measured(program: Path, demo: Up, given) -> str:
    told = json.loads(demo.run("manage.py", "shell", "-v", "0", "-c", PREPARE))
    lines, short = [], []

    def say(line: str) -> None:
        print(line, flush=True)
        lines.append(line)

    say(
        f"{'page':<8}"
        + "".join(f"{name:>15}" for name in CATEGORIES)
        + f"{'shift':>9}{'FCP s':>7}{'LCP s':>7}{'TBT s':>7}{'kB':>8}{'requests':>10}{'load':>7}"
    )
    loads = []
    for page, path in told["pages"].items():
        if given.only and page not in given.only:
            continue
        reports = []
        for _ in range(given.runs):
            loads.append(os.getloadavg()[0])
            reports.append(report_of(program, demo.url + path, told["session"]))
        reports.sort(key=lambda report: scores(report)["performance"])
        report = reports[len(reports) // 2]
        load = statistics.median(loads[-given.runs :])
        say(f"{page:<8}{figures(report)}{load:7.1f}")
        short += [f"{page}: {each}" for each in short_of(report)]
    say(
        f"{LIGHTHOUSE}, mobile, cold, median of {given.runs} by performance; {os.cpu_count()} cores"
    )
    for each in short:
        say(each)
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    main()
