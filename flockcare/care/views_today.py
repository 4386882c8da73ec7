"""What is due tonight, shared by all keepers: the list, its piece of Today, and a bird's care."""

from django.db.models import Q
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from flockcare.birds.models import Bird
from flockcare.care.case_story import repeated_trouble
from flockcare.care.due import open_dues
from flockcare.care.holds import open_holds
from flockcare.care.kit import to_buy
from flockcare.care.models import CareStep, StepKind
from flockcare.care.notifiable import several_ill
from flockcare.care.recorded import is_for_vet
from flockcare.care.rules import LIMITS
from flockcare.care.situation import FOLLOWED, advise_cases, birds_of_concern, looks_due
from flockcare.feet.cases import cases_of_bird
from flockcare.feet.models import Check
from flockcare.people.access import flock_view
from flockcare.people.fresh import newest, renewed, tag_of, whole_or_piece
from flockcare.photos.models import Measurement

LAST_STEPS = 3


@require_safe
@flock_view()
def due_list(request, flock):
    """Everything that is due, also in the days to come. ``?mine``: nobody else's."""
    tag = _state(request, flock)

    def page(template):
        context = {**_today(request, flock, ahead=True), "tag": tag}
        return render(request, template, context)

    return whole_or_piece(request, tag, page, whole="care/list.html", piece="care/list_piece.html")


@require_safe
@flock_view()
def today_panel(request, flock):
    """The piece of Today that renews itself."""
    if not request.htmx:
        return redirect("care:list", flock.pk)
    tag = _state(request, flock)
    return renewed(request, tag, lambda: _piece(request, flock, tag))


def _piece(request, flock, tag):
    return render(request, "care/today_piece.html", {**_today(request, flock), "tag": tag})


def _wants_mine(request) -> bool:
    return "mine" in request.GET or "mine" in request.POST


def _today(request, flock, *, ahead=False) -> dict:
    now, mine = timezone.now(), _wants_mine(request)
    all_dues = dues = open_dues(flock, now=now)
    if mine:
        dues = [due for due in dues if due.step.claimed_by_id in (None, request.user.pk)]
    midnight = timezone.localtime(now).replace(hour=0, minute=0, second=0, microsecond=0)
    recent = (
        CareStep.objects.filter(flock=flock)
        .filter(Q(at__gte=midnight) | Q(kind=StepKind.VET, at__gte=now - FOLLOWED))
        .select_related("bird", "keeper")
        .order_by("-at")
    )
    seen_by_vet = {}
    for step in recent:
        if step.kind == StepKind.VET:
            seen_by_vet.setdefault(step.bird_id, step.at)
    holds = open_holds(flock, now=now)
    urgent, others = birds_of_concern(flock, now=now)
    done = [step for step in recent if step.at >= midnight]
    today = timezone.localdate(now, flock.zone)
    looks = looks_due(others, dues=all_dues, steps=done, today=today, zone=flock.zone)
    return {
        "here": "today",
        "flock": flock,
        "mine": mine,
        "dues": [due for due in dues if due.is_due],
        "coming": [due for due in dues if not due.is_due] if ahead else [],
        "held": [hold for hold in holds if hold.eggs_until or hold.meat_until],
        "unknown": [hold for hold in holds if hold.eggs_unknown or hold.meat_unknown],
        "looks": [due for due in looks if due.is_due],
        "looks_coming": [due for due in looks if not due.is_due],
        "several_ill": several_ill(advised.answer for advised in urgent),
        "urgent": [(advised, seen_by_vet.get(advised.bird.pk)) for advised in urgent],
        "done": done,
        "to_buy": to_buy(flock, today=timezone.localdate(now)),
    }


def _state(request, flock) -> str:
    """A name for all that is shown of care."""
    figures = (
        newest(CareStep, "changed_at"),
        newest(Check, "received_at"),
        newest(Measurement, "at"),
        newest(Bird, "created_at", left=""),
    )
    return tag_of(request, flock, *figures, shown=[_wants_mine(request)])


def back_or_piece(request, flock, bird_id):
    """After a tap in the list: the list anew, or the page that the tap came from."""
    if request.htmx:
        response = _piece(request, flock, _state(request, flock))
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
        tag = _state(request, flock)
        return renewed(request, tag, lambda: _care_of(request, bird, "care/bird_piece.html", tag))
    response = _care_of(request, bird, "care/bird.html")
    response.headers["Vary"] = "HX-Request"
    return response


def _care_of(request, bird, template: str, tag: str = ""):
    flock, now = bird.flock, timezone.now()
    cases = cases_of_bird(bird)
    steps = CareStep.objects.filter(bird=bird).select_related("keeper").order_by("-at")
    current = [case for case in cases if case.current and not bird.left]
    advised = advise_cases(bird, current, now=now)
    dues = open_dues(flock, now=now, bird=bird)
    today = timezone.localdate(now, flock.zone)
    last_steps = list(steps[:LAST_STEPS])
    context = {
        "here": "birds",
        "bird": bird,
        "advised": advised,
        "dues": dues,
        "looks": looks_due(advised, dues=dues, steps=last_steps, today=today, zone=flock.zone),
        "holds": open_holds(flock, now=now, bird=bird),
        "steps": last_steps,
        "repeated": repeated_trouble(bird, cases),
        "for_vet": any(is_for_vet(one.answer.advice) for one in advised),
        "limits": LIMITS,
        "tag": tag,
    }
    return render(request, template, context)
