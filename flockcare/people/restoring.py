"""Bringing back what stood in a record or a record that was deleted, and undoing a changeset.

``kinds``: those that there may be, by the label of their model.
"""

from __future__ import annotations

from itertools import groupby

from django.apps import apps
from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import Exists, OuterRef
from django.db.models.functions import Coalesce
from django.http import Http404

from flockcare.people import history
from flockcare.people.deletion import of_the_flock
from flockcare.people.kinds import Kind
from flockcare.people.models import FlockRecord, Revision

AT_ONCE = 500


def holding(record: models.Model, kept: dict, *, but=frozenset()) -> models.Model:
    """``record`` with the columns that ``kept`` has."""
    for column in record._meta.concrete_fields:
        name = column.attname
        if name in kept and name not in {"id", "flock_id", "version", *but}:
            setattr(record, name, column.to_python(kept[name]))
    return record


@history.changeset()
def restore(*, kind: Kind, record: models.Model, revision: Revision, by, basis=None) -> None:
    """Put back what stood there before ``revision``; goes the way of any other edit."""
    holding(record, revision.before, but=kind.hidden | kind.fixed)
    kind.change(record, by=by, basis=basis, kept=revision.before)


@history.changeset()
def bring_back(*, revision: Revision, kinds: dict[str, Kind], by) -> None:
    """A record that was deleted, and what hung on it and was deleted in the same changeset."""
    kind = kinds[revision.kind]
    if kind.write is None or kind.bring_back is None:
        raise Http404("This cannot be restored.")
    record = holding(kind.model(pk=revision.record, flock=revision.flock), revision.before)
    _require_what_it_hangs_on(record, kind)
    kind.bring_back(record, by=by, kept=revision.before)
    for child in _deleted_with(revision, kind.model, kinds):
        bring_back(revision=child, kinds=kinds, by=by)


def _require_what_it_hangs_on(record: models.Model, kind: Kind) -> None:
    for column in record._meta.concrete_fields:
        key = getattr(record, column.attname)
        if not column.is_relation or not key:
            continue
        if column.related_model._base_manager.filter(pk=key).exists():
            continue
        if column.null and column.attname not in kind.holding:
            setattr(record, column.attname, None)
        else:
            raise ValidationError(f"Its {column.verbose_name} was deleted too. Restore that first.")


def _deleted_with(revision: Revision, model: type[models.Model], kinds) -> list[Revision]:
    """Deletions, before it in its changeset, of records that hung on this one."""
    before = Revision.objects.of_changeset(revision.changeset).filter(
        flock=revision.flock, action=Revision.Action.DELETE, pk__lt=revision.pk
    )
    found = []
    for label, kind in kinds.items():
        for column in kind.model._meta.concrete_fields:
            holds = not column.null or column.attname in kind.holding
            if column.is_relation and column.related_model is model and holds:
                hung = {f"before__{column.attname}": str(revision.record)}
                found += before.filter(kind=label, **hung)
    return found


# A whole changeset


def can_undo(revisions: models.QuerySet, kinds: dict[str, Kind], may) -> bool:
    """Whether such a changeset can be undone by somebody whose role ``may(role)`` tells."""
    held = revisions.order_by().values_list("kind", "action", "undoes").distinct()
    for label, action, undoes in held:
        kind = kinds.get(label)
        if undoes or action == Revision.Action.RESTORE:
            return False  # What was brought back is deleted again instead.
        if kind is None and action == Revision.Action.ADD:
            continue
        if kind is None or kind.write is None or not may(kind.write):
            return False
        if action == Revision.Action.DELETE and kind.bring_back is None:
            return False
    return True


def undo(*, flock, key: int, kinds: dict[str, Kind], by, words: str) -> None:
    """Put everything back as it was before the changeset; ``words``: what this is called.

    ValidationError when it is undone already, or when somebody has touched any of it since.
    """
    with history.changeset() as current:
        first = Revision.objects.select_for_update().filter(flock=flock, pk=key, first=None).first()
        if first is None or first.undoes_id or Revision.objects.filter(undoes=first).exists():
            raise ValidationError("There is nothing to undo.")
        _lock(key)
        _require_untouched(key)
        current.words, current.undoes = words, first
        # Not the revisions themselves: of an import there may be tens of thousands.
        newest_first = Revision.objects.of_changeset(key).order_by("-pk")
        newest_first = newest_first.values_list("action", "kind", "record", "pk")
        for (action, label), some in groupby(newest_first, lambda one: one[:2]):
            if action == Revision.Action.ADD:
                keys = [record for *_, record, _ in some]
                _remove_added(apps.get_model(label), kinds.get(label), keys, by=by)
                continue
            full = Revision.objects.select_related("flock").in_bulk(some := [pk for *_, pk in some])
            for pk in some:
                _undo_one(full[pk], kinds, by=by)


def _lock(key: int) -> None:
    """Whoever edits one of these records at this moment waits, and is then told what changed."""
    mine = Revision.objects.of_changeset(key).order_by()
    for label in sorted(set(mine.values_list("kind", flat=True))):
        keys = mine.filter(kind=label).values("record")
        rows = apps.get_model(label)._base_manager.filter(pk__in=keys).order_by("pk")
        list(rows.select_for_update().values_list("pk"))


def _undo_one(revision: Revision, kinds: dict[str, Kind], *, by) -> None:
    kind = kinds[revision.kind]
    record = kind.model._base_manager.filter(pk=revision.record).first()
    if revision.action == Revision.Action.CHANGE and record and kind.undo:
        kind.undo(record, by=by, kept=revision.before)
    elif revision.action == Revision.Action.CHANGE and record:
        restore(kind=kind, record=record, revision=revision, by=by)
    elif revision.action == Revision.Action.DELETE and record is None:
        bring_back(revision=revision, kinds=kinds, by=by)  # Or it came back with what it hangs on.


def _remove_added(model: type[models.Model], kind: Kind | None, keys: list, *, by) -> None:
    for start in range(0, len(keys), AT_ONCE):
        found = model._base_manager.filter(pk__in=keys[start : start + AT_ONCE])
        if kind and kind.drop:
            kind.drop(found, by=by)
            continue
        records = found.prefetch_related(*kind.parts) if kind else found
        held = [(one, kind.snapshot(one) if kind else history.values(one)) for one in records]
        history.keep_all(held, action=Revision.Action.DELETE, by=by)
        found.delete()


def _require_untouched(key: int) -> None:
    mine = Revision.objects.of_changeset(key)
    undoing = Revision.objects.exclude(undoes=None)
    later = (
        Revision.objects.filter(
            record=OuterRef("record"), kind=OuterRef("kind"), pk__gt=OuterRef("pk")
        )
        .alias(changeset=Coalesce("first_id", "pk"))
        .exclude(first=key)
        # What was changed and undone since is as if it had not been.
        .exclude(changeset__in=undoing.values("pk"))
        .exclude(changeset__in=undoing.values("undoes"))
    )
    added = mine.filter(action=Revision.Action.ADD)
    if mine.filter(Exists(later)).exists() or _more_hangs_on(added):
        raise ValidationError(
            "Some of this was changed since, so it cannot be undone in one go. Correct the "
            "records one by one."
        )


def _more_hangs_on(added: models.QuerySet) -> bool:
    """Whether a record that was not added with them would go with these."""

    def keys(model):
        return added.filter(kind=model._meta.label).values("record")

    labels = added.order_by().values_list("kind", flat=True).distinct()
    return any(
        relation.related_model._base_manager.filter(
            **{f"{relation.field.name}__in": keys(model), f"{relation.field.name}__isnull": False}
        )
        .exclude(pk__in=keys(relation.related_model))
        .exists()
        for model in map(apps.get_model, labels)
        if issubclass(model, FlockRecord)
        for relation in of_the_flock(model)
        if relation.on_delete is not models.SET_NULL
    )
