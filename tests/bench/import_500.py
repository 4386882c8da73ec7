"""An export with 500 photos comes in by a real browser that is closed midway, and goes again.

    .venv/bin/python tests/bench/import_500.py                some minutes; prints one table
    .venv/bin/python tests/bench/import_500.py --photos 60    fewer
    .venv/bin/python tests/bench/import_500.py --write        and keeps the table beside this file

A flock of 16 hens with three years of weekly checks has photos painted as the demo's, as wide as
phones send them on. A Chromium exports it, imports that into a second, empty flock, is closed while
the photos are read, and another one finds the import again, waits for its end and undoes it. Then
every record and every file must be as before; photos stay deleted for 30 days, as always.

The import is measured as a multiple of decoding each of its photos once, in processor time of the
process that serves, its pages and all, so that others at work on the machine hardly count.
"""

import argparse
import contextlib
import io
import json
import os
import re
import sys
import tempfile
import time
import zipfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

TABLE = Path(__file__).with_suffix(".txt")
PHOTOS, BIRDS, YEARS, FEET = 500, 16, 3, 20
SIZE = (1600, 1200)
OLD, NEW = "Old yard", "Second yard"
PASSWORD = "straw and oats 7"
TICKS = os.sysconf("SC_CLK_TCK")
# How many photos are read when the browser is closed, and how many more when it is opened again.
CLOSED_AT, MORE = 20, 20


# --- Steps in the installation, each a process of its own


def prepare(photos: str) -> None:
    import datetime as dt

    from django.core.management import call_command

    from flockcare.people.services import add_keeper, start_flock
    from tests.exchange.big_flock import write_big_flock

    ada = add_keeper(name="Ada", sign_in_name="ada", password=PASSWORD)
    old, _ = (
        start_flock(owner=ada, name=name, time_zone="Europe/London", units="metric")
        for name in (OLD, NEW)
    )
    with tempfile.TemporaryDirectory() as folder:
        until = dt.date.today() - dt.timedelta(days=1)  # noqa: DTZ011 (to the day is enough)
        records = write_big_flock(Path(folder) / "in", birds=BIRDS, years=YEARS, until=until)
        call_command("import_records", records, flock=OLD, stdout=io.StringIO())
    _put_photos(old, ada, int(photos))


def _put_photos(flock, keeper, photos: int) -> None:
    """In place of 500 uploads: what was painted, each with a grain of its own."""
    import datetime as dt
    import hashlib

    import numpy as np
    from django.core.files.base import ContentFile
    from django.core.files.storage import default_storage
    from django.utils import timezone
    from PIL import Image

    from flockcare.demo.paint import GROUNDS, Foot, Sore, paint_foot
    from flockcare.photos.models import Photo

    random = np.random.default_rng(1)
    grounds, birds = list(GROUNDS), list(flock.bird_set.order_by("name"))
    painted = []
    for seed in range(FEET):
        foot = paint_foot(
            Foot("left" if seed % 2 else "right", seed=seed),
            seed=seed,
            ground=grounds[seed % len(grounds)],
            sore=Sore("pad", 40.0 + 5 * seed),
            width=SIZE[0],
            height=SIZE[1],
        )
        painted.append(np.asarray(foot.image, np.int16))
    for number in range(photos):
        grain = random.integers(-3, 4, (SIZE[1], SIZE[0], 1), dtype=np.int16)
        pixels = np.clip(painted[number % FEET] + grain, 0, 255).astype(np.uint8)
        out = io.BytesIO()
        Image.fromarray(pixels).save(out, "JPEG", quality=85)
        photo = Photo(
            flock=flock,
            keeper=keeper,
            bird=birds[number % len(birds)],
            foot="left" if number % FEET % 2 else "right",
            taken=timezone.now() - dt.timedelta(hours=2 * number),
            taken_precision="moment",
            taken_source="hand",
            width=SIZE[0],
            height=SIZE[1],
            stored_bytes=len(out.getvalue()),
            sha256=hashlib.sha256(out.getvalue()).hexdigest(),
            look_hash=number,
        )
        default_storage.save(photo.path(), ContentFile(out.getvalue()))
        photo.save(force_insert=True)


def state(*_) -> None:
    """{flock: {kind of record: [how many, digest of all their values]}} and the stored files."""
    import hashlib

    from django.apps import apps
    from django.conf import settings

    from flockcare.people import history
    from flockcare.people.models import Flock, FlockRecord

    kinds = [kind for kind in apps.get_models() if issubclass(kind, FlockRecord)]
    records = {}
    for flock in Flock.objects.all():
        settings_of = hashlib.sha256(str(history.values(flock)).encode()).hexdigest()
        records[flock.name] = {"people.Flock": [1, settings_of]}
        for kind in kinds:
            values = sorted(str(history.values(row)) for row in kind.objects.filter(flock=flock))
            digest = hashlib.sha256("\n".join(values).encode()).hexdigest()
            if values:
                records[flock.name][kind._meta.label] = [len(values), digest]
    files = {
        str(path.relative_to(settings.MEDIA_ROOT)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(Path(settings.MEDIA_ROOT).rglob("*"))
        if path.is_file()
    }
    print(json.dumps({"records": records, "files": files}))


def after_30_days(*_) -> None:
    """What is deleted by then for good."""
    import datetime as dt

    from django.utils import timezone

    from flockcare.photos.editing import purge

    print(purge(now=timezone.now() + dt.timedelta(days=31)))


def decode(export: str) -> None:
    """Processor seconds of decoding each photo of the export once."""
    from PIL import Image

    with zipfile.ZipFile(export) as archive:
        pictures = [name for name in archive.namelist() if name.endswith(".jpg")]
        start = time.process_time()
        for name in pictures:
            with Image.open(io.BytesIO(archive.read(name))) as image:
                image.load()
        print(json.dumps([len(pictures), time.process_time() - start]))


STEPS = {step.__name__: step for step in (prepare, state, after_30_days, decode)}


def run_step(name: str, given: list[str]) -> None:
    os.environ["DJANGO_SETTINGS_MODULE"] = "flockcare.settings"
    import django

    django.setup()
    STEPS[name](*given)


# --- The browser


def processor_seconds(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / TICKS


@contextlib.contextmanager
def opened(chromium, url: str):
    """A browser that Ada has just opened and signed in to; closed with all of it at the end."""
    browser = chromium()
    page = browser.new_page(base_url=url)
    page.set_default_timeout(600_000)
    page.goto("/")
    page.fill("[name=sign_in_name]", "ada")
    page.fill("[name=password]", PASSWORD)
    page.locator("main form button").first.click()
    page.wait_for_url(lambda address: "sign-in" not in address)
    yield page
    browser.close()


def read_when(page, least: int, of: int) -> int:
    """How many photos are read, as the page says, once they are so many or all."""
    page.wait_for_function(
        """least => {
          const said = document.querySelector("#photos-done")?.textContent.match(/^\\d+(?= of)/);
          return said === undefined || said === null || Number(said[0]) >= least;
        }""",
        arg=least,
        timeout=1_800_000,
    )
    found = re.search(r"(\d+) of \d+ photos? read", page.locator("main").inner_text())
    return int(found[1]) if found else of


def measure(chromium, installation, folder: Path, photos: int):
    """The lines of the table, as they become known."""

    def step(name: str, *given: str):
        return json.loads(installation.run(str(Path(__file__)), "--step", name, *given) or "null")

    installation.run("manage.py", "up", "--prepare-only")
    step("prepare", str(photos))
    installation.start()
    export = folder / "export.zip"
    with opened(chromium, installation.url) as page:
        page.goto("/flocks/")
        page.get_by_role("link", name=OLD).first.click()
        page.wait_for_url("**/today/")
        page.goto(page.url.replace("/today/", "/records/"))
        with page.expect_download(timeout=1_800_000) as download:
            page.get_by_role("link", name="Export everything").click()
        download.value.save_as(export)
    before = step("state")
    old = before["records"][OLD]
    records = sum(number for number, _ in old.values()) - 1
    yield f"The export: {export.stat().st_size / 2**20:.0f} MB, {records} records"
    yield f"  of them photos, {SIZE[0]} x {SIZE[1]} pixels: {old['photos.Photo'][0]}"
    # Before and after, since what else runs on the machine makes each second of work longer.
    decoded = [step("decode", str(export))]
    begun = processor_seconds(installation.process.pid)
    with opened(chromium, installation.url) as page:
        page.goto("/flocks/import/")
        page.get_by_text(f"{NEW}, which is empty").click()
        page.get_by_label("The export").set_input_files(export)
        page.get_by_role("button", name="Import").click()
        page.wait_for_url("**/flocks/import/*-*/", timeout=600_000)
        closed = read_when(page, min(CLOSED_AT, photos // 10), photos)
    yield f"Browser closed when the page said: {closed} of {photos} photos read"
    with opened(chromium, installation.url) as page:
        page.goto("/flocks/import/")
        page.get_by_role("link", name="Show its progress").click()
        again = read_when(page, closed + min(MORE, photos // 10), photos)
        yield f"Opened anew, found by “Show its progress”: {again} of {photos} photos read"
        page.get_by_role("heading", name="All imported").wait_for(timeout=3_600_000)
        took = processor_seconds(installation.process.pid) - begun
        yield "At its end: " + page.get_by_text("Imported:").inner_text()
        decoded.append(step("decode", str(export)))
        assert [number for number, _ in decoded] == [photos, photos]
        times = took / (sum(seconds for _, seconds in decoded) / 2)
        yield f"Import ÷ decoding its photos, processor time: {times:.1f}"
        load, cores = os.getloadavg()[2], os.cpu_count()
        yield f"  while {load:.0f} processes on average shared {cores} cores"
        both = step("state")
        counted = [{k: n for k, (n, _) in both["records"][name].items()} for name in (OLD, NEW)]
        assert counted[0] == counted[1], counted
        assert both["records"][OLD] == old
        yield f"Records of each kind in the new flock as in the old: {len(counted[1])} kinds, all"
        page.get_by_role("link", name="Undo this import").click()
        page.get_by_role("button", name="Undo this import").click()
        page.get_by_text("Undone: Import of").first.wait_for(timeout=600_000)
    after = step("state")
    assert after["records"] == before["records"], "records are left"
    yield "Undone in one go. Records, each value of each: as before"
    left = len(after["files"].keys() - before["files"].keys())
    gone = step("after_30_days")
    waited = f"{left} files of the {gone} deleted photos wait for 30 days"
    assert step("state") == before, "files are left"
    yield f"{waited}; after that each is as before"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--photos", type=int, default=PHOTOS)
    parser.add_argument("--write", action="store_true", help="keep the table beside this file")
    parser.add_argument("--step", nargs="+", help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    if chosen.step:
        run_step(chosen.step[0], chosen.step[1:])
        return
    from playwright.sync_api import sync_playwright

    from tests.browser.conftest import Installation, chromium

    lines = []
    with tempfile.TemporaryDirectory() as name, sync_playwright() as playwright:
        folder = Path(name)
        installation = Installation(folder / "data")

        def launch():
            return playwright.chromium.launch(executable_path=chromium(), args=["--no-sandbox"])

        try:
            for line in measure(launch, installation, folder, chosen.photos):
                print(line, flush=True)
                lines.append(line)
        finally:
            installation.stop()
    if chosen.write:
        TABLE.write_text("\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
