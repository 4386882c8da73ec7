"""What keepers send about photos: an outline and its scale, a crop, a choice of cards."""

import json
from math import isfinite

from django import forms
from django.core.exceptions import ValidationError

from flockcare.birds.models import Bird
from flockcare.core.forms import KeeperForm
from flockcare.photos.measuring import MOST_POINTS
from flockcare.photos.models import CardPrint, Photo, Scaling
from flockcare.photos.scale import ID_1_CARD_MM

NO_SCALE = "Tap both ends of the known length in the photo first."
NO_LENGTH = "Say how many millimetres the known length is."
NO_TAP = "Tap in the middle of the sore first."


class PointsField(forms.CharField):
    """A JSON list of [x, y] pairs of finite numbers."""

    def __init__(self, **kwargs):
        super().__init__(required=False, widget=forms.HiddenInput, max_length=50_000, **kwargs)

    def clean(self, value):
        text = super().clean(value)
        if not text:
            return []
        try:
            points = [(float(x), float(y)) for x, y in json.loads(text)]
        except (ValueError, TypeError, RecursionError) as error:
            raise ValidationError("These points cannot be read. Draw them again.") from error
        if not all(isfinite(value) for point in points for value in point):
            raise ValidationError("These points cannot be read. Draw them again.")
        return points


class MeasureForm(KeeperForm):
    """An outline and what gives its scale; places are pixels of the original."""

    LONG, SHORT, OTHER = "long", "short", "other"
    KNOWN = {
        OTHER: "A ruler, or anything else",
        LONG: f"Bank card, long side ({ID_1_CARD_MM[0]:.2f} mm)",
        SHORT: f"Bank card, short side ({ID_1_CARD_MM[1]:.2f} mm)",
    }

    HEIGHTS = {"": "Not checked", "0": "Level", "3": "3 mm", "5": "5 mm", "8": "8 mm"}

    outline = PointsField()
    tap = PointsField()
    ends = PointsField()
    px_per_screen_px = forms.FloatField(required=False, min_value=0, widget=forms.HiddenInput)
    # Of the suggested edge, until a point of it is moved.
    spread = forms.FloatField(required=False, min_value=0, max_value=10, widget=forms.HiddenInput)
    scaled_by = forms.ChoiceField(
        choices=[(each.value, each.label.capitalize()) for each in Scaling],
        initial=Scaling.CARD,
        required=False,
        widget=forms.RadioSelect,
    )
    known = forms.ChoiceField(
        label="Known length", choices=KNOWN.items(), initial=OTHER, required=False
    )
    length_mm = forms.FloatField(
        label="Its length in mm",
        required=False,
        min_value=0.1,
        max_value=1000,
        widget=forms.NumberInput(attrs={"step": "any", "inputmode": "decimal"}),
    )
    height_mm = forms.TypedChoiceField(
        label="How high the sore stands above the card",
        choices=HEIGHTS.items(),
        coerce=float,
        empty_value=None,
        required=False,
        widget=forms.RadioSelect,
    )
    # For those whose browser runs no script.
    tap_left = forms.FloatField(label="% from the left", required=False, min_value=0, max_value=100)
    tap_top = forms.FloatField(label="% from the top", required=False, min_value=0, max_value=100)

    def clean_outline(self):
        points = self.cleaned_data["outline"]
        if len(points) > MOST_POINTS:
            raise ValidationError(f"The outline has more than {MOST_POINTS} points.")
        return points

    def clean_spread(self):
        return self.cleaned_data["spread"] or 0.0

    def known_mm(self) -> float | None:
        sides = {self.LONG: ID_1_CARD_MM[0], self.SHORT: ID_1_CARD_MM[1]}
        return sides.get(self.cleaned_data.get("known"), self.cleaned_data.get("length_mm"))

    @property
    def by_length(self) -> bool:
        return self.cleaned_data.get("scaled_by") == Scaling.LENGTH


class CropForm(KeeperForm):
    """How much is cut off at each side, in percent of the whole photo as it is turned now."""

    left = forms.IntegerField(label="Cut off on the left", min_value=0, max_value=95)
    right = forms.IntegerField(label="Cut off on the right", min_value=0, max_value=95)
    top = forms.IntegerField(label="Cut off at the top", min_value=0, max_value=95)
    bottom = forms.IntegerField(label="Cut off at the bottom", min_value=0, max_value=95)

    def __init__(self, *args, photo: Photo, **kwargs):
        self.photo = photo
        super().__init__(*args, initial=self._cut_off(), **kwargs)
        for field in self.fields.values():
            field.widget = forms.NumberInput(attrs={"type": "range", "min": 0, "max": 95})

    def clean(self):
        said = super().clean()
        for one, other in (("left", "right"), ("top", "bottom")):
            if said.get(one, 0) + said.get(other, 0) >= 98:
                raise ValidationError("Nothing would be left of the photo. Cut off less.")
        return said

    # Sides of the original in the order of a crop box, and where each lies after the turns.
    _SIDES = ("left", "top", "right", "bottom")

    def _cut_off(self) -> dict[str, int]:
        left, top, right, bottom = self.photo.crop_box
        width, height = self.photo.width, self.photo.height
        shares = (left / width, top / height, 1 - right / width, 1 - bottom / height)
        return {
            self._SIDES[(number + self.photo.quarter_turns) % 4]: round(100 * share)
            for number, share in enumerate(shares)
        }

    def box(self) -> tuple[int, int, int, int]:
        """In pixels of the original."""
        left, top, right, bottom = (
            self.cleaned_data[self._SIDES[(number + self.photo.quarter_turns) % 4]] / 100
            for number in range(4)
        )
        width, height = self.photo.width, self.photo.height
        return (
            round(left * width),
            round(top * height),
            round((1 - right) * width),
            round((1 - bottom) * height),
        )


class PrintForm(KeeperForm, forms.ModelForm):
    """How large one printed card is, by a ruler."""

    class Meta:
        model = CardPrint
        fields = ["across_mm", "down_mm"]


class CardsForm(KeeperForm):
    """Which cards to print, and on what."""

    PAPERS = {"a4": "A4", "letter": "US Letter"}
    MOST_ON_A_SHEET = 10
    BIRD, FEET = "bird", "feet"

    birds = forms.ModelMultipleChoiceField(
        Bird.objects.none(),
        required=False,
        label="Birds (none chosen: all)",
        widget=forms.CheckboxSelectMultiple,
    )
    cards_for = forms.ChoiceField(
        label="Cards",
        choices={BIRD: "One for each bird", FEET: "Two for each bird: left foot, right foot"},
        widget=forms.RadioSelect,
    )
    paper = forms.ChoiceField(choices=PAPERS, widget=forms.RadioSelect)
    per_sheet = forms.IntegerField(
        label="Cards on a sheet",
        min_value=1,
        max_value=MOST_ON_A_SHEET,
        help_text=f"At most {MOST_ON_A_SHEET} fit. They come within 5 mm of the paper’s edges; "
        "if your printer leaves more out, take 8.",
    )

    def __init__(self, *args, flock, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["birds"].queryset = Bird.objects.filter(flock=flock).present()
