"""Which words of a note are names of keepers, where a sheet is to show none."""

import pytest

from flockcare.vetsheet.names import Nameless

KEEPERS = ["Jürgen van Dille", "Ted", "Mary Jo O'Lovage", "Łukasz", "Les/Ann"]
NOBODY = Nameless(KEEPERS)


@pytest.mark.parametrize(
    ("typed", "shown"),
    [
        ("Jurgen held her, JÜRGEN too", "Keeper A held her, Keeper A too"),
        # The same letter as one sign and as two (Unicode Standard Annex #15).
        ("Ju\u0308rgen held her", "Keeper A held her"),
        ("as lukasz and Lukasz said", "as Keeper D and Keeper D said"),
        ("mary jo o’lovage’s coop; O'Lovage", "Keeper C’s coop; Keeper C"),
        ("Ann asked Jo", "Keeper E asked Keeper C"),
        ("Teds towel, Ted’s towel", "Keeper B’s towel, Keeper B’s towel"),
    ],
)
def test_a_name_is_found_as_people_type_it(typed, shown):
    assert NOBODY.text(typed) == shown


@pytest.mark.parametrize(
    "typed", ["limps less by the hour", "tedious and muted", "ho jo ho", "12 mm, 3.5 kg", "½ ≤ 2 ±"]
)
def test_other_words_stay(typed):
    assert NOBODY.text(typed) == typed


def test_each_keeper_has_the_letter_of_the_place():
    assert [NOBODY.who(name) for name in KEEPERS] == [f"Keeper {letter}" for letter in "ABCDE"]
    assert NOBODY.who("Somebody else") == "a keeper" and NOBODY.who("") == ""


def test_without_any_name_nothing_is_hidden():
    assert Nameless([]).text("Ros  held\nher") == "Ros held her"
