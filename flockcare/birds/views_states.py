"""What is so with a bird for a time: moult, broodiness, lay, quarantine."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from flockcare.birds import services
from flockcare.birds.forms import StateForm
from flockcare.birds.models import Bird, BirdState
from flockcare.core.forms import saved
from flockcare.people.access import flock_view
from flockcare.people.bylines import with_names
from flockcare.people.models import Role

form_page = flock_view(Role.KEEPER, read=Role.KEEPER)


def _state_or_404(flock, bird_id, state_id) -> BirdState:
    states = BirdState.objects.select_related("flock", "bird")
    return get_object_or_404(states, flock=flock, bird=bird_id, pk=state_id)


@flock_view()
def states(request, flock, bird_id):
    """All there ever were, and the form for one with its dates."""
    bird = get_object_or_404(Bird, flock=flock, pk=bird_id)
    today = timezone.localdate()
    form = StateForm(
        request.POST or None,
        instance=BirdState(flock=flock, bird=bird, keeper=request.user),
        today=today,
        initial={"since": today},
    )
    if form.is_valid() and saved(form, services.add_state, state=form.instance):
        messages.success(request, f"Saved: {form.instance}.")
        return redirect("birds:states", flock.pk, bird.pk)
    found = with_names(bird.birdstate_set.select_related("keeper").order_by("-since", "kind"))
    context = {"flock": flock, "here": "birds", "bird": bird, "form": form, "states": found}
    return render(request, "birds/states.html", context)


@require_POST
@form_page
def state_start(request, flock, bird_id):
    """From today on, by one tap on the bird's page."""
    bird = get_object_or_404(Bird, flock=flock, pk=bird_id)
    try:
        state = services.start_state(
            bird=bird,
            kind=request.POST.get("kind", ""),
            since=timezone.localdate(),
            by=request.user,
        )
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, f"Saved: {bird} is {state.get_kind_display()}.")
    return redirect(bird)


@require_POST
@form_page
def state_end(request, flock, bird_id, bird_state_id):
    """Over today, by one tap on the bird's page."""
    state = _state_or_404(flock, bird_id, bird_state_id)
    try:
        services.end_state(state=state, on=timezone.localdate(), by=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, f"Saved: {state.bird} is no longer {state.get_kind_display()}.")
    return redirect(state.bird)


@form_page
def state_edit(request, flock, bird_id, bird_state_id):
    state = _state_or_404(flock, bird_id, bird_state_id)
    title = str(state)
    form = StateForm(request.POST or None, instance=state, today=timezone.localdate())
    if form.is_valid() and saved(
        form, services.change_state, state=state, by=request.user, basis=form.basis
    ):
        messages.success(request, f"Saved: {state}.")
        return redirect("birds:states", flock.pk, bird_id)
    context = {"flock": flock, "here": "birds", "form": form, "state": state, "title": title}
    return render(request, "birds/state.html", context)


@require_POST
@form_page
def state_delete(request, flock, bird_id, bird_state_id):
    state = _state_or_404(flock, bird_id, bird_state_id)
    services.delete_state(state=state, by=request.user)
    messages.success(request, "Deleted.")
    return redirect("birds:states", flock.pk, bird_id)
