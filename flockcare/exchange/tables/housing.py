"""Houses and what stands in them: each row says what a thing was from a day on."""

from collections import defaultdict

from flockcare.exchange.tables.base import Table, keys
from flockcare.exchange.tables.columns import Column, house, of
from flockcare.housing.models import Feature, FeatureState, House

_feature, _state, _house = of(Feature), of(FeatureState), of(House)


def described(model) -> tuple[tuple[Column, ...], tuple[Column, ...]]:
    """What a feature is like: the listed columns, and the further ones."""
    column = of(model)
    return (
        (
            column("height_cm", "Height above the floor.", unit="cm"),
            column("run_cm", "Level distance to the next place down.", unit="cm"),
            column("length_cm", "Length.", unit="cm"),
            column("width_mm", "Width across, such as of a perch.", unit="mm"),
            column("edge", "What its edges are like."),
            column("material", "What it is made of."),
            column("cover", "What covers it."),
            column("bedding", "What is strewn on it."),
            column("bedding_depth_cm", "Depth of the bedding.", unit="cm"),
            column("damp", "How damp it is."),
            column("note"),
        ),
        (
            column("breadth_cm", "Breadth.", unit="cm"),
            column("spacing_cm", "Distance to the next roost.", unit="cm"),
            column("wall_cm", "Distance to the wall.", unit="cm"),
            column("surface", "What its surface is like."),
            column("moisture_percent", "Water in the bedding by weight.", unit="%"),
            column("gone", "It was taken away on this day."),
        ),
    )


_listed, _further = described(FeatureState)
_HOUSE_NAME = _house("house", field="name", attr="")
_floor = (
    _house("floor_length_cm", "Length of the floor inside the house.", unit="cm", attr=""),
    _house("floor_width_cm", "Width of the floor inside the house.", unit="cm", attr=""),
)
# Only in a row about the house itself, which has no feature.
_OF_HOUSE = {
    "note": "note",
    "floor_length_cm": "length of the floor",
    "floor_width_cm": "width of the floor",
}


class Housing(Table):
    name = "housing.csv"
    about = "Houses and what stands in them: each row says what a thing was from a day on."
    model = FeatureState
    listed_columns = (
        house(attr=""),
        _feature(
            "feature",
            "Name of what stands in the house; empty: the house itself.",
            field="name",
            attr="",
        ),
        _feature("kind", "What it is.", attr=""),
        _state("from", "From when on it was so.", field="since"),
        *_listed,
    )
    further_columns = (*_further, *_floor)

    # --- Writing

    def rows(self, outgoing):
        features = defaultdict(list)
        of_flock = Feature.objects.filter(flock=outgoing.flock).prefetch_related("states")
        for feature in of_flock:
            features[feature.house_id].append(feature)
        for one in House.objects.filter(pk__in=outgoing.names.houses):
            about = {name: self.column(name).text(getattr(one, name)) for name in _OF_HOUSE}
            if any(about.values()) or not features[one.pk]:
                yield self.cells(about | {"house": one.name}), keys(one)
            for feature in features[one.pk]:
                start = {"house": one.name, "feature": feature.name, "kind": feature.kind}
                for state in feature.states.all() or [None]:
                    row = self.to_row(state, outgoing.names) if state else {}
                    yield self.cells(start | row), keys(one, feature, state)

    # --- Reading

    def plan(self, work) -> None:
        flock = work.flock
        work.houses = {house.name.lower(): house for house in House.objects.filter(flock=flock)}
        work.features = {
            (feature.house_id, feature.name.lower()): feature
            for feature in Feature.objects.filter(flock=flock)
        }
        states = {
            (state.feature_id, state.since): state
            for state in FeatureState.objects.filter(flock=flock)
        }
        work.read(self).each(lambda row: self._plan_row(row, states))

    def _plan_row(self, row, states) -> None:
        house = self._house_of(row)
        if house is None or not row.text("feature"):
            self._about_the_house(row, house)
            return
        feature, state = self._feature_of(row, house), self.from_row(row)
        if not row.good:
            return
        if state:
            state.feature = feature
            self._plan_state(row, state, states)
        elif not feature._state.adding:
            row.work.plan.already_there[self.name] += 1

    def _house_of(self, row) -> House | None:
        work, name = row.work, _HOUSE_NAME.wanted(row)
        if name is None:
            return None
        house = work.houses.get(name.lower())
        if house is None:
            house = work.houses[name.lower()] = House(flock=work.flock, name=name)
            work.plan.add(house)
        elif not row.text("feature") and house not in work.plan.new[House]:
            work.plan.already_there[self.name] += 1
        return house

    def _about_the_house(self, row, house) -> None:
        for name in self.all:
            if row.text(name) and name not in ("house", "feature", *_OF_HOUSE):
                row.wrong("feature", f"Say which feature of the house “{name}” is about.")
                return
        for name, words in _OF_HOUSE.items():
            if house is None or not row.text(name):
                continue
            told, there = _house(name, attr="").value(row), getattr(house, name)
            if told in (None, there):
                continue
            if there not in (None, "") or not house._state.adding:
                message = f"In the flock this house has another {words}. Change it in the app."
                row.wrong(name, message)
            setattr(house, name, told)

    def _feature_of(self, row, house) -> Feature | None:
        name, kind = self.column("feature").wanted(row), self.column("kind").wanted(row)
        if name is None or kind is None:
            return None
        features = row.work.features
        feature = features.get((house.pk, name.lower()))
        if feature is None:
            feature = Feature(flock=row.work.flock, house=house, name=name, kind=kind)
            features[house.pk, name.lower()] = feature
            row.work.plan.add(feature)
        elif feature.kind != kind:
            row.wrong("kind", f"“{name}” is a {feature.kind} elsewhere.")
        return feature

    def from_row(self, row) -> FeatureState | None:
        for column in _floor:
            if row.text(column.name):
                message = "This is about the house: put it into a row without a feature."
                row.wrong(column.name, message)
        if not row.text("from"):
            told = [c.name for c in (*_listed, *_further) if row.text(c.name)]
            if told:
                row.wrong("from", f"Say from when on “{told[0]}” was so.")
            return None
        return super().from_row(row)

    def _plan_state(self, row, state, states) -> None:
        work = row.work
        known = states.setdefault((state.feature_id, state.since), state)
        if known is state:
            work.plan.add(state)
        elif self.to_row(known, work.keys) == self.to_row(state, work.keys):
            work.plan.already_there[self.name] += 1
        else:
            name = state.feature.name
            row.wrong("from", f"“{name}” is described otherwise from this day on already.")
