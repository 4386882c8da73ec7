"""Whether a broken or hostile picture can bring down what takes photos in.

    .venv/bin/python tests/studies/fuzz_uploads.py [--short] [--count N] [--only TYPE --seed N]

For every accepted type, thousands of good files are spoilt: bits turned over, pieces zeroed, cut
out, doubled, exchanged, spliced with another file, lengths and sizes set to extreme numbers, and in
PNG the check sums made to fit again, so that what is spoilt reaches the decoder. A worker process
takes them in one after the other. A file must be taken in or refused in words, within 5 s, with no
more than 1 GB of memory; anything else (another exception, a crash, a hang) is counted, its number
is printed, and the study fails. ``--only TYPE --seed N`` does one file again.

Time is the processor time of the worker, so that a busy machine counts for nothing.
"""

import argparse
import collections
import io
import os
import queue
import random
import resource
import struct
import subprocess
import sys
import threading
import time
import zlib
from pathlib import Path

import numpy as np
from PIL import Image, ImageCms

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from flockcare.photos.intake import RefusedPhoto, take_in

COUNT, SHORT = 10_000, 400
LIMIT_SECONDS, LIMIT_MB = 5.0, 1024
# The worker is given up after this, however slow the machine.
PATIENCE_SECONDS = 60
TYPES = ("JPEG", "PNG", "WebP", "HEIC")
EXTREMES = (0, 1, 2, 0x7F, 0x80, 0xFF, 0x7FFF, 0x8000, 0xFFFF, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF)


# --- Good files


def painted(width=150, height=110) -> Image.Image:
    grain = np.random.default_rng(1).integers(0, 255, (height // 8, width // 8, 3), dtype=np.uint8)
    return Image.fromarray(grain).resize((width, height), Image.Resampling.BICUBIC)


def good_files(kind: str) -> list[bytes]:
    """Small pictures of this type that together use what the type can do."""
    picture = painted()
    exif = Image.Exif()
    exif[274], exif[306] = 6, "2026:03:01 08:00:00"
    exif.get_ifd(0x8769)[36867] = "2026:03:01 08:00:00"
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    wide = profile.replace("sRGB".encode("utf-16-be"), "wide".encode("utf-16-be"))
    grey, clear = picture.convert("L"), picture.convert("RGBA")
    clear.putalpha(grey)
    frames = {"save_all": True, "append_images": [picture.rotate(90), picture.rotate(180)]}
    wanted = {
        "JPEG": [
            (picture, {"quality": 85, "exif": exif}),
            (picture, {"progressive": True, "icc_profile": wide}),
            (grey, {"quality": 60}),
            (picture.convert("CMYK"), {"quality": 70}),
            (picture, {"subsampling": 0, "restart_marker_blocks": 3}),
            (picture, {"quality": 80, "format": "MPO", **frames}),
        ],
        "PNG": [
            (picture, {"exif": exif}),
            (clear, {"icc_profile": wide}),
            (picture.quantize(40), {"transparency": 3}),
            (grey.convert("I;16"), {}),
            (grey.convert("1"), {}),
            (picture, {"compress_level": 0}),
            (picture, {**frames, "duration": 100}),
        ],
        "WebP": [
            (picture, {"quality": 70, "exif": exif}),
            (picture, {"lossless": True}),
            (clear, {"quality": 60, "icc_profile": wide}),
            (picture, {**frames, "duration": 100}),
        ],
        "HEIC": [
            (picture, {"quality": 50, "exif": exif}),
            (clear, {"quality": 50}),
            (painted(600, 560), {"quality": 40, "tile_size": 512}),
            (grey, {"quality": 60}),
        ],
    }[kind]
    files = []
    for image, options in wanted:
        out = io.BytesIO()
        form = {"WebP": "WEBP", "HEIC": "HEIF"}.get(kind, kind)
        image.save(out, **{"format": form, **options})
        files.append(out.getvalue())
    return files


# --- Spoiling


def spoilt(kind: str, seed: int, files: dict[str, list[bytes]]) -> bytes:
    """The file of this number: always the same for the same libraries."""
    chance = random.Random(f"{kind} {seed}")
    data = bytearray(chance.choice(files[kind]))
    for _ in range(chance.choice((1, 1, 1, 2, 3, 6))):
        if len(data) > 16:
            chance.choice(WAYS)(data, chance, files)
    if chance.random() < 0.8:  # else it would be refused for its first bytes alone
        start = files[kind][0][:12]
        data[: len(start)] = start
    if kind == "PNG" and chance.random() < 0.7:
        data = _with_fitting_sums(data)
    return bytes(data)


def _place(data, chance) -> int:
    """Half of the time among the first bytes, where the structure is."""
    return chance.randrange(min(len(data), 600) if chance.random() < 0.5 else len(data))


def _turn_bits(data, chance, files):
    for _ in range(chance.choice((1, 1, 2, 8, 64))):
        data[_place(data, chance)] ^= 1 << chance.randrange(8)


def _set_number(data, chance, files):
    size = chance.choice((1, 2, 2, 4, 4))
    number = chance.choice((*EXTREMES, chance.getrandbits(32))) & ((1 << 8 * size) - 1)
    at = min(_place(data, chance), len(data) - size)
    data[at : at + size] = number.to_bytes(size, chance.choice(("big", "little")))


def _fill(data, chance, files):
    at, length = _place(data, chance), chance.choice((4, 16, 200))
    length = min(length, len(data) - at)
    filled = chance.choice((bytes(length), b"\xff" * length, chance.randbytes(length)))
    data[at : at + length] = filled


def _cut_off(data, chance, files):
    del data[max(13, _place(data, chance)) :]


def _cut_out(data, chance, files):
    at = _place(data, chance)
    del data[at : at + chance.choice((1, 2, 4, 30, 500))]


def _double(data, chance, files):
    at, length = _place(data, chance), chance.choice((1, 4, 12, 60, 1000))
    data[at:at] = bytes(data[at : at + length]) * chance.choice((1, 1, 20))


def _insert(data, chance, files):
    at = _place(data, chance)
    data[at:at] = chance.randbytes(chance.choice((1, 2, 4, 64)))


def _exchange(data, chance, files):
    one, other = sorted((_place(data, chance), _place(data, chance)))
    data[one:] = data[other:] + data[one:other]


def _splice(data, chance, files):
    other = chance.choice(files[chance.choice(TYPES)])
    data[_place(data, chance) :] = other[chance.randrange(len(other)) :]


WAYS = (
    *(_turn_bits, _turn_bits, _set_number, _set_number, _set_number, _fill, _cut_off),
    *(_cut_out, _double, _insert, _exchange, _splice),
)


def _with_fitting_sums(data: bytearray) -> bytearray:
    """Each chunk's check sum made to fit what is in it (PNG, ISO/IEC 15948, 5.3)."""
    at = 8
    while at + 12 <= len(data):
        end = at + 8 + struct.unpack_from(">I", data, at)[0]
        if end + 4 > len(data):
            break
        struct.pack_into(">I", data, end, zlib.crc32(data[at + 4 : end]))
        at = end + 4
    return data


# --- The worker


def peak_mb() -> float:
    """The most memory held since `forget_peak`."""
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith("VmHWM:"):
            return int(line.split()[1]) / 1024
    raise RuntimeError("this system does not tell the memory a process held")


def forget_peak() -> None:
    Path("/proc/self/clear_refs").write_text("5")


def outcome(data: bytes) -> str:
    try:
        take_in(io.BytesIO(data), "photo")
    except RefusedPhoto:
        return "refused"
    except Exception as error:
        return f"{type(error).__name__}: {error}"[:200].replace("\n", " ")
    return "taken in"


def work(kind: str, seeds: range) -> None:
    """Takes the files in one by one; says the number of each before, and how it went after."""
    held = int(Path("/proc/self/statm").read_text().split()[0]) * os.sysconf("SC_PAGE_SIZE")
    # Beyond twice the limit an allocation fails at once, and so does the file.
    most = held + 2 * LIMIT_MB * 2**20
    resource.setrlimit(resource.RLIMIT_AS, (most, most))
    files = {each: good_files(each) for each in TYPES}
    for seed in seeds:
        data = spoilt(kind, seed, files)
        print(seed, flush=True)
        forget_peak()
        start = time.process_time()
        result = outcome(data)
        print(f"{time.process_time() - start:.3f}\t{peak_mb():.0f}\t{result}", flush=True)


class Worker:
    """The process that takes the files in, begun anew behind a file that ended it."""

    def __init__(self, kind: str, count: int):
        self.kind, self.count = kind, count

    def results(self):
        """(number, seconds, MB, what came of it) of every file."""
        at = 0
        while at < self.count:
            process, lines = self._start(at)
            began = at
            while line := self._next(lines):
                seed, at = int(line), int(line) + 1
                answer = self._next(lines)
                if not answer:
                    process.kill()
                    how = "hang" if answer is None else f"crash, exit {process.wait()}"
                    yield seed, PATIENCE_SECONDS, 0, how
                    break
                seconds, megabytes, result = answer.rstrip("\n").split("\t")
                yield seed, float(seconds), float(megabytes), result
            process.kill()
            process.wait()
            if at == began:
                raise RuntimeError("the worker does not start")

    def _start(self, at: int):
        command = [sys.executable, "-W", "ignore", __file__]
        command += ["--work", self.kind, str(at), str(self.count)]
        process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        lines = queue.SimpleQueue()
        threading.Thread(target=_collect, args=(process.stdout, lines), daemon=True).start()
        return process, lines

    def _next(self, lines) -> str | None:
        """The next line; empty when the process has ended, None when it is silent for too long."""
        try:
            return lines.get(timeout=PATIENCE_SECONDS)
        except queue.Empty:
            return None


def _collect(stream, lines) -> None:
    for line in stream:
        lines.put(line)
    lines.put("")


# --- The study


def study(count: int) -> bool:
    faults = []
    print(f"{count} spoilt files of each type, processor time and resident memory of the worker\n")
    print("type   files   taken in  refused  faults   slowest      99 %    most memory")
    for kind in TYPES:
        came = collections.Counter()
        seconds, most = [], 0.0
        for seed, took, megabytes, result in Worker(kind, count).results():
            seconds.append(took)
            most = max(most, megabytes)
            if result in ("taken in", "refused") and (took > LIMIT_SECONDS or megabytes > LIMIT_MB):
                result = f"{took:.1f} s, {megabytes:.0f} MB"
            if result not in ("taken in", "refused"):
                faults.append((kind, seed, result))
                result = "fault"
            came[result] += 1
        print(
            f"{kind:6}{sum(came.values()):6}{came['taken in']:11}{came['refused']:9}"
            f"{came['fault']:8}{max(seconds):8.2f} s{np.percentile(seconds, 99):8.3f} s"
            f"{most:12.0f} MB",
            flush=True,
        )
        if sum(came.values()) != count or not came["taken in"] or not came["refused"]:
            faults.append((kind, -1, "not all files were tried, or all went one way"))
    for kind, seed, result in faults:
        print(f"FAULT {kind} --seed {seed}: {result}")
    print(f"\nfaults: {len(faults)}")
    return not faults


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--count", type=int, default=COUNT, help="files of each type")
    parser.add_argument("--only", choices=TYPES)
    parser.add_argument("--seed", type=int)
    parser.add_argument("--work", nargs=3, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.work:
        kind, first, last = asked.work
        work(kind, range(int(first), int(last)))
    elif asked.only:
        data = spoilt(asked.only, asked.seed, {each: good_files(each) for each in TYPES})
        print(outcome(data))
    elif not study(SHORT if asked.short else asked.count):
        sys.exit(1)


if __name__ == "__main__":
    main()
