"""Whom to check: the birds to pick from and those of a round, as Today has them."""

import re

import pytest
from django.urls import reverse

from flockcare.birds.models import Bird, BirdState
from flockcare.care.models import TaskKind
from flockcare.care.services_tasks import set_tasks
from flockcare.feet.models import RoundBird
from tests.care.steps import day, look, today

pytestmark = pytest.mark.django_db
CLEAR = {"score": 0}


def picked(cast) -> list[str]:
    """The rows in words, in order."""
    page = cast.clients.keeper.get(reverse("pick", args=[cast.flock.pk])).text
    rows = page.split('id="pick-list"')[1].split("</ul>")[0].split("<li>")[1:]
    rows = [re.sub(r"<svg.*?</svg>", "", row, flags=re.S) for row in rows]
    return [" ".join(re.sub(r"<[^>]*>", " ", row).split()) for row in rows]


def test_those_due_longest_come_first_and_none_before_one_never_checked(cast, birds):
    look(cast, birds["Dill"], days_ago=40, left=CLEAR, right=CLEAR)
    look(cast, birds["Mace"], days_ago=8, left=CLEAR, right={"score": 1})
    gone = Bird.objects.create(flock=cast.flock, name="Gone", left="2026", left_reason="died")
    late = 40 - cast.flock.round_days
    assert picked(cast) == [
        "Sorrel blue 7 never checked",
        f"Dill green 7 {late} days late",
        "Mace red 7 right 7 days late",
    ]
    assert str(gone) not in " ".join(picked(cast))


def test_who_is_in_quarantine_comes_last(cast, birds):
    """Even where she was never checked: nothing is carried from her to the flock."""
    look(cast, birds["Dill"], days_ago=1)
    state = {"flock": cast.flock, "kind": "quarantine", "since": day(-5)}
    BirdState.objects.create(bird=birds["Mace"], **state)
    BirdState.objects.create(bird=birds["Sorrel"], **state, until=today())
    rows = picked(cast)
    assert [row.split()[0] for row in rows] == ["Sorrel", "Dill", "Mace"]
    assert ["in quarantine" in row for row in rows] == [False, False, True]
    cast.clients.keeper.post(reverse("pages:round_start", args=[cast.flock.pk]))
    walked = RoundBird.objects.order_by("place").values_list("bird__name", flat=True)
    assert list(walked) == ["Sorrel", "Mace"]


def test_sore_feet_stand_under_the_name(cast, birds):
    """Beside it and how late she is, a phone has no room for a name of seven letters."""
    look(cast, birds["Dill"], days_ago=20, right={"score": 1})
    page = cast.clients.keeper.get(reverse("pick", args=[cast.flock.pk])).text
    assert page.count('class="feet-now"') == 1
    assert not re.search(r'</span></span>\s*<span class="feet-now">', page)


def test_what_the_advice_asks_for_is_due_here_too(cast, birds):
    """As on Today: not by the flock's own days alone."""
    for name in ("Mace", "Sorrel"):
        look(cast, birds[name], left=CLEAR, right=CLEAR)
    look(cast, birds["Dill"], days_ago=1, left={"score": 1, "hot": True}, right=CLEAR)
    row = picked(cast)[0]
    assert row.startswith("Dill") and row.endswith("today")
    assert not any(row.endswith("today") for row in picked(cast)[1:])


def test_a_round_has_those_that_today_counts(cast, birds):
    """A new bird is checked on days of her own."""
    set_tasks(
        flock=cast.flock, wanted={TaskKind.NEW_BIRD: (True, None)}, today=today(), by=cast.owner
    )
    for name in ("Dill", "Mace"):
        look(cast, birds[name], days_ago=5, left=CLEAR, right=CLEAR)
        BirdState.objects.create(
            flock=cast.flock, bird=birds[name], kind="quarantine", since=day(-14)
        )
    look(cast, birds["Sorrel"], days_ago=5, left=CLEAR, right=CLEAR)
    page = cast.clients.keeper.get(reverse("today", args=[cast.flock.pk])).text
    assert "Start a round (2 due)" in page
    cast.clients.keeper.post(reverse("pages:round_start", args=[cast.flock.pk]))
    walked = RoundBird.objects.values_list("bird__name", flat=True)
    assert sorted(walked) == ["Dill", "Mace"]


def test_nobody_due_is_said(cast, birds):
    for bird in birds.values():
        look(cast, bird, left=CLEAR, right=CLEAR)
    start = reverse("pages:round_start", args=[cast.flock.pk])
    answer = cast.clients.keeper.post(start, follow=True)
    assert "No bird is due for a check." in answer.text
