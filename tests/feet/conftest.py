"""Old photos to sort, without files, for the tests of sorting."""

import hashlib
import itertools
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone

from flockcare.feet import sorting
from flockcare.feet.sorting import Given
from flockcare.photos.models import Photo

LONDON = ZoneInfo("Europe/London")
DAY = datetime(2023, 5, 14, 17, 30, 5, 123456, tzinfo=LONDON)
numbers = itertools.count(1)


@pytest.fixture
def clock_of_the_flock():
    with timezone.override(LONDON):
        yield


@pytest.fixture
def shoebox(cast):
    """``shoebox(minutes=3)`` puts one more photo there, taken that many minutes after DAY."""

    def put(*, minutes=0, flock=None, **said):
        number = next(numbers)
        fields = {
            "width": 1200,
            "height": 900,
            "taken": DAY + timedelta(minutes=minutes),
            "taken_precision": "moment",
            "taken_source": "camera",
            # Far from every other one's.
            "look_hash": int.from_bytes(hashlib.sha256(b"%d" % number).digest()[:8], signed=True),
            "added_at": datetime(2026, 1, 1, tzinfo=UTC) + timedelta(seconds=number),
        }
        return Photo.objects.create(
            flock=flock or cast.flock,
            stored_bytes=9,
            sha256=f"{number:064x}",
            **fields | said,
        )

    return put


@pytest.fixture
def give(cast):
    def given(*photos, **said):
        return sorting.give(
            flock=cast.flock,
            keeper=cast.keeper,
            photo_ids=[photo.pk for photo in photos],
            given=Given(**said),
        )

    return given
