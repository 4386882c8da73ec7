"""What happened in a house or to the whole flock, and how wet it was underfoot."""

from flockcare.exchange.tables.base import Table
from flockcare.exchange.tables.changes import PHOTOS, WithPhotos
from flockcare.exchange.tables.columns import day, fields_of, house, person
from flockcare.housing.models import EggCount, Event, Wetness

_event, _wetness, _eggs = fields_of(Event), fields_of(Wetness), fields_of(EggCount)


class Events(WithPhotos):
    """An item is an event with its photos."""

    name = "events.csv"
    about = "What happened in a house or to the whole flock."
    model = Event
    columns = (
        house("Name of the house; empty: the whole flock.", required=False),
        day("The day, or the first day of a spell.", past=True),
        _event("kind", "What kind of event."),
        # These may be left out.
        _event(
            "to", "Last day of a wet spell or a housing order; empty: it goes on.", field="until"
        ),
        _event("what", "In a word or two, for something else."),
        _event("note"),
        person("Who logged it, by name."),
        PHOTOS,
    )
    key = ("house", "date", "kind", "what")
    contradiction = "This is on record otherwise for that day. Change it in the app."


class WetnessTable(Table):
    name = "wetness.csv"
    about = "How wet it was where the birds of a house land and stand."
    model = Wetness
    columns = (
        house(),
        day(past=True),
        _wetness("wetness", "The wettest place counts.", field="level"),
        # This may be left out.
        person("Who checked, by name."),
    )
    key = ("house", "date")
    contradiction = "Something else is recorded for this house and day. Change it in the app."


class Eggs(Table):
    name = "eggs.csv"
    about = "How many eggs a house gave on a day."
    model = EggCount
    columns = (
        house(),
        day(past=True),
        _eggs("eggs", "All eggs of the house; 0 where there were none."),
        # This may be left out.
        person("Who counted, by name."),
    )
    key = ("house", "date")
    contradiction = "Another number is recorded for this house and day. Change it in the app."
