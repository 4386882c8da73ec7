"""The weighings of a bird, for her timeline."""

from django.urls import reverse

from flockcare.birds.models import Bird, Weighing
from flockcare.core.templatetags.flockcare import weight
from flockcare.drawing.timeline import Mark, Window


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
