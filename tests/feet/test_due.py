"""Today: who is due for a look and who has a sore foot."""

import re
import uuid
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from flockcare.birds.models import Bird, BirdState
from flockcare.feet.due import birds_for_today
from flockcare.feet.models import Check, FootFinding
from tests.care.steps import ago

pytestmark = pytest.mark.django_db


def look(cast, bird, *, days_ago, left=0, right=0):
    check = Check.objects.create(flock=cast.flock, bird=bird, at=ago(days_ago))
    for foot, score in (("left", left), ("right", right)):
        if score is not None:
            FootFinding.objects.create(check_record=check, foot=foot, score=score)
    return check


def today(cast):
    return {entry.name: entry for entry in birds_for_today(cast.flock, now=timezone.now())}


def test_a_bird_never_looked_at_comes_first(cast, birds):
    look(cast, birds["Dill"], days_ago=100)
    entries = birds_for_today(cast.flock, now=timezone.now())
    assert entries[0].name in ("Mace", "Sorrel")
    assert entries[0].due_words == "never checked"
    assert entries[-1].next.days_late == 100 - cast.flock.round_days


@pytest.mark.parametrize(
    ("days", "words"),
    [(0, "due today"), (1, "due in 1 day"), (2, "due in 2 days"), (-1, "1 day late")],
)
def test_one_day_is_told_as_one(cast, birds, days, words):
    look(cast, birds["Dill"], days_ago=cast.flock.round_days - days)
    assert today(cast)["Dill"].due_words == words


def test_a_sore_foot_is_due_sooner(cast, birds):
    look(cast, birds["Dill"], days_ago=8)
    look(cast, birds["Mace"], days_ago=8, right=1)
    entries = today(cast)
    assert not entries["Dill"].is_due
    assert entries["Mace"].is_due
    assert entries["Mace"].due_words == "1 day late"


def test_the_newest_look_at_each_foot_counts(cast, birds):
    look(cast, birds["Dill"], days_ago=9, left=2, right=1)
    look(cast, birds["Dill"], days_ago=3, left=0, right=None)
    entry = today(cast)["Dill"]
    assert (entry.left, entry.right, entry.sore) == (0, 1, True)


def test_a_bird_that_left_is_not_due(cast, birds):
    Bird.objects.filter(pk=birds["Dill"].pk).update(left="2026", left_reason="died")
    assert "Dill" not in today(cast)


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


def test_who_is_in_quarantine_comes_last(cast, birds):
    """Even where she was never checked: nothing is carried from her to the flock."""
    look(cast, birds["Dill"], days_ago=1)
    today_ = timezone.localdate()
    state = {"flock": cast.flock, "kind": "quarantine", "since": today_ - timedelta(5)}
    apart = BirdState.objects.create(bird=birds["Mace"], **state)
    BirdState.objects.create(bird=birds["Sorrel"], **state, until=today_)
    entries = birds_for_today(cast.flock, now=timezone.now())
    assert [entry.name for entry in entries] == ["Sorrel", "Dill", "Mace"]
    assert entries[-1].which.endswith("in quarantine") and entries[-1].is_due
    page = cast.clients.keeper.get(f"/f/{cast.flock.pk}/check/").text
    assert page.count("in quarantine") == 1
    apart.delete()
    assert today(cast)["Mace"].which == birds["Mace"].band


def test_sore_feet_stand_under_the_name(cast, birds):
    """Beside it and how late she is, a phone has no room for a name of seven letters."""
    look(cast, birds["Dill"], days_ago=20, right=1)
    page = cast.clients.keeper.get(f"/f/{cast.flock.pk}/check/").text
    assert page.count('class="feet-now"') == 1
    assert not re.search(r'</span></span>\s*<span class="feet-now">', page)
