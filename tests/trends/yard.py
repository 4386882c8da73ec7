"""A small flock in the database: six hens, two houses, a change in one of them."""

import datetime as dt

from django.utils import timezone

from flockcare.birds.models import Bird, Breed, Weighing
from flockcare.feet.models import Check, FootFinding
from flockcare.housing.models import Feature, FeatureState, House, Stay

CHANGED = dt.date(2025, 6, 1)
FIRST = dt.date(2025, 1, 6)


def look(flock, bird, on, left=0, right=0, keeper=None, hour=12):
    at = timezone.make_aware(dt.datetime.combine(on, dt.time(hour)), flock.zone)
    check = Check.objects.create(flock=flock, bird=bird, at=at, keeper=keeper)
    FootFinding.objects.bulk_create(
        FootFinding(check_record=check, foot=foot, score=score)
        for foot, score in (("left", left), ("right", right))
    )
    return check


def fill(flock, *, birds=6, weeks=50, keeper=None):
    """Houses with a roost each, one lowered on CHANGED; weekly looks, a sore now and then."""
    houses = [House.objects.create(flock=flock, name=name) for name in ("Ark", "Barn")]
    for house in houses:
        roost = Feature.objects.create(flock=flock, house=house, name="Roost", kind="roost")
        for since, height in ((FIRST, 120), (CHANGED, 60)):
            if since == FIRST or house.name == "Ark":
                FeatureState.objects.create(
                    flock=flock, feature=roost, since=since, height_cm=height
                )
    breed = Breed.objects.create(flock=flock, name="Sussex", adult_grams=3180)
    rows = []
    for number in range(birds):
        bird = Bird.objects.create(
            flock=flock, name=f"Hen {number:02}", breed=breed, hatched="2024-03"
        )
        Stay.objects.create(flock=flock, bird=bird, house=houses[number % 2])
        Weighing.objects.create(flock=flock, bird=bird, on=FIRST, grams=3000 + number)
        rows.append(bird)
        for week in range(weeks):
            left = int(week % 17 in (number, number + 1))
            right = int(week % 23 == number + 3)
            look(flock, bird, FIRST + dt.timedelta(7 * week), left, right, keeper)
    return rows, houses
