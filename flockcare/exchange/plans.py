"""Changes of a house that are only planned: rows of one number are one plan."""

from flockcare.exchange import cells
from flockcare.exchange.changes import named_photos
from flockcare.exchange.housing import described
from flockcare.exchange.rows import change_cells, planned_cells
from flockcare.housing.models import HousingChange, PlannedState

FILE = "housing_plans.csv"
PLAN, STATE = HousingChange._meta.get_field, PlannedState._meta.get_field

_change_kind = cells.for_field(PLAN("kind"))
_note = cells.for_field(PLAN("note"))
_name = cells.for_field(STATE("name"))
_kind = cells.for_field(STATE("kind"))
# What every row of a plan has to say in the same way.
_OF_PLAN = ("house", "date", "change_kind", "plan_note", "keeper", "photos")


def check_plans(work) -> None:
    existing = {_told(plan, plan.planned_states.all(), plan.photos.all()) for plan in _plans(work)}
    for rows in work.read(FILE).groups("plan", _OF_PLAN):
        _plan(work, rows, existing)


def _plans(work):
    plans = HousingChange.objects.filter(flock=work.flock, planned=True).select_related("house")
    return plans.prefetch_related("planned_states__feature", "photos")


def _told(plan, states, photos) -> tuple:
    house, on, kind, note, *_ = change_cells(plan, [])
    described = sorted(tuple(planned_cells(state)) for state in states)
    return house, on, kind, note, tuple(described), frozenset(photo.pk for photo in photos)


def _plan(work, rows, existing) -> None:
    before = len(work.problems)
    first = rows[0]
    plan = HousingChange(
        flock=work.flock,
        planned=True,
        house=first.find("house", "house", work.houses),
        on=first.get("date", cells.day),
        kind=first.get("change_kind", _change_kind, ""),
        note=first.get("plan_note", _note, ""),
    )
    photos = named_photos(work, first)
    states = _states(work, [row for row in rows if row.text("feature")], plan)
    if len(work.problems) > before:
        return
    if _told(plan, states, photos) in existing:
        work.plan.already_there[FILE] += len(rows)
        return
    work.sign(first, plan, "keeper")
    work.plan.add(plan, *states)
    work.plan.attached.extend((plan, photo) for photo in photos)


def _states(work, rows, plan) -> list[PlannedState]:
    states = [_state(work, row, plan) for row in rows]
    seen = set()
    for row, state in zip(rows, states, strict=True):
        if state.feature_id and state.feature_id in seen:
            row.wrong("feature", f"It is twice in plan {row.text('plan')}.")
        seen.add(state.feature_id)
    return states


def _state(work, row, plan) -> PlannedState:
    state = PlannedState(flock=work.flock, change=plan, **described(row))
    if row.get("new", cells.yes_or_no, False):
        state.name = row.need("feature", _name) or ""
        state.kind = row.need("kind", _kind) or ""
    elif plan.house:
        known = {
            name: feature
            for (house, name), feature in work.features.items()
            if house == plan.house.pk
        }
        state.feature = row.find("feature", "thing in this house", known)
    return state
