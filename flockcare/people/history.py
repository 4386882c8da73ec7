"""Changing and deleting records so that the value before, who and when are kept.

They expect to run inside the caller's transaction, which is a `changeset` where more than one
record is touched in one go.
"""

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from functools import partial

from django.core.exceptions import ValidationError
from django.db import IntegrityError, models, transaction
from django.http import Http404

from flockcare.core.versions import MINE, UNREADABLE, Basis, plain, values
from flockcare.people.bylines import credited
from flockcare.people.models import Flock, Revision

AT_ONCE = 1000
LONGEST_WORDS = Revision._meta.get_field("words").max_length


@dataclass
class Changeset:
    """What is done in one go.

    ``words``: what it is called, where its records say too little. ``undoes``: the first revision
    of the changeset that it undoes. ``tool``: a ``Revision.Tool``.
    """

    first: Revision | None = None
    words: str = ""
    undoes: Revision | None = None
    tool: str = ""


_open: ContextVar[Changeset | None] = ContextVar("changeset", default=None)


@contextmanager
def changeset() -> Iterator[Changeset]:
    """A transaction whose changes are shown, and can be undone, as one. One inside another is part
    of that. Also a decorator.
    """
    with transaction.atomic():
        if outer := _open.get():
            yield outer
            return
        token = _open.set(current := Changeset())
        try:
            yield current
        finally:
            _open.reset(token)
        current.words = current.words[:LONGEST_WORDS]
        if current.first and current.words:
            for name in ("words", "undoes", "tool"):
                setattr(current.first, name, getattr(current, name))
            current.first.save(update_fields=["words", "undoes", "tool"])


def change(record, *, by, basis=None) -> None:
    """Check and save ``record``; keep what the row held before, if anything differs.

    ``basis``: what the edit was made from; see ``settle``.
    """
    stored = settle(record, basis=basis)
    record.full_clean()
    before = values(stored)
    if before == values(record):
        return
    keep(record, action=Revision.Action.CHANGE, by=by, before=before)
    record.version += 1
    _save(record)


def _save(record, **options) -> None:
    try:
        with transaction.atomic():
            record.save(**options)
    except IntegrityError:
        # Somebody was quicker, which the records can say in words by now.
        record.full_clean()
        raise


def settle(record, *, basis: Basis | None):
    """Lock the row and give it as it is stored.

    With a ``basis`` only what its form showed is left as it stands in ``record``; all else is
    taken from the row, and so is what the keeper chose to take over from another. Raises Conflict
    where there is still to choose.
    """
    model = type(record)
    stored = model._base_manager.select_for_update().filter(pk=record.pk).first()
    if stored is None:
        raise Http404("This record has just been deleted.")
    record.version = stored.version
    if basis:
        mine, theirs = (plain(model, values(one)) for one in (record, stored))
        base = held_at(record, basis.version, partial(plain, model))
        chosen = basis.settle(stored, mine, theirs, base)
        own = {name for name, whose in chosen.items() if whose == MINE}
        for names in getattr(model, "together", ()):
            own |= set(names) if names[0] in own else set()
        for field in model._meta.concrete_fields:
            if field.attname not in own:
                setattr(record, field.attname, field.value_from_object(stored))
    return stored


def held_at(record, version: int, plain: Callable[[dict], dict]) -> dict | None:
    """The ``plain`` values of a record when it had this version; None where nobody knows them."""
    if version == 0:
        return plain(values(type(record)()))
    kept = Revision.objects.filter(record=record.pk, kind=record._meta.label)
    was = kept.filter(before__version=version).order_by("-pk").first()
    try:
        return plain(was.before) if was else None
    except UNREADABLE:
        return None


def delete(record, *, by, before: dict | None = None) -> None:
    """``before``: what it held, where its content spans several rows."""
    keep(record, action=Revision.Action.DELETE, by=by, before=before or values(record))
    record.delete()


def bring_back(record, *, by, kept: dict) -> None:
    """Store a record that was deleted, as ``kept`` says, under its old key."""
    if type(record)._base_manager.filter(pk=record.pk).exists():
        raise ValidationError("This has been restored already.")
    # Higher than any before: each change has left a revision.
    record.version = Revision.objects.filter(record=record.pk).count() + 1
    record.full_clean()
    _save(record, force_insert=True)
    keep(record, action=Revision.Action.RESTORE, by=by, before=kept)


def keep(record, *, action, by, before: dict) -> None:
    """Write down what a record held; for records whose content spans several rows."""
    keep_all([(record, before)], action=action, by=by)


def keep_change(record, *, by, before: dict) -> None:
    """Count a change of what a record holds in other rows, and keep what that was."""
    keep(record, action=Revision.Action.CHANGE, by=by, before=before)
    record.version += 1
    record.save(update_fields=["version"])


def keep_all(records: Iterable[tuple[models.Model, dict]], *, action, by) -> None:
    """As ``keep``, for many records at once, each with what it held."""
    current, found = _open.get(), []
    keeper, by_name = credited(by)
    for record, before in records:
        revision = Revision(
            flock_id=record.pk if isinstance(record, Flock) else record.flock_id,
            kind=record._meta.label,
            record=record.pk,
            action=action,
            by=keeper,
            by_name=by_name,
            before=before,
            first=current and current.first,
        )
        if current and current.first is None:
            revision.save()
            current.first = revision
        else:
            found.append(revision)
    Revision.objects.bulk_create(found, batch_size=AT_ONCE)
