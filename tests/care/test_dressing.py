"""How to soak and dress a foot: what has to stand there, and which ways lead to it."""

import re

import pytest
from django.utils.html import escape

from flockcare.care.dressing import NEEDED, PARTS, STEPS, UNTIL_VET, VET_FIRST
from flockcare.care.models import VetContact
from tests.care.steps import day, look, step, url
from tests.people.rows import READ_PAGE, seen

MODERATE = {"score": 1, "swelling": "moderate"}


def text(cast) -> str:
    return re.sub("[ \n]+", " ", cast.clients.viewer.get(url(cast, "dressing")).text)


def test_everybody_may_read_it(cast):
    assert seen(cast, url(cast, "dressing")) == READ_PAGE


def test_the_page_shows_all_of_it_each_step_with_its_own_drawing(cast):
    page = text(cast)
    every = (*VET_FIRST, *NEEDED, *(line for one in (*STEPS, *PARTS) for line in one.lines))
    for line in (*every, *(one.never for one in STEPS)):
        assert escape(line) in page
    drawings = re.findall(r'<svg class="drawing".*?</svg>', page)
    assert len(STEPS) == len(drawings) == len(set(drawings)) == 7
    assert page.index("is this for a vet?") < page.index("Step by step")


@pytest.mark.parametrize(
    "said",
    [
        # Damerow, as others quote it.
        ("soak", "about 20 minutes", "laxative"),
        # Common practice, no published source: what a vet would miss if it did not stand there.
        ("soak", "An open or bleeding sore is not soaked"),
        ("dry", "between the toes"),
        ("ointment", "not on the feathers", "is a medicine", "eggs are withdrawn", "cortisone"),
        ("wrap", "tips of the toes free", "pull it tight"),
        ("look", "1 to 2 hours", "before night", "Cold, swollen, paler or darker", "off at once"),
        ("rinse", "peroxide, spirit or undiluted antiseptic"),
        # Konicek, Gumpenberger and Schramel 2024 (summary read).
        ("look", "every day"),
    ],
)
def test_what_keeps_a_bird_from_harm_stands_in_its_step(said):
    key, *wanted = said
    one = next(one for one in STEPS if one.key == key)
    words = " ".join((*one.lines, one.never))
    assert all(part in words for part in wanted)


def test_salt_water_is_as_salt_as_the_body():
    """0.9 % is 9 g in a litre of water, which weighs about 1000 g (physiological saline)."""
    words = " ".join(next(one for one in STEPS if one.key == "rinse").lines)
    grams, percent = (float(x) for x in re.search(r"(\d+) g .* \((\d\.\d)%\)", words).groups())
    assert grams / 1000 == pytest.approx(percent / 100)


def test_people_are_kept_from_harm_too():
    """Under 5, over 65, weakened immune system: CDC, backyard poultry (read)."""
    words = " ".join(next(one for one in PARTS if one.title == "Keep yourself well").lines)
    for wanted in (
        *("staphylococci (resistant ones too)", "E. coli", "Salmonella"),
        *("under 5", "over 65", "weakened immune system", "your own cuts", "gloves", "eyes"),
        *("see a doctor", "20 seconds"),
    ):
        assert wanted in words


def test_advice_to_soak_leads_straight_there(cast, birds):
    dill = birds["Dill"]
    look(cast, dill, left=MODERATE, right={"score": 0})
    address = f"{url(cast, 'dressing')}?bird={dill.pk}"
    for client in (cast.clients.keeper, cast.clients.viewer):
        page = " ".join(client.get(url(cast, "bird", dill.pk)).text.split())
        assert f'href="{address}">How to soak and dress a foot</a>' in page


def test_a_limp_is_no_reason_to_soak(cast, birds):
    look(cast, birds["Dill"], left={"score": 1}, right={"score": 0}, gait=1)
    page = cast.clients.keeper.get(url(cast, "bird", birds["Dill"].pk)).text
    assert "check every day" in page and "How to soak" not in page


def test_the_form_of_care_and_a_dressing_that_is_due_lead_there(cast, birds):
    dill = birds["Dill"]
    address = f"{url(cast, 'dressing')}?bird={dill.pk}"
    assert f'href="{address}"' in cast.clients.keeper.get(url(cast, "step_new", dill.pk)).text
    step(cast, dill, "dressing on", days_ago=1)
    page = cast.clients.keeper.get(url(cast, "list")).text
    assert f'href="{address}">How to dress a foot</a>' in page


def test_no_human_medicine_and_no_knife_until_the_vet_comes():
    words = " ".join(UNTIL_VET)
    for wanted in ("apart", "deep, dry bedding", "No roost", "water and feed", "5 to 10 minutes"):
        assert wanted in words
    assert "Do not squeeze" in words and "do not cut" in words
    assert "No medicines for people" in words
    # What a vet asks for on the telephone (common practice, no published source).
    for wanted in ("warm", "a fresh dropping", "the packets of all that was given"):
        assert wanted in words


def test_no_blade_and_whose_plan_counts():
    """A plan that says every other day must not be contradicted by the page."""
    (none,) = next(one for one in PARTS if one.title == "No blade").lines
    assert "No blade and no tweezers" in none and "surgery" in none and "sterile" not in none
    look_again = " ".join(next(one for one in STEPS if one.key == "look").lines)
    assert "every day, unless the vet’s plan says otherwise" in look_again


def test_what_brings_a_swollen_foot_to_a_vet_stands_before_the_soak():
    """The same signs as the rules: swelling with a limp, a swollen joint, a hole or a core."""
    words = " ".join(VET_FIRST)
    for wanted in ("swollen and the bird limps", "a joint is swollen", "a hole", "a hard core"):
        assert wanted in words


def test_the_guide_is_of_any_bird():
    """A sitter reads it for hens and for a cock."""
    told = [VET_FIRST, *(one.lines for one in (*STEPS, *PARTS))]
    told += [(one.title, getattr(one, "never", "")) for one in (*STEPS, *PARTS)]
    assert not re.search(r"\b(she|her|he|him|his)\b", " ".join(map(" ".join, told)), re.I)


def test_the_number_of_the_vet_stands_where_it_says_to_ring(cast):
    VetContact.objects.create(flock=cast.flock, name="Brook Vets", telephone="01632 960003")
    page = text(cast)
    assert page.index("is this for a vet?") < page.index("01632 960003") < page.index("Put ready")


def test_whoever_comes_from_a_bird_is_told_how_she_stands_and_led_back(cast, birds):
    dill = birds["Dill"]
    look(cast, dill, left={"score": 0}, right={"score": 2, "hot": True})
    step(cast, dill, "dressing on", foot="right", days_ago=1, next_due=day(0))
    there = f"{url(cast, 'dressing')}?bird={dill.pk}"
    assert there in cast.clients.keeper.get(dill.get_absolute_url()).text
    page = cast.clients.viewer.get(there).text
    assert page.count(f'href="{dill.get_absolute_url()}"') == 2
    assert page.index("Vet within days") < page.index("Step by step")


@pytest.mark.parametrize("key", ["", "x", "f476adac-37e6-43dc-8367-88726479eb07"])
def test_a_bird_that_is_not_of_the_flock_changes_nothing(cast, key):
    there = url(cast, "dressing")
    pages = [cast.clients.viewer.get(one).text for one in (there, f"{there}?bird={key}")]
    assert len({page.split("<main")[1] for page in pages}) == 1
