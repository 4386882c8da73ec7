import pytest

from flockcare.birds.models import Bird, Breed
from flockcare.birds.services import breed_named
from flockcare.people.models import Revision
from tests.people.rows import FORM_PAGE, NOT_WRITERS, READ_PAGE, refused, same_queries, seen


def url(cast, tail=""):
    return f"/f/{cast.flock.pk}/birds/breeds/{tail}"


@pytest.fixture
def breed(cast):
    return breed_named(flock=cast.flock, name="Orpington")


def edit(cast, breed, **data):
    return cast.clients.keeper.post(
        url(cast, f"{breed.pk}/"), {"name": breed.name, "adult_grams": "3.63", **data}
    )


def test_who_may(cast, breed):
    assert seen(cast, url(cast)) == READ_PAGE
    assert seen(cast, url(cast, f"{breed.pk}/")) == FORM_PAGE
    for tail in (f"{breed.pk}/", f"{breed.pk}/delete/"):
        assert refused(cast, url(cast, tail), {"name": "Mine"}) == NOT_WRITERS


def test_page_gives_weight_class_and_source(cast, breed):
    breed_named(flock=cast.flock, name="leghorn")
    breed_named(flock=cast.flock, name="Yard mix")
    Bird.objects.create(flock=cast.flock, name="Dill", breed=breed)
    page = " ".join(cast.clients.viewer.get(url(cast)).text.split())
    assert "3.63 kg, heavy · 1 bird<" in page
    # How the standard was read stands on the page of sources alone.
    assert "/about/sources/#apa" in page and "Weight:" not in page
    assert "2.04 kg, light" in page and "memory" not in page and "cited" not in page
    assert "weight not known" in page
    assert page.index("Leghorn") < page.index("Orpington") < page.index("Yard mix")


def test_own_weight_does_not_stand_under_the_published_source(cast, breed):
    edit(cast, breed, adult_grams="3.2")
    breed.refresh_from_db()
    assert (breed.adult_grams, breed.source) == (3200, "entered by a keeper")
    before = Revision.objects.get().before
    assert (before["adult_grams"], "Standard" in before["source"]) == (3630, True)
    page = cast.clients.keeper.get(url(cast, f"{breed.pk}/")).text
    assert "Published of the Orpington: 3.63 kg" in page


@pytest.mark.parametrize("units", ["metric", "imperial"])
def test_weight_that_nobody_touched_stays_to_the_gram(cast, breed, units):
    cast.flock.units = units
    cast.flock.save()
    # 3630 g are shown as 8 lb 0 oz, which is 3629 g.
    edit(cast, breed, name="Buff Orpington", adult_grams_lb="8", adult_grams_oz="0")
    breed.refresh_from_db()
    assert (breed.name, breed.adult_grams) == ("Buff Orpington", 3630)
    assert "Standard of Perfection" in breed.source


def test_weight_can_be_taken_out(cast, breed):
    edit(cast, breed, adult_grams="")
    breed.refresh_from_db()
    assert (breed.adult_grams, breed.source) == (None, "")


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("adult_grams", "80", "No hen weighs more than 9 kg (20 lb)."),
        ("adult_grams", "0.1", "That is too light for a grown hen."),
        ("adult_grams", "big", "“big” is not a number."),
        ("name", "LEGHORN", "This flock has a breed of that name already."),
        ("name", "", "Fill this in."),
    ],
)
def test_wrong_field_is_named(cast, breed, field, value, words):
    breed_named(flock=cast.flock, name="Leghorn")
    response = edit(cast, breed, **{field: value})
    assert list(response.context["form"].errors) == [field]
    assert words in response.text and (not value or f'value="{value}"' in response.text)
    assert not Revision.objects.exists()


def test_breed_with_birds_stays(cast, breed):
    Bird.objects.create(flock=cast.flock, name="Dill", breed=breed)
    page = cast.clients.keeper.post(url(cast, f"{breed.pk}/delete/"), follow=True)
    assert "Some birds have the breed Orpington." in page.text
    assert Breed.objects.exists()


def test_breed_without_birds_goes(cast, breed):
    cast.clients.keeper.post(url(cast, f"{breed.pk}/delete/"))
    assert not Breed.objects.exists()
    assert Revision.objects.get().before["name"] == "Orpington"


def test_queries(cast, breed):
    same_queries(
        cast.clients.owner,
        url(cast),
        grow=lambda: [breed_named(flock=cast.flock, name=f"Breed {n}") for n in range(20)],
    )
