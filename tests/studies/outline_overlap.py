"""How well the outline suggested from one tap covers painted sores with known outlines.

    python tests/studies/outline_overlap.py            all of it, about five minutes on one core
    python tests/studies/outline_overlap.py --short    a part of it, under a minute

Overlap: area of the intersection over that of the union; a refusal counts as 0. The full run's
printed table is kept beside this file as outline_overlap.txt.
"""

import argparse
import sys
from collections import Counter, defaultdict
from pathlib import Path

import cv2
import numpy as np
from shapely.geometry import Polygon

sys.path.insert(0, str(Path(__file__).parents[2]))

from flockcare.photos.outline import NoOutline, suggest_outline
from tests.photos.scenes import bare_foot, painted_foot

BINS = (0.0, 0.5, 0.6, 0.7, 0.8, 0.85, 0.9, 0.95, 1.0)


def overlap(found, truth):
    found, truth = Polygon(found).buffer(0), Polygon(truth).buffer(0)
    return found.intersection(truth).area / found.union(truth).area


def painted(count):
    """Overlap and relative area error of each picture, by kind; returns the overlaps."""
    overlaps, errors, by_kind, by_size = [], [], defaultdict(list), defaultdict(list)
    refused = Counter()
    for seed in range(count):
        size = (4000, 3000) if seed % 8 == 7 else (1600, 1200)
        image, truth, tap, kind = painted_foot(seed, size=size)
        try:
            found = suggest_outline(image, tap).outline
            value = overlap(found, truth)
            errors.append(Polygon(found).buffer(0).area / Polygon(truth).area - 1)
        except NoOutline as refusal:
            value = 0.0
            refused[refusal.reason.split(".")[0]] += 1
        overlaps.append(value)
        across = 2 * np.sqrt(Polygon(truth).area / np.pi)
        by_size[next(limit for limit in (50, 100, 200, 10_000) if across < limit)].append(value)
        for part in kind.split(", "):
            by_kind[part].append(value)
    print(f"Painted sores: {count}")
    print("  overlap: " + percentiles(overlaps, (0, 5, 10, 25, 50, 75, 95)))
    counts, _ = np.histogram([value for value in overlaps if value > 0], BINS)
    print(f"    refused       {count - counts.sum():4d}")
    for low, high, number in zip(BINS, BINS[1:], counts, strict=False):
        print(f"    {low:.2f} to {high:.2f}  {number:4d}  {'#' * round(60 * number / count)}")
    print("  area error, %: " + percentiles(100 * np.array(errors), (5, 25, 50, 75, 95)))
    print("  by kind, then by width of the sore in pixels:")
    for name, values in sorted(by_kind.items()):
        print(f"    {name:16s} {len(values):4d}  {percentiles(values, (5, 25, 50))}")
    for limit, values in sorted(by_size.items()):
        print(f"    below {limit:10d} {len(values):4d}  {percentiles(values, (5, 25, 50))}")
    for reason, number in refused.items():
        print(f"    refused {number}: {reason}")
    return np.array(overlaps)


def percentiles(values, which):
    found = np.percentile(values, which)
    return "  ".join(f"p{at} {value:.3f}" for at, value in zip(which, found, strict=True))


def bare(count):
    """Taps on skin without a sore; returns the share refused."""
    refused = 0
    for seed in range(count):
        image, tap = bare_foot(seed)
        try:
            suggest_outline(image, tap)
        except NoOutline:
            refused += 1
    print(f"\nTaps on bare skin: {refused} of {count} refused")
    return refused / count


def main():
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--short", action="store_true")
    short = parser.parse_args().short
    cv2.setNumThreads(1)
    median = np.median(painted(16 if short else 240))
    bare(4 if short else 60)
    print(f"\nHeld to a median overlap of 0.9: {'met' if median >= 0.9 else 'NOT MET'}")
    return 0 if median >= 0.9 else 1


if __name__ == "__main__":
    sys.exit(main())
