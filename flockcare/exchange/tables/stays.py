"""Which bird lived in which house."""

from bisect import bisect_left
from datetime import date

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
            stays = Stay.objects.filter(flock=work.flock).select_related("house")
            for stay in sorted(stays, key=_since):
                work.stays[stay.bird_id].append(stay)
        super().plan(work)

    def add(self, row, stay) -> None:
        others = row.work.stays[stay.bird_id]
        # Those before it do not overlap, so one that it overlaps is next to its place.
        at = bisect_left(others, _since(stay), key=_since)
        try:
            require_one_house(stay, others[max(0, at - 1) : at + 1])
        except ValidationError as error:
            row.wrong("from", error.message)
        else:
            others.insert(at, stay)
        super().add(row, stay)


def _since(stay) -> date:
    return stay.since or date.min
