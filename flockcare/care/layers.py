"""The steps of care of a bird, for her timeline."""

from django.db import models

from flockcare.birds.layers import Mark, Window
from flockcare.birds.models import Bird
from flockcare.care.models import CareStep, StepKind
from flockcare.core.addresses import urls_of
from flockcare.core.prepared import Prepared
from flockcare.photos.models import Foot

_BY_A_VET = {StepKind.VET, StepKind.MEDICINE}

STEPS = Prepared(
    lambda bird, start, end: (
        CareStep.objects.filter(bird=bird, at__gte=start, at__lt=end)
        .order_by("at")
        .values_list("pk", "at", "foot", "kind", "product", "note", "keeper__name", "keeper_name")
    ),
    bird=models.UUIDField(),
    start=models.DateTimeField(),
    end=models.DateTimeField(),
)


def care_steps(bird: Bird, window: Window) -> list[Mark]:
    start, end = window.moments
    url_of = urls_of("care:step", bird.flock_id)
    rows = STEPS.rows(bird=bird.pk, start=start, end=end)
    return [
        Mark(
            at=at,
            lane="care",
            kind="vet" if kind in _BY_A_VET else "care",
            label=_words(foot, kind, product, note),
            url=url_of(pk),
            by=keeper or name,
        )
        for pk, at, foot, kind, product, note, keeper, name in rows
    ]


def _words(foot: str, kind: str, product: str, note: str) -> str:
    done = ", ".join(filter(None, (StepKind(kind).label, product)))
    return ": ".join(filter(None, (foot and Foot(foot).label, done, note)))
