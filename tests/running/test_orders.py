"""Where what is empty stands: SQLite puts it first, PostgreSQL last, so every order says it."""

import pytest
from django.apps import apps
from django.db.models import F, OrderBy

OURS = [each for each in apps.get_models() if each.__module__.startswith("flockcare.")]


def unsaid(model) -> list[str]:
    """The columns in the model's own order that may be empty, without a word on where."""
    found = []
    for each in model._meta.ordering:
        said = isinstance(each, OrderBy) and (each.nulls_first or each.nulls_last)
        plain = each.expression if isinstance(each, OrderBy) else each
        name = plain.name if isinstance(plain, F) else plain
        if isinstance(name, str) and not said and model._meta.get_field(name.lstrip("-")).null:
            found.append(name)
    return found


@pytest.mark.parametrize("model", OURS, ids=lambda model: model.__name__)
def test_the_order_of_records_says_where_what_is_empty_stands(model):
    assert unsaid(model) == []


def test_one_that_does_not_say_it_is_found(monkeypatch):
    stay = next(model for model in OURS if model.__name__ == "Stay")
    assert stay._meta.get_field("since").null
    for order, expected in ((["since"], ["since"]), (["-since"], ["-since"])):
        monkeypatch.setattr(stay._meta, "ordering", order)
        assert unsaid(stay) == expected
