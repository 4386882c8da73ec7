"""What is done to a foot in one go: several kinds of care, each with a product of its own.

In the records each kind is a record; those of one bird, foot, moment and keeper are shown as one.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django import forms
from django.core.exceptions import ValidationError

from flockcare.care.courses import given_in_one
from flockcare.care.models import DRESSED, WITHHOLDING, CareStep, ItemKind, KitItem, StepKind
from flockcare.core.lines import one_line

DRESSINGS = (*DRESSED, StepKind.DRESSING_OFF)
# Never ticked with anything else: a visit has questions of its own, and who monitors does nothing.
ALONE = (StepKind.VET, StepKind.WATCHED)
# The first of these that is ticked has the form's own product, days and photos.
_MAIN = (*WITHHOLDING, *ALONE, StepKind.LIFTED, *DRESSINGS, StepKind.RINSED, StepKind.SOAKED)
# What a product field of its own is called, and which kinds it is for.
WITH = {
    "soak": (StepKind.SOAKED,),
    "rinse": (StepKind.RINSED,),
    "dressing": (StepKind.DRESSING_ON, StepKind.DRESSING_CHANGED),
    "ointment": (StepKind.OINTMENT,),
    "medicine": (StepKind.MEDICINE,),
}
LABELS = {
    "soak": "Soak with",
    "rinse": "Rinse with",
    "dressing": "Dress with",
    "ointment": "Which ointment",
    "medicine": "Which medicine",
}
# What is counted in pieces, of which one is used where nobody says how many.
PIECES = (ItemKind.BLADE, ItemKind.GAUZE, ItemKind.GLOVES)


def in_order(kinds: Iterable[str]) -> list[str]:
    """Kinds ticked together, the main one first; ValidationError for what does not go together."""
    kinds = sorted(set(kinds), key=_MAIN.index)
    if len(kinds) > 1 and set(kinds) & set(ALONE):
        raise ValidationError(
            "A visit to the vet is logged by itself: untick the rest. What medicine the vet gave "
            "is asked below."
            if StepKind.VET in kinds
            else "Monitoring is logged by itself: untick the rest."
        )
    if len(set(kinds) & set(WITHHOLDING)) > 1:
        raise ValidationError(
            "Ointment, medicine and vaccine each have days of their own: log one by one."
        )
    if len(set(kinds) & set(DRESSINGS)) > 1:
        raise ValidationError("Choose one for the dressing: on, checked, changed or off.")
    return kinds


def pieces_used(item: KitItem | None, amount):
    """How much was used: what was said, else one of what is counted in pieces."""
    return 1 if amount is None and item and item.kind in PIECES else amount


def add_fields(form, names: Iterable[str], items: Iterable[KitItem]) -> None:
    """``with_…`` and ``much_…`` for each of these; the names of the kit are offered."""
    form.kit = {item.name.casefold(): item for item in items}
    form.part_names = tuple(names)
    for name in form.part_names:
        form.fields[f"with_{name}"] = forms.CharField(
            label=LABELS[name],
            required=False,
            max_length=CareStep._meta.get_field("product").max_length,
            validators=[one_line],
            widget=forms.TextInput(attrs={"list": "kit-names", "autocomplete": "off"}),
        )
        form.fields[f"much_{name}"] = forms.DecimalField(
            label="Amount",
            required=False,
            min_value=0,
            max_digits=8,
            decimal_places=1,
            widget=forms.NumberInput(attrs={"min": "0", "step": "any"}),
        )


def said_of(form, kind: str) -> dict:
    """Product, thing of the kit and amount that the fields of this kind say."""
    name = next((name for name in form.part_names if kind in WITH[name]), None)
    if name is None:
        return {}
    product = form.cleaned_data.get(f"with_{name}") or ""
    item = form.kit.get(product.casefold())
    amount = pieces_used(item, form.cleaned_data.get(f"much_{name}"))
    return {"product": item.name if item else product, "item": item, "amount": amount}


# --- Shown as one


@dataclass(frozen=True)
class Given:
    """Care given in one go; ``first`` stands for all where one is asked for."""

    steps: tuple[CareStep, ...]

    @property
    def first(self) -> CareStep:
        return self.steps[0]

    @property
    def whom(self) -> str:
        """The bird, or the house or flock of which every bird got it at once."""
        return self.first.given_to or str(self.first.bird)

    @property
    def words(self) -> str:
        """``left foot: soaked, Epsom salt; dressing changed, gauze``; given to many at once
        ``medicine, Coxi drops (12 birds)``.
        """
        if self.first.given_to:
            count = f" ({len(self.steps)} birds)" if len(self.steps) > 1 else ""
            return f"{self.first.done_words}{count}"
        done = "; ".join(step.done_words for step in self.steps)
        return ": ".join(filter(None, (self.first.foot and self.first.get_foot_display(), done)))


def one_go(step: CareStep) -> tuple:
    """The same of all that was given in one go: to a foot, or of one medicine to a whole house."""
    if step.given_to:
        return step.given_to, step.kind, step.product, step.at
    return step.bird_id, step.foot, step.at, step.keeper_id, step.keeper_name


def in_one(steps: Iterable[CareStep]) -> list[Given]:
    """In the order of ``steps``; the same kind twice was done twice."""
    found: dict[tuple, list[CareStep]] = {}
    for step in steps:
        key = one_go(step)
        while not step.given_to and any(other.kind == step.kind for other in found.get(key, ())):
            key = (*key, step.pk)
        found.setdefault(key, []).append(step)
    return [Given(tuple(some)) for some in found.values()]


def done_with(step: CareStep) -> list[CareStep]:
    """All that was done in one go with this record, and itself; one query."""
    if step.given_to:
        return list(given_in_one(step).select_related("bird", "flock", "keeper", "item"))
    bird, foot, at, keeper, name = one_go(step)
    same = CareStep.objects.filter(
        bird=bird, foot=foot, at=at, keeper=keeper, keeper_name=name
    ).select_related("bird", "flock", "keeper", "item")
    groups = in_one(sorted(same, key=lambda one: (one.pk != step.pk, one.logged_at)))
    return list(groups[0].steps)
