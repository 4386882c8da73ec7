"""Give a hen of the browser tests a photo that is measured and care long past, make another one
ill, and name a vet to the flock; prints the keys of all that as JSON.

Run like prepare.py, with the keys of the flock and of the two hens.
"""

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

from flockcare.birds.models import Bird, BirdState, Weighing  # noqa: E402
from flockcare.care.models import VetContact  # noqa: E402
from flockcare.feet.models import Check  # noqa: E402
from flockcare.people.models import Keeper  # noqa: E402
from tests.vetsheet.vet_rows import look, measure, photo, step  # noqa: E402


def make_ill(bird, keeper, now) -> BirdState:
    """With signs that call for a vet today, eggs withdrawn, a dressing late, and a state."""
    hot = {"score": 2, "sites": ["main"], "scab": "black", "swelling": "from above", "hot": True}
    look(bird, now - timedelta(hours=3), by=keeper, left=hot, gait=3, eating="no")
    step(bird, now - timedelta(days=3), "dressing on", keeper=keeper, product="gauze")
    step(bird, now, "medicine", keeper=keeper, product="drops", egg_days=7, days_from="vet")
    return BirdState.objects.create(
        flock=bird.flock, bird=bird, kind="quarantine", since=timezone.localdate()
    )


def main():
    flock, *birds = sys.argv[1:]
    bird, ill = (Bird.objects.select_related("flock").get(flock=flock, pk=key) for key in birds)
    ada, now = Keeper.objects.get(sign_in_name="ada"), timezone.now()
    taken = photo(bird, now - timedelta(days=20), seed=171, by=ada)
    measure(taken, area=80)
    watched = step(bird, now - timedelta(days=20), "watched", keeper=ada)
    weighed = Weighing.objects.create(
        flock=bird.flock, bird=bird, on=timezone.localdate() - timedelta(days=400), grams=2400
    )
    keys = {
        "photo": taken,
        "step": watched,
        "check": Check.objects.filter(bird=bird).latest("at"),
        "weighing": weighed,
        "ill": ill,
        "state": make_ill(ill, ada, now),
        "vet": VetContact.objects.create(
            flock=bird.flock, name="Mill practice", telephone="01632 960123", is_usual=True
        ),
    }
    json.dump({name: str(record.pk) for name, record in keys.items()}, sys.stdout)


main()
