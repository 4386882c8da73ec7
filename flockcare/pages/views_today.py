"""Today: how the birds stand that need something, who is due for a check, and what is done."""

from collections.abc import Callable
from datetime import timedelta
from functools import cache

from django.conf import settings
from django.db.models import OuterRef, Subquery
from django.shortcuts import render
from django.template.loader import render_to_string
from django.utils import timezone
from django.views.decorators.http import require_safe

from flockcare.care.notifiable import several_dead
from flockcare.care.rows import checks_due
from flockcare.care.situation import mark_of
from flockcare.care.tasks import offered
from flockcare.care.views_today import all_rows, care_now
from flockcare.core.visitors import plain_http
from flockcare.feet import services
from flockcare.feet.fresh import looks_tag
from flockcare.feet.models import Check
from flockcare.feet.views_round import progress
from flockcare.housing.early import fewer_eggs
from flockcare.housing.models import EggCount, House
from flockcare.people.access import flock_view
from flockcare.people.fresh import kept, renewed
from flockcare.photos.models import Photo


@require_safe
@flock_view()
def today(request, flock):
    """The whole page, or for htmx the checks, which renew themselves; care has its own piece."""
    if request.htmx:
        tag = looks_tag(request, flock)
        return renewed(request, tag, lambda: _piece(request, flock, tag))
    mark = mark_of(flock, now=timezone.now())
    rows = cache(lambda: all_rows(flock, mark))
    context = {**_checks(request, flock, mark, rows), **care_now(request, flock, mark, rows)}
    context["plain_http"], context["own_https"] = plain_http(request), settings.LAN_HTTPS
    response = render(request, "pages/today.html", context)
    response.headers["Vary"] = "HX-Request"
    return response


def _piece(request, flock, tag: str):
    mark = mark_of(flock, now=timezone.now())
    context = _checks(request, flock, mark, lambda: all_rows(flock, mark))
    return render(request, "pages/today_piece.html", {**context, "looks_tag": tag})


def _checks(request, flock, mark: tuple, rows_now: Callable) -> dict:
    """Who is due and who was seen, kept until the mark is another one, and the round as it is."""

    def make() -> dict:
        found, rows = rows_now()
        context = {**_looks(flock, rows), "faces": found.faces}
        return {
            "in_round": sum(row.standing.in_round for row in rows),
            "bird_count": len(rows),
            "first_round": not any(row.standing.last_check for row in rows),
            "damaged_photos": Photo.objects.damaged().filter(flock=flock).count(),
            **_early(flock),
            "looks": render_to_string("pages/today_looks.html", context, request),
        }

    role = request.membership.role
    shown = kept(f"today-looks:{flock.pk}:{role}", mark, make)
    return {"here": "today", **shown, "round": progress(services.open_round(flock))}


def _early(flock) -> dict:
    """Early signs that something is wrong, and the houses whose eggs can be counted."""
    today = timezone.localdate()
    counted = EggCount.objects.filter(house=OuterRef("pk"), on=today).values("eggs")[:1]
    houses = House.objects.filter(flock=flock).annotate(eggs_today=Subquery(counted))
    return {
        "fewer_eggs": [one.words for one in fewer_eggs(flock, today)],
        "several_dead": several_dead(flock, today),
        "offered_tasks": offered(flock),
        "egg_houses": [(one.pk, one.name, one.eggs_today) for one in houses.order_by("name")],
    }


def _looks(flock, rows) -> dict:
    now = timezone.now()
    midnight = timezone.localtime(now).replace(hour=0, minute=0, second=0, microsecond=0)
    done = Check.objects.filter(flock=flock, at__range=(midnight, now + timedelta(days=1)))
    return {
        **checks_due(rows),
        "done_checks": done.newest_first()
        .select_related("bird", "keeper")
        .prefetch_related("findings"),
    }
