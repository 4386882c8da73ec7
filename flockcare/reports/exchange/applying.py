"""Saves a plan: picture files first, then one short transaction, and nothing at all on failure."""

from django.db import IntegrityError, transaction

from flockcare.care.models import CareStep
from flockcare.feet.models import Check
from flockcare.housing.models import HousingChange
from flockcare.people.models import Keeper, Membership, Role
from flockcare.photos.services import remove
from flockcare.reports.exchange.checking import Plan
from flockcare.reports.exchange.problems import Problem, Refused


def apply(plan: Plan, *, owner: Keeper | None = None) -> None:
    """Save what ``plan`` holds. A flock that is not saved yet is saved too, with this owner.

    Raises Refused when the flock was changed since the plan was made so that it no longer fits.
    """
    stored = plan.pictures.store()
    try:
        with transaction.atomic():
            _save(plan, owner)
    except IntegrityError as error:
        remove(stored)
        message = "Somebody changed the flock at this moment. Import once more."
        raise Refused([Problem("import", message)]) from error
    except BaseException:
        remove(stored)
        raise


def _save(plan, owner) -> None:
    if plan.flock._state.adding:
        plan.flock.save(force_insert=True)
        if owner:
            Membership.objects.create(flock=plan.flock, keeper=owner, role=Role.OWNER)
    for model, records in plan.new.items():
        model.objects.bulk_create(records)
    for model in (Check, CareStep, HousingChange):
        through, record = model.photos.through, f"{model._meta.model_name}_id"
        through.objects.bulk_create(
            through(**{record: kept.pk, "photo_id": photo.pk})
            for kept, photo in plan.attached
            if isinstance(kept, model)
        )
