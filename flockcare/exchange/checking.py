"""Turns rows into the records they stand for, or into all that is wrong with them.

A row that says the same as a record of the flock is counted as "already there". Where a flock may
hold several equal records (two checks at one time) the rows are counted against the records.
"""

from collections import Counter, defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime

from django.utils import timezone

from flockcare.birds.models import Bird, BirdState, Breed
from flockcare.care.models import CareStep, KitItem, VetContact
from flockcare.exchange.pictures import Pictures
from flockcare.exchange.problems import Problems
from flockcare.exchange.reader import FileReader
from flockcare.exchange.reading import Tables
from flockcare.exchange.tables import IN_ORDER_OF_READING, Table
from flockcare.exchange.tables.base import Names
from flockcare.feet.models import Check, Round
from flockcare.housing.models import Event, Feature, House, HousingChange, Stay
from flockcare.people.models import Flock, Keeper
from flockcare.photos.models import Photo


@dataclass
class Plan:
    """What an import would add: records by their model, none before one that it names."""

    flock: Flock
    new: dict[type, list] = field(default_factory=lambda: defaultdict(list))
    # The flock's settings as the exchange has them, where they are to be taken over.
    settings: dict = field(default_factory=dict)
    # Names that stand for people without an account here: record or key, field, name.
    names: list[tuple] = field(default_factory=list)
    attached: list[tuple[Check | CareStep | HousingChange | Event, Photo]] = field(
        default_factory=list
    )
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


@dataclass
class Work:
    """What the tables share while their rows are read."""

    tables: Tables
    plan: Plan
    keepers: dict[str, Keeper]
    now: datetime
    problems: Problems
    birds: dict[str, Bird] = field(default_factory=dict)
    houses: dict[str, House] = field(default_factory=dict)
    features: dict[tuple, Feature] = field(default_factory=dict)
    stays: dict[object, list[Stay]] = field(default_factory=lambda: defaultdict(list))
    states: dict[object, list[BirdState]] = field(default_factory=lambda: defaultdict(list))
    kit: dict[str, KitItem] = field(default_factory=dict)
    vets: dict[str, VetContact] = field(default_factory=dict)
    photos: dict[str, Photo] = field(default_factory=dict)
    # Of each bird and moment, in the order of the files.
    checks: dict[tuple, list[Check]] = field(default_factory=dict)
    was_empty: bool = False

    @property
    def flock(self):
        return self.plan.flock

    @property
    def zone(self):
        return self.flock.zone

    @property
    def today(self):
        return self.now.astimezone(self.zone).date()

    @property
    def keys(self) -> Names:
        """In place of names every record stands for itself."""
        return Names(self.zone)

    def read(self, table: Table) -> FileReader:
        return FileReader(table.name, self.tables[table.name], self)


def check(
    tables: Tables,
    flock: Flock,
    *,
    keepers=None,
    now: datetime | None = None,
    beat: Callable[[int], None] = lambda photos: None,
) -> Plan:
    """What importing ``tables`` into ``flock`` would do. Writes nothing.

    ``keepers``: whose names count as theirs in the column "keeper" (the flock's members).
    ``beat``: called at each row with how many photos have been read; what it raises ends this.
    Raises Refused with every problem found.
    """
    if keepers is None:
        keepers = Keeper.objects.filter(membership__flock=flock)
    work = Work(
        tables=tables,
        plan=Plan(
            flock,
            pictures=Pictures(beat=beat),
            rows={file: len(rows) for file, rows in tables.rows.items()},
        ),
        keepers=_unambiguous(keepers),
        now=now or timezone.now(),
        problems=Problems(tables.problems),
        was_empty=is_empty(flock),
    )
    for table in IN_ORDER_OF_READING:
        table.plan(work)
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
