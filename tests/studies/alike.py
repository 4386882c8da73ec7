"""How many of the 64 bits of the looks-alike hash differ, in the same picture and in others.

    .venv/bin/python tests/studies/alike.py [--short]

Painted soles: the same picture made smaller and compressed again, as a messenger does; a second
picture of the same foot with the phone moved by 2 % and by 5 % of its width; another foot with the
same skin and sore.
"""

import argparse
import io
import sys
from pathlib import Path

import numpy as np
from PIL import Image

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from flockcare.photos.grouping import distances
from flockcare.photos.intake import take_in
from tests.photos.scenes import painted_foot


def look(picture: Image.Image, quality: int = 92) -> int:
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=quality)
    return take_in(out, "foot.jpg").perceptual_hash - (1 << 63)


def smaller(picture: Image.Image, side: int) -> Image.Image:
    copy = picture.copy()
    copy.thumbnail((side, side))
    return copy


def moved(picture: Image.Image, part: float) -> Image.Image:
    width, height = picture.size
    step = round(part * width)
    return picture.crop((step, step // 2, width, height))


def far(one: int, other: int) -> int:
    return int(distances([one], [other])[0, 0])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--short", action="store_true")
    count = 10 if parser.parse_args().short else 60
    rows: dict[str, list[int]] = {}
    for seed in range(count):
        picture, *_ = painted_foot(seed, skin="yellow", sore="brown scab")
        other, *_ = painted_foot(seed + 10_000, skin="yellow", sore="brown scab")
        first = look(picture)
        for name, again in {
            "same picture, 1280 px, quality 70": look(smaller(picture, 1280), 70),
            "same picture, 640 px, quality 40": look(smaller(picture, 640), 40),
            "same foot, phone moved by 2 %": look(moved(picture, 0.02)),
            "same foot, phone moved by 5 %": look(moved(picture, 0.05)),
            "another foot": look(other),
        }.items():
            rows.setdefault(name, []).append(far(first, again))
    print(f"{count} painted feet{'':22} median   90 %  most  least   at most 4 bits")
    for name, bits in rows.items():
        middle, most = np.percentile(bits, (50, 90))
        share = np.mean(np.array(bits) <= 4)
        print(f"{name:38}{middle:5.0f}{most:7.0f}{max(bits):6}{min(bits):7}{share:17.0%}")


if __name__ == "__main__":
    main()
