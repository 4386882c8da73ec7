"""Slowing down whoever guesses passwords.

Attempts are counted in Django's cache, by default a memory inside the one serving process that
all its threads share. With several processes each counts alone, unless they share a cache.
"""

from django.core.cache import cache

WINDOW_SECONDS = 10 * 60
# From one address, then from everywhere: a stranger far away must not lock a keeper out lightly.
LIMITS = {"here": 10, "anywhere": 100}


def _keys(name: str, address: str) -> dict[str, str]:
    return {"here": f"sign-in:{name}:{address}", "anywhere": f"sign-in:{name}"}


def allowed(*, name: str, address: str) -> bool:
    """Count one more attempt, before the password is looked at; False when there were too many."""
    counts = {}
    for reach, key in _keys(name, address).items():
        cache.add(key, 0, WINDOW_SECONDS)
        try:
            counts[reach] = cache.incr(key)
        except ValueError:  # It ran out between the two lines above.
            counts[reach] = 1
    return all(counts[reach] <= limit for reach, limit in LIMITS.items())


def forget(*, name: str, address: str) -> None:
    """After the right password."""
    cache.delete_many(_keys(name, address).values())
