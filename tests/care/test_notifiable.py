"""Signs that may be a disease that has to be reported: where the word about it stands."""

from types import SimpleNamespace

import pytest

from flockcare.care.notifiable import several_ill
from tests.care.steps import look, url

pytestmark = pytest.mark.django_db
SORE, CLEAR = {"score": 1}, {"score": 0}
SAID = "Ring your animal-health authority now"


def text(cast, address) -> str:
    return " ".join(cast.clients.keeper.get(address).text.split())


@pytest.mark.parametrize(
    ("signs", "said"),
    [
        # APHIS 2017, APHA 2022 (read): blue or dark combs and legs, dull birds.
        ({"left": {**SORE, "cold_or_dark": True}, "right": CLEAR}, True),
        ({"left": SORE, "right": CLEAR, "manner": "dull"}, True),
        ({"left": {**SORE, "hot": True}, "right": CLEAR, "manner": "dull"}, True),
        ({"left": {**SORE, "hot": True}, "right": CLEAR}, False),
        ({"left": {**SORE, "scab": "black"}, "right": CLEAR, "gait": 0}, False),
    ],
)
def test_the_advice_says_it_with_such_a_sign_only(cast, birds, signs, said):
    look(cast, birds["Dill"], **signs)
    assert (SAID in text(cast, url(cast, "bird", birds["Dill"].pk))) is said


def test_several_dull_birds_are_a_matter_for_today(cast, birds):
    look(cast, birds["Dill"], left=CLEAR, right=CLEAR, manner="dull")
    look(cast, birds["Sorrel"], left={**SORE, "hot": True}, right=CLEAR)
    assert SAID not in text(cast, url(cast, "list"))
    look(cast, birds["Mace"], left=CLEAR, right=CLEAR, manner="dull")
    assert text(cast, url(cast, "list")).count(SAID) == 1


def test_one_ill_bird_is_not_several():
    ill, lame = SimpleNamespace(notifiable=True), SimpleNamespace(notifiable=False)
    assert not several_ill([ill]) and not several_ill([ill, lame])
    assert several_ill([ill, lame, ill])


def test_the_rules_and_the_form_for_a_check_say_it(cast, birds):
    rules = text(cast, url(cast, "rules"))
    check = text(cast, f"/f/{cast.flock.pk}/birds/{birds['Dill'].pk}/check/")
    for page in (rules, check):
        assert SAID in page
        for sign in ("purple comb or legs", "swollen head", "hard breathing", "drop in eggs"):
            assert sign in page
        assert "Move no bird" in page
    assert "/about/sources/#aphis" in rules and "/about/sources/#apha-2022" in rules
