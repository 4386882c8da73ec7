"""What was said about the changes of a house on a day."""

from flockcare.exchange.tables.base import Table
from flockcare.exchange.tables.columns import SEPARATOR, code, day, fields_of, house, person
from flockcare.exchange.tables.photos import named_photo
from flockcare.housing.models import HousingChange

_change = fields_of(HousingChange)
PHOTOS = code("photos", "Its photos, as photos.csv calls them, separated by “;”.")


class Changes(Table):
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
        made = super().items(flock).filter(planned=False).prefetch_related("photos")
        return [(change, list(change.photos.all())) for change in made]

    def parts(self, item):
        return item[:1]

    def to_row(self, item, names):
        change, photos = item
        return super().to_row(change, names) | {"photos": photo_names(photos, names)}

    def from_row(self, row):
        return super().from_row(row), named_photos(row)

    def add(self, row, item) -> None:
        super().add(row, item)
        change, photos = item
        row.work.plan.attached.extend((change, photo) for photo in photos)


def photo_names(photos, names) -> str:
    """Of those that the files hold."""
    return SEPARATOR.join(
        sorted(names.photos[photo.pk] for photo in photos if photo.pk in names.photos)
    )


def named_photos(row) -> list:
    names = [name.strip() for name in row.text("photos").split(SEPARATOR)]
    photos = [named_photo(row, "photos", name) for name in names if name]
    return list({photo.pk: photo for photo in photos if photo}.values())
