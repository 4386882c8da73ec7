"""What was said about the changes of a house on a day."""

from flockcare.exchange.tables.base import Table
from flockcare.exchange.tables.columns import SEPARATOR, code, day, fields_of, house, person
from flockcare.exchange.tables.photos import named_photo
from flockcare.housing.models import HousingChange

_change = fields_of(HousingChange)
PHOTOS = code("photos", "Its photos, as photos.csv calls them, separated by “;”.")


class WithPhotos(Table):
    """An item is a record with its photos."""

    def items(self, flock):
        found = super().items(flock).prefetch_related("photos")
        return [(record, list(record.photos.all())) for record in found]

    def parts(self, item):
        return item[:1]

    def to_row(self, item, names):
        record, photos = item
        return super().to_row(record, names) | {"photos": photo_names(photos, names)}

    def from_row(self, row):
        return super().from_row(row), named_photos(row)

    def add(self, row, item) -> None:
        super().add(row, item)
        record, photos = item
        row.work.plan.attached.extend((record, photo) for photo in photos)


class Changes(WithPhotos):
    """An item is a change with its photos."""

    name = "housing_changes.csv"
    about = "What was said about the changes of a house on a day; housing.csv tells what changed."
    model = HousingChange
    columns = (
        house(),
        day(past=True),
        _change("kind", "What kind of change."),
        _change("note"),
        # These may be left out.
        person(),
        PHOTOS,
    )
    key = ("house", "date")
    contradiction = "Something else is recorded for this house and day. Change it in the app."

    def items(self, flock):
        return [item for item in super().items(flock) if not item[0].planned]


def photo_names(photos, names) -> str:
    """Of those that the files hold."""
    return SEPARATOR.join(
        sorted(names.photos[photo.pk] for photo in photos if photo.pk in names.photos)
    )


def named_photos(row) -> list:
    names = [name.strip() for name in row.text("photos").split(SEPARATOR)]
    photos = [named_photo(row, "photos", name) for name in names if name]
    return list({photo.pk: photo for photo in photos if photo}.values())
