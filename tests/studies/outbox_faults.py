"""How the outbox and its server bear faults: what was acknowledged is stored, once, byte by byte.

.venv/bin/python tests/studies/outbox_faults.py           about ten minutes
.venv/bin/python tests/studies/outbox_faults.py --short   under a minute
    --on sqlite       one process on SQLite, as `manage.py up` serves it (this is the default)
    --on postgresql   two processes on a PostgreSQL server, which the study starts and kills, too
    --on s3           photos in S3-compatible storage; always short

First twenty phones that speak the outbox's protocol send checks, steps of care and weighings with
photos over bad lines: some photos twice at once, or again while the server still decodes them, some
records in other words than before. Meanwhile the server is killed (SIGKILL), also while it writes a
file, and started again. Then an import with photos is killed midway and run again. Then a real
Chromium with the app's own scripts logs checks, each of which meets one fault at one step of its
sending.

Prints two tables; ends with an error if anything that was acknowledged is gone, cut off, other than
it was sent, stored twice, or could be taken by a power cut, and if a file belongs to no photo.
"""

import argparse
import contextlib
import json
import sys
import tempfile
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from tests.browser.line import FAULTS, Line  # noqa: E402
from tests.offline.audit import KINDS, Bucket, Folder, Syncs, audit, stored  # noqa: E402
from tests.offline.entries import DOUBLE, PAGE_FIRST, TWO_WORDS, Entry, hard_entries  # noqa: E402
from tests.offline.phones import Phone  # noqa: E402
from tests.running import with_postgresql, with_s3  # noqa: E402
from tests.running.killable import Home, TwoProcesses, sweep, wait_for_quiet  # noqa: E402
from tests.studies.__faults_chromium import in_chromium  # noqa: E402
from tests.studies.__faults_import import killed_imports, look_at_import  # noqa: E402
from tests.studies.__faults_kills import AIMS, Killer  # noqa: E402

PHONES = 20
MEANT = {
    "before": "cut before it reaches the server",
    "after": "cut after the server stored it",
    "half": "answer breaks off in the middle",
    "trouble": "503 from a server in trouble",
    "strange": "page of a strange network",
}


@dataclass(frozen=True)
class Size:
    """How many entries each phone has, how often what is killed, how long phones try, seconds."""

    each: int
    kills: int
    import_kills: int
    import_photos: int
    patience: float


FULL = Size(each=26, kills=21, import_kills=6, import_photos=18, patience=900)
SHORT = Size(each=2, kills=3, import_kills=1, import_photos=4, patience=240)


def killed(place, prepared, database, on: str, size: Size) -> dict:
    """Twenty phones send on bad lines while ``Killer`` kills."""
    birds, sessions = list(prepared["birds"].values()), list(prepared["sessions"].values())
    with Line(place.port) as line:
        line.chance = 0.25
        phones = [
            Phone(
                int(line.url.rsplit(":", 1)[1]),
                prepared["flock"],
                sessions[number % len(sessions)],
                hard_entries(birds, size.each, number),
                size.patience,
            )
            for number in range(PHONES)
        ]
        entries = [entry for phone in phones for entry in phone.entries]
        keys = sum(len(entry.keys) for entry in entries)

        def share_done() -> float:
            if not any(phone.is_alive() for phone in phones):
                return 1
            return sum(len(entry.acknowledged) for entry in entries) / keys

        for phone in phones:
            phone.start()
        killer = Killer(place, database, on)
        killer.run(max(size.kills, len(AIMS[on])), share_done, patience=size.patience)
        for phone in phones:
            phone.join(timeout=size.patience)
        met = Counter(line.met)
    return {"entries": entries, "phones": phones, "killer": killer, "met": met}


def counts(sent: dict, now: dict, before: dict, flock: str) -> dict[str, int]:
    """What the phones had and what came of it; adds what both columns of the table say."""
    entries, phones, killer = sent["entries"], sent["phones"], sent["killer"]
    ways = sum((phone.ways for phone in phones), Counter())
    answers = sum((phone.answers for phone in phones), Counter())
    records, photos = (
        sum(len(now[kind]) - len(before[kind]) for kind in KINDS),
        sum(photo["flock"] == flock for photo in now["photos"]) - len(before["photos"]),
    )
    sent["logged"] = len(_records_and_pictures(entries, {key for e in entries for key in e.keys}))
    acknowledged = {key for entry in entries for key in entry.acknowledged}
    sent["acknowledged"] = len(_records_and_pictures(entries, acknowledged))
    sent["stored"] = records + photos
    return {
        "records logged": len(entries),
        "photos logged": sum(len(entry.photos) for entry in entries),
        "not acknowledged in the time there was": sum(not entry.is_done for entry in entries),
        **{f"photos sent {way}": ways[way] for way in DOUBLE},
        f"records sent {PAGE_FIRST}, then corrected": ways[PAGE_FIRST],
        f"records sent in {TWO_WORDS}": ways[TWO_WORDS],
        "corrections refused with 409": ways["other words refused"],
        **{f"killed {aim}": killer.done[aim] for aim in killer.aims},
        "kills that left a file half written": killer.inside,
        "answers of a fault in Flockcare (500)": answers[500],
    }


def _records_and_pictures(entries: list[Entry], keys: set[str]) -> set:
    """Those under these keys; a picture that came under two keys is one."""
    records = {entry.key for entry in entries} & keys
    return records | {
        content for entry in entries for key, content in entry.photos.items() if key in keys
    }


def study(place, storage, database, on: str, size: Size, *, short: bool) -> dict:
    """What Chromium, the phones and the import met, and ``Findings`` about what is there now."""
    place.run("manage.py", "up", "--prepare-only")
    prepared = json.loads(place.run("tests/browser/prepare.py"))
    place.start()
    browser = in_chromium(place, prepared, short=short)
    sent = killed(place, prepared, database, on, size)
    folder = place.data.parent / "import"
    imported = killed_imports(
        place, folder, storage, kills=size.import_kills, photos=size.import_photos
    )
    wait_for_quiet(storage)
    place.stop()
    swept, now = sweep(place), stored(place)
    syncs = Syncs(place.journal) if storage.root else None
    found = audit(
        now, storage, sent["entries"], flock=prepared["flock"], before=browser["now"], syncs=syncs
    )
    look_at_import(found, now, place, imported["pictures"], storage)
    figures = counts(sent, now, browser["now"], prepared["flock"])
    figures["imports killed midway"] = imported["kills"]
    return {"sent": sent, "browser": browser, "found": found, "figures": figures, "swept": swept}


def report(done: dict, on: str) -> list[str]:
    """Print the tables; what is wrong, in words."""
    sent, browser, found, figures = (done[name] for name in ("sent", "browser", "found", "figures"))
    wrong = found.words()
    if left := figures["not acknowledged in the time there was"]:
        wrong.append(f"{left} records or their photos did not get through in time")
    kills = sent["killer"].done.total()
    print(f"On {on}\n")
    print(f"{'fault':<38}{'20 phones':>12}{'Chromium':>12}")
    for fault in FAULTS:
        print(f"{MEANT[fault]:<38}{sent['met'][fault]:>12}{browser['met'][fault]:>12}")
    print(f"{'server killed (SIGKILL) and restarted':<38}{kills:>12}{0:>12}")
    failed = sum(phone.failures for phone in sent["phones"])
    print(f"{'requests that failed by that':<38}{failed:>12}{'':>12}")
    for what in ("logged", "acknowledged", "stored"):
        print(f"{'records and photos ' + what:<38}{sent[what]:>12}{browser[what]:>12}")
    print(f"{'lost, doubled or without record':<38}", end="")
    print(f"{found.total():>12}{len(browser['wrong']):>12}")
    faults = sent["met"].total() + browser["met"].total() + kills + figures["imports killed midway"]
    print(f"\nFaults tried: {faults}\n")
    for what, count in {**figures, **found.counts()}.items():
        print(f"{what:<60}{count:>8}")
    if not done["swept"]:
        print("(There is no command that sweeps files away which belong to no photo.)")
    return wrong + browser["wrong"]


@contextlib.contextmanager
def installed(on: str, folder: Path):
    """The installation, its storage, and the database server where it has one of its own."""
    if on == "s3":
        server, environment = with_s3.started()
        try:
            place = Home(folder, environment)
            yield place, Bucket(place), None
        finally:
            server.stop()
    elif on == "postgresql":
        with with_postgresql.Server() as database:
            place = TwoProcesses(folder, {"FLOCKCARE_DATABASE": database.url})
            yield place, Folder(place), database
    else:
        place = Home(folder, {})
        yield place, Folder(place), None


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--short", action="store_true", help="for every run")
    parser.add_argument("--on", choices=AIMS, default="sqlite")
    asked = parser.parse_args()
    short = asked.short or asked.on == "s3"
    try:
        with (
            tempfile.TemporaryDirectory() as folder,
            installed(asked.on, Path(folder)) as (place, storage, database),
        ):
            try:
                size = SHORT if short else FULL
                done = study(place, storage, database, asked.on, size, short=short)
            finally:
                place.end()
    except with_postgresql.Missing as missing:
        sys.exit(str(missing))
    wrong = report(done, asked.on)
    for words, count in Counter(wrong).items():
        print("WRONG:", words, f"({count} times)" if count > 1 else "")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
