"""When a photo that comes with a check was taken, by the camera's clock."""

import io
from datetime import UTC, datetime

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import ExifTags, Image

from flockcare.photos.services import add_photos

TAGS = ExifTags.Base


def taken_by_a_camera(clock: str, offset: str | None) -> SimpleUploadedFile:
    exif = Image.Exif()
    exif.get_ifd(ExifTags.IFD.Exif)[TAGS.DateTimeOriginal] = clock
    if offset:
        exif.get_ifd(ExifTags.IFD.Exif)[TAGS.OffsetTimeOriginal] = offset
    file = io.BytesIO()
    Image.new("RGB", (320, 240), "tan").save(file, "JPEG", exif=exif)
    return SimpleUploadedFile("hen.jpg", file.getvalue())


@pytest.mark.parametrize(
    ("offset", "taken"),
    [
        # By hand. The flock is in London: on 28 February its clock is that of UTC (tz database).
        (None, datetime(2026, 2, 28, 17, 5, tzinfo=UTC)),
        ("+02:00", datetime(2026, 2, 28, 15, 5, tzinfo=UTC)),
        ("-03:30", datetime(2026, 2, 28, 20, 35, tzinfo=UTC)),
    ],
)
def test_what_the_camera_says_of_its_zone_counts(cast, birds, offset, taken):
    now = datetime(2026, 3, 1, 9, tzinfo=UTC)
    upload = taken_by_a_camera("2026:02:28 17:05:00", offset)
    (photo,), refused = add_photos(flock=cast.flock, keeper=cast.keeper, uploads=[upload], now=now)
    assert not refused
    assert (photo.taken, photo.taken_source) == (taken, "camera")
