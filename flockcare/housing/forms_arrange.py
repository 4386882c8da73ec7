"""Input of where things stand in a house: dragged on the drawing, or typed."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterator, Mapping

from django import forms
from django.core.exceptions import ValidationError

from flockcare.core.forms import KeeperForm
from flockcare.housing.elevation import whereabouts
from flockcare.housing.forms import DayField, length_field
from flockcare.housing.layout import Layout
from flockcare.housing.models import Feature, FeatureState
from flockcare.housing.units import MM, in_unit

MOVED = {"height_cm": "h", "along_cm": "a"}
SHORT = {"height_cm": "Height", "along_cm": "From the left wall"}
ALWAYS, CHANGED = "always", "changed"


def draggable(field: forms.Field, name: str) -> None:
    """What the script needs to write into the field what is dragged."""
    bare = field.bare
    field.widget.attrs |= {
        "data-moves": MOVED[name],
        "data-per": f"{float(MM[bare]) / 10:g}",
        "data-step": "0.5" if bare == "in" else "1",
    }


class ArrangeForm(KeeperForm):
    """Height and place of everything above the floor; what nobody wrote down is as it is drawn.

    ``moved()`` gives the new values by feature. Once something is moved along the house all get
    the place at which they are shown, so that nothing else moves with it.
    """

    def __init__(
        self, data: Mapping | None, *, pairs, layout: Layout, units: str, today: dt.date, **kwargs
    ):
        stands = {place.name for place in layout.stands}
        self.pairs = [(feature, state) for feature, state in pairs if feature.name in stands]
        where = whereabouts(layout)
        shown = {}
        for feature, state in self.pairs:
            along = state.along_cm
            shown[f"h-{feature.pk.hex}"] = state.height_cm
            shown[f"a-{feature.pk.hex}"] = where[feature.name] if along is None else along
        kwargs["initial"] = {**shown, "how": ALWAYS, "on": today}
        super().__init__(data, use_required_attribute=False, **kwargs)
        self.shown = self._fingerprint()
        for feature, _ in self.pairs:
            for name, letter in MOVED.items():
                key, kind = f"{letter}-{feature.pk.hex}", feature.kind
                field = length_field(FeatureState, name, units, kind=kind, present=shown[key])
                field.label = in_unit(SHORT[name], field.bare)
                draggable(field, name)
                self.fields[key] = field
        self.fields["how"] = forms.ChoiceField(
            label="Was it always so, or was it changed?",
            choices=[(ALWAYS, "always so"), (CHANGED, "changed on a day")],
            widget=forms.RadioSelect(attrs={"class": "chips"}),
        )
        self.fields["on"] = DayField(today=today, required=False, label="Changed on")

    def rows(self) -> Iterator[tuple[Feature, list]]:
        for feature, _ in self.pairs:
            yield feature, [self[f"{letter}-{feature.pk.hex}"] for letter in MOVED.values()]

    def _fingerprint(self) -> str:
        """Of what the fields were filled with."""
        values = [
            f"{state.pk} {state.height_cm} {state.along_cm} {state.gone}" for _, state in self.pairs
        ]
        return hashlib.sha256("\n".join(values).encode()).hexdigest()[:16]

    def clean(self):
        said = super().clean()
        if self.data.get("shown") not in (None, self.shown):
            raise ValidationError(
                "Somebody else changed this house while you moved things. The drawing shows what "
                "you have; save again if it is right."
            )
        if said.get("how") == CHANGED and not said.get("on") and "on" not in self.errors:
            self.add_error("on", "Enter the day it was changed.")
        for feature, _ in self.pairs:
            key = f"h-{feature.pk.hex}"
            if key in said and not said[key]:
                self.add_error(key, f"{feature.name} needs a height above 0.")
        return said

    def moved(self) -> dict[Feature, dict]:
        changed = set(self.changed_data)
        found: dict[Feature, dict] = {}
        for feature, _ in self.pairs:
            for name, letter in MOVED.items():
                key = f"{letter}-{feature.pk.hex}"
                if key in changed and key in self.cleaned_data:
                    found.setdefault(feature, {})[name] = self.cleaned_data[key]
        if any("along_cm" in values for values in found.values()):
            for feature, state in self.pairs:
                if state.along_cm is None:
                    key = f"a-{feature.pk.hex}"
                    values = found.setdefault(feature, {})
                    values.setdefault("along_cm", self.initial[key])
        return found

    def tried(self, layout: Layout) -> Layout:
        """The house with what could be read."""
        for feature, values in self.moved().items() if self.is_bound else ():
            known = {name: value for name, value in values.items() if value is not None}
            layout = layout.changed(feature.name, **known)
        return layout
