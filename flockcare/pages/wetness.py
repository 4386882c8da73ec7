"""The one question of a round about a bird's house: dry, damp or wet underfoot, once a week."""

from __future__ import annotations

import datetime as dt

from django.db.models import Exists, OuterRef
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from flockcare.birds.models import Bird
from flockcare.housing.models import House, Stay, Wetness
from flockcare.housing.views_events import log_tap
from flockcare.people.access import flock_view

ASKED_EVERY = dt.timedelta(days=7)
# In the session: of a house, the day on which this keeper did not want to be asked.
SKIPPED = "wetness_skipped"


def house_to_ask(request, bird: Bird, today: dt.date) -> House | None:
    """Her house, if nobody said within a week how wet it is there, nor skipped the question."""
    after = today - ASKED_EVERY
    said = Wetness.objects.filter(house=OuterRef("house"), on__gt=after, on__lte=today)
    stay = Stay.objects.on(today).filter(~Exists(said), bird=bird).select_related("house").first()
    if stay is None:
        return None
    skipped = request.session.get(SKIPPED, {}).get(stay.house_id.hex, "")
    return None if skipped > after.isoformat() else stay.house


@require_POST
@flock_view()
def answer(request, flock, bird_id):
    """Keep the answer, or that it was skipped, and go on with the bird."""
    bird = get_object_or_404(Bird, flock=flock, pk=bird_id)
    today = timezone.localdate()
    stay = Stay.objects.on(today).filter(bird=bird).select_related("house").first()
    if stay:
        stay.house.flock = flock
        if "skip" in request.POST:
            before = request.session.get(SKIPPED, {})
            request.session[SKIPPED] = {**before, stay.house_id.hex: today.isoformat()}
        else:
            log_tap(request, stay.house)
    return redirect(f"{reverse('check_bird', args=[flock.pk, bird.pk])}?round")
