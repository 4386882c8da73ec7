"""Coming down in a house: the drawing and the landings of a day."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from flockcare.housing import elevation, flags, landing
from flockcare.housing.drawn import drawn
from flockcare.housing.layout import Layout, Place, bedding_words
from flockcare.housing.models import House
from flockcare.housing.routes import RULE, Route, next_legs, slope_of, ways_down
from flockcare.housing.states import HouseRecord, NotRecorded, record_of
from flockcare.housing.units import length_text
from flockcare.housing.views import house_or_404
from flockcare.people.access import flock_view

FACTS = (
    "The harm is in coming down, not in going up.",
    "Hens scratch bedding away exactly where they land: note its depth at the landing spot, and "
    "check again.",
    "Wide, flat, smooth roosts are kinder than narrow or round ones.",
)


# The house on a day


@require_safe
@flock_view()
def landing_page(request, flock, house_id):
    house = house_or_404(flock, house_id)
    return render(request, "housing/landing.html", _as_it_was(request, house))


def _as_it_was(request, house: House) -> dict:
    record = record_of(house)
    days = _days(record, timezone.localdate())
    day = _chosen_day(request, days)
    context = {
        "here": "houses",
        "house": house,
        "days": days,
        "day": day,
        "step": days.index(day),
        "last": len(days) - 1,
        "newest": day == days[-1],
        "facts": FACTS,
    }
    try:
        layout = landing.layout_of(house, day, record.on(day))
    except NotRecorded as error:
        return context | {"refused": str(error)}
    landers = landing.landers_on(house, day)
    return context | landings_context(layout, landers, house.flock.units)


def _days(record: HouseRecord, today: dt.date) -> list[dt.date]:
    """The days of changes up to today, and today."""
    return [*(day for day in record.days if day < today), today]


def _chosen_day(request, days: list[dt.date]) -> dt.date:
    """The change that held on the day asked for; what is not said well is taken as today."""
    try:
        return days[min(max(int(request.GET["step"]), 0), len(days) - 1)]
    except (KeyError, ValueError):
        pass
    try:
        asked = dt.date.fromisoformat(request.GET.get("on", ""))
    except ValueError:
        return days[-1]
    return max((day for day in days if day <= asked), default=days[0])


def landings_context(layout: Layout, landers: list[landing.Lander], units: str, **drawing) -> dict:
    """What the drawing, its table and the table of the landings need. Asks for nothing more."""
    routes = ways_down(layout)
    shown = drawn(layout, landers, units, **drawing)
    return {
        **shown,
        "layout": layout,
        "rows": place_rows(layout, shown["found"], routes, units),
        "unknown": layout.without_height,
        "birds": bird_rows(landers, routes, units),
        "unweighed": [lander.bird for lander in landers if not lander.grams],
        "landers": landers,
        "routes": routes,
        "rule": RULE,
    }


@dataclass(frozen=True, slots=True)
class PlaceRow:
    """A place in words: the table behind the drawing."""

    key: str
    name: str
    about: str
    next: str
    way: str
    straight: str
    labels: list[flags.Finding]


def place_rows(
    layout: Layout, found: list[flags.Finding], routes: list[Route], units: str
) -> list[PlaceRow]:
    ids = elevation.row_ids(layout)
    by_name = {place.name: place for place in layout.places}
    legs = {leg.start.name: leg for leg in next_legs(layout)}
    ways = {route.legs[0].start.name: route for route in routes}
    rows = []
    for name, key in ids.items():
        place, leg, route = by_name[name], legs.get(name), ways.get(name)
        rows.append(
            PlaceRow(
                key=key,
                name=name,
                about=_about(place, units),
                next=_leg_words(leg, units) if leg else "",
                way=_way_words(route, units) if route else "",
                straight=length_text(route.straight_cm, unit="cm", units=units)
                if route and len(route.legs) > 1
                else "",
                labels=[
                    finding
                    for finding in found
                    if any(flag.place == name for flag in finding.flags)
                ],
            )
        )
    return rows


def _about(place: Place, units: str) -> str:
    known = [
        _sized(place.height_cm, "cm", "high", units),
        _sized(place.width_mm, "mm", "wide", units),
        _sized(place.length_cm, "cm", "long", units),
        place.edge,
        place.surface,
        place.material,
        place.cover and f"cover: {place.cover}",
        bedding_words(place),
        _sized(place.bedding_depth_cm, "cm", "deep", units),
        place.damp,
        "" if place.moisture_percent is None else f"{place.moisture_percent:g}% water",
    ]
    return ", ".join(filter(None, known))


def _sized(value: float | None, unit: str, word: str, units: str) -> str:
    return f"{length_text(value, unit=unit, units=units)} {word}" if value is not None else ""


def _leg_words(leg, units: str) -> str:
    """``60 cm down over 55 cm to Lower roost: 47°``."""
    over = (
        "how far is not recorded"
        if leg.run_cm is None
        else f"over {length_text(leg.run_cm, unit='cm', units=units)}"
    )
    if leg.walked:
        slope = slope_of(leg.start)
        how = "how steep is not recorded" if slope is None else f"{slope:.0f}°"
        return f"walked down to the {leg.to_name}: {how}"
    angle = "" if leg.angle is None else f": {leg.angle:.0f}°"
    drop = length_text(leg.drop_cm, unit="cm", units=units)
    if leg.over:
        return f"{drop} down onto {leg.to_name}, right below"
    return f"{drop} down to {leg.to_name}, {over}{angle}"


def _way_words(route: Route, units: str) -> str:
    stops = [leg.to_name for leg in route.legs[:-1]]
    return f"by {', '.join(stops)}" if stops else "straight down"


@dataclass(frozen=True, slots=True)
class WayRow:
    place: str
    at: str
    drop: str
    angle: str
    energy: str  # Empty where no weight is known.
    speed: str
    straight: str


@dataclass(frozen=True, slots=True)
class BirdRow:
    lander: landing.Lander
    ways: list[WayRow]


def bird_rows(landers: list[landing.Lander], routes: list[Route], units: str) -> list[BirdRow]:
    return [
        BirdRow(row.lander, [_way_row(way, units) for way in row.ways])
        for row in landing.landings(landers, routes)
    ]


def _way_row(way: landing.Landing, units: str) -> WayRow:
    hardest = way.route.hardest
    return WayRow(
        place=way.route.legs[0].start.name,
        # Where on the way the largest drop is, if not at once.
        at="" if way.route.legs[0] is hardest else hardest.start.name,
        drop=length_text(hardest.drop_cm, unit="cm", units=units),
        angle="no angle" if hardest.angle is None else f"{hardest.angle:.0f}°",
        energy=landing.energy_text(way.energy_j, units),
        speed=landing.speed_text(hardest.speed, units),
        straight=landing.energy_text(way.straight_j, units) if len(way.route.legs) > 1 else "",
    )
