"""The round: a walk through every bird that is due, which several keepers may share."""

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from flockcare.feet import services
from flockcare.feet.fresh import looks_tag
from flockcare.feet.models import RoundBird
from flockcare.people.access import flock_view
from flockcare.people.fresh import whole_or_piece


def progress(round_):
    """The round with its birds, and how many of them nobody waits for any more."""
    if round_ is None:
        return None
    places = list(round_.birds.select_related("bird", "held_by", "check_record"))
    finished = sum(1 for place in places if not place.is_waiting)
    return {
        "record": round_,
        "places": places,
        "total": len(places),
        "finished": finished,
        "next": min(finished + 1, len(places)),
    }


@require_safe
@flock_view()
def round_page(request, flock):
    tag = looks_tag(request, flock)

    def page(template):
        context = {
            "here": "today",
            "tag": tag,
            "round": progress(services.open_round(flock)),
            "held_since": timezone.now() - services.HOLD,
        }
        return render(request, template, context)

    return whole_or_piece(
        request, tag, page, whole="feet/round.html", piece="feet/round_piece.html"
    )


@require_POST
@flock_view()
def round_next(request, flock):
    return to_next_bird(request, flock, services.open_round(flock))


def to_next_bird(request, flock, round_):
    if round_ is None:
        names = services.passed_over_last(flock)
        left_out = f" Skipped, still due: {', '.join(names)}." if names else ""
        messages.success(request, f"The round is finished.{left_out}")
        return redirect("today", flock.pk)
    place = services.take_next_bird(round_=round_, keeper=request.user)
    if place is None:
        return redirect("feet:round", flock.pk)
    return redirect(f"{reverse('check_bird', args=[flock.pk, place.bird_id])}?round")


@require_POST
@flock_view()
def round_pass(request, flock, bird_id):
    """Go on without this bird, who stays due."""
    place = get_object_or_404(
        RoundBird.objects.select_related("round"),
        round__flock=flock,
        round__ended_at=None,
        bird=bird_id,
    )
    services.pass_over(place=place)
    return to_next_bird(request, flock, services.open_round(flock))


@require_POST
@flock_view()
def round_end(request, flock):
    if round_ := services.open_round(flock):
        services.end_round(round_=round_)
        messages.success(request, "The round is ended. Birds not checked stay due.")
    return redirect("today", flock.pk)
