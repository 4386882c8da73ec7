"""What else ends when a bird leaves the flock. Apps above this one register their part."""

import datetime as dt
from collections.abc import Callable

from flockcare.birds.models import Bird

# Called with ``bird``, the day ``on`` and the keeper ``by``, inside the transaction of the leaving.
Deed = Callable[..., None]
_deeds: list[Deed] = []


def register(deed: Deed) -> None:
    if deed not in _deeds:
        _deeds.append(deed)


def tell(*, bird: Bird, on: dt.date, by) -> None:
    for deed in _deeds:
        deed(bird=bird, on=on, by=by)
