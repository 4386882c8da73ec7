"""The care given to a bird, for her timeline."""

from django.urls import reverse

from flockcare.birds.models import Bird
from flockcare.care.models import CareStep, StepKind
from flockcare.drawing.timeline import Mark, Window
from flockcare.photos.models import Foot

OF_A_VET = frozenset({StepKind.VET, StepKind.MEDICINE})


def care_given(bird: Bird, window: Window) -> list[Mark]:
    start, end = window.moments
    rows = (
        CareStep.objects.filter(bird=bird, at__gte=start, at__lt=end)
        .order_by("at")
        .values_list("pk", "at", "foot", "kind", "product", "note", "keeper__name", "keeper_name")
    )
    return [
        Mark(
            at=at,
            lane="care",
            kind=mark_kind(kind),
            label=_words(foot, kind, product, note),
            url=reverse("care:step", args=[bird.flock_id, pk]),
            by=keeper or name,
        )
        for pk, at, foot, kind, product, note, keeper, name in rows
    ]


def mark_kind(kind: str) -> str:
    return "vet" if kind in OF_A_VET else "care"


def _words(foot: str, kind: str, product: str, note: str) -> str:
    done = ", ".join(filter(None, (StepKind(kind).label, product)))
    return ": ".join(filter(None, (foot and Foot(foot).label, done, note)))
