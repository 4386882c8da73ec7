"""Which breed of known weight is meant by a name as keepers write it.

Weights: American Poultry Association, Standard of Perfection, hens, in pounds. Those of Rhode
Island Red, New Hampshire, Orpington and Jersey Giant were read in secondary sources that name the
standard; all others are from memory, and so are the British ones. What the trade calls a breed, and
that a laying hybrid of unknown make weighs about 2 kg: common practice, no published source.
"""

import pytest

from flockcare.birds.breeds import PUBLISHED, class_of, known_breed
from flockcare.birds.models import Bird, Breed
from flockcare.birds.services import NewBird, add_birds, breed_named

POUND = 453.59237

NAMES = {
    "Buff Orpington": "Orpington",
    "Orpington, buff": "Orpington",
    "orpingtons": "Orpington",
    "Speckled Sussex": "Sussex",
    "Light Sussex": "Sussex",
    "  sussex ": "Sussex",
    "Barred Rock": "Plymouth Rock",
    "White Rocks": "Plymouth Rock",
    "Barred Plymouth Rock": "Plymouth Rock",
    "RIR": "Rhode Island Red",
    "R.I.R.": None,  # Letters with dots are no word; nothing is guessed.
    "Rhode Island Reds": "Rhode Island Red",
    "Rhode Island White": None,
    "New Hampshire Red": "New Hampshire",
    "Silver Laced Wyandotte": "Wyandotte",
    "Black Australorp": "Australorp",
    "Jersey Giant black": "Jersey Giant",
    "Black Jersey Giants": "Jersey Giant",
    "Light Brahma": "Brahma",
    "White Silkie": "Silkie",
    "Silkie (bantam)": "Silkie bantam",
    "Silver Sebright": "Sebright bantam",
    # Of no known weight: the bantam of a large breed, a cross, a breed that is not in the table.
    "Orpington bantam": None,
    "Bantam Light Sussex": None,
    "Sussex x Leghorn": None,
    "Sussex × Rhode Island Red": None,
    "Light Sussex RIR": None,
    "Orpington cross": None,
    "Leghorn hybrid": None,
    "Cornish Rock": None,
    "Rock": None,
    "Marans brown": None,
    "Easter Egger white": None,
    "Yard mix": None,
    "dark brown": None,
    "brown": None,
    "hybrid": None,
    "": None,
    # Laying hybrids by the names they are sold under.
    "Brown hybrid": "Brown hybrid",
    "Farmyard Brown": "Brown hybrid",
    "Isa Brown": "Brown hybrid",
    "Red sex-link": "Brown hybrid",
    "brown layers": "Brown hybrid",
    "Farmyard White": "White hybrid",
    "white layer": "White hybrid",
}


@pytest.mark.parametrize(("name", "breed"), NAMES.items())
def test_names_as_keepers_write_them(name, breed):
    found = known_breed(name)
    assert (found and found.breed) == breed


@pytest.mark.parametrize(
    ("breed", "pounds"),
    [
        *(("Leghorn", 4.5), ("Dominique", 5), ("Ameraucana", 5.5), ("Rhode Island Red", 6.5)),
        *(("New Hampshire", 6.5), ("Wyandotte", 6.5), ("Australorp", 6.5), ("Sussex", 7)),
        *(("Plymouth Rock", 7.5), ("Orpington", 8), ("Cochin", 8.5), ("Brahma", 9.5)),
        *(("Jersey Giant", 10), ("Silkie bantam", 2), ("Sebright bantam", 1.25), ("Silkie", 3)),
    ],
)
def test_weights_are_those_of_the_standards(breed, pounds):
    assert known_breed(breed).grams == pytest.approx(pounds * POUND, abs=6)


def test_every_published_breed_is_known_by_its_own_name():
    assert all(known_breed(entry.breed) is entry for entry in PUBLISHED)
    assert all(known_breed(entry.breed.upper()) is entry for entry in PUBLISHED)


def test_another_standard_says_another_class():
    """Brahma of 7–9 lb in Britain; the Silkie is a bantam by its weight in both."""
    brahma, silkie = known_breed("Brahma"), known_breed("Silkie")
    assert class_of("", brahma.grams) == "very heavy"
    assert class_of("", brahma.elsewhere[0]) == "heavy"
    assert {class_of("", silkie.grams), class_of("", silkie.elsewhere[0])} == {"bantam"}


@pytest.mark.parametrize("name", ["Orpington bantam", "Orpington Bantams", "Banty, buff"])
def test_a_bantam_of_unknown_weight_is_a_bantam(name):
    assert class_of(name, None) == "bantam"


def test_no_bantam_is_found_inside_another_word():
    assert class_of("Bantamweight mix", None) == ""


@pytest.mark.django_db
def test_a_variety_keeps_its_name_and_gets_the_weight(cast):
    add_birds(flock=cast.flock, birds=[NewBird("Dill", breed="Buff Orpington")])
    bird = Bird.objects.get()
    assert (bird.breed.name, bird.breed.adult_grams) == ("Buff Orpington", 3630)
    assert bird.weight_class == "heavy" and "Standard of Perfection" in bird.breed.source


@pytest.mark.django_db
def test_the_published_spelling_only_where_the_name_is_the_same(cast):
    assert breed_named(flock=cast.flock, name="plymouth rock").name == "Plymouth Rock"
    assert breed_named(flock=cast.flock, name="barred rock").name == "barred rock"
    assert Breed.objects.filter(adult_grams=3400).count() == 2


@pytest.mark.django_db
def test_the_form_for_a_breed_tells_what_both_standards_say(cast):
    breed = breed_named(flock=cast.flock, name="Light Brahma")
    page = cast.clients.keeper.get(f"/f/{cast.flock.pk}/birds/breeds/{breed.pk}/").text
    words = " ".join(page.split())
    american, british = words.split("Elsewhere 3.63 kg")
    assert "Published of the Brahma: 4.31 kg" in american and "/about/sources/#apa" in american
    assert "/about/sources/#british-standards" in british
