"""Houses, what is in them from when on, and who lived where."""

from bisect import bisect_left
from collections import defaultdict
from datetime import date

from flockcare.housing.models import Feature, FeatureState, House, Stay
from flockcare.housing.services import overlap, span
from flockcare.reports.exchange import cells
from flockcare.reports.exchange.columns import FILES
from flockcare.reports.exchange.rows import KEYS, feature_cells, stay_cells

FILE = "housing.csv"
HOUSE, STATE = House._meta.get_field, FeatureState._meta.get_field

_house_name = cells.for_field(HOUSE("name"))
_of_house = {
    "note": cells.for_field(HOUSE("note")),
    "floor_length_cm": cells.for_field(HOUSE("floor_length_cm"), cells.real),
    "floor_width_cm": cells.for_field(HOUSE("floor_width_cm"), cells.real),
}
_house_words = {
    "note": "note",
    "floor_length_cm": "length of the floor",
    "floor_width_cm": "width of the floor",
}
_feature_name = cells.for_field(Feature._meta.get_field("name"))
_kind = cells.for_field(Feature._meta.get_field("kind"))
MEASURES = (
    *("height_cm", "run_cm", "length_cm", "width_mm", "bedding_depth_cm"),
    *("breadth_cm", "spacing_cm", "wall_cm", "moisture_percent"),
)
WORDS = ("edge", "material", "cover", "bedding", "damp", "note", "surface")
_measures = {name: cells.for_field(STATE(name), cells.real) for name in MEASURES}
_words = {name: cells.for_field(STATE(name)) for name in WORDS}


def check_housing(work) -> None:
    flock = work.flock
    work.houses = {house.name.lower(): house for house in House.objects.filter(flock=flock)}
    features = work.features = {
        (feature.house_id, feature.name.lower()): feature
        for feature in Feature.objects.filter(flock=flock).select_related("house")
    }
    states = {
        (state.feature_id, state.since): state
        for state in FeatureState.objects.filter(flock=flock).select_related("feature__house")
    }

    def build(row):
        before = len(work.problems)
        house = _house(work, row)
        if house is None or not row.text("feature"):
            _about_the_house(row, house)
            return
        feature = _feature(work, row, house, features)
        state = _state(work, row, feature)
        if len(work.problems) > before:
            return
        if state:
            _plan_state(work, row, feature, state, states)
        elif not feature._state.adding:
            work.plan.already_there[FILE] += 1

    work.read(FILE).each(build)


def _house(work, row) -> House | None:
    name = row.need("house", _house_name)
    if name is None:
        return None
    house = work.houses.get(name.lower())
    if house is None:
        house = work.houses[name.lower()] = House(flock=work.flock, name=name)
        work.plan.add(house)
    elif not row.text("feature") and house not in work.plan.new[House]:
        work.plan.already_there[FILE] += 1
    return house


def _about_the_house(row, house) -> None:
    for column in FILES[FILE].all:
        if row.text(column) and column not in ("house", "feature", *_of_house):
            row.wrong("feature", f"Say which feature of the house “{column}” is about.")
            return
    for column, read in _of_house.items():
        told = row.get(column, read)
        if house is None or told in (None, getattr(house, column)):
            continue
        if getattr(house, column) not in (None, "") or not house._state.adding:
            words = _house_words[column]
            row.wrong(column, f"In the flock this house has another {words}. Change it in the app.")
        setattr(house, column, told)


def _feature(work, row, house, features) -> Feature | None:
    name, kind = row.need("feature", _feature_name), row.need("kind", _kind)
    if name is None or kind is None:
        return None
    feature = features.get((house.pk, name.lower()))
    if feature is None:
        feature = Feature(flock=work.flock, house=house, name=name, kind=kind)
        features[house.pk, name.lower()] = feature
        work.plan.add(feature)
    elif feature.kind != kind:
        row.wrong("kind", f"“{name}” is a {feature.kind} elsewhere.")
    return feature


def _state(work, row, feature) -> FeatureState | None:
    since = row.get("from", cells.day)
    description = described(row)
    for column in ("floor_length_cm", "floor_width_cm"):
        if row.text(column):
            row.wrong(column, "This is about the house: put it into a row without a feature.")
    if since is None:
        told = [name for name in (*MEASURES, *WORDS) if row.text(name)]
        told += ["gone"] * description["gone"]
        if told and not row.text("from"):
            row.wrong("from", f"Say from when on “{told[0]}” was so.")
        return None
    return FeatureState(flock=work.flock, feature=feature, since=since, **description)


def described(row) -> dict:
    """What a feature is like, by the fields of its record."""
    return {
        **{name: row.get(name, read) for name, read in _measures.items()},
        **{name: row.get(name, read, "") for name, read in _words.items()},
        "gone": row.get("gone", cells.yes_or_no, False),
    }


def _plan_state(work, row, feature, state, states) -> None:
    known = states.get((feature.pk, state.since))
    if known is None:
        states[feature.pk, state.since] = state
        work.plan.add(state)
    elif feature_cells(feature, known) == feature_cells(feature, state):
        work.plan.already_there[FILE] += 1
    else:
        row.wrong("from", f"“{feature.name}” is described otherwise from this day on already.")


def check_stays(work) -> None:
    def build(row):
        bird = row.find("bird", "bird", work.birds)
        house = row.find("house", "house", work.houses)
        since, until = row.get("from", cells.day), row.get("to", cells.day)
        if since and until and until < since:
            row.wrong("to", "She cannot leave the house before she moved in.")
        return row, Stay(flock=work.flock, bird=bird, house=house, since=since, until=until)

    planned = work.read("stays.csv").each(build)
    existing = Stay.objects.filter(flock=work.flock).select_related("house") if planned else []
    new = work.add_unless_there(
        "stays.csv",
        [(tuple(stay_cells(stay, KEYS)), (row, stay)) for row, stay in planned],
        [(tuple(stay_cells(stay, KEYS)), stay) for stay in existing],
    )
    _one_house_at_a_time(existing, new)
    work.plan.add(*(stay for _, stay in new))


def _one_house_at_a_time(existing, new) -> None:
    stays = defaultdict(list)
    for stay in sorted(existing, key=_since):
        stays[stay.bird_id].append(stay)
    for row, stay in new:
        hers = stays[stay.bird_id]
        # Those before it do not overlap, so one that it overlaps is next to its place.
        at = bisect_left(hers, _since(stay), key=_since)
        other = next((one for one in hers[max(0, at - 1) : at + 1] if overlap(one, stay)), None)
        if other:
            row.wrong("from", f"She lived in {other.house} at that time: {span(other)}.")
        else:
            hers.insert(at, stay)


def _since(stay) -> date:
    return stay.since or date.min
