"""What an export knows of a flock while it is written, one table after the other.

Each table has an order that the records alone decide. Rows that say the same stand in the order in
which their records were changed, and then it does not matter any more.

Others go on recording meanwhile: what hangs on a record that came too late is left for next time,
so that no row names a thing that the files do not hold.
"""

from django.utils.text import slugify

from flockcare.birds.models import Bird
from flockcare.care.models import CarePlan, KitItem, VetContact
from flockcare.exchange.labels import label_birds
from flockcare.exchange.tables.base import Names, Table
from flockcare.exchange.tables.history import Past
from flockcare.exchange.taken import taken_text
from flockcare.housing.models import House
from flockcare.people.models import Byline, Flock, Keeper
from flockcare.photos.models import Photo


class Outgoing:
    def __init__(self, flock: Flock):
        self.flock = flock
        self.birds = list(Bird.objects.filter(flock=flock).select_related("breed"))
        bylines = Byline.objects.filter(flock=flock).values_list("record", "field", "name")
        self.names = Names(
            zone=flock.zone,
            birds=label_birds(self.birds),
            houses=dict(House.objects.filter(flock=flock).values_list("pk", "name")),
            vets=dict(VetContact.objects.filter(flock=flock).values_list("pk", "name")),
            kit=dict(KitItem.objects.filter(flock=flock).values_list("pk", "name")),
            people=_people(flock),
            bylines={(record, field): name for record, field, name in bylines},
        )
        photos = Photo.objects.filter(flock=flock).select_related("sorting", "keeper")
        self.photos = list(self.in_time(photos.order_by("sha256")))
        self.names.photos = _file_names(self.photos, self.names)
        # SHA-256 of each file that is not lost, by its name in the exchange.
        self.digests: dict[str, str] = {}
        self.past = Past(flock, self.names.bylines)
        # Keys of records whose rows are written.
        self.written: set = set()

    def stored(self) -> dict[str, str]:
        """For each photo's name in the exchange its name in the storage."""
        return {self.names.photos[photo.pk]: photo.path() for photo in self.photos}

    def table(self, table: Table) -> list[list[str]]:
        """The cells of its rows. The history gets to know the records by their places."""
        # Checks, care and weighings go by day, everything else by its cells from left to right.
        first = [table.all.index(name) for name in ("date", "time") if name in table.all]
        found = sorted(
            table.rows(self),
            key=lambda each: (
                *([each[0][at] for at in first], each[0]),
                *map(self.past.marks, each[1]),
            ),
        )
        for _, keys in found:
            self.past.know(*keys)
            self.written.update(key.pk for key in keys)
        return [cells for cells, _ in found]

    def in_time(self, records):
        return filter(self.is_in_time, records)

    def is_in_time(self, record) -> bool:
        """Whether all that it belongs to is in the files."""
        belongs = (
            (getattr(record, "bird_id", None), self.names.birds),
            (getattr(record, "house_id", None), self.names.houses),
            (getattr(record, "item_id", None), self.names.kit),
            (getattr(record, "contact_id", None), self.names.vets),
        )
        return all(key is None or key in known for key, known in belongs)

    def goes_with(self, record, photo) -> bool:
        return record.bird_id == photo.bird_id and record.pk in self.written


def _people(flock) -> dict[str, str]:
    """Whoever has a turn in a plan of care, by their keys."""
    turns = CarePlan.objects.filter(flock=flock).values_list("turns", flat=True)
    keys = {key for one in turns for key, _ in one if key}
    return {str(one.pk): one.name for one in Keeper.objects.filter(pk__in=keys)}


def _file_names(photos, names: Names) -> dict:
    used = set()
    return {photo.pk: _file_name(photo, names, used) for photo in photos}


def _file_name(photo, names: Names, used: set[str]) -> str:
    taken = taken_text(photo, names.zone)[:10] or "undated"
    bird = slugify(names.birds[photo.bird_id]) if photo.bird_id else "unknown"
    start = "-".join(part for part in (taken, bird, photo.foot) if part)
    digits = next(n for n in range(8, 65) if f"{start}-{photo.sha256[:n]}" not in used)
    used.add(f"{start}-{photo.sha256[:digits]}")
    return f"photos/{start}-{photo.sha256[:digits]}.jpg"
