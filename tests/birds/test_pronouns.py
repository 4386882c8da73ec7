"""A cock is he, a hen she, a bird whose sex nobody knows yet it."""

import re

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from flockcare.birds.models import Bird, Breed, Sex
from flockcare.housing.models import Stay
from flockcare.housing.services import require_one_house
from flockcare.pages.leaving import leave_flock
from tests.conftest import client_of

pytestmark = pytest.mark.django_db
OF_A_HEN = re.compile(r"\b(she|her|hers)\b", re.IGNORECASE)


def words_of(client, url) -> str:
    """What stands on the page outside its timeline, its foot and what htmx brings later."""
    main = re.search(r"<main.*?>(.*)</main>", client.get(url).text, re.DOTALL)[1]
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", main))


@pytest.mark.parametrize(
    ("sex", "words"),
    [
        ("hen", ("she", "her", "her")),
        ("cock", ("he", "him", "his")),
        ("unknown", ("it", "it", "its")),
    ],
)
def test_words(sex, words):
    said = Bird(name="Rue", sex=sex).pronouns
    assert (said.subject, said.object, said.possessive) == words


def test_there_are_words_for_every_sex():
    assert all(Bird(sex=sex).pronouns for sex in Sex.values)


@pytest.mark.parametrize(
    "name",
    ["bird", "birds:edit", "birds:weighings", "birds:states", "pages:leave", "photos:face"],
)
@pytest.mark.parametrize("left", ["", "2026-01-02"])
def test_no_page_about_a_cock_calls_him_she(cast, name, left):
    breed = Breed.objects.create(flock=cast.flock, name="Sussex", adult_grams=3180)
    cock = Bird.objects.create(flock=cast.flock, name="Rue", sex="cock", breed=breed)
    if left:
        cock.left, cock.left_reason = left, "died"
        leave_flock(bird=cock, by=cast.keeper)
    text = words_of(client_of(cast.keeper), reverse(name, args=[cast.flock.pk, cock.pk]))
    assert not OF_A_HEN.findall(text), text


@pytest.mark.parametrize("name", ["check_bird", "care:step_new", "care:plan_new", "vetsheet:sheet"])
def test_no_form_about_a_cock_and_no_vet_sheet_calls_him_she(cast, name):
    cock = Bird.objects.create(flock=cast.flock, name="Rue", sex="cock")
    text = words_of(client_of(cast.keeper), reverse(name, args=[cast.flock.pk, cock.pk]))
    assert not OF_A_HEN.findall(text), text


def test_messages_about_a_cock(cast):
    cock = Bird(flock=cast.flock, name="Rue", sex="cock", hatched="2025-05", joined="2024")
    with pytest.raises(ValidationError) as error:
        cock.full_clean()
    assert error.value.message_dict == {"joined": ["This is before he hatched (May 2025)."]}
    cock = Bird(flock=cast.flock, name="Rue", sex="cock", left="2025")
    with pytest.raises(ValidationError) as error:
        cock.full_clean()
    assert "Say why he left." in error.value.message_dict["left_reason"]
    cock = Bird.objects.create(flock=cast.flock, name="Rue", sex="cock")
    house = cast.flock.house_set.create(name="Shed")
    stay = Stay.objects.create(flock=cast.flock, bird=cock, house=house)
    with pytest.raises(ValidationError, match="He lived in Shed at that time"):
        require_one_house(Stay(flock=cast.flock, bird=cock, house=house), [stay])


def test_a_cock_that_is_added_and_comes_back(cast):
    add = reverse("birds:add", args=[cast.flock.pk])
    done = client_of(cast.keeper).post(add, {"name": "Rue", "sex": "cock"}, follow=True)
    assert "His weight is not known." in done.text and "how hard he lands" in done.text
    cock = Bird.objects.get()
    cast.flock.house_set.create(name="Shed")
    cock.left, cock.left_reason = "2026-01-02", "missing"
    leave_flock(bird=cock, by=cast.keeper)
    back = reverse("pages:came_back", args=[cast.flock.pk, cock.pk])
    done = client_of(cast.keeper).post(back, follow=True)
    text = " ".join(re.sub(r"<[^>]+>", " ", done.text).split())
    assert "He is in no house now. Move him into one" in text


def test_leaving_is_the_last_thing_of_her_page_and_not_folded_away(cast, birds):
    dill = birds["Dill"]
    page = client_of(cast.keeper).get(dill.get_absolute_url()).text
    leave = reverse("pages:leave", args=[cast.flock.pk, dill.pk])
    last = page[page.rindex("</details>") :]
    assert f'href="{leave}"' in last and "Left the flock?" in last
    assert page.count(leave) == 1
    assert leave not in client_of(cast.viewer).get(dill.get_absolute_url()).text
