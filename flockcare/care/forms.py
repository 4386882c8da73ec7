"""The shape of a step of care, of a thing in the kit and of the smaller questions."""

import uuid

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from flockcare.care.models import MOST_DAYS, WITHHOLDING, CareStep, DaysFrom, KitItem, StepKind
from flockcare.care.situation import usual_due
from flockcare.core.forms import KeeperForm, KeeperModelForm
from flockcare.core.lines import one_line
from flockcare.people.models import Keeper
from flockcare.photos.models import Foot

USUAL, ON_A_DAY, NOT_AGAIN = "usual", "day", "no"
BY_THE_VET = "vet"
NOBODY = "nobody"
THE_VET = "the vet"
HERSELF = [("", "the bird herself")]
UNDECIDED = "?"  # A first value that is none of the choices: nothing is chosen ahead.
DAY = {"format": "%Y-%m-%d", "attrs": {"type": "date"}}


def posted(request):
    """What a form is bound to: what was sent, were it nothing at all."""
    return request.POST if request.method == "POST" else None


def day_input():
    # The one form that browsers take for a date field, whatever the language.
    return forms.DateInput(**DAY)


class ItemChoice(forms.ModelChoiceField):
    """Things of the kit; what holds a pain reliever says so before it is chosen."""

    def label_from_instance(self, item):
        if item.pain_reliever:
            return f"{item} (added pain reliever: ask a vet first)"
        return str(item)


class StepForm(KeeperModelForm):
    """One step of care of one bird."""

    step_id = forms.UUIDField(widget=forms.HiddenInput)
    foot = forms.ChoiceField(
        label="Which foot",
        choices=[*Foot.choices, *HERSELF],
        required=False,
        widget=forms.RadioSelect,
    )
    item = ItemChoice(
        label="From the kit", queryset=KitItem.objects.none(), required=False, empty_label="nothing"
    )
    who = forms.ChoiceField(label="Who did it")
    at = forms.DateTimeField(
        label="When",
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
        input_formats=["%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M"],
        error_messages={"invalid": "Give the day and the time, like 2026-03-14 17:30."},
    )
    again = forms.ChoiceField(
        label="Due again",
        choices=[(USUAL, "as usual"), (ON_A_DAY, "on the day below"), (NOT_AGAIN, "not again")],
        required=False,
        widget=forms.RadioSelect,
        help_text="As usual: a dressing, soak, rinse or ointment tomorrow, a lifted scab tomorrow, "
        "a watched foot after the flock’s days for sore feet, or sooner where the advice says so. "
        "Vet and medicine: as the vet said.",
    )

    class Meta:
        model = CareStep
        fields = [
            *("foot", "kind", "product", "item", "amount", "at", "next_due"),
            *("outcome", "bleeding", "given_until", "egg_days", "meat_days", "days_from", "note"),
        ]
        widgets = {
            "kind": forms.RadioSelect,
            "outcome": forms.RadioSelect,
            "bleeding": forms.RadioSelect,
            "days_from": forms.RadioSelect,
            "next_due": day_input(),
            "given_until": day_input(),
            "note": forms.Textarea(attrs={"rows": 2}),
            "amount": forms.NumberInput(attrs={"min": "0", "step": "any"}),
            **dict.fromkeys(
                ("egg_days", "meat_days"),
                forms.NumberInput(attrs={"min": "0", "max": str(MOST_DAYS)}),
            ),
        }
        labels = {
            "kind": "What was done",
            "product": "With what",
            "next_due": "The day it is due again",
            "days_from": "Who named these days",
        }
        help_texts = {
            "egg_days": "As the vet or the label says. Empty means that you do not know, not none.",
            "meat_days": "Empty means that you do not know.",
            "given_until": "Days are counted from the last giving.",
        }
        error_messages = {"kind": {"required": "Say what was done."}}

    also_shown = ("keeper_id",)

    def __init__(self, data=None, files=None, *, flock, bird, keeper, step=None, initial=None):
        self.flock, self.bird, self.editing = flock, bird, bool(step)
        bird.flock = flock
        step = step or CareStep(flock=flock, bird=bird, keeper=keeper)
        own = {"step_id": uuid.uuid4(), "again": USUAL, "who": str(keeper.pk), **(initial or {})}
        if self.editing:
            own = {
                "step_id": step.pk,
                "again": ON_A_DAY if step.next_due else NOT_AGAIN,
                "who": str(step.keeper_id or "") or (BY_THE_VET if step.keeper_name else NOBODY),
                "at": step.at,
            }
        super().__init__(data, files, instance=step, initial=own)
        self.fields["item"].queryset = KitItem.objects.filter(flock=flock)
        self.members = {str(one.pk): one for one in Keeper.objects.filter(membership__flock=flock)}
        by = step.keeper_name or THE_VET
        known = not self.editing or step.keeper_id or step.keeper_name
        self.fields["who"].choices = [
            *((key, one.name) for key, one in self.members.items()),
            (BY_THE_VET, by if self.editing else THE_VET),
            *(() if known else [(NOBODY, "not known")]),
        ]
        if self.editing and step.keeper_id and str(step.keeper_id) not in self.members:
            self.members[str(step.keeper_id)] = step.keeper
            self.fields["who"].choices += [(str(step.keeper_id), step.keeper.name)]
        for name in ("kind", "outcome", "bleeding", "days_from"):
            field = self.fields[name]
            field.choices = [choice for choice in field.choices if choice[0] != ""]

    def clean(self):
        said = super().clean()
        if "foot" not in self.data:
            self.add_error("foot", "Say which foot, or that it was done to the bird herself.")
        kind, at = said.get("kind"), said.get("at")
        if kind and at:
            said["next_due"] = self._due(said, kind, at)
        if kind not in WITHHOLDING:
            said.update(egg_days=None, meat_days=None, days_from="", given_until=None)
        elif item := said.get("item"):
            self._days_of(item, said)
        if kind != StepKind.LIFTED:
            said.update(outcome="", bleeding="")
        if said.get("item") and not said.get("product"):
            said["product"] = said["item"].name
        return said

    def _due(self, said, kind, at):
        again = said.get("again") or USUAL
        if again == USUAL:
            on, foot = at.astimezone(self.flock.zone).date(), said.get("foot", "")
            return usual_due(
                kind, on, bird=self.bird, foot=foot, flock=self.flock, now=timezone.now()
            )
        if again == ON_A_DAY and not said.get("next_due") and "next_due" not in self.errors:
            self.add_error("next_due", "Give the day, or choose “as usual” or “not again”.")
        return said.get("next_due") if again == ON_A_DAY else None

    @staticmethod
    def _days_of(item: KitItem, said) -> None:
        """What the kit knows of the product stands in for what was left empty."""
        if said.get("egg_days") is None and said.get("meat_days") is None:
            said.update(egg_days=item.egg_days, meat_days=item.meat_days)
            said["days_from"] = said.get("days_from") or item.days_from

    def step(self) -> CareStep:
        """The step that a valid form says; not saved."""
        step, said = self.instance, self.cleaned_data
        if not self.editing:
            step.pk = said["step_id"]
        keeper = self.members.get(said["who"])
        step.keeper = keeper
        named = not keeper and said["who"] != NOBODY
        step.keeper_name = (step.keeper_name or THE_VET) if named else ""
        return step

    @property
    def suggestions_open(self) -> bool:
        return bool(self.errors) or self.editing


class DropForm(KeeperForm):
    because = forms.CharField(
        label="Why it is not done",
        max_length=200,
        validators=[one_line],
        error_messages={"required": "Say why, so that the others know."},
    )

    def __init__(self, *args, step: CareStep, **kwargs):
        super().__init__(*args, **kwargs)
        self.initial["because"] = step.dropped_because
        self.remember(step, ["dropped_because"])


class DaysForm(KeeperForm):
    """The days of a product that were unknown so far."""

    product = forms.CharField(widget=forms.HiddenInput)
    egg_days = forms.IntegerField(
        label="Days without her eggs", min_value=0, max_value=MOST_DAYS, required=False
    )
    meat_days = forms.IntegerField(
        label="Days without her meat", min_value=0, max_value=MOST_DAYS, required=False
    )
    days_from = forms.ChoiceField(
        label="Who named these days",
        choices=DaysFrom.choices,
        widget=forms.RadioSelect(attrs={"class": "chips"}),
        error_messages={"required": "Say whether the vet or the label named these days."},
    )

    def clean(self):
        said = super().clean()
        if said.get("egg_days") is None and said.get("meat_days") is None and not self.errors:
            raise ValidationError("Enter the days for eggs, for meat or for both.")
        return said


class ItemForm(KeeperModelForm):
    class Meta:
        model = KitItem
        fields = [
            *("name", "kind", "stock", "unit", "low_at", "expires_on", "opened_on", "keeps_days"),
            *("egg_days", "meat_days", "days_from", "pain_reliever", "note"),
        ]
        widgets = {
            "expires_on": day_input(),
            "opened_on": day_input(),
            "note": forms.Textarea(attrs={"rows": 2}),
            "days_from": forms.RadioSelect(attrs={"class": "chips"}),
            "pain_reliever": forms.RadioSelect(attrs={"class": "chips"}),
        }
        help_texts = {
            "stock": "Leave it empty if nobody counts it.",
            "unit": "Such as ml, g, pads or rolls.",
            "low_at": "Add to the shopping list at or below this.",
            "egg_days": "Of an ointment or a medicine, as the vet or the label says. Empty means "
            "that you do not know, not none.",
        }

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["days_from"].choices = DaysFrom.choices
        # Whoever edits the rest leaves alone what steps of care took off meanwhile.
        self.fields["stock"].show_hidden_initial = True


class CalendarForm(KeeperForm):
    at_time = forms.TimeField(
        label="Time of the evening round",
        required=False,
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
        help_text="Care stands in the calendar at this time. Empty: for the whole day.",
        error_messages={"invalid": "Give a time like 18:30."},
    )
