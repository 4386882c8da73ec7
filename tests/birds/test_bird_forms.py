from datetime import timedelta

import pytest
from django.utils import timezone

from flockcare.birds.models import Bird, Breed, Weighing
from flockcare.birds.services import breed_named
from flockcare.people.models import Revision
from tests.people.rows import FORM_PAGE, NOT_WRITERS, refused, same_queries, seen

GOOD = {
    "name": "Fennel",
    "band_colour": "green",
    "band_number": "12",
    "breed_name": "sussex",
    "sex": "hen",
    "hatched": "2023-05",
    "joined": "2023",
    "traits": "Walks a little stiffly on the left.",
    "own_weight_class": "",
}


def add_url(cast):
    return f"/f/{cast.flock.pk}/birds/add/"


def edit_url(cast, bird):
    return f"/f/{cast.flock.pk}/birds/{bird.pk}/edit/"


def test_who_may(cast, birds):
    for url in (add_url(cast), edit_url(cast, birds["Dill"])):
        assert seen(cast, url) == FORM_PAGE
        assert refused(cast, url, GOOD) == NOT_WRITERS
    assert Bird.objects.count() == 3


def test_add(cast):
    assert cast.clients.keeper.post(add_url(cast), GOOD).status_code == 302
    bird = Bird.objects.get()
    assert (bird.name, bird.band, bird.hatched, bird.joined) == (
        "Fennel",
        "green 12",
        "2023-05",
        "2023",
    )
    assert bird.flock == cast.flock
    assert (bird.breed.name, bird.breed.adult_grams) == ("Sussex", 3180)
    assert bird.weight_class == "heavy"


def test_only_the_name_is_needed(cast):
    cast.clients.keeper.post(add_url(cast), {"name": "Fennel", "sex": "hen"})
    bird = Bird.objects.get()
    assert (bird.band, bird.breed, bird.weight_class) == ("", None, "")


def test_save_and_add_another_comes_back_to_the_form(cast):
    response = cast.clients.keeper.post(add_url(cast), {**GOOD, "another": ""})
    assert response.headers["Location"] == add_url(cast)


def test_published_weight_is_filled_in_once_and_marked(cast):
    cast.clients.keeper.post(add_url(cast), GOOD)
    breed = Breed.objects.get()
    assert "Standard of Perfection" in breed.source
    breed.adult_grams, breed.source = 3000, "entered by a keeper"
    breed.save()
    cast.clients.keeper.post(add_url(cast), {**GOOD, "name": "Thyme", "breed_name": "SUSSEX"})
    breed.refresh_from_db()
    assert (Breed.objects.count(), breed.adult_grams) == (1, 3000)


def test_breed_of_ones_own_has_no_weight_yet(cast):
    cast.clients.keeper.post(add_url(cast), {**GOOD, "breed_name": "Yard mix"})
    assert (Breed.objects.get().name, Breed.objects.get().adult_grams) == ("Yard mix", None)


def tomorrow():
    return (timezone.now() + timedelta(days=2)).date().isoformat()


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("name", "", "Fill this in."),
        ("name", "dILL", "Another bird of this flock has that name already."),
        ("name", "x" * 41, "at most 40 characters"),
        ("band_colour", "turquoise", "isn’t one of the choices."),
        ("hatched", "spring", "is not a date"),
        ("hatched", "2023-13", "There is no such date"),
        ("hatched", tomorrow, "This date is in the future."),
        ("joined", tomorrow, "This date is in the future."),
        ("joined", "2022", "This is before she hatched (May 2023)."),
    ],
)
@pytest.mark.parametrize("editing", [False, True])
def test_wrong_field_is_named_and_everything_typed_stays(cast, birds, field, value, words, editing):
    value = value() if callable(value) else value
    url = edit_url(cast, birds["Mace"]) if editing else add_url(cast)
    response = cast.clients.keeper.post(url, {**GOOD, field: value})
    assert response.status_code == 200
    form = response.context["form"]
    assert list(form.errors) == [field]
    assert words in response.text
    assert 'class="field wrong"' in response.text
    for other in ("name", "band_number", "breed_name", "hatched", "traits"):
        assert ({**GOOD, field: value}[other]) in response.text
    assert Bird.objects.count() == 3
    assert not Revision.objects.exists()


def test_name_of_a_bird_that_left_is_free(cast, birds):
    Bird.objects.filter(name="Dill").update(left="2024", left_reason="died")
    assert cast.clients.keeper.post(add_url(cast), {**GOOD, "name": "Dill"}).status_code == 302


def test_name_in_another_flock_does_not_matter(cast, birds):
    response = cast.clients.stranger.post(
        f"/f/{cast.elsewhere.pk}/birds/add/", {**GOOD, "name": "Dill"}
    )
    assert response.status_code == 302


def test_edit_keeps_the_value_before(cast, birds):
    dill = birds["Dill"]
    response = cast.clients.keeper.post(edit_url(cast, dill), {**GOOD, "name": "Dill the elder"})
    assert response.headers["Location"] == f"/f/{cast.flock.pk}/birds/{dill.pk}/"
    revision = Revision.objects.get(record=dill.pk)
    assert (revision.before["name"], revision.before["band_number"]) == ("Dill", "7")
    assert revision.by == cast.keeper


def test_edit_shows_what_is_there(cast, birds):
    dill = birds["Dill"]
    dill.breed = breed_named(flock=cast.flock, name="Cochin")
    dill.hatched = "2022-04"
    dill.save()
    page = cast.clients.keeper.get(edit_url(cast, dill)).text
    for value in ("Dill", "Cochin", "2022-04"):
        assert f'value="{value}"' in page
    assert '<option value="Jersey Giant">' in page


def test_edit_of_a_bird_that_left_keeps_her_dates_in_order(cast, birds):
    dill = birds["Dill"]
    dill.left, dill.left_reason = "2023-02", "died"
    dill.save()
    response = cast.clients.keeper.post(
        edit_url(cast, dill), {**GOOD, "name": "Dill", "left": "2023-02", "joined": "2023-06"}
    )
    assert "This is before she came to this flock (June 2023)." in response.text
    assert list(response.context["form"].errors) == ["left"]


def test_two_keepers_give_the_same_name_at_once(cast, birds, monkeypatch):
    """The second passed the form before the first was saved; the record itself refuses her."""
    monkeypatch.setattr("flockcare.birds.forms.same_name", lambda bird, name: Bird.objects.none())
    page = cast.clients.keeper.post(add_url(cast), {**GOOD, "name": "Mace"})
    assert page.status_code == 200
    assert "Another bird of this flock has that name already." in page.text
    assert "Walks a little stiffly" in page.text


def test_queries_of_the_edit_form(cast, birds):
    same_queries(
        cast.clients.owner,
        edit_url(cast, birds["Dill"]),
        grow=lambda: [breed_named(flock=cast.flock, name=f"Breed {n}") for n in range(20)],
    )


class TestWeight:
    """Whoever is added without a weight is not lost from the landings without a word."""

    ASKS = "Her weight is not known"

    def added(self, cast, **data):
        page = cast.clients.keeper.post(add_url(cast), {**GOOD, **data}, follow=True).text
        return Bird.objects.get(name="Fennel"), page

    def test_a_breed_of_a_known_weight_needs_no_word(self, cast):
        assert self.ASKS not in self.added(cast)[1]

    @pytest.mark.parametrize("breed", ["Pekin bantam", "BANTAM cross", "Dutch bantams"])
    def test_a_breed_called_bantam_is_one(self, cast, breed):
        """Common practice, no published source."""
        bird, page = self.added(cast, breed_name=breed)
        assert bird.weight_class == "bantam"
        # What she lands with takes a weight, not only a class.
        assert self.ASKS in page
        assert f'href="/f/{cast.flock.pk}/birds/breeds/{bird.breed_id}/"' in page
        listed = " ".join(cast.clients.keeper.get(f"/f/{cast.flock.pk}/birds/breeds/").text.split())
        assert "weight not known, bantam · 1 bird<" in listed

    def test_an_entered_weight_goes_before_the_name(self, cast):
        bird, _ = self.added(cast, breed_name="Giant bantam")
        bird.breed.adult_grams = 3000
        assert bird.weight_class == "medium"

    def test_without_a_breed_she_is_to_be_weighed(self, cast):
        bird, page = self.added(cast, breed_name="")
        assert bird.weight_class == ""
        assert self.ASKS in page and "choose her breed" in page
        assert f'href="/f/{cast.flock.pk}/birds/{bird.pk}/weighings/"' in page

    def test_an_edit_says_it_only_where_it_changed_the_breed(self, cast):
        bird, _ = self.added(cast)
        url = edit_url(cast, bird)
        page = cast.clients.keeper.post(url, {**GOOD, "breed_name": "Mix"}, follow=True).text
        assert self.ASKS in page
        page = cast.clients.keeper.post(
            url, {**GOOD, "breed_name": "Mix", "traits": ""}, follow=True
        ).text
        assert self.ASKS not in page

    def test_a_weighed_bird_needs_no_word(self, cast):
        bird, _ = self.added(cast)
        Weighing.objects.create(flock=cast.flock, bird=bird, on="2026-05-01", grams=2000)
        data = {**GOOD, "breed_name": "Mix"}
        page = cast.clients.keeper.post(edit_url(cast, bird), data, follow=True).text
        assert self.ASKS not in page
