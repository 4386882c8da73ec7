"""What the birds weighed."""

from flockcare.birds.models import Weighing
from flockcare.exchange.tables.base import Table
from flockcare.exchange.tables.columns import bird, day, fields_of, person

_weighing = fields_of(Weighing)


class Weights(Table):
    name = "weights.csv"
    about = "What the birds weighed."
    model = Weighing
    columns = (
        bird(),
        day(past=True),
        _weighing("grams", "Weight.", unit="g", required=True),
        # These may be left out.
        person("Who weighed her, by name."),
    )
    key = ("bird", "date")
    contradiction = "She has been weighed on this day already: {there} g."
