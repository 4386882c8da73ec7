"""Plans of care: setting one up, doing what is due of it, skipping, moving, stopping."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from flockcare.care import services_plans as services
from flockcare.care.forms import posted
from flockcare.care.forms_plans import ASK_FIRST, MoveForm, PlanForm, StopForm
from flockcare.care.models import CarePlan, CareStep
from flockcare.care.plans import done_of, until_words
from flockcare.care.views_steps import foot_asked_for, form_page, tell, tell_none_left, with_scores
from flockcare.care.views_today import back_or_piece
from flockcare.core.forms import record_keys, saved
from flockcare.people.access import flock_view
from flockcare.people.bylines import with_names

SHOWN_DAYS = 14


def _plan_or_404(flock, plan_id) -> CarePlan:
    plans = CarePlan.objects.select_related("bird", "flock", "keeper")
    return get_object_or_404(plans, flock=flock, pk=plan_id)


@require_http_methods(["GET", "POST"])
@form_page
def new(request, flock, bird_id):
    """``?foot=`` chooses ahead; ``?step=``: as this care was given."""
    bird = get_object_or_404(with_scores(), flock=flock, pk=bird_id)
    bird.flock = flock
    plan = CarePlan(flock=flock, bird=bird, keeper=request.user)
    asked = {"foot": foot_asked_for(request, bird), "since": timezone.localdate(), "every_days": 2}
    for key in record_keys(request.GET.getlist("step")[:1]):
        step = CareStep.objects.filter(flock=flock, bird=bird, pk=key).first()
        asked |= _like(step) if step else {}
    form = PlanForm(posted(request), flock=flock, plan=plan, initial=asked)
    if (
        request.method == "POST"
        and form.is_valid()
        and saved(form, services.save_plan, plan=form.instance, by=request.user)
    ):
        messages.success(request, f"Saved: {plan}.")
        return redirect("care:plan", flock.pk, plan.pk)
    return _form(request, bird, form)


def _like(step: CareStep) -> dict:
    names = ("egg_days", "meat_days", "days_from", "batch", "quantity", "decided_by")
    return {
        **{name: getattr(step, name) for name in names},
        "foot": step.foot,
        "parts": [step.kind],
        "with_medicine": step.product,
        "every_days": 1,
        "ends": "day",
        "until": step.given_until,
        "since": step.on,
    }


def _form(request, bird, form, plan=None):
    names = sorted(item.name for item in form.kit.values())
    return render(
        request,
        "care/plan_form.html",
        {"here": "today", "bird": bird, "form": form, "plan": plan, "kit_names": names},
        status=422 if form.errors else 200,
    )


@require_http_methods(["GET", "POST"])
@form_page
def edit(request, flock, care_plan_id):
    plan = _plan_or_404(flock, care_plan_id)
    form = PlanForm(posted(request), flock=flock, plan=plan)
    if (
        request.method == "POST"
        and form.is_valid()
        and saved(form, services.save_plan, plan=form.instance, by=request.user, basis=form.basis)
    ):
        messages.success(request, f"Saved: {plan}.")
        return redirect("care:plan", flock.pk, plan.pk)
    return _form(request, plan.bird, form, plan)


@require_safe
@flock_view()
def plan(request, flock, care_plan_id):
    return _page(request, _plan_or_404(flock, care_plan_id))


def _page(request, plan, **forms):
    now, flock = timezone.now(), plan.flock
    due = services.due_of(plan, now=now)
    given = done_of([plan], flock.zone)[plan.pk]
    days = [
        (day, sorted(given.kinds[day]) if not set(plan.kinds) <= given.kinds[day] else ())
        for day in sorted(given.kinds, reverse=True)
    ]
    with_names([plan])
    context = {
        "here": "today",
        "bird": plan.bird,
        "plan": plan,
        "due": due,
        "until": until_words(plan, timezone.localdate(now, flock.zone)),
        "days": days[:SHOWN_DAYS],
        "more_days": max(len(days) - SHOWN_DAYS, 0),
        "ask_first": ASK_FIRST if plan.withholds or plan.is_medicine else "",
        "move_form": forms.get("move") or MoveForm(),
        "stop_form": forms.get("stop") or StopForm(),
    }
    return render(request, "care/plan.html", context, status=422 if forms else 200)


@require_POST
@flock_view()
def done(request, flock, care_plan_id):
    """The usual one, with one tap: what the plan says, with its products."""
    plan, steps = _plan_or_404(flock, care_plan_id), []
    try:
        steps = services.do_plan(plan=plan, by=request.user, now=timezone.now())
    except ValidationError as error:
        messages.warning(request, f"{plan.bird}: {' '.join(error.messages)}")
    else:
        if request.htmx:
            tell_none_left(request, *steps)
        else:
            tell(request, "Saved", *steps)
    return back_or_piece(request, flock, plan.bird_id, steps)


@require_POST
@flock_view()
def skip(request, flock, care_plan_id):
    plan = _plan_or_404(flock, care_plan_id)
    try:
        due = services.skip(plan=plan, by=request.user, now=timezone.now())
    except ValidationError as error:
        messages.warning(request, " ".join(error.messages))
    else:
        then = f"next on {due.on:%A}, {due.on.day} {due.on:%B}" if due else "it is over"
        messages.success(request, f"Skipped: {plan.bird}; {then}.")
    return redirect("care:plan", flock.pk, plan.pk)


@require_POST
@flock_view()
def move(request, flock, care_plan_id):
    plan = _plan_or_404(flock, care_plan_id)
    form = MoveForm(request.POST)
    if form.is_valid() and saved(
        form, services.move, plan=plan, to=form.cleaned_data["to"], by=request.user
    ):
        to = form.cleaned_data["to"]
        messages.success(request, f"Moved: {plan.bird}, to {to:%A}, {to.day} {to:%B}.")
        return redirect("care:plan", flock.pk, plan.pk)
    return _page(request, plan, move=form)


@require_POST
@flock_view()
def stop(request, flock, care_plan_id):
    plan = _plan_or_404(flock, care_plan_id)
    form = StopForm(request.POST)
    if form.is_valid() and saved(
        form, services.stop, plan=plan, because=form.cleaned_data["because"], by=request.user
    ):
        messages.success(request, f"Stopped: {plan}.")
        return redirect("care:plan", flock.pk, plan.pk)
    return _page(request, plan, stop=form)


@require_POST
@flock_view()
def delete(request, flock, care_plan_id):
    plan = _plan_or_404(flock, care_plan_id)
    words = str(plan)
    services.delete_plan(plan=plan, by=request.user)
    messages.success(request, f"Deleted: the plan for {words}. What was given stays.")
    return redirect("care:bird", flock.pk, plan.bird_id)
