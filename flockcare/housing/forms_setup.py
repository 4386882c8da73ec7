"""Input for a house as a whole: a row for each thing that stands in it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import fields, replace

from django import forms

from flockcare.core.forms import KeeperForm
from flockcare.core.lines import one_line
from flockcare.housing.features import ASKED, FIELDS
from flockcare.housing.forms import DayField, DescriptionForm, HouseForm
from flockcare.housing.forms_arrange import MOVED, draggable
from flockcare.housing.layout import Layout, Place
from flockcare.housing.models import Feature, FeatureKind, FeatureState, House
from flockcare.housing.shapes import Shape, Thing
from flockcare.housing.units import in_unit

# Told by where things stand, or measured by hardly anybody.
NEVER = {"spacing_cm", "wall_cm", "moisture_percent"}
# What of the house itself the drawing shows.
WALLS = {
    "floor_length_cm": "length_cm",
    "wall_height_cm": "wall_cm",
    "floor_height_cm": "raised_cm",
}
DRAWN = {field.name for field in fields(Place)} - {"name", "kind"}
SHORT = {
    "height_cm": "Height",
    "along_cm": "From the left wall",
    "bedding_depth_cm": "Depth",
    "floor_length_cm": "Floor length",
    "floor_width_cm": "Floor width",
    "wall_height_cm": "Wall height",
    "floor_height_cm": "Floor above ground",
}


BROAD = {FeatureKind.RAMP, FeatureKind.STEP, FeatureKind.BOARD}


def _shorten(fields) -> None:
    """Many stand beside each other, below what they are of."""
    for name, field in fields.items():
        if name in SHORT:
            field.label = in_unit(SHORT[name], field.bare)
            field.help_text = ""


def _where(thing: Thing) -> str:
    """What is measured from the wall: of what is broad its middle."""
    return "Middle, from left wall" if thing.kind in BROAD else SHORT["along_cm"]


class ThingForm(DescriptionForm):
    """One thing that stands in a house of this shape, with its usual figures; or not."""

    def __init__(self, data: Mapping | None, *, thing: Thing, units: str, prefix: str):
        self.thing = thing
        asked = ASKED[thing.kind]
        further = [name for name in FIELDS[thing.kind] if name not in (*asked, *NEVER)]
        super().__init__(
            data,
            names=[*asked, *further],
            kind=thing.kind,
            units=units,
            prefix=prefix,
            chips=True,
            initial={"there": not thing.spare, "name": thing.name, **thing.values},
        )
        self.fields["there"] = forms.BooleanField(label=thing.name, required=False)
        self.fields["name"] = forms.CharField(
            max_length=60,
            validators=[one_line],
            error_messages={"required": "Give it a name."},
        )
        _shorten(self.fields)
        for name in MOVED.keys() & self.fields.keys():
            draggable(self.fields[name], name)
        if "along_cm" in self.fields:
            along = self.fields["along_cm"]
            along.label = in_unit(_where(thing), along.bare)
        for field in self.fields.values():
            # Many rows stand below each other: a list to choose from takes less room than chips.
            if isinstance(field, forms.ChoiceField):
                field.widget = forms.Select(choices=field.choices)
        self.asked = [self[name] for name in asked]
        self.further = [self["name"], *(self[name] for name in further)]

    @property
    def is_there(self) -> bool:
        return bool(self.cleaned_data.get("there"))

    def place(self) -> Place:
        """As it is typed; what cannot be read is as usual, and its name stays the usual one."""
        typed = {**self.thing.values}
        if self.is_bound:
            self.is_valid()
            typed |= {name: said for name, said in self.cleaned_data.items() if name in DRAWN}
        return Place(self.thing.name, str(self.thing.kind), **typed)

    def feature(self, house: House, since: dt.date) -> tuple[Feature, FeatureState]:
        feature = Feature(
            flock=house.flock, house=house, name=self.cleaned_data["name"], kind=self.thing.kind
        )
        said = {name: self.cleaned_data[name] for name in self.names}
        return feature, FeatureState(flock=house.flock, since=since, **said)


class SinceForm(KeeperForm):
    def __init__(self, data=None, *, today: dt.date, **kwargs):
        super().__init__(data, initial={"since": today}, use_required_attribute=False, **kwargs)
        self.fields["since"] = DayField(
            today=today,
            label="Like this since",
            help_text="The first day you know it was so.",
        )


class SetUp:
    """The form for a whole house: the house, the day, and a row for each thing."""

    def __init__(self, data: Mapping | None, *, shape: Shape, flock, today: dt.date):
        new = House(flock=flock, shape=shape.key, **shape.house)
        self.shape = shape
        self.house = HouseForm(data, instance=new)
        del self.house.fields["shape"]
        _shorten(self.house.fields)
        if "floor_height_cm" not in shape.house:
            del self.house.fields["floor_height_cm"]
        self.since = SinceForm(data, today=today)
        self.things = [
            ThingForm(data, thing=thing, units=flock.units, prefix=f"t{number}")
            for number, thing in enumerate(shape.things)
        ]

    def tried(self) -> Layout:
        """The house with what could be read."""
        usual = self.shape.layout()
        if not self.house.is_bound:
            return usual
        self.house.is_valid()
        walls = {
            WALLS[name]: said for name, said in self.house.cleaned_data.items() if name in WALLS
        }
        there = [form for form in self.things if form.data.get(form.add_prefix("there"))]
        return replace(usual, places=tuple(form.place() for form in there), **walls)

    def is_valid(self) -> bool:
        valid = [form.is_valid() for form in (self.house, self.since)]
        # What is not there need not be right.
        valid += [form.is_valid() or not form.is_there for form in self.things]
        return all(valid) and self._names_differ()

    def _names_differ(self) -> bool:
        taken: set[str] = set()
        there = [form for form in self.things if form.is_there]
        for form in there:
            name = form.cleaned_data["name"].lower()
            if name in taken:
                form.add_error("name", "This house has something of that name already.")
            taken.add(name)
        return not any(form.errors for form in there)

    def features(self) -> list[tuple[Feature, FeatureState]]:
        since = self.since.cleaned_data["since"]
        house = self.house.instance
        return [form.feature(house, since) for form in self.things if form.is_there]
