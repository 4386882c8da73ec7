"""What happened in a house or to the whole flock, and how wet it is underfoot: one tap each."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from flockcare.core.forms import record_keys, saved
from flockcare.housing import services
from flockcare.housing.forms import TAP_KINDS, EventForm, EventTapForm, WetnessForm
from flockcare.housing.habits import folded
from flockcare.housing.models import Dampness, Event, House, Wetness
from flockcare.housing.views import form_page, house_or_404
from flockcare.housing.views_changes import take_in_photos, with_photos
from flockcare.people.access import flock_view
from flockcare.people.bylines import with_names
from flockcare.photos.models import Photo

EVENTS_SHOWN = 30


@flock_view()
def events(request, flock):
    """Log by one tap what happened today, and see what happened before; ``?all`` shows all of it.

    ``?house=`` is the house that is meant unless another is chosen.
    """
    houses = list(House.objects.filter(flock=flock))
    form = EventTapForm(request.POST or None, houses=houses, meant=request.GET.get("house", ""))
    if form.is_valid():
        event = form.event(flock=flock, keeper=request.user, today=timezone.localdate())
        try:
            event = services.log_event(event=event, today=timezone.localdate())
        except ValidationError as error:
            form.add_error("what", " ".join(error.messages))
        else:
            return redirect(f"{reverse('housing:event', args=[flock.pk, event.pk])}?new")
    found = Event.objects.filter(flock=flock).select_related("house", "keeper")
    whole = "all" in request.GET
    shown = list(with_names(found if whole else found[: EVENTS_SHOWN + 1]))
    return render(
        request,
        "housing/events.html",
        {
            "here": "today",
            "form": form,
            "kinds": TAP_KINDS,
            "events": folded(shown if whole else shown[:EVENTS_SHOWN]),
            "whole": whole,
            "more": not whole and len(shown) > EVENTS_SHOWN,
        },
        status=422 if form.errors else 200,
    )


def _event_or_404(flock, event_id) -> Event:
    events = Event.objects.select_related("flock", "house", "keeper").prefetch_related("photos")
    return get_object_or_404(events, flock=flock, pk=event_id)


def _back(event: Event):
    if event.house_id:
        return redirect("housing:house", event.flock_id, event.house_id)
    return redirect("housing:events", event.flock_id)


@form_page
def event(request, flock, event_id):
    """Correct it, or add to it; ``?new`` after the tap that logged it."""
    event = _event_or_404(flock, event_id)
    here, title, on = list(event.photos.all()), str(event), event.on
    today = timezone.localdate()
    form = EventForm(request.POST or None, instance=event, today=today)
    photos, photo_errors = take_in_photos(request) if request.method == "POST" else ([], [])
    if (
        form.is_valid()
        and not photo_errors
        and saved(
            form,
            services.change_event,
            event=event,
            by=request.user,
            today=today,
            basis=with_photos(form.basis, photos),
        )
    ):
        without = Photo.objects.filter(
            flock=flock, pk__in=record_keys(request.POST.getlist("without"))
        )
        services.keep_photos(record=event, photos=photos, without=without)
        messages.success(request, f"Saved: {event}.")
        return _back(event)
    return render(
        request,
        "housing/event.html",
        {
            "here": "houses",
            "event": event,
            "title": title,
            "on": on,
            "form": form,
            "new": "new" in request.GET,
            "here_photos": here,
            "photos": photos,
            "photo_errors": photo_errors,
        },
        status=422 if form.is_bound else 200,
    )


@require_POST
@form_page
def event_delete(request, flock, event_id):
    event = _event_or_404(flock, event_id)
    services.delete_event(event=event, by=request.user)
    done = "Undone" if "undo" in request.POST else "Deleted"
    messages.success(request, f"{done}: {event}.")
    return _back(event)


@require_POST
@form_page
def event_over(request, flock, event_id):
    """A spell ends today, by one tap."""
    event = _event_or_404(flock, event_id)
    services.end_spell(event=event, on=timezone.localdate(), by=request.user)
    messages.success(request, f"Saved: over, {event}.")
    return _back(event)


# How wet it is


@flock_view()
def wetness(request, flock, house_id):
    """Every day on record; one tap says how it is today."""
    house = house_or_404(flock, house_id)
    if request.method == "POST":
        log_tap(request, house)
        return redirect("housing:house", flock.pk, house.pk)
    found = with_names(house.wetness.select_related("keeper"))
    today = timezone.localdate()
    return render(
        request,
        "housing/wetness.html",
        {
            "here": "houses",
            "house": house,
            "found": found,
            "levels": Dampness.choices,
            "level_today": next((one.level for one in found if one.on == today), ""),
        },
    )


def log_tap(request, house: House) -> None:
    """Keep the level that was tapped, as of today; 404 for what is none."""
    level = request.POST.get("level", "")
    if level not in Dampness.values:
        raise Http404("There is no such button.")
    today = timezone.localdate()
    wetness = Wetness(flock=house.flock, house=house, on=today, level=level, keeper=request.user)
    services.log_wetness(wetness=wetness, by=request.user, today=today)
    messages.success(request, f"Saved: {house} is {Dampness(level).label} underfoot today.")


def _wetness_or_404(flock, wetness_id) -> Wetness:
    return get_object_or_404(
        Wetness.objects.select_related("flock", "house"), flock=flock, pk=wetness_id
    )


@form_page
def wetness_edit(request, flock, wetness_id):
    wetness = _wetness_or_404(flock, wetness_id)
    on, today = wetness.on, timezone.localdate()
    form = WetnessForm(request.POST or None, instance=wetness, today=today)
    if form.is_valid() and saved(
        form,
        services.change_wetness,
        wetness=wetness,
        by=request.user,
        today=today,
        basis=form.basis,
    ):
        messages.success(request, f"Saved: {wetness.house}.")
        return redirect("housing:wetness", flock.pk, wetness.house_id)
    return render(
        request,
        "housing/wetness_edit.html",
        {"here": "houses", "form": form, "wetness": wetness, "on": on},
    )


@require_POST
@form_page
def wetness_delete(request, flock, wetness_id):
    wetness = _wetness_or_404(flock, wetness_id)
    services.delete_wetness(wetness=wetness, by=request.user)
    messages.success(request, "Deleted.")
    return redirect("housing:wetness", flock.pk, wetness.house_id)
