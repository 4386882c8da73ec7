"""Today: who is due, who has sore feet, what is done already."""

from datetime import datetime, timedelta

from django.db import models
from django.db.models import prefetch_related_objects
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from flockcare.birds.models import Bird
from flockcare.core.prepared import Prepared, columns, records
from flockcare.feet import services
from flockcare.feet.due import birds_for_today
from flockcare.feet.fresh import looks_tag
from flockcare.feet.models import Check
from flockcare.feet.views_round import progress
from flockcare.people.access import flock_view
from flockcare.people.fresh import renewed
from flockcare.people.models import Keeper, Role
from flockcare.photos.models import Photo

CHECKS = Prepared(
    lambda flock, start, end: (
        Check.objects.filter(flock=flock, at__gte=start, at__lte=end)
        .newest_first()
        .values_list(*columns(Check), *columns(Bird, "bird__"), *columns(Keeper, "keeper__"))
    ),
    flock=models.UUIDField(),
    start=models.DateTimeField(),
    end=models.DateTimeField(),
)


def _checks(flock, start: datetime, end: datetime) -> list[Check]:
    """Those of a time with their birds, keepers and findings, the newest first."""
    found = []
    for row in CHECKS.rows(flock=flock.pk, start=start, end=end):
        check, bird, keeper = records(row, Check, Bird, Keeper)
        check.bird = bird
        check.keeper = keeper if check.keeper_id else None
        found.append(check)
    prefetch_related_objects(found, "findings")
    return found


@require_safe
@flock_view()
def today(request, flock):
    if not request.htmx:
        response = _page(request, flock, "feet/today.html")
        response.headers["Vary"] = "HX-Request"
        return response
    tag = looks_tag(request, flock)
    return renewed(request, tag, lambda: _page(request, flock, "feet/today_piece.html", tag))


def _page(request, flock, template: str, tag: str = ""):
    now = timezone.now()
    birds = birds_for_today(flock, now=now)
    midnight = timezone.localtime(now).replace(hour=0, minute=0, second=0, microsecond=0)
    return render(
        request,
        template,
        {
            "here": "today",
            "tag": tag,
            "due": [entry for entry in birds if entry.is_due],
            "sore": [entry for entry in birds if entry.sore],
            "bird_count": len(birds),
            "next_due": min((entry.due for entry in birds if entry.due), default=None),
            "done": _checks(flock, midnight, now + timedelta(days=1)),
            "round": progress(services.open_round(flock)),
            "damaged_photos": request.membership.role == Role.OWNER
            and Photo.objects.damaged().filter(flock=flock).count(),
        },
    )
