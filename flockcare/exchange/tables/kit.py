"""What is in the box."""

from flockcare.care.models import KitItem
from flockcare.exchange.tables.base import Table
from flockcare.exchange.tables.columns import fields_of


def days(model):
    """How long eggs and meat are not eaten, as a vet or a label said."""
    column = fields_of(model)
    return (
        column("egg_days", "Days without her eggs after the last giving; 0: none.", unit="days"),
        column("meat_days", "Days without her meat after the last giving; 0: none.", unit="days"),
        column("days_from", "Who named these days."),
    )


_item = fields_of(KitItem)
_UNIT = "as “unit” says"


class Kit(Table):
    name = "kit.csv"
    about = "What is in the box."
    model = KitItem
    columns = (
        _item("item", "Its name.", field="name", required=True),
        _item("kind", "What it is."),
        _item("unit", "What it is counted in."),
        _item("stock", "How much there is.", unit=_UNIT),
        _item("low_at", "From how much on it is low.", unit=_UNIT),
        _item("opened", "When it was opened.", field="opened_on"),
        _item("keeps_days", "How long it keeps once opened.", unit="days"),
        _item("expires", "To be used by.", field="expires_on"),
        # These may be left out.
        *days(KitItem),
        _item("pain_reliever", "It has an added pain reliever."),
        _item("note"),
        _item("no_medicine", "It contains no medicine, so nothing is withdrawn."),
        _item("batch", "Batch number."),
    )
    key = ("item",)
    contradiction = "The kit has “{item}” already, with something else about it."
    blamed = "item"

    def plan(self, work) -> None:
        work.kit = {item.name.lower(): item for item in KitItem.objects.filter(flock=work.flock)}
        super().plan(work)

    def add(self, row, item) -> None:
        row.work.kit[item.name.lower()] = item
        super().add(row, item)
