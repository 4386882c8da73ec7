"""A prepared query gives what the query gives that it was made of."""

import datetime as dt
import uuid

import pytest
from django.db import models
from django.utils import timezone

from flockcare.core.prepared import Prepared
from flockcare.feet.models import Check, FootFinding

pytestmark = pytest.mark.django_db


def checks_since(bird, since):
    return (
        Check.objects.filter(bird=bird, at__gte=since)
        .order_by("at")
        .values_list("pk", "at", "note", "gait", "keeper__name", "findings__sites")
    )


def test_rows_and_types_are_the_same(cast, birds):
    now = timezone.now()
    for bird in birds.values():
        for days in range(4):
            check = Check.objects.create(
                flock=cast.flock,
                bird=bird,
                at=now - dt.timedelta(days=days),
                keeper=cast.keeper if days else None,
                note="It's 100 % “fine”",
            )
            FootFinding.objects.create(
                check_record=check, foot="left", score=1, sites=["main", "toe I"]
            )
    prepared = Prepared(checks_since, bird=models.UUIDField(), since=models.DateTimeField())
    for bird in birds.values():
        for days in (0, 1, 3):
            since = now - dt.timedelta(days=days, hours=1)
            expected = list(checks_since(bird.pk, since))
            assert prepared.rows(bird=bird.pk, since=since) == expected
            assert len(expected) == days + 1
    assert prepared.rows(bird=uuid.uuid4(), since=now) == []


def test_two_dates_are_told_apart(cast, birds):
    def between(first, last):
        return Check.objects.filter(at__date__gte=first, at__date__lte=last).values_list("pk")

    Check.objects.create(
        flock=cast.flock, bird=birds["Dill"], at=dt.datetime(2026, 3, 5, 12, tzinfo=dt.UTC)
    )
    prepared = Prepared(between, first=models.DateField(), last=models.DateField())
    march = {"first": dt.date(2026, 3, 1), "last": dt.date(2026, 3, 31)}
    assert len(prepared.rows(**march)) == 1
    assert prepared.rows(first=march["last"], last=march["first"]) == []


def test_a_parameter_that_does_not_arrive_is_said():
    prepared = Prepared(
        lambda bird, since: Check.objects.filter(bird=bird).values_list("pk"),
        bird=models.UUIDField(),
        since=models.DateTimeField(),
    )
    with pytest.raises(ValueError, match="does not use since"):
        prepared.rows(bird=uuid.uuid4(), since=timezone.now())
