"""What ends when a bird leaves the flock, and when deleted photos are gone for good."""

from datetime import date

import pytest

from flockcare.feet.sorting import unsorted
from flockcare.housing import services
from flockcare.housing.models import House, HousingChange, Stay
from flockcare.pages.leaving import leave_flock
from flockcare.photos import editing
from flockcare.photos.models import Photo
from tests.care.steps import ago

pytestmark = pytest.mark.django_db


@pytest.fixture
def house(cast):
    return House.objects.create(flock=cast.flock, name="Barn")


def photo(cast, sha256="a" * 64):
    return Photo.objects.create(
        flock=cast.flock, width=9, height=9, stored_bytes=9, sha256=sha256, look_hash=0
    )


def test_a_stay_ends_when_she_leaves(cast, birds, house):
    dill = birds["Dill"]
    stay = Stay.objects.create(flock=cast.flock, bird=dill, house=house, since=date(2025, 1, 1))
    dill.left, dill.left_reason = "2026-02", "given away"
    leave_flock(bird=dill, by=cast.owner)
    stay.refresh_from_db()
    assert stay.until == date(2026, 2, 28)


def test_a_photo_of_a_house_is_not_to_be_sorted(cast, house):
    change = HousingChange.objects.create(
        flock=cast.flock,
        house=house,
        on=date(2026, 1, 1),
        kind=HousingChange.kind.field.choices[0][0],
    )
    kept, other = photo(cast), photo(cast, "b" * 64)
    services.keep_photos(record=change, photos=[kept])
    assert list(unsorted(cast.flock)) == [other]


def test_photos_deleted_long_ago_are_removed(cast):
    old, young = photo(cast), photo(cast, "b" * 64)
    for record, days in ((old, 31), (young, 29)):
        Photo.objects.filter(pk=record.pk).update(deleted_at=ago(days))
    editing.purge()
    assert list(Photo.with_deleted.values_list("pk", flat=True)) == [young.pk]
