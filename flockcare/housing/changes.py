"""Changes of a house in words, told from the differences between dated states."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, field

from flockcare.housing.features import LENGTHS, NAMES
from flockcare.housing.models import (
    ChangeKind,
    Described,
    Feature,
    FeatureKind,
    FeatureState,
    HousingChange,
)
from flockcare.housing.states import HouseRecord
from flockcare.housing.units import length_text, number_words

STEPS = (FeatureKind.STEP, FeatureKind.RAMP)
_KINDS = {
    "height_cm": ChangeKind.HEIGHT,
    "along_cm": ChangeKind.LAYOUT,
    "run_cm": ChangeKind.LAYOUT,
    "length_cm": ChangeKind.LAYOUT,
    "breadth_cm": ChangeKind.LAYOUT,
    "spacing_cm": ChangeKind.LAYOUT,
    "wall_cm": ChangeKind.LAYOUT,
    "bedding": ChangeKind.BEDDING,
    "bedding_depth_cm": ChangeKind.BEDDING,
    # Weather and droppings do this; where somebody did, another difference shows it.
    "damp": ChangeKind.FOUND,
    "moisture_percent": ChangeKind.FOUND,
}


@dataclass(frozen=True)
class Differences:
    """What became otherwise with one feature.

    ``changed`` is about the world; ``noted`` about what was not known before, or no longer is.
    """

    changed: list[str]
    noted: list[str]
    kinds: set[str]

    @property
    def words(self) -> list[str]:
        return self.changed + self.noted


def value_text(name: str, value, *, units: str) -> str:
    """A value with its unit, as a sentence has it."""
    if name in LENGTHS:
        return length_text(value, unit=LENGTHS[name], units=units)
    if name == "moisture_percent":
        return f"{value:.1f}".removesuffix(".0") + " %"
    return value


def description(state: Described, units: str) -> str:
    """What is known of a feature in one line: ``height 60 cm, edges rounded``."""
    known = [
        f"{words} {value_text(name, value, units=units)}"
        for name, words in NAMES.items()
        if (value := getattr(state, name)) not in (None, "")
    ]
    return ", ".join(known)


def differences(
    feature: Feature, before: Described | None, after: Described, *, units: str
) -> Differences:
    """From one state of a feature to the next; ``before`` is None for what is put up new."""
    arrived = before is None or before.gone
    if after.gone or arrived:
        if after.gone and arrived:
            return Differences([], [], set())
        done = "taken away" if after.gone else "put back" if before else "added"
        kind = ChangeKind.STEP if feature.kind in STEPS else ChangeKind.LAYOUT
        height = after.height_cm if arrived and feature.kind != FeatureKind.FLOOR else None
        at = f" at {value_text('height_cm', height, units=units)}" if height else ""
        return Differences([f"{feature.name} {done}{at}"], [], {kind})
    changed, noted, kinds = [], [], set()
    for name in NAMES:
        was, now = getattr(before, name), getattr(after, name)
        if was == now:
            continue
        if was in (None, "") or now in (None, ""):
            noted.append(_noted(name, now, units))
        else:
            changed.append(_changed(name, was, now, units))
            kinds.add(_kind(feature, name))
    if kinds - {ChangeKind.FOUND}:
        kinds.discard(ChangeKind.FOUND)
    return Differences(
        [f"{feature.name} {', '.join(changed)}"] if changed else [],
        [f"{feature.name}: {', '.join(noted)}"] if noted else [],
        kinds,
    )


def _kind(feature: Feature, name: str) -> str:
    # What a feeder is filled with stands under its material; a shelf has edges like any perch.
    if feature.kind == FeatureKind.OTHER and name in ("material", "bedding"):
        return ChangeKind.OTHER
    if feature.kind in STEPS and name in ("height_cm", "along_cm", "run_cm"):
        return ChangeKind.STEP
    return _KINDS.get(name, ChangeKind.SURFACE)


def _noted(name: str, now, units: str) -> str:
    if now in (None, ""):
        return f"{NAMES[name]} no longer known"
    return f"{NAMES[name]} noted as {value_text(name, now, units=units)}"


def _changed(name: str, was, now, units: str) -> str:
    """``140 → 60 cm`` for a height, ``width 45 → 70 mm`` for anything else."""
    what = "" if name == "height_cm" else f"{NAMES[name]} "
    unit = LENGTHS.get(name)
    start = (
        number_words(was, unit=unit, units=units) if unit else value_text(name, was, units=units)
    )
    return f"{what}{start} → {value_text(name, now, units=units)}"


@dataclass
class Change:
    """What became otherwise in a house on one day, with what keepers say about it."""

    on: dt.date
    begins: bool = False
    changed: list[str] = field(default_factory=list)
    noted: list[str] = field(default_factory=list)
    kinds: set[str] = field(default_factory=set)
    notes: list[str] = field(default_factory=list)
    record: HousingChange | None = None

    @property
    def kind(self) -> str:
        """As said by a keeper, else by what changed; empty when nothing did."""
        if self.record and self.record.kind:
            return self.record.kind
        if len(self.kinds) > 1:
            return ChangeKind.SEVERAL
        return next(iter(self.kinds), "")

    @property
    def kind_words(self) -> str:
        return ChangeKind(self.kind).label if self.kind else ""

    @property
    def made(self) -> bool:
        """Whether the world changed by somebody's hand, as far as is known."""
        return not self.begins and bool(self.kind) and self.kind != ChangeKind.FOUND

    @property
    def words(self) -> str:
        return ", ".join(self.changed + self.noted)

    @property
    def photos(self):
        return self.record.photos.all() if self.record else []


def history(record: HouseRecord, told: Iterable[HousingChange] = (), *, units: str) -> list[Change]:
    """All changes of a house, the newest first. ``told`` are what keepers said about them.

    What was described on the first day is how the record begins, not a change.
    """
    changes = {day: Change(day, begins=day == record.begins) for day in record.days}
    for feature in record.features:
        before: FeatureState | None = None
        for state in record.states.get(feature.pk, []):
            change = changes[state.since]
            if before is None and change.begins:
                change.noted.append(feature.name)
            else:
                found = differences(feature, before, state, units=units)
                change.changed += found.changed
                change.noted += found.noted
                change.kinds |= found.kinds
            if state.note and (before is None or state.note != before.note):
                change.notes.append(f"{feature.name}: {state.note}")
            before = state
    for one in told:
        if not one.planned:
            changes.setdefault(one.on, Change(one.on)).record = one
    return sorted(changes.values(), key=lambda change: change.on, reverse=True)


def plan_words(plan: HousingChange, layout, *, units: str) -> str:
    """What a plan would change of what stands in the house now."""
    now = {feature.pk: state for feature, state in layout}
    words = []
    for planned in plan.planned_states.all():
        feature = planned.feature or Feature(name=planned.name, kind=planned.kind)
        words += differences(feature, now.get(feature.pk), planned, units=units).words
    return ", ".join(words)
