"""Today without birds, and with many."""

import uuid

import pytest
from django.urls import reverse

from flockcare.birds.models import Bird
from flockcare.feet.models import Check, FootFinding
from tests.care.steps import ago

pytestmark = pytest.mark.django_db


def look(cast, bird, *, days_ago, left=0, right=0):
    check = Check.objects.create(flock=cast.flock, bird=bird, at=ago(days_ago))
    for foot, score in (("left", left), ("right", right)):
        if score is not None:
            FootFinding.objects.create(check_record=check, foot=foot, score=score)
    return check


def test_a_new_flock_is_led_to_its_birds(cast):
    page = cast.clients.owner.get(reverse("today", args=[cast.flock.pk])).content.decode()
    assert "Add birds" in page


def test_today_costs_the_same_for_one_bird_and_twenty(
    cast, birds, django_assert_num_queries, django_assert_max_num_queries
):
    url = reverse("today", args=[cast.flock.pk])
    look(cast, birds["Dill"], days_ago=0)
    cast.clients.keeper.get(url)  # works out how the birds stand
    with django_assert_max_num_queries(12) as first:
        cast.clients.keeper.get(url)
    count = len(first)
    for number in range(20):
        bird = Bird.objects.create(flock=cast.flock, name=f"Hen {number}", id=uuid.uuid4())
        for day in range(3):
            look(cast, bird, days_ago=day, left=number % 3)
    cast.clients.keeper.get(url)
    with django_assert_num_queries(count):
        cast.clients.keeper.get(url)
