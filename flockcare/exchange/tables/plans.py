"""Changes that are only planned: rows of one number are one plan."""

from flockcare.exchange.cells import yes_or_no
from flockcare.exchange.tables.base import Grouped, keys, read_all, write_all
from flockcare.exchange.tables.changes import PHOTOS, named_photos, photo_names
from flockcare.exchange.tables.columns import Column, Kind, fields_of, house, person
from flockcare.exchange.tables.housing import described
from flockcare.housing.models import HousingChange, PlannedState

_plan, _state = fields_of(HousingChange), fields_of(PlannedState)
_OF_PLAN = (
    house(),
    _plan("date", "When it is meant to be; empty: no day yet.", field="on"),
    _plan("change_kind", "What kind of change.", field="kind"),
    _plan("plan_note", "What was said about the plan.", field="note"),
    person(),
)
_listed, _further = described(PlannedState)
_DESCRIBED = (*_listed, *_further)


class Plans(Grouped):
    """An item is a plan, its photos and its states."""

    name = "housing_plans.csv"
    about = "Changes that are only planned: rows of one number are one plan."
    model = HousingChange
    number = "plan"
    of_group = (*_OF_PLAN, PHOTOS)
    columns = (
        Column("plan", "Number of the plan in this file.", Kind.INTEGER, required=True),
        *of_group,
        _state(
            "feature", "What is to become so; empty: nothing in particular.", field="name", attr=""
        ),
        Column("new", "It is to be put up new.", Kind.YES),
        _state("kind", "What it is.", attr=""),
        *_DESCRIBED,
    )

    def items(self, flock):
        plans = super().items(flock).filter(planned=True)
        for plan in plans.prefetch_related("photos", "planned_states__feature"):
            yield plan, list(plan.photos.all()), list(plan.planned_states.all())

    def parts(self, item):
        plan, _, states = item
        return plan, *states

    def group(self, item, names):
        plan, photos, states = item
        start = write_all(_OF_PLAN, plan, names) | {"photos": photo_names(photos, names)}
        rows = [(start | self._of_state(state, names), keys(plan, state)) for state in states]
        rows.sort(key=lambda pair: self.cells(pair[0]))
        return rows or [(start, keys(plan))]

    def _of_state(self, state, names) -> dict[str, str]:
        about = write_all(_DESCRIBED, state, names)
        if state.feature:
            return about | {"feature": state.feature.name, "kind": state.feature.kind}
        return about | {"feature": state.name, "new": "yes", "kind": state.kind}

    def from_rows(self, rows):
        first, *_ = rows
        plan = HousingChange(flock=first.work.flock, planned=True, **read_all(_OF_PLAN, first))
        states, seen = [], set()
        for row in rows:
            if row.text("feature"):
                states.append(state := self._state(row, plan))
                if state.feature_id and state.feature_id in seen:
                    row.wrong("feature", f"It is twice in plan {row.text('plan')}.")
                seen.add(state.feature_id)
        return plan, named_photos(first), states

    def _state(self, row, plan) -> PlannedState:
        state = PlannedState(flock=plan.flock, change=plan, **read_all(_DESCRIBED, row))
        if row.get("new", yes_or_no):
            state.name = self.column("feature").value(row)
            state.kind = self.column("kind").wanted(row)
        elif plan.house_id:
            features = row.work.features.items()
            known = {name: one for (house, name), one in features if house == plan.house_id}
            state.feature = row.find("feature", "thing in this house", known)
        return state

    def add(self, row, item) -> None:
        super().add(row, item)
        plan, photos, _ = item
        row.work.plan.attached.extend((plan, photo) for photo in photos)
