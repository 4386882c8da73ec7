"""Today: who is due, who has sore feet, what is done already."""

from datetime import timedelta

from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from flockcare.feet import services
from flockcare.feet.due import birds_for_today
from flockcare.feet.fresh import looks_tag
from flockcare.feet.models import Check
from flockcare.feet.views_round import progress
from flockcare.people.access import flock_view
from flockcare.people.fresh import renewed
from flockcare.photos.models import Photo


@require_safe
@flock_view()
def today(request, flock):
    if not request.htmx:
        response = _page(request, flock, "pages/today.html")
        response.headers["Vary"] = "HX-Request"
        return response
    tag = looks_tag(request, flock)
    return renewed(request, tag, lambda: _page(request, flock, "pages/today_piece.html", tag))


def _page(request, flock, template: str, tag: str = ""):
    now = timezone.now()
    birds = birds_for_today(flock, now=now)
    midnight = timezone.localtime(now).replace(hour=0, minute=0, second=0, microsecond=0)
    done = Check.objects.filter(flock=flock, at__range=(midnight, now + timedelta(days=1)))
    return render(
        request,
        template,
        {
            "here": "today",
            "tag": tag,
            "due": [entry for entry in birds if entry.is_due],
            "sore": [entry for entry in birds if entry.sore],
            "bird_count": len(birds),
            "next_due": min((entry.next.on for entry in birds if entry.next), default=None),
            "done": done.newest_first()
            .select_related("bird", "keeper")
            .prefetch_related("findings"),
            "round": progress(services.open_round(flock)),
            # Counted where an owner opens the whole page, not with each piece that renews itself.
            "damaged_photos": Photo.objects.damaged().filter(flock=flock),
        },
    )
