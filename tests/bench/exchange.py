"""Time and memory of an export and an import, as the flock grows.

    nice .venv/bin/python tests/bench/exchange.py            some minutes; the table is committed
    nice .venv/bin/python tests/bench/exchange.py --short    the three smaller flocks

Export: the zip that the page sends, in full, as a ratio to packing the very same files from a
folder into a zip. Import: that zip into a new flock in the background, as from the page, as a ratio
to unpacking it into a folder and, since each picture must be decoded to be trusted, to decoding
each of its pictures once. Ratios are of processor time, so that others at work on the machine do
not count. Each step is a process of its own; memory is how far its peak lies above what it held
when it had started.
"""

import argparse
import hashlib
import io
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
import zipfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

# Birds, years of weekly checks, photos, and how wide these are, in pixels, 4 to 3: as some send
# them on, and as phones take them.
SIZES = [(10, 1, 50, 1600), (16, 3, 240, 1600), (16, 1, 40, 4000), (60, 10, 500, 1600)]


def peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def start_django() -> None:
    os.environ["DJANGO_SETTINGS_MODULE"] = "flockcare.settings"
    import django

    django.setup()


def prepare(folder: Path, birds: int, years: int, photos: int, width: int) -> None:
    """The flock, through an import of its records; its pictures are put in place of an upload."""
    start_django()
    import numpy as np
    from django.core.files.base import ContentFile
    from django.core.files.storage import default_storage
    from django.core.management import call_command
    from django.utils import timezone
    from PIL import Image

    from flockcare.birds.models import Bird
    from flockcare.people.models import Flock, Keeper
    from flockcare.photos.models import Photo
    from tests.exchange.big_flock import write_big_flock

    call_command("migrate", verbosity=0)
    records = write_big_flock(folder / "records", birds=birds, years=years)
    call_command("import_records", records, flock="Big", create=True, verbosity=0)
    Keeper.objects.create(sign_in_name="ros", name="Ros")
    flock = Flock.objects.get()
    hens = list(Bird.objects.all())
    height = width * 3 // 4
    noise = np.random.default_rng(1).normal(0, 9, (height, width, 3))
    painted = np.clip(np.linspace(40, 210, width)[None, :, None] + noise, 0, 255)
    shade = painted.astype("uint8")
    for number in range(photos):
        shade[:8, :8], shade[:8, 8:16] = number % 251, number // 251
        out = io.BytesIO()
        Image.fromarray(shade).save(out, "JPEG", quality=85)
        digest = hashlib.sha256(out.getvalue() + str(number).encode()).hexdigest()
        photo = Photo(
            flock=flock,
            bird=hens[number % len(hens)],
            foot="left",
            taken=timezone.now(),
            taken_precision="day",
            taken_source="hand",
            width=width,
            height=height,
            stored_bytes=len(out.getvalue()),
            sha256=digest,
            look_hash=number,
        )
        default_storage.save(photo.path(), ContentFile(out.getvalue()))
        photo.save(force_insert=True)


def export(folder: Path) -> None:
    from flockcare.exchange.writing import Export
    from flockcare.people.models import Flock

    with (folder / "export.zip").open("wb") as file:
        for piece in Export(Flock.objects.get(name="Big")).zipped():
            file.write(piece)


def bring_in(folder: Path) -> None:
    from django.core.files import File

    from flockcare.exchange import importing
    from flockcare.people.models import Keeper

    keeper = Keeper.objects.get()
    with (folder / "export.zip").open("rb") as file:
        job = importing.begin(keeper=keeper, file=File(file), name="Brought", into=None)
    while job.state == job.State.WORKING:
        time.sleep(0.5)
        job.refresh_from_db()
    assert job.state == job.State.DONE, job.problems


def plain_unzip(folder: Path) -> None:
    with zipfile.ZipFile(folder / "export.zip") as archive:
        archive.extractall(folder / "plain")


def plain_zip(folder: Path) -> None:
    with zipfile.ZipFile(folder / "plain.zip", "w") as archive:
        for path in sorted((folder / "plain").rglob("*")):
            how = zipfile.ZIP_STORED if path.suffix == ".jpg" else zipfile.ZIP_DEFLATED
            if path.is_file():
                archive.write(path, path.relative_to(folder / "plain"), compress_type=how)


def plain_decode(folder: Path) -> None:
    from PIL import Image

    for path in (folder / "plain").rglob("*.jpg"):
        with Image.open(path) as image:
            image.load()


STEPS = {step.__name__: step for step in (export, plain_unzip, plain_zip, plain_decode, bring_in)}


def run_step(name: str, folder: Path) -> None:
    start_django()
    # What a serving process has loaded long before.
    import flockcare.exchange.services
    import flockcare.urls  # noqa: F401

    before, start = peak_mb(), time.process_time()
    STEPS[name](folder)
    print(json.dumps([time.process_time() - start, peak_mb() - before]))


def step(name: str, folder: Path, *arguments) -> tuple[float, float]:
    result = subprocess.run(
        [sys.executable, __file__, "--step", name, str(folder), *map(str, arguments)],
        env={**os.environ, "FLOCKCARE_DATA": str(folder / "data")},
        capture_output=True,
        text=True,
        check=False,
    )
    if result.returncode:
        raise SystemExit(result.stderr)
    return tuple(json.loads(result.stdout)) if name in STEPS else (0, 0)


def measure(birds: int, years: int, photos: int, width: int) -> str:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        step("prepare", folder, birds, years, photos, width)
        taken = {each: step(each, folder) for each in STEPS}
        megabytes = (folder / "export.zip").stat().st_size / 2**20
    seconds = {each: time for each, (time, _) in taken.items()}
    return (
        f"{birds:5} {years:5} {photos:6} {width:5} {megabytes:7.0f}"
        f" {seconds['export'] / seconds['plain_zip']:12.1f} {taken['export'][1]:9.0f}"
        f" {seconds['bring_in'] / seconds['plain_unzip']:12.1f}"
        f" {seconds['bring_in'] / seconds['plain_decode']:10.1f} {taken['bring_in'][1]:9.0f}"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--step", nargs="+")
    given = parser.parse_args()
    if given.step:
        name, folder, *rest = given.step
        if name == "prepare":
            prepare(Path(folder), *map(int, rest))
        else:
            run_step(name, Path(folder))
        return
    print(
        "birds years photos width  zip MB   export ÷ zip   peak MB  import ÷ unzip ÷ decode"
        "   peak MB"
    )
    for size in SIZES[:3] if given.short else SIZES:
        print(measure(*size), flush=True)


if __name__ == "__main__":
    main()
