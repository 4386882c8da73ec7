"""Which stretches before and after a change were chosen to be compared."""

from flockcare.exchange import cells
from flockcare.exchange.rows import window_cells
from flockcare.trends.models import WindowChoice

FILE = "windows.csv"
FIELD = WindowChoice._meta.get_field

_days = {name: cells.for_field(FIELD(name), cells.integer) for name in ("window_days", "lag_days")}


def check_windows(work) -> None:
    planned = work.read(FILE).each(lambda row: (row, _choice(work, row)))
    existing = WindowChoice.objects.filter(flock=work.flock).select_related("house")
    added = work.add_unless_there(
        FILE,
        [(_told(choice, work.zone), (row, choice)) for row, choice in planned],
        [(_told(choice, work.zone), choice) for choice in (existing if planned else ())],
    )
    for row, choice in added:
        work.sign(row, choice, "keeper")
        work.plan.add(choice)


def _told(choice, zone) -> tuple:
    # Whoever chose it may be known by name in one flock and not in the other.
    house, on, window, lag, _, chosen = window_cells(choice, zone)
    return house.lower(), on, window, lag, chosen


def _choice(work, row) -> WindowChoice:
    return WindowChoice(
        flock=work.flock,
        house=row.find("house", "house", work.houses),
        on=row.need("date", cells.day),
        chosen_at=row.need("chosen", cells.instant(work.zone)),
        **{name: row.need(name, read) for name, read in _days.items()},
    )
