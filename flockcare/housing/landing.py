"""What the birds of a house land with, on a day: each bird from each place."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, fields

from django.db.models import OuterRef, Subquery

from flockcare.analysis.landing import foot_pounds, landing_energy
from flockcare.birds.age import growing_words, is_growing
from flockcare.birds.models import Bird, Weighing
from flockcare.drawing.dates import date_words
from flockcare.housing.layout import Layout, Place
from flockcare.housing.models import Feature, FeatureState, House
from flockcare.housing.residents import stays_on
from flockcare.housing.routes import Route
from flockcare.people.models import Units

METRES_PER_FOOT = 0.3048  # Exactly; international yard and pound agreement of 1959, from memory.
_FROM_STATE = {field.name for field in fields(Place)} - {"name", "kind"}


def place_of(feature: Feature, state: FeatureState) -> Place:
    return Place(name=feature.name, kind=feature.kind, **values_of(state))


def values_of(described: FeatureState | Place) -> dict:
    """What a place and a state of a feature both say, by field."""
    return {name: getattr(described, name) for name in _FROM_STATE}


def layout_of(house: House, day: dt.date, pairs: Iterable[tuple[Feature, FeatureState]]) -> Layout:
    """What stood in the house as plain values, from what ``HouseRecord.on`` gives."""
    return Layout(
        house.name,
        day,
        tuple(place_of(*pair) for pair in pairs),
        length_cm=house.floor_length_cm,
        wall_cm=house.wall_height_cm,
        raised_cm=house.floor_height_cm,
        shape=house.shape,
    )


@dataclass(frozen=True, slots=True)
class Lander:
    """A bird with the weight she is reckoned with; ``grams`` is None where nothing is known."""

    bird: Bird
    grams: int | None
    source: str
    assumed: bool = False

    @property
    def mass_kg(self) -> float | None:
        return self.grams / 1000 if self.grams else None


def landers_on(house: House, day: dt.date) -> list[Lander]:
    """The birds that lived there, each with her last weighing on or before the day.

    Who was not weighed by then has the adult weight of her breed, as an assumption, unless she may
    have been growing. Once she is grown, what she weighed before counts no more. One query.
    """
    newest = Weighing.objects.filter(bird=OuterRef("bird"), on__lte=day).order_by("-on")
    stays = stays_on(
        house,
        day,
        last_grams=Subquery(newest.values("grams")[:1]),
        last_on=Subquery(newest.values("on")[:1]),
    )
    return [
        _lander(stay.bird, (stay.last_grams, stay.last_on) if stay.last_on else None, day)
        for stay in stays
    ]


def _lander(bird: Bird, weighed: tuple[int, dt.date] | None, day: dt.date) -> Lander:
    growing = growing_words(bird.hatched, day)
    if weighed:
        grams, on = weighed
        if growing or not is_growing(bird.hatched, on):
            return Lander(bird, grams, f"weighed {date_words(on)}")
    if growing:
        return Lander(bird, None, f"weight not known, {growing}: weigh {bird.pronouns.object}")
    if bird.breed and bird.breed.adult_grams:
        return Lander(bird, bird.breed.adult_grams, f"assumed: a grown {bird.breed}", assumed=True)
    return Lander(bird, None, f"weight not known: weigh {bird.pronouns.object}")


@dataclass(frozen=True, slots=True)
class Landing:
    """One bird coming down from one place; no energies where her weight is not known."""

    route: Route
    energy_j: float | None
    straight_j: float | None


@dataclass(frozen=True, slots=True)
class Landings:
    """All ways down of one bird, the hardest first."""

    lander: Lander
    ways: tuple[Landing, ...]


def landings(landers: Iterable[Lander], routes: list[Route]) -> list[Landings]:
    """The bird with the hardest landing first; who has no weight has her drops, and comes last."""
    rows = [
        Landings(lander, tuple(_landing(lander, route) for route in routes)) for lander in landers
    ]
    return sorted(rows, key=lambda row: -max((way.energy_j or 0 for way in row.ways), default=0.0))


def _landing(lander: Lander, route: Route) -> Landing:
    if lander.mass_kg is None:
        return Landing(route, None, None)
    drop_cm, straight_cm = route.hardest.drop_cm, route.straight_cm
    return Landing(
        route,
        landing_energy(lander.mass_kg, drop_cm / 100),
        landing_energy(lander.mass_kg, straight_cm / 100),
    )


def energy_text(joules: float | None, units: str) -> str:
    """``14.7 J``, or ``10.9 ft·lbf``; empty for None."""
    if joules is None:
        return ""
    if units == Units.IMPERIAL:
        return f"{foot_pounds(joules):.1f} ft·lbf"
    return f"{joules:.1f} J"


def speed_text(metres_per_second: float, units: str) -> str:
    """``3.1 m/s``, or ``10.3 ft/s``."""
    if units == Units.IMPERIAL:
        return f"{metres_per_second / METRES_PER_FOOT:.1f} ft/s"
    return f"{metres_per_second:.1f} m/s"
