"""What a keeper says about the photos they have chosen."""

import uuid

from django import forms
from django.core.exceptions import ValidationError

from flockcare.birds.models import Bird
from flockcare.core.dates import PartialDate, PartialDateFormField
from flockcare.core.forms import KeeperForm, record_keys
from flockcare.feet.scales import LESION
from flockcare.feet.sorting import Given

NOBODY = "nobody knows"
WHOLE = "whole"


def photo_keys(data) -> list[uuid.UUID]:
    """The photos that a form names."""
    return record_keys(data.getlist("photo"))


class SortForm(KeeperForm):
    bird = forms.CharField(label="Bird", required=False)
    foot = forms.ChoiceField(
        label="Foot",
        required=False,
        choices=[("", "As is"), ("left", "Left"), ("right", "Right"), (WHOLE, "Neither")],
        widget=forms.RadioSelect,
    )
    score = forms.TypedChoiceField(
        label="Score",
        required=False,
        coerce=int,
        empty_value=None,
        choices=[("", "None"), *((step.value, step.short) for step in LESION.steps)],
        widget=forms.RadioSelect,
        error_messages={"invalid_choice": "The lesion score is 0, 1 or 2."},
    )
    date = PartialDateFormField(
        label="Date",
        required=False,
        help_text="2023-05-14, or only 2023-05 or 2023.",
    )
    dates_right = forms.BooleanField(label="The dates are right", required=False)

    def __init__(self, *args, flock, **kwargs):
        super().__init__(*args, **kwargs)
        self.flock = flock
        self.photo_keys = photo_keys(self.data) if self.is_bound else []

    def clean_bird(self):
        said = self.cleaned_data["bird"]
        if said in ("", NOBODY):
            return said
        try:
            return Bird.objects.get(flock=self.flock, pk=said)
        except (Bird.DoesNotExist, ValidationError):
            raise ValidationError("There is no such bird in this flock.") from None

    def clean(self):
        said = super().clean()
        if not self.photo_keys:
            raise ValidationError("Choose one or more photos first.")
        if not self.errors and not any(value not in ("", None, False) for value in said.values()):
            raise ValidationError("Say what these photos show: bird, foot, score or date.")
        return said

    def given(self) -> Given:
        """What a valid form says."""
        said = self.cleaned_data
        named = isinstance(said["bird"], Bird)
        return Given(
            bird=said["bird"] if named else None,
            nobody_knows=said["bird"] == NOBODY,
            foot=None if not said["foot"] else said["foot"].replace(WHOLE, ""),
            score=said["score"],
            date=PartialDate.parse(said["date"]) if said["date"] else None,
            dates_right=said["dates_right"],
        )


class OneForm(SortForm):
    """What a keeper says about one photo. Its button “Nobody can tell” stands for all the rest."""

    def __init__(self, data=None, **kwargs):
        if data and data.get("nobody"):
            data = data.copy()
            data.update({"bird": NOBODY})
            data["score"] = ""
        super().__init__(data, **kwargs)
        self.fields["foot"].choices = [
            ("left", "Left"),
            ("right", "Right"),
            (WHOLE, "Neither"),
        ]
        self.fields["score"].choices = self.fields["score"].choices[1:]
