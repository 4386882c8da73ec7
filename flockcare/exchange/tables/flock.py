"""The settings of a flock."""

from flockcare.exchange.tables.base import Table
from flockcare.exchange.tables.columns import Kind, fields_of
from flockcare.people.models import Flock

_flock = fields_of(Flock)


class Settings(Table):
    name = "flock.csv"
    about = "Settings of the flock: one row."
    model = Flock
    columns = (
        _flock(
            "time_zone", "IANA name of the time zone of every local time in the files.", Kind.CODE
        ),
        _flock("units", "How weights and lengths are shown; the files are metric."),
        _flock("round_days", "Days between rounds.", unit="days"),
        _flock("recheck_days", "Days until a sore foot is checked again.", unit="days"),
    )

    def rows(self, outgoing):
        yield self.cells(self.to_row(outgoing.flock, outgoing.names)), ()

    def plan(self, work) -> None:
        """A flock in which nothing is recorded takes the settings over; another keeps its own.

        The time zone must be the same then: every local time in the files rests on it.
        """
        rows = work.read(self).each(lambda row: (row, self._told(row)))
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
                    f"{work.flock.time_zone}. Import into a new flock, or change its settings "
                    "first.",
                )
            else:
                work.plan.already_there[self.name] += 1

    def _told(self, row) -> dict:
        return {column.attr: column.value(row) for column in self.columns if row.text(column.name)}
