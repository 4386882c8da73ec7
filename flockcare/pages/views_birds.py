"""The list of birds: who is here, whose foot is sore, and who has left."""

import re

from django.db.models import Q
from django.db.models.functions import Lower
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from flockcare.birds.models import Bird
from flockcare.care.rows import Row
from flockcare.care.situation import standings
from flockcare.people.access import flock_view


@require_safe
@flock_view()
def bird_list(request, flock):
    """Who is here, or with ``?gone`` who was; ``?find=`` narrows to a name or band."""
    gone, find = "gone" in request.GET, request.GET.get("find", "").strip()
    found = standings(flock, now=timezone.now())
    birds = Bird.objects.filter(flock=flock).select_related("breed")
    if gone:
        birds = _found(birds.gone().order_by("-left", Lower("name")), find)
    else:
        birds = sorted(_found(birds.present(), find), key=by_name)
        for bird in birds:
            bird.row = Row(bird, found.birds[bird.pk])
    response = render(
        request,
        "pages/bird_rows.html" if request.htmx else "pages/birds.html",
        {
            "flock": flock,
            "here": "birds",
            "birds": birds,
            "faces": found.faces,
            "find": find,
            "gone": gone,
        },
    )
    response.headers["Vary"] = "HX-Request"
    return response


def by_name(bird: Bird) -> list[str | int]:
    """By name, with Hen 2 before Hen 10."""
    parts = re.split(r"(\d+)", bird.name.lower())
    return [int(part) if number % 2 else part for number, part in enumerate(parts)]


def _found(birds, words: str):
    """The birds that have every word in their name or band."""
    for word in words.split():
        birds = birds.filter(
            Q(name__icontains=word)
            | Q(band_colour__istartswith=word)
            | Q(band_number__icontains=word)
        )
    return birds
