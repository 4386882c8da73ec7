"""Pages that change what is written down about a house: changes, corrections, walks, plans."""

from __future__ import annotations

import datetime as dt

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models.functions import Lower
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from flockcare.core.forms import record_keys, saved
from flockcare.drawing.dates import date_words
from flockcare.housing import changes, services
from flockcare.housing.changes import description
from flockcare.housing.checklist import ITEMS, items_for
from flockcare.housing.features import START_BY_KEY, STARTS
from flockcare.housing.forms import (
    ChangeForm,
    DescriptionForm,
    FeatureChangeForm,
    FeatureForm,
    NewFeatureForm,
    StateForm,
    WalkForm,
)
from flockcare.housing.models import Feature, FeatureState, HousingChange, Walk
from flockcare.housing.states import HouseRecord, NotRecorded, record_of
from flockcare.housing.views import WHYS, form_page, house_or_404
from flockcare.photos.models import Photo
from flockcare.photos.services import add_photos


def take_in_photos(request) -> tuple[list[Photo], list[str]]:
    """Pictures that came with a form, kept first of all, and why others could not be kept.

    Those sent with an earlier, refused form come along by their keys.
    """
    flock = request.membership.flock
    sent = Photo.objects.filter(flock=flock, pk__in=record_keys(request.POST.getlist("kept")))
    kept, refusals = add_photos(
        flock=flock, keeper=request.user, uploads=request.FILES.getlist("photos")
    )
    return [*sent, *kept], refusals


# Features


@form_page
def feature_add(request, flock, house_id):
    """Choose what to start from, then describe it."""
    house = house_or_404(flock, house_id)
    start = START_BY_KEY.get(request.GET.get("start", ""))
    if start is None:
        return render(
            request,
            "housing/feature_start.html",
            {"here": "houses", "house": house, "starts": STARTS},
        )
    feature = Feature(flock=flock, house=house, kind=start.kind)
    record, today = record_of(house), timezone.localdate()
    form = NewFeatureForm(
        request.POST or None,
        feature=feature,
        begins=record.begins,
        units=flock.units,
        today=today,
        initial={"name": _free_name(record, start.name), "since": today, **start.values},
    )
    if form.is_valid():
        feature.name = form.cleaned_data["name"]
        if saved(
            form,
            services.add_feature,
            feature=feature,
            state=form.first_state(),
            today=today,
        ):
            messages.success(request, f"{feature.name} is saved.")
            if "another" in request.POST:
                return redirect("housing:feature_add", flock.pk, house.pk)
            return redirect("housing:house", flock.pk, house.pk)
    return render(
        request,
        "housing/feature_add.html",
        {"here": "houses", "house": house, "form": form, "start": start},
    )


def _free_name(record: HouseRecord, name: str) -> str:
    """The name, with a number where the house has one of it already."""
    taken = {one.name.lower() for one in record.features}
    number, free = 1, name
    while free.lower() in taken:
        number += 1
        free = f"{name} {number}"
    return free


@form_page
def feature_edit(request, flock, feature_id):
    feature = _feature_or_404(flock, feature_id)
    name = feature.name
    form = FeatureForm(request.POST or None, instance=feature)
    if form.is_valid() and saved(
        form, services.edit_feature, feature=feature, by=request.user, basis=form.basis
    ):
        messages.success(request, f"Saved: {feature}.")
        return redirect("housing:feature", flock.pk, feature.pk)
    return render(
        request,
        "housing/feature_edit.html",
        {"here": "houses", "form": form, "feature": feature, "name": name},
    )


@require_POST
@form_page
def feature_delete(request, flock, feature_id):
    feature = _feature_or_404(flock, feature_id)
    services.delete_feature(feature=feature, by=request.user)
    messages.success(request, f"Deleted: {feature.name}.")
    return redirect("housing:house", flock.pk, feature.house_id)


def _feature_or_404(flock, feature_id) -> Feature:
    features = Feature.objects.select_related("house", "flock")
    return get_object_or_404(features, flock=flock, pk=feature_id)


# Changes in the world


@form_page
def change(request, flock, house_id):
    """Something changed: from a day on, what differs from what stands there."""
    house = house_or_404(flock, house_id)
    today = timezone.localdate()
    record = record_of(house)
    forms = _change_forms(request, record, flock.units)
    told = ChangeForm(request.POST or None, today=today)
    photos, photo_errors = take_in_photos(request) if request.method == "POST" else ([], [])
    valid = [told.is_valid(), *(form.is_valid() for form in forms)]
    if request.method == "POST" and all(valid) and not photo_errors:
        changed = {form.feature: form.changed() for form in forms if form.touched}
        if not changed and not (told.cleaned_data["kind"] and told.cleaned_data["note"]):
            told.add_error(
                None,
                "Nothing differs yet. Tap what changed and enter how it is now. For what is "
                "no part of the house, such as feed, choose the kind and write a note.",
            )
        elif _keep_change(request, house, told, changed, photos, today):
            return redirect("housing:house", flock.pk, house.pk)
    return render(
        request,
        "housing/change.html",
        {
            "here": "houses",
            "house": house,
            "told": told,
            "forms": [
                (form, description(form.state, flock.units) if form.state else "") for form in forms
            ],
            "photos": photos,
            "photo_errors": photo_errors,
        },
        status=422 if request.method == "POST" else 200,
    )


def _change_forms(request, record, units: str) -> list[FeatureChangeForm]:
    """A form for every feature with the newest that is known of it, taken-away ones last."""
    newest = [
        (feature, (record.states.get(feature.pk) or [None])[-1]) for feature in record.features
    ]
    newest.sort(key=lambda pair: (bool(pair[1] and pair[1].gone), -_height(pair[1])))
    return [
        FeatureChangeForm(request.POST or None, feature=feature, state=state, units=units)
        for feature, state in newest
    ]


def _height(state: FeatureState | None) -> float:
    return (state and state.height_cm) or 0


def _keep_change(request, house, told, changed, photos, today) -> bool:
    on = told.cleaned_data["on"]
    words = told.apply_to(HousingChange(house=house, keeper=request.user))
    if not saved(
        told,
        services.change_features,
        house=house,
        on=on,
        changes=changed,
        told=words if words.kind or words.note or photos else None,
        by=request.user,
        today=today,
    ):
        return False
    if photos:
        kept = HousingChange.objects.get(house=house, on=on, planned=False)
        services.keep_photos(record=kept, photos=photos)
    messages.success(request, f"Saved: a change of the house from {date_words(on)} on.")
    return True


@form_page
def change_tell(request, flock, house_id, on):
    """What keepers say about the changes of one day: the right day, kind, note and photos."""
    house = house_or_404(flock, house_id)
    day = _day_or_404(on)
    found = HousingChange.objects.filter(house=house, on=day, planned=False)
    told = found.prefetch_related("photos").first()
    record = record_of(house)
    if told is None:
        if day not in record.days:
            raise Http404("Nothing changed on that day.")
        told = HousingChange(flock=flock, house=house, on=day, keeper=request.user)
    told.flock = flock
    here = list(told.photos.all()) if not told._state.adding else []
    form = ChangeForm(request.POST or None, today=timezone.localdate(), told=told)
    photos, photo_errors = take_in_photos(request) if request.method == "POST" else ([], [])
    if (
        form.is_valid()
        and not photo_errors
        and saved(
            form,
            services.correct_change,
            house=house,
            on=day,
            told=form.apply_to(told),
            by=request.user,
            today=timezone.localdate(),
            basis=with_photos(form.basis, photos),
        )
    ):
        without = Photo.objects.filter(
            flock=flock, pk__in=record_keys(request.POST.getlist("without"))
        )
        services.keep_photos(record=told, photos=photos, without=without)
        messages.success(request, f"Saved: the change of {house}.")
        return redirect("housing:house", flock.pk, house.pk)
    lines = changes.history(record, units=flock.units)
    return render(
        request,
        "housing/change_tell.html",
        {
            "here": "houses",
            "house": house,
            "day": day,
            "form": form,
            "kept": not told._state.adding,
            "change": next((one for one in lines if one.on == day), None),
            "here_photos": here,
            "photos": photos,
            "photo_errors": photo_errors,
        },
        status=422 if form.is_bound else 200,
    )


def with_photos(basis, photos):
    """Photos that came along are not sent a second time: their keys go with a conflict's page."""
    if basis:
        basis.carry = [("kept", str(photo.pk)) for photo in photos]
    return basis


@require_POST
@form_page
def change_delete(request, flock, house_id, on):
    """Take back what was said about a day."""
    house = house_or_404(flock, house_id)
    told = get_object_or_404(
        HousingChange.objects.select_related("flock"),
        house=house,
        on=_day_or_404(on),
        planned=False,
    )
    services.delete_change(change=told, by=request.user)
    messages.success(request, "Deleted. What stands in the house is as it was.")
    return redirect("housing:house", flock.pk, house.pk)


@require_POST
@form_page
def change_why(request, flock, house_id, on):
    """By one tap: what made the house drier on that day, or that nobody did anything."""
    house, day = house_or_404(flock, house_id), _day_or_404(on)
    kind = request.POST.get("kind", "")
    if kind not in dict(WHYS) or day not in record_of(house).days:
        raise Http404("There is no such button.")
    told = HousingChange(flock=flock, house=house, kind=kind, keeper=request.user)
    services.change_features(
        house=house, on=day, changes={}, told=told, by=request.user, today=timezone.localdate()
    )
    messages.success(request, f"Saved: {dict(WHYS)[kind]}, {date_words(day)}.")
    return redirect("housing:house", flock.pk, house.pk)


def _day_or_404(text: str) -> dt.date:
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise Http404("No such day.") from None


# Corrections


@form_page
def correct(request, flock, house_id):
    """What was written down wrongly: choose which description it is."""
    house = house_or_404(flock, house_id)
    record = record_of(house)
    entries = [
        (
            feature,
            [
                (state, description(state, flock.units))
                for state in reversed(record.states.get(feature.pk, []))
            ],
        )
        for feature in record.features
    ]
    return render(
        request,
        "housing/correct.html",
        {
            "here": "houses",
            "house": house,
            "entries": entries,
            "days": record.days[::-1],
            "stays": [
                (stay, services.span(stay))
                for stay in house.stay_set.select_related("bird").order_by(Lower("bird__name"))
            ],
        },
    )


@form_page
def state_correct(request, flock, state_id):
    state = _state_or_404(flock, state_id)
    form = StateForm(request.POST or None, state=state, units=flock.units)
    if form.is_valid() and saved(
        form, services.correct_state, state=form.corrected(), by=request.user, basis=form.basis
    ):
        messages.success(request, "Corrected. The house itself did not change by this.")
        return redirect("housing:feature", flock.pk, state.feature_id)
    return render(
        request,
        "housing/state.html",
        {"here": "houses", "form": form, "state": state, "feature": state.feature},
    )


@require_POST
@form_page
def state_delete(request, flock, state_id):
    state = _state_or_404(flock, state_id)
    try:
        services.delete_state(state=state, by=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
        return redirect("housing:state", flock.pk, state.pk)
    messages.success(request, "Deleted. The earlier description applies again.")
    return redirect("housing:feature", flock.pk, state.feature_id)


def _state_or_404(flock, state_id) -> FeatureState:
    states = FeatureState.objects.select_related("feature__house", "flock")
    return get_object_or_404(states, flock=flock, pk=state_id)


# Walks


@form_page
def walk(request, flock, house_id):
    """Look for what hurts feet; each answer becomes part of a dated state."""
    house = house_or_404(flock, house_id)
    today = timezone.localdate()
    try:
        layout, refused = record_of(house).on(today), ""
    except NotRecorded as error:
        layout, refused = [], str(error)
    form = WalkForm(request.POST or None, today=today)
    parts = _walk_parts(request, layout, flock.units)
    valid = [form.is_valid(), *(answers.is_valid() for _, answers, _ in parts)]
    if request.method == "POST" and all(valid):
        found = {feature: answers.changed() for feature, answers, _ in parts if answers.touched}
        walked = Walk(
            flock=flock,
            house=house,
            on=form.cleaned_data["on"],
            note=form.cleaned_data["note"],
            keeper=request.user,
        )
        if saved(
            form, services.save_walk, walk=walked, answers=found, by=request.user, today=today
        ):
            messages.success(request, _walk_words(house, found))
            return redirect("housing:house", flock.pk, house.pk)
    return render(
        request,
        "housing/walk.html",
        {
            "here": "houses",
            "house": house,
            "form": form,
            "refused": refused,
            "parts": parts,
            "items": ITEMS,
        },
        status=422 if form.is_bound else 200,
    )


def _walk_parts(request, layout, units: str) -> list[tuple]:
    """Each feature that has questions, its form, and the fields of the form by question."""
    parts: list[tuple] = []
    told: list = []
    for feature, state in layout:
        items = items_for(feature, state)
        if not items:
            continue
        answers = DescriptionForm(
            request.POST or None,
            names=[name for item in items for name in item.fields],
            kind=feature.kind,
            units=units,
            state=state,
            chips=True,
            prefix=feature.pk.hex,
        )
        # How to check is said once, not again for each roost.
        for item in items:
            if item not in told:
                answers.fields[item.fields[0]].help_text = item.look
                told.append(item)
        asked = [(item, [answers[name] for name in item.fields]) for item in items]
        parts.append((feature, answers, asked))
    return parts


def _walk_words(house, found: dict) -> str:
    if not found:
        return f"The walk through {house} is saved: all as recorded."
    names = ", ".join(feature.name for feature in found)
    return f"The walk through {house} is saved. Updated: {names}."


# Plans


@require_POST
@form_page
def plan_done(request, flock, plan_id):
    plan = _plan_or_404(flock, plan_id)
    today = timezone.localdate()
    form = ChangeForm(
        {"on": request.POST.get("on", ""), "kind": plan.kind, "note": plan.note}, today=today
    )
    try:
        if not form.is_valid():
            raise ValidationError(form.errors["on"])
        services.carry_out(plan=plan, on=form.cleaned_data["on"], by=request.user, today=today)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        words = date_words(form.cleaned_data["on"])
        messages.success(request, f"The plan is now a change from {words} on.")
    return redirect("housing:house", flock.pk, plan.house_id)


@require_POST
@form_page
def plan_drop(request, flock, plan_id):
    plan = _plan_or_404(flock, plan_id)
    services.drop_plan(plan=plan, by=request.user)
    messages.success(request, "The plan is deleted. Nothing in the house changed.")
    return redirect("housing:house", flock.pk, plan.house_id)


def _plan_or_404(flock, plan_id) -> HousingChange:
    plans = HousingChange.objects.filter(planned=True).select_related("house", "flock", "keeper")
    return get_object_or_404(plans, flock=flock, pk=plan_id)
