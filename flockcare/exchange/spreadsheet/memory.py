"""What a keeper said of a table, for the next one of the flock with the same names of columns."""

import hashlib

from flockcare.exchange.models import TableMapping
from flockcare.exchange.spreadsheet.sheet import Sheet
from flockcare.exchange.spreadsheet.translating import Mapping


def remember(mapping: Mapping) -> None:
    told = {name: target for name, *_, target in mapping.columns}
    told |= {word.field: word.chosen for _, words in mapping.words for word in words if word.chosen}
    if mapping.asks_order:
        # The dates of the next table may tell it themselves.
        told["order_before"] = mapping.order
    where = {"flock": mapping.flock, "table": mapping.table, "head": _head(mapping.sheet)}
    before = remembered(mapping.flock, mapping.table, mapping.sheet)
    TableMapping.objects.update_or_create(**where, defaults={"told": before | told})


def remembered(flock, table: str, sheet: Sheet) -> dict[str, str]:
    kept = TableMapping.objects.filter(flock=flock, table=table, head=_head(sheet)).first()
    return kept.told if kept else {}


def _head(sheet: Sheet) -> str:
    names = "\n".join(name.lower() for name in sheet.header)
    return hashlib.sha256(names.encode()).hexdigest()
