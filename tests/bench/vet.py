"""What a vet sheet costs for a hen with ten years of weekly checks and 40 photos.

.venv/bin/python tests/bench/vet.py        about two minutes; prints what stands in vet.txt

The photos have 12 megapixels, every other one is measured; 24 are printed. Each figure is of whole
requests inside Django (test client, no network), in seconds of one processor: it does not count
what else the machine does. Machines differ, so beside it stands the ratio to opening the same 24
originals with Pillow and writing each anew at 800 pixels, measured in turns in the same run.
"""

import argparse
import io
import os
import statistics
import sys
import tempfile
import time
from datetime import timedelta
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))
PHOTOS, SIZE, PX_PER_MM = 40, (4000, 3000), 25.0


def set_up(folder: Path) -> None:
    os.environ["DJANGO_SETTINGS_MODULE"] = "flockcare.settings"
    os.environ["FLOCKCARE_DATA"] = str(folder)
    import django

    django.setup()
    from django.conf import settings
    from django.core.management import call_command

    settings.ALLOWED_HOSTS.append("testserver")
    call_command("migrate", verbosity=0)
    call_command("collectstatic", verbosity=0, interactive=False)


def fill():
    """The client of a keeper, and the hen."""
    from django.test import Client
    from django.utils import timezone

    from flockcare.people.services import add_keeper, start_flock
    from tests.vetsheet.vet_rows import full_bird, many_records, measure

    keeper = add_keeper(name="Ros", sign_in_name="ros", password="straw and oats 7")
    flock = start_flock(owner=keeper, name="Bench", time_zone="Europe/London", units="metric")
    bird = full_bird(flock, keeper, keeper)
    bird.photo_set.all().delete()
    many_records(bird, years=10)
    now = timezone.now()
    for number in range(PHOTOS):
        when = now - timedelta(days=30 * number + 1)
        taken = keep(bird, when, painted(number))
        if number % 2:
            measure(taken, px_per_mm=PX_PER_MM)
    client = Client()
    client.force_login(keeper)
    return client, bird


def painted(seed: int) -> io.BytesIO:
    """Soft blotches with grain, so that it compresses like a photograph."""
    import numpy as np
    from PIL import Image

    random = np.random.default_rng(seed)
    blotches = random.integers(60, 220, (50, 66, 3), dtype=np.uint8)
    picture = Image.fromarray(blotches).resize(SIZE, Image.Resampling.BICUBIC)
    grain = Image.fromarray(random.integers(88, 168, SIZE[::-1], dtype=np.uint8)).convert("RGB")
    stream = io.BytesIO()
    Image.blend(picture, grain, 0.3).save(stream, "JPEG", quality=90)
    return stream


def keep(bird, when, stream):
    from flockcare.photos.models import Photo, Precision
    from flockcare.photos.services import add_photo

    fields = {"flock": bird.flock, "bird": bird, "foot": "left"}
    photo, _ = add_photo(keeper=None, upload=stream, name="foot.jpg", **fields)
    photos = Photo.objects.filter(pk=photo.pk)
    photos.update(taken=when, taken_precision=Precision.MOMENT)
    return photos.get()


def plain_pillow(paths) -> None:
    from PIL import Image

    for path in paths:
        with Image.open(path) as image:
            image.thumbnail((800, 800))
            image.save(io.BytesIO(), "JPEG", quality=85)


def timed(work) -> tuple[float, object]:
    start = time.process_time()
    result = work()
    return time.process_time() - start, result


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--repeats", type=int, default=9)
    parser.add_argument("--short", action="store_true", help="three runs of each")
    asked = parser.parse_args()
    repeats = 3 if asked.short else asked.repeats
    with tempfile.TemporaryDirectory() as folder:
        set_up(Path(folder))
        from django.core.files.storage import default_storage

        client, bird = fill()
        photos = bird.photo_set.all()[:24]
        originals = [default_storage.path(photo.path()) for photo in photos]
        base = f"/f/{bird.flock_id}/birds/{bird.pk}/vet/"
        asks = {
            "PDF, all records, A4": f"{base}sheet.pdf?period=all",
            "PDF, last 12 months, Letter": f"{base}sheet.pdf?period=12&paper=letter",
            "page, all records": f"{base}?period=all",
        }
        looks = bird.check_set.count()
        print(f"{looks} checks, {bird.carestep_set.count()} steps of care, {PHOTOS} photos")
        print(f"{'':30}{'first':>8}{'median':>8}{'longest':>9}{'ratio':>7}{'size':>9}")
        for name, address in asks.items():
            first, answer = timed(lambda address=address: client.get(address))
            assert answer.status_code == 200
            times, ratios = [], []
            for _ in range(repeats):
                plain, _ = timed(lambda: plain_pillow(originals))
                spent, _ = timed(lambda address=address: client.get(address))
                times.append(spent)
                ratios.append(spent / plain)
            print(
                f"{name:30}{first:7.2f}s{statistics.median(times):7.2f}s{max(times):8.2f}s"
                f"{statistics.median(ratios):7.2f}{len(answer.content) / 1e6:6.2f} MB",
                flush=True,
            )


if __name__ == "__main__":
    main()
