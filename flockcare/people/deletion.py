"""Deleting a flock or an account so that nothing is left of it.

A flock's records go by the cascades of their models, its files by the folder that bears its key,
``…/FLOCK/`` in the storage: a new kind of record or file is covered without a word here.
"""

import uuid
from collections.abc import Iterator

from django.contrib.sessions.models import Session
from django.core.cache import cache
from django.core.exceptions import ValidationError
from django.core.files.storage import default_storage
from django.db import models, transaction
from django.db.models import Count, IntegerField, OuterRef, Subquery, Value
from django.db.models.functions import Coalesce

from flockcare.people.models import Byline, Flock, FlockRecord, Keeper, Membership, Revision, Role

FORMER = "a former keeper"
AT_ONCE = 1000

# What a keeper counts by; everything else is told as one number.
_IN_WORDS = {
    "bird": ("bird", "birds"),
    "check": ("check of feet", "checks of feet"),
    "carestep": ("care record", "care records"),
    "photo": ("photo", "photos"),
    "weighing": ("weighing", "weighings"),
    "house": ("house", "houses"),
    "membership": ("member", "members"),
}


# --- A flock


def what_goes(flock: Flock) -> list[tuple[int, str]]:
    """How many of what a flock holds; the last entry sums up the rest. One query."""
    return what_hangs_on(flock, _related(flock))


def of_the_flock(record: FlockRecord | type[FlockRecord]) -> list:
    """The relations by which records of their own hang on ``record``."""
    return [each for each in _related(record) if issubclass(each.related_model, FlockRecord)]


def _related(record: models.Model) -> list:
    return [each for each in record._meta.related_objects if not each.many_to_many]


def what_hangs_on(record: models.Model, related: list) -> list[tuple[int, str]]:
    """As ``what_goes``, by these relations."""
    counts = {f"count_{each.related_model._meta.model_name}": _counted(each) for each in related}
    found = type(record)._base_manager.filter(pk=record.pk).values(**counts).get()
    told = []
    for name, words in _IN_WORDS.items():
        count = found.pop(f"count_{name}", 0)
        if count:
            told.append((count, words[count != 1]))
    rest = sum(found.values())
    if rest:
        told.append((rest, "further entry" if rest == 1 else "further entries"))
    return told


def _counted(relation):
    rows = relation.related_model._base_manager.filter(**{relation.field.name: OuterRef("pk")})
    count = rows.order_by().values(relation.field.name).annotate(count=Count("pk")).values("count")
    return Coalesce(Subquery(count, output_field=IntegerField()), Value(0))


def delete_flock(*, flock: Flock) -> None:
    """Files first, then records; cut off half-way, it can be done again.

    A photo that somebody sent in the very moment between has lost its record with the others, so
    its files are looked for once more.
    """
    key = flock.pk
    _remove_files(key)
    _forget_in_sessions(key)
    Flock.objects.filter(pk=key).delete()
    _remove_files(key)
    # Everything in it can be worked out anew, and some of it may be this flock's.
    cache.clear()


def _remove_files(key: uuid.UUID) -> None:
    for kind in _listed("")[0]:
        _remove_folder(f"{kind}/{key}")


def _remove_folder(path: str) -> None:
    folders, files = _listed(path)
    for name in files:
        default_storage.delete(f"{path}/{name}")
    for name in folders:
        _remove_folder(f"{path}/{name}")
    if _is_folder(path):
        default_storage.delete(path)


def _listed(path: str) -> tuple[list[str], list[str]]:
    try:
        return default_storage.listdir(path)
    except FileNotFoundError:
        return [], []


def _is_folder(path: str) -> bool:
    """Object storage has no folders of its own."""
    try:
        return default_storage.exists(path)
    except (NotImplementedError, OSError):
        return False


def _sessions_with(value: str) -> list[tuple[Session, dict]]:
    """Those that hold this, and what they hold. Each has to be read: not inside a transaction."""
    decoded = ((session, session.get_decoded()) for session in Session.objects.iterator())
    return [(session, data) for session, data in decoded if value in data.values()]


def _forget_in_sessions(key: uuid.UUID) -> None:
    """A session remembers which flock was looked at last."""
    for session, data in _sessions_with(str(key)):
        left = {name: value for name, value in data.items() if value != str(key)}
        session.session_data = Session.objects.encode(left)
        session.save(update_fields=["session_data"])


# --- An account


def owned_alone(keeper: Keeper) -> list[Flock]:
    """Flocks that would have no owner any more."""
    owned = Membership.objects.filter(keeper=keeper, role=Role.OWNER).values("flock")
    shared = Membership.objects.filter(flock__in=owned, role=Role.OWNER).exclude(keeper=keeper)
    return list(Flock.objects.filter(pk__in=owned).exclude(pk__in=shared.values("flock")))


def delete_keeper(*, keeper: Keeper, keep_name: bool) -> None:
    """Sessions, memberships and links end; records stay, by their name or as a former keeper's.

    Raises ValidationError while a flock would be left without an owner.
    """
    signed_in = [session.pk for session, _ in _sessions_with(str(keeper.pk))]
    with transaction.atomic():
        _delete_account(keeper, keep_name=keep_name)
        Session.objects.filter(pk__in=signed_in).delete()
    # What was worked out and kept may name them.
    cache.clear()


def _delete_account(keeper: Keeper, *, keep_name: bool) -> None:
    # Locked, so that of two last owners who go at once the second sees the first one gone.
    flocks = Flock.objects.filter(membership__keeper=keeper).order_by("pk")
    list(Flock.objects.select_for_update().filter(pk__in=flocks.values("pk")))
    if left := owned_alone(keeper):
        names = ", ".join(str(flock) for flock in left)
        raise ValidationError(f"Make somebody else an owner first, or delete the flock: {names}.")
    name = keeper.name if keep_name else FORMER
    for field in _who_did_it():
        _put_name(field, keeper, name)
    _forget_in_history(keeper)
    keeper.delete()


def _who_did_it() -> Iterator[models.ForeignKey]:
    """Every field that names a keeper and outlives them."""
    for relation in Keeper._meta.get_fields(include_hidden=True):
        outlives = getattr(relation, "on_delete", None) is models.SET_NULL
        if relation.auto_created and relation.one_to_many and outlives:
            yield relation.field


def _put_name(field: models.ForeignKey, keeper: Keeper, name: str) -> None:
    records = field.model._base_manager.filter(**{field.name: keeper})
    names = {each.name for each in field.model._meta.fields}
    if f"{field.name}_name" in names:
        records.update(**{field.name: None, f"{field.name}_name": name})
        return
    if "flock" in names:
        keys = records.values_list("pk", "flock_id").iterator(AT_ONCE)
        Byline.objects.bulk_create(
            (
                Byline(flock_id=flock, record=key, field=field.name, name=name)
                for key, flock in keys
            ),
            batch_size=AT_ONCE,
            # Where an earlier name stood behind theirs.
            update_conflicts=True,
            unique_fields=["record", "field"],
            update_fields=["name"],
        )
    records.update(**{field.name: None})


def _forget_in_history(keeper: Keeper) -> None:
    """What records held before names keepers by their keys."""
    key = str(keeper.pk)
    named = Revision.objects.filter(before__icontains=key)
    for revision in named.iterator(AT_ONCE):
        revision.before = _without(revision.before, key)
        revision.save(update_fields=["before"])


def _without(value, key: str):
    if isinstance(value, dict):
        return {name: _without(inner, key) for name, inner in value.items()}
    if isinstance(value, list):
        return [_without(inner, key) for inner in value]
    return None if value == key else value
