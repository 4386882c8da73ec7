"""What is due tonight, shared by all keepers: the list, its piece of Today, and a bird's care."""

import hashlib
from collections.abc import Callable
from dataclasses import replace

from django.shortcuts import get_object_or_404, redirect, render
from django.template.loader import render_to_string
from django.utils import timezone
from django.views.decorators.http import require_safe
from django_htmx.http import retarget

from flockcare.birds.models import Bird
from flockcare.care.case_story import repeated_trouble
from flockcare.care.holds import open_holds
from flockcare.care.kit import to_buy
from flockcare.care.models import CareStep, TaskDone
from flockcare.care.parts import WITH, Given, in_one
from flockcare.care.recorded import bird_is_for_vet
from flockcare.care.rows import Row, in_order, rows_of, told_first
from flockcare.care.rules import LIMITS
from flockcare.care.situation import (
    FlockStanding,
    advise_bird,
    advise_cases,
    mark_of,
    standing_alone,
    standings,
)
from flockcare.care.tasks import tasks_due
from flockcare.feet.cases import cases_of_bird
from flockcare.people.access import flock_view
from flockcare.people.bylines import with_names
from flockcare.people.fresh import kept, renewed, whole_or_piece

LAST_STEPS = 3


@require_safe
@flock_view()
def due_list(request, flock):
    """Everything that is due, also in the days to come. ``?mine``: nobody else's."""
    mark = mark_of(flock, now=timezone.now())
    tag = care_tag(request, mark)

    def page(template):
        context = _of_care(request, flock, *all_rows(flock, mark))
        return render(request, template, {**context, "ahead": True, "tag": tag})

    return whole_or_piece(request, tag, page, whole="care/list.html", piece="care/list_piece.html")


@require_safe
@flock_view()
def today_panel(request, flock):
    """The piece of Today that renews itself."""
    if not request.htmx:
        return redirect("care:list", flock.pk)
    mark = mark_of(flock, now=timezone.now())
    return renewed(request, care_tag(request, mark), lambda: piece(request, flock, mark))


def piece(request, flock, mark):
    return render(request, "care/today_piece.html", care_now(request, flock, mark))


def _wants_mine(request) -> bool:
    return "mine" in request.GET or "mine" in request.POST


def all_rows(flock, mark: tuple) -> tuple[FlockStanding, list[Row]]:
    """How the birds that are here stand, in order."""
    found = standings(flock, now=timezone.now(), mark=mark)
    return found, rows_of(found, Bird.objects.filter(flock=flock))


def care_now(
    request, flock, mark: tuple, rows: Callable[[], tuple[FlockStanding, list[Row]]] | None = None
) -> dict:
    """What the piece of Today shows of care: made once for each keeper, and kept until the mark,
    the keeper's role or their choice is another one. Forms have a token, so theirs is not in it.

    ``rows``: gives what ``all_rows`` does, where the rest of the page asks for it too.
    """
    tag = care_tag(request, mark)

    def make() -> dict:
        context = _of_care(request, flock, *(rows() if rows else all_rows(flock, mark)))
        return {
            "answer": render_to_string("care/today_rows.html", context, request),
            "has_rows": bool(context["rows"] or context["tasks"]),
            "listed": render_to_string("care/today_list.html", context, request),
        }

    mine = _wants_mine(request)
    shown = kept(f"today-care:{flock.pk}:{request.user.pk}:{mine}", tag, make)
    return {"here": "today", "mine": mine, "tag": tag, **shown}


def _of_care(request, flock, found: FlockStanding, of_all: list[Row]) -> dict:
    """What is due of whom, with what was done today."""
    now, mine = timezone.now(), _wants_mine(request)
    flock.usual_vet = found.vet
    rows = [row for row in of_all if row.standing.of_care]
    if mine:
        rows = [row for row in rows if row.is_for(request.user.pk)]
    midnight = timezone.localtime(now).replace(hour=0, minute=0, second=0, microsecond=0)
    steps = CareStep.objects.filter(flock=flock, at__gte=midnight).select_related("bird", "keeper")
    done = in_one(steps.newest_first())
    rows = [replace(row, done=tuple(_of_bird(done, row.bird.pk))) for row in rows]
    rows.sort(key=in_order)
    shown = {row.bird.pk for row in rows}
    elsewhere = [
        given for given in done if given.first.given_to or given.first.bird_id not in shown
    ]
    today = timezone.localdate(now)
    tasks_done = TaskDone.objects.filter(flock=flock, on=today).order_by("-logged_at")
    tasks_done = with_names(tasks_done.select_related("house", "bird", "keeper"))
    return {
        "here": "today",
        "flock": flock,
        "mine": mine,
        "faces": found.faces,
        **told_first(found, of_all, rows, mine=mine),
        "done": elsewhere,
        "tasks": tasks_due(flock, today),
        "tasks_done": tasks_done,
        "done_count": len(elsewhere) + len(tasks_done),
        "to_buy": to_buy(flock, today=timezone.localdate(now)),
    }


def _of_bird(done: list[Given], bird_key) -> list[Given]:
    """What a whole house got stands by itself, not with each of its birds."""
    return [given for given in done if given.first.bird_id == bird_key and not given.first.given_to]


def care_tag(request, mark: tuple) -> str:
    """A name for all that is shown of care; ``mark``: of how the birds stand."""
    shown = (mark, _wants_mine(request), request.membership.role, request.user.pk)
    return hashlib.sha256(repr(shown).encode()).hexdigest()[:20]


def back_or_piece(request, flock, bird_id, saved: list[CareStep] | None = None):
    """After a tap in the list: the list anew, or the page that the tap came from.

    What was ``saved`` from a line of Today stands in that line's place, and the list stays as it
    is. What could not be saved is said above a new list.
    """
    if request.htmx:
        mark = mark_of(flock, now=timezone.now())
        if saved and "line" in request.POST:
            context = {**care_now(request, flock, mark), "given": Given(tuple(saved))}
            response = render(request, "care/saved_line.html", context)
        else:
            response = retarget(piece(request, flock, mark), "#care")
        response.headers["Cache-Control"] = "no-store"
        return response
    if request.POST.get("back") == "bird":
        return redirect("care:bird", flock.pk, bird_id)
    if request.POST.get("back") == "list":
        return redirect("care:list", flock.pk)
    return redirect("today", flock.pk)


@require_safe
@flock_view()
def bird(request, flock, bird_id):
    """A bird's care: what to do about each sore foot, what is due, what was done, what is held."""
    bird = get_object_or_404(Bird, flock=flock, pk=bird_id)
    bird.flock = flock
    if request.htmx:
        mark = mark_of(flock, now=timezone.now())
        tag = care_tag(request, mark)
        return renewed(
            request, tag, lambda: _care_of(request, bird, "care/bird_piece.html", mark, tag)
        )
    more = {"last_given": _last_given(bird), "plans": bird.careplan_set.order_by("-since")}
    response = _care_of(request, bird, "care/bird.html", **more)
    response.headers["Vary"] = "HX-Request"
    return response


def _care_of(request, bird, template: str, mark: tuple = (), tag: str = "", **more):
    context = care_of(bird, cases_of_bird(bird), mark)
    return render(request, template, {**context, "tag": tag, **more})


def _last_given(bird) -> list[Given]:
    steps = CareStep.objects.filter(bird=bird).select_related("keeper").newest_first()
    # What was done in one go with others stands in one line with them.
    return in_one(steps[: LAST_STEPS * len(WITH)])[:LAST_STEPS]


def care_of(bird, cases, mark: tuple = ()) -> dict:
    """What is shown of a bird's care, on its own page and on hers. ``cases``: all she ever had."""
    now = timezone.now()
    found = standing_alone(bird, now=now, mark=mark)
    bird.flock.usual_vet = found.vet
    hers = found.birds.get(bird.pk)
    return {
        "here": "birds",
        "bird": bird,
        "mark": found.mark,
        "faces": found.faces,
        "row": hers and Row(bird, hers),
        "bird_rules": advise_bird(hers),
        "advised": advise_cases(bird, hers),
        "holds": [] if hers else open_holds(bird.flock, now=now, bird=bird),
        "repeated": repeated_trouble(bird, cases),
        "for_vet": bird_is_for_vet(hers),
        "limits": LIMITS,
    }
