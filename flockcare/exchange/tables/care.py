"""What was done to a bird or a foot."""

from flockcare.care.models import CareStep
from flockcare.exchange.cells import NOON
from flockcare.exchange.tables.base import Table
from flockcare.exchange.tables.checks import AT_ONCE, DATE
from flockcare.exchange.tables.columns import (
    Kind,
    Link,
    bird,
    clock,
    fields_of,
    keeper,
    person,
)
from flockcare.exchange.tables.kit import days

_step = fields_of(CareStep)
# A step at noon exactly is written without its time, which is how one without is read.
_TIME = clock(lambda _, time: time != NOON)
_DROPPED, _CLAIMED = (
    person("Who said so, by name.", "dropped_by"),
    person("Who said that they will do what is due next.", "claimed_by"),
)


class Care(Table):
    name = "care.csv"
    about = "What was done to a bird or a foot."
    model = CareStep
    columns = (
        bird(),
        DATE,
        _TIME,
        _step("foot", "Which foot; empty: the bird."),
        _step("kind", "What was done.", required=True),
        _step("product", "With what."),
        keeper(CareStep),
        _step("next_due", "When it is due again."),
        _step("note"),
        # These may be left out.
        Link(
            "item",
            "What was used, as kit.csv calls it.",
            of="kit.csv",
            attr="item",
            known="kit",
            called="thing of the kit",
        ),
        _step("amount", "How much was used.", unit="as the “unit” of the item says"),
        _step("outcome", "How it went."),
        _step("bleeding", "Bleeding."),
        _step("given_until", "Last day it is given."),
        *days(CareStep),
        _step("dropped_because", "Why it is not done again.", Kind.NOTE),
        _DROPPED,
        _CLAIMED,
        _step("claimed", "When they said so.", field="claimed_at"),
        _step("logged", "When it was recorded.", field="logged_at"),
        _step("no_medicine", "It contains no medicine, so nothing is withdrawn."),
        _step("batch", "Batch number of the product."),
        _step("quantity", "How much was given, as it was typed; no dose to follow."),
        _step("given_to", "The house or flock, where all its birds got it at once."),
        _step("decided_by", "Who decided."),
        _step("past", "It is long past: nothing is due, and nothing is withdrawn."),
        # Of a visit to the vet, or of a call.
        Link("vet", "Which vet.", of="vets.csv", attr="contact", known="vets", called="vet"),
        _step("medicine_given", "Whether a medicine was given or prescribed."),
        _step("question", "What was asked."),
        _step("found", "What the vet found or said."),
        _step("plan", "What was planned."),
        _step("plan_until", "Until when the plan holds."),
        _step("laboratory", "Laboratory result."),
        _step("supplier", "Who dispensed or sold the medicine."),
        _step("supplied", "When it was obtained.", field="supplied_on"),
        _step("supplied_amount", "How much was obtained, as it was typed."),
        _step("prescribed_by", "Who prescribed it."),
    )
    silent = ("claimed", "logged", "past")

    def items(self, flock):
        return super().items(flock).iterator(AT_ONCE)

    def to_row(self, step, names):
        row = super().to_row(step, names)
        # Whoever says one of these without the other has said nothing.
        if not step.dropped_because:
            row[_DROPPED.name] = ""
        if not step.claimed_at:
            row[_CLAIMED.name] = ""
        return row


def step_name(step, names) -> str:
    """How a photo names the step of care that it was taken with."""
    day, time = DATE.write(step, names), _TIME.write(step, names)
    return " ".join(filter(None, (day, time, step.kind, step.foot)))
