"""Names of people who did something here and have no account."""

from __future__ import annotations

from dataclasses import dataclass

from flockcare.people.models import Byline, Keeper


@dataclass(frozen=True)
class Guest:
    """Somebody without an account here who did something, or whom a link lets do it.

    ``name``: as it stands at what they did, such as ``Anna (sitter)``.
    """

    name: str

    def __str__(self):
        return self.name


def credited(by: Keeper | Guest | None) -> tuple[Keeper | None, str]:
    """Who did it as records hold it: a keeper, or the name of somebody without an account."""
    return (None, by.name) if isinstance(by, Guest) else (by, "")


def with_names(records, field: str = "keeper") -> list:
    """The records, each with ``by``: the name of whoever is in that field, empty for nobody."""
    records = list(records)
    nobody = [one.pk for one in records if getattr(one, field) is None]
    found = Byline.objects.filter(record__in=nobody, field=field) if nobody else ()
    names = {byline.record: byline.name for byline in found}
    for one in records:
        keeper = getattr(one, field)
        one.by = keeper.name if keeper else names.get(one.pk, "")
    return records
