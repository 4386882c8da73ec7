"""What keepers said about the changes of a house, and when they walked through it."""

from flockcare.exchange import cells
from flockcare.exchange.columns import FILE_SEPARATOR
from flockcare.exchange.pictures import named_photo
from flockcare.housing.models import HousingChange, Walk

CHANGES, WALKS = "housing_changes.csv", "walks.csv"

_kind = cells.for_field(HousingChange._meta.get_field("kind"))
_note = cells.for_field(HousingChange._meta.get_field("note"))
_walk_note = cells.for_field(Walk._meta.get_field("note"))


def check_changes(work) -> None:
    changes = HousingChange.objects.filter(flock=work.flock, planned=False)
    known = {
        (change.house_id, change.on): _about(change, change.photos.all())
        for change in changes.prefetch_related("photos")
    }

    def build(row):
        before = len(work.problems)
        kind, note = row.get("kind", _kind, ""), row.get("note", _note, "")
        change = HousingChange(kind=kind, note=note, **_start(work, row))
        photos = named_photos(work, row)
        if len(work.problems) == before and _is_new(work, row, known, _about(change, photos)):
            work.sign(row, change, "keeper")
            work.plan.add(change)
            work.plan.attached.extend((change, photo) for photo in photos)

    work.read(CHANGES).each(build)


def _about(change, photos) -> dict:
    return {
        "house": change.house_id,
        "date": change.on,
        "kind": change.kind,
        "note": change.note,
        "photos": {photo.pk for photo in photos},
    }


def named_photos(work, row) -> list:
    names = [name.strip() for name in row.text("photos").split(FILE_SEPARATOR)]
    photos = [named_photo(work, row, "photos", name) for name in names if name]
    return list({photo.pk: photo for photo in photos if photo}.values())


def check_walks(work) -> None:
    walks = Walk.objects.filter(flock=work.flock)
    known = {(walk.house_id, walk.on): _walked(walk) for walk in walks}

    def build(row):
        before = len(work.problems)
        walk = Walk(note=row.get("note", _walk_note, ""), **_start(work, row))
        if len(work.problems) == before and _is_new(work, row, known, _walked(walk)):
            work.sign(row, walk, "keeper")
            work.plan.add(walk)

    work.read(WALKS).each(build)


def _walked(walk) -> dict:
    return {"house": walk.house_id, "date": walk.on, "note": walk.note}


def _start(work, row) -> dict:
    return {
        "flock": work.flock,
        "house": row.find("house", "house", work.houses),
        "on": row.need("date", cells.not_after(work.today, cells.day)),
    }


def _is_new(work, row, known, told) -> bool:
    """Whether nothing is told of this house and day yet; what contradicts it is a problem."""
    there = known.setdefault((told["house"], told["date"]), told)
    if there is told:
        return True
    for column, value in told.items():
        if row.text(column) and value != there[column]:
            row.wrong(
                column, "Something else is kept for this house and day. Change it in the app."
            )
            return False
    work.plan.already_there[row.file.file] += 1
    return False
