"""Which days a sheet is about, and how a link to it, or to a sitter's page, is made."""

from __future__ import annotations

import datetime as dt

from django import forms

from flockcare.core.forms import KeeperForm, KeeperModelForm
from flockcare.core.lines import one_line
from flockcare.drawing.dates import add_months
from flockcare.pages.timeline import OLDEST
from flockcare.vetsheet.models import ShareLink
from flockcare.vetsheet.records import Period
from flockcare.vetsheet.services import SHARE_DAYS

USUAL_DAYS = 30


def _chips():
    return forms.RadioSelect(attrs={"class": "chips"})


def _day():
    return forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")


QUESTION = "Question to the vet"
MOST_ASKED = ShareLink._meta.get_field("question").max_length


class PeriodForm(KeeperForm):
    THREE_MONTHS, YEAR, ALL, OWN = "3", "12", "all", "own"
    USUAL = YEAR

    period = forms.ChoiceField(
        choices=[
            (THREE_MONTHS, "Last 3 months"),
            (YEAR, "Last 12 months"),
            (ALL, "All"),
            (OWN, "From … to …"),
        ],
        widget=_chips(),
        error_messages={"invalid_choice": "Choose one of these periods."},
    )
    first = forms.DateField(label="From", required=False, widget=_day())
    last = forms.DateField(label="To", required=False, widget=_day())
    question = forms.CharField(
        label=QUESTION,
        required=False,
        max_length=MOST_ASKED,
        help_text="Shown at the top of the sheet and its PDF, with today’s date.",
    )

    def __init__(self, data=None, *, newest: dt.date, **kwargs):
        """``newest``: the last day there can be anything of her."""
        if not data or "period" not in data:
            data = {"period": self.USUAL, "question": data.get("question", "") if data else ""}
        super().__init__(data, **kwargs)
        self.newest = newest

    def clean(self):
        super().clean()
        if self.cleaned_data.get("period") != self.OWN or self.errors:
            return
        first, last = self.cleaned_data.get("first"), self.cleaned_data.get("last")
        if not first:
            self.add_error("first", "Say from which day on.")
        elif first < OLDEST:
            self.add_error("first", "That is too long ago. Check the year.")
        elif first > min(last or self.newest, self.newest):
            day = "the day it ends" if last else "the last day on record"
            self.add_error("first", f"This is after {day}.")

    def chosen(self) -> Period:
        """The stretch that was asked for; the usual one where what was asked for is wrong."""
        data = self.cleaned_data if self.is_valid() else {"period": self.USUAL}
        newest = self.newest
        if data["period"] == self.OWN:
            return Period(data["first"], min(data["last"] or newest, newest))
        if data["period"] == self.ALL:
            return Period(None, newest)
        months = int(data["period"])
        return Period(add_months(newest + dt.timedelta(1), -months), newest)

    def as_query(self) -> dict[str, str]:
        """What leads back to the same stretch."""
        if not self.is_valid():
            return {"period": self.USUAL}
        kept = {"period": self.cleaned_data["period"]}
        if question := self.cleaned_data["question"]:
            kept["question"] = question
        if kept["period"] == self.OWN:
            for name in ("first", "last"):
                if day := self.cleaned_data[name]:
                    kept[name] = day.isoformat()
        return kept


class SharingForm(KeeperForm):
    question = forms.CharField(
        label=QUESTION,
        required=False,
        max_length=MOST_ASKED,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="It stays with the link, with today’s date. Anyone with the link can read it.",
    )
    days = forms.TypedChoiceField(
        label="The link works for",
        coerce=int,
        choices=[(days, f"{days} days") for days in SHARE_DAYS],
        initial=USUAL_DAYS,
        widget=_chips(),
        error_messages={
            "required": "Say how long the link should work.",
            "invalid_choice": "Choose one of these times.",
        },
    )
    nameless = forms.BooleanField(
        label="Without the keepers’ names",
        required=False,
        help_text="They become Keeper A, Keeper B and so on, in notes too, even where a name is "
        "also an ordinary word. Names of people who never kept this flock stay.",
    )

    def __init__(self, *args, **kwargs):
        # The form of the period, on the same page, asks the same question.
        super().__init__(*args, auto_id="link_%s", **kwargs)


_NOTE_HELP = (
    "Where feed and water are, when they are let out and shut in, your telephone number. Anyone "
    "with the link can read it."
)


def _note():
    return forms.CharField(
        label="Note for the sitter",
        required=False,
        max_length=ShareLink._meta.get_field("note").max_length,
        help_text=_NOTE_HELP,
        widget=forms.Textarea(attrs={"rows": 4}),
    )


class SitterForm(KeeperForm):
    name = forms.CharField(
        label="Who looks after the birds?",
        max_length=ShareLink._meta.get_field("name").max_length,
        validators=[one_line],
        help_text="What they tick off is logged under this name.",
    )
    first = forms.DateField(label="From", widget=_day())
    last = forms.DateField(label="To, that day included", widget=_day())
    note = _note()


class SitterNoteForm(KeeperModelForm):
    note = _note()

    class Meta:
        model = ShareLink
        fields = ("note",)
