"""Give a hen of the browser tests a photo that is measured and care long past; prints their keys.

Run like prepare.py, with the keys of the flock and the bird; as JSON, with that of her last check.
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

from flockcare.birds.models import Bird, Weighing  # noqa: E402
from flockcare.feet.models import Check  # noqa: E402
from flockcare.people.models import Keeper  # noqa: E402
from tests.vetsheet.vet_rows import measure, photo, step  # noqa: E402


def main():
    flock, bird = sys.argv[1:]
    bird = Bird.objects.select_related("flock").get(flock=flock, pk=bird)
    ada, now = Keeper.objects.get(sign_in_name="ada"), timezone.now()
    taken = photo(bird, now - timedelta(days=20), seed=171, by=ada)
    measure(taken, area=80)
    watched = step(bird, now - timedelta(days=20), "watched", keeper=ada)
    weighed = Weighing.objects.create(
        flock=bird.flock, bird=bird, on=timezone.localdate() - timedelta(days=400), grams=2400
    )
    check = Check.objects.filter(bird=bird).latest("at")
    keys = {"photo": taken, "step": watched, "check": check, "weighing": weighed}
    json.dump({name: str(record.pk) for name, record in keys.items()}, sys.stdout)


main()
