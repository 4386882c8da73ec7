"""Turns rows into the records they stand for, or into all that is wrong with them.

A row that says the same as a record of the flock is counted as "already there". Where a flock may
hold several equal records (two checks at one time) the rows are counted against the records.
"""

from collections import Counter
from dataclasses import dataclass, field
from datetime import datetime

from django.utils import timezone

from flockcare.birds.models import Bird, Breed, Weighing
from flockcare.care.models import CareStep, KitItem
from flockcare.exchange import (
    birds,
    cells,
    changes,
    housing,
    looks,
    measurements,
    past,
    plans,
    rounds,
    setting,
    tending,
    windows,
)
from flockcare.exchange.pictures import Pictures, check_photos
from flockcare.exchange.problems import Problems
from flockcare.exchange.reader import FileReader
from flockcare.exchange.reading import Tables
from flockcare.feet.models import Check, FootFinding, Round, RoundBird, SortingNote
from flockcare.housing.models import (
    Feature,
    FeatureState,
    House,
    HousingChange,
    PlannedState,
    Stay,
    Walk,
)
from flockcare.people.models import Flock, Keeper, Revision
from flockcare.photos.models import Measurement, Photo
from flockcare.trends.models import WindowChoice


@dataclass
class Plan:
    """What an import would add: records by their model, in the order they have to be saved."""

    flock: Flock
    new: dict[type, list] = field(
        default_factory=lambda: {
            model: []
            for model in (
                *(Breed, Bird, Weighing, House, Feature, FeatureState, HousingChange),
                *(PlannedState, Walk, Stay, Check, FootFinding, Round, RoundBird, KitItem),
                *(CareStep, Photo, SortingNote, Measurement, WindowChoice, Revision),
            )
        }
    )
    # The flock's settings as the exchange has them, where they are to be taken over.
    settings: dict = field(default_factory=dict)
    # Names that stand for people without an account here: record or key, field, name.
    names: list[tuple] = field(default_factory=list)
    attached: list[tuple[Check | CareStep | HousingChange, Photo]] = field(default_factory=list)
    pictures: Pictures = field(default_factory=Pictures)
    # Photos whose files were lost before the export, as it calls them.
    lost: list[str] = field(default_factory=list)
    rows: dict[str, int] = field(default_factory=dict)
    already_there: Counter = field(default_factory=Counter)

    def add(self, *records) -> None:
        for record in records:
            self.new[type(record)].append(record)

    def sign(self, record, field: str, name: str) -> None:
        self.names.append((record, field, name))

    def counts(self) -> dict[str, tuple[int, int]]:
        """For each file without its ending: how many rows are new, how many there already."""
        return {
            file.removesuffix(".csv"): (rows - self.already_there[file], self.already_there[file])
            for file, rows in self.rows.items()
        }


KEEPER_NAME = cells.for_field(Keeper._meta.get_field("name"))


@dataclass
class Work:
    """What the checks of the single files share."""

    tables: Tables
    plan: Plan
    keepers: dict[str, Keeper]
    now: datetime
    problems: Problems
    birds: dict[str, Bird] = field(default_factory=dict)
    houses: dict[str, House] = field(default_factory=dict)
    features: dict[tuple, Feature] = field(default_factory=dict)
    kit: dict[str, KitItem] = field(default_factory=dict)
    photos: dict[str, Photo] = field(default_factory=dict)
    was_empty: bool = False

    @property
    def flock(self):
        return self.plan.flock

    @property
    def zone(self):
        return self.flock.zone

    def sign(self, row, record, field: str, column: str | None = None) -> None:
        """Put whoever the row names into a field of the record: a keeper here, or a mere name."""
        keeper = self.keepers.get(row.text(column or field))
        if keeper:
            setattr(record, field, keeper)
        elif name := row.get(column or field, KEEPER_NAME, ""):
            self.plan.sign(record, field, name)

    @property
    def today(self):
        return self.now.astimezone(self.zone).date()

    def read(self, file: str) -> FileReader:
        return FileReader(file, self.tables[file], self.problems)

    def add_unless_there(self, file, planned, existing) -> list:
        """Plan those of ``planned`` that ``existing`` does not hold yet; both are (key, record)."""
        there = Counter(key for key, _ in existing)
        added = []
        for key, record in planned:
            if there[key]:
                there[key] -= 1
                self.plan.already_there[file] += 1
            else:
                added.append(record)
        return added


def check(tables: Tables, flock: Flock, *, keepers=None, now: datetime | None = None) -> Plan:
    """What importing ``tables`` into ``flock`` would do. Writes nothing.

    ``keepers``: whose names count as theirs in the column "keeper" (the flock's members).
    Raises Refused with every problem found.
    """
    if keepers is None:
        keepers = Keeper.objects.filter(membership__flock=flock)
    work = Work(
        tables=tables,
        plan=Plan(flock, rows={file: len(rows) for file, rows in tables.rows.items()}),
        keepers=_unambiguous(keepers),
        now=now or timezone.now(),
        problems=Problems(tables.problems),
        was_empty=is_empty(flock),
    )
    for step in (
        setting.check_setting,
        birds.check_birds,
        birds.check_weights,
        housing.check_housing,
        housing.check_stays,
        looks.check_checks,
        rounds.check_rounds,
        tending.check_kit,
        tending.check_care,
        check_photos,
        measurements.check_measurements,
        changes.check_changes,
        plans.check_plans,
        changes.check_walks,
        windows.check_windows,
        past.check_history,
    ):
        step(work)
    work.problems.refuse_if_any()
    return work.plan


def is_empty(flock: Flock) -> bool:
    """Whether nothing has been recorded in this flock yet."""
    return flock._state.adding or not any(
        model.objects.filter(flock=flock).exists()
        for model in (Bird, Breed, House, KitItem, Photo, Round)
    )


def _unambiguous(keepers) -> dict[str, Keeper]:
    keepers = list(keepers)
    names = Counter(keeper.name for keeper in keepers)
    return {keeper.name: keeper for keeper in keepers if names[keeper.name] == 1}
