import re
from datetime import timedelta

import pytest
from django.utils import timezone

from flockcare.birds.models import Bird, LeftReason
from flockcare.birds.services import breed_named
from flockcare.care.models import CareStep
from flockcare.feet.models import Check, FootFinding
from tests.people.rows import READ_PAGE, same_queries, seen


def url(cast, query=""):
    return f"/f/{cast.flock.pk}/birds/{query}"


def test_who_may_look(cast, birds):
    assert seen(cast, url(cast)) == READ_PAGE


def test_names_every_bird_with_band_or_else_breed(cast, birds):
    dill, sorrel = birds["Dill"], birds["Sorrel"]
    dill.breed = sorrel.breed = breed_named(flock=cast.flock, name="Brahma")
    sorrel.band_colour, sorrel.band_number = "", ""
    dill.save()
    sorrel.save()
    page = cast.clients.viewer.get(url(cast)).text
    assert all(name in page for name in birds)
    assert "green 7<" in page and ">Brahma<" in page
    assert 'class="band band-green"' in page
    assert f"/f/{cast.flock.pk}/birds/{dill.pk}/" in page


def test_viewer_is_offered_no_adding(cast, birds):
    assert "Add a bird" in cast.clients.keeper.get(url(cast)).text
    assert "Add a bird" not in cast.clients.viewer.get(url(cast)).text


@pytest.mark.parametrize(
    ("find", "found"),
    [
        ("dill", {"Dill"}),
        ("RED", {"Mace"}),
        ("blue 7", {"Sorrel"}),
        ("7", {"Dill", "Mace", "Sorrel"}),
        ("ox", set()),
    ],
)
def test_find_by_name_or_band(cast, birds, find, found):
    page = cast.clients.keeper.get(url(cast), {"find": find})
    assert {bird.name for bird in page.context["birds"]} == found
    assert f'value="{find}"' in page.text
    if not found:
        assert "No bird here with “ox”" in page.text


def test_htmx_gets_only_the_rows(cast, birds):
    piece = cast.clients.keeper.get(url(cast), {"find": "dill"}, headers={"HX-Request": "true"})
    assert piece.text.strip().startswith("<ul")
    assert "HX-Request" in piece.headers["Vary"]


def test_gone_birds_stand_apart(cast, birds):
    mace = birds["Mace"]
    mace.left, mace.left_reason = "2024-03", LeftReason.PREDATOR
    mace.save()
    assert "Mace" not in cast.clients.keeper.get(url(cast)).text
    gone = cast.clients.keeper.get(url(cast, "?gone"))
    assert [bird.name for bird in gone.context["birds"]] == ["Mace"]
    assert "taken by a predator, March 2024" in gone.text


def test_birds_of_another_flock_are_not_here(cast, birds):
    Bird.objects.create(flock=cast.elsewhere, name="Outsider")
    assert "Outsider" not in cast.clients.owner.get(url(cast)).text


def test_empty_flock_says_what_comes_first(cast):
    page = cast.clients.keeper.get(url(cast)).text
    assert "Add several from a list" in page
    assert "Add several from a list" not in cast.clients.viewer.get(url(cast)).text


@pytest.mark.parametrize("query", ["", "?gone"])
def test_queries(cast, query):
    def grow():
        for n in range(20):
            breed = breed_named(flock=cast.flock, name=f"Breed {n}")
            left = {"left": "2024", "left_reason": "died"} if query else {}
            Bird.objects.create(flock=cast.flock, name=f"Hen {n}", breed=breed, **left)

    left = {"left": "2024", "left_reason": "died"} if query else {}
    Bird.objects.create(
        flock=cast.flock,
        name="First",
        breed=breed_named(flock=cast.flock, name="Sussex"),
        **left,
    )
    same_queries(cast.clients.owner, url(cast, query), grow=grow)


def look(bird, **scores):
    check = Check.objects.create(flock=bird.flock, bird=bird, at=timezone.now())
    for foot, score in scores.items():
        FootFinding.objects.create(check_record=check, foot=foot, score=score)


def test_says_whose_foot_is_sore(cast, birds):
    look(birds["Dill"], left=2, right=0)
    look(birds["Mace"], left=0, right=0)
    page = cast.clients.viewer.get(url(cast)).text
    rows = dict(re.findall(r"<strong>(\w+)</strong>(.*?)</li>", page, re.DOTALL))
    assert "Left foot: swollen, sore since" in rows["Dill"] and "score-2" in rows["Dill"]
    assert "ight foot" not in rows["Dill"]
    assert "foot" not in rows["Mace"] + rows["Sorrel"]
    found = cast.clients.viewer.get(url(cast), {"find": "mace"}, headers={"HX-Request": "true"})
    assert "foot" not in found.text


def test_numbers_in_names_count_as_numbers(cast):
    for name in ("Hen 10", "hen 2", "Hen 1", "Hen 11", "12 o'clock", "Ash"):
        Bird.objects.create(flock=cast.flock, name=name)
    shown = [bird.name for bird in cast.clients.viewer.get(url(cast)).context["birds"]]
    assert shown == ["12 o'clock", "Ash", "Hen 1", "hen 2", "Hen 10", "Hen 11"]


def test_names_are_only_text(cast):
    Bird.objects.create(flock=cast.flock, name="<b>Dill", band_number="<i>7")
    page = cast.clients.viewer.get(url(cast)).text
    assert "&lt;b&gt;Dill" in page and "&lt;i&gt;7" in page


def test_her_eggs_are_one_short_line_and_her_meat_is_on_her_page(cast, birds):
    dill = birds["Dill"]
    at, more = timezone.now(), {"egg_days": 7, "meat_days": 28}
    CareStep.objects.create(flock=cast.flock, bird=dill, kind="medicine", at=at, **more)
    until = timezone.localdate() + timedelta(days=7)
    row = cast.clients.keeper.get(url(cast)).text
    assert f"Don’t eat her eggs up to and including {until.day} {until:%b}<" in row
    assert "her meat" not in row
    page = cast.clients.keeper.get(dill.get_absolute_url()).text
    assert f"her eggs up to and including {until.day} {until:%b}" in page and "her meat" in page
