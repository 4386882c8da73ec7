import pytest

from flockcare.birds.forms import read_band, read_line
from flockcare.birds.models import Bird, Breed
from tests.people.rows import FORM_PAGE, NOT_WRITERS, refused, seen

LIST = "Fennel, green 12, Sussex\n\nCumin; gray ; sussex\nClove\t7\tYard mix\nNutmeg"


def url(cast):
    return f"/f/{cast.flock.pk}/birds/add-many/"


def post(cast, lines, *, add=False):
    return cast.clients.keeper.post(url(cast), {"lines": lines, **({"add": ""} if add else {})})


def test_who_may(cast):
    assert seen(cast, url(cast)) == FORM_PAGE
    assert refused(cast, url(cast), {"lines": LIST, "add": ""}) == NOT_WRITERS
    assert not Bird.objects.exists()


def test_look_first_adds_nobody(cast):
    page = post(cast, LIST)
    assert "Add 4 birds" in page.text
    assert "Fennel, green 12, Sussex" in page.text
    assert not Bird.objects.exists()


def test_add(cast):
    response = post(cast, LIST, add=True)
    assert response.headers["Location"] == f"/f/{cast.flock.pk}/birds/"
    found = {bird.name: (bird.band, str(bird.breed or "")) for bird in Bird.objects.all()}
    assert found == {
        "Fennel": ("green 12", "Sussex"),
        "Cumin": ("grey", "Sussex"),
        "Clove": ("7", "Yard mix"),
        "Nutmeg": ("", ""),
    }
    assert Breed.objects.count() == 2


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        (
            "Basil, turquoise 4, Sussex",
            "“turquoise” is not a band colour. Choose from: red, orange",
        ),
        ("Basil, light green 4", "“light” is not a band colour."),
        ("Basil, red green", "Give one colour"),
        ("Basil, red 1234567890123", "longer than 12 characters"),
        (", red 4, Sussex", "The name is missing."),
        ("Basil, red 4, Sussex, heavy", "Too many commas"),
        ("FENNEL, red 4", "The same name as in line 1."),
        ("dill", "dill is in this flock already."),
        ("B" * 41, "The name is longer than 40 characters."),
        (f"Basil, red, {'B' * 61}", "The breed is longer than 60 characters."),
    ],
)
@pytest.mark.parametrize("add", [False, True])
def test_wrong_line_is_named_and_nothing_typed_is_lost(cast, birds, wrong, words, add):
    page = post(cast, f"Fennel\n\n{wrong}\nNutmeg", add=add)
    assert page.status_code == 200
    assert "Please correct line 3; nothing has been added yet." in page.text
    assert words in page.text
    assert f"Fennel\n\n{wrong}\nNutmeg" in page.text.replace("\r", "")
    assert 'name="add"' not in page.text
    assert Bird.objects.count() == 3


def test_several_wrong_lines(cast):
    page = post(cast, "Fennel, teal\nClove\nNutmeg, mauve")
    assert "Please correct lines 1, 3" in page.text


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        ("", "Fill this in."),
        (" \n \n", "Enter at least one bird."),
        ("\n".join(f"Hen {n}" for n in range(301)), "more than 300 lines"),
    ],
)
def test_list_without_birds_or_with_too_many(cast, lines, words):
    assert words in post(cast, lines, add=True).text
    assert not Bird.objects.exists()


def test_all_or_nothing_when_another_keeper_was_quicker(cast, monkeypatch):
    monkeypatch.setattr("flockcare.birds.forms.BirdListForm._find_doubles", lambda form: None)
    page = post(cast, "Fennel\nClove\nFennel", add=True)
    assert "Another bird of this flock has that name already." in page.text
    assert not Bird.objects.exists()


@pytest.mark.parametrize(
    ("text", "band"),
    [
        ("green 12", ("green", "12")),
        ("12 Green", ("green", "12")),
        ("A7", ("", "A7")),
        ("red X", ("red", "X")),
        ("", ("", "")),
    ],
)
def test_band(text, band):
    assert read_band(text) == band


@pytest.mark.parametrize(
    ("text", "read"),
    [
        ("Dill red 3", ("Dill", "red", "3")),
        ("Old Mace  Blue 12", ("Old Mace", "blue", "12")),
        ("Mace red", ("Mace red", "", "")),
        ("Red 3", ("Red 3", "", "")),
        ("Dill red 3, green 4", ("Dill red 3", "green", "4")),
    ],
)
def test_a_band_without_its_comma_is_read_as_one(text, read):
    bird = read_line(1, text).bird
    assert (bird.name, bird.band_colour, bird.band_number) == read
