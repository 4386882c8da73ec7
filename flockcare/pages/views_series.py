"""The photos of one foot in order, below how that foot stands."""

from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from flockcare.care.rows import Row
from flockcare.care.situation import standings
from flockcare.people.access import flock_view
from flockcare.photos.views_series import series_of


@require_safe
@flock_view()
def series(request, flock, bird_id, foot):
    context = series_of(request, flock, bird_id, foot)
    hers = standings(flock, now=timezone.now()).birds.get(bird_id)
    context["row"] = hers and Row(context["bird"], hers)
    return render(request, "pages/series.html", context)
