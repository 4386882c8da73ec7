"""Caches the finished report until a record that it rests on changes.

Working it out takes a second for a large flock; whether it still holds is asked in two queries.
Every change and deletion of a record writes a `Revision`, every new record adds to a count; what
keepers say about a change of the housing is compared word for word.
"""

from __future__ import annotations

import datetime as dt

from django.core.cache import cache
from django.db import models
from django.db.models import Count, Max, OuterRef, Subquery, Value
from django.db.models.functions import Coalesce

from flockcare.birds.models import Bird, Breed, Weighing
from flockcare.care.models import CareStep
from flockcare.feet.models import Check
from flockcare.housing.models import Event, Feature, FeatureState, House, Stay, Wetness
from flockcare.people.models import Flock, Revision
from flockcare.photos.models import Measurement
from flockcare.trends import answer_rows, records
from flockcare.trends.answers import build
from flockcare.trends.models import WindowChoice
from flockcare.trends.report import Report

# Goes up when the report has other fields or is worked out otherwise.
EDITION = 16
_COUNTED = (
    *(Revision, Check, Bird, Breed, Weighing, House, Stay, Feature, FeatureState, CareStep),
    *(WindowChoice, Event, Wetness),
)


def _of_flock(rows: models.QuerySet, figure: models.Aggregate, otherwise) -> Coalesce:
    one = rows.order_by().values("flock").annotate(figure=figure).values("figure")
    return Coalesce(Subquery(one), Value(otherwise))


def _figures(flock: Flock) -> models.QuerySet:
    counts = [
        _of_flock(model._base_manager.filter(flock=OuterRef("pk")), Count("pk"), 0)
        for model in _COUNTED
    ]
    newest = _of_flock(Revision.objects.filter(flock=OuterRef("pk")), Max("pk"), 0)
    measured = Measurement.objects.filter(
        flock=OuterRef("pk"), photo__bird__isnull=False, photo__deleted_at=None
    )
    figures = [*counts, newest, _of_flock(measured, Count("pk"), 0)]
    named = {f"figure_{number}": figure for number, figure in enumerate(figures)}
    return Flock.objects.filter(pk=flock.pk).annotate(**named).values_list(*named)


def fingerprint(flock: Flock, told, today: dt.date) -> tuple:
    """Other whenever something that the report rests on is other. ``told``: see ``records``."""
    return (
        EDITION,
        today,
        flock.name,
        flock.time_zone,
        flock.units,
        _figures(flock).get(),
        tuple((one.pk, one.house_id, one.on, one.kind, one.note) for one in told),
    )


def report_of(flock: Flock, today: dt.date) -> Report:
    """The report as of now: the cached one if it still holds, else worked out anew and cached.

    The fingerprint is taken before the records are read, so that a record which comes between is
    not overlooked: the next look finds another fingerprint.
    """
    told = records.told_changes(flock)
    mark = fingerprint(flock, told, today)
    key = _key(flock.pk)
    cached = cache.get(key)
    if cached and cached[0] == mark:
        return cached[1]
    report = build(records.read(flock, told), flock=flock.name, today=today)
    cache.set(key, (mark, report), timeout=None)
    answer_rows.keep(flock, report)
    return report


def _key(flock_id) -> str:
    return f"trends:{EDITION}:{flock_id}"
