"""Where a bird lived, for her timeline."""

from django.db.models import Q

from flockcare.birds.layers import Band, Window
from flockcare.birds.models import Bird
from flockcare.housing.models import Stay


def stays(bird: Bird, window: Window) -> list[Band]:
    rows = (
        Stay.objects.filter(bird=bird)
        .exclude(Q(since__gt=window.last) | Q(until__lt=window.first))
        .order_by("since")
        .values_list("since", "until", "house__name")
    )
    return [
        Band(since, until, lane="house", kind="stay", label=f"lived in {house}", short=house)
        for since, until, house in rows
    ]
