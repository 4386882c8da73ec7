"""What was so with the birds for a time."""

from django.core.exceptions import ValidationError

from flockcare.birds.models import BirdState
from flockcare.exchange.tables.base import Table
from flockcare.exchange.tables.columns import bird, fields_of, person

_state = fields_of(BirdState)


class States(Table):
    name = "states.csv"
    about = "What was so with the birds for a time: moult, broodiness, lay, quarantine."
    model = BirdState
    columns = (
        bird(),
        _state("kind", "What was so."),
        _state("from", "The first day.", field="since", past=True),
        _state("to", "The day it was over; empty: it goes on.", field="until"),
        # These may be left out.
        person("Who said so, by name."),
    )

    def plan(self, work) -> None:
        if work.tables[self.name]:
            for state in BirdState.objects.filter(flock=work.flock):
                work.states[state.bird_id].append(state)
        super().plan(work)

    def clean(self, record) -> None:
        # A row may be what is on record already; see ``add`` for those that are not.
        record.clean_alone()

    def add(self, row, state) -> None:
        others = row.work.states[state.bird_id]
        try:
            state.clash(others)
        except ValidationError as error:
            row.wrong("from", " ".join(error.messages))
        others.append(state)
        super().add(row, state)
