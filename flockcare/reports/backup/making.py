"""Writing a backup while people go on working."""

import datetime as dt
from dataclasses import dataclass
from pathlib import Path

import django
from django.conf import settings
from django.core.files.storage import default_storage
from django.db import connections
from django.utils import timezone

import flockcare
from flockcare.photos.intake import SIZES
from flockcare.photos.models import Photo
from flockcare.reports.backup import rows
from flockcare.reports.backup.archive import BackupProblem, Writer, writing
from flockcare.reports.backup.databases import unchanging

FILES = "files/"
FILES_OF_A_PHOTO = 1 + len(SIZES)
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
    row that names them, so all of them are found, except where somebody turned or removed a photo
    after that moment: then a later moment is taken.
    """
    path = Path(path)
    with writing(path) as out:
        lost = None
        for _ in range(_LOOKS):
            with unchanging(settings.DATA_DIR) as database:
                migrations = rows.applied(database)
                models = rows.tables(migrations)
                wanted = _files(models, database)
                missing = {name for name in wanted if not _put(out, name)}
                if not missing or missing == lost:
                    tables = dict(rows.write(out, model, database) for model in models)
                    break
                lost = missing
        else:
            raise BackupProblem("Photos are being removed all the time. Try again later.")
        about = {
            "made": (now or timezone.now()).isoformat(),
            "version": flockcare.__version__,
            "django": django.get_version(),
            "database": connections["default"].vendor,
            "migrations": migrations,
            "rows": tables,
            "photos": len(wanted) // FILES_OF_A_PHOTO,
            "missing": sorted(missing),
        }
        out.finish(about, [*tables, *(FILES + name for name in wanted if name not in missing)])
    return Made(sum(tables.values()), about["photos"], path.stat().st_size, about["missing"])


def _files(models, database: str) -> list[str]:
    """The files of every photo, deleted ones too, as long as they can be put back."""
    model = next(model for model in models if model._meta.label == Photo._meta.label)
    # Photos were turned and cropped from some version on.
    columns = {"pk", "flock_id", "edition"} & {"pk", *(f.attname for f in model._meta.fields)}
    photos = model._base_manager.using(database).order_by("flock_id", "pk").values(*columns)
    return [
        name
        for photo in (Photo(**values) for values in photos.iterator())
        for name in (photo.path(), *(photo.path(size) for size in SIZES))
    ]


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
