"""Every write about prevention."""

from collections.abc import Mapping
from datetime import date

from django.core.exceptions import ValidationError

from flockcare.care.models import Task, TaskDone, TaskKind
from flockcare.care.tasks import OFFERED, USUAL, offered, tasks_of
from flockcare.housing.models import Event, EventKind
from flockcare.housing.services import delete_event, log_event
from flockcare.people import history
from flockcare.people.bylines import Guest, with_names
from flockcare.people.models import Byline, Flock, Revision


@history.changeset()
def set_tasks(
    *, flock, wanted: Mapping[TaskKind, tuple[bool, int | None]], today: date, by
) -> None:
    """Which tasks stand on the list, and every how many days. What is put on it begins today."""
    for kind, (is_on, every_days) in wanted.items():
        task = tasks_of(flock, today)[kind]
        if (task.is_on, task.every_days) == (is_on, every_days):
            continue
        if is_on and not task.is_on:
            task.since = today
        task.is_on, task.every_days = is_on, every_days
        if task._state.adding:
            task.full_clean()
            task.save()
        else:
            history.change(task, by=by)


@history.changeset()
def answer_offer(*, flock, wanted: bool, today: date, by) -> None:
    """What is offered stands on the list from today on, or is not offered again. Where somebody has
    chosen tasks since, theirs stay.
    """
    Flock.objects.select_for_update().get(pk=flock.pk)
    if not offered(flock):
        return
    for kind in OFFERED:
        task = Task(flock=flock, kind=kind, is_on=wanted, every_days=USUAL[kind][1], since=today)
        task.full_clean()
        task.save()


@history.changeset()
def do_task(*, done: TaskDone, by) -> None:
    """ValidationError where it was done on that day already, by whom.

    A house that was mucked out has its bedding renewed: that event is logged with it, so that
    nobody has to. Where ``by`` is a ``Guest``, it stands under that name, and in the history.
    """
    # Of two who tap at once the second waits, and then sees what the first has logged.
    Flock.objects.select_for_update().get(pk=done.flock_id)
    same = TaskDone.objects.filter(
        flock=done.flock_id, kind=done.kind, house=done.house_id, bird=done.bird_id, on=done.on
    )
    renewed = _renewed(done)
    for before in (same, *([renewed] if renewed is not None else [])):
        if found := with_names(before.select_related("keeper")[:1]):
            raise ValidationError(f"{found[0].by or 'Somebody'} has done this already.")
    done.full_clean()
    done.save()
    logged = [done]
    if renewed is not None:
        event = Event(
            pk=done.bedding_key,
            flock_id=done.flock_id,
            house=done.house,
            on=done.on,
            kind=EventKind.BEDDING,
            keeper=done.keeper,
        )
        logged.append(log_event(event=event, today=done.on))
    if isinstance(by, Guest):
        for one in logged:
            byline = Byline(flock=done.flock, record=one.pk, field="keeper", name=by.name)
            byline.full_clean()
            byline.save()
        history.keep_all([(one, {}) for one in logged], action=Revision.Action.ADD, by=by)


def _renewed(done: TaskDone):
    """The bedding renewed that day, as somebody logged it; None for any other task."""
    if done.kind != TaskKind.MUCK_OUT or not done.house_id:
        return None
    return Event.objects.filter(house=done.house_id, kind=EventKind.BEDDING, on=done.on)


@history.changeset()
def undo_task(*, done: TaskDone, by) -> None:
    """With the event that it logged, if that is still there."""
    event = Event.objects.filter(pk=done.bedding_key, flock=done.flock_id).first()
    history.delete(done, by=by)
    if event:
        delete_event(event=event, by=by)
