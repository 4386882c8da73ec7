"""Eggs of a house per day: counted by whoever cares to, and a fall told as an early sign."""

from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest
from django.urls import reverse
from django.utils import timezone

from flockcare.birds.models import Bird, BirdState
from flockcare.birds.services import change_bird
from flockcare.housing.early import fewer_eggs
from flockcare.housing.models import EggCount, House, Stay
from flockcare.people.models import Revision

pytestmark = pytest.mark.django_db


@pytest.fixture
def shed(cast):
    return House.objects.create(flock=cast.flock, name="Cart Shed")


def url(cast, shed, name="eggs"):
    return reverse(f"housing:{name}", args=[cast.flock.pk, shed.pk])


def today():
    return timezone.localdate(timezone.now(), ZoneInfo("Europe/London"))


def counted(cast, house, *eggs):
    """On the days up to and including yesterday."""
    for ago, number in enumerate(reversed(eggs), 1):
        on = today() - timedelta(days=ago)
        EggCount.objects.create(flock=cast.flock, house=house, on=on, eggs=number)


def hens(cast, house, count):
    made = [Bird.objects.create(flock=cast.flock, name=f"Hen {number}") for number in range(count)]
    for bird in made:
        Stay.objects.create(flock=cast.flock, house=house, bird=bird)
    return made


USUAL = [10, 11, 9, 12, 10] * 6


def test_one_number_a_day_which_said_again_is_corrected(cast, shed):
    back = url(cast, shed, "house")
    answer = cast.clients.keeper.post(url(cast, shed), {"eggs": "7", "back": back})
    assert answer.headers["Location"] == back
    cast.clients.keeper.post(url(cast, shed), {"eggs": "8"})
    count = EggCount.objects.get()
    assert (count.eggs, count.on, count.keeper) == (8, today(), cast.keeper)
    assert Revision.objects.get(kind="housing.EggCount").before["eggs"] == 7
    assert 'value="8"' in cast.clients.keeper.get(back).content.decode()
    cast.clients.keeper.post(url(cast, shed), {"eggs": "6", "on": "2026-01-05"})
    assert EggCount.objects.count() == 2


@pytest.mark.parametrize("said", [{"eggs": "-1"}, {"eggs": ""}, {"eggs": "7", "on": "2090-01-01"}])
def test_what_is_no_number_of_a_day_is_said_and_nothing_kept(cast, shed, said):
    answer = cast.clients.keeper.post(url(cast, shed), said)
    assert answer.status_code == 422 and "errorlist" in answer.content.decode()
    assert not EggCount.objects.exists()


def test_it_goes_nowhere_else(cast, shed):
    said = {"eggs": "7", "back": "//elsewhere.example/"}
    answer = cast.clients.keeper.post(url(cast, shed), said)
    assert answer.headers["Location"] == url(cast, shed)


def test_a_fall_is_told_on_today_and_as_no_diagnosis(cast, shed):
    hens(cast, shed, 12)
    counted(cast, shed, *USUAL, 3)
    page = cast.clients.keeper.get(reverse("today", args=[cast.flock.pk])).content.decode()
    assert "Fewer eggs than usual in Cart Shed: 3 yesterday, usually 9 to 12 (by chance" in page
    assert "Moult, heat, broodiness" in page and "Notifiable disease" in page
    # What is kept of the page follows a correction.
    count = EggCount.objects.get(eggs=3)
    cast.clients.keeper.post(
        reverse("housing:eggs_edit", args=[cast.flock.pk, count.pk]),
        {"eggs": "11", "on": count.on.isoformat(), "version": "1"},
    )
    page = cast.clients.keeper.get(reverse("today", args=[cast.flock.pk])).content.decode()
    assert "Fewer eggs" not in page and EggCount.objects.get(pk=count.pk).eggs == 11


def test_birds_that_rest_or_have_gone_are_not_expected_to_lay(cast, shed):
    birds = hens(cast, shed, 12)
    counted(cast, shed, *USUAL, 3)
    assert fewer_eggs(cast.flock, today())
    week = today() - timedelta(days=1)
    for bird in birds[:4]:
        BirdState.objects.create(flock=cast.flock, bird=bird, kind="moulting", since=week)
    Bird.objects.filter(pk__in=[bird.pk for bird in birds[4:8]]).update(
        left=(week - timedelta(days=1)).isoformat(), left_reason="given away"
    )
    assert not fewer_eggs(cast.flock, today())


def test_little_on_record_says_nothing_and_asks_little(cast, shed, django_assert_num_queries):
    counted(cast, shed, 10, 10, 0)
    with django_assert_num_queries(1):
        assert fewer_eggs(cast.flock, today()) == []


def test_today_asks_the_database_no_more_for_counted_eggs(
    cast, shed, django_assert_max_num_queries
):
    hens(cast, shed, 3)
    counted(cast, shed, *USUAL)
    page = reverse("today", args=[cast.flock.pk])
    assert "Eggs today" in cast.clients.keeper.get(page).content.decode()
    with django_assert_max_num_queries(12):
        cast.clients.keeper.get(page)


def test_several_that_died_within_days_are_told(cast, birds):
    page = reverse("today", args=[cast.flock.pk])

    def dies(bird):
        bird.left, bird.left_reason = (today() - timedelta(days=2)).isoformat(), "died"
        change_bird(bird=bird, by=cast.keeper)

    dies(birds["Dill"])
    assert "died within a week" not in cast.clients.keeper.get(page).content.decode()
    dies(birds["Mace"])
    said = cast.clients.keeper.get(page).content.decode()
    assert "2 birds died within a week" in said and "must be reported" in said
