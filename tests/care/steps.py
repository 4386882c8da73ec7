"""Steps and checks for the tests of care."""

import uuid
from datetime import UTC, datetime, timedelta

from django.urls import reverse
from django.utils import timezone

from flockcare.care.models import CareStep
from flockcare.feet.models import Check, FootFinding
from tests.conftest import ZONE


def url(cast, name, *args):
    return reverse(f"care:{name}", args=[cast.flock.pk, *args])


def ago(days: float) -> datetime:
    """By the clock where the flock of the tests lives: some days have 23 or 25 hours."""
    return timezone.localtime(timezone.now(), ZONE) - timedelta(days=days)


def step(cast, bird, kind="soaked", *, days_ago=0, foot="left", **more) -> CareStep:
    at = more.pop("at", ago(days_ago))
    more.setdefault("keeper", cast.keeper)
    return CareStep.objects.create(flock=cast.flock, bird=bird, kind=kind, foot=foot, at=at, **more)


def today():
    """Today where the flock of the tests lives."""
    return timezone.localdate(timezone.now(), ZONE)


def day(number: int):
    return today() + timedelta(days=number)


def look(cast, bird, *, days_ago=0, left=None, right=None, keeper=None, **signs) -> Check:
    """A check; ``left`` and ``right`` are fields of the finding, such as ``{"score": 1}``."""
    check = Check.objects.create(
        flock=cast.flock,
        bird=bird,
        at=ago(days_ago),
        keeper=keeper or cast.owner,
        **signs,
    )
    for foot, seen in (("left", left), ("right", right)):
        if seen:
            FootFinding.objects.create(check_record=check, foot=foot, **seen)
    return check


def form(**said) -> dict:
    """What the form of a step sends."""
    moment = timezone.localtime(timezone.now(), ZONE)
    return {
        "step_id": str(uuid.uuid4()),
        "foot": "left",
        "at": moment.strftime("%Y-%m-%dT%H:%M"),
        "again": "usual",
        **said,
    }


def at(*when) -> datetime:
    return datetime(*when, tzinfo=UTC)
