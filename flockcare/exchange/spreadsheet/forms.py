"""Input of the page that takes in somebody's own spreadsheet."""

from django import forms

from flockcare.core.forms import KeeperForm
from flockcare.exchange.spreadsheet.targets import TABLES


class SheetForm(KeeperForm):
    table = forms.ChoiceField(
        label="What is in the table",
        choices=[(name, words.capitalize()) for name, words in TABLES.items()],
        widget=forms.RadioSelect(attrs={"class": "chips"}),
    )
    file = forms.FileField(
        label="The file",
        required=False,
        help_text="A workbook (.xlsx) or a CSV file, of at most 10 MB.",
        widget=forms.FileInput(attrs={"accept": ".csv,.tsv,.txt,.xlsx,text/csv"}),
    )
    pasted = forms.CharField(
        label="Or paste the rows",
        required=False,
        strip=False,
        max_length=500_000,
        help_text="With the column names in the first row.",
        widget=forms.Textarea(attrs={"rows": 6, "spellcheck": "false"}),
    )

    def clean(self):
        super().clean()
        given = self.cleaned_data.get("file") or self.cleaned_data.get("pasted", "").strip()
        if not given and not {"file", "pasted"} & set(self.errors):
            self.add_error("file", "Choose a file, or paste the rows.")
