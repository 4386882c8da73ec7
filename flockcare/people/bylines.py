"""Names of people who did something here and have no account."""

from flockcare.people.models import Byline


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
