"""Input about houses, what stands in them and which birds live where."""

from __future__ import annotations

import datetime as dt
import hashlib
import re

from django import forms
from django.core.exceptions import ValidationError

from flockcare.core.forms import KeeperForm, KeeperModelForm
from flockcare.core.lines import one_line
from flockcare.drawing.dates import date_words
from flockcare.housing.changes import description
from flockcare.housing.features import ASKED, FIELDS, LENGTHS, fields_of, words_for
from flockcare.housing.layout import bedding_of
from flockcare.housing.models import (
    GROUND,
    PERCHES,
    ChangeKind,
    Dampness,
    EggCount,
    Event,
    EventKind,
    Feature,
    FeatureKind,
    FeatureState,
    House,
    HouseShape,
    HousingChange,
    Stay,
    Wetness,
)
from flockcare.housing.units import MM, bare_unit, in_unit, length_text, number_text, read_length

EARLIEST = dt.date(1950, 1, 1)
# Whether a feature was there before it was written down.
THERE, NEW = "there", "new"
WHOLE_FLOCK = "all"
# The kinds of events that need no word more than their button has.
TAP_KINDS = [(kind, label) for kind, label in EventKind.choices if kind != EventKind.OTHER]


def day_widget() -> forms.DateInput:
    return forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})


class DayField(forms.DateField):
    """A day of the past or today."""

    def __init__(self, *, today: dt.date, **kwargs):
        kwargs.setdefault(
            "error_messages",
            {"invalid": "Enter a day like 2026-03-14.", "required": "Enter the day."},
        )
        super().__init__(widget=day_widget(), **kwargs)
        self.today = today
        self.widget.attrs["max"] = today.isoformat()

    def clean(self, value):
        day = super().clean(value)
        if day and day > self.today:
            raise ValidationError("This day is in the future.")
        if day and day < EARLIEST:
            raise ValidationError("That is too long ago.")
        return day


# Lengths


class LengthField(forms.CharField):
    """A length as a keeper writes it, cleaned to a float in ``unit`` ("cm" or "mm").

    ``present`` is what is shown in it: left as it was it keeps that value, though it may have been
    rounded to be shown. ``extent`` is what too much of it is called: "high", "long". ``usual``: the
    least and the most that such things usually have; a bare number outside of it may be meant in
    another unit, and counts only with its own.
    """

    def __init__(
        self,
        *,
        unit: str,
        units: str,
        extent: str,
        most: float,
        least: float = 0,
        present: float | None = None,
        usual: tuple[float, float] | None = None,
        **kwargs,
    ):
        self.unit, self.units, self.extent = unit, units, extent
        self.least, self.most, self.present = least, most, present
        self.usual = usual
        self.bare = bare_unit(units, unit)
        kwargs["label"] = in_unit(kwargs["label"], self.bare)
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
        if text == self.prepare_value(self.present):
            return self.present
        # What lies beyond the left wall is less than nothing.
        below = self.least < 0 and text[0] in "-−"
        try:
            length = float(read_length(text[below:], bare=self.bare) / MM[self.unit])
        except ValueError as error:
            raise ValidationError(str(error)) from None
        length = -length if below else length
        if self.usual and length and not re.search(r"[a-z'\"″′”’]", text.lower()):
            self._require_usual(length, text)
        if length < self.least:
            raise ValidationError(self._beyond("small", "least", self.least))
        if length > self.most:
            raise ValidationError(self._beyond(self.extent, "most", self.most))
        return length

    def _require_usual(self, length: float, text: str) -> None:
        low, high = self.usual
        if low <= length <= high:
            return
        # As metres under centimetres, or feet under inches.
        others = ("ft",) if self.bare == "in" else ("m", "cm", "mm")
        likely = [length * float(MM[other] / MM[self.bare]) for other in others]
        likely = next((one for one in likely if low <= one <= high), None)
        possible = self.least <= length <= self.most
        if likely is None and not possible:
            return  # Which is told with the limit.
        said = [f"That is {text} {self.bare}."]
        if likely is None:
            said.append("Check it.")
        else:
            said.append(f"Is it {length_text(likely, unit=self.unit, units=self.units)}?")
        if possible:
            said.append(f"If that is right, write “{text} {self.bare}”.")
        raise ValidationError(" ".join(said))

    def _beyond(self, extent: str, side: str, limit: float) -> str:
        words = length_text(limit, unit=self.unit, units=self.units)
        return f"That is too {extent}: at {side} {words} is possible. Check the number and unit."


EXTENTS = {
    "height_cm": "high",
    "along_cm": "far",
    "run_cm": "far",
    "spacing_cm": "far",
    "wall_cm": "far",
    "bedding_depth_cm": "deep",
    "wall_height_cm": "high",
    "floor_height_cm": "high",
    "breadth_cm": "wide",
    "width_mm": "wide",
    "floor_width_cm": "wide",
}
# Less can only be a slip of the unit; a bird cannot even stand on it.
LEAST = {"length_cm": 5, "breadth_cm": 5, "width_mm": 1}
LEAST_GROUND_CM = 10  # As of the floor of a house.
# From where to where things of a kind usually are; our choice, no published source. A board at a
# threshold may be 3 cm high, a roost hardly.
USUAL = {
    "height_cm": {
        **dict.fromkeys((FeatureKind.ROOST, FeatureKind.RAIL, FeatureKind.RAMP), (5, 400)),
        **dict.fromkeys((FeatureKind.BOARD, FeatureKind.NEST_FRONT), (3, 400)),
        **dict.fromkeys((FeatureKind.STEP, FeatureKind.OTHER), (2, 400)),
    },
    "length_cm": {
        **dict.fromkeys((FeatureKind.ROOST, FeatureKind.RAIL, FeatureKind.RAMP), (20, 2000)),
        **dict.fromkeys((FeatureKind.BOARD, FeatureKind.NEST_FRONT, FeatureKind.STEP), (10, 2000)),
        **dict.fromkeys(GROUND, (30, 5000)),
    },
    "run_cm": dict.fromkeys(FeatureKind, (3, 1000)),
    "width_mm": dict.fromkeys(PERCHES, (10, 300)),
    "floor_length_cm": {"": (40, 5000)},
    "floor_width_cm": {"": (40, 5000)},
    "wall_height_cm": {"": (25, 700)},
    "floor_height_cm": {"": (2, 300)},
}


def length_field(
    model, name: str, units: str, *, least: float = 0, kind: str = "", **kwargs
) -> LengthField:
    """For a field of a model that keeps a length; its limits and words are the model's."""
    field = model._meta.get_field(name)
    limits = {validator.code: validator.limit_value for validator in field.validators}
    return LengthField(
        unit="mm" if name.endswith("_mm") else "cm",
        units=units,
        extent=EXTENTS.get(name, "long"),
        least=least or limits.get("min_value", 0),
        most=limits["max_value"],
        usual=USUAL.get(name, {}).get(kind),
        label=field.verbose_name.capitalize(),
        **kwargs,
    )


def _least(name: str, kind: str) -> float:
    area = name in ("length_cm", "breadth_cm") and kind in GROUND
    return LEAST_GROUND_CM if area else LEAST.get(name, 0)


# Words


class WordsWidget(forms.RadioSelect):
    """Chips as of ``chosen_words``, and a text field for a word of one's own, which goes first."""

    template_name = "housing/words.html"

    def __init__(self, words, present: str):
        super().__init__(attrs={"class": "chips"}, choices=_chips(words, present))

    def value_from_datadict(self, data, files, name):
        own = (data.get(f"{name}-own") or "").strip()
        return own or super().value_from_datadict(data, files, name)

    def get_context(self, name, value, attrs):
        context = super().get_context(name, value, attrs)
        # What was typed and refused.
        own = value if value and value not in dict(self.choices) else ""
        return {**context, "own": own}


def _chips(words, present: str) -> list[tuple[str, str]]:
    odd = [present] if present and present not in words else []
    return [*((word, word) for word in (*words, *odd)), ("", "not known")]


def chosen_words(words, present: str, **kwargs) -> forms.ChoiceField:
    """Chips of the usual words, of what stands there already, and of "not known"."""
    return forms.ChoiceField(
        choices=_chips(words, present),
        required=False,
        widget=forms.RadioSelect(attrs={"class": "chips"}),
        error_messages={"invalid_choice": "Choose one of these words."},
        **kwargs,
    )


class PercentField(forms.FloatField):
    def __init__(self, **kwargs):
        super().__init__(
            required=False,
            localize=False,
            widget=forms.TextInput(attrs={"inputmode": "decimal", "class": "length"}),
            error_messages={"invalid": "Enter a number, like 28."},
            **kwargs,
        )

    def to_python(self, value):
        text = str(value).replace(",", ".").strip().rstrip("%") if value else value
        percent = super().to_python(text)
        if percent is not None and not 0 <= percent <= 100:
            raise ValidationError("Enter a number from 0 to 100.")
        return percent

    def prepare_value(self, value):
        return f"{value:g}" if isinstance(value, float) else value


HELP = {
    "height_cm": "From the floor, or outside from the ground, to where she stands.",
    "along_cm": "To its middle, from the inside of the left wall.",
    "run_cm": "Level distance along the floor, to the next place down.",
    "width_mm": "Width of the bar.",
    "spacing_cm": "Level, to the roost beside it.",
    "bedding_depth_cm": "At the spot where they land.",
    "damp": "Squeeze a handful: it falls apart: dry; keeps its shape: damp; water shows: wet.",
    "moisture_percent": "Only if you measured it: weighed, dried and weighed again.",
}
CHIPS = {"edge", "material", "surface", "damp"}


def description_field(
    name: str, *, kind: str, units: str, present=None, chips=False
) -> forms.Field:
    """The field of a form for one field of a description; ``present`` is what stands there.

    The usual words stand to be tapped; with ``chips`` no others can be typed.
    """
    if name in LENGTHS:
        field = length_field(
            *(FeatureState, name, units),
            least=_least(name, kind),
            kind=kind,
            present=present,
            help_text=HELP.get(name, ""),
        )
        if (name, kind) == ("run_cm", FeatureKind.RAMP):
            field.label = in_unit("Level distance from head to foot", field.bare)
            field.help_text = ""
        elif name == "run_cm":
            field.label = in_unit("How far out she lands", field.bare)
        return field
    model_field = FeatureState._meta.get_field(name)
    words = {"label": model_field.verbose_name.capitalize(), "help_text": HELP.get(name, "")}
    if name == "moisture_percent":
        return PercentField(**words)
    # What a feeder is filled with stands under its material, in words of one's own.
    told = name in CHIPS and not (name == "material" and kind == FeatureKind.OTHER)
    if told or chips:
        return chosen_words(words_for(name, kind), present or "", **words)
    return forms.CharField(
        required=False,
        max_length=model_field.max_length,
        validators=[one_line],
        widget=WordsWidget(words_for(name, kind), present or ""),
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
        if "bedding" in shown:
            shown["bedding"] = bedding_of(state)
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


HOUSE_LENGTHS = ("floor_length_cm", "floor_width_cm", "wall_height_cm", "floor_height_cm")


class HouseForm(KeeperModelForm):
    class Meta:
        model = House
        fields = ["name", "shape", *HOUSE_LENGTHS, "note"]
        widgets = {
            "note": forms.Textarea(attrs={"rows": 3}),
            "shape": forms.RadioSelect(attrs={"class": "chips"}),
        }

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        units = self.instance.flock.units
        for name in HOUSE_LENGTHS:
            self.fields[name] = length_field(
                House, name, units, present=getattr(self.instance, name)
            )
        self.fields["shape"].choices = [*HouseShape.choices, ("", "another")]
        help_text = "Inside, wall to wall. Leave blank if not measured."
        self.fields["floor_length_cm"].help_text = help_text

    def clean_name(self):
        name = self.cleaned_data["name"]
        others = House.objects.filter(flock=self.instance.flock, name__iexact=name)
        if others.exclude(pk=self.instance.pk).exists():
            raise ValidationError("This flock has a house of that name already.")
        return name


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

    name = forms.CharField(
        max_length=60,
        validators=[one_line],
        help_text="As you call it, such as “Top bar”.",
        error_messages={"required": "Give it a name."},
    )

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
            label="Put up on" if begins else "Like this since",
            help_text="" if begins else "The first day you know it was so.",
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
            self.add_error("since", "Enter the day it was put up.")
        return said

    def clean_name(self):
        form = FeatureForm(
            {"name": self.cleaned_data["name"], "kind": self.feature.kind}, instance=self.feature
        )
        if not form.is_valid():
            raise ValidationError(form.errors.get("name") or form.errors.get("__all__"))
        return form.cleaned_data["name"]

    @property
    def asked(self) -> list[forms.BoundField]:
        """What the drawing and the landings need."""
        first = [name for name in ("name", "arrived", "since") if name in self.fields]
        return [self[name] for name in (*first, *ASKED[self.feature.kind])]

    @property
    def further(self) -> list[forms.BoundField]:
        shown = {field.name for field in self.asked}
        return [field for field in self if field.name not in shown]

    def first_state(self) -> FeatureState:
        return FeatureState(
            flock=self.feature.flock,
            since=self.cleaned_data["since"],
            note=self.cleaned_data["note"],
            **self.said(),
        )


class StateForm(DescriptionForm):
    """Correct what was recorded about a feature from one day on."""

    def __init__(self, data=None, *, state: FeatureState, **kwargs):
        kind = state.feature.kind
        super().__init__(data, names=fields_of(kind, state), kind=kind, state=state, **kwargs)
        self.remember(state, [*self.names, "gone", "note"])
        self.fields["gone"] = forms.BooleanField(
            label="Taken away from this day on", required=False, initial=state.gone
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
            self.remember(told, initial)
            self.fields[
                "on"
            ].help_text = (
                "Change it only if it was recorded wrongly: everything from this day moves with it."
            )
        self.fields["kind"] = forms.ChoiceField(
            label="What kind of change",
            required=False,
            choices=[("", "from what changed"), *ChangeKind.choices],
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


# What happened, and how wet it was


class EventTapForm(KeeperForm):
    """One of the buttons was pressed; ``what`` belongs to the one for something else."""

    def __init__(self, data=None, *, houses, meant: str = "", **kwargs):
        super().__init__(data, use_required_attribute=False, **kwargs)
        self.houses = {str(house.pk): house for house in houses}
        self.fields["house"] = forms.ChoiceField(
            label="Where",
            choices=[
                (WHOLE_FLOCK, "Whole flock"),
                *((key, one.name) for key, one in self.houses.items()),
            ],
            widget=forms.RadioSelect(attrs={"class": "chips"}),
            initial=meant if meant in self.houses else WHOLE_FLOCK,
        )
        self.fields["kind"] = forms.ChoiceField(choices=EventKind.choices)
        self.fields["what"] = forms.CharField(
            label="Something else", required=False, max_length=60, validators=[one_line]
        )

    def event(self, *, flock, keeper, today: dt.date) -> Event:
        """What was typed beside a button that needs no word is not lost: it is the note."""
        kind, what = self.cleaned_data["kind"], self.cleaned_data["what"]
        typed = {"what" if kind == EventKind.OTHER else "note": what}
        house = self.houses.get(self.cleaned_data["house"])
        return Event(flock=flock, house=house, on=today, kind=kind, keeper=keeper, **typed)


class EventForm(KeeperModelForm):
    class Meta:
        model = Event
        fields = ["on", "until", "note", "kind", "what", "house"]
        labels = {"house": "Where", "what": "What it was, if something else"}
        widgets = {"note": forms.Textarea(attrs={"rows": 3})}
        help_texts = {"until": "Leave blank while it goes on."}

    def __init__(self, *args, today: dt.date, **kwargs):
        super().__init__(*args, use_required_attribute=False, **kwargs)
        self.fields["on"] = DayField(today=today, label="Day")
        self.fields["until"].widget = day_widget()
        self.fields["house"].queryset = House.objects.filter(flock=self.instance.flock)
        self.fields["house"].empty_label = "Whole flock"


class WetnessForm(KeeperModelForm):
    class Meta:
        model = Wetness
        fields = ["level", "on"]
        widgets = {"level": forms.RadioSelect(attrs={"class": "chips"})}

    def __init__(self, *args, today: dt.date, **kwargs):
        super().__init__(*args, use_required_attribute=False, **kwargs)
        self.fields["level"].choices = Dampness.choices
        self.fields["on"] = DayField(today=today, label="Day")


class EggCountForm(KeeperModelForm):
    """``fixed``: of that day alone, as on the pages that ask for today's number."""

    class Meta:
        model = EggCount
        fields = ["eggs", "on"]
        widgets = {"eggs": forms.NumberInput(attrs={"inputmode": "numeric", "max": 1000})}

    def __init__(self, *args, today: dt.date, fixed: bool = False, **kwargs):
        super().__init__(*args, use_required_attribute=False, **kwargs)
        self.fields["on"] = DayField(today=today, label="Day")
        if fixed:
            del self.fields["on"]


# Which birds live where


class ManyKeys(forms.SelectMultiple):
    """Ticks, one of which may stand for many birds: their keys with spaces between them."""

    def value_from_datadict(self, data, files, name):
        sent = super().value_from_datadict(data, files, name) or []
        return list(dict.fromkeys(key for keys in sent for key in keys.split()))


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
            help_text="From this day on in the new house.",
        )
        self.fields["birds"] = forms.MultipleChoiceField(
            widget=ManyKeys,
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
            "since": "Blank: from the beginning.",
            "until": "Blank: still there.",
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
