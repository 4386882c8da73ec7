"""Slowing down whoever guesses passwords.

Attempts are counted in the database, so that several serving processes count together and a
restart forgets nothing. Names and addresses are kept as keyed hashes: a name is typed before
anybody has signed in, and may be a password that went into the wrong field.
"""

import datetime as dt

from django.db.models import Count, Q
from django.utils import timezone
from django.utils.crypto import salted_hmac

from flockcare.people.models import SignInAttempt

WINDOW_SECONDS = 10 * 60
# From one address, then from everywhere: a stranger far away must not lock a keeper out lightly.
LIMITS = {"here": 10, "anywhere": 100}


def _hash(value: str) -> str:
    return salted_hmac("flockcare.people.attempts", value, algorithm="sha256").hexdigest()


def allowed(*, name: str, address: str) -> bool:
    """Count one more attempt, before the password is looked at; False when there were too many."""
    now = timezone.now()
    SignInAttempt.objects.filter(at__lt=now - dt.timedelta(seconds=WINDOW_SECONDS)).delete()
    # Written before it is counted: of two at the same moment each sees both, or one does.
    attempt = SignInAttempt.objects.create(name=_hash(name), address=_hash(address), at=now)
    counts = SignInAttempt.objects.filter(name=attempt.name).aggregate(
        here=Count("pk", filter=Q(address=attempt.address)), anywhere=Count("pk")
    )
    return all(counts[reach] <= limit for reach, limit in LIMITS.items())


def forget(*, name: str, address: str) -> None:
    """After the right password: this address's own; whoever guesses elsewhere gains nothing."""
    SignInAttempt.objects.filter(name=_hash(name), address=_hash(address)).delete()
