"""Whom to check: one bird that is picked, or a round through those that are due."""

from datetime import date

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from flockcare.birds.models import Bird
from flockcare.care.rows import Row, rows_of
from flockcare.care.situation import FlockStanding, standings
from flockcare.feet import services
from flockcare.feet.views_round import to_next_bird
from flockcare.people.access import flock_view
from flockcare.people.models import Role


@require_safe
@flock_view(read=Role.KEEPER)
def pick(request, flock):
    """Choose the bird to check: those due first."""
    found, rows = _due_first(flock)
    context = {"here": "today", "rows": rows, "faces": found.faces}
    return render(request, "pages/pick.html", context)


@require_POST
@flock_view()
def round_start(request, flock):
    """Begin a round through the birds that Today counts, or join the one that is open, and take
    the first of them.
    """
    chosen = [row.bird.pk for row in _due_first(flock)[1] if row.standing.in_round]
    now = timezone.now()
    try:
        round_ = services.start_round(flock=flock, keeper=request.user, bird_ids=chosen, now=now)
    except ValidationError as error:
        messages.error(request, error.message)
        return redirect("today", flock.pk)
    return to_next_bird(request, flock, round_)


def _due_first(flock) -> tuple[FlockStanding, list[Row]]:
    """The birds that are here, those longest due first, sore feet before clear ones.

    Who is in quarantine comes last, so that nothing is carried from there to the flock.
    """
    found = standings(flock, now=timezone.now())
    return found, sorted(rows_of(found, Bird.objects.filter(flock=flock)), key=_urgency)


def _urgency(row: Row):
    hers = row.standing
    due = hers.check_due.on if hers.last_check else date.min
    return hers.in_quarantine, due, not hers.cases, row.bird.name.lower()
