"""How old a bird is, and how her weight changes.

Grown at 26 weeks: common practice, no published source.
"""

from datetime import date, timedelta

import pytest
from django.utils import timezone

from flockcare.birds.age import GROWN_AT_DAYS, age_on, least_age, may_be_growing
from flockcare.birds.models import Bird, Breed, Weighing

TODAY = date(2026, 6, 10)


def ago(days):
    return TODAY - timedelta(days)


@pytest.mark.parametrize(
    ("hatched", "least", "most"),
    [
        ("2026-06-01", 9, 9),
        ("2026-06-10", 0, 0),
        ("2026-05", 10, 40),
        ("2026-06", 0, 9),
        ("2025", 161, 525),
        ("2026", 0, 160),
    ],
)
def test_age_is_known_as_well_as_the_hatch_date(hatched, least, most):
    age = age_on(hatched, TODAY)
    assert (age.least_days, age.most_days) == (least, most)


@pytest.mark.parametrize(
    ("hatched", "least"),
    [("2026-06-01", 9), ("2026-06", 0), ("2026-05", 10), ("2026", None), ("2025", None)],
)
def test_a_year_alone_says_little_of_a_young_bird(hatched, least):
    assert least_age(hatched, TODAY) == least
    assert least_age("2024", TODAY) == 526 and least_age("", TODAY) is None


@pytest.mark.parametrize("hatched", ["", "2026-06-11", "2026-07", "2027"])
def test_no_age_where_none_can_be(hatched):
    assert age_on(hatched, TODAY) is None
    assert not may_be_growing(hatched, TODAY)


def test_growing_until_26_weeks():
    hatched = TODAY - timedelta(26 * 7)
    assert GROWN_AT_DAYS == 182
    assert may_be_growing(str(hatched), TODAY - timedelta(1))
    assert not may_be_growing(str(hatched), TODAY)


def test_who_may_be_growing_counts_as_such():
    assert may_be_growing("2025", TODAY)  # The end of 2025 is less than 26 weeks before.
    assert not may_be_growing("2025-11", TODAY)
    assert may_be_growing("2025-12", TODAY)


# --- On her pages


@pytest.fixture
def dill(birds, cast):
    breed = Breed.objects.create(flock=cast.flock, name="Orpington", adult_grams=3630, source="x")
    Bird.objects.filter(pk=birds["Dill"].pk).update(breed=breed)
    return Bird.objects.get(pk=birds["Dill"].pk)


def pages(cast, bird):
    base = f"/f/{cast.flock.pk}/birds/{bird.pk}/"
    told = (cast.clients.viewer.get(base + tail).text for tail in ("", "weighings/"))
    return [" ".join(text.split()) for text in told]


@pytest.mark.django_db
@pytest.mark.parametrize("days", [60, 400])
def test_a_growing_bird_is_not_compared_with_a_grown_one(cast, dill, days):
    today = timezone.localdate()
    Bird.objects.filter(pk=dill.pk).update(hatched=str(today - timedelta(days)))
    Weighing.objects.create(flock=cast.flock, bird=dill, on=today, grams=1200)
    page, weighings = pages(cast, dill)
    assert "1.20 kg" in page and "1.20 kg" in weighings
    assert ("33% of" in page) == ("33%" in weighings) == (days == 400)
    assert ("still growing" in page) == ("still growing" in weighings) == (days == 60)


@pytest.mark.django_db
def test_a_grown_bird_weighed_as_a_chick(cast, dill):
    """The weighing of a chick says nothing about a grown hen of her breed."""
    today = timezone.localdate()
    Bird.objects.filter(pk=dill.pk).update(hatched=str(today - timedelta(400)))
    chick = {"flock": cast.flock, "bird": dill, "grams": 1089}
    Weighing.objects.create(on=today - timedelta(300), **chick)
    Weighing.objects.create(on=today - timedelta(100), **chick | {"grams": 3630})
    page, weighings = pages(cast, dill)
    assert "100% of" in page and ">100%<" in weighings
    assert "30%" not in weighings


@pytest.mark.django_db
def test_a_cock_is_not_compared_with_a_hen(cast, dill):
    Bird.objects.filter(pk=dill.pk).update(sex="cock")
    today = timezone.localdate()
    Weighing.objects.create(flock=cast.flock, bird=dill, on=today, grams=3630)
    page, weighings = pages(cast, dill)
    assert "100% of" not in page and ">100%<" not in weighings
