"""The steps of care of a bird, for her timeline."""

from flockcare.birds.layers import Mark, Window, urls_of
from flockcare.birds.models import Bird
from flockcare.care.models import CareStep, StepKind
from flockcare.photos.models import Foot

_BY_A_VET = {StepKind.VET, StepKind.MEDICINE}


def care_steps(bird: Bird, window: Window) -> list[Mark]:
    start, end = window.moments
    url_of = urls_of("care:step", bird.flock_id)
    rows = (
        CareStep.objects.filter(bird=bird, at__gte=start, at__lt=end)
        .order_by("at")
        .values_list("pk", "at", "foot", "kind", "product", "note", "keeper__name", "keeper_name")
    )
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
