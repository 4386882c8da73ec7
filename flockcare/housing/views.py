"""Pages about houses: the list, one house on a day, one feature through time."""

from __future__ import annotations

import datetime as dt

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models import Min, OuterRef, Prefetch, Q, Subquery
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe
from django_htmx.http import replace_url

from flockcare.core.forms import saved
from flockcare.housing import changes, elevation, scrubber, services
from flockcare.housing.capacity import DIRECTIVE_SCOPE, THUMB_SCOPE, capacity, summed, thumb
from flockcare.housing.changes import description
from flockcare.housing.checklist import unanswered
from flockcare.housing.drawn import drawn
from flockcare.housing.forms import TAP_KINDS, HouseForm
from flockcare.housing.forms_setup import SetUp
from flockcare.housing.habits import Habit, folded
from flockcare.housing.landing import landers_on, layout_of
from flockcare.housing.models import (
    ChangeKind,
    Dampness,
    EggCount,
    Event,
    EventKind,
    Feature,
    FeatureState,
    House,
    HousingChange,
    PlannedState,
    Walk,
    Wetness,
)
from flockcare.housing.residents import counts_on, residents_on
from flockcare.housing.shapes import SHAPE_BY_KEY, SHAPES, Shape
from flockcare.housing.states import HouseRecord, NotRecorded, record_of, records_of
from flockcare.people.access import flock_view
from flockcare.people.bylines import with_names
from flockcare.people.models import Role
from flockcare.photos.models import Photo

form_page = flock_view(Role.KEEPER, read=Role.KEEPER)
CHANGES_SHOWN = 6
# Why it is drier than it was, where nothing else tells.
WHYS = (
    (ChangeKind.BEDDING, "Bedding renewed"),
    (ChangeKind.DRAINAGE, "Drained or covered"),
    (ChangeKind.FOUND, "Nothing done: weather"),
)


def house_or_404(flock, house_id) -> House:
    house = get_object_or_404(House, flock=flock, pk=house_id)
    house.flock = flock
    return house


@require_safe
@flock_view()
def house_list(request, flock):
    today = timezone.localdate()
    houses = list(House.objects.filter(flock=flock))
    records = records_of(houses)
    told: dict = {}
    for one in HousingChange.objects.filter(flock=flock, planned=False):
        told.setdefault(one.house_id, []).append(one)
    counts = counts_on(flock, today)
    renewed = Event.objects.filter(flock=flock, kind=EventKind.BEDDING)
    entries = [
        {
            "house": house,
            "birds": counts[house.pk],
            "last": _last_made(records[house.pk], told.get(house.pk, []), renewed, flock.units),
            "described": records[house.pk].begins is not None,
            "drawing": _small(records[house.pk], today),
        }
        for house in houses
    ]
    return render(
        request,
        "housing/list.html",
        {"here": "houses", "entries": entries, "homeless": _homeless(flock, counts)},
    )


def _small(record: HouseRecord, day: dt.date) -> str:
    try:
        return elevation.small(layout_of(record.house, day, record.on(day)))
    except NotRecorded:
        return ""


def _last_made(record: HouseRecord, told, events, units: str) -> changes.Change | None:
    found = changes.history(record, told, events, units=units)
    return next((one for one in found if one.made), None)


def _homeless(flock, counts) -> int:
    """Birds of the flock that are in no house, as far as is written down."""
    return flock.bird_set.present().count() - sum(counts.values())


@require_safe
@flock_view()
def house(request, flock, house_id):
    """A house as it is, or as it was on a day; ``?all`` tells its whole history.

    ``?on=``: the day; ``?step=``: its number among the stops of the slider.
    """
    wetness = Wetness.objects.filter(house=OuterRef("pk")).order_by("-on")
    newest = Walk.objects.filter(house=OuterRef("pk")).order_by("-on")
    eggs = EggCount.objects.filter(house=OuterRef("pk"), on=timezone.localdate())
    house = get_object_or_404(
        House.objects.annotate(
            walked_on=Subquery(newest.values("on")[:1]),
            walked_by=Subquery(newest.values("keeper__name")[:1]),
            walk_note=Subquery(newest.values("note")[:1]),
            eggs_today=Subquery(eggs.values("eggs")[:1]),
            wetness_on=Subquery(wetness.values("on")[:1]),
            wetness_level=Subquery(wetness.values("level")[:1]),
        ),
        flock=flock,
        pk=house_id,
    )
    house.flock = flock
    today = timezone.localdate()
    record = record_of(house)
    parts = Prefetch("planned_states", PlannedState.objects.select_related("feature"))
    told = HousingChange.objects.filter(house=house).select_related("keeper")
    said = with_names([*told.prefetch_related("photos", parts), *events_of(house)])
    told = [one for one in said if isinstance(one, HousingChange)]
    events = [one for one in said if isinstance(one, Event) and _was_there(record, one)]
    history = changes.history(record, told, events, units=flock.units)
    stops = scrubber.stops_of(record, history, events, today)
    day, strange = _chosen_day(request.GET.get("on", ""), today)
    day = scrubber.day_at(stops, request.GET.get("step", "")) or day
    try:
        layout, refused = record.on(day), ""
    except NotRecorded as error:
        layout, refused = [], str(error)
    asked = next((change for change in history if change.asks), None)
    whole = "all" in request.GET
    # Of each its own number. On one day what happened stands above what changed.
    happened = folded(events)
    shown = None if whole else CHANGES_SHOWN
    entries = [*happened[:shown], *history[:shown]]
    entries.sort(key=lambda one: one.on, reverse=True)
    told_of = [len(one.often) if isinstance(one, Habit) else 1 for one in entries]
    landers = [] if refused else landers_on(house, day)
    residents = residents_on(house, day) if refused else [one.bird for one in landers]
    classes = [bird.weight_class for bird in residents]
    lines = capacity(
        layout,
        floor_cm2=house.floor_cm2,
        classes=classes,
        units=flock.units,
        within=layout_of(house, day, layout),
    )
    rule_of_thumb = thumb(layout, classes=classes, units=flock.units)
    answer = render(
        request,
        "housing/house.html",
        {
            "here": "houses",
            "house": house,
            "record": record,
            **scrubber.then(house, stops, history, events, day=day, today=today),
            "day": day,
            "today": today,
            "past": day != today,
            "strange": strange,
            "refused": refused,
            "layout": layout,
            "lines": [
                (feature, description(state, flock.units), state) for feature, state in layout
            ],
            "residents": residents,
            "capacity": lines,
            "thumb": rule_of_thumb,
            "room": summed([*lines, rule_of_thumb]),
            "scope": DIRECTIVE_SCOPE,
            "thumb_scope": THUMB_SCOPE,
            "unanswered": unanswered(layout),
            "asked": asked,
            "whys": WHYS,
            "kinds": TAP_KINDS,
            "spells": [one for one in events if one.goes_on],
            "levels": Dampness.choices,
            "level_today": house.wetness_level if house.wetness_on == today else "",
            "history": entries,
            "earlier": len(events) + len(history) - sum(told_of),
            "whole": whole,
            # Of what was done again and again, a year or two.
            "newest": ":" if whole else ":12",
            **_drawn(house, day, layout, landers),
            "plans": [
                (plan, changes.plan_words(plan, layout, units=flock.units))
                for plan in told
                if plan.planned
            ],
        },
    )
    if request.htmx:
        # Stops are numbered anew with every record; a day stays what it is.
        replace_url(answer, request.path if day == today else f"{request.path}?on={day}")
    return answer


def events_of(house: House):
    """Those of the house and of the whole flock, each with its first photo."""
    photo = Photo.objects.filter(events=OuterRef("pk")).order_by("pk").values("pk")[:1]
    events = Event.objects.filter(Q(house=None) | Q(house=house), flock=house.flock)
    return events.select_related("house", "keeper").annotate(photo=Subquery(photo))


def _was_there(record: HouseRecord, event: Event) -> bool:
    """Whether the house stood, as far as is known, when something happened to the whole flock."""
    if event.house_id or event.goes_on:
        return True
    return record.begins is not None and record.begins <= (event.until or event.on)


def _drawn(house: House, day: dt.date, layout, landers) -> dict:
    """The drawing on the house's page; the table behind it stands on the page of landings."""
    if not layout:
        return {}
    page = f"{reverse('housing:landing', args=[house.flock_id, house.pk])}?on={day}"
    return drawn(layout_of(house, day, layout), landers, house.flock.units, page=page)


def _chosen_day(text: str, today: dt.date) -> tuple[dt.date, bool]:
    """The day that an address asks for, and whether it could not be understood."""
    if not text:
        return today, False
    try:
        day = dt.date.fromisoformat(text)
    except ValueError:
        return today, True
    return (today, True) if day > today else (day, False)


@form_page
def house_add(request, flock):
    """Choose a plain house to start from, then the whole of it on one form; or begin empty."""
    key = request.GET.get("shape", "")
    if shape := SHAPE_BY_KEY.get(key):
        return _set_up(request, flock, shape)
    if request.method != "POST" and key != "empty":
        shapes = [(shape, elevation.small(shape.layout())) for shape in SHAPES]
        return render(request, "housing/shapes.html", {"here": "houses", "shapes": shapes})
    form = HouseForm(request.POST or None, instance=House(flock=flock))
    if form.is_valid() and saved(form, services.add_house, house=form.instance):
        messages.success(request, f"{form.instance} is added. Now say what stands in it.")
        return redirect("housing:house", flock.pk, form.instance.pk)
    return render(request, "housing/house_form.html", {"here": "houses", "form": form})


def _set_up(request, flock, shape: Shape):
    today = timezone.localdate()
    said = request.GET if request.htmx else request.POST
    form = SetUp(said or None, shape=shape, flock=flock, today=today)
    house = form.house.instance
    if (
        request.method == "POST"
        and form.is_valid()
        and saved(
            form.house, services.set_up_house, house=house, things=form.features(), today=today
        )
    ):
        messages.success(request, f"{house} is saved.")
        return redirect("housing:house", flock.pk, house.pk)
    drawing = elevation.draw(form.tried(), [], units=flock.units, title=f"{shape.name}, drawn")
    return render(
        request,
        "housing/set_up_drawing.html" if request.htmx else "housing/set_up.html",
        {"here": "houses", "form": form, "drawing": drawing},
        status=422 if request.method == "POST" else 200,
    )


@form_page
def house_edit(request, flock, house_id):
    house = house_or_404(flock, house_id)
    name = house.name
    form = HouseForm(request.POST or None, instance=house)
    if form.is_valid() and saved(
        form, services.edit_house, house=house, by=request.user, basis=form.basis
    ):
        messages.success(request, f"Saved: {house}.")
        return redirect("housing:house", flock.pk, house.pk)
    return render(
        request,
        "housing/house_form.html",
        {"here": "houses", "form": form, "house": house, "name": name},
    )


@require_POST
@form_page
def house_delete(request, flock, house_id):
    house = house_or_404(flock, house_id)
    try:
        services.delete_house(house=house, by=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
        return redirect("housing:edit", flock.pk, house.pk)
    messages.success(request, f"Deleted: {house}.")
    return redirect("housing:list", flock.pk)


@require_safe
@flock_view()
def feature(request, flock, feature_id):
    """One feature: what it is, and what it was before."""
    feature = get_object_or_404(Feature.objects.select_related("house"), flock=flock, pk=feature_id)
    states = list(feature.states.order_by("since"))
    begins = FeatureState.objects.filter(feature__house=feature.house_id).aggregate(on=Min("since"))
    entries, before = [], None
    for state in states:
        found = changes.differences(feature, before, state, units=flock.units)
        words = "" if state.since == begins["on"] else ", ".join(found.words)
        entries.append((state, words, description(state, flock.units)))
        before = state
    return render(
        request,
        "housing/feature.html",
        {
            "here": "houses",
            "feature": feature,
            "entries": entries[::-1],
            "present": states[-1] if states else None,
        },
    )
