"""Every write about prevention."""

from collections.abc import Mapping
from datetime import date

from django.core.exceptions import ValidationError

from flockcare.care.models import TaskDone, TaskKind
from flockcare.care.tasks import tasks_of
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
def do_task(*, done: TaskDone, by) -> None:
    """ValidationError where it was done on that day already, by whom.

    Where ``by`` is a ``Guest``, it stands under that name, and in the history.
    """
    # Of two who tap at once the second waits, and then sees what the first has logged.
    Flock.objects.select_for_update().get(pk=done.flock_id)
    same = TaskDone.objects.filter(
        flock=done.flock_id, kind=done.kind, house=done.house_id, bird=done.bird_id, on=done.on
    )
    if before := with_names(same.select_related("keeper")[:1]):
        raise ValidationError(f"{before[0].by or 'Somebody'} has done this already.")
    done.full_clean()
    done.save()
    if isinstance(by, Guest):
        byline = Byline(flock=done.flock, record=done.pk, field="keeper", name=by.name)
        byline.full_clean()
        byline.save()
        history.keep_all([(done, {})], deed=Revision.Deed.ADD, by=by)


@history.changeset()
def undo_task(*, done: TaskDone, by) -> None:
    history.delete(done, by=by)
