"""The series of one foot: all its photos, two of them compared, and sizes over time.

Its page belongs to ``pages``, which says above it how that foot stands.
"""

from dataclasses import replace

from django.http import Http404
from django.shortcuts import get_object_or_404

from flockcare.birds.models import Bird
from flockcare.photos import series as shots_in_order
from flockcare.photos import series_chart, words
from flockcare.photos.models import Foot, Measurement
from flockcare.photos.pictures import Picture

SIDE, OVER = "side", "over"
VIEWS = {SIDE: "Side by side", OVER: "One over the other"}


def series_of(request, flock, bird_id, foot: str) -> dict:
    """What the page shows of the photos; 404 for a bird of another flock, or no such foot."""
    if foot not in Foot.values:
        raise Http404("A hen has a left and a right foot.")
    bird = get_object_or_404(Bird, flock=flock, pk=bird_id)
    shots = shots_in_order.shots_of(bird, foot)
    for shot in shots:
        shot.photo.flock = flock
    view = request.GET.get("view")
    view = view if view in VIEWS else SIDE
    chosen = shots_in_order.choose(shots, request.GET.get("a", ""), request.GET.get("b", ""))
    context = {
        "bird": bird,
        "foot": foot,
        "foot_name": Foot(foot).label,
        "other_foot": next(other for other in Foot if other != foot),
        "view": view,
        "views": VIEWS.items(),
        "here": "birds",
        "shots": shots,
        "rows": [_row(shot) for shot in _newest_first(shots)],
        "measured": sum(1 for shot in shots if shot.measurement),
        **_compared(_with_outlines(chosen)),
    }
    if len(shots) > 1:
        title = f"Sores of {bird.name}, {Foot(foot).label}, over time"
        context["chart"] = series_chart.draw(shots, _choose_with(chosen, view), title)
    return context


def _with_outlines(chosen):
    keys = [shot.measurement.pk for shot in chosen if shot.measurement]
    whole = Measurement.objects.in_bulk(keys)
    return [
        replace(shot, measurement=shot.measurement and whole[shot.measurement.pk])
        for shot in chosen
    ]


def _compared(chosen) -> dict:
    context = {"panes": [_pane(shot) for shot in chosen]}
    if len(chosen) < 2:
        return context
    first, second = chosen
    context |= {"first": first, "second": second}
    if not (first.measurement and second.measurement):
        return context
    days = shots_in_order.days_between(first, second)
    pair = shots_in_order.pair(first, second)
    for pane, to_mm in zip(context["panes"], pair.to_mm, strict=True):
        pane["to_mm"] = " ".join(f"{value:.8g}" for value in to_mm)
    change = shots_in_order.change(first.measurement, second.measurement, days)
    return context | {"span": pair.span_mm, "change": change, "said": _said(change)}


def _said(change) -> dict:
    """The figures of a change, rounded as far as they are worth."""
    pace = change.advance_per_week
    return {
        "percent": f"{abs(change.percent):.0f}",
        "difference": f"{abs(change.difference_mm2):.1f}",
        "error": f"{change.error_mm2:.1f}",
        "per_week": None if pace is None else f"{abs(pace):.2f}",
    }


def _pane(shot) -> dict:
    width, height = shot.photo.shown
    pane = {"shot": shot, "picture": Picture(shot.photo), "width": width, "height": height}
    if shot.measurement:
        turn = shots_in_order.to_shown(shot.photo)
        pane |= {
            "area": words.area(shot.measurement),
            "diameter": words.diameter(shot.measurement),
            "outline": " ".join(f"{value:.2f}" for value in turn.T.ravel()),
            "points": " ".join(f"{x:.1f},{y:.1f}" for x, y in shot.measurement.outline_px),
        }
    return pane


def _newest_first(shots):
    """Those without a date stay at the end."""
    dated = [shot for shot in shots if shot.days]
    return dated[::-1] + [shot for shot in shots if not shot.days]


def _row(shot) -> dict:
    return {
        "shot": shot,
        "thumb": Picture(shot.photo),
        "area": shot.measurement and words.area(shot.measurement, ""),
        "diameter": shot.measurement and words.diameter(shot.measurement, ""),
    }


def _choose_with(chosen, view):
    """Where a mark of the chart leads: its photo beside the first, or the first beside it."""

    def address(shot):
        partner = chosen[0] if chosen[0].key != shot.key else chosen[-1]
        return f"?a={partner.key}&b={shot.key}&view={view}#compare"

    return address
