"""Changing and deleting records so that the value before, who and when are kept.

They expect to run inside the caller's transaction.
"""

from flockcare.people.models import Revision


def values(record) -> dict:
    return {field.attname: field.value_from_object(record) for field in record._meta.fields}


def change(record, *, by) -> None:
    """Check and save ``record``; keep what the row held before, if anything differs."""
    record.full_clean()
    stored = type(record)._base_manager.get(pk=record.pk)
    before = values(stored)
    if before == values(record):
        return
    keep(record, deed=Revision.Deed.CHANGE, by=by, before=before)
    record.save()


def delete(record, *, by) -> None:
    keep(record, deed=Revision.Deed.DELETE, by=by, before=values(record))
    record.delete()


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
