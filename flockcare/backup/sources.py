"""The page of sources: what each says, how it was read, and where the app goes by it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby

from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from flockcare.birds.breeds import PUBLISHED
from flockcare.care import dressing, medicines, notifiable, opening
from flockcare.care.rules import RULES
from flockcare.core.sources import (
    APA,
    GILMAN,
    GRAVITY,
    JESSUP,
    MITCHELL,
    SOURCES,
    Source,
    sources_of,
)
from flockcare.feet.scales import SCALES
from flockcare.housing import capacity, checklist, flags
from flockcare.people.access import flock_view


@dataclass(frozen=True)
class Place:
    """A page of the app that goes by sources; ``address``: of the page, or of what leads to it."""

    name: str
    address: str
    sources: frozenset[Source]


def _all(*named: str | Source | Iterable[Source]) -> frozenset[Source]:
    return frozenset(source for one in named for source in sources_of(one))


def _places() -> tuple[Place, ...]:
    care = (*dressing.STEPS, *dressing.PARTS)
    law = (*medicines.LISTS, *medicines.NOTICES, *medicines.EGGS)
    house = (
        *(*flags.LEG_RULES, *flags.PLACE_RULES, *flags.ROOST_RULES),
        *checklist.ITEMS,
    )
    return (
        Place("The scales", "feet:about_scales", _all(*(scale.source for scale in SCALES))),
        Place(
            "When to call the vet",
            "care:rules",
            _all(*(rule.source for rule in RULES), notifiable.SOURCES),
        ),
        Place("Soak and dress a foot", "care:dressing", _all(*(one.sources for one in care))),
        Place(
            "A scab: leave it, and why",
            "birds",
            _all(*(caution.sources for caution in opening.CAUTIONS)),
        ),
        Place("Medicines, eggs and meat", "care:medicines", _all(*(one.sources for one in law))),
        Place(
            "Houses",
            "housing:list",
            _all(
                *(one.sources for one in house),
                *(capacity.DIRECTIVE_SCOPE, capacity.THUMB_SCOPE, GRAVITY),
            ),
        ),
        Place("Breeds", "birds:breeds", _all(APA, MITCHELL, *(one.source for one in PUBLISHED))),
        Place("Photos of a foot", "birds", _all(GILMAN, JESSUP)),
    )


PLACES = _places()


@require_safe
@flock_view()
def sources(request, flock):
    addresses = {place: reverse(place.address, args=[flock.pk]) for place in PLACES}
    groups = [
        (
            name,
            [
                (source, [(p.name, addresses[p]) for p in PLACES if source in p.sources])
                for source in group
            ],
        )
        for name, group in groupby(SOURCES, key=lambda source: source.group)
    ]
    return render(request, "backup/sources.html", {"here": "more", "groups": groups})
