"""Let days pass for a running installation: every check and step of care becomes older.

FLOCKCARE_DATA=FOLDER python tests/browser/days_pass.py DAYS
"""

import os
import sys
from datetime import timedelta
from pathlib import Path

import django

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "flockcare.settings")
django.setup()

from django.db.models import F  # noqa: E402
from django.utils import timezone  # noqa: E402

from flockcare.care.models import CareStep  # noqa: E402
from flockcare.feet.models import Check  # noqa: E402

days = timedelta(days=int(sys.argv[1]))
Check.objects.update(at=F("at") - days)
# Dates one by one: a database of its own kind reckons with each in its own way.
for step in CareStep.objects.all():
    due = step.next_due and step.next_due - days
    CareStep.objects.filter(pk=step.pk).update(
        at=step.at - days, next_due=due, changed_at=timezone.now()
    )
