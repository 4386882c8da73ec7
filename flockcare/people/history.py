"""Changing and deleting records so that the value before, who and when are kept.

Both functions expect to run inside the caller's transaction.
"""

from flockcare.people.models import Revision


def _values(record) -> dict:
    return {field.attname: field.value_from_object(record) for field in record._meta.fields}


def change(record, *, by) -> None:
    """Check and save ``record``; keep what the row held before, if anything differs."""
    record.full_clean()
    stored = type(record)._base_manager.get(pk=record.pk)
    before = _values(stored)
    if before == _values(record):
        return
    _keep(record, deed="change", by=by, before=before)
    record.save()


def delete(record, *, by) -> None:
    _keep(record, deed="delete", by=by, before=_values(record))
    record.delete()


def _keep(record, *, deed, by, before) -> None:
    Revision.objects.create(
        flock=record.flock,
        kind=record._meta.label,
        record=record.pk,
        deed=deed,
        by=by,
        before=before,
    )
