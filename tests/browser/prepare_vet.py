"""Give a hen of the browser tests two measured photos and one that is not, and a dressing.

Run like prepare.py, with the keys of the flock and the bird.
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

from flockcare.birds.models import Bird  # noqa: E402
from flockcare.people.models import Keeper  # noqa: E402
from tests.vetsheet.vet_rows import measure, photo, step  # noqa: E402


def main():
    flock, bird = sys.argv[1:]
    bird = Bird.objects.select_related("flock").get(flock=flock, pk=bird)
    ada, now = Keeper.objects.get(sign_in_name="ada"), timezone.now()
    for days_ago, area in ((28, 80), (14, 40)):
        taken = photo(bird, now - timedelta(days=days_ago), seed=days_ago, by=ada)
        measure(taken, area=area)
    photo(bird, now - timedelta(days=7), seed=7, by=ada)
    step(bird, now - timedelta(days=14), "dressing on", product="gauze", keeper=ada)


main()
