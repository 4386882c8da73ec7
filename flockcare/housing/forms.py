"""Input about houses, what stands in them and which birds live where."""

from __future__ import annotations

import datetime as dt
import hashlib

from django import forms
from django.core.exceptions import ValidationError

from flockcare.core.forms import KeeperForm, KeeperModelForm, shown
from flockcare.drawing.dates import date_words
from flockcare.housing.changes import description
from flockcare.housing.features import FIELDS, LENGTHS, fields_of, words_for
from flockcare.housing.models import (
    ChangeKind,
    Feature,
    FeatureKind,
    FeatureState,
    House,
    HousingChange,
    Stay,
)
from flockcare.housing.units import MM, bare_unit, length_text, number_text, read_length

EARLIEST = dt.date(1950, 1, 1)
# Whether a feature was there before it was written down.
THERE, NEW = "there", "new"


def day_widget() -> forms.DateInput:
    return forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})


class DayField(forms.DateField):
    """A day of the past or today."""

    def __init__(self, *, today: dt.date, **kwargs):
        kwargs.setdefault("error_messages", {"invalid": "Write the day like 2026-03-14."})
        super().__init__(widget=day_widget(), **kwargs)
        self.today = today
        self.widget.attrs["max"] = today.isoformat()

    def clean(self, value):
        day = super().clean(value)
        if day and day > self.today:
            raise ValidationError("This day is still to come.")
        if day and day < EARLIEST:
            raise ValidationError("That is too long ago to be meant.")
        return day


# Lengths


class LengthField(forms.CharField):
    """A length as a keeper writes it, cleaned to a float in ``unit`` ("cm" or "mm").

    A length that was shown and left as it was keeps its value, though it may have been rounded
    to be shown.
    """

    def __init__(self, *, unit: str, units: str, least: float = 0, most: float, **kwargs):
        self.unit, self.units, self.least, self.most = unit, units, least, most
        self.bare = bare_unit(units, unit)
        kwargs["label"] += " in inches" if self.bare == "in" else f" in {self.bare}"
        super().__init__(required=False, **kwargs)
        # A keyboard of digits only would have no fractions.
        inputmode = "text" if self.bare == "in" else "decimal"
        self.widget.attrs |= {"inputmode": inputmode, "autocomplete": "off", "class": "length"}

    def prepare_value(self, value):
        if isinstance(value, float | int):
            return number_text(value, unit=self.unit, units=self.units)
        return value

    def has_changed(self, initial, data):
        return (self.prepare_value(initial) or "") != (data or "").strip()

    def to_python(self, value):
        text = super().to_python(value)
        if not text:
            return None
        try:
            length = float(read_length(text, bare=self.bare) / MM[self.unit])
        except ValueError as error:
            raise ValidationError(str(error)) from None
        for limit, beyond, word in (
            (self.least, length < self.least, "less"),
            (self.most, length > self.most, "more"),
        ):
            if beyond:
                words = length_text(limit, unit=self.unit, units=self.units)
                raise ValidationError(f"That is {word} than {words}. Check the number and unit.")
        return length


def length_field(model, name: str, units: str, **kwargs) -> LengthField:
    """For a field of a model that keeps a length; its limits and words are the model's."""
    field = model._meta.get_field(name)
    limits = {validator.code: validator.limit_value for validator in field.validators}
    return LengthField(
        unit="mm" if name.endswith("_mm") else "cm",
        units=units,
        least=limits.get("min_value", 0),
        most=limits["max_value"],
        label=field.verbose_name.capitalize(),
        **kwargs,
    )


# Words


class WordsWidget(forms.TextInput):
    """A text field that proposes the usual words; others may be typed."""

    template_name = "housing/words.html"

    def __init__(self, words):
        super().__init__(attrs={"autocomplete": "off", "autocapitalize": "none"})
        self.words = words

    def get_context(self, name, value, attrs):
        listed = f"{(attrs or {}).get('id', name)}-words"
        context = super().get_context(name, value, {**(attrs or {}), "list": listed})
        return {**context, "list_id": listed, "words": self.words}


def chosen_words(words, present: str, **kwargs) -> forms.ChoiceField:
    """Chips of the usual words, of what stands there already, and of "not known"."""
    odd = [present] if present and present not in words else []
    return forms.ChoiceField(
        choices=[*((word, word) for word in (*words, *odd)), ("", "not known")],
        required=False,
        widget=forms.RadioSelect(attrs={"class": "chips"}),
        error_messages={"invalid_choice": "Choose one of the offered words."},
        **kwargs,
    )


class PercentField(forms.FloatField):
    def __init__(self, **kwargs):
        super().__init__(
            required=False,
            localize=False,
            widget=forms.TextInput(attrs={"inputmode": "decimal", "class": "length"}),
            error_messages={"invalid": "Write the percentage as a number, like 28."},
            **kwargs,
        )

    def to_python(self, value):
        text = str(value).replace(",", ".").strip().rstrip("%") if value else value
        percent = super().to_python(text)
        if percent is not None and not 0 <= percent <= 100:
            raise ValidationError("A percentage lies between 0 and 100.")
        return percent

    def prepare_value(self, value):
        return f"{value:g}" if isinstance(value, float) else value


HELP = {
    "height_cm": "From the floor, or outside from the ground, to where she stands.",
    "run_cm": "Level distance from here to where she lands next.",
    "width_mm": "How wide what she grips or stands on is.",
    "spacing_cm": "Level, to the perch beside it.",
    "bedding_depth_cm": "At the spot where they land.",
    "damp": "Squeeze a handful: it falls apart: dry; keeps its shape: damp; water shows: wet.",
    "moisture_percent": "Only if you measured it: weighed, dried and weighed again.",
}
CHIPS = {"edge", "surface", "damp"}


def description_field(
    name: str, *, kind: str, units: str, present=None, chips=False
) -> forms.Field:
    """The field of a form for one field of a description; ``present`` is what stands there.

    With ``chips`` the usual words stand to be tapped and no others can be typed.
    """
    if name in LENGTHS:
        return length_field(FeatureState, name, units, help_text=HELP.get(name, ""))
    model_field = FeatureState._meta.get_field(name)
    words = {"label": model_field.verbose_name.capitalize(), "help_text": HELP.get(name, "")}
    if name == "moisture_percent":
        return PercentField(**words)
    if name in CHIPS or chips:
        return chosen_words(words_for(name, kind), present or "", **words)
    return forms.CharField(
        required=False,
        max_length=model_field.max_length,
        widget=WordsWidget(words_for(name, kind)),
        **words,
    )


def _fingerprint(state: FeatureState | None, names) -> str:
    values = [str(getattr(state, name)) for name in ("pk", "gone", *names)] if state else []
    return hashlib.sha256("\n".join(values).encode()).hexdigest()[:16]


class DescriptionForm(KeeperForm):
    """Some fields of one feature's description, empty for what is not known.

    ``said()`` gives all of them, ``changed()`` those that differ from what was shown. The form
    remembers what it was filled with, so that it can tell when somebody else changed that while
    it was open; a form that was not on the page says nothing.
    """

    def __init__(
        self,
        data=None,
        *,
        names,
        kind: str,
        units: str,
        state: FeatureState | None = None,
        chips=False,
        **kwargs,
    ):
        self.names = list(names)
        shown = {name: getattr(state, name) for name in self.names} if state else {}
        kwargs["initial"] = {**shown, **kwargs.get("initial", {})}
        super().__init__(data, use_required_attribute=False, **kwargs)
        self.state, self.units = state, units
        self.shown = _fingerprint(state, self.names)
        for name in self.names:
            self.fields[name] = description_field(
                name, kind=kind, units=units, present=self.initial.get(name), chips=chips
            )

    @property
    def touched(self) -> bool:
        return self.is_bound and self._shown_to_keeper is not None and self.has_changed()

    @property
    def _shown_to_keeper(self) -> str | None:
        return self.data.get(self.add_prefix("shown"))

    def clean(self):
        said = super().clean()
        if self.state and self.has_changed() and self._shown_to_keeper not in (None, self.shown):
            now = description(self.state, self.units) or "nothing"
            raise ValidationError(
                "Somebody else changed this while you were typing. It says now: "
                f"{now}. Save again if yours is right."
            )
        return said

    def said(self) -> dict:
        kept = {name for name in self.names if name in self.initial} - set(self.changed_data)
        return {
            name: self.initial[name] if name in kept else self.cleaned_data[name]
            for name in self.names
        }

    def changed(self) -> dict:
        return {name: self.cleaned_data[name] for name in self.changed_data if name in self.names}


# Houses and features


class HouseForm(KeeperModelForm):
    class Meta:
        model = House
        fields = ["name", "note", "floor_length_cm", "floor_width_cm"]
        widgets = {"note": forms.Textarea(attrs={"rows": 3})}

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        units = self.instance.flock.units
        for name in ("floor_length_cm", "floor_width_cm"):
            self.fields[name] = length_field(House, name, units)
        help_text = "The ground inside, wall to wall. Leave empty if nobody has measured it."
        self.fields["floor_length_cm"].help_text = help_text

    def clean_name(self):
        name = self.cleaned_data["name"]
        others = House.objects.filter(flock=self.instance.flock, name__iexact=name)
        if others.exclude(pk=self.instance.pk).exists():
            raise ValidationError("This flock has a house of that name already.")
        return name

    def clean(self):
        said = super().clean()
        for name in ("floor_length_cm", "floor_width_cm"):
            if name not in self.changed_data and name in said:
                said[name] = self.initial.get(name)
        return said


class FeatureForm(KeeperModelForm):
    class Meta:
        model = Feature
        fields = ["name", "kind"]
        widgets = {"kind": forms.RadioSelect(attrs={"class": "chips"})}

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["kind"].choices = FeatureKind.choices

    def clean_name(self):
        name = self.cleaned_data["name"]
        others = Feature.objects.filter(house=self.instance.house, name__iexact=name)
        if others.exclude(pk=self.instance.pk).exists():
            raise ValidationError(
                "This house has something of that name already. Call it another, such as "
                f"“{name} 2” or “Left {name.lower()}”."
            )
        return name


class NewFeatureForm(DescriptionForm):
    """A new feature of a given kind with its first description."""

    name = forms.CharField(max_length=60, help_text="As you call it, such as “Top bar”.")

    def __init__(
        self, data=None, *, feature: Feature, begins: dt.date | None, today: dt.date, **kwargs
    ):
        super().__init__(data, names=FIELDS[feature.kind], kind=feature.kind, **kwargs)
        self.feature, self.begins = feature, begins
        if begins:
            self.fields["arrived"] = forms.ChoiceField(
                label="Was it there already?",
                choices=[
                    (THERE, f"yes, when the record began ({date_words(begins)})"),
                    (NEW, "no, it was put up later"),
                ],
                widget=forms.RadioSelect(attrs={"class": "chips"}),
                error_messages={"required": "Say whether it was there already or is new."},
            )
        self.fields["since"] = DayField(
            today=today,
            required=not begins,
            label="Put up on" if begins else "As it is since",
            help_text=""
            if begins
            else "The day from which you know that all is as you describe it.",
        )
        self.fields["note"] = forms.CharField(
            required=False, max_length=2000, widget=forms.Textarea(attrs={"rows": 2})
        )
        self.order_fields(["name", "arrived", "since"])

    def clean(self):
        said = super().clean()
        if said.get("arrived") == THERE:
            said["since"] = self.begins
        elif said.get("arrived") == NEW and not said.get("since") and "since" not in self.errors:
            self.add_error("since", "Say on which day it was put up.")
        return said

    def clean_name(self):
        form = FeatureForm(
            {"name": self.cleaned_data["name"], "kind": self.feature.kind}, instance=self.feature
        )
        if not form.is_valid():
            raise ValidationError(form.errors.get("name") or form.errors.get("__all__"))
        return form.cleaned_data["name"]

    def first_state(self) -> FeatureState:
        return FeatureState(
            flock=self.feature.flock,
            since=self.cleaned_data["since"],
            note=self.cleaned_data["note"],
            **self.said(),
        )


class StateForm(DescriptionForm):
    """Correct what was written down about a feature from one day on."""

    def __init__(self, data=None, *, state: FeatureState, **kwargs):
        kind = state.feature.kind
        super().__init__(data, names=fields_of(kind, state), kind=kind, state=state, **kwargs)
        self.remember(shown(state, {*self.names, "gone", "note"}))
        self.fields["gone"] = forms.BooleanField(
            label="It was not there from this day on", required=False, initial=state.gone
        )
        self.fields["note"] = forms.CharField(
            required=False,
            max_length=2000,
            initial=state.note,
            widget=forms.Textarea(attrs={"rows": 2}),
        )

    def corrected(self) -> FeatureState:
        for name, value in self.said().items():
            setattr(self.state, name, value)
        self.state.gone, self.state.note = self.cleaned_data["gone"], self.cleaned_data["note"]
        return self.state


# Changes


class ChangeForm(KeeperForm):
    """The day, kind and note of a change."""

    def __init__(self, data=None, *, today: dt.date, told: HousingChange | None = None, **kwargs):
        initial = {"on": today}
        if told:
            initial = {"on": told.on, "kind": told.kind, "note": told.note}
        super().__init__(data, initial=initial, use_required_attribute=False, **kwargs)
        self.fields["on"] = DayField(today=today, label="From which day")
        if told:
            self.told = told
            self.remember(shown(told, set(initial)))
            self.fields[
                "on"
            ].help_text = (
                "Change it only if it was written down wrongly: all from this day moves with it."
            )
        self.fields["kind"] = forms.ChoiceField(
            label="What kind of change",
            required=False,
            choices=[("", "as it follows from the difference"), *ChangeKind.choices],
        )
        self.fields["note"] = forms.CharField(
            required=False,
            max_length=2000,
            widget=forms.Textarea(attrs={"rows": 3}),
            help_text="Why, and what else was done.",
        )

    def apply_to(self, told: HousingChange) -> HousingChange:
        for name in ("on", "kind", "note"):
            setattr(told, name, self.cleaned_data[name])
        return told


class FeatureChangeForm(DescriptionForm):
    """What became otherwise with one feature. Only what differs from what was shown is kept."""

    def __init__(self, data=None, *, feature: Feature, state: FeatureState | None, **kwargs):
        super().__init__(
            data,
            names=fields_of(feature.kind, state),
            kind=feature.kind,
            state=state,
            prefix=feature.pk.hex,
            **kwargs,
        )
        self.feature = feature
        label = "Put back" if state and state.gone else "Taken away"
        self.fields["turned"] = forms.BooleanField(label=label, required=False)
        self.was_gone = bool(state and state.gone)

    def changed(self) -> dict:
        values = super().changed()
        if self.cleaned_data["turned"]:
            values["gone"] = not self.was_gone
        return values


class WalkForm(KeeperForm):
    def __init__(self, data=None, *, today: dt.date, **kwargs):
        super().__init__(data, initial={"on": today}, use_required_attribute=False, **kwargs)
        self.fields["on"] = DayField(today=today, label="Day")
        self.fields["note"] = forms.CharField(
            required=False,
            max_length=2000,
            widget=forms.Textarea(attrs={"rows": 3}),
            help_text="Anything else that could hurt a foot: nail heads, wire ends, ice, a gap.",
        )


# Which birds live where


class MoveForm(KeeperForm):
    """Which of the flock's birds move into which house, and from when on."""

    def __init__(self, data=None, *, houses, birds, today: dt.date, **kwargs):
        super().__init__(data, use_required_attribute=False, **kwargs)
        self.houses = {str(house.pk): house for house in houses}
        self.birds = {str(bird.pk): bird for bird in birds}
        self.fields["house"] = forms.ChoiceField(
            label="Into which house",
            choices=[(key, house.name) for key, house in self.houses.items()],
            widget=forms.RadioSelect(attrs={"class": "chips"}),
            error_messages={"required": "Choose the house they move into."},
        )
        self.fields["on"] = DayField(
            today=today,
            label="From which day",
            initial=today,
            help_text="This day counts for the new house; the stay before ends on it.",
        )
        self.fields["birds"] = forms.MultipleChoiceField(
            choices=[(key, bird.name) for key, bird in self.birds.items()],
            error_messages={
                "required": "Tick the birds that move.",
                "invalid_choice": "One of these birds is not in the flock any more.",
            },
        )

    @property
    def ticked(self) -> set[str]:
        return set(self["birds"].value() or [])

    def moving(self):
        return [self.birds[key] for key in self.cleaned_data["birds"]]

    def into(self) -> House:
        return self.houses[self.cleaned_data["house"]]


class StayForm(KeeperModelForm):
    class Meta:
        model = Stay
        fields = ["house", "since", "until"]
        labels = {"since": "From", "until": "Until"}
        help_texts = {
            "since": "Empty: from the beginning.",
            "until": "The day she moved out. Empty: she still lives there.",
        }

    def __init__(self, *args, today: dt.date, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["house"].queryset = House.objects.filter(flock=self.instance.flock)
        self.fields["house"].empty_label = None
        for name in ("since", "until"):
            old = self.fields[name]
            self.fields[name] = DayField(
                today=today, required=False, label=old.label, help_text=old.help_text
            )
