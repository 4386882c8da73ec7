"""Pages about which birds live where."""

from __future__ import annotations

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.template.defaultfilters import pluralize
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from flockcare.birds.models import Bird
from flockcare.core.forms import saved
from flockcare.drawing.dates import date_words
from flockcare.housing import services
from flockcare.housing.forms import MoveForm, StayForm
from flockcare.housing.models import House, Stay
from flockcare.housing.residents import houses_on
from flockcare.housing.views import form_page
from flockcare.people.access import flock_view


@form_page
def move(request, flock):
    """Many birds into one house from a day on; ``?house=`` chooses the house beforehand."""
    today = timezone.localdate()
    houses = list(House.objects.filter(flock=flock))
    birds = list(Bird.objects.filter(flock=flock).present().select_related("flock"))
    form = MoveForm(
        request.POST or None,
        houses=houses,
        birds=birds,
        today=today,
        initial={"house": request.GET.get("house", "")},
    )
    if form.is_valid():
        on, into, moving = form.cleaned_data["on"], form.into(), form.moving()
        if saved(
            form,
            services.move_birds,
            birds=moving,
            house=into,
            on=on,
            by=request.user,
            today=today,
        ):
            messages.success(
                request,
                f"{len(moving)} bird{pluralize(len(moving))} in {into} from {date_words(on)} on.",
            )
            return redirect("housing:house", flock.pk, into.pk)
    return render(
        request,
        "housing/move.html",
        {
            "here": "houses",
            "form": form,
            "houses": houses,
            "groups": _by_house(birds, houses, houses_on(flock, today)),
            "ticked": form.ticked,
        },
        status=422 if form.is_bound else 200,
    )


def _by_house(birds, houses, lives_in) -> list[tuple[str, list, str]]:
    """The birds of each house with their keys, and all these keys in one."""
    groups = [(house.name, house.pk) for house in houses] + [("In no house yet", None)]
    sorted_birds = [
        (name, [(bird, str(bird.pk)) for bird in birds if lives_in.get(bird.pk) == key])
        for name, key in groups
    ]
    return [
        (name, members, " ".join(key for _, key in members))
        for name, members in sorted_birds
        if members
    ]


@require_safe
@flock_view()
def stays_of_bird(request, flock, bird_id):
    bird = get_object_or_404(Bird, flock=flock, pk=bird_id)
    stays = Stay.objects.filter(bird=bird).select_related("house").reverse()
    return render(
        request,
        "housing/stays.html",
        {"here": "houses", "bird": bird, "stays": [(stay, services.span(stay)) for stay in stays]},
    )


@form_page
def stay_edit(request, flock, stay_id):
    stay = _stay_or_404(flock, stay_id)
    form = StayForm(request.POST or None, instance=stay, today=timezone.localdate())
    if form.is_valid() and saved(
        form, services.correct_stay, stay=form.instance, by=request.user, basis=form.basis
    ):
        messages.success(request, f"Saved: where {stay.bird} lived.")
        return redirect("housing:stays", flock.pk, stay.bird_id)
    return render(request, "housing/stay.html", {"here": "houses", "form": form, "stay": stay})


@require_POST
@form_page
def stay_delete(request, flock, stay_id):
    stay = _stay_or_404(flock, stay_id)
    services.delete_stay(stay=stay, by=request.user)
    messages.success(request, "Removed.")
    return redirect("housing:stays", flock.pk, stay.bird_id)


def _stay_or_404(flock, stay_id) -> Stay:
    stays = Stay.objects.select_related("bird", "house", "flock")
    return get_object_or_404(stays, flock=flock, pk=stay_id)
