"""Whether what Today and the round show of looks at feet is still so."""

from django.db.models import Count, Max, OuterRef, Q, QuerySet, Subquery
from django.utils import timezone

from flockcare.birds.models import Bird
from flockcare.feet.models import Check, Round, RoundBird
from flockcare.feet.services import HOLD
from flockcare.people.fresh import OF_THE_FLOCK, newest, tag_of


def looks_tag(request, flock) -> str:
    """A late check has an old time, so all are counted; they stand together in an index."""
    open_round = RoundBird.objects.filter(round__flock=OuterRef("pk"), round__ended_at=None)
    held = Q(held_at__gt=timezone.now() - HOLD)
    return tag_of(
        request,
        flock,
        _figure(Check.objects.filter(**OF_THE_FLOCK), "flock", Count("pk")),
        newest(Bird, "created_at", left=""),
        Subquery(Round.objects.filter(**OF_THE_FLOCK, ended_at=None).values("pk")[:1]),
        _figure(open_round, "round", Count("check_record")),
        _figure(open_round, "round", Count("pk", filter=Q(passed_over=True))),
        _figure(open_round, "round", Count("pk", filter=held)),
        _figure(open_round, "round", Max("held_at")),
    )


def _figure(rows: QuerySet, of: str, figure) -> Subquery:
    return Subquery(rows.order_by().values(of).annotate(figure=figure).values("figure"))
