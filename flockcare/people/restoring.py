"""Bringing back what stood in a record, or a record that was deleted."""

from __future__ import annotations

import datetime as dt

from django.core.exceptions import ValidationError
from django.db import models, transaction
from django.http import Http404

from flockcare.people.kinds import KINDS, Kind, kinds_by_label
from flockcare.people.models import Revision

# What hangs on a record is deleted with it, in one transaction.
TOGETHER = dt.timedelta(seconds=30)


def holding(record: models.Model, kept: dict, *, but=frozenset()) -> models.Model:
    """``record`` with the columns that ``kept`` has."""
    for column in record._meta.concrete_fields:
        name = column.attname
        if name in kept and name not in {"id", "flock_id", *but}:
            setattr(record, name, column.to_python(kept[name]))
    return record


@transaction.atomic
def restore(*, kind: Kind, record: models.Model, revision: Revision, by, basis=None) -> None:
    """Put back what stood there before ``revision``; goes the way of any other edit."""
    holding(record, revision.before, but=kind.hidden | kind.fixed)
    kind.change(record, by=by, basis=basis, kept=revision.before)


@transaction.atomic
def bring_back(*, revision: Revision, by) -> None:
    """A record that was deleted, and what was deleted with it."""
    kind = kinds_by_label()[revision.kind]
    if kind.write is None or kind.bring_back is None:
        raise Http404("This is not brought back.")
    record = holding(kind.model(pk=revision.record, flock=revision.flock), revision.before)
    _require_what_it_hangs_on(record)
    kind.bring_back(record, by=by, kept=revision.before)
    for child in _deleted_with(revision, kind.model):
        bring_back(revision=child, by=by)


def _require_what_it_hangs_on(record: models.Model) -> None:
    for column in record._meta.concrete_fields:
        key = getattr(record, column.attname)
        if not column.is_relation or not key:
            continue
        if column.related_model._base_manager.filter(pk=key).exists():
            continue
        if column.null:
            setattr(record, column.attname, None)
        else:
            raise ValidationError(
                f"Its {column.verbose_name} has been removed too. Bring that back first."
            )


def _deleted_with(revision: Revision, model: type[models.Model]) -> list[Revision]:
    """Deletions, just before, of records that hung on this one."""
    just_before = Revision.objects.filter(
        flock=revision.flock,
        deed=Revision.Deed.DELETE,
        by=revision.by,
        pk__lt=revision.pk,
        at__gte=revision.at - TOGETHER,
    )
    found = []
    for kind in KINDS.values():
        for column in kind.model._meta.concrete_fields:
            if column.is_relation and column.related_model is model and not column.null:
                hung = {f"before__{column.attname}": str(revision.record)}
                found += just_before.filter(kind=kind.model._meta.label, **hung)
    return found
