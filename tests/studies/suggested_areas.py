"""How far the edge of a suggested outline lies from the true edge, on painted photos with a card.

    python tests/studies/suggested_areas.py            about four minutes on one core
    python tests/studies/suggested_areas.py --short    a quarter of it

The card is read, the outline suggested from a tap in the middle of the sore, and its area compared
with the painted one. "Edge off" is the difference of the areas over the true perimeter: how far
the whole edge would have to move. The printed table is kept beside this file.
"""

import argparse
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from flockcare.analysis import planimetry
from flockcare.demo.paint import GROUNDS, Foot, Sore, paint_foot
from flockcare.photos.outline import NoOutline, suggest_outline
from flockcare.photos.scale import CannotMeasure, read_card

REACH_MM = 14.0
AREAS_MM2 = (5, 10, 20, 40, 80, 120)


def painted(seed, area):
    random = np.random.default_rng(seed)
    return paint_foot(
        Foot("left", "yellow", 1.0, seed=seed),
        seed=seed,
        ground=list(GROUNDS)[seed % len(GROUNDS)],
        sore=Sore(
            place="pad",
            area_mm2=area,
            scab=("brown", "black")[seed % 2],
            swelling=random.uniform(0, 0.8),
            healing=random.uniform(0, 0.6),
            seed=1000 + seed,
        ),
        card_code="study",
        tilt_degrees=float(random.uniform(0, 25)),
        width=1200,
        height=900,
    )


def measured(picture, way="reach and window"):
    """(edge off in mm, error of the area as a fraction), or the reason why there is none."""
    tap = picture.outline_px.mean(axis=0)
    try:
        view = read_card(picture.image)
        reach = REACH_MM * view.pixels_per_mm if "reach" in way else None
        within = view.window_px() if "window" in way else None
        outline = view.to_mm(suggest_outline(picture.image, tap, reach, within))
    except (CannotMeasure, NoOutline) as refusal:
        return refusal.reason
    truth = planimetry.perimeter(picture.outline_mm)
    off = planimetry.area(outline) - picture.area_mm2
    return off / truth, off / picture.area_mm2


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--short", action="store_true")
    seeds = range(3 if parser.parse_args().short else 32)
    everything = []
    print(
        "area mm²   measured  edge off, mm: p5    median  p95    |p95|   area error: |median| |p95|"
    )
    for area in AREAS_MM2:
        found = [measured(painted(seed, area)) for seed in seeds]
        good = np.array([each for each in found if not isinstance(each, str)])
        everything.append(good)
        print(f"{area:8d}   {len(good):3d} of {len(found):3d}" + figures(good))
    print(f"{'all':>8s}            " + figures(np.concatenate(everything)))
    print("\nSomething else taken for the sore (twice its area or more, or half or less)")
    for way in ("no limit", "window", "reach", "reach and window"):
        found = [measured(painted(seed, area), way) for area in (5, 20, 80) for seed in seeds]
        shares = [each[1] for each in found if not isinstance(each, str)]
        wrong = sum(share >= 1 or share <= -0.5 for share in shares)
        print(f"  {way:18s} {wrong:3d} of {len(shares)}, refused {len(found) - len(shares)}")


def figures(good):
    off, share = good.T
    low, middle, high = np.percentile(off, (5, 50, 95))
    return (
        f"            {low:+.2f}   {middle:+.2f}   {high:+.2f}   "
        f"{np.percentile(abs(off), 95):.2f}                {np.median(abs(share)):.1%}"
        f"     {np.percentile(abs(share), 95):.1%}"
    )


main()
