"""How large the printed cards are, as keepers measured them."""

from flockcare.exchange.tables.base import Table
from flockcare.exchange.tables.columns import day, fields_of, person
from flockcare.photos.models import CardPrint

_print = fields_of(CardPrint)


class Prints(Table):
    name = "card_prints.csv"
    about = "How large the printed cards are, from black square to black square."
    model = CardPrint
    columns = (
        day("Day on which a card was measured."),
        _print("across_mm", "Across.", unit="mm"),
        _print("down_mm", "From top to bottom.", unit="mm"),
        person("Who measured it, by name."),
        _print("measured", "When it was entered.", field="at", needed=True),
    )
