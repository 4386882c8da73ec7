"""Devices on which a keeper has signed in before, known by a signed cookie.

The cookie opens nothing. It says that guesses from this device are not those of a stranger, holds
no name, and is worth nothing any more once the keeper has signed out everywhere.
"""

import secrets
from datetime import timedelta

from django.conf import settings
from django.utils.crypto import constant_time_compare, salted_hmac

from flockcare.people.models import Keeper

COOKIE = "flockcare_device"
SALT = "flockcare.people.devices"
# Longer than a session, so that the device is known when that has run out; browsers keep no cookie
# for longer than this (RFC 6265bis, 5.5, from memory).
AGE = timedelta(days=400)
# A tablet in the kitchen is the whole family's.
KEEPERS = 8


def _mark(keeper: Keeper) -> str:
    value = f"{keeper.pk} {keeper.session_salt}"
    return salted_hmac(SALT, value, algorithm="sha256").hexdigest()[:32]


def _read(request) -> list[str]:
    """The device's own key and the marks of its keepers; empty where nothing good was sent."""
    said = request.get_signed_cookie(COOKIE, default="", salt=SALT, max_age=AGE)
    return said.split(".") if said else []


def known(request, keeper: Keeper) -> str:
    """The key of this device if the keeper has signed in on it, else empty."""
    key, *marks = _read(request) or [""]
    own = _mark(keeper)
    return key if any(constant_time_compare(mark, own) for mark in marks) else ""


def remember(request, keeper: Keeper, response):
    """The response to a keeper who has just signed in, with the cookie that tells so later."""
    key, *marks = _read(request) or [secrets.token_urlsafe(12)]
    own = _mark(keeper)
    marks = [own, *(mark for mark in marks if mark != own)][:KEEPERS]
    response.set_signed_cookie(
        COOKIE,
        ".".join([key, *marks]),
        salt=SALT,
        max_age=AGE,
        secure=settings.SESSION_COOKIE_SECURE,
        httponly=True,
        samesite="Lax",
    )
    return response
