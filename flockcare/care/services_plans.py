"""Every write about plans of care."""

from datetime import date, timedelta
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.utils import timezone

from flockcare.care.models import (
    DRESSED,
    SUPPLY,
    WITHHOLDING,
    CarePlan,
    CareStep,
    KitItem,
    PutOff,
    StepKind,
)
from flockcare.care.parts import DRESSINGS, pieces_used
from flockcare.care.plans import PlanDue, plan_dues
from flockcare.care.services import OF_A_COURSE, AlreadyDone, keep_added, log_step
from flockcare.people import history
from flockcare.people.bylines import credited

OVER = "This plan is over: nothing more is due."


@history.changeset()
def save_plan(*, plan: CarePlan, by, basis=None) -> None:
    if plan._state.adding:
        plan.full_clean()
        plan.save()
    else:
        history.change(plan, by=by, basis=basis)


@history.changeset()
def delete_plan(*, plan: CarePlan, by) -> None:
    """What was given stays."""
    history.delete(plan, by=by)


def do_plan(*, plan: CarePlan, by, now=None, key=None, as_well=False) -> list[CareStep]:
    """Log what is due of the plan with its products, in one changeset; what the kit has of them is
    counted down.

    AlreadyDone when all of it was given that day, so that two who tap at once give it once.
    ``now``: when it was done; ``key``: of the first step; ``as_well``: both gave it.
    """
    now = now or timezone.now()
    with history.changeset() as current:
        # Locked, so that of two keepers the second waits and then sees what the first has logged.
        plan = _locked(plan)
        if not as_well:
            _refuse_twice(plan, now)
        # What is told late may be of a day before the plan was over.
        due = due_of(plan, now=now) or due_of(plan, now=now, before=now)
        if due is None and not as_well:
            raise ValidationError(OVER)
        parts = (due and due.missing) or plan.parts
        steps = [_step(plan, part, by, now) for part in parts]
        if key:
            steps[0].pk = key
        steps = [log_step(step=step, now=now)[0] for step in steps]
        keep_added(steps, current, by=by)
    return steps


def _locked(plan: CarePlan) -> CarePlan:
    CarePlan.objects.select_for_update().get(pk=plan.pk)
    return CarePlan.objects.select_related("bird", "flock").get(pk=plan.pk)


def due_of(plan: CarePlan, *, now, before=None) -> PlanDue | None:
    return next(iter(plan_dues(plan.flock, now=now, before=before, pk=plan.pk)), None)


def _refuse_twice(plan: CarePlan, now) -> None:
    zone = plan.flock.zone
    today = timezone.localdate(now, zone)
    kinds = {
        *plan.kinds,
        *([StepKind.DRESSING_ON] if StepKind.DRESSING_CHANGED in plan.kinds else []),
    }
    steps = CareStep.objects.filter(bird=plan.bird_id, foot=plan.foot, kind__in=kinds)
    done = [
        step
        for step in steps.filter(at__gte=now - timedelta(2)).select_related("keeper").order_by("at")
        if timezone.localdate(step.at, zone) == today
    ]
    given = {StepKind.DRESSING_CHANGED if one.kind in DRESSED else one.kind for one in done}
    if set(plan.kinds) <= given:
        raise AlreadyDone(done[-1])


def _step(plan: CarePlan, part: dict, by, now) -> CareStep:
    kind, product = StepKind(part["kind"]), part["product"]
    item = (
        KitItem.objects.filter(flock=plan.flock, name__iexact=product).first() if product else None
    )
    amount = None if part["amount"] is None else Decimal(part["amount"])
    keeper, name = credited(by)
    step = CareStep(
        flock=plan.flock,
        bird=plan.bird,
        foot=plan.foot,
        kind=_dressing(plan) if kind == StepKind.DRESSING_CHANGED else kind,
        at=now,
        keeper=keeper,
        keeper_name=name,
        product=item.name if item else product,
        item=item,
        amount=pieces_used(item, amount),
    )
    if kind in WITHHOLDING:
        for name in OF_A_COURSE:
            setattr(step, name, getattr(plan, name))
        if before := _given_before(step):
            for name in SUPPLY:
                setattr(step, name, getattr(before, name))
        step.no_medicine = plan.no_medicine
    return step


def _given_before(step: CareStep) -> CareStep | None:
    """The last giving of the same batch, which says where it is from."""
    same = CareStep.objects.filter(bird=step.bird_id, kind=step.kind, product=step.product)
    return same.filter(batch=step.batch).order_by("-at", "-logged_at").first()


def _dressing(plan: CarePlan) -> StepKind:
    """What is put on where none is on is not a change."""
    before = CareStep.objects.filter(bird=plan.bird_id, foot=plan.foot, kind__in=DRESSINGS)
    last = before.order_by("-at", "-logged_at").first()
    return StepKind.DRESSING_CHANGED if last and last.kind in DRESSED else StepKind.DRESSING_ON


@history.changeset()
def skip(*, plan: CarePlan, by, now=None) -> PlanDue | None:
    """Do without the next day of the plan; returns what comes then, None where it is over."""
    now = now or timezone.now()
    due = _due_or_refuse(plan := _locked(plan), now)
    _put_off(plan, PutOff.SKIPPED, due, due.on + timedelta(plan.every_days), by)
    return due_of(plan, now=now)


@history.changeset()
def move(*, plan: CarePlan, to: date, by, now=None) -> None:
    """Do the next day of the plan on another one; ValidationError for one that cannot be."""
    now = now or timezone.now()
    due = _due_or_refuse(plan := _locked(plan), now)
    if to < due.today:
        raise ValidationError({"to": "This day is past."})
    if plan.until and to > plan.until:
        raise ValidationError({"to": "This is after the last day of the plan."})
    _put_off(plan, PutOff.MOVED, due, to, by)


def _due_or_refuse(plan: CarePlan, now) -> PlanDue:
    if due := due_of(plan, now=now):
        return due
    raise ValidationError(OVER)


def _put_off(plan: CarePlan, what: PutOff, due: PlanDue, to: date, by) -> None:
    plan.put_off, plan.put_off_from, plan.put_off_to = what, due.planned, to
    history.change(plan, by=by)


@history.changeset()
def stop(*, plan: CarePlan, because: str, by, now=None) -> None:
    """Nothing of it is due any more. What was given withdraws from its last giving on."""
    if not because.strip():
        raise ValidationError({"because": "Say why, so that the others know."})
    plan = _locked(plan)
    if plan.stopped_on:
        raise ValidationError("Somebody has stopped it already.")
    plan.stopped_on = timezone.localdate(now or timezone.now(), plan.flock.zone)
    plan.stopped_because = because.strip()
    history.change(plan, by=by)
