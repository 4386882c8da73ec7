"""Records exchange: a flock as a folder or zip of CSV files and photos, in and out.

``check(read_folder(path), flock)`` gives a Plan or raises Refused with every problem;
``apply(plan)`` saves it: picture files first, then one short transaction, and nothing at all on
failure. ``export(flock, path)`` writes.
"""

from collections.abc import Callable

from django.db import IntegrityError

from flockcare.exchange.checking import Plan, check
from flockcare.exchange.pictures import take_back
from flockcare.exchange.problems import Problem, Refused
from flockcare.exchange.reading import Tables, read_folder
from flockcare.exchange.writing import export
from flockcare.people import history
from flockcare.people.bylines import Guest
from flockcare.people.models import Byline, FlockRecord, Keeper, Membership, Revision, Role
from flockcare.photos.services import may_be_saved

__all__ = [
    "Plan",
    "Problem",
    "Refused",
    "Tables",
    "apply",
    "check",
    "export",
    "read_folder",
    "records_of",
]
AT_ONCE = 1000


def apply(
    plan: Plan,
    *,
    owner: Keeper | None = None,
    by: Keeper | Guest | None = None,
    whole: bool = False,
    done: Callable[[int | None], None] = lambda changeset: None,
) -> None:
    """Save what ``plan`` holds. A flock that is not saved yet is saved too, with this owner.

    What ``by`` adds is one changeset of the flock's history, and can be undone. ``whole``: it is a
    flock as it was exported, and its next export says nothing of how it came here. ``done`` is
    called with the key of that changeset, in the same transaction; what it raises undoes all.

    Raises Refused when the flock was changed since the plan was made so that it no longer fits.
    """
    stored = plan.pictures.store()
    try:
        with history.changeset() as current:
            _save(plan, owner)
            if by:
                added = list(records_of(plan))
                history.keep_all([(one, {}) for one in added], action=Revision.Action.ADD, by=by)
                current.tool = Revision.Tool.EXPORT if whole else Revision.Tool.IMPORT
                current.words = f"Import of {len(added)} record{'s' if len(added) > 1 else ''}"
            done(current.first and current.first.pk)
    except IntegrityError as error:
        take_back(stored)
        message = "The flock changed during the import. Import again."
        raise Refused([Problem("import", message)]) from error
    except Exception as error:
        if not may_be_saved(error):
            take_back(stored)
        raise


def _save(plan, owner) -> None:
    for name, value in plan.settings.items():
        setattr(plan.flock, name, value)
    if plan.flock._state.adding:
        plan.flock.save(force_insert=True)
        if owner:
            Membership.objects.create(flock=plan.flock, keeper=owner, role=Role.OWNER)
    elif plan.settings:
        plan.flock.save(update_fields=list(plan.settings))
    for model, records in plan.new.items():
        moments = [record.at for record in records] if model is Revision else []
        model.objects.bulk_create(records, batch_size=AT_ONCE)
        _complete(records, moments)
    Byline.objects.bulk_create(
        (
            Byline(flock=plan.flock, record=key, field=field, name=name)
            for key, field, name in _keyed(plan.names)
        ),
        batch_size=AT_ONCE,
    )
    for model in {type(record) for record, _ in plan.attached}:
        through, record = model.photos.through, f"{model._meta.model_name}_id"
        through.objects.bulk_create(
            through(**{record: kept.pk, "photo_id": photo.pk})
            for kept, photo in plan.attached
            if isinstance(kept, model)
        )


def records_of(plan):
    """What is added; parts of a record go with it."""
    for model, records in plan.new.items():
        if issubclass(model, FlockRecord):
            yield from records


def _complete(revisions, moments) -> None:
    """The model itself writes the present moment into every new row, and a row can only name the
    first of its changeset once that has a key.
    """
    for revision, at in zip(revisions, moments, strict=False):
        first = getattr(revision, "began_with", revision)
        revision.at, revision.first = at, None if first is revision else first
    if moments:
        Revision.objects.bulk_update(revisions, ["at", "first"], batch_size=AT_ONCE)


def _keyed(names):
    """By key: a revision gets its own only when it is saved."""
    return ((getattr(record, "pk", record), field, name) for record, field, name in names)
