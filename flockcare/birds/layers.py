"""What a bird's timeline is drawn from. Each app adds its own layer when it starts.

The timeline stands below the apps whose records it shows, so they hand their layer to it:
``layers.register(care_steps)`` in ``AppConfig.ready``. A layer is a function of a bird and a
window that gives the marks and bands lying in that window, with one query of its own.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import NamedTuple

from django.db import models
from django.urls import reverse

from flockcare.birds.models import Bird, Weighing
from flockcare.core.prepared import Prepared
from flockcare.core.templatetags.flockcare import weight


@dataclass(frozen=True, slots=True)
class Window:
    """The local days from ``first`` to ``last``, both included."""

    first: dt.date
    last: dt.date
    zone: dt.tzinfo

    @property
    def moments(self) -> tuple[dt.datetime, dt.datetime]:
        """From the first moment of the first day until just before that of the day after."""
        after = self.last + dt.timedelta(1)
        return tuple(
            dt.datetime.combine(day, dt.time(), self.zone).astimezone(dt.UTC)
            for day in (self.first, after)
        )

    @property
    def days(self) -> int:
        return (self.last - self.first).days + 1


class Mark(NamedTuple):
    """One thing at one time: a foot looked at, a step of care, a weighing, a photo.

    ``lane`` is the row it stands in, ``kind`` its shape; ``label`` says it in words without the
    date; ``short`` is written beside the mark; ``value`` is what a curve runs through.
    Marks of one time and one ``url`` are one record.
    """

    at: dt.datetime | dt.date
    lane: str
    kind: str
    label: str
    url: str = ""
    by: str = ""
    short: str = ""
    value: float | None = None
    picture: str = ""


class Band(NamedTuple):
    """A stretch of time, such as living in a house: None means always before, or still."""

    since: dt.date | None
    until: dt.date | None
    lane: str
    kind: str
    label: str
    short: str
    url: str = ""


Layer = Callable[[Bird, Window], Iterable[Mark | Band]]


WEIGHINGS = Prepared(
    lambda bird, first, last: (
        Weighing.objects.filter(bird=bird, on__gte=first, on__lte=last)
        .order_by("on")
        .values_list("on", "grams", "keeper__name")
    ),
    bird=models.UUIDField(),
    first=models.DateField(),
    last=models.DateField(),
)


def weighings(bird: Bird, window: Window) -> list[Mark]:
    url = reverse("birds:weighings", args=[bird.flock_id, bird.pk])
    rows = WEIGHINGS.rows(bird=bird.pk, first=window.first, last=window.last)
    return [
        Mark(
            at=on,
            lane="weight",
            kind="weight",
            label=f"weighed {weight(grams, bird.flock)}",
            url=url,
            by=by or "",
            short=weight(grams, bird.flock),
            value=grams,
        )
        for on, grams, by in rows
    ]


_layers: list[Layer] = [weighings]


def register(layer: Layer) -> None:
    if layer not in _layers:
        _layers.append(layer)


def gather(bird: Bird, window: Window) -> tuple[list[Mark], list[Band]]:
    """The marks and bands of every layer. The bird must come with her flock."""
    marks: list[Mark] = []
    bands: list[Band] = []
    for layer in _layers:
        for item in layer(bird, window):
            (marks if isinstance(item, Mark) else bands).append(item)
    return marks, bands
