"""Add painted photos of one foot to the installation of the browser tests; prints JSON.

Run like prepare.py, with the keys of the flock and the bird. Two photos with her card, whose sores
have known areas, and one without.
"""

import io
import json
import os
import sys
from datetime import timedelta
from pathlib import Path

import django

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "flockcare.settings")
django.setup()

from django.utils import timezone  # noqa: E402

from flockcare.birds.models import Bird  # noqa: E402
from flockcare.demo.paint import Foot, Sore, paint_foot  # noqa: E402
from flockcare.people.models import Keeper  # noqa: E402
from flockcare.photos.measuring import card_code  # noqa: E402
from flockcare.photos.models import Photo, Precision  # noqa: E402
from flockcare.photos.services import add_photo  # noqa: E402


def add(bird, days_ago, area, seed, card=True) -> dict:
    painted = paint_foot(
        Foot("left", "yellow", 1.0, seed=7),
        seed=seed,
        ground="straw",
        sore=Sore(place="pad", area_mm2=area, scab="black", swelling=0.2, healing=0.1, seed=5),
        card_code=card_code(bird) if card else None,
        tilt_degrees=10,
        width=1200,
        height=900,
    )
    stream = io.BytesIO()
    painted.image.save(stream, "JPEG", quality=92)
    photo, _ = add_photo(
        flock=bird.flock,
        keeper=Keeper.objects.get(sign_in_name="ada"),
        upload=stream,
        name="foot.jpg",
        bird=bird,
        foot="left",
    )
    Photo.objects.filter(pk=photo.pk).update(
        taken=timezone.now() - timedelta(days=days_ago), taken_precision=Precision.MOMENT
    )
    return {
        "id": str(photo.pk),
        "area": painted.area_mm2,
        "middle": painted.outline_px.mean(axis=0).tolist(),
        "outline": painted.outline_px.tolist(),
        "mm_per_px": painted.mm_per_px,
    }


def main():
    flock, bird = sys.argv[1:]
    bird = Bird.objects.get(flock=flock, pk=bird)
    photos = [add(bird, 28, 80, 1), add(bird, 14, 40, 2), add(bird, 7, 30, 3, card=False)]
    json.dump(photos, sys.stdout)


main()
