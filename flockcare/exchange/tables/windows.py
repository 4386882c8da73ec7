"""Which periods before and after a change were chosen to be compared."""

from flockcare.exchange.tables.base import Table
from flockcare.exchange.tables.columns import day, fields_of, house, person
from flockcare.trends.models import WindowChoice

_window = fields_of(WindowChoice)


class Windows(Table):
    name = "windows.csv"
    about = "Which periods before and after a change were chosen to be compared, every try."
    model = WindowChoice
    columns = (
        house(),
        day("Day of the change."),
        _window("window_days", "Days compared before and after.", unit="days"),
        _window("lag_days", "Days left out after the change.", unit="days"),
        person("Who chose it, by name."),
        _window("chosen", "When it was chosen.", field="chosen_at", needed=True),
    )
