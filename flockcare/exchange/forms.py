"""Input of the pages that bring records in."""

from django import forms
from django.core.exceptions import ValidationError

from flockcare.core.forms import KeeperForm
from flockcare.core.lines import one_line
from flockcare.people.models import Flock

# What the server takes in one form; see ``manage.py up``.
LARGEST_MB = 400


class ImportForm(KeeperForm):
    file = forms.FileField(
        label="The export",
        help_text=f"A zip file of at most {LARGEST_MB} MB. Import a larger one on Flockcare’s "
        "computer, with manage.py import_records.",
        widget=forms.FileInput(attrs={"accept": ".zip,application/zip"}),
    )
    into = forms.ChoiceField(
        label="Into",
        required=False,
        widget=forms.RadioSelect(attrs={"class": "chips"}),
    )
    name = forms.CharField(
        label="Name of the new flock",
        required=False,
        max_length=Flock._meta.get_field("name").max_length,
        validators=[one_line],
    )

    def __init__(self, *args, empty: list[Flock], **kwargs):
        super().__init__(*args, **kwargs)
        self.empty = {str(flock.pk): flock for flock in empty}
        if empty:
            self.fields["into"].choices = [
                ("", "a new flock"),
                *((key, f"{flock}, which is empty") for key, flock in self.empty.items()),
            ]
            self.fields["name"].help_text = "Only for a new flock."
        else:
            del self.fields["into"]

    def clean_file(self):
        file = self.cleaned_data["file"]
        if file.size > LARGEST_MB * 2**20:
            raise ValidationError(f"This file is larger than {LARGEST_MB} MB.")
        return file

    def clean(self):
        super().clean()
        into = self.empty.get(self.cleaned_data.get("into", ""))
        self.cleaned_data["into"] = into
        if into is None and not self.cleaned_data.get("name") and "name" not in self.errors:
            self.add_error("name", "Give the new flock a name.")
