"""The weighings and the states of a bird, for her timeline."""

from django.urls import reverse

from flockcare.birds.models import Bird, Weighing
from flockcare.core.templatetags.flockcare import weight
from flockcare.drawing.timeline import DAY, Mark, Period, Window


def weighings(bird: Bird, window: Window) -> list[Mark]:
    url = reverse("birds:weighings", args=[bird.flock_id, bird.pk])
    rows = (
        Weighing.objects.filter(bird=bird, on__range=(window.first, window.last))
        .order_by("on")
        .values_list("on", "grams", "keeper__name")
    )
    marks = []
    for on, grams, by in rows:
        words = weight(grams, bird.flock)
        marks.append(Mark(on, "weight", "weight", f"weighed {words}", url, by or "", words, grams))
    return marks


def states(bird: Bird, window: Window) -> list[Period]:
    """Each state that holds on some day of the window."""
    url = reverse("birds:states", args=[bird.flock_id, bird.pk])
    return [
        Period(
            state.since,
            # On the day that it is over it holds no more.
            state.until and max(state.until - DAY, state.since),
            state.get_kind_display(),
            url,
            str(state.keeper or ""),
        )
        for state in bird.birdstate_set.all()
        if state.since <= window.last and (state.until is None or state.until > window.first)
    ]
