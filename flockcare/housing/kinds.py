"""Houses, what stands in them and stays in a keeper's words; see ``people.kinds``."""

from functools import partial

from flockcare.housing.changes import value_text
from flockcare.housing.features import LENGTHS
from flockcare.housing.models import Feature, FeatureState, House, HousingChange, Stay, Walk
from flockcare.people.kinds import Kind, Names, register

OF_A_FLOOR = ("floor_length_cm", "floor_width_cm")


def _value(name: str, value, names: Names) -> str:
    return "" if value is None else value_text(name, value, units=names.flock.units)


def _floor(value, names: Names) -> str:
    return _value("length_cm", value, names)


def _change_page(change):
    if change.planned:
        return "housing:house", change.house_id
    return "housing:change_tell", change.house_id, change.on.isoformat()


register(
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
        HousingChange,
        title=lambda said: f"{said['house_id']}: change of {said['on']}",
        page=_change_page,
        hidden=frozenset({"made_at"}),
        labels={"keeper_id": "Written down by"},
    ),
    Kind(
        Walk,
        title=lambda said: f"Walk through {said['house_id']}, {said['on']}",
        page=lambda walk: ("housing:house", walk.house_id),
        labels={"keeper_id": "Who looked"},
    ),
    Kind(
        Stay,
        title=lambda said: f"{said['bird_id']} in {said['house_id']}",
        page=lambda stay: ("housing:stays", stay.bird_id),
    ),
)
