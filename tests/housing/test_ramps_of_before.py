"""What was a step by kind and a ramp by its given name becomes a ramp."""

from importlib import import_module
from types import SimpleNamespace

from django.apps import apps
from django.db import connection

from flockcare.housing.models import Feature
from tests.housing.rows import feature, house

migration = import_module("flockcare.housing.migrations.0009_ramps_are_walked")


def test_ramps_and_ladders_are_told_by_the_names_they_were_given(cast):
    shed = house(cast.flock)
    for name in ("Ramp", "ramp 2", "Ladder", "Ramp edge", "Old ladder", "Step"):
        feature(shed, name, "step")
    feature(shed, "Ramp 3", "roost")
    migration.ramps(apps, SimpleNamespace(connection=connection))
    assert set(Feature.objects.filter(kind="ramp").values_list("name", flat=True)) == {
        *("Ramp", "ramp 2", "Ladder"),
    }
    assert Feature.objects.get(name="Ramp 3").kind == "roost"
