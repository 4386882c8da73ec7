"""Which bird lived in which house."""

from django.core.exceptions import ValidationError

from flockcare.exchange.tables.base import Table
from flockcare.exchange.tables.columns import bird, fields_of, house
from flockcare.housing.models import Stay
from flockcare.housing.services import require_one_house

_stay = fields_of(Stay)


class Stays(Table):
    name = "stays.csv"
    about = "Which bird lived in which house."
    model = Stay
    columns = (
        bird(),
        house(),
        _stay("from", "The day she moved in; empty: not known.", field="since", past=True),
        _stay(
            "to",
            "The day she moved out, which counts for the new house; empty: still.",
            field="until",
            past=True,
        ),
    )

    def plan(self, work) -> None:
        if work.tables[self.name]:
            for stay in Stay.objects.filter(flock=work.flock).select_related("house"):
                work.stays[stay.bird_id].append(stay)
        super().plan(work)

    def add(self, row, stay) -> None:
        others = row.work.stays[stay.bird_id]
        try:
            require_one_house(stay, others)
        except ValidationError as error:
            row.wrong("from", error.message)
        others.append(stay)
        super().add(row, stay)
