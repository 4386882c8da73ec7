"""Slowing down whoever guesses passwords, without closing the door to a keeper.

Each place has some attempts free, whichever names it tries; then it waits before the next, longer
each time. A place is a visitor's network, or a device on which this keeper has signed in before
(``people.devices``; the idea: OWASP, "Slow Down Online Guessing Attacks with Device Cookies", from
memory): what strangers try then holds nobody up at home. Where very many are tried for one name
from anywhere, networks wait too, but never without end.

Attempts are counted in the database, so that several serving processes count together and a
restart forgets nothing. Names and places are kept as keyed hashes: a name is typed before anybody
has signed in, and may be a password that went into the wrong field.
"""

import math
from dataclasses import dataclass
from datetime import timedelta

from django.db.models import Count, Max
from django.utils import timezone
from django.utils.crypto import salted_hmac

from flockcare.core.visitors import address_of, network_of
from flockcare.people import devices
from flockcare.people.models import Keeper, SignInAttempt

WINDOW = timedelta(hours=1)
# Of one place, in the window.
FREE = 10
FIRST_WAIT, LONGEST_WAIT = timedelta(seconds=5), timedelta(minutes=10)
# For one name, from everywhere: for each so many of them, a network waits for a minute.
MANY = 1000


@dataclass(frozen=True)
class Place:
    """Where attempts to sign in come from. ``known``: a device of the keeper of that name."""

    key: str
    known: bool


def place_of(request, name: str) -> Place:
    keeper = Keeper.objects.filter(sign_in_name=name).first()
    if keeper and (device := devices.known(request, keeper)):
        return Place(f"device {device}", known=True)
    return Place(network_of(address_of(request)), known=False)


def _hash(value: str) -> str:
    return salted_hmac("flockcare.people.attempts", value, algorithm="sha256").hexdigest()


def wait(*, name: str, place: Place) -> timedelta:
    """How long until a password from there may be looked at.

    Zero: now, and it is counted as one more attempt.
    """
    now = timezone.now()
    # Also what lies ahead, from before a clock was set back.
    SignInAttempt.objects.exclude(at__range=(now - WINDOW, now + WINDOW)).delete()
    # Written before the others are counted: of two at the same moment each sees both, or one does.
    own = SignInAttempt.objects.create(name=_hash(name), address=_hash(place.key), at=now)
    others = SignInAttempt.objects.exclude(pk=own.pk)
    here = others.filter(address=own.address).aggregate(count=Count("pk"), last=Max("at"))
    needed = _pause(here["count"])
    if not place.known:
        minutes = others.filter(name=own.name).count() // MANY
        needed = max(needed, min(timedelta(minutes=minutes), LONGEST_WAIT))
    if here["last"] is None:
        # The first from there is counted even if it has to wait: from it on the time runs.
        return needed
    left = min(needed, here["last"] + needed - now)
    if left <= timedelta(0):
        return timedelta(0)
    own.delete()
    return left


def _pause(count: int) -> timedelta:
    """After so many attempts of one place, before its next."""
    if count < FREE:
        return timedelta(0)
    doublings = min(count - FREE, 10)
    return min(FIRST_WAIT * 2**doublings, LONGEST_WAIT)


def in_words(time: timedelta) -> str:
    seconds = math.ceil(time.total_seconds())
    if seconds < 60:
        return "1 second" if seconds == 1 else f"{seconds} seconds"
    minutes = math.ceil(seconds / 60)
    return "1 minute" if minutes == 1 else f"{minutes} minutes"


def forget(*, name: str, place: Place) -> None:
    """After the right password: what was tried from there for this name, and no other."""
    SignInAttempt.objects.filter(name=_hash(name), address=_hash(place.key)).delete()
