"""Plans of care: what a bird is to get every so many days, and courses of a medicine."""

from dataclasses import dataclass

from flockcare.care.models import CarePlan, StepKind
from flockcare.exchange.tables.base import Table
from flockcare.exchange.tables.columns import (
    SEPARATOR,
    Column,
    Kind,
    bird,
    fields_of,
    labels,
    person,
)
from flockcare.exchange.tables.kit import days

_plan = fields_of(CarePlan)


@dataclass(frozen=True)
class Part(Column):
    """One of what stands with each part: in the order of the kinds, with a separator between."""

    of_part: str = ""

    def write(self, plan, names) -> str:
        told = [str(part[self.of_part] or "") for part in plan.parts]
        return SEPARATOR.join(told) if any(told) else ""

    def read(self, row) -> dict:
        return {}


@dataclass(frozen=True)
class Turns(Column):
    """Names, of keepers of the flock or of whoever has no account in it."""

    def write(self, plan, names) -> str:
        told = (name or names.people.get(key, "") for key, name in plan.turns)
        return SEPARATOR.join(name.replace(SEPARATOR, ",") for name in told if name)

    def read(self, row) -> dict:
        said = [name.strip() for name in row.text(self.name).split(SEPARATOR) if name.strip()]
        found = [(row.work.keepers.get(name), name) for name in said]
        return {"turns": [[str(one.pk), ""] if one else ["", name] for one, name in found]}


_KINDS = Part(
    "kinds",
    "What is done in one go.",
    Kind.CHOICES,
    values=labels(StepKind.choices),
    required=True,
    attr="parts",
    of_part="kind",
)
_PRODUCTS = Part(
    "products", "With what, for each kind in their order.", attr="parts", of_part="product"
)
_AMOUNTS = Part(
    "amounts",
    "How much is used of each, as the kit counts it.",
    Kind.CODE,
    attr="parts",
    of_part="amount",
)


class CarePlans(Table):
    name = "plans.csv"
    about = "Plans of care: what a bird is to get every so many days; courses of a medicine."
    model = CarePlan
    columns = (
        bird(),
        _plan("foot", "Which foot; empty: the bird."),
        _KINDS,
        _PRODUCTS,
        _AMOUNTS,
        _plan("every_days", "Every how many days.", unit="days"),
        _plan("from", "The first day.", field="since"),
        _plan("to", "The last day; empty: until a check finds the foot clear.", field="until"),
        Turns("turns", "Whose turn it is, by turns; empty: anyone’s.", Kind.TEXT, attr="turns"),
        # These may be left out.
        *days(CarePlan),
        _plan("no_medicine", "It contains no medicine, so nothing is withdrawn."),
        _plan("batch", "Batch number of the product."),
        _plan("quantity", "How much is given, as it was typed; no dose to follow."),
        _plan("decided_by", "Who decided."),
        _plan("note"),
        _plan("put_off", "Whether the next day was skipped or moved."),
        _plan("put_off_from", "Which day that is."),
        _plan("put_off_to", "Which day comes instead."),
        _plan("stopped", "The day it was stopped.", field="stopped_on"),
        _plan("stopped_because", "Why it was stopped."),
        person("Who set it up, by name."),
        _plan("logged", "When it was set up.", field="logged_at"),
    )
    silent = ("logged", "turns")

    def values(self, row) -> dict:
        kinds = _KINDS.wanted(row) or []
        products, amounts = (
            _split(row, column.name, len(kinds)) for column in (_PRODUCTS, _AMOUNTS)
        )
        parts = [
            {"kind": kind, "product": product, "amount": amount or None}
            for kind, product, amount in zip(kinds, products, amounts, strict=True)
        ]
        return super().values(row) | {"parts": parts}


def _split(row, name: str, count: int) -> list[str]:
    """Of each kind its cell; more than there are kinds is wrong."""
    said = [part.strip() for part in row.text(name).split(SEPARATOR)]
    if len(said) > count:
        row.wrong(name, f"There are {len(said)} for {count} kinds.")
    return (said + [""] * count)[:count]
