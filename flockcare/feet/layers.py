"""The checks and cases of a bird, for her timeline."""

from __future__ import annotations

from django.urls import reverse

from flockcare.birds.models import Bird
from flockcare.drawing.dates import date_words, span_words
from flockcare.drawing.timeline import Bar, Mark, Window
from flockcare.feet.cases import Case
from flockcare.feet.models import FOOT_SIGNS, Check
from flockcare.feet.scales import LESION
from flockcare.feet.words import BIRD_SIGNS, foot_signs, odd_signs
from flockcare.photos.models import Foot

_OF_FOOT = ("sites", "scab", "scab_mm", "swelling", *FOOT_SIGNS)


def checks(bird: Bird, window: Window) -> list[Mark]:
    """A mark for each foot that was checked, and one for what else was seen of the bird."""
    start, end = window.moments
    rows = (
        Check.objects.filter(bird=bird, at__gte=start, at__lt=end)
        .order_by("at", "received_at")
        .values_list(
            *("pk", "at", "keeper__name", "keeper_name", "note", *BIRD_SIGNS),
            *(f"findings__{name}" for name in ("foot", "score", *_OF_FOOT)),
        )
    )
    marks: list[Mark] = []
    newest = url = None
    for pk, at, keeper, name, note, *seen in rows:
        of_bird, (foot, score, *signs) = seen[: len(BIRD_SIGNS)], seen[len(BIRD_SIGNS) :]
        by = keeper or name
        is_first = pk != newest
        if is_first:
            newest, url = pk, reverse("feet:check", args=[bird.flock_id, pk])
        if foot:
            words = ", ".join([_SCORED[foot, score], *foot_signs(*signs)])
            marks.append(Mark(at, foot, f"score-{score}", words, url, by, str(score), score))
        if is_first:
            odd = odd_signs(*of_bird)
            words = ": ".join(filter(None, (", ".join(odd), note)))
            if words or not foot:
                kind = "sign" if odd else "note"
                marks.append(Mark(at, "signs", kind, words or "a check without findings", url, by))
    return marks


_SCORED = {
    (foot.value, step.value): f"{foot.label} {step.value} {step.short.lower()}"
    for foot in Foot
    for step in LESION.steps
}


def bar(case: Case) -> Bar:
    episode = case.episode
    return Bar(
        case.foot,
        case.first.at,
        case.last.at,
        episode.last_clear_before,
        episode.first_clear_after,
        case.worst,
        _words(case),
    )


def _words(case: Case) -> str:
    """``Left foot, worst score 2: clear on 1 May 2026, sore from 8 May 2026 to …``."""
    episode = case.episode
    before = (
        f"clear on {date_words(episode.last_clear_before)}, sore from "
        if episode.last_clear_before
        else "sore already when first checked, "
    )
    seen = span_words(episode.first_affected, episode.last_affected)
    after = (
        f", clear again on {date_words(episode.first_clear_after)}"
        if episode.first_clear_after
        else ", not seen clear since"
    )
    name = Foot(case.foot).label.capitalize()
    return f"{name}, worst score {case.worst}: {before}{seen}{after}"
