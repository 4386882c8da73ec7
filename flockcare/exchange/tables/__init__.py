"""The tables of an exchange, a file each: its columns, how a record becomes a row, and a row a
record.

A folder or a zip of UTF-8 CSV files (RFC 4180) with a header; ISO 8601 dates and local times of
the flock; an empty cell says "not known".
"""

from flockcare.exchange.tables.base import Table
from flockcare.exchange.tables.birds import Birds
from flockcare.exchange.tables.care import Care
from flockcare.exchange.tables.care_plans import CarePlans
from flockcare.exchange.tables.changes import Changes
from flockcare.exchange.tables.checks import Checks
from flockcare.exchange.tables.events import Eggs, Events, WetnessTable
from flockcare.exchange.tables.flock import Settings
from flockcare.exchange.tables.history import History
from flockcare.exchange.tables.housing import Housing
from flockcare.exchange.tables.kit import Kit
from flockcare.exchange.tables.measurements import Measurements
from flockcare.exchange.tables.photos import Photos
from flockcare.exchange.tables.plans import Plans
from flockcare.exchange.tables.prints import Prints
from flockcare.exchange.tables.rounds import Rounds
from flockcare.exchange.tables.states import States
from flockcare.exchange.tables.stays import Stays
from flockcare.exchange.tables.tasks import Tasks, TasksDone
from flockcare.exchange.tables.vets import Vets
from flockcare.exchange.tables.walks import Walks
from flockcare.exchange.tables.weights import Weights
from flockcare.exchange.tables.windows import Windows

_ALL = (
    *(Birds(), Weights(), States(), Housing(), Changes(), Plans(), Walks(), Stays(), Events()),
    *(WetnessTable(), Eggs(), Checks(), Rounds(), Kit(), Vets(), Care(), CarePlans(), Tasks()),
    *(TasksDone(), Photos(), Measurements(), Prints(), Windows(), Settings()),
    History(),
)
FILES: dict[str, Table] = {table.name: table for table in _ALL}
# Each after those whose records it names; all local times rest on the settings of the flock.
IN_ORDER_OF_READING = tuple(
    FILES[name]
    for name in (
        *("flock.csv", "birds.csv", "weights.csv", "states.csv", "housing.csv", "stays.csv"),
        *("checks.csv", "rounds.csv", "kit.csv", "vets.csv", "care.csv", "plans.csv", "photos.csv"),
        *("tasks.csv", "tasks_done.csv"),
        *("measurements.csv", "card_prints.csv"),
        *("housing_changes.csv", "housing_plans.csv", "walks.csv", "events.csv"),
        *("wetness.csv", "eggs.csv", "windows.csv", "history.csv"),
    )
)
# The photos say which of their files are there, and the history speaks of all others.
WRITTEN_LAST = ("photos.csv", "history.csv")
