"""Whether what Today and the round show of looks at feet is still so."""

from django.db.models import Count, Max, OuterRef, QuerySet, Subquery
from django.utils import timezone

from flockcare.birds.models import Bird
from flockcare.feet.models import Check, Round, RoundBird
from flockcare.feet.services import HOLD
from flockcare.people.fresh import OF_THE_FLOCK, newest, tag_of


def _figures(held_since) -> list[Subquery]:
    """A late check has an old time, but comes in now."""
    round_ = Round.objects.filter(**OF_THE_FLOCK, ended_at=None)
    places = RoundBird.objects.filter(round__flock=OuterRef("pk"), round__ended_at=None)
    return [
        newest(Check, "received_at"),
        newest(Bird, "created_at", left=""),
        Subquery(round_.values("pk")[:1]),
        _figure(places.waiting(), "round", Count("pk")),
        _figure(places.filter(held_at__gt=held_since), "round", Count("pk")),
        _figure(places, "round", Max("held_at")),
    ]


def _figure(rows: QuerySet, of: str, figure) -> Subquery:
    return Subquery(rows.order_by().values(of).annotate(figure=figure).values("figure"))


def looks_tag(request, flock) -> str:
    return tag_of(request, flock, *_figures(timezone.now() - HOLD))
