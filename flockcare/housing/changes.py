"""Changes of a house in words, told from the differences between dated states."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable
from dataclasses import dataclass, field

from flockcare.housing.features import LENGTHS, NAMES
from flockcare.housing.models import (
    GROUND,
    ChangeKind,
    Dampness,
    Described,
    Event,
    EventKind,
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
_FROM_DRY_TO_WET = list(Dampness)
# Days after the bedding was renewed in which somebody may note that it is drier now.
RENEWED_DAYS = 7


# More than two make no name.
_MOST_CALLED = 2
_MOST_LETTERS = 80


@dataclass(frozen=True)
class Differences:
    """What became otherwise with one feature.

    ``changed`` is about the world; ``noted`` about what was not known before, or no longer is.
    ``called``: what changed as one would tell somebody, ``Roost lowered to 60 cm``.
    ``dried``: it was found drier, and nothing else tells whether somebody did something.
    """

    changed: list[str]
    noted: list[str]
    kinds: set[str]
    called: str = ""
    dried: bool = False

    @property
    def words(self) -> list[str]:
        return self.changed + self.noted


def value_text(name: str, value, *, units: str) -> str:
    """A value with its unit, as a sentence has it."""
    if name in LENGTHS:
        return length_text(value, unit=LENGTHS[name], units=units)
    if name == "moisture_percent":
        return f"{value:.1f}".removesuffix(".0") + "%"
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
        told = f"{feature.name} {done}{at}"
        return Differences([told], [], {kind}, told)
    changed, noted, kinds, called = [], [], set(), []
    for name in NAMES:
        was, now = getattr(before, name), getattr(after, name)
        if was == now:
            continue
        if name == "along_cm" and was is None:
            continue  # Where it was drawn had been worked out; that it is said now is no news.
        if was in (None, "") or now in (None, ""):
            noted.append(_noted(name, now, units))
        else:
            changed.append(_changed(name, was, now, units))
            kinds.add(_kind(feature, name))
            called.append(_became(feature, name, was, now, units))
    if kinds - {ChangeKind.FOUND}:
        kinds.discard(ChangeKind.FOUND)
    return Differences(
        [f"{feature.name} {', '.join(changed)}"] if changed else [],
        [f"{feature.name}: {', '.join(noted)}"] if noted else [],
        kinds,
        f"{feature.name} {', '.join(called[:_MOST_CALLED])}" if called else "",
        dried=kinds == {ChangeKind.FOUND} and _drier(before.damp, after.damp),
    )


def _became(feature: Feature, name: str, was, now, units: str) -> str:
    """``lowered to 60 cm``, ``covered with wood chip``, ``edges now rounded``."""
    if name == "height_cm":
        moved = "lowered" if now < was else "raised"
        return f"{moved} to {value_text(name, now, units=units)}"
    if name == "bedding" and feature.kind in GROUND:
        return f"covered with {now}"
    if feature.kind == FeatureKind.OTHER and name in ("material", "bedding"):
        return f"now with {now}"
    what = "" if name == "damp" else f"{NAMES[name]} "
    return f"{what}now {value_text(name, now, units=units)}"


def _drier(was: str, now: str) -> bool:
    known = was and now
    return bool(known) and _FROM_DRY_TO_WET.index(now) < _FROM_DRY_TO_WET.index(was)


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
    by_kind: list[str] = field(default_factory=list)
    named: list[str] = field(default_factory=list)
    dried: bool = False

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
    def asks(self) -> bool:
        """Whether only a keeper can tell if this was made: it is drier, by hand or by weather."""
        said = self.record and self.record.kind
        return not self.begins and not said and self.dried and self.kinds == {ChangeKind.FOUND}

    @property
    def words(self) -> str:
        return ", ".join(self.changed + self.noted)

    @property
    def called(self) -> str:
        """In a keeper's words where there are some, else by what became otherwise."""
        said = [self.record.note] if self.record and self.record.note else self.named
        names = said[:1] or self.by_kind[:_MOST_CALLED] or self.changed[:1] or self.noted[:1]
        return _first_sentence(" and ".join(names))

    @property
    def photos(self):
        return self.record.photos.all() if self.record else []


def _inside(text: str) -> str:
    """With a small letter first, unless it begins with a word in capitals."""
    return text if text[1:2].isupper() else text[:1].lower() + text[1:]


def _first_sentence(text: str) -> str:
    """The first sentence or line of a note, cut where a name would be too long."""
    first = re.split(r"(?<=\w)[.!?](?=\s|$)|\n", text.strip(), maxsplit=1)[0].strip()
    if len(first) <= _MOST_LETTERS:
        return first
    return f"{first[:_MOST_LETTERS].rpartition(' ')[0] or first[:_MOST_LETTERS]} …"


def history(
    record: HouseRecord,
    told: Iterable[HousingChange] = (),
    events: Iterable[Event] = (),
    *,
    units: str,
) -> list[Change]:
    """All changes of a house, the newest first. ``told`` are what keepers said about them.

    What was described on the first day is how the record begins, not a change. ``events`` of the
    flock tell when bedding was renewed: what is drier soon after was made so.
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
                change.by_kind += [found.called] if found.called else []
                change.dried |= found.dried
            if state.note and (before is None or state.note != before.note):
                change.notes.append(f"{feature.name}: {state.note}")
                change.named.append(f"{feature.name}: {_inside(state.note)}")
            before = state
    for one in told:
        if not one.planned:
            changes.setdefault(one.on, Change(one.on)).record = one
    asking = [change for change in changes.values() if change.asks]
    # Mostly nothing asks, and a query for the events is not made.
    renewed = _renewals(record, events) if asking else []
    for change in asking:
        if any(0 <= (change.on - day).days <= RENEWED_DAYS for day in renewed):
            change.kinds = {ChangeKind.BEDDING}
    return sorted(changes.values(), key=lambda change: change.on, reverse=True)


def _renewals(record: HouseRecord, events: Iterable[Event]) -> list[dt.date]:
    here = (None, record.house.pk)
    return [one.on for one in events if one.kind == EventKind.BEDDING and one.house_id in here]


def plan_words(plan: HousingChange, layout, *, units: str) -> str:
    """What a plan would change of what stands in the house now."""
    now = {feature.pk: state for feature, state in layout}
    words = []
    for planned in plan.planned_states.all():
        feature = planned.feature or Feature(name=planned.name, kind=planned.kind)
        words += differences(feature, now.get(feature.pk), planned, units=units).words
    return ", ".join(words)
