"""Changing and deleting records so that the value before, who and when are kept.

They expect to run inside the caller's transaction.
"""

from django.core.exceptions import ValidationError
from django.http import Http404

from flockcare.core.versions import MINE, plain, values
from flockcare.people.models import Revision


def change(record, *, by, basis=None) -> None:
    """Check and save ``record``; keep what the row held before, if anything differs.

    ``basis``: what the edit was made from; see ``settle``.
    """
    stored = settle(record, basis=basis)
    record.full_clean()
    before = values(stored)
    if before == values(record):
        return
    keep(record, deed=Revision.Deed.CHANGE, by=by, before=before)
    record.save()


def settle(record, *, basis):
    """Lock the row and give it as it is stored.

    With a ``basis`` only what its form showed is left as it stands in ``record``; all else is
    taken from the row, and so is what the keeper chose to take over from another. Raises Conflict
    where there is still to choose.
    """
    model = type(record)
    stored = model._base_manager.select_for_update().filter(pk=record.pk).first()
    if stored is None:
        raise Http404("This record has just been removed.")
    if basis:
        mine, theirs = (plain(model, values(one)) for one in (record, stored))
        chosen = basis.settle(stored, mine, theirs)
        own = {name for name, whose in chosen.items() if whose == MINE}
        for names in getattr(model, "together", ()):
            own |= set(names) if names[0] in own else set()
        for field in model._meta.concrete_fields:
            if field.attname not in own:
                setattr(record, field.attname, field.value_from_object(stored))
    return stored


def delete(record, *, by) -> None:
    keep(record, deed=Revision.Deed.DELETE, by=by, before=values(record))
    record.delete()


def bring_back(record, *, by, kept: dict) -> None:
    """Store a record that was deleted, as ``kept`` says, under its old key."""
    if type(record)._base_manager.filter(pk=record.pk).exists():
        raise ValidationError("This is there again already.")
    record.full_clean()
    record.save(force_insert=True)
    keep(record, deed=Revision.Deed.RESTORE, by=by, before=kept)


def keep(record, *, deed, by, before: dict) -> None:
    """Write down what a record held; for records whose content spans several rows."""
    Revision.objects.create(
        flock=record.flock,
        kind=record._meta.label,
        record=record.pk,
        deed=deed,
        by=by,
        before=before,
    )
