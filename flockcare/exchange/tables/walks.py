"""When somebody walked through a house to look for what hurts feet."""

from flockcare.exchange.tables.base import Table
from flockcare.exchange.tables.columns import day, fields_of, house, person
from flockcare.housing.models import Walk

_walk = fields_of(Walk)


class Walks(Table):
    name = "walks.csv"
    about = "When somebody walked through a house to look for what hurts feet."
    model = Walk
    columns = (
        house(),
        day(past=True),
        person("Who walked through it, by name."),
        _walk("note"),
    )
    key = ("house", "date")
    contradiction = "Something else is recorded for this house and day. Change it in the app."
