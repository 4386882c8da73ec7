"""Houses and what stands in them: each row says what a thing was from a day on."""

from collections import defaultdict

from flockcare.exchange.tables.base import Table, keys, read_all, write_all
from flockcare.exchange.tables.columns import Column, fields_of
from flockcare.housing.models import Feature, FeatureState, House

_feature, _state = fields_of(Feature, part="feature"), fields_of(FeatureState)
_house = fields_of(House, part="house")


def described(model) -> tuple[tuple[Column, ...], tuple[Column, ...]]:
    """What a feature is like: the listed columns, and the further ones."""
    column = fields_of(model)
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
            column(
                "along_cm",
                "Its middle along the house, from the left wall; outside below 0 or beyond.",
                unit="cm",
            ),
            column("breadth_cm", "Breadth.", unit="cm"),
            column("spacing_cm", "Distance to the next roost.", unit="cm"),
            column("wall_cm", "Distance to the wall.", unit="cm"),
            column("surface", "What its surface is like."),
            column("moisture_percent", "Water in the bedding by weight.", unit="%"),
            column("gone", "It was taken away on this day."),
        ),
    )


_listed, _further = described(FeatureState)


class Housing(Table):
    """A row is about a feature from a day on, or about a house where it names no feature."""

    name = "housing.csv"
    about = "Houses and what stands in them: each row says what a thing was from a day on."
    model = FeatureState
    columns = (
        _house("house", "Name of the house.", field="name", required=True),
        _feature(
            "feature", "Name of what stands in the house; empty: the house itself.", field="name"
        ),
        _feature("kind", "What it is."),
        _state("from", "From when on it was so.", field="since", past=True),
        *_listed,
        # These may be left out.
        *_further,
        # Only in a row about the house itself.
        _house("floor_length_cm", "Length of the floor inside the house.", unit="cm"),
        _house("floor_width_cm", "Width of the floor inside the house.", unit="cm"),
        _house("shape", "What it looks like from the side."),
        _house("wall_height_cm", "Height of its walls.", unit="cm"),
        _house("floor_height_cm", "Height of its floor above the ground outside.", unit="cm"),
    )

    # --- Writing

    def rows(self, outgoing):
        names, features = outgoing.names, defaultdict(list)
        of_flock = Feature.objects.filter(flock=outgoing.flock).prefetch_related("states")
        for feature in of_flock:
            features[feature.house_id].append(feature)
        for house in House.objects.filter(pk__in=names.houses):
            called, about = {"house": house.name}, write_all(self.columns_of("house"), house, names)
            about["note"] = house.note
            if any((about | {"house": ""}).values()) or not features[house.pk]:
                yield self.cells(about), keys(house)
            for feature in features[house.pk]:
                start = called | write_all(self.columns_of("feature"), feature, names)
                for state in feature.states.all() or [None]:
                    row = self.to_row(state, names) if state else {}
                    yield self.cells(start | row), keys(house, feature, state)

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
        told = read_all(self.columns_of("house"), row)
        house = self._house_called(row, told.pop("name"))
        if house is None or not row.text("feature"):
            self._about_the_house(row, house, told)
            return
        for name in told:
            row.wrong(name, "This is about the house: put it into a row without a feature.")
        feature, state = self._feature_in(row, house), self.from_row(row)
        if not row.good:
            return
        if state:
            state.feature = feature
            self._plan_state(row, state, states)
        elif not feature._state.adding:
            row.work.plan.already_there[self.name] += 1

    def _house_called(self, row, name) -> House | None:
        if name is None:
            return None
        work = row.work
        house = work.houses.get(name.lower())
        if house is None:
            house = work.houses[name.lower()] = House(flock=work.flock, name=name)
            work.plan.add(house)
        elif not row.text("feature") and house not in work.plan.new[House]:
            work.plan.already_there[self.name] += 1
        return house

    def _about_the_house(self, row, house, told) -> None:
        for column in (*self.columns_of("feature"), *self.columns_of()):
            if row.text(column.name) and column.name != "note":
                row.wrong("feature", f"Say which feature of the house “{column.name}” is about.")
                return
        if row.text("note"):
            told["note"] = self.column("note").value(row)
        for name, value in told.items() if house else ():
            there = getattr(house, name)
            if value in (None, there):
                continue
            if there not in (None, "") or not house._state.adding:
                words = House._meta.get_field(name).verbose_name
                message = f"In the flock this house has another {words}. Change it in the app."
                row.wrong(name, message)
            setattr(house, name, value)

    def _feature_in(self, row, house) -> Feature | None:
        told, features = read_all(self.columns_of("feature"), row), row.work.features
        name, kind = told["name"], told["kind"]
        if name is None or kind is None:
            return None
        feature = features.get((house.pk, name.lower()))
        if feature is None:
            feature = Feature(flock=row.work.flock, house=house, **told)
            features[house.pk, name.lower()] = feature
            row.work.plan.add(feature)
        elif feature.kind != kind:
            row.wrong("kind", f"“{name}” is a {feature.kind} elsewhere.")
        return feature

    def from_row(self, row) -> FeatureState | None:
        if row.text("from"):
            return super().from_row(row)
        if told := [column.name for column in self.columns_of() if row.text(column.name)]:
            row.wrong("from", f"Say from when on “{told[0]}” was so.")
        return None

    def _plan_state(self, row, state, states) -> None:
        work = row.work
        known = states.setdefault((state.feature_id, state.since), state)
        if known is state:
            work.plan.add(state)
        elif self.to_row(known, work.keys) == self.to_row(state, work.keys):
            work.plan.already_there[self.name] += 1
        else:
            name = state.feature.name
            row.wrong("from", f"“{name}” is described differently from this day on already.")
