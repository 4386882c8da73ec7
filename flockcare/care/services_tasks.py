"""Every write about prevention."""

from collections.abc import Mapping
from datetime import date

from django.core.exceptions import ValidationError

from flockcare.care.models import TaskDone, TaskKind
from flockcare.care.tasks import tasks_of
from flockcare.people import history
from flockcare.people.models import Flock


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
    """ValidationError where it was done on that day already, by whom."""
    # Of two who tap at once the second waits, and then sees what the first has logged.
    Flock.objects.select_for_update().get(pk=done.flock_id)
    same = TaskDone.objects.filter(
        flock=done.flock_id, kind=done.kind, house=done.house_id, bird=done.bird_id, on=done.on
    )
    if before := same.select_related("keeper").first():
        raise ValidationError(f"{before.keeper or 'Somebody'} has done this already.")
    done.full_clean()
    done.save()


@history.changeset()
def undo_task(*, done: TaskDone, by) -> None:
    history.delete(done, by=by)
