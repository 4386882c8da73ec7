"""The settings of a flock."""

from flockcare.exchange import cells
from flockcare.people.models import Flock

FILE = "flock.csv"
FIELD = Flock._meta.get_field

_reads = {
    "time_zone": cells.for_field(FIELD("time_zone")),
    "units": cells.for_field(FIELD("units")),
    "round_days": cells.for_field(FIELD("round_days"), cells.integer),
    "recheck_days": cells.for_field(FIELD("recheck_days"), cells.integer),
}


def check_setting(work) -> None:
    """A flock in which nothing is recorded takes the settings over; another keeps its own.

    The time zone must be the same then: every local time in the files rests on it.
    """
    rows = work.read(FILE).each(lambda row: (row, _told(row)))
    for row, _ in rows[1:]:
        row.wrong("time_zone", "A flock has one row of settings.")
    for row, told in rows[:1]:
        zone = told.get("time_zone", work.flock.time_zone)
        if work.was_empty:
            work.plan.settings = told
            # At once: every local time that is read from here on is of this zone.
            work.flock.time_zone = zone
        elif zone != work.flock.time_zone:
            row.wrong(
                "time_zone",
                f"The times here are those of {zone}, and the flock keeps those of "
                f"{work.flock.time_zone}. Import into a new flock, or change its settings first.",
            )
        else:
            work.plan.already_there[FILE] += 1


def _told(row) -> dict:
    found = {name: row.get(name, read) for name, read in _reads.items()}
    return {name: value for name, value in found.items() if value is not None}
