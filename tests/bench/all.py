"""Everything that Flockcare is held to, measured in one run; what it costs as flocks grow.

    .venv/bin/python tests/bench/all.py            half an hour; writes all.txt, all.json and the
                                                   tables of the other scripts here
    .venv/bin/python tests/bench/all.py --short    some minutes, small flocks, writes nothing
    … --parts FOLDER                               keeps the parts, measures only what lacks there

Needs Chromium, Node (for Lighthouse) and, for the thousand flocks, Debian's postgresql-common
(``pg_virtualenv``), which makes a server of its own and throws it away. Times are ratios to an
empty page in the same run, or processor time: both hold on a machine that does other things
besides; Lighthouse wants a quiet one. What comes from the studies is read from their tables, which
take hours.
"""

import argparse
import datetime as dt
import importlib.metadata
import json
import os
import platform
import re
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import xml.etree.ElementTree as ElementTree
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.bench import load

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
STUDIES = ROOT / "tests" / "studies"
# Pages, and how many times a bare view of the same keeper they may cost.
HOT = {"Today": 4, "Bird": 8, "Check form": 4, "Save a clear check": 5}
# Scripts that print a table of their own, kept beside them.
TABLES = (
    "lighthouse",
    "analysis",
    "connections",
    "first_minutes",
    "exchange",
    "import_500",
    "intake",
    "sorting",
    "sorting_by_key",
    "vet",
    "words",
)
IN_A_BROWSER = (
    "tests/browser/test_check.py",
    "tests/browser/test_weight.py",
    "tests/browser/test_accessibility.py",
    "tests/browser/test_offline_killed.py",
)


def run(*command: str) -> None:
    print("+", *command, flush=True)
    subprocess.run(command, cwd=ROOT, check=True, env={**os.environ, "OMP_NUM_THREADS": "1"})


def part(script: str, folder: Path, *options: str, before: tuple[str, ...] = ()) -> dict:
    target = folder / f"{script}.json"
    if not target.exists():
        run(*before, sys.executable, str(HERE / f"{script}.py"), str(target), *options)
    return json.loads(target.read_text())


def table(script: str, folder: Path) -> str:
    """What a script prints, as the table that is kept."""
    target = folder / f"{script}.txt"
    if not target.exists():
        command = [sys.executable, str(HERE / f"{script}.py")]
        print("+", *command, flush=True)
        said = subprocess.run(command, cwd=ROOT, check=True, stdout=subprocess.PIPE, text=True)
        target.write_text(said.stdout)
    return target.read_text()


def in_a_browser(folder: Path) -> dict[str, list[int]]:
    """What the browser tests measure, by the name they give it; some by several tests."""
    report = folder / "browser.xml"
    if not report.exists():
        browse(report)
    properties = ElementTree.parse(report).iter("property")  # noqa: S314 (written by browse)
    found: dict[str, list[int]] = {}
    for each in properties:
        found.setdefault(each.get("name"), []).append(int(each.get("value")))
    return found


def browse(report: Path) -> None:
    command = [sys.executable, "-m", "pytest", "-q", f"--junitxml={report}"]
    command += ["-o", "junit_family=xunit1", *IN_A_BROWSER]
    print("+", *command, flush=True)
    subprocess.run(command, cwd=ROOT, check=False)


def machine() -> list[str]:
    names = Path("/proc/cpuinfo").read_text()
    name = re.search(r"model name\s*:\s*(.+)", names)
    family = re.search(r"cpu family\s*:\s*(\d+)", names), re.search(r"model\s*:\s*(\d+)", names)
    memory = int(re.search(r"MemTotal:\s*(\d+)", Path("/proc/meminfo").read_text())[1])
    versions = [
        f"{package} {importlib.metadata.version(package)}"
        for package in ("Django", "numpy", "scipy", "pillow", "gunicorn", "psycopg")
    ]
    return [
        f"{os.cpu_count()} cores of {name[1] if name else platform.machine()}"
        f" (family {family[0][1]}, model {family[1][1]}), {memory / 2**20:.0f} GiB,"
        f" {platform.system()} {platform.release()}",
        f"Python {platform.python_version()}, SQLite {sqlite3.sqlite_version}, "
        + ", ".join(versions),
        f"Load average of the machine when the parts were put together: {os.getloadavg()[2]:.1f}",
    ]


def held_to(results: dict):
    """Rows of the table: what, the figure it is held to, what was measured, whether it holds."""
    seen, rows = results["browser"], results["grid"]["rows"]
    yield most("taps from Today to a saved clear check", 3, max(seen["taps clear"]))
    yield most("taps from Today to a saved finding, no photo", 8, max(seen["taps finding"]))
    yield most("check page, first visit, bytes", 100_000, max(seen["bytes"]))
    yield most("check page, requests to others", 0, max(seen["requests to others"]))
    largest = max(row["birds"] for row in rows)
    oldest = max(row["years"] for row in rows)
    where = f"{largest} birds, {oldest} years"
    flock = [row for row in rows if row["birds"] == largest]
    pages = sorted({row["page"] for row in flock})
    asked = {page: [row["queries"] for row in flock if row["page"] == page] for page in pages}
    yield most(f"questions of a page, {where}", 12, max(map(max, asked.values())))
    # Saves and Trends are no pages that list; whatever grows is named.
    grew = [page for page, counts in asked.items() if len(set(counts)) > 1]
    yield most("pages that ask more after ten years", 0, len(grew), ", ".join(grew))
    for page, limit in HOT.items():
        row = next(r for r in flock if r["page"] == page and r["years"] == oldest)
        ratio = row["page processor"] / row["bare processor"]
        yield most(f"{page}, times an empty page, {where}", limit, round(ratio, 1))
    for page, limit in (("Trends, nothing kept", 1), ("Trends again", 0.1)):
        row = next(r for r in flock if r["page"] == page and r["years"] == oldest)
        yield most(f"{page}, seconds, {where}", limit, round(row["page processor"] / 1000, 3))
    if pages := results["tables"].get("lighthouse"):
        yield from lighthouse(pages)
    if words := results["tables"].get("words"):
        shown = int(re.search(r"^Trends +(\d+)", words, re.M)[1])
        yield most("words on Trends before anything is opened", 400, shown)
    if exchange := results["tables"].get("exchange"):
        times = re.search(r"^ *\d+ +\d+ +240 .* ([\d.]+) +\d+$", exchange, re.M)[1]
        yield most("import of 240 photos, times decoding them", 4, float(times))
    share = re.search(r"within 5 %\s+([\d.]+) of", (STUDIES / "card_scenes.txt").read_text())[1]
    yield least("area from a card photo, tilt ≤ 30°, within 5 %", 0.95, float(share))
    edges = (STUDIES / "suggested_areas.txt").read_text()
    edges = re.findall(r"^ +all +\d+ +\d+ +\d+ +([\d.]+) of +\d+ +(\d+)$", edges, re.M)
    yield least("suggested edges within what they state", 0.97, min(float(e[0]) for e in edges))
    yield most("… more than 20 % off and not warned", 0, sum(int(e[1]) for e in edges))
    yield least("coverage of the 95 % intervals, worst cell, %", 93, worst_coverage())
    yield most("20 phones, server killed: lost or doubled", 0, sum(seen["lost or doubled"]))
    yield most("axe violations, all pages, light and dark", 0, sum(seen["axe violations"]))
    if thousand := results.get("thousand"):
        whole = thousand["read_from_end_to_end"]
        yield most(
            f"tables read beyond a flock, {thousand['flocks']:,} flocks",
            0,
            len(whole),
            ", ".join(whole),
        )


def lighthouse(table: str):
    rows = re.findall(r"^(\w+) +(\d+) +(\d+) +(\d+) +([\d.]+) ", table, re.M)
    for column, what, limit in (
        (1, "performance", 95),
        (2, "accessibility", 100),
        (3, "best practices", 100),
    ):
        lowest = min(int(row[column]) for row in rows)
        yield least(f"Lighthouse, {what}, lowest of {len(rows)} pages", limit, lowest)
    shift = max(float(row[4]) for row in rows)
    yield most("layout shift, highest of them", 0.02, shift)


def most(what: str, limit, value, more: str = "") -> tuple[str, str, str, str]:
    return _row(what, f"≤ {limit:,}", value, value is not None and float(value) <= limit, more)


def least(what: str, limit, value) -> tuple[str, str, str, str]:
    return _row(what, f"≥ {limit}", value, value is not None and value >= limit)


def _row(what, limit, value, holds: bool, more: str = ""):
    words = "not measured" if value is None else f"{value}"
    return what, limit, words, ("yes" if holds else "NO") + (f" ({more})" if more else "")


def worst_coverage() -> float:
    """The smallest coverage of the headline interval: tenth column of the study's rows."""
    worst = 100.0
    for line in (STUDIES / "analysis_coverage.txt").read_text().splitlines():
        words = line.split()
        if len(words) > 12 and words[0].isdigit() and ">" in words[2]:
            worst = min(worst, float(words[9]))
    return worst


def grown(rows: list[dict], *columns: str):
    """Milliseconds of processor time of each page: a line a page, a column a flock."""
    flocks = list(dict.fromkeys(tuple(row[name] for name in columns) for row in rows))
    for number, name in enumerate(columns):
        yield f"  {name:<22}" + "".join(f"{flock[number]:>10,}" for flock in flocks)
    for page in dict.fromkeys(row["page"] for row in rows):
        of = {tuple(row[name] for name in columns): row for row in rows if row["page"] == page}
        for words, value in (
            (page, lambda row: f"{row['page processor']:.1f}"),
            ("  times an empty page", lambda row: f"{_ratio(row):.1f}"),
            ("  questions", lambda row: f"{row['queries']}"),
            ("  in the database, ms", lambda row: f"{row['database processor']:.1f}"),
        ):
            if "database" in words and "database processor" not in next(iter(of.values())):
                continue
            yield f"{words:<24}" + "".join(f"{value(of[flock]):>10}" for flock in flocks)


def _ratio(row: dict) -> float:
    return row["page processor"] / row["bare processor"]


def report(results: dict) -> list[str]:
    lines = [f"Measured on {results['day']}", *results["machine"], ""]
    lines.append(f"{'what':<58}{'held to':>10}{'measured':>14}  holds")
    for what, limit, value, holds in results["held_to"]:
        lines.append(f"{what:<58}{limit:>10}{value:>14}  {holds}")
    lines += ["", "Embedded default (SQLite), milliseconds of processor time"]
    lines += list(grown(results["grid"]["rows"], "birds", "years"))
    photo = results["grid"]["photo"]
    lines += [
        f"Taking in a photo of 12 megapixels, {photo['sent_bytes'] / 1e6:.1f} MB: "
        f"{photo['take_in_ms']:.0f} ms; kept in all sizes: {photo['stored_bytes'] / 1e6:.1f} MB",
        f"Handing out a photo: {photo['hand_out_ms']:.1f} ms",
    ]
    if thousand := results.get("thousand"):
        lines += ["", f"{thousand['server']}, milliseconds of processor time"]
        lines += list(grown(thousand["rows"], "flocks", "birds", "years"))
        lines += [
            f"{thousand['flocks']:,} flocks of {thousand['birds']} birds with {thousand['years']} "
            f"years: {thousand['database_bytes'] / 1e6:.0f} MB; dumped in "
            f"{thousand['dump_seconds']:.0f} s to {thousand['dump_bytes'] / 1e6:.0f} MB",
            "",
            *load.lines(results),
        ]
    return [line.rstrip() for line in lines]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--parts", type=Path)
    asked = parser.parse_args()
    short = ["--short"] if asked.short else []
    with tempfile.TemporaryDirectory() as name:
        folder = asked.parts or Path(name)
        folder.mkdir(exist_ok=True)
        results = {
            "day": str(dt.datetime.now(dt.UTC).date()),
            "machine": machine(),
            "grid": part("grid", folder, *short),
            "browser": in_a_browser(folder),
            "tables": {} if asked.short else {name: table(name, folder) for name in TABLES},
        }
        if shutil.which("pg_virtualenv"):
            results["thousand"] = part("thousand", folder, *short, before=("pg_virtualenv",))
        else:
            print("No pg_virtualenv here (Debian: postgresql-common): no thousand flocks.")
    results["held_to"] = list(held_to(results))
    lines = report(results)
    print("\n".join(lines))
    for name, said in results.pop("tables").items():
        HERE.joinpath(f"{name}.txt").write_text(said)
    if not asked.short:
        load.RESULTS.write_text(json.dumps(results, indent=1))
        load.RESULTS.with_suffix(".txt").write_text("\n".join(lines) + "\n")
    return 1 if any(row[3].startswith("NO") for row in results["held_to"]) else 0


if __name__ == "__main__":
    sys.exit(main())
