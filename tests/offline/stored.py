"""Print what an installation has of records, receipts and photos, as JSON.

Run with FLOCKCARE_DATA naming the installation's folder.
"""

import json
import os
import sys
from pathlib import Path

import django

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "flockcare.settings")
django.setup()

from flockcare.birds.models import Weighing  # noqa: E402
from flockcare.care.models import CareStep  # noqa: E402
from flockcare.feet.models import Check  # noqa: E402
from flockcare.offline.models import Receipt  # noqa: E402
from flockcare.photos.intake import SIZES  # noqa: E402
from flockcare.photos.models import Photo  # noqa: E402


def main():
    photos = Photo.with_deleted.prefetch_related("checks", "care_steps")
    rows = {
        "check": Check.objects.values_list("pk", "bird", "note"),
        "step": CareStep.objects.values_list("pk", "bird", "kind", "note"),
        "weighing": Weighing.objects.values_list("pk", "bird", "on", "grams"),
        "receipts": Receipt.objects.values_list("pk", flat=True),
        "photos": [
            {
                "key": photo.pk,
                "flock": photo.flock_id,
                "sha256": photo.sha256,
                "records": [record.pk for record in (*photo.checks.all(), *photo.care_steps.all())],
                # By size, None being the original.
                "files": [[size, photo.path(size)] for size in (None, *SIZES)],
            }
            for photo in photos
        ],
    }
    json.dump({name: list(found) for name, found in rows.items()}, sys.stdout, default=str)


if __name__ == "__main__":
    main()
