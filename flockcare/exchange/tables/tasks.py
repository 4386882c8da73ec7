"""Prevention: which tasks a flock wants to be reminded of, and which were done."""

from flockcare.care.models import Task, TaskDone
from flockcare.exchange.tables.base import Table
from flockcare.exchange.tables.columns import bird, day, fields_of, house, person

_task, _done = fields_of(Task), fields_of(TaskDone)


class Tasks(Table):
    name = "tasks.csv"
    about = "Which tasks of prevention the flock wants to be reminded of."
    model = Task
    columns = (
        _task("task", "What is to be done.", field="kind", required=True),
        _task("is_on", "Whether it stands on the list; empty: no.", writer=lambda on: "yes" * on),
        _task("every_days", "Every how many days.", unit="days"),
        _task("from", "Since when this holds.", field="since"),
    )
    key = ("task",)
    contradiction = "This task is set otherwise here. Change it in the app."

    def values(self, row) -> dict:
        return {"is_on": False} | super().values(row)


class TasksDone(Table):
    name = "tasks_done.csv"
    about = "Tasks of prevention that were done, in a house or with a bird."
    model = TaskDone
    columns = (
        day(past=True),
        _done("task", "What was done.", field="kind", required=True),
        house(required=False),
        bird("With which bird; empty: in a house.", required=False),
        person(),
        # These may be left out.
        _done("note"),
        _done("logged", "When it was recorded.", field="logged_at"),
    )
    silent = ("logged",)
