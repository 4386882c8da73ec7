"""Add a house with three hens to the installation of the browser tests; prints its key.

Run like prepare.py, with the key of the flock.
"""

import os
import sys
from datetime import timedelta
from pathlib import Path

import django

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "flockcare.settings")
django.setup()

from django.utils import timezone  # noqa: E402

from flockcare.birds.models import Bird, Weighing  # noqa: E402
from flockcare.housing.models import Feature, FeatureState, House, Stay  # noqa: E402
from flockcare.people.models import Flock  # noqa: E402

TODAY = timezone.localdate()
THEN, CHANGED = TODAY - timedelta(300), TODAY - timedelta(100)
FEATURES = [
    ("Top bar", "roost", THEN, {"height_cm": 140, "run_cm": 60, "width_mm": 45, "edge": "square"}),
    ("Top bar", "roost", CHANGED, {"height_cm": 120, "run_cm": 60, "width_mm": 70}),
    ("Low bar", "roost", THEN, {"height_cm": 60, "run_cm": 75, "width_mm": 70}),
    ("Yard", "landing", THEN, {"bedding": "wood chip", "bedding_depth_cm": 10, "damp": "damp"}),
]


def main():
    flock = Flock.objects.get(pk=sys.argv[1])
    house = House.objects.create(flock=flock, name="Long Barn")
    for name, kind, since, described in FEATURES:
        feature, _ = Feature.objects.get_or_create(
            flock=flock, house=house, name=name, defaults={"kind": kind}
        )
        FeatureState.objects.create(flock=flock, feature=feature, since=since, **described)
    for name, grams in (("Dill", 2000), ("Mace", 3500), ("Tansy", 2900)):
        bird = Bird.objects.get(flock=flock, name=name)
        Stay.objects.filter(bird=bird, until=None).update(until=THEN)
        Stay.objects.create(flock=flock, house=house, bird=bird, since=THEN)
        Weighing.objects.create(flock=flock, bird=bird, on=THEN, grams=grams)
    sys.stdout.write(str(house.pk))


main()
