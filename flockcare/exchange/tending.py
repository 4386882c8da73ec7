"""Steps of care and the kit: who, when, with what."""

from flockcare.care.models import CareStep, KitItem
from flockcare.exchange import cells
from flockcare.exchange.columns import FILES
from flockcare.exchange.looks import read_keeper, read_moment
from flockcare.exchange.rows import KEYS, care_cells, kit_cells

STEP, ITEM = CareStep._meta.get_field, KitItem._meta.get_field
_TEXTS = ("foot", "product", "note", "outcome", "bleeding", "days_from", "dropped_because")
_NUMBERS = {"egg_days": cells.integer, "meat_days": cells.integer, "amount": cells.decimal}

# Who takes on what is due next, and when it was written down, tells no two steps apart.
_TOLD = FILES["care.csv"].without("dropped_by", "claimed_by", "claimed", "logged")
_step = {name: cells.for_field(STEP(name)) for name in _TEXTS}
_step_numbers = {name: cells.for_field(STEP(name), read) for name, read in _NUMBERS.items()}
_kind = cells.for_field(STEP("kind"))

_item = {name: cells.for_field(ITEM(name)) for name in ("unit", "note", "days_from")}
_item_name = cells.for_field(ITEM("name"))
_item_kind = cells.for_field(ITEM("kind"))
_item_numbers = {
    "stock": cells.for_field(ITEM("stock"), cells.decimal),
    "low_at": cells.for_field(ITEM("low_at"), cells.decimal),
    **{
        name: cells.for_field(ITEM(name), cells.integer)
        for name in ("keeps_days", "egg_days", "meat_days")
    },
}
_item_days = {"opened_on": "opened", "expires_on": "expires"}


def check_kit(work) -> None:
    """Plan the new things of the kit, and know all of them by their names."""
    work.kit = {item.name.lower(): item for item in KitItem.objects.filter(flock=work.flock)}
    in_file = set()

    def build(row):
        before = len(work.problems)
        item = _kit_item(work, row)
        key = item.name.lower()
        if len(work.problems) > before:
            return
        if key in in_file:
            row.wrong("item", f"“{item.name}” is in this file twice.")
            return
        in_file.add(key)
        there = work.kit.get(key)
        if there is None:
            work.kit[key] = item
            work.plan.add(item)
        elif kit_cells(there)[1:] == kit_cells(item)[1:]:
            work.plan.already_there["kit.csv"] += 1
        else:
            row.wrong("item", f"The kit has “{item.name}” already, with something else about it.")

    work.read("kit.csv").each(build)


def _kit_item(work, row) -> KitItem:
    item = KitItem(
        flock=work.flock,
        name=row.need("item", _item_name) or "",
        kind=row.get("kind", _item_kind, ITEM("kind").default),
        pain_reliever=row.get("pain_reliever", cells.yes_or_no),
        **{name: row.get(column, cells.day) for name, column in _item_days.items()},
        **{name: row.get(name, read, "") for name, read in _item.items()},
        **{name: row.get(name, read) for name, read in _item_numbers.items()},
    )
    _needs_source_of_days(row, item)
    return item


def _needs_source_of_days(row, record) -> None:
    if (record.egg_days, record.meat_days) != (None, None) and not record.days_from:
        row.wrong("days_from", "Say whether the vet or the label named these days.")


def check_care(work) -> None:
    def build(row):
        at, _ = read_moment(work, row)
        step = CareStep(
            flock=work.flock,
            bird=row.find("bird", "bird", work.birds),
            at=at,
            kind=row.need("kind", _kind),
            next_due=row.get("next_due", cells.day),
            given_until=row.get("given_until", cells.day),
            item=row.find("item", "thing of the kit", work.kit) if row.text("item") else None,
            **read_keeper(work, row),
            **{name: row.get(name, read, "") for name, read in _step.items()},
            **{name: row.get(name, read) for name, read in _step_numbers.items()},
        )
        _needs_source_of_days(row, step)
        moment = cells.instant(work.zone)
        step.claimed_at = row.get("claimed", moment)
        step.logged_at = row.get("logged", moment, step.logged_at)
        return row, step

    planned = work.read("care.csv").each(build)
    existing = []
    if planned:
        existing = CareStep.objects.filter(flock=work.flock)
        existing = existing.select_related("keeper", "item", "dropped_by", "claimed_by")

    def told(step):
        found = care_cells(step, KEYS, work.zone)
        return tuple(found[at] for at in _TOLD)

    added = work.add_unless_there(
        "care.csv",
        [(told(step), (row, step)) for row, step in planned],
        [(told(step), step) for step in existing],
    )
    for row, step in added:
        work.sign(row, step, "dropped_by")
        work.sign(row, step, "claimed_by")
        work.plan.add(step)
