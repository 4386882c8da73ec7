"""The care given to a bird, for her timeline."""

from django.urls import reverse

from flockcare.birds.models import Bird
from flockcare.care.models import CareStep, StepKind
from flockcare.drawing.timeline import Mark, Window
from flockcare.photos.models import Foot

OF_A_VET = frozenset({StepKind.VET, StepKind.MEDICINE, StepKind.VACCINE})


def care_given(bird: Bird, window: Window) -> list[Mark]:
    """A mark for all that was done in one go."""
    start, end = window.moments
    rows = (
        CareStep.objects.filter(bird=bird, at__gte=start, at__lt=end)
        .order_by("at", "logged_at")
        .values_list("pk", "at", "foot", "kind", "product", "note", "keeper__name", "keeper_name")
    )
    found: dict[tuple, Mark] = {}
    for pk, at, foot, kind, product, note, keeper, name in rows:
        done, by = _words(kind, product, note), keeper or name
        mark = found.get(key := (at, foot, by, mark_kind(kind)))
        label = f"{mark.label}; {done}" if mark else f"{Foot(foot).label}: {done}" if foot else done
        found[key] = Mark(
            at=at,
            lane="care",
            kind=mark_kind(kind),
            label=label,
            url=mark.url if mark else reverse("care:step", args=[bird.flock_id, pk]),
            by=by,
        )
    return list(found.values())


def mark_kind(kind: str) -> str:
    return "vet" if kind in OF_A_VET else "care"


def _words(kind: str, product: str, note: str) -> str:
    done = ", ".join(filter(None, (StepKind(kind).label, product)))
    return ": ".join(filter(None, (done, note)))
