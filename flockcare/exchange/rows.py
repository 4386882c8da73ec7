"""Records as the cells of their rows: for writing them, and for telling whether two are the same.

``birds`` is a mapping from a bird's key to what she is called in the file; ``bylines`` one from a
record's key and field to the name of whoever has no account here.
"""

from collections.abc import Mapping
from types import MappingProxyType

from flockcare.exchange.cells import (
    NOON,
    clock_text,
    day_text,
    exact_text,
    moment_text,
    number_rows_text,
    number_text,
)
from flockcare.exchange.columns import FILE_SEPARATOR, FILES, SIGNS, SITE_SEPARATOR
from flockcare.housing.models import FeatureState
from flockcare.photos.models import Foot, Precision

SORTING_ANSWERS = ("card_answered", "kept_beside_alike", "nobody_knows")
FIGURES = ("area_mm2", "perimeter_mm", "longest_diameter_mm", "relative_area_error")
NUMBER_ROWS = ("to_mm", "outline_px", "outline_mm")


Bylines = Mapping[tuple, str]
NO_BYLINES: Bylines = MappingProxyType({})


class _Keys(dict):
    def __missing__(self, key):
        return key


# In place of ``birds``: every bird stands for herself.
KEYS = _Keys()


def bird_cells(bird, label: str) -> list[str]:
    breed = bird.breed
    return [
        label,
        bird.band,
        breed.name if breed else "",
        bird.own_weight_class,
        bird.hatched,
        bird.joined,
        bird.left,
        bird.left_reason,
        bird.name if bird.name != label else "",
        bird.sex,
        bird.traits,
        bird.left_note,
        number_text(breed.adult_grams) if breed else "",
        breed.source if breed else "",
    ]


def weighing_cells(weighing, birds, bylines: Bylines = NO_BYLINES) -> list[str]:
    return [
        birds[weighing.bird_id],
        day_text(weighing.on),
        str(weighing.grams),
        who(weighing, "keeper", bylines),
    ]


def flock_cells(flock) -> list[str]:
    return [flock.time_zone, flock.units, str(flock.round_days), str(flock.recheck_days)]


def stay_cells(stay, birds) -> list[str]:
    since, until = day_text(stay.since), day_text(stay.until)
    return [birds[stay.bird_id], stay.house.name, since, until]


def house_cells(house) -> list[str]:
    """A row about the house itself has no feature."""
    floor = [number_text(house.floor_length_cm), number_text(house.floor_width_cm)]
    return [house.name, *[""] * 13, house.note, *[""] * 6, *floor]


def feature_cells(feature, state=None) -> list[str]:
    """A feature in one of its states; without a state only that it exists."""
    start = [feature.house.name, feature.name, feature.kind]
    if state is None:
        return [*start, *[""] * (len(FILES["housing.csv"].all) - len(start))]
    return [*start, day_text(state.since), *described_cells(state), *("", "")]


def described_cells(state) -> list[str]:
    return [
        *(number_text(getattr(state, name)) for name in ("height_cm", "run_cm", "length_cm")),
        number_text(state.width_mm),
        state.edge,
        state.material,
        state.cover,
        state.bedding,
        number_text(state.bedding_depth_cm),
        state.damp,
        state.note,
        *(number_text(getattr(state, name)) for name in ("breadth_cm", "spacing_cm", "wall_cm")),
        state.surface,
        number_text(state.moisture_percent),
        "yes" if state.gone else "",
    ]


def change_cells(change, names: list[str], bylines: Bylines = NO_BYLINES) -> list[str]:
    """``names``: what its photos are called in the exchange."""
    return [
        change.house.name,
        day_text(change.on),
        change.kind,
        change.note,
        who(change, "keeper", bylines),
        FILE_SEPARATOR.join(sorted(names)),
    ]


def planned_cells(state=None) -> list[str]:
    """What one thing is to become; without a state only that there is a plan."""
    if state is None:
        return [""] * (3 + len(described_cells(_NOTHING)))
    feature = state.feature
    return [
        feature.name if feature else state.name,
        "" if feature else "yes",
        feature.kind if feature else state.kind,
        *described_cells(state),
    ]


_NOTHING = FeatureState()


def walk_cells(walk, bylines: Bylines = NO_BYLINES) -> list[str]:
    return [walk.house.name, day_text(walk.on), who(walk, "keeper", bylines), walk.note]


def window_cells(choice, zone, bylines: Bylines = NO_BYLINES) -> list[str]:
    return [
        choice.house.name,
        day_text(choice.on),
        str(choice.window_days),
        str(choice.lag_days),
        who(choice, "keeper", bylines),
        moment_text(choice.chosen_at, zone),
    ]


def round_cells(round_, zone, bylines: Bylines = NO_BYLINES) -> list[str]:
    return [
        moment_text(round_.started_at, zone),
        who(round_, "started_by", bylines),
        moment_text(round_.ended_at, zone),
    ]


def who(record, field: str, bylines: Bylines) -> str:
    keeper = getattr(record, field)
    return keeper.name if keeper else bylines.get((record.pk, field), "")


def check_day_and_time(check, zone) -> tuple[str, str]:
    local = check.at.astimezone(zone)
    return day_text(local.date()), clock_text(local) if check.time_known else ""


def _finding_cells(finding) -> list[str]:
    if finding is None:
        return [""] * 5
    return [
        str(finding.score),
        SITE_SEPARATOR.join(finding.sites),
        finding.scab,
        number_text(finding.scab_mm),
        finding.swelling,
    ]


def _sign_cells(finding) -> list[str]:
    return ["yes" if finding and getattr(finding, sign) else "" for sign in SIGNS]


def check_cells(check, findings, birds, zone) -> list[str]:
    by_foot = {finding.foot: finding for finding in findings}
    left, right = by_foot.get(Foot.LEFT), by_foot.get(Foot.RIGHT)
    return [
        birds[check.bird_id],
        *check_day_and_time(check, zone),
        check.by,
        number_text(check.gait),
        *_finding_cells(left),
        *_finding_cells(right),
        check.note,
        *_sign_cells(left),
        *_sign_cells(right),
        check.manner,
        check.eating,
        check.droppings,
        check.belly,
        number_text(check.body_condition),
        *(number_text(foot.clinical_grade if foot else None) for foot in (left, right)),
        moment_text(check.received_at, zone),
    ]


def step_day_and_time(step, zone) -> tuple[str, str]:
    """A step at noon exactly is written without its time, which is how one without is read."""
    local = step.at.astimezone(zone)
    return day_text(local.date()), "" if local.time() == NOON else clock_text(local)


def care_cells(step, birds, zone, bylines: Bylines = NO_BYLINES) -> list[str]:
    return [
        birds[step.bird_id],
        *step_day_and_time(step, zone),
        step.foot,
        step.kind,
        step.product,
        step.keeper.name if step.keeper else step.keeper_name,
        day_text(step.next_due),
        step.note,
        step.item.name if step.item else "",
        number_text(step.amount),
        step.outcome,
        step.bleeding,
        day_text(step.given_until),
        number_text(step.egg_days),
        number_text(step.meat_days),
        step.days_from,
        step.dropped_because,
        who(step, "dropped_by", bylines) if step.dropped_because else "",
        who(step, "claimed_by", bylines) if step.claimed_at else "",
        moment_text(step.claimed_at, zone),
        moment_text(step.logged_at, zone),
    ]


_KNOWN = {None: "", True: "yes", False: "no"}


def kit_cells(item) -> list[str]:
    return [
        item.name,
        item.kind,
        item.unit,
        number_text(item.stock),
        number_text(item.low_at),
        day_text(item.opened_on),
        number_text(item.keeps_days),
        day_text(item.expires_on),
        number_text(item.egg_days),
        number_text(item.meat_days),
        item.days_from,
        _KNOWN[item.pain_reliever],
        item.note,
    ]


_TAKEN = {Precision.YEAR: "%Y", Precision.MONTH: "%Y-%m", Precision.DAY: "%Y-%m-%d"}


def taken_text(photo, zone) -> str:
    if photo.taken is None or photo.taken_precision == Precision.UNKNOWN:
        return ""
    local = photo.taken.astimezone(zone)
    if photo.taken_precision == Precision.MOMENT:
        return f"{day_text(local.date())} {clock_text(local)}"
    return local.strftime(_TAKEN[photo.taken_precision])


def step_moment(step, zone) -> str:
    """How a photo names the step of care that it was taken with."""
    day, clock = step_day_and_time(step, zone)
    foot, kind = step.foot, step.kind
    return " ".join(filter(None, (day, clock, kind, foot)))


def photo_cells(
    photo,
    birds,
    zone,
    *,
    file="",
    score="",
    check="",
    care="",
    sorting=None,
    file_sha256="",
    lost=False,
    bylines: Bylines = NO_BYLINES,
) -> list[str]:
    return [
        file,
        birds[photo.bird_id] if photo.bird_id else "",
        photo.foot,
        taken_text(photo, zone),
        score,
        photo.note,
        photo.taken_source,
        check,
        photo.sha256,
        care,
        number_text(photo.quarter_turns or None),
        " ".join(map(str, photo.crop or ())),
        *_sorting_cells(sorting, birds),
        who(photo, "keeper", bylines),
        moment_text(photo.added_at, zone),
        "yes" if photo.of_house else "",
        file_sha256,
        f"{photo.width} {photo.height}" if lost else "",
    ]


def _sorting_cells(sorting, birds) -> list[str]:
    if sorting is None:
        return [""] * (len(SORTING_ANSWERS) + 2)
    return [
        birds[sorting.card_bird_id] if sorting.card_bird_id else "",
        sorting.card_foot,
        *("yes" if getattr(sorting, name) else "" for name in SORTING_ANSWERS),
    ]


def measurement_cells(measurement, files, zone, bylines: Bylines = NO_BYLINES) -> list[str]:
    """``files`` is a mapping from a photo's key to what it is called in the exchange."""
    length = measurement.length_mm
    return [
        files[measurement.photo_id],
        moment_text(measurement.at, zone),
        measurement.scaled_by,
        "" if length is None else exact_text(length),
        *(exact_text(getattr(measurement, name)) for name in FIGURES),
        *(number_rows_text(getattr(measurement, name)) for name in NUMBER_ROWS),
        who(measurement, "keeper", bylines),
    ]
