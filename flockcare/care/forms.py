"""The shape of care given, of a vet, of a thing in the kit and of the smaller questions."""

import uuid
from datetime import timedelta

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from flockcare.care import parts
from flockcare.care.courses import WHOLE_FLOCK
from flockcare.care.holds import still_runs
from flockcare.care.models import (
    FOR_A_VET,
    MEDICATED,
    MOST_DAYS,
    OF_A_VISIT,
    SUPPLY,
    WITHHOLDING,
    CareStep,
    DaysFrom,
    ItemKind,
    KitItem,
    MedicineGiven,
    StepKind,
    VetContact,
)
from flockcare.care.situation import usual_due
from flockcare.care.vet import PLAN_DAYS
from flockcare.core.forms import KeeperForm, KeeperModelForm
from flockcare.core.lines import one_line
from flockcare.drawing.dates import short_words
from flockcare.people.models import Keeper
from flockcare.photos.models import Foot

USUAL, ON_A_DAY, NOT_AGAIN = "usual", "day", "no"
BY_THE_VET = "vet"
NOBODY = "nobody"
THE_VET = "the vet"
HERSELF = [("", "the whole bird")]
UNDECIDED = "?"  # A first value that is none of the choices: nothing is chosen ahead.
DAY = {"format": "%Y-%m-%d", "attrs": {"type": "date"}}
MOMENT = {"format": "%Y-%m-%dT%H:%M", "attrs": {"type": "datetime-local"}}
WITHDRAWAL_DAYS = {
    "egg_days": "Withdrawal: days without eggs",
    "meat_days": "Withdrawal: days without meat",
}
DAYS_UNKNOWN = "As the vet or the label says; 0 for none. Blank means not known."


def posted(request):
    """What a form is bound to: what was sent, were it nothing at all."""
    return request.POST if request.method == "POST" else None


def day_input():
    # The one form that browsers take for a date field, whatever the language.
    return forms.DateInput(**DAY)


def moment_field(label: str) -> forms.DateTimeField:
    return forms.DateTimeField(
        label=label,
        widget=forms.DateTimeInput(**MOMENT),
        input_formats=["%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M"],
        error_messages={"invalid": "Give the day and the time, like 2026-03-14 17:30."},
    )


class ItemSelect(forms.Select):
    """Marks what contains no medicine, so that the page asks for no days of it."""

    def create_option(self, name, value, *args, **kwargs):
        option = super().create_option(name, value, *args, **kwargs)
        if getattr(value, "instance", None) and value.instance.no_medicine:
            option["attrs"]["data-no-medicine"] = ""
        return option


class ItemChoice(forms.ModelChoiceField):
    """Things of the kit; what holds a pain reliever says so before it is chosen."""

    widget = ItemSelect

    def label_from_instance(self, item):
        if item.pain_reliever:
            return f"{item} (added pain reliever: ask a vet first)"
        return str(item)


_CHIPS = ("kind", "outcome", "bleeding", "days_from", "decided_by", "medicine_given")


SUPPLY_LABELS = {
    "supplier": "Dispensed or sold by",
    "supplied_on": "Obtained on",
    "supplied_amount": "How much was obtained",
    "prescribed_by": "Prescribed by",
}


class StepForm(KeeperModelForm):
    """Care given to one bird, or a visit to the vet. A new one may be of several kinds at once."""

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
    at = moment_field("When")
    plan_is_long = forms.BooleanField(
        label="The vet said so: longer than four weeks", required=False
    )
    again = forms.ChoiceField(
        label="Due again",
        choices=[(USUAL, "as usual"), (ON_A_DAY, "on the day below"), (NOT_AGAIN, "not again")],
        required=False,
        widget=forms.RadioSelect,
        help_text="As usual: tomorrow; a monitored foot when its next check is due; a vet or a "
        "medicine only on a day that you give.",
    )

    class Meta:
        model = CareStep
        fields = [
            *("foot", "kind", "product", "item", "amount", "at", "next_due"),
            *("outcome", "bleeding", "given_until", "egg_days", "meat_days", "days_from", "note"),
            *("no_medicine", "batch", "quantity", "decided_by", "past", "contact", "question"),
            *("found", "plan", "plan_until", "laboratory", "medicine_given"),
            *SUPPLY,
        ]
        widgets = {
            "kind": forms.RadioSelect,
            "decided_by": forms.RadioSelect,
            "medicine_given": forms.RadioSelect,
            "plan_until": day_input(),
            "supplied_on": day_input(),
            **dict.fromkeys(
                ("question", "found", "plan", "laboratory"), forms.Textarea(attrs={"rows": 2})
            ),
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
            "no_medicine": "It contains no medicine (a plain salve)",
            "past": "Long past: nothing is due, no eggs are withdrawn",
            "medicine_given": "Was a medicine given or prescribed?",
            "question": "What you asked",
            "found": "What the vet found or said",
            "plan": "The plan",
            **SUPPLY_LABELS,
            **WITHDRAWAL_DAYS,
        }
        help_texts = {
            "egg_days": DAYS_UNKNOWN,
            "meat_days": "Blank means not known.",
            "given_until": "Days are counted from the last time it was given.",
            "quantity": "Such as “2 ml” or “a pea of ointment”. A record, not a dose to follow.",
            "plan_until": "Blank: four weeks. But “vet today” and “vet within days” stand until a "
            "day is named.",
            "decided_by": "“As the vet said” is printed only where the vet decided.",
            "medicine_given": "Not known: eggs and meat are withdrawn until you know.",
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
        self.fields["contact"].queryset = VetContact.objects.filter(flock=flock)
        self.members = {str(one.pk): one for one in Keeper.objects.filter(membership__flock=flock)}
        if not self.editing:
            kinds = self.fields["kind"]
            self.fields["kind"] = forms.MultipleChoiceField(
                label=kinds.label,
                choices=kinds.choices,
                widget=forms.CheckboxSelectMultiple,
                error_messages=kinds.error_messages,
            )
        items = () if self.editing else self.fields["item"].queryset
        parts.add_fields(self, () if self.editing else ("soak", "rinse", "dressing"), items)
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
        for name in _CHIPS:
            field = self.fields[name]
            field.choices = [choice for choice in field.choices if choice[0] != ""]

    def clean(self):
        said = super().clean()
        if "foot" not in self.data:
            self.add_error("foot", "Say which foot, or that it was done to the bird as a whole.")
        self.kinds = self._kinds(said)
        kind, at = said.get("kind"), said.get("at")
        if kind and at:
            said["next_due"] = self._due(said, kind, at)
        self._of_a_visit(kind, said)
        self._of_a_medicine(kind, said)
        self._of_the_past(kind, said)
        if StepKind.LIFTED not in self.kinds:
            said.update(outcome="", bleeding="")
        if said.get("item") and not said.get("product"):
            said["product"] = said["item"].name
        if not self.editing:
            said["amount"] = parts.pieces_used(said.get("item"), said.get("amount"))
        # What the fields of this kind alone say, where the form's own have nothing.
        if kind and not said.get("product"):
            said.update(parts.said_of(self, kind))
        return said

    def _kinds(self, said) -> list[str]:
        """All that was done; the main one is the ``kind`` of the form's own record."""
        if self.editing or not said.get("kind"):
            return [said["kind"]] if said.get("kind") else []
        try:
            kinds = parts.in_order(said["kind"])
        except ValidationError as error:
            self.add_error("kind", error)
            return []
        said["kind"] = kinds[0]
        return kinds

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

    def _of_a_visit(self, kind, said) -> None:
        if kind != StepKind.VET:
            empty = {name.removesuffix("_id"): "" for name in OF_A_VISIT}
            said.update(empty | {"contact": None, "plan_until": None})
            return
        if not said.get("medicine_given") and "medicine_given" not in self.errors:
            message = "Say whether a medicine was given; “not known” is an answer."
            self.add_error("medicine_given", message)
        self._of_a_plan(said)

    def _of_a_plan(self, said) -> None:
        """A plan outdoes the advice while it holds, so that it says what to do, and is no slip."""
        until, at = said.get("plan_until"), said.get("at")
        if until and not said.get("plan") and "plan" not in self.errors:
            self.add_error("plan", "Say what the plan is. Without it the advice stands.")
        if not (until and at) or said.get("plan_is_long"):
            return
        usual = at.astimezone(self.flock.zone).date() + timedelta(PLAN_DAYS)
        if until > usual and until != self.instance.plan_until:
            message = f"That is more than four weeks ({short_words(usual, at.date())}). If the vet "
            self.add_error("plan_until", message + "said so, tick it below.")

    def _of_a_medicine(self, kind, said) -> None:
        item = said.get("item")
        at_the_vets = said.get("medicine_given") == MedicineGiven.YES
        plain = bool(said.get("no_medicine") or (item and item.no_medicine))
        said["no_medicine"] = plain = plain and kind == StepKind.OINTMENT
        if plain or not (kind in WITHHOLDING or at_the_vets):
            said.update(egg_days=None, meat_days=None, days_from="", given_until=None)
        elif item:
            self._days_of(item, said)
        if not (kind in WITHHOLDING or at_the_vets):
            said.update(batch="", quantity="", supplied_on=None)
            said.update(dict.fromkeys(set(SUPPLY) - {"supplied_on"}, ""))
        elif item and not said.get("batch"):
            said["batch"] = item.batch
        if kind != StepKind.VET and kind not in WITHHOLDING:
            said["decided_by"] = ""

    def _of_the_past(self, kind, said) -> None:
        """Nothing that still runs is past."""
        if not (said.get("past") and kind and said.get("at")):
            return
        names = ("at", "given_until", "egg_days", "meat_days", "no_medicine", "medicine_given")
        given = CareStep(flock=self.flock, bird=self.bird, kind=kind)
        for name in names:
            setattr(given, name, said.get(name))
        zone = self.flock.zone
        if words := still_runs(given, today=timezone.localdate(timezone.now(), zone), zone=zone):
            message = f"It is not past yet: {words}. Leave this unticked."
            self.add_error("past", message)

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
        if not self.editing and step.kind != StepKind.LIFTED:
            step.outcome = step.bleeding = ""
        return step

    def steps(self) -> list[CareStep]:
        """All that a valid form of new care says, the main one first; not saved."""
        main, said = self.step(), self.cleaned_data
        more = [
            CareStep(
                # Sent again it has the same key.
                pk=uuid.uuid5(main.pk, kind),
                flock=self.flock,
                bird=self.bird,
                foot=main.foot,
                kind=kind,
                at=main.at,
                keeper=main.keeper,
                keeper_name=main.keeper_name,
                past=main.past,
                next_due=self._due(said, kind, main.at),
                **parts.said_of(self, kind),
            )
            for kind in self.kinds[1:]
        ]
        for step in more:
            if step.kind == StepKind.LIFTED:
                step.outcome, step.bleeding = said["outcome"], said["bleeding"]
        return [main, *more]

    @property
    def part_fields(self) -> list[tuple]:
        """For the page: what to call it, its product and how much of it."""
        return [(name, self[f"with_{name}"], self[f"much_{name}"]) for name in self.part_names]

    @property
    def suggestions_open(self) -> bool:
        return bool(self.errors) or self.editing

    @property
    def visit_open(self) -> bool:
        """Whether what is folded away of a visit holds anything, or is refused."""
        folded = ("laboratory", "contact")
        return any(self[name].errors or (self.editing and self[name].value()) for name in folded)


class GiveForm(KeeperModelForm):
    """A medicine in water or feed: for every bird of a house, or of the flock, at once."""

    FLOCK = "flock"
    give_id = forms.UUIDField(widget=forms.HiddenInput)
    whom = forms.ChoiceField(label="Who gets it", widget=forms.RadioSelect)
    item = ItemChoice(
        label="From the kit", queryset=KitItem.objects.none(), required=False, empty_label="nothing"
    )
    at = moment_field("First given")

    class Meta:
        model = CareStep
        fields = [
            *("product", "item", "batch", "quantity", "at", "given_until"),
            *("egg_days", "meat_days", "days_from", "decided_by", "note", "kind", *SUPPLY),
        ]
        widgets = {
            "kind": forms.RadioSelect,
            "supplied_on": day_input(),
            "given_until": day_input(),
            "days_from": forms.RadioSelect,
            "decided_by": forms.RadioSelect,
            "note": forms.Textarea(attrs={"rows": 2}),
        }
        labels = {
            "kind": "What it is",
            "product": "Which one",
            **SUPPLY_LABELS,
            "days_from": "Who named these days",
            "egg_days": "Withdrawal: days without their eggs",
            "meat_days": "Withdrawal: days without their meat",
        }
        help_texts = {
            "egg_days": DAYS_UNKNOWN,
            "given_until": "It is on Today each day until then, to tick off.",
            "quantity": "Such as “5 ml in 10 l of water”. A record, not a dose to follow.",
        }

    def __init__(self, data=None, *, flock, houses, keeper, now):
        step = CareStep(flock=flock, keeper=keeper, kind=StepKind.MEDICINE)
        # What said nothing of it yet gave a medicine.
        if data is not None and "kind" not in data:
            data = data.copy()
            data["kind"] = StepKind.MEDICINE
        super().__init__(data, instance=step, initial={"give_id": uuid.uuid4(), "at": now})
        self.fields["item"].queryset = KitItem.objects.filter(flock=flock)
        self.houses = {str(house.pk): house for house in houses}
        self.fields["whom"].choices = [
            (self.FLOCK, WHOLE_FLOCK),
            *((key, house.name) for key, house in self.houses.items()),
        ]
        self.fields["kind"].choices = [
            (StepKind.MEDICINE, "a medicine in water or feed"),
            (StepKind.VACCINE, "a vaccine"),
        ]
        for name in ("days_from", "decided_by"):
            self.fields[name].choices = [one for one in self.fields[name].choices if one[0] != ""]

    versioned = False

    def clean(self):
        said = super().clean()
        if item := said.get("item"):
            said["product"] = said.get("product") or item.name
            said["batch"] = said.get("batch") or item.batch
            StepForm._days_of(item, said)
        if not said.get("product") and "product" not in self.errors:
            self.add_error("product", "Say which medicine it is.")
        return said

    @property
    def house(self):
        """The house whose birds get it; None for the whole flock."""
        return self.houses.get(self.cleaned_data["whom"])


class ContactForm(KeeperModelForm):
    class Meta:
        model = VetContact
        fields = ["name", "telephone", "note", "is_usual"]
        widgets = {
            "telephone": forms.TextInput(attrs={"type": "tel", "autocomplete": "off"}),
            "note": forms.Textarea(attrs={"rows": 3}),
        }
        labels = {"name": "Vet or practice", "is_usual": "The one to ring first"}
        help_texts = {"note": "Such as who answers at night and on Sundays, by which number."}


class PrescriptionForm(KeeperForm):
    prescription = forms.FileField(
        label="Photo of the prescription",
        widget=forms.FileInput(attrs={"accept": "image/*,.heic"}),
        error_messages={"required": "Choose a photo first."},
    )


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
        label=WITHDRAWAL_DAYS["egg_days"], min_value=0, max_value=MOST_DAYS, required=False
    )
    meat_days = forms.IntegerField(
        label=WITHDRAWAL_DAYS["meat_days"], min_value=0, max_value=MOST_DAYS, required=False
    )
    days_from = forms.ChoiceField(
        label="Who named these days (needed)",
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
            *("no_medicine", "batch"),
        ]
        labels = {
            "no_medicine": "It contains no medicine (a plain salve): nothing is withdrawn",
            **WITHDRAWAL_DAYS,
        }
        widgets = {
            "stock": forms.NumberInput(attrs={"min": "0", "step": "any"}),
            "expires_on": day_input(),
            "opened_on": day_input(),
            "note": forms.Textarea(attrs={"rows": 2}),
            "days_from": forms.RadioSelect(attrs={"class": "chips"}),
            "pain_reliever": forms.RadioSelect(attrs={"class": "chips"}),
        }
        help_texts = {
            "stock": "Leave blank if nobody counts it.",
            "unit": "Such as ml, g, pads or rolls.",
            "low_at": "Add to the shopping list at or below this.",
            "egg_days": DAYS_UNKNOWN,
        }

    of_medicine = ("no_medicine", "egg_days", "meat_days", "days_from", "pain_reliever", "batch")

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["days_from"].choices = DaysFrom.choices
        # What cuts or pulls is a vet's; an old record of it stays what it is.
        self.fields["kind"].choices = [
            (value, label)
            for value, label in ItemKind.choices
            if value not in FOR_A_VET or value == self.instance.kind
        ]
        # Whoever edits the rest leaves alone what steps of care took off meanwhile.
        self.fields["stock"].show_hidden_initial = True

    def clean_stock(self):
        """One tap may take more than was counted; nobody counts less than nothing."""
        stock = self.cleaned_data["stock"]
        if stock is not None and stock < 0 and "stock" in self.changed_data:
            raise ValidationError("Enter 0 or more.")
        return stock

    def clean(self):
        said = super().clean()
        if said.get("kind") not in MEDICATED:
            said.update(no_medicine=False, pain_reliever=None, batch="")
        if said.get("kind") not in MEDICATED or said.get("no_medicine"):
            said.update(egg_days=None, meat_days=None, days_from="")
        return said

    @property
    def plain_fields(self):
        """What is asked of everything in the kit."""
        return [field for field in self.visible_fields() if field.name not in self.of_medicine]

    @property
    def medicine_fields(self):
        return [self[name] for name in self.of_medicine]
