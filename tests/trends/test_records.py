"""What is read from the database, and in how many queries."""

import datetime as dt
import zoneinfo

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from flockcare.birds.models import Breed
from flockcare.care.models import CareStep
from flockcare.housing.models import HousingChange, Stay
from flockcare.photos.models import Measurement, Photo
from flockcare.trends import records
from flockcare.trends.records import local_days
from tests.trends.yard import CHANGED, FIRST, fill, look


def read(flock):
    return records.read(flock, records.told_changes(flock))


@pytest.mark.parametrize(
    "zone", ["UTC", "Europe/London", "America/St_Johns", "Australia/Lord_Howe"]
)
def test_local_days_agree_with_the_standard_library(zone):
    """Every five hours through two years, clock changes of half an hour among them."""
    zone = zoneinfo.ZoneInfo(zone)
    start = dt.datetime(2024, 1, 1, tzinfo=dt.UTC)
    moments = [start + dt.timedelta(hours=5, minutes=11) * n for n in range(3400)]
    found = local_days((f"{moment:%Y-%m-%d %H:%M:%S}.123" for moment in moments), zone)
    assert found.tolist() == [moment.astimezone(zone).toordinal() for moment in moments]


@pytest.mark.django_db
def test_what_is_read(cast):
    rows, _ = fill(cast.flock, birds=3, weeks=4, keeper=cast.keeper)
    CareStep.objects.create(
        flock=cast.flock, bird=rows[1], foot="right", kind="soaked", at=timezone.now()
    )
    found = read(cast.flock)
    assert [bird.name for bird in found.birds] == ["Hen 00", "Hen 01", "Hen 02"]
    assert found.birds[0].weight_class == "heavy"  # 3,180 g, after the bounds of birds.breeds
    assert found.birds[0].weighed == ((FIRST.toordinal(), 3000),)
    assert found.looks.day.size == 3 * 4 * 2
    assert set(found.looks.day.tolist()) == {FIRST.toordinal() + 7 * n for n in range(4)}
    assert [(row.house, row.day) for row in found.changes] == [(0, CHANGED.toordinal())]
    assert found.changes[0].changed == ("Roost 120 → 60 cm",)
    assert [(row.house, row.drop_cm) for row in found.drops] == [(0, 120), (0, 60), (1, 120)]
    assert [(step.bird, step.foot, step.kind) for step in found.steps] == [(1, 1, "soaked")]
    assert len(found.stays) == 3


@pytest.mark.django_db
def test_a_breed_called_bantam_is_in_the_class_of_bantams(cast):
    rows, _ = fill(cast.flock, birds=1, weeks=2)
    rows[0].breed = Breed.objects.create(flock=cast.flock, name="Pekin bantam")
    rows[0].save()
    assert read(cast.flock).birds[0].weight_class == "bantam"


@pytest.mark.django_db
def test_found_on_a_walk_is_no_change(cast):
    fill(cast.flock, birds=1, weeks=2)
    told = HousingChange.objects.create(
        flock=cast.flock, house=cast.flock.house_set.get(name="Ark"), on=CHANGED, kind="found"
    )
    assert read(cast.flock).changes == []
    told.kind = "height"
    told.save()
    assert len(read(cast.flock).changes) == 1


@pytest.mark.django_db
def test_a_change_that_is_a_note_alone_is_one_phrase(cast):
    _, houses = fill(cast.flock, birds=1, weeks=2)
    note = "New litter, bought dry, and limed"
    HousingChange.objects.create(
        flock=cast.flock, house=houses[1], on=CHANGED, kind="bedding", note=note
    )
    assert (note,) in [row.changed for row in read(cast.flock).changes]


@pytest.mark.django_db
def test_the_newest_measurement_of_a_photo_with_a_day(cast):
    (bird, *_), _ = fill(cast.flock, birds=1, weeks=2)
    photos = [
        Photo.objects.create(
            flock=cast.flock, bird=bird, foot="left", width=9, height=9, stored_bytes=9,
            sha256=f"{number:064}", look_hash=0, taken=timezone.now(), taken_precision=precision,
        )
        for number, precision in enumerate(("day", "year"))
    ]  # fmt: skip
    for photo in photos:
        for area in (20.0, 12.0):
            Measurement.objects.create(
                flock=cast.flock, photo=photo, scaled_by="card", to_mm=[], outline_px=[],
                outline_mm=[], area_mm2=area, perimeter_mm=9, longest_diameter_mm=5,
                relative_area_error=0.1,
            )  # fmt: skip
    assert [(row.foot, row.mm2) for row in read(cast.flock).areas] == [(0, 12.0)]


@pytest.mark.django_db
def test_as_many_queries_for_few_records_as_for_many(cast):
    def queries():
        with CaptureQueriesContext(connection) as captured:
            read(cast.flock)
        return len(captured)

    rows, houses = fill(cast.flock, birds=2, weeks=2)
    few = queries()
    for number in range(20):
        look(cast.flock, rows[0], FIRST + dt.timedelta(100 + number))
        Stay.objects.create(
            flock=cast.flock, bird=rows[0], house=houses[1], since=CHANGED, until=CHANGED
        )
    assert queries() == few


@pytest.mark.django_db
def test_an_empty_flock(cast):
    found = read(cast.flock)
    assert found.birds == [] and found.looks.day.size == 0


def test_a_cock_and_a_growing_bird_are_not_measured_by_the_hens_of_the_breed(cast):
    from flockcare.birds.models import Bird, Breed

    breed = Breed.objects.create(flock=cast.flock, name="Sussex", adult_grams=3180)
    for name, sex, hatched in (("Alan", "cock", ""), ("Bea", "hen", "2026-05"), ("Cid", "hen", "")):
        Bird.objects.create(flock=cast.flock, name=name, breed=breed, sex=sex, hatched=hatched)
    alan, bea, cid = records.read(cast.flock, []).birds
    assert (alan.adult_grams, alan.weight_class, alan.grown_from) == (None, "", None)
    assert (cid.adult_grams, cid.grown_from) == (3180, None) and cid.weight_class
    # As the bird's own page has it, to the day.
    grown = dt.date.fromordinal(bea.grown_from)
    her = Bird.objects.get(name="Bea")
    assert her.adult_grams_on(grown) == 3180
    assert her.adult_grams_on(grown - dt.timedelta(1)) is None
