"""Input of the scratch copy of a house: what it would be, and what no landing should exceed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from django import forms
from django.core.exceptions import ValidationError

from flockcare.analysis.landing import JOULES_PER_FOOT_POUND
from flockcare.core.forms import KeeperForm
from flockcare.housing.elevation import whereabouts
from flockcare.housing.flags import SAFE_DROP_CM
from flockcare.housing.forms import LengthField, description_field, length_field
from flockcare.housing.forms_arrange import MOVED, draggable
from flockcare.housing.layout import STEP, Layout, Place, bedding_of
from flockcare.housing.models import GROUND, Feature, FeatureKind, FeatureState
from flockcare.housing.units import MM, bare_unit, in_unit
from flockcare.housing.whatif import Limit
from flockcare.people.models import Units

HIGHEST_CM = 300  # As far as the slider of a height goes.
ON_STANDS = {"height_cm": "h", "along_cm": "a", "run_cm": "r"}
ON_GROUND = {"bedding": "b", "bedding_depth_cm": "d", "damp": "w"}
# Each stands below the name of its feature, so one word will do.
SHORT = {
    "height_cm": "Height",
    "along_cm": "From the left wall",
    "run_cm": "Level distance",
    "bedding_depth_cm": "Depth",
}


def _names(feature: Feature) -> dict[str, str]:
    return ON_GROUND if feature.kind in GROUND else ON_STANDS


def _slider(field: LengthField, most_cm: float) -> None:
    """What the script needs to put a slider beside the field; in the unit that is typed."""
    per = float(MM[field.bare]) / 10
    field.widget.attrs |= {
        "data-slider": f"{most_cm / per:.0f}",
        "data-step": "0.5" if field.bare == "in" else "1",
    }


def _shown(name: str, feature: Feature, state: FeatureState, where: dict[str, float]):
    if name == "bedding":
        return bedding_of(state)
    value = getattr(state, name)
    # Where nobody said it, a thing stands where it is drawn.
    return where.get(feature.name) if name == "along_cm" and value is None else value


class ScratchForm(KeeperForm):
    """Every feature as it is written down, to be changed; what an address leaves out stays."""

    def __init__(self, data: Mapping, *, pairs, layout: Layout, units: str, **kwargs):
        where = whereabouts(layout)
        # A feeder that nobody measured is nothing to try out.
        self.pairs = [
            (feature, state)
            for feature, state in pairs
            if feature.kind != FeatureKind.OTHER or state.height_cm
        ]
        pairs, bare = self.pairs, bare_unit(units, "cm")
        shown = {
            f"{letter}-{feature.pk.hex}": _shown(name, feature, state, where)
            for feature, state in pairs
            for name, letter in _names(feature).items()
        }
        super().__init__(data or None, initial=shown, use_required_attribute=False, **kwargs)
        for feature, state in pairs:
            for name, letter in _names(feature).items():
                key = f"{letter}-{feature.pk.hex}"
                field = description_field(
                    name, kind=feature.kind, units=units, present=shown[key], chips=True
                )
                field.help_text = ""
                if name in SHORT:
                    field.label = in_unit(SHORT[name], bare)
                if name == "height_cm":
                    _slider(field, max(HIGHEST_CM, 1.5 * (state.height_cm or 0)))
                if name in MOVED and state.height_cm:
                    draggable(field, name)
                self.fields[key] = field
            self.fields[f"x-{feature.pk.hex}"] = forms.BooleanField(
                label="Taken away", required=False
            )
        self.fields["step"] = length_field(FeatureState, "height_cm", units)
        self.fields["step"].label = in_unit("Height", bare)
        _slider(self.fields["step"], HIGHEST_CM)
        self.fields["step_run"] = length_field(FeatureState, "run_cm", units)
        self.fields["step_run"].label = in_unit("Level distance", bare)
        self.fields["step_run"].widget.attrs["placeholder"] = "half-way"
        higher = [(f.pk.hex, f.name) for f, state in pairs if f.kind not in GROUND]
        self.fields["step_before"] = forms.ChoiceField(
            label="In front of", choices=[("", "what is next higher"), *higher], required=False
        )
        if data:
            self.data = {
                name: field.prepare_value(self.get_initial_for_field(field, name)) or ""
                for name, field in self.fields.items()
            } | {name: data[name] for name in self.fields if name in data}

    def groups(self) -> Iterator[tuple[Feature, list, object]]:
        """Each feature with its fields and the box that takes it away, the highest first."""
        for feature, _ in self.pairs:
            letters = _names(feature).values()
            yield (
                feature,
                [self[f"{letter}-{feature.pk.hex}"] for letter in letters],
                self[f"x-{feature.pk.hex}"],
            )

    def problems(self) -> list[str]:
        """What could not be read, with the name of what it is about."""
        names = {feature.pk.hex: feature.name for feature, _ in self.pairs}
        return [
            f"{names.get(field.partition('-')[2], 'New step')}: {message}"
            for field, messages in self.errors.items()
            for message in messages
        ]

    def changed(self) -> dict[str, dict]:
        """New values by the name of the feature; what could not be read stays as it was."""
        if not self.is_bound:
            return {}
        found: dict[str, dict] = {}
        for feature, _ in self.pairs:
            for name, letter in _names(feature).items():
                key = f"{letter}-{feature.pk.hex}"
                if key in self.changed_data and key in self.cleaned_data:
                    found.setdefault(feature.name, {})[name] = self.cleaned_data[key]
        if any("along_cm" in values for values in found.values()):
            # Once one thing is moved along the house, the others stay where they are drawn.
            for feature, state in self.pairs:
                key = f"a-{feature.pk.hex}"
                if key in self.initial and state.along_cm is None and state.height_cm:
                    found.setdefault(feature.name, {}).setdefault("along_cm", self.initial[key])
        return found

    def removed(self) -> set[str]:
        if not self.is_bound:
            return set()
        return {
            feature.name
            for feature, _ in self.pairs
            if self.cleaned_data.get(f"x-{feature.pk.hex}")
        }

    def step(self) -> Place | None:
        height = self.is_bound and self.cleaned_data.get("step")
        if not height:
            return None
        return Place(
            self._free_name(), STEP, height_cm=height, run_cm=self.cleaned_data.get("step_run")
        )

    def step_before(self) -> str:
        """The name of what the step stands in front of; empty: of what is next higher."""
        key = self.is_bound and self.cleaned_data.get("step_before")
        return next((feature.name for feature, _ in self.pairs if feature.pk.hex == key), "")

    def _free_name(self) -> str:
        taken = {feature.name.lower() for feature, _ in self.pairs}
        names = ["New step", *(f"New step {number}" for number in range(2, 99))]
        return next(name for name in names if name.lower() not in taken)


class LimitForm(KeeperForm):
    """What no landing should exceed: a drop or an energy."""

    by = forms.ChoiceField(
        label="No bird should land with more than",
        choices=[("drop", "a drop"), ("energy", "an energy")],
        widget=forms.RadioSelect(attrs={"class": "chips"}),
    )

    def __init__(self, data: Mapping, *, units: str, **kwargs):
        imperial = units == Units.IMPERIAL
        self.joules = JOULES_PER_FOOT_POUND if imperial else 1.0
        usual = {"by": "drop", "drop": float(SAFE_DROP_CM), "energy": 9 if imperial else 12}
        super().__init__(data, use_required_attribute=False, **kwargs)
        self.fields["drop"] = LengthField(
            **{"unit": "cm", "units": units, "label": "Drop", "extent": "high"},
            **{"least": 1, "most": 1000, "present": usual["drop"]},
        )
        self.fields["energy"] = forms.FloatField(
            label=f"Energy in {'ft·lbf' if imperial else 'J'}",
            required=False,
            localize=False,
            widget=forms.TextInput(attrs={"inputmode": "decimal", "class": "length"}),
            error_messages={"invalid": "Enter a number, like 12."},
        )
        given = {name: data[name] for name in self.fields if data.get(name)}
        self.data = {
            name: field.prepare_value(usual[name]) for name, field in self.fields.items()
        } | given
        self.is_bound = True

    def clean_energy(self):
        energy = self.cleaned_data["energy"]
        if energy is not None and not 0.1 <= energy <= 1000:
            raise ValidationError("An energy of a landing lies between 0.1 and 1000.")
        return energy

    def limit(self) -> Limit | None:
        """None while what was typed cannot be read."""
        if not self.is_valid():
            return None
        if self.cleaned_data["by"] == "energy":
            return Limit(energy_j=self.cleaned_data["energy"] * self.joules)
        return Limit(drop_cm=self.cleaned_data["drop"])
