"""Let days pass for a running installation: every check, plan, step of care and link becomes older.

FLOCKCARE_DATA=FOLDER python tests/browser/days_pass.py [DAYS]
"""

import os
import sys
from datetime import timedelta
from pathlib import Path

import django

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "flockcare.settings")
django.setup()

from django.core.cache import cache  # noqa: E402
from django.db.models import F  # noqa: E402
from django.utils import timezone  # noqa: E402

from flockcare.care.models import CarePlan, CareStep  # noqa: E402
from flockcare.feet.models import Check  # noqa: E402
from flockcare.vetsheet.models import ShareLink  # noqa: E402


def let_pass(days: timedelta) -> None:
    Check.objects.update(at=F("at") - days)
    # Dates one by one: a database of its own kind reckons with each in its own way.
    for step in CareStep.objects.all():
        due = step.next_due and step.next_due - days
        CareStep.objects.filter(pk=step.pk).update(
            at=step.at - days, next_due=due, changed_at=timezone.now()
        )
    for plan in CarePlan.objects.all():
        named = ("since", "until", "put_off_from", "put_off_to", "logged_at")
        earlier = {name: day - days for name in named if (day := getattr(plan, name))}
        CarePlan.objects.filter(pk=plan.pk).update(**earlier)
    for link in ShareLink.objects.all():
        earlier = {
            name: getattr(link, name) - days for name in ("last", "created_at", "expires_at")
        }
        first = link.first and link.first - days
        ShareLink.objects.filter(pk=link.pk).update(first=first, **earlier)
    # What was worked out of it is kept by marks that a change leaves, and this leaves none.
    cache.clear()


# Without a number as its argument it reads one from each line, which is sooner for many.
for number in sys.argv[1:] or iter(sys.stdin.readline, ""):
    let_pass(timedelta(days=int(number)))
    print("done", flush=True)
