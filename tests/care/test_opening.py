"""Why a scab is left: records and answers together, no way there while a vet is needed."""

import pytest

from flockcare.care.models import VetContact
from flockcare.care.rules import Advice
from flockcare.feet.cases import cases_of_bird
from tests.care.steps import look, step, url

pytestmark = pytest.mark.django_db
SORE, CLEAR = {"score": 1}, {"score": 0}
WELL = {
    **dict.fromkeys(("bright", "eating", "droppings"), "yes"),
    **dict.fromkeys(("belly", "lame", "from_above", "hot", "cold", "deep"), "no"),
}


def opening(cast, bird, said=None, foot="left") -> str:
    address, client = url(cast, "opening", bird.pk, foot), cast.clients.keeper
    answer = client.post(address, said) if said is not None else client.get(address)
    return " ".join(answer.text.split())


def test_what_is_for_a_vet_is_nothing_weaker():
    for advice in Advice:
        assert advice.is_for_vet is (advice > Advice.HOME)


SIGNS = {
    "hot": ({"left": {**SORE, "hot": True}, "right": CLEAR}, "The foot is hot."),
    "oozing": ({"left": {**SORE, "oozing": True}, "right": CLEAR}, "The sore is oozing."),
    "swollen": ({"left": {"score": 2}, "right": CLEAR}, "Swollen (score 2)."),
    "cold": ({"left": {**SORE, "cold_or_dark": True}, "right": CLEAR}, "The foot is cold or dark."),
    "dull": ({"left": SORE, "right": CLEAR, "manner": "dull"}, "Not bright."),
    "lame": ({"left": SORE, "right": CLEAR, "gait": 3}, "Obviously lame."),
    "grade": ({"left": {**SORE, "clinical_grade": 4}, "right": CLEAR}, "Bone, joint or tendon"),
}


@pytest.mark.parametrize("name", SIGNS)
@pytest.mark.parametrize("said", [None, WELL], ids=["asked", "all well"])
def test_what_the_records_say_is_not_talked_away(cast, birds, name, said):
    signs, words = SIGNS[name]
    checked = look(cast, birds["Dill"], days_ago=2, keeper=cast.keeper, **signs)
    page = opening(cast, birds["Dill"], said)
    assert "Call a vet. Do not open it." in page and "No sign that calls for a vet" not in page
    records = page.split("Your records say:")[1].split("</ul>")[0]
    day = f"{checked.at:%-d %b %Y}"
    assert words in records and f"Seen {day} by {cast.keeper.name}." in records
    assert "You say:" not in page
    assert "Until the vet sees her" in page and "Check her again" in page
    assert "First, how is she?" not in page and "Why it is left" not in page
    assert "kind=scab+lifted" not in page and "kind=watched" not in page


def test_a_sign_is_dated_by_the_check_that_showed_it_not_by_a_later_one(cast, birds):
    dill = birds["Dill"]
    dull = look(cast, dill, days_ago=3, keeper=cast.owner, left=SORE, right=CLEAR, manner="dull")
    look(cast, dill, days_ago=1, keeper=cast.keeper, left=SORE, right=CLEAR)
    page = opening(cast, dill)
    assert f"Seen {dull.at:%-d %b %Y} by {cast.owner.name}." in page


def test_answers_and_records_are_told_apart(cast, birds):
    look(cast, birds["Dill"], days_ago=1, left={**SORE, "hot": True}, right=CLEAR)
    page = opening(cast, birds["Dill"], {**WELL, "eating": "no", "droppings": "no"})
    records, told = page.split("You say:")
    assert "The foot is hot" in records and "Not eating" not in records
    assert "Not eating" in told and "The droppings are not normal" in told
    assert "The foot is hot" not in told.split("</ul>")[0]


def test_while_the_other_foot_is_for_a_vet_this_one_is_left_too(cast, birds):
    look(cast, birds["Dill"], left=CLEAR, right={**SORE, "hot": True})
    page = opening(cast, birds["Dill"], WELL, foot="left")
    assert "Right foot: The foot is hot." in page and "Call a vet. Do not open it." in page
    # A sign of the bird herself is said once, though it holds of both feet.
    look(cast, birds["Dill"], left=SORE, right={"score": 2}, manner="dull")
    for foot, other in (("left", "Right"), ("right", "Left")):
        page = opening(cast, birds["Dill"], foot=foot)
        assert page.count("Not bright.") == 1
        assert f"{other} foot: Not bright." not in page
    # A sign of the foot is said of each foot that has it.
    hot = {**SORE, "hot": True}
    look(cast, birds["Sorrel"], left=hot, right=hot)
    page = opening(cast, birds["Sorrel"], foot="right")
    assert page.count("The foot is hot.") == 2 and "Left foot: The foot is hot." in page


def test_records_without_such_a_sign_leave_the_questions(cast, birds):
    look(cast, birds["Dill"], left={**SORE, "scab": "black"}, right=CLEAR, gait=0)
    assert "First, how is she?" in opening(cast, birds["Dill"])
    page = opening(cast, birds["Dill"], WELL)
    assert "Neither in your records nor in your answers." in page


def ways_to_opening(cast, bird) -> dict[str, bool]:
    """Whether a page leads to opening a sore of this bird."""
    case = cases_of_bird(bird)[0]
    pages = {
        "bird": f"/f/{cast.flock.pk}/birds/{bird.pk}/",
        "care": url(cast, "bird", bird.pk),
        "case": url(cast, "case", bird.pk, case.foot, case.first.check_id),
        "form": url(cast, "step_new", bird.pk) + "?kind=scab+lifted",
        "list": url(cast, "list"),
    }
    texts = {name: cast.clients.keeper.get(page).text for name, page in pages.items()}
    return {name: "/opening/" in text for name, text in texts.items()} | {
        f"{name} says what to do": "Until the vet sees her" in text for name, text in texts.items()
    }


def test_nothing_leads_there_while_she_is_for_a_vet(cast, birds):
    dill = birds["Dill"]
    step(cast, dill, "watched", days_ago=1)
    look(cast, dill, days_ago=1, left={**SORE, "scab": "black"}, right=CLEAR, gait=0)
    found = ways_to_opening(cast, dill)
    assert found["care"] and found["case"] and found["form"]
    look(cast, dill, left={**SORE, "scab": "black", "hot": True}, right=CLEAR, gait=0)
    found = ways_to_opening(cast, dill)
    assert not any(found[name] for name in ("bird", "care", "case", "form", "list"))
    assert found["care says what to do"] and found["case says what to do"]
    assert found["form says what to do"]


def test_a_kept_form_that_knows_no_bird_does_not_lead_there():
    from flockcare.offline.shell import page

    assert "/opening/" not in page("step")


def test_a_purple_comb_is_told_by_telephone_first(cast, birds):
    """Bird flu must be reported (APHA 2022, read); that no waiting room is to meet it: common
    practice, no published source."""
    dill, words = birds["Dill"], "Ring first; do not bring her in until told."
    VetContact.objects.create(flock=cast.flock, name="Brook Vets", telephone="01632 960003")
    look(cast, dill, left=SORE, right=CLEAR, manner="dull")
    pages = (url(cast, "opening", dill.pk, "left"), f"/f/{cast.flock.pk}/birds/{dill.pk}/")
    for address in pages:
        assert words not in " ".join(cast.clients.keeper.get(address).text.split())
    look(cast, dill, left=SORE, right=CLEAR, comb="purple")
    for address in (*pages, f"/f/{cast.flock.pk}/today/"):
        page = " ".join(cast.clients.keeper.get(address).text.split())
        said = words.replace("her", "the bird") if address.endswith("today/") else words
        assert page.index(said) < page.index("01632 960003")
    assert "each country has its own" in cast.clients.keeper.get(pages[1]).text
