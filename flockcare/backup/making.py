"""Writing a backup while people go on working."""

import datetime as dt
import io
from dataclasses import dataclass
from pathlib import Path

import django
from django.conf import settings
from django.core.files.storage import default_storage
from django.db import connections
from django.utils import timezone

import flockcare
from flockcare.backup import rows
from flockcare.backup.archive import BackupProblem, Writer, writing
from flockcare.backup.databases import unchanging
from flockcare.photos.models import Photo
from flockcare.photos.sizes import sizes

FILES = "files/"
_OF_FILES = {"id", "flock_id", "stored_as", "edition", "quarter_turns", "crop", "width", "height"}
# At how many moments files of photos may have gone meanwhile before we give up.
_LOOKS = 5


@dataclass(frozen=True)
class Made:
    """How much a backup holds. `missing`: files of photos that the storage does not have
    at two moments in a row: they are lost, which is no reason for having no backup at all."""

    rows: int
    photos: int
    bytes: int
    missing: list[str]


def make(path: Path, *, now: dt.datetime | None = None) -> Made:
    """Write a backup of everything to a new file. Raises BackupProblem.

    The rows are those of one moment. Files never change under their name and are there before the
    row that names them, so all of them are found, except where a photo was removed for good after
    that moment: then a later moment is taken.
    """
    path = Path(path)
    with writing(path) as out:
        lost = None
        for _ in range(_LOOKS):
            with unchanging(settings.DATA_DIR) as database:
                migrations = rows.applied(database)
                models = rows.tables(migrations)
                photos = _photos(models, database)
                missing = {name for photo in photos for name in _collect(out, photo)}
                if not missing or missing == lost:
                    tables = dict(rows.write(out, model, database) for model in models)
                    break
                lost = missing
        else:
            raise BackupProblem("Photos kept being deleted meanwhile. Try again later.")
        files = [FILES + name for photo in photos for name in photo.paths() if name not in missing]
        about = {
            "made": (now or timezone.now()).isoformat(),
            "version": flockcare.__version__,
            "django": django.get_version(),
            "database": connections["default"].vendor,
            "migrations": migrations,
            "rows": tables,
            "photos": len(photos),
            "missing": sorted(missing),
        }
        out.finish(about, [*tables, *files])
    return Made(sum(tables.values()), about["photos"], path.stat().st_size, about["missing"])


def _photos(models, database: str) -> list[Photo]:
    """Every photo, deleted ones too as long as they can be put back; with what names its files."""
    model = next(model for model in models if model._meta.label == Photo._meta.label)
    # Photos could be turned and cropped from some version on.
    columns = {field.attname for field in model._meta.concrete_fields} & _OF_FILES
    photos = model._base_manager.using(database).order_by("flock_id", "pk").values(*columns)
    return [Photo(**values) for values in photos.iterator()]


def _collect(out: Writer, photo: Photo) -> list[str]:
    """Add a photo's files unless they are in the backup; those that there are not.

    Whoever turns a photo has its former sizes removed; they are made again from the original.
    """
    missing = [name for name in photo.paths() if not _put(out, name)]
    if not missing or photo.path() in missing:
        return missing
    try:
        made = sizes(photo)
    except OSError:  # gone in this moment, or broken
        return missing
    for size, content in made.items():
        if photo.path(size) in missing:
            out.add(FILES + photo.path(size), io.BytesIO(content))
    return []


def _put(out: Writer, name: str) -> bool:
    """Add a stored file unless it is in the backup; False when the storage does not have it."""
    if FILES + name in out.members:
        return True
    try:
        source = default_storage.open(name)
    except FileNotFoundError:
        return False
    with source:
        out.add(FILES + name, source)
    return True
