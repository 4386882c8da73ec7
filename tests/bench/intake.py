"""What taking in a photo costs, next to plain Pillow in the same run.

    .venv/bin/python tests/bench/intake.py

Time: a 12-megapixel JPEG, sideways as phones send it, against decoding, turning and saving it with
Pillow alone at the same sizes and qualities; median of the ratios.
Memory: how far the resident size of a process of its own rises while it takes in one large file,
and one or eight pictures of 12 megapixels at once, each in a thread; and how much of it stays.
"""

import argparse
import io
import re
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import numpy as np
from PIL import Image, ImageOps

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from flockcare.photos import intake

PHONE = {
    "JPEG, 12 MP": (4000, 3000, {"format": "JPEG", "quality": 90}),
    "JPEG, 12 MP, progressive": (4000, 3000, {"format": "JPEG", "progressive": True}),
}
LARGE = {  # name: (width, height, save options); the largest of each kind that is taken in
    "JPEG, 80 MP, sideways": (10320, 7740, {"format": "JPEG", "quality": 90}),
    "JPEG, 80 MP, another colour profile": (10320, 7740, {"format": "JPEG", "icc": True}),
    "JPEG, 46 MP, progressive": (7840, 5860, {"format": "JPEG", "progressive": True}),
    "JPEG, 25 MP": (5770, 4330, {"format": "JPEG", "quality": 90}),
    "PNG, 56 MP": (8640, 6480, {"format": "PNG", "smooth": True}),
    "WebP, 14 MP": (4320, 3240, {"format": "WEBP", "method": 0}),
    "HEIC, 12 MP": (4000, 3000, {"format": "HEIF", "quality": 60}),
    "HEIC, 48 MP, in tiles": (
        8064,
        6048,
        {"format": "HEIF", "quality": 60, "tile_size": 512, "fast": True},
    ),
}


def paint(width: int, height: int, *, smooth: bool = False) -> Image.Image:
    """Soft blotches with grain, so that it compresses like a photograph."""
    random = np.random.default_rng(4)
    blotches = random.integers(0, 255, (height // 60, width // 60, 3), dtype=np.uint8)
    picture = Image.fromarray(blotches).resize(
        (width, height), Image.Resampling.NEAREST if smooth else Image.Resampling.BICUBIC
    )
    if smooth:
        return picture
    grain = Image.fromarray(random.integers(88, 168, (512, 512), dtype=np.uint8))
    sheet = Image.new("L", picture.size)
    for top in range(0, height, 512):
        for left in range(0, width, 512):
            sheet.paste(grain, (left, top))
    return Image.blend(picture, sheet.convert("RGB"), 0.35)


def write(path: str, name: str) -> None:
    width, height, options = (PHONE | LARGE)[name]
    options = dict(options)
    picture = paint(width, height, smooth=options.pop("smooth", False))
    if options.pop("fast", False):
        options["enc_params"] = {"preset": "ultrafast"}
    if options.pop("icc", False):
        # Any profile that does not call itself sRGB makes the colours be converted.
        options["icc_profile"] = wide_profile()
    exif = Image.Exif()
    exif[274] = 6
    picture.save(path, exif=exif, **options)


def wide_profile() -> bytes:
    from PIL import ImageCms

    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    return profile.replace("sRGB".encode("utf-16-be"), "wide".encode("utf-16-be"))


def resident(what: str) -> float:
    """MB of this process: VmRSS now, VmHWM at most so far (proc(5))."""
    # getrusage would also count the process that this one was forked from.
    status = Path("/proc/self/status").read_text()
    return int(re.search(rf"{what}:\s+(\d+) kB", status)[1]) * 1024 / 1e6


def take_in_file(path: str, count: int) -> None:
    """Print in MB how far memory rises while ``count`` threads take the file in, and what stays."""

    def work():
        with Path(path).open("rb") as stream:
            intake.take_in(stream, Path(path).name)

    threads = [threading.Thread(target=work) for _ in range(count)]
    before, start = resident("VmRSS"), time.perf_counter()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    seconds = time.perf_counter() - start
    risen, stays = resident("VmHWM") - before, resident("VmRSS") - before
    print(f"{risen:5.0f} MB {stays:5.0f} MB {seconds:6.1f} s", flush=True)


def plain_pillow(data: bytes) -> None:
    with Image.open(io.BytesIO(data)) as stored:
        picture = ImageOps.exif_transpose(stored)
    picture.save(io.BytesIO(), "JPEG", quality=92)
    for side in intake.SIZES:
        smaller = picture.copy()
        smaller.thumbnail((side, side))
        smaller.save(io.BytesIO(), "JPEG", quality=85)


def timed(work) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def compare(repeats: int) -> None:
    exif = Image.Exif()
    exif[274] = 6
    file = io.BytesIO()
    paint(4000, 3000).save(file, "JPEG", quality=90, exif=exif)
    pairs = []
    for _ in range(repeats + 1):
        plain = timed(lambda: plain_pillow(file.getvalue()))
        ours = timed(lambda: intake.take_in(file, "IMG.jpg"))
        pairs.append((ours, plain))
    ratios = [ours / plain for ours, plain in pairs[1:]]  # the first pair warms up
    print(f"12 MP JPEG of {len(file.getvalue()) / 1e6:.1f} MB, {repeats} runs")
    print(f"  ours {statistics.median(o for o, _ in pairs[1:]):.2f} s", end=", ")
    print(f"plain Pillow {statistics.median(p for _, p in pairs[1:]):.2f} s", end=", ")
    print(f"ratio {statistics.median(ratios):.2f} ({min(ratios):.2f} to {max(ratios):.2f})")


def memory() -> None:
    print("How far the memory of a process rises while it takes in so many at once; what stays")
    with tempfile.TemporaryDirectory() as folder:
        path = str(Path(folder) / "picture")
        for name in PHONE | LARGE:
            subprocess.run([sys.executable, __file__, "--write", name, path], check=True)
            size = Path(path).stat().st_size / 1e6
            for count in ("1", "8") if name in PHONE else ("1",):
                print(f"  {count} × {name:36}{size:5.1f} MB file  ", end="", flush=True)
                subprocess.run([sys.executable, __file__, "--peak", path, count], check=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--repeats", type=int, default=7)
    parser.add_argument("--write", nargs=2, help=argparse.SUPPRESS)
    parser.add_argument("--peak", nargs=2, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.write:
        write(asked.write[1], asked.write[0])
    elif asked.peak:
        take_in_file(asked.peak[0], int(asked.peak[1]))
    else:
        compare(asked.repeats)
        memory()


if __name__ == "__main__":
    main()
