"""The series of one foot: all its photos, two of them compared, and sizes over time.

Its page belongs to ``pages``, which says above it how that foot stands.
"""

from django.http import Http404, JsonResponse
from django.shortcuts import get_object_or_404
from django.views.decorators.http import require_safe

from flockcare.birds.models import Bird
from flockcare.people.access import flock_view
from flockcare.people.models import Role
from flockcare.photos import series as shots_in_order
from flockcare.photos import series_chart, words
from flockcare.photos.models import Foot
from flockcare.photos.pictures import Picture

ONE, SIDE, OVER, FADE = "one", "side", "over", "fade"
VIEWS = {ONE: "One", SIDE: "Side by side", OVER: "Divider", FADE: "Fade"}


def bird_and_foot_or_404(flock, bird_id, foot: str) -> Bird:
    """The bird with her flock; 404 for one of another flock, or no such foot."""
    if foot not in Foot.values:
        raise Http404("A bird has a left and a right foot.")
    bird = get_object_or_404(Bird, flock=flock, pk=bird_id)
    bird.flock = flock
    return bird


def series_of(request, bird: Bird, foot: str, *, scores=None, care=(), told=()) -> dict:
    """What the page shows of the photos. The bird must come with her flock.

    ``scores``: by photo, how the foot was when it was taken; ``care``: days with what was done to
    it, oldest first; ``told``: the two days whose measurements the page compares above the photos.
    All are known to whoever stands above this.
    """
    shots = shots_in_order.shots_of(bird, foot)
    for shot in shots:
        shot.photo.flock = bird.flock
    start = shots_in_order.measured_on(shots, told)
    context = film(request, shots, scores=scores, care=care, start=start) | {
        "bird": bird,
        "foot": foot,
        "foot_name": Foot(foot).label,
        "other_foot": next(other for other in Foot if other != foot),
        "here": "birds",
    }
    if len(shots) > 1:
        title = f"Sores of {bird.name}, {Foot(foot).label}, over time"
        chosen = [each for each in shots if each in (context["now"], context["partner"])]
        context["chart"] = series_chart.draw(
            shots, _choose_with(chosen, context["view"]), title, care=care, now=context["now"]
        )
    return context


def film(request, shots: list[shots_in_order.Shot], *, scores=None, care=(), start=()) -> dict:
    """Photos in the order of ``shots`` as a strip, and the two that are asked for compared.

    ``scores``: by photo, what stands under it; ``care`` as in ``series_of``; ``start``: the two
    that are compared where none is asked for.
    """
    view = request.GET.get("view")
    view = view if view in VIEWS else SIDE
    asked = request.GET.get("a", ""), request.GET.get("b", "")
    if not any(asked) and len(start) == 2:
        asked = tuple(shot.key for shot in start)
    chosen = shots_in_order.choose(shots, *asked)
    now = next((shot for shot in chosen if shot.key == asked[1]), chosen[-1] if chosen else None)
    span, maps = shots_in_order.aligned(shots)
    shown = [now] if view == ONE and now else chosen
    frames = _frames(shots, scores or {}, care, maps, shown)
    return {
        "view": view,
        "views": VIEWS.items(),
        "shots": shots,
        "frames": frames,
        "strip_span": span,
        "now": now,
        "partner": next((shot for shot in chosen if shot is not now), now),
        "rows": _newest_first(frames),
        "measured": len(maps),
        **_compared(shown, span, maps),
    }


@require_safe
@flock_view(read=Role.KEEPER)
def last(request, flock, bird_id):
    """The newest photo of each foot as JSON, by foot, which a camera lays over its picture.

    ``width``, ``height`` in pixels of the photo as it is shown; where it was measured also
    ``points`` of the outline and ``outline``, their transformation, as SVG writes both.
    """
    bird = get_object_or_404(Bird, flock=flock, pk=bird_id)
    answer = {}
    for foot, shot in shots_in_order.last_shots(bird).items():
        pane = _pane(shot)
        names = {"width", "height", "outline", "points"} & pane.keys()
        answer[foot] = {name: pane[name] for name in names} | {"url": pane["picture"].url_800}
    return JsonResponse(answer)


def _compared(chosen, span, maps) -> dict:
    context = {"panes": [_pane(shot) for shot in chosen], "shape": _shape(chosen)}
    if len(chosen) == 1 and chosen[0].key in maps:
        context["panes"][0]["to_mm"] = _as_text(maps[chosen[0].key])
        return context | {"span": span, "shape": "lying"}
    if len(chosen) < 2:
        return context
    first, second = chosen
    context |= {"first": first, "second": second}
    if not (first.measurement and second.measurement):
        return context
    days = shots_in_order.days_between(first, second)
    pair = shots_in_order.pair(first, second)
    for pane, to_mm in zip(context["panes"], pair.to_mm, strict=True):
        pane["to_mm"] = _as_text(to_mm)
    change = shots_in_order.change(first.measurement, second.measurement, days)
    return context | {
        "span": pair.span_mm,
        "shape": "lying",
        "change": change,
        "said": _said(change),
    }


def _as_text(to_mm) -> str:
    return " ".join(f"{value:.5g}" for value in to_mm)


def _shape(chosen) -> str:
    """Of the frame: as the photos lie or stand, so that no bars are left beside them."""
    sides = [shot.photo.shown for shot in chosen]
    if all(width > height for width, height in sides):
        return "lying"
    return "standing" if all(width < height for width, height in sides) else "square"


def _said(change) -> dict:
    """The figures of a change, rounded as far as they are worth."""
    pace = change.advance_per_week
    return {
        # Of a sore that was small the error is large: +341% would say more than was measured.
        "percent": f"{round(abs(change.percent), -1 if abs(change.percent) >= 100 else 0):.0f}",
        "difference": f"{abs(change.difference_mm2):.1f}",
        "error": f"{change.error_mm2:.1f}",
        # The edge moves on both sides.
        "per_week": None if pace is None else f"{2 * abs(pace):.1f}",
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


def _frames(shots, scores, care, maps, chosen) -> list[dict]:
    """The film strip and the table: oldest first, one entry a photo.

    ``letter``: A or B of two that are compared, empty for one that is shown alone, else None.
    """
    told = shots_in_order.care_before(shots, care)
    letters = dict(
        zip((shot.key for shot in chosen), "AB" if len(chosen) > 1 else [""], strict=False)
    )
    frames = []
    for shot in shots:
        width, height = shot.photo.shown
        to_mm = maps.get(shot.key)
        frame = {
            "shot": shot,
            "width": width,
            "height": height,
            "score": scores.get(shot.photo.pk),
            "care": told.get(shot.key, ""),
            "letter": letters.get(shot.key),
        }
        if to_mm:
            frame |= {
                "to_mm": _as_text(to_mm),
                "area": words.area(shot.measurement, ""),
                "diameter": words.diameter(shot.measurement, ""),
            }
        frames.append(frame)
    return frames


def _newest_first(frames):
    """Those without a date stay at the end."""
    dated = [frame for frame in frames if frame["shot"].days]
    return dated[::-1] + [frame for frame in frames if not frame["shot"].days]


def _choose_with(chosen, view):
    """Where a mark of the chart leads: its photo beside the first, or the first beside it."""

    def address(shot):
        partner = chosen[0] if chosen[0].key != shot.key else chosen[-1]
        return f"?a={partner.key}&b={shot.key}&view={view}#compare"

    return address
