"""A large photo comes in parts, so that a slow line which breaks loses one part and not all of it.

Parts lie in the folder that the photo will have, as files without a record: what is never put
together goes with others of that kind after a day (``photos.checking``).
"""

import io
import uuid

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import UploadedFile

from flockcare.photos.checking import FOLDER
from flockcare.photos.intake import MAX_BYTES
from flockcare.photos.services import remove

MOST_BYTES = 1_000_000  # of one part
MOST_PARTS = 1000


class PartsMissing(Exception):
    """Some are not here, or not any more: all of them have to come again."""


def keep_part(*, flock, key: uuid.UUID, number: int, content: bytes) -> None:
    """Store a part under its number; the same again is stored once."""
    path = _path(flock, key, number)
    if default_storage.exists(path):
        if default_storage.size(path) == len(content):
            return
        default_storage.delete(path)  # of a process that was killed while it wrote
    default_storage.save(path, ContentFile(content))


def put_together(*, flock, key: uuid.UUID, count: int, name: str) -> UploadedFile:
    """The whole picture as one upload. Raises PartsMissing."""
    whole = io.BytesIO()
    for number in range(count):
        try:
            with default_storage.open(_path(flock, key, number)) as part:
                content = part.read()
        except FileNotFoundError:
            raise PartsMissing from None
        if not content:
            raise PartsMissing
        whole.write(content)
        if whole.tell() > MAX_BYTES:
            break  # More than is taken in, which the intake says.
    size = whole.tell()
    whole.seek(0)
    return UploadedFile(whole, name=name, size=size)


def remove_parts(*, flock, key: uuid.UUID, count: int) -> None:
    remove(_path(flock, key, number) for number in range(count))


def _path(flock, key: uuid.UUID, number: int) -> str:
    return f"{FOLDER}/{flock.pk}/{key}/part-{number:04d}"
