"""Prevention: the list of tasks, ticking one off, and which of them the flock wants."""

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from flockcare.birds.models import Bird
from flockcare.care import services_tasks as services
from flockcare.care.courses import MEDICINE
from flockcare.care.forms import posted
from flockcare.care.models import MOST_DAYS, OF_A_HOUSE, CareStep, TaskDone, TaskKind
from flockcare.care.services import give_again
from flockcare.care.situation import mark_of
from flockcare.care.tasks import house_work, offered, tasks_of
from flockcare.care.views_today import piece
from flockcare.core.forms import KeeperForm, record_keys, saved
from flockcare.housing.models import House
from flockcare.people.access import flock_view
from flockcare.people.bylines import with_names
from flockcare.people.models import Role

SHOWN = 20


class TasksForm(KeeperForm):
    """A tick and a number of days for each kind; ``days_…`` in the order of the kinds."""

    def __init__(self, data=None, *, tasks):
        super().__init__(data)
        self.tasks = tasks
        for kind, task in tasks.items():
            label = kind.label[:1].upper() + kind.label[1:]
            self.fields[f"on_{kind.name}"] = forms.BooleanField(
                label=label, required=False, initial=task.is_on
            )
            if task.every_days:
                self.fields[f"days_{kind.name}"] = forms.IntegerField(
                    label="Every how many days",
                    min_value=1,
                    max_value=MOST_DAYS,
                    required=False,
                    initial=task.every_days,
                )

    def clean(self):
        said = super().clean()
        for kind in self.tasks:
            days = f"days_{kind.name}"
            asked = said.get(f"on_{kind.name}") and days in self.fields
            if asked and not said.get(days) and days not in self.errors:
                self.add_error(days, "Give the number of days.")
        return said

    @property
    def rows(self):
        for kind in self.tasks:
            days = f"days_{kind.name}"
            yield self[f"on_{kind.name}"], self[days] if days in self.fields else None

    def wanted(self) -> dict:
        said = self.cleaned_data
        return {
            kind: (
                said[f"on_{kind.name}"],
                said.get(f"days_{kind.name}") or task.every_days,
            )
            for kind, task in self.tasks.items()
        }


@require_safe
@flock_view()
def tasks(request, flock):
    """What comes next of each task, and what was done."""
    done = TaskDone.objects.filter(flock=flock).select_related("house", "bird", "keeper")
    context = {
        "here": "today",
        "ahead": house_work(flock, timezone.localdate()),
        "offered": offered(flock),
        "done": with_names(done.order_by("-on", "-logged_at")[:SHOWN]),
    }
    return render(request, "care/tasks.html", context)


@require_http_methods(["GET", "POST"])
@flock_view(Role.KEEPER, read=Role.KEEPER)
def task_settings(request, flock):
    today = timezone.localdate()
    form = TasksForm(posted(request), tasks=tasks_of(flock, today))
    if (
        request.method == "POST"
        and form.is_valid()
        and saved(
            form,
            services.set_tasks,
            flock=flock,
            wanted=form.wanted(),
            today=today,
            by=request.user,
        )
    ):
        messages.success(request, "Saved: your tasks.")
        return redirect("care:tasks", flock.pk)
    return render(
        request,
        "care/task_settings.html",
        {"here": "more", "form": form},
        status=422 if form.errors else 200,
    )


@require_POST
@flock_view()
def task_offer(request, flock):
    """The usual tasks in one tap; ``wanted``: "yes", else they are not offered again."""
    wanted = request.POST.get("wanted") == "yes"
    services.answer_offer(flock=flock, wanted=wanted, today=timezone.localdate(), by=request.user)
    if wanted:
        messages.success(request, "Saved: these tasks are on the list.")
    return _back(request, flock)


@require_POST
@flock_view()
def task_done(request, flock):
    """Ticked off today. ``what``: the kind, a colon, and the key of the house or the bird; of a
    course of medicine that of a giving.
    """
    kind, _, key = request.POST.get("what", "").partition(":")
    keys = record_keys([key])
    if kind == MEDICINE and keys:
        return _give_again(request, flock, keys[0])
    if kind not in TaskKind.values or not keys:
        raise Http404("There is no such task.")
    where = House if kind in OF_A_HOUSE else Bird
    of = get_object_or_404(where, flock=flock, pk=keys[0])
    done = TaskDone(flock=flock, kind=kind, on=timezone.localdate(), keeper=request.user)
    setattr(done, "house" if where is House else "bird", of)
    try:
        services.do_task(done=done, by=request.user)
    except ValidationError as error:
        messages.warning(request, f"{done}: {' '.join(error.messages)}")
    else:
        if not request.htmx:
            messages.success(request, f"Saved: {done}.")
    return _back(request, flock)


def _give_again(request, flock, key):
    steps = CareStep.objects.select_related("flock").exclude(given_to="")
    step = get_object_or_404(steps, flock=flock, pk=key)
    words = f"{step.product}, for {step.given_to}"
    try:
        give_again(step=step, by=request.user)
    except ValidationError as error:
        messages.warning(request, f"{words}: {' '.join(error.messages)}")
    else:
        if not request.htmx:
            messages.success(request, f"Saved: {words}.")
    return _back(request, flock)


@require_POST
@flock_view()
def task_undo(request, flock, task_done_id):
    done = get_object_or_404(
        TaskDone.objects.select_related("house", "bird"), flock=flock, pk=task_done_id
    )
    words = str(done)
    services.undo_task(done=done, by=request.user)
    messages.success(request, f"Undone: {words}.")
    return _back(request, flock)


def _back(request, flock):
    if request.htmx:
        response = piece(request, flock, mark_of(flock, now=timezone.now()))
        response.headers["Cache-Control"] = "no-store"
        return response
    back = {"tasks": "care:tasks", "list": "care:list"}.get(request.POST.get("back"), "today")
    return redirect(back, flock.pk)
