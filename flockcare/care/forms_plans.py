"""The shape of a plan of care, and of moving and stopping it."""

from django import forms

from flockcare.care import parts
from flockcare.care.forms import DAYS_UNKNOWN, HERSELF, WITHDRAWAL_DAYS, StepForm, day_input
from flockcare.care.models import PLANNED, WHAT, WITHHOLDING, CarePlan, KitItem, StepKind
from flockcare.core.forms import KeeperForm, KeeperModelForm
from flockcare.core.lines import one_line
from flockcare.people.models import Keeper
from flockcare.photos.models import Foot

HEALED, ON_A_DAY = "healed", "day"
ASK_FIRST = "Ask the vet before you stop a course. Never use leftovers."


class PlanForm(KeeperModelForm):
    foot = forms.ChoiceField(
        label="Which foot",
        choices=[*Foot.choices, *HERSELF],
        required=False,
        widget=forms.RadioSelect,
    )
    parts = forms.MultipleChoiceField(
        label="What is to be done",
        choices=[(kind.value, WHAT[kind]) for kind in PLANNED],
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Say what is to be done."},
    )
    ends = forms.ChoiceField(
        label="How long",
        choices=[(HEALED, "until healed"), (ON_A_DAY, "until the day below")],
        widget=forms.RadioSelect,
        help_text="Healed: a later check finds the foot clear.",
    )
    turns = forms.MultipleChoiceField(
        label="Whose turn",
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="Nobody ticked: anyone. Several: by turns.",
    )

    class Meta:
        model = CarePlan
        fields = [
            *("foot", "every_days", "since", "until", "no_medicine", "egg_days", "meat_days"),
            *("days_from", "decided_by", "batch", "quantity", "note"),
        ]
        widgets = {
            "every_days": forms.NumberInput(attrs={"min": "1", "inputmode": "numeric"}),
            "since": day_input(),
            "until": day_input(),
            "days_from": forms.RadioSelect,
            "decided_by": forms.RadioSelect,
            "note": forms.Textarea(attrs={"rows": 2}),
        }
        labels = {
            "every_days": "Days from one to the next (1: every day)",
            "quantity": "How much is given",
            "until": "Last day",
            "no_medicine": "It contains no medicine (a plain salve)",
            "days_from": "Who named these days",
            **WITHDRAWAL_DAYS,
        }
        help_texts = {
            "egg_days": DAYS_UNKNOWN,
            "meat_days": "Blank means not known.",
            "quantity": "As the vet said, such as “2 ml”.",
            "decided_by": "“As the vet said” is printed only where the vet decided.",
        }

    also_shown = ("parts", "turns")

    def __init__(self, data=None, *, flock, plan: CarePlan, initial=None):
        self.flock, adding = flock, plan._state.adding
        given = {part["kind"]: part for part in plan.parts}
        own = {
            "ends": HEALED if adding or not plan.until else ON_A_DAY,
            "parts": list(given),
            "turns": [key or name for key, name in plan.turns],
        }
        for name, kinds in parts.WITH.items():
            if part := next((given[kind] for kind in kinds if kind in given), None):
                own |= {f"with_{name}": part["product"], f"much_{name}": part["amount"]}
        super().__init__(data, instance=plan, initial={**own, **(initial or {})})
        parts.add_fields(self, parts.WITH, KitItem.objects.filter(flock=flock))
        members = Keeper.objects.filter(membership__flock=flock).order_by("name", "pk")
        people = {str(one.pk): one.name for one in members}
        # Whoever has no account here keeps their turn.
        self.people = people | {name: name for key, name in plan.turns if not key}
        self.members = set(people)
        self.fields["turns"].choices = list(self.people.items())
        for name in ("days_from", "decided_by"):
            field = self.fields[name]
            field.choices = [choice for choice in field.choices if choice[0] != ""]

    def clean(self):
        said = super().clean()
        if "foot" not in self.data:
            self.add_error("foot", "Say which foot, or that it is done to the bird as a whole.")
        kinds = said.get("parts") or []
        if said.get("ends") == HEALED:
            said["until"] = None
        elif not said.get("until") and "until" not in self.errors:
            self.add_error("until", "Give the last day, or choose “until healed”.")
        self._of_a_medicine(kinds, said)
        self.instance.parts = [self._part(kind) for kind in PLANNED if kind in kinds]
        turns = said.get("turns") or []
        self.instance.turns = [[one, ""] if one in self.members else ["", one] for one in turns]
        return said

    def _part(self, kind: str) -> dict:
        said = parts.said_of(self, kind)
        # What is counted in pieces is counted when it is used; here stands what was typed.
        name = next(name for name, kinds in parts.WITH.items() if kind in kinds)
        amount = self.cleaned_data.get(f"much_{name}")
        return {
            "kind": str(kind),
            "product": said["product"],
            "amount": None if amount is None else f"{amount.normalize():f}",
        }

    def _of_a_medicine(self, kinds, said) -> None:
        holds = set(kinds) & set(WITHHOLDING)
        item = parts.said_of(self, min(holds))["item"] if holds else None
        plain = said.get("no_medicine") or bool(item and item.no_medicine)
        said["no_medicine"] = plain = plain and StepKind.OINTMENT in kinds
        if plain or not holds:
            said.update(egg_days=None, meat_days=None, days_from="")
        elif item:
            StepForm._days_of(item, said)
        if not holds:
            said.update(batch="", quantity="", decided_by="")
        elif item and not said.get("batch"):
            said["batch"] = item.batch
        if StepKind.MEDICINE in kinds and not said.get("with_medicine"):
            self.add_error("with_medicine", "Say which medicine it is.")

    part_fields = StepForm.part_fields


class MoveForm(KeeperForm):
    to = forms.DateField(
        label="Do it on",
        widget=day_input(),
        error_messages={"required": "Give the day.", "invalid": "Give a day like 2026-03-14."},
    )


class StopForm(KeeperForm):
    because = forms.CharField(
        label="Why it stops",
        max_length=200,
        validators=[one_line],
        error_messages={"required": "Say why, so that the others know."},
    )
