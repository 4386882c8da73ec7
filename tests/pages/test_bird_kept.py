"""What is kept of a bird's page and of the form for her check is never older than the records."""

import re
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.core.cache import cache
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from flockcare.birds.models import Bird, BirdState, Weighing
from flockcare.birds.services import change_bird
from flockcare.feet.services import delete_check
from flockcare.housing.models import Feature, FeatureState, House, HousingChange, Stay
from flockcare.people.services import change_flock, rename_keeper
from flockcare.photos.models import Photo, Precision
from tests.care.steps import ago, day, look, step

pytestmark = pytest.mark.django_db
MILD = {"score": 1, "scab": "black", "swelling": "none"}
CLEAR = {"score": 0}
OF_ONE_ANSWER = re.compile(
    r'[\w-]{64}|name="check_id" value="[\w-]+"|value="20\d\d-\d\d-\d\dT[\d:]+"'
)


def page(client, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200
    return OF_ONE_ANSWER.sub("", answer.text)


def photo(cast, bird, days_ago=2):
    return Photo.objects.create(
        flock=cast.flock,
        bird=bird,
        foot="left",
        taken=ago(days_ago),
        taken_precision=Precision.MOMENT,
        width=9,
        height=9,
        stored_bytes=9,
        sha256=f"photo {days_ago}",
        look_hash=0,
    )


def deeds(cast, dill):
    flock = cast.flock
    house = House.objects.create(flock=flock, name="Barn")
    yield "lived", lambda: Stay.objects.create(flock=flock, house=house, bird=dill, since=day(-30))
    perch = Feature.objects.create(flock=flock, house=house, name="Perch", kind="perch")
    yield (
        "described",
        lambda: FeatureState.objects.create(
            flock=flock, feature=perch, since=day(-9), height_cm=90
        ),
    )
    yield (
        "told",
        lambda: HousingChange.objects.create(flock=flock, house=house, on=day(-4), note="Bedding"),
    )
    yield (
        "changed",
        lambda: FeatureState.objects.create(
            flock=flock, feature=perch, since=day(-4), height_cm=40
        ),
    )
    yield "clear", lambda: look(cast, dill, days_ago=20, left=CLEAR, right=CLEAR)
    yield "sore", lambda: look(cast, dill, days_ago=9, left=MILD, keeper=cast.keeper)
    yield "late", lambda: look(cast, dill, days_ago=12, left=MILD, gait=2)
    yield "photo", lambda: photo(cast, dill)
    yield "care", lambda: step(cast, dill, "soaked", days_ago=2)
    yield "weight", lambda: Weighing.objects.create(flock=flock, bird=dill, on=day(-1), grams=1500)
    yield "units", lambda: change_flock(flock=in_pounds(flock), by=cast.owner)
    yield (
        "state",
        lambda: BirdState.objects.create(flock=flock, bird=dill, kind="broody", since=day(-1)),
    )
    yield "renamed keeper", lambda: rename_keeper(keeper=cast.keeper, name="Ros")
    yield "photo gone", lambda: Photo.objects.filter(bird=dill).update(deleted_at=timezone.now())
    yield "mended", lambda: delete_check(check=dill.check_set.get(gait=2), keeper=cast.keeper)
    yield "renamed", lambda: renamed(dill, cast.keeper)
    yield "healed", lambda: look(cast, dill, left=CLEAR, right=CLEAR)


def in_pounds(flock):
    flock.units = "imperial"
    return flock


def renamed(bird: Bird, by) -> None:
    bird.name = "Lovage"
    change_bird(bird=bird, by=by)


@pytest.mark.parametrize("name", ["bird", "check_bird"])
def test_after_every_kind_of_record_the_page_reads_as_if_nothing_were_kept(cast, birds, name):
    address = reverse(name, args=[cast.flock.pk, birds["Dill"].pk])
    for number, (deed, do) in enumerate(deeds(cast, birds["Dill"])):
        before = page(cast.clients.keeper, address)
        do()
        after = page(cast.clients.keeper, address)
        cache.clear()
        assert after == page(cast.clients.keeper, address), deed
        if name == "bird" and deed not in ("described", "told"):
            assert after != before, (number, deed)


def test_the_owner_reads_what_a_viewer_opened_first_with_buttons_of_their_own(cast, birds):
    look(cast, birds["Dill"], days_ago=3, left=MILD)
    step(cast, birds["Dill"], days_ago=1, next_due=day(0))
    address = birds["Dill"].get_absolute_url()
    for _ in range(2):
        assert 'form="tap"' not in page(cast.clients.viewer, address)
        assert 'form="tap"' in page(cast.clients.owner, address)


def test_the_form_of_the_next_day_counts_a_day_more(cast, birds, monkeypatch):
    look(cast, birds["Dill"], days_ago=3, left=MILD)
    address = reverse("check_bird", args=[cast.flock.pk, birds["Dill"].pk])
    assert "checked 3 days ago" in page(cast.clients.keeper, address)
    now = datetime.combine(day(1), datetime.min.time(), ZoneInfo("Europe/London"))
    monkeypatch.setattr(timezone, "now", lambda: now + timedelta(minutes=1))
    assert "checked 4 days ago" in page(cast.clients.keeper, address)


def test_a_check_by_a_phone_whose_clock_is_ahead_is_known_at_once(cast, birds, monkeypatch):
    noon = datetime.combine(day(0), datetime.min.time(), ZoneInfo("Europe/London"))
    noon += timedelta(hours=12)
    monkeypatch.setattr(timezone, "now", lambda: noon)
    address = reverse("check_bird", args=[cast.flock.pk, birds["Dill"].pk])
    assert "first check" in page(cast.clients.keeper, address)
    look(cast, birds["Dill"], days_ago=-5 / 24 / 60, left=MILD)
    assert "checked today" in page(cast.clients.keeper, address)


def test_what_is_kept_is_asked_for_in_few_questions(cast, birds):
    look(cast, birds["Dill"], days_ago=3, left=MILD)
    for name, most in (("bird", 7), ("check_bird", 4)):
        address = reverse(name, args=[cast.flock.pk, birds["Dill"].pk])
        page(cast.clients.keeper, address)
        with CaptureQueriesContext(connection) as asked:
            page(cast.clients.keeper, address)
        assert len(asked) <= most, name
