"""Every write about houses, what stands in them and which birds live where."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q

from flockcare.birds.models import Bird
from flockcare.core.dates import PartialDate
from flockcare.drawing.dates import date_words
from flockcare.housing.models import (
    ChangeKind,
    EggCount,
    Event,
    Feature,
    FeatureState,
    House,
    HousingChange,
    PlannedState,
    Stay,
    Walk,
    Wetness,
)
from flockcare.people import history
from flockcare.people.models import Flock
from flockcare.photos.models import Photo

# What carries a description from one state to the next; a note belongs to its own day.
DESCRIPTION = [
    field.name
    for field in PlannedState._meta.get_fields()
    if field.name not in {"id", "flock", "change", "feature", "name", "kind", "note"}
]


# Houses and features


@transaction.atomic
def add_house(*, house: House) -> None:
    house.full_clean()
    house.save()


@transaction.atomic
def set_up_house(
    *, house: House, things: Iterable[tuple[Feature, FeatureState]], today: dt.date
) -> None:
    """A new house with all that stands in it and how each thing is."""
    add_house(house=house)
    for feature, state in things:
        add_feature(feature=feature, state=state, today=today)


@transaction.atomic
def edit_house(*, house: House, by, basis=None) -> None:
    history.change(house, by=by, basis=basis)


@history.changeset()
def delete_house(*, house: House, by) -> None:
    """ValidationError while birds live or lived in it."""
    if Stay.objects.filter(house=house).exists():
        raise ValidationError(
            f"Birds live or lived in {house}, so it stays. Correct their stays first if it was "
            "a mistake."
        )
    for feature in Feature.objects.filter(house=house).select_related("flock"):
        delete_feature(feature=feature, by=by)
    for told in house.changes.select_related("flock"):
        _delete_told(told, by=by)
    for event in house.events.select_related("flock"):
        delete_event(event=event, by=by)
    for records in (house.walks, house.wetness, house.egg_counts):
        for record in records.select_related("flock"):
            history.delete(record, by=by)
    history.delete(house, by=by)


@transaction.atomic
def add_feature(*, feature: Feature, state: FeatureState, today: dt.date) -> None:
    """A new feature with its first state."""
    _not_to_come(state.since, today)
    feature.full_clean()
    feature.save()
    state.feature = feature
    state.full_clean()
    state.save()


@transaction.atomic
def edit_feature(*, feature: Feature, by, basis=None) -> None:
    history.change(feature, by=by, basis=basis)


@history.changeset()
def delete_feature(*, feature: Feature, by) -> None:
    """It was never there: its states go too. What was taken away is a change, not this."""
    for state in (
        *feature.states.select_related("flock"),
        *PlannedState.objects.filter(feature=feature).select_related("flock"),
    ):
        history.delete(state, by=by)
    history.delete(feature, by=by)


# Changes in the world


@history.changeset()
def change_features(
    *,
    house: House,
    on: dt.date,
    changes: dict[Feature, dict],
    told: HousingChange | None,
    by,
    today: dt.date,
) -> list[FeatureState]:
    """From ``on`` each feature is as before but for the given values; gives the new states.

    ``told`` (kind, note) is kept with that day; on a day that has words already they are joined.
    States that begin later stay as they are. Raises ValidationError for a day to come and for a
    feature that nobody had described by then.
    """
    _not_to_come(on, today)
    made = [
        _state_from(feature, on, values, by=by) for feature, values in changes.items() if values
    ]
    if told is not None:
        _tell(house, on, told, by=by)
    return made


def _state_from(feature: Feature, on: dt.date, values: dict, *, by) -> FeatureState:
    held = feature.states.filter(since__lte=on).order_by("-since").first()
    if held is None and feature.states.exists():
        raise ValidationError(
            f"{feature.name} was first described later than {date_words(on)}. "
            "Correct the day of its first description if it was there before."
        )
    if held and held.since == on:
        for name, value in values.items():
            setattr(held, name, value)
        history.change(held, by=by)
        return held
    state = FeatureState(flock=feature.flock, feature=feature, since=on)
    if held:
        for name in DESCRIPTION:
            setattr(state, name, getattr(held, name))
    for name, value in values.items():
        setattr(state, name, value)
    state.full_clean()
    state.save()
    return state


def _tell(house: House, on: dt.date, told: HousingChange, *, by) -> None:
    _one_at_a_time(house)
    kept = HousingChange.objects.filter(house=house, on=on, planned=False).first()
    if kept is None:
        told.house, told.flock, told.on, told.planned = house, house.flock, on, False
        told.full_clean()
        told.save()
        return
    if told.kind:
        kept.kind = told.kind if kept.kind in ("", told.kind) else ChangeKind.SEVERAL
    kept.note = "\n".join(filter(None, (kept.note, told.note)))
    history.change(kept, by=by)


@transaction.atomic
def keep_photos(*, record: HousingChange | Event, photos: Iterable, without: Iterable = ()) -> None:
    """Put photos to a change or an event, and take others from it. The photos themselves stay."""
    record.photos.add(*photos)
    Photo.objects.filter(pk__in=[photo.pk for photo in photos], bird=None).update(of_house=True)
    record.photos.remove(*without)


@history.changeset()
def add_photos_of_house(
    *, house: House, photos: dict[dt.date, list[Photo]], by, today: dt.date
) -> None:
    """Photos by the day that they show; each is put to what keepers say of that day."""
    for on, taken in photos.items():
        _not_to_come(on, today)
        _one_at_a_time(house)
        said = HousingChange.objects.filter(house=house, on=on, planned=False)
        if not said.exists():
            _tell(house, on, HousingChange(keeper=by), by=by)
        keep_photos(record=said.get(), photos=taken)


def _one_at_a_time(house: House) -> None:
    """Of two who say something of one day the second waits, and then sees what the first said."""
    House.objects.select_for_update().filter(pk=house.pk).first()


# Corrections


@transaction.atomic
def correct_state(*, state: FeatureState, by, basis=None) -> None:
    """What was written down was wrong; the world did not change."""
    history.change(state, by=by, basis=basis)


@history.changeset()
def correct_places(*, moved: dict[Feature, dict], on: dt.date, by) -> None:
    """Heights and places of features were always as given, as far back as they were said alike."""
    for feature, values in moved.items():
        states = list(feature.states.filter(since__lte=on).order_by("-since"))
        for name, value in values.items():
            # Where it stood nobody may have said before.
            alike = {getattr(states[0], name), *([None] if name == "along_cm" else [])}
            for state in states:
                if getattr(state, name) not in alike:
                    break
                setattr(state, name, value)
        for state in states:
            history.change(state, by=by)


@transaction.atomic
def delete_state(*, state: FeatureState, by) -> None:
    """This never was so: the state before holds on. The only one goes with its feature."""
    if state.feature.states.count() == 1:
        raise ValidationError(
            f"This is all that is recorded about {state.feature.name}. Remove it as a whole "
            "if it never was there."
        )
    history.delete(state, by=by)


@history.changeset()
def correct_change(
    *, house: House, on: dt.date, told: HousingChange, by, today: dt.date, basis=None
) -> None:
    """The day, kind or note of a change was wrong; ``told.on`` is the right day.

    The states of the old day move with it. Refused where a feature would jump over another of
    its states.
    """
    if not told._state.adding:
        history.settle(told, basis=basis)
    if told.on != on:
        _not_to_come(told.on, today)
        _move_states(house, on, told.on, by=by)
    other = HousingChange.objects.filter(house=house, on=told.on, planned=False)
    if other.exclude(pk=told.pk).exists():
        raise ValidationError(f"{date_words(told.on)} already has a note. Delete it first.")
    if told._state.adding:
        told.full_clean()
        told.save()
    else:
        history.change(told, by=by)


def _move_states(house: House, old: dt.date, new: dt.date, *, by) -> None:
    low, high = min(old, new), max(old, new)
    moving = FeatureState.objects.filter(feature__house=house, since=old)
    for state in moving.select_related("feature", "flock"):
        between = Q(since__range=(low, high)) & ~Q(pk=state.pk)
        if state.feature.states.filter(between).exists():
            raise ValidationError(
                f"{state.feature.name} has another description between these days."
            )
        state.since = new
        history.change(state, by=by)


@history.changeset()
def delete_change(*, change: HousingChange, by) -> None:
    """Take back note, kind and photos of a day; the states of that day stay, so do the photos."""
    _delete_told(change, by=by)


def _delete_told(change: HousingChange, *, by) -> None:
    for state in change.planned_states.select_related("flock"):
        history.delete(state, by=by)
    history.delete(change, by=by, before=snapshot(change))


def snapshot(record: HousingChange | Event) -> dict:
    """All that is said of a day, or of what happened, as the history keeps it."""
    return {**history.values(record), "photos": [photo.pk for photo in record.photos.all()]}


@transaction.atomic
def bring_back_with_photos(*, record: HousingChange | Event, by, kept: dict) -> None:
    """The reverse of ``delete_change``, ``drop_plan`` and ``delete_event``."""
    history.bring_back(record, by=by, kept=kept)
    photos = Photo.objects.filter(flock=record.flock_id, pk__in=kept.get("photos", ()))
    keep_photos(record=record, photos=photos)


# Plans


@transaction.atomic
def plan_change(*, change: HousingChange, states: Iterable[PlannedState]) -> None:
    """Keep a change that is only meant, with what each feature is to become."""
    change.planned = True
    change.full_clean()
    change.save()
    for state in states:
        state.flock, state.change = change.flock, change
        state.full_clean()
        state.save()


@history.changeset()
def make_change(
    *, change: HousingChange, states: Iterable[PlannedState], on: dt.date, by, today: dt.date
) -> None:
    """What was only sketched has been done on ``on``."""
    plan_change(change=change, states=states)
    carry_out(plan=change, on=on, by=by, today=today)


@transaction.atomic
def change_plan(*, plan: HousingChange, by, basis=None) -> None:
    """Its day, kind or note."""
    history.change(plan, by=by, basis=basis)


@history.changeset()
def carry_out(*, plan: HousingChange, on: dt.date, by, today: dt.date) -> None:
    """The plan has been done on ``on``: it becomes a change of the house."""
    _not_to_come(on, today)
    if not HousingChange.objects.select_for_update().filter(pk=plan.pk).first():
        raise ValidationError("Somebody has just done this or deleted the plan.")
    for planned in plan.planned_states.select_related("feature__flock"):
        values = {name: getattr(planned, name) for name in DESCRIPTION}
        feature = planned.feature
        if feature is None:
            feature = Feature(
                flock=plan.flock, house=plan.house, name=planned.name, kind=planned.kind
            )
            feature.full_clean()
            feature.save()
        _state_from(feature, on, values | {"note": planned.note}, by=by)
    told = HousingChange(kind=plan.kind, note=plan.note, keeper=plan.keeper)
    _tell(plan.house, on, told, by=by)
    change = HousingChange.objects.get(house=plan.house, on=on, planned=False)
    change.photos.add(*plan.photos.all())
    plan.delete()


@history.changeset()
def drop_plan(*, plan: HousingChange, by) -> None:
    _delete_told(plan, by=by)


# Walks


@history.changeset()
def save_walk(
    *, walk: Walk, answers: dict[Feature, dict], by, today: dt.date
) -> list[FeatureState]:
    """Keep that somebody looked, and what was found otherwise than written down.

    A second walk of a day is joined to the first.
    """
    made = change_features(
        house=walk.house, on=walk.on, changes=answers, told=None, by=by, today=today
    )
    _one_at_a_time(walk.house)
    kept = Walk.objects.filter(house=walk.house, on=walk.on).first()
    if kept is None:
        walk.full_clean()
        walk.save()
    elif walk.note and walk.note not in kept.note:
        kept.note = "\n".join(filter(None, (kept.note, walk.note)))
        history.change(kept, by=by)
    return made


# What happened, and how wet it was


@transaction.atomic
def log_event(*, event: Event, today: dt.date) -> Event:
    """Something happened. The same again on that day, by whomever, is what is on record already."""
    _not_to_come(event.on, today)
    Flock.objects.select_for_update().filter(pk=event.flock_id).first()
    same = Event.objects.filter(
        flock=event.flock_id, house=event.house, on=event.on, kind=event.kind
    )
    same = same.filter(what__iexact=event.what).first()
    if same is None:
        event.full_clean()
        event.save(force_insert=True)
    return same or event


@transaction.atomic
def change_event(*, event: Event, by, today: dt.date, basis=None) -> None:
    _not_to_come(event.on, today)
    history.change(event, by=by, basis=basis)


@transaction.atomic
def end_spell(*, event: Event, on: dt.date, by) -> None:
    """``on`` was its last day. One that is over already stays as it is."""
    stored = history.settle(event, basis=None)
    if stored.goes_on:
        event.until = max(on, event.on)
        history.change(event, by=by)


@transaction.atomic
def delete_event(*, event: Event, by) -> None:
    history.delete(event, by=by, before=snapshot(event))


@transaction.atomic
def log_wetness(*, wetness: Wetness, by, today: dt.date) -> Wetness:
    """How wet it is in a house; said again on that day, it is corrected."""
    return _told_of_a_day(wetness, "level", by, today)


def _told_of_a_day(told, name: str, by, today: dt.date):
    """Save it; where that house has one of that day, ``name`` is corrected there instead."""
    _not_to_come(told.on, today)
    _one_at_a_time(told.house)
    kept = type(told).objects.filter(house=told.house, on=told.on).first()
    if kept is None:
        told.full_clean()
        told.save(force_insert=True)
        return told
    setattr(kept, name, getattr(told, name))
    history.change(kept, by=by)
    return kept


@transaction.atomic
def change_wetness(*, wetness: Wetness, by, today: dt.date, basis=None) -> None:
    _not_to_come(wetness.on, today)
    history.change(wetness, by=by, basis=basis)


@transaction.atomic
def log_eggs(*, eggs: EggCount, by, today: dt.date) -> EggCount:
    """How many eggs there were in a house; said again on that day, it is corrected."""
    return _told_of_a_day(eggs, "eggs", by, today)


@transaction.atomic
def change_eggs(*, eggs: EggCount, by, today: dt.date, basis=None) -> None:
    _not_to_come(eggs.on, today)
    history.change(eggs, by=by, basis=basis)


@transaction.atomic
def delete_eggs(*, eggs: EggCount, by) -> None:
    history.delete(eggs, by=by)


@transaction.atomic
def delete_wetness(*, wetness: Wetness, by) -> None:
    history.delete(wetness, by=by)


# Who lives where


@history.changeset()
def move_birds(*, birds: Iterable[Bird], house: House, on: dt.date, by, today: dt.date) -> int:
    """From ``on`` they live in ``house``; how many really moved.

    What she left ends on the same day, which counts for the new house. Raises ValidationError
    for all of them when it cannot be for one.
    """
    _not_to_come(on, today)
    # In one order, so that two who move the same birds do not wait for each other.
    return sum(_move(bird, house, on, by=by) for bird in sorted(birds, key=lambda bird: bird.pk))


def _move(bird: Bird, house: House, on: dt.date, *, by) -> bool:
    _may_live_here(bird, on)
    stays = list(Stay.objects.filter(bird=bird).select_related("house", "flock"))
    later = [stay for stay in stays if stay.since and stay.since > on]
    if later:
        raise ValidationError(
            f"{bird} has moved again since, to {later[0].house} on "
            f"{date_words(later[0].since)}. Correct that first."
        )
    held = next((stay for stay in stays if _covers(stay, on)), None)
    if held and held.house_id == house.pk:
        return False
    if held and held.since == on:
        # Moved twice on one day: only where she slept counts.
        held.house = house
        history.change(held, by=by)
        return True
    if held:
        held.until = on
        history.change(held, by=by)
    stay = Stay(flock=bird.flock, bird=bird, house=house, since=on)
    stay.full_clean()
    stay.save()
    return True


def _may_live_here(bird: Bird, on: dt.date) -> None:
    hatched = bird.hatched and PartialDate.parse(bird.hatched).first()
    if hatched and on < hatched:
        raise ValidationError(f"{bird} had not hatched on {date_words(on)} yet.")
    left = bird.left and PartialDate.parse(bird.left).last()
    if left and on > left:
        raise ValidationError(f"{bird} had left the flock before {date_words(on)}.")


def _covers(stay: Stay, day: dt.date) -> bool:
    return (stay.since is None or stay.since <= day) and (stay.until is None or day < stay.until)


@transaction.atomic
def correct_stay(*, stay: Stay, by, basis=None) -> None:
    """ValidationError, in words, when she would have lived in two houses at once."""
    history.settle(stay, basis=basis)
    stay.full_clean()
    require_one_house(stay, _other_stays(stay))
    history.change(stay, by=by)


def _other_stays(stay: Stay) -> Iterable[Stay]:
    return Stay.objects.filter(bird=stay.bird_id).exclude(pk=stay.pk).select_related("house")


def require_one_house(stay: Stay, others: Iterable[Stay]) -> None:
    """ValidationError when one of the bird's other stays holds on a day of this one."""
    for other in others:
        if overlap(stay, other):
            who = stay.bird.pronouns.subject.capitalize()
            raise ValidationError(f"{who} lived in {other.house} at that time: {span(other)}.")


@transaction.atomic
def bring_back_stay(*, stay: Stay, by, kept: dict) -> None:
    """The reverse of ``delete_stay``; ValidationError as for a correction."""
    require_one_house(stay, _other_stays(stay))
    history.bring_back(stay, by=by, kept=kept)


@transaction.atomic
def delete_stay(*, stay: Stay, by) -> None:
    history.delete(stay, by=by)


@history.changeset()
def end_stays(*, bird: Bird, on: dt.date, by) -> None:
    """She left the flock on ``on``: nothing she lives in goes on after that day."""
    for stay in Stay.objects.filter(bird=bird, until=None).select_related("flock"):
        if stay.since is None or stay.since <= on:
            stay.until = on
            history.change(stay, by=by)


@transaction.atomic
def resume_stay(*, bird: Bird, by, ended) -> None:
    """She is in the flock again: what ``end_stays`` ended goes on, if nothing stands against it.

    ``ended``: of a stay's key, the change by which her leaving ended it, or None.
    """
    stays = list(Stay.objects.filter(bird=bird).select_related("house", "flock"))
    for stay in stays:
        end = ended(stay.pk) if stay.until else None
        if end is None or end.before.get("until"):
            continue
        was, stay.until = stay.until, None
        if any(overlap(stay, other) for other in stays if other is not stay):
            stay.until = was
            continue
        history.change(stay, by=by)
        return


def overlap(one: Stay, other: Stay) -> bool:
    """Whether both hold on some day; that one ends on the day the other begins is no overlap."""
    if one.since is not None and one.since == other.since:
        return True
    return _begins_before_end(one, other) and _begins_before_end(other, one)


def _begins_before_end(one: Stay, other: Stay) -> bool:
    return one.since is None or other.until is None or one.since < other.until


def span(stay: Stay) -> str:
    """``from 1 May 2026 until 3 Jun 2026``, ``since 1 May 2026``."""
    if stay.until:
        since = f"from {date_words(stay.since)}" if stay.since else "from the beginning"
        return f"{since} until {date_words(stay.until)}"
    return f"since {date_words(stay.since)}" if stay.since else "from the beginning"


def _not_to_come(day: dt.date, today: dt.date) -> None:
    if day > today:
        raise ValidationError(
            "This day is in the future. What you only mean to do can be saved as a plan."
        )
