"""Things that cannot stand so: each is put where it hits another, and just beside it."""

import datetime as dt
from dataclasses import replace

import pytest
from django.urls import reverse

from flockcare.housing.layout import Layout, Place
from flockcare.housing.models import Feature, House, HousingChange
from flockcare.housing.overlaps import new_overlaps, overlaps
from flockcare.housing.shapes import SHAPES
from flockcare.housing.whatif import Limit, scratch, suggestions
from tests.housing.test_real_houses import set_up

# 200 cm long, walls 180. Roost: a 5 cm bar from 48 to 53 high is 95 to 100; board 30 to 90 at 43
# to 45; bale 120 to 170, to 40; nest boxes from 165 on, 35 deep, from 48 to 85.
ROOST = Place("Roost", "roost", 100, along_cm=50, width_mm=50)
BOARD = Place("Board", "droppings board", 45, along_cm=60, breadth_cm=60)
BALE = Place("Bale", "step", 40, along_cm=145, breadth_cm=50)
NESTS = Place("Nests", "nest front", 50, along_cm=165)
HOUSE = Layout("Shed", dt.date(2026, 5, 1), (ROOST, BOARD, BALE, NESTS), 200, 180)


def said(name, **moved):
    return new_overlaps(HOUSE, HOUSE.changed(name, **moved))


def test_what_stands_beside_and_above_each_other_is_fine():
    assert overlaps(HOUSE) == {}
    for shape in SHAPES:
        everything = tuple(Place(t.name, str(t.kind), **t.values) for t in shape.things)
        assert overlaps(replace(shape.layout(), places=everything)) == {}, shape.key


@pytest.mark.parametrize(
    ("name", "other", "inside", "beside"),
    [
        ("Roost", "Board", {"height_cm": 46}, {"height_cm": 51}),
        ("Roost", "Bale", {"along_cm": 123, "height_cm": 38}, {"along_cm": 117, "height_cm": 38}),
        ("Roost", "Nests", {"along_cm": 170, "height_cm": 70}, {"along_cm": 162, "height_cm": 70}),
        ("Board", "Bale", {"along_cm": 100, "height_cm": 38}, {"along_cm": 89, "height_cm": 38}),
        ("Nests", "Bale", {"height_cm": 39}, {"height_cm": 42}),
    ],
)
def test_two_things_in_one_place(name, other, inside, beside):
    first, second = sorted((name, other), key=lambda each: each != name)
    (words,) = said(name, **inside)
    assert first in words and second in words and "same place" in words
    assert said(name, **beside) == []


def test_through_a_wall_and_into_the_roof():
    through = "would stand through the wall. Move it to one side."
    assert said("Roost", along_cm=200) == [f"Roost {through}"]
    assert said("Roost", along_cm=197) == [] == said("Roost", along_cm=203)
    assert said("Board", along_cm=20) == [
        "Board would stand through the wall. Move it to one side."
    ]
    assert said("Roost", height_cm=181) == ["Roost would be higher than the walls. Lower it."]


def test_what_is_on_record_may_stand_as_it_does():
    odd = HOUSE.changed("Roost", height_cm=46)
    assert overlaps(odd)
    assert new_overlaps(odd, odd.changed("Bale", height_cm=35)) == []


def test_no_advice_puts_a_thing_into_another():
    """To come down no farther than 2 cm the roost would have to lie in the board."""
    ramp = Place("Ramp", "ramp", 45, run_cm=80, along_cm=130)
    high = Layout("Shed", dt.date(2026, 5, 1), (ROOST, BOARD, ramp), 200, 180)
    found = suggestions(high, [2.0], Limit(drop_cm=2))
    lowered = [move.height_cm for one in found for move in one.moves if move.place == ROOST]
    assert lowered and min(lowered) > BOARD.height_cm + 3


def test_a_new_step_stands_before_the_edge():
    after = scratch(HOUSE.without("Roost"), changed={}, step=Place("Step", "step", 42))
    (step,) = [place for place in after.places if place.name == "Step"]
    assert step.along_cm == 60 + 30 + 45
    assert new_overlaps(HOUSE, after) == [
        "Step and Bale would be in the same place. Move one of them."
    ]


def test_a_step_stands_before_what_it_is_for_though_other_things_are_nearer_in_height():
    """Low is 70 high at 60, the nests 55 at 200: half of 70, 45 before Low, not the nests."""
    low = Place("Low", "roost", 70, along_cm=60)
    nests = Place("Nests", "nest front", 55, along_cm=200, run_cm=50)
    shed = Layout("Shed", dt.date(2026, 5, 1), (low, nests), 240, 180)
    found = suggestions(shed, [2.0], Limit(drop_cm=50))
    (one,) = [each for each in found if each.moves[0].place == low and each.moves[0].new_step][:1]
    (step,) = [place for place in one.after.places if place.name == "New step"]
    assert (one.moves[0].height_cm, step.along_cm) == (35, 60 + 45)


@pytest.mark.django_db
def test_what_if_says_so_and_saves_nothing(cast):
    set_up(cast.clients.keeper, cast.flock, "shed", since="2026-01-05")
    house = House.objects.get()
    page = reverse("housing:what_if", args=[cast.flock.pk, house.pk])
    low = Feature.objects.get(name="Low roost").pk.hex
    sketch = {f"a-{low}": "55", f"h-{low}": "46"}
    words = "would be in the same place. Move one of them."
    text = cast.clients.keeper.get(page, sketch).content.decode()
    assert f"Low roost and Droppings board {words}" in text
    assert "Save as a plan" not in text and "Discard" in text
    answer = cast.clients.keeper.post(page, sketch, follow=True)
    assert words in answer.content.decode()
    assert not HousingChange.objects.exists()
    sketch[f"h-{low}"] = "60"
    text = cast.clients.keeper.get(page, sketch).content.decode()
    assert words not in text and "Save as a plan" in text
