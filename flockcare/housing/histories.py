"""Houses, what stands in them and stays in a keeper's words; see ``people.kinds``."""

from functools import partial

from django.utils import timezone

from flockcare.housing import services
from flockcare.housing.changes import value_text
from flockcare.housing.features import LENGTHS
from flockcare.housing.models import (
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
from flockcare.people.kinds import NOTHING, Kind, Names

OF_A_FLOOR = ("floor_length_cm", "floor_width_cm", "wall_height_cm", "floor_height_cm")


def _value(name: str, value, names: Names) -> str:
    return "" if value is None else value_text(name, value, units=names.flock.units)


def _floor(value, names: Names) -> str:
    return _value("length_cm", value, names)


def _change_words(change, *, by, basis, kept) -> None:
    if change.planned:
        services.change_plan(plan=change, by=by, basis=basis)
        return
    on = HousingChange.objects.values_list("on", flat=True).get(pk=change.pk)
    services.correct_change(
        house=change.house,
        on=on,
        told=change,
        by=by,
        today=_today(change),
        basis=basis,
    )


def _today(record):
    return timezone.localdate(timezone=record.flock.zone)


def _bring_back_with_photos(record, *, by, kept) -> None:
    services.bring_back_with_photos(record=record, by=by, kept=kept)


def _place(house, names: Names) -> str:
    return names.of(House, house) if house else "whole flock"


def _event_words(said: dict) -> str:
    return said["kind"] if said["what"] == NOTHING else said["what"]


def _change_page(change):
    if change.planned:
        return "housing:house", change.house_id
    return "housing:change_tell", change.house_id, change.on.isoformat()


KINDS = (
    Kind(
        House,
        title=lambda said: said["name"],
        page=lambda house: ("housing:house", house.pk),
        words=dict.fromkeys(OF_A_FLOOR, _floor),
    ),
    Kind(
        Feature,
        title=lambda said: f"{said['house_id']}: {said['name']}",
        page=lambda feature: ("housing:feature", feature.pk),
    ),
    Kind(
        FeatureState,
        title=lambda said: f"{said['feature_id']} from {said['since']}",
        page=lambda state: ("housing:feature", state.feature_id),
        words={name: partial(_value, name) for name in (*LENGTHS, "moisture_percent")},
    ),
    Kind(
        PlannedState,
        title=lambda said: f"{said['feature_id']}, planned",
        page=lambda state: ("housing:house", state.change.house_id),
        words={name: partial(_value, name) for name in (*LENGTHS, "moisture_percent")},
    ),
    Kind(
        HousingChange,
        title=lambda said: f"{said['house_id']}: change of {said['on']}",
        page=_change_page,
        hidden=frozenset({"made_at"}),
        labels={"keeper_id": "Recorded by"},
        parts=("photos",),
        change=_change_words,
        bring_back=_bring_back_with_photos,
    ),
    Kind(
        Event,
        title=lambda said: f"{_event_words(said)}, {said['on']}",
        page=lambda event: ("housing:event", event.pk),
        holding=frozenset({"house_id"}),
        labels={"keeper_id": "Logged by"},
        words={"house_id": _place},
        parts=("photos",),
        change=lambda event, *, by, basis, kept: services.change_event(
            event=event, by=by, today=_today(event), basis=basis
        ),
        bring_back=_bring_back_with_photos,
    ),
    Kind(
        Wetness,
        title=lambda said: f"{said['house_id']}: {said['level']}, {said['on']}",
        page=lambda wetness: ("housing:wetness", wetness.house_id),
        labels={"keeper_id": "Checked by"},
    ),
    Kind(
        EggCount,
        title=lambda said: f"{said['house_id']}: {said['eggs']} eggs, {said['on']}",
        page=lambda eggs: ("housing:eggs", eggs.house_id),
        labels={"keeper_id": "Counted by"},
    ),
    Kind(
        Walk,
        title=lambda said: f"Walk through {said['house_id']}, {said['on']}",
        page=lambda walk: ("housing:house", walk.house_id),
        labels={"keeper_id": "Checked by"},
    ),
    Kind(
        Stay,
        title=lambda said: f"{said['bird_id']} in {said['house_id']}",
        page=lambda stay: ("housing:stays", stay.bird_id),
        change=lambda stay, *, by, basis, kept: services.correct_stay(
            stay=stay, by=by, basis=basis
        ),
        bring_back=lambda stay, *, by, kept: services.bring_back_stay(stay=stay, by=by, kept=kept),
    ),
)
