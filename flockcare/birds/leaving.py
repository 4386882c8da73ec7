"""What else ends when a bird leaves the flock. Apps above this one register their part."""

import datetime as dt
from collections.abc import Callable

from flockcare.birds.models import Bird
from flockcare.people.models import Revision

# Called with ``bird``, the day ``on`` and the keeper ``by``, inside the transaction of the leaving.
Deed = Callable[..., None]
# Called with ``bird`` and ``by``, inside the transaction that puts her back, and with ``ended``:
# for a record's key, the change by which her leaving ended it, if nobody has changed it since.
# Gives what is to be said to whoever put her back, as HTML, or nothing.
Undo = Callable[..., str]
_deeds: list[Deed] = []
_undoings: list[Undo] = []


def register(deed: Deed, undo: Undo) -> None:
    if deed not in _deeds:
        _deeds.append(deed)
        _undoings.append(undo)


def tell(*, bird: Bird, on: dt.date, by) -> None:
    for deed in _deeds:
        deed(bird=bird, on=on, by=by)


def undo(*, bird: Bird, by) -> list[str]:
    """She is back, or had never left. Gives what is to be said, as HTML."""
    left = Revision.objects.filter(record=bird.pk, before__left="").order_by("-pk").first()

    def ended(key) -> Revision | None:
        newest = Revision.objects.filter(record=key).order_by("-pk").first()
        together = left and newest and newest.changeset == left.changeset
        return newest if together else None

    return [words for words in (undo(bird=bird, by=by, ended=ended) for undo in _undoings) if words]
