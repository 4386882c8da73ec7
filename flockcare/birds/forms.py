"""Input about birds, breeds and weighings."""

import re
import uuid
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation
from typing import ClassVar

from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator

from flockcare.birds.breeds import PUBLISHED, WeightClass
from flockcare.birds.models import (
    HEAVIEST_GRAMS,
    BandColour,
    Bird,
    BirdState,
    Breed,
    LeftReason,
    Sex,
    Weighing,
)
from flockcare.birds.services import NewBird
from flockcare.core.dates import HELP as DATE_HELP
from flockcare.core.dates import PartialDate
from flockcare.core.forms import KeeperForm, KeeperModelForm
from flockcare.core.lines import one_line
from flockcare.people.models import Units

GRAMS_PER_OUNCE = Decimal("28.349523125")
MOST_LINES = 300


# Weights


class DecimalTextField(forms.CharField):
    """A number as people write it, with a point or a comma."""

    default_error_messages: ClassVar = {"required": "Enter a number here."}

    def __init__(self, **kwargs):
        super().__init__(widget=forms.TextInput(attrs={"inputmode": "decimal"}), **kwargs)

    def to_python(self, value):
        text = super().to_python(value)
        if not text:
            return None
        try:
            number = Decimal(text.replace(",", "."))
        except InvalidOperation:
            number = None
        if number is None or not number.is_finite() or number < 0:
            raise ValidationError(f"“{text}” is not a number.")
        return number


class KilogramField(DecimalTextField):
    """Kilograms, cleaned to whole grams."""

    def prepare_value(self, value):
        return f"{value / 1000:.3f}".rstrip("0").rstrip(".") if isinstance(value, int) else value

    def to_python(self, value):
        kilograms = super().to_python(value)
        # A slip of many digits must meet the limit of the field, not that of the database.
        return None if kilograms is None else round(min(kilograms, Decimal(100_000)) * 1000)


class PoundsWidget(forms.MultiWidget):
    template_name = "birds/pounds.html"

    def __init__(self):
        number = {"inputmode": "decimal"}
        super().__init__({"lb": forms.TextInput(number), "oz": forms.TextInput(number)})

    def decompress(self, grams):
        if grams is None:
            return [None, None]
        ounces = round(grams / GRAMS_PER_OUNCE)
        return [ounces // 16, ounces % 16]


class PoundsField(forms.MultiValueField):
    """Pounds and ounces, cleaned to whole grams."""

    default_error_messages: ClassVar = {"required": "Enter a number here."}

    def __init__(self, **kwargs):
        parts = (DecimalTextField(required=False), DecimalTextField(required=False))
        super().__init__(parts, widget=PoundsWidget(), require_all_fields=False, **kwargs)

    def compress(self, parts):
        pounds, ounces = (*parts, None, None)[:2]
        if pounds is None and ounces is None:
            return None
        total = min((pounds or 0) * 16 + (ounces or 0), Decimal(100_000))
        return round(total * GRAMS_PER_OUNCE)


def weight_field(flock, *, label: str, **kwargs) -> forms.Field:
    """A field in the flock's units that cleans to grams."""
    if flock.units == Units.IMPERIAL:
        return PoundsField(label=label, **kwargs)
    return KilogramField(label=f"{label} in kg", **kwargs)


class WeighingForm(KeeperModelForm):
    # The record's key, made with the form, so that a weighing which is sent twice counts once.
    weighing_id = forms.UUIDField(widget=forms.HiddenInput, required=False, initial=uuid.uuid4)

    class Meta:
        model = Weighing
        fields = ["on", "grams"]
        # The one form that browsers take for a date field, whatever the language.
        widgets = {"on": forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})}

    # The key first: by it the day's own weighing, sent again, is told from a second one.
    field_order = ("weighing_id",)

    def __init__(self, *args, today, **kwargs):
        super().__init__(*args, **kwargs)
        self.today = today
        self.fields["grams"] = weight_field(
            self.instance.flock,
            label="Weight",
            validators=Weighing._meta.get_field("grams").validators,
        )
        self.fields["on"].widget.attrs["max"] = today.isoformat()

    def clean_weighing_id(self):
        key = self.cleaned_data["weighing_id"]
        if key and self.instance._state.adding:
            self.instance.pk = key
        return key

    def clean_on(self):
        on, bird = self.cleaned_data["on"], self.instance.bird
        if on > self.today:
            raise ValidationError("This day is in the future.")
        hatched = bird.hatched and PartialDate.parse(bird.hatched)
        if hatched and on < hatched.first():
            she = bird.pronouns.subject
            raise ValidationError(f"This is before {she} hatched ({hatched.words()}).")
        if Weighing.objects.filter(bird=bird, on=on).exclude(pk=self.instance.pk).exists():
            raise ValidationError(
                f"{bird.pronouns.subject.capitalize()} has been weighed on this day already. "
                "Correct that weighing, or delete it."
            )
        return on

    def clean_grams(self):
        # Ounces are coarser than grams: a weight that nobody touched must stay as it was.
        if "grams" in self.changed_data:
            return self.cleaned_data["grams"]
        return self.initial["grams"]


class BreedForm(KeeperModelForm):
    class Meta:
        model = Breed
        fields = ["name", "adult_grams"]

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["adult_grams"] = weight_field(
            self.instance.flock,
            label="Adult weight of a hen",
            required=False,
            help_text="Leave blank if you don’t know it.",
            validators=[
                MinValueValidator(200, "That is too light for a grown hen."),
                MaxValueValidator(HEAVIEST_GRAMS, "No hen weighs more than 9 kg (20 lb)."),
            ],
        )

    def clean_name(self):
        name = self.cleaned_data["name"]
        others = Breed.objects.filter(flock=self.instance.flock, name__iexact=name)
        if others.exclude(pk=self.instance.pk).exists():
            raise ValidationError("This flock has a breed of that name already.")
        return name

    def clean_adult_grams(self):
        # Ounces are coarser than grams: a weight that nobody touched must stay as it was.
        if "adult_grams" in self.changed_data:
            return self.cleaned_data["adult_grams"]
        return self.initial["adult_grams"]


# States


class StateForm(KeeperModelForm):
    class Meta:
        model = BirdState
        fields = ["kind", "since", "until"]
        widgets = {
            "kind": forms.RadioSelect(attrs={"class": "chips"}),
            "since": forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}),
            "until": forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}),
        }
        help_texts = {"until": "Leave blank while it goes on."}

    def __init__(self, *args, today, **kwargs):
        super().__init__(*args, **kwargs)
        self.today = today
        only_hens = {BirdState.Kind.BROODY, BirdState.Kind.IN_LAY}
        left_out = only_hens if self.instance.bird.sex == Sex.COCK else set()
        self.fields["kind"].choices = [
            (value, label.capitalize())
            for value, label in BirdState.Kind.choices
            if value not in left_out
        ]
        self.fields["since"].widget.attrs["max"] = today.isoformat()

    def clean_since(self):
        since = self.cleaned_data["since"]
        if since > self.today:
            raise ValidationError("This day is in the future.")
        return since


# Birds


class ColourChoice(forms.RadioSelect):
    option_template_name = "birds/colour_option.html"


class BreedNameWidget(forms.TextInput):
    """A text field that proposes the breeds this flock has and the published ones."""

    template_name = "birds/breed_name.html"
    names = ()

    def get_context(self, name, value, attrs):
        context = super().get_context(name, value, {**attrs, "list": "breed-names"})
        return {**context, "names": self.names}


def not_to_come(value: str, today) -> str:
    """A date of which not even the earliest reading lies ahead."""
    if value and PartialDate.parse(value).first() > today:
        raise ValidationError("This date is in the future.")
    return value


class BirdForm(KeeperModelForm):
    breed_name = forms.CharField(
        label="Breed",
        required=False,
        max_length=60,
        validators=[one_line],
        widget=BreedNameWidget,
        help_text="Any name will do; for some the adult weight is filled in.",
    )

    class Meta:
        model = Bird
        fields = [
            "name",
            "band_colour",
            "band_number",
            "sex",
            "hatched",
            "joined",
            "traits",
            "own_weight_class",
            "left",
        ]
        widgets = {
            "band_colour": ColourChoice(attrs={"class": "chips"}),
            "sex": forms.RadioSelect(attrs={"class": "chips"}),
            "traits": forms.Textarea(attrs={"rows": 3}),
        }
        help_texts = {
            "hatched": DATE_HELP,
            "own_weight_class": "",
            "traits": "Anything lasting, such as an old leg injury or an odd gait.",
        }

    quarantine = forms.BooleanField(
        label="In quarantine now",
        required=False,
        help_text="Kept apart from the others.",
    )

    field_order = ["name", "band_colour", "band_number", "breed_name"]
    also_shown = ("breed_id",)

    def __init__(self, *args, today, **kwargs):
        super().__init__(*args, **kwargs)
        self.today = today
        own = Breed.objects.filter(flock=self.instance.flock).values_list("name", flat=True)
        published = (entry.breed for entry in PUBLISHED)
        self.fields["breed_name"].widget.names = sorted({*own, *published})
        self.initial["breed_name"] = self.instance.breed.name if self.instance.breed else ""
        self.fields["band_colour"].choices = [("", "none"), *BandColour.choices]
        self.fields["own_weight_class"].choices = [
            ("", "by the adult weight of the breed"),
            *WeightClass.choices,
        ]
        if self.instance.left:
            self.fields["left"].required = True
        else:
            del self.fields["left"]
        if self.instance._state.adding:
            names = [name for name in self.fields if name != "quarantine"]
            names.insert(names.index("joined") + 1, "quarantine")
            self.order_fields(names)
        else:
            del self.fields["quarantine"]

    def quarantine_from(self):
        """The day a new bird came, where that is known to the day, else today; None without."""
        if not self.cleaned_data.get("quarantine"):
            return None
        came = self.cleaned_data["joined"] and PartialDate.parse(self.cleaned_data["joined"])
        return came.first() if came and came.day else self.today

    def clean_name(self):
        name = self.cleaned_data["name"]
        if not self.instance.left and same_name(self.instance, name).exists():
            raise ValidationError("Another bird of this flock has that name already.")
        return name

    def clean_hatched(self):
        return not_to_come(self.cleaned_data["hatched"], self.today)

    def clean_joined(self):
        return not_to_come(self.cleaned_data["joined"], self.today)

    def clean_left(self):
        return not_to_come(self.cleaned_data["left"], self.today)


def same_name(bird, name):
    present = Bird.objects.present().filter(flock=bird.flock, name__iexact=name)
    return present.exclude(pk=bird.pk)


class LeaveForm(KeeperModelForm):
    class Meta:
        model = Bird
        fields = ["left", "left_reason", "left_note"]
        labels = {"left": "When", "left_reason": "Why", "left_note": "Notes"}
        help_texts = {"left": DATE_HELP, "left_note": "Also what a post-mortem showed."}

    def __init__(self, *args, today, **kwargs):
        super().__init__(*args, **kwargs)
        self.today = today
        self.fields["left"].required = self.fields["left_reason"].required = True
        self.fields["left_reason"].choices = [("", "Choose a reason"), *LeftReason.choices]

    def clean_left(self):
        return not_to_come(self.cleaned_data["left"], self.today)


# Several birds at once


@dataclass
class Line:
    """One line of a pasted list, read as far as it goes."""

    number: int
    text: str
    bird: NewBird | None = None
    problems: list[str] = field(default_factory=list)


COLOURS = {**{colour.value: colour.value for colour in BandColour}, "gray": "grey"}


def read_band(text: str) -> tuple[str, str]:
    """Colour and number from ``green 12``, ``green`` or ``12``; ValueError in words."""
    words = text.lower().split()
    colours = [COLOURS[word] for word in words if word in COLOURS]
    rest = [word for word in text.split() if word.lower() not in COLOURS]
    # A band may read “12”, “A7” or “X”; a longer word is a colour that we do not have.
    strange = [word for word in rest if word.isalpha() and len(word) > 2]
    if strange:
        known = ", ".join(BandColour.values)
        raise ValueError(f"“{' '.join(strange)}” is not a band colour. Choose from: {known}.")
    if len(colours) > 1:
        raise ValueError("Give one colour; put any others under lasting traits.")
    number = " ".join(rest)
    limit = Bird._meta.get_field("band_number").max_length
    if len(number) > limit:
        raise ValueError(f"The band number “{number}” is longer than {limit} characters.")
    return (colours[0] if colours else ""), number


# “Dill red 3”: a colour and a number at the end are a band, also where the comma was left out.
BAND_AT_END = re.compile(rf"(\S.*?)\s+((?:{'|'.join(COLOURS)})\s+\d+)", re.IGNORECASE)


def read_line(number: int, text: str) -> Line:
    line = Line(number, text)
    parts = [part.strip() for part in re.split(r"[,;\t]", text)]
    if len(parts) == 1 and (found := BAND_AT_END.fullmatch(parts[0])):
        parts = list(found.groups())
    if len(parts) > 3:
        line.problems.append("Too many commas: write name, band, breed.")
        return line
    name, band, breed = (*parts, "", "")[:3]
    if not name:
        line.problems.append("The name is missing.")
    for what, value, model in (("name", name, Bird), ("breed", breed, Breed)):
        limit = model._meta.get_field("name").max_length
        if len(value) > limit:
            line.problems.append(f"The {what} is longer than {limit} characters.")
    try:
        one_line(text.replace("\t", " "))
    except ValidationError:
        line.problems.append("It contains an invisible character. Type it again.")
    try:
        colour, band_number = read_band(band)
    except ValueError as error:
        line.problems.append(str(error))
    else:
        line.bird = NewBird(name, colour, band_number, breed)
    return line


class BirdListForm(KeeperForm):
    lines = forms.CharField(
        label="One bird on each line",
        max_length=30_000,
        strip=False,
        widget=forms.Textarea(
            attrs={
                "rows": 10,
                "placeholder": "Dill, green 12, Sussex\nMace, red\nSorrel",
                "spellcheck": "false",
            }
        ),
        help_text="Name, band, breed, with commas between. Only the name is needed. "
        "A piece of a spreadsheet can be pasted too.",
    )

    def __init__(self, *args, flock, **kwargs):
        super().__init__(*args, **kwargs)
        self.flock = flock
        self.read: list[Line] = []

    def clean_lines(self):
        text = self.cleaned_data["lines"]
        self.read = [
            read_line(number, line.strip())
            for number, line in enumerate(text.splitlines(), 1)
            if line.strip()
        ]
        if not self.read:
            raise ValidationError("Enter at least one bird.")
        if len(self.read) > MOST_LINES:
            raise ValidationError(f"That is more than {MOST_LINES} lines. Add them in parts.")
        self._find_doubles()
        wrong = [line for line in self.read if line.problems]
        if wrong:
            lines = ", ".join(str(line.number) for line in wrong)
            raise ValidationError(
                f"Please correct line {lines}; nothing has been added yet."
                if len(wrong) == 1
                else f"Please correct lines {lines}; nothing has been added yet."
            )
        return text

    def _find_doubles(self):
        here = Bird.objects.present().filter(flock=self.flock).values_list("name", flat=True)
        taken = {name.lower(): None for name in here}
        for line in self.read:
            if line.bird is None or not line.bird.name:
                continue
            key = line.bird.name.lower()
            if key not in taken:
                taken[key] = line.number
            elif taken[key] is None:
                line.problems.append(f"{line.bird.name} is in this flock already.")
            else:
                line.problems.append(f"The same name as in line {taken[key]}.")

    def birds(self) -> list[NewBird]:
        return [line.bird for line in self.read]
