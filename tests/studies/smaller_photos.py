"""What is lost when a phone makes its photos smaller before it sends them.

    python tests/studies/smaller_photos.py            about a quarter of an hour on one core
    python tests/studies/smaller_photos.py --short    a few photos

Computed photos of the card, of the usable kind (see ``card_scenes``), as a phone of 12 megapixels
takes them. Each is written anew in each way, read, and the area of a known sore compared with the
truth. Then painted photos, in which the sore's edge is suggested from a tap. The printed table is
kept beside this file; it is why ``static/js/outbox/pictures.js`` does what it does.
"""

import argparse
import io
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
from PIL import Image

sys.path.insert(0, str(Path(__file__).parents[2]))

from flockcare.analysis import planimetry
from flockcare.photos.outline import NoOutline, suggest_outline
from flockcare.photos.scale import CannotMeasure, read_card
from tests.photos import scenes
from tests.studies.card_scenes import measure, usable_scene
from tests.studies.suggested_areas import REACH_MM, painted

# Longest side in pixels (0: as it is) and JPEG quality.
WAYS = ((0, 0), (0, 92), (0, 85), (0, 75), (3000, 85), (2400, 85), (2000, 85), (1600, 85))


def written(image, side, quality):
    """(the picture as it would arrive, its bytes, how much smaller it is)."""
    scale = min(1.0, side / max(image.size)) if side else 1.0
    if scale < 1:
        size = tuple(round(each * scale) for each in image.size)
        image = image.resize(size, Image.Resampling.LANCZOS)
    stream = io.BytesIO()
    image.convert("RGB").save(stream, "JPEG", quality=quality or 95)
    return Image.open(io.BytesIO(stream.getvalue())), stream.tell(), scale


def of_card(scene, image, side, quality):
    """(error of a known area, stated error, bytes), or only the bytes where it is refused."""
    arrived, count, _ = written(image, side, quality) if quality else (image, 0, 1.0)
    outcome, error, view = measure(replace(scene, size=arrived.size), arrived)
    if outcome != "measured":
        return None, None, count
    return abs(error), view.relative_area_error, count


def of_edge(picture, side, quality):
    """How far the suggested edge is off, in mm; None where there is none."""
    arrived, scale = picture.image, 1.0
    if quality:
        arrived, _, scale = written(picture.image, side, quality)
    try:
        view = read_card(arrived)
        tap = (picture.outline_px.mean(axis=0) + 0.5) * scale - 0.5
        reach = REACH_MM * view.pixels_per_mm
        outline = view.to_mm(suggest_outline(arrived, tap, reach, view.window_px()).outline)
    except (CannotMeasure, NoOutline):
        return None
    off = planimetry.area(outline) - picture.area_mm2
    return abs(off) / planimetry.perimeter(picture.outline_mm)


def big_scene(rng, seed):
    while max((scene := usable_scene(rng, seed)).size) < 4000:
        pass
    return scene


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--short", action="store_true")
    short = parser.parse_args().short
    rng = np.random.default_rng(7)
    found = {way: [] for way in WAYS}
    for seed in range(2 if short else 60):
        scene = big_scene(rng, seed)
        image = scenes.render(scene)
        for way in WAYS:
            found[way].append(of_card(scene, image, *way))
    print("Card, area of a known sore: measured, |error| median 95th largest, stated, file")
    for way, rows in found.items():
        errors = [row[0] for row in rows if row[0] is not None]
        stated = np.median([row[1] for row in rows if row[0] is not None])
        median, high = np.percentile(errors, (50, 95))
        size = np.median([row[2] for row in rows]) / 1e6
        print(
            f"  {words(*way):24s}{len(errors):3d} of {len(rows):3d}   {median:.2%} {high:.2%} "
            f"{max(errors):.2%}   ±{stated:.2%}   {size:.2f} MB"
        )
    offs = {way: [] for way in WAYS}
    for area in (5, 20, 80):
        for seed in range(1 if short else 6):
            picture = painted(seed, area, 4000, 3000)
            for way in WAYS:
                offs[way].append(of_edge(picture, *way))
    print("Suggested edge, painted photos: found, off in mm median 95th largest")
    for way, rows in offs.items():
        good = [off for off in rows if off is not None]
        median, high = np.percentile(good, (50, 95))
        print(
            f"  {words(*way):24s}{len(good):3d} of {len(rows):3d}   {median:.3f} {high:.3f} "
            f"{max(good):.3f}"
        )


def words(side, quality):
    if not quality:
        return "as it was taken"
    return f"{side or 'same size'}{' px' if side else ''}, quality {quality}"


main()
