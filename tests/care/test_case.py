"""The page of one case, what other cases tell, and before opening a foot."""

import re

import pytest
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.html import escape

from flockcare.birds.models import Bird
from flockcare.care.case_story import Past, past_like, repeated_trouble
from flockcare.care.opening import CAUTIONS
from flockcare.feet.cases import cases_of_bird, cases_of_flock
from flockcare.photos.models import Photo, Precision
from tests.care.steps import ago, day, look, step, url
from tests.people.rows import FORM_PAGE, READ_PAGE, same_queries, seen

pytestmark = pytest.mark.django_db
SORE, CLEAR = {"score": 1}, {"score": 0}


def case_of(bird, number=0):
    bird.refresh_from_db()
    return cases_of_bird(bird)[number]


def case_url(cast, bird, number=0):
    found = case_of(bird, number)
    return url(cast, "case", bird.pk, found.foot, found.first.check_id)


def a_case(cast, bird, *, first, last, foot="left", score=1):
    """Clear a week before, sore from ``first`` to ``last``, clear a week after (days ago)."""
    for days_ago, worst in ((first + 7, 0), (first, score), (last, score), (last - 7, 0)):
        look(cast, bird, days_ago=days_ago, **{foot: {"score": worst}})


def test_everything_about_the_case_stands_in_time_order(cast, birds):
    dill = birds["Dill"]
    look(cast, dill, days_ago=40, left=SORE, note="An older sore.")
    look(cast, dill, days_ago=30, left=CLEAR, note="Clear before it.")
    look(cast, dill, days_ago=20, left={**SORE, "scab": "black", "scab_mm": 6}, note="First seen.")
    step(cast, dill, "soaked", days_ago=19, note="Twenty minutes.")
    step(cast, dill, "soaked", days_ago=19, foot="right", note="The other foot.")
    Photo.objects.create(
        flock=cast.flock,
        bird=dill,
        foot="left",
        taken=ago(18),
        taken_precision=Precision.MOMENT,
        width=9,
        height=9,
        stored_bytes=9,
        sha256="a",
        look_hash=0,
    )
    step(cast, dill, "watched", days_ago=1, next_due=day(4))
    look(cast, dill, days_ago=2, left=SORE, right=CLEAR, note="Last seen.")
    page = " ".join(cast.clients.viewer.get(case_url(cast, dill)).content.decode().split())
    order = ["Monitored", "Last seen.", "/240.jpg", "Twenty minutes.", "First seen."]
    order += ["Clear before it."]
    places = [page.index(word) for word in order]
    assert places == sorted(places)
    assert "An older sore." not in page and "The other foot." not in page
    assert f"Next: check by {date_format(day(4), 'D j M')}" in page
    assert "black scab 6 mm" in page


def test_a_healed_case_has_no_advice_and_ends_with_its_clear_look(cast, birds):
    a_case(cast, birds["Dill"], first=60, last=50)
    look(cast, birds["Dill"], left=CLEAR, note="Much later.")
    page = cast.clients.viewer.get(case_url(cast, birds["Dill"])).content.decode()
    assert "Much later." not in page and "advice-" not in page
    assert "seen clear on" in page


def test_any_look_of_a_case_leads_to_it_and_others_to_none(cast, birds):
    dill = birds["Dill"]
    clear = look(cast, dill, days_ago=20, left=CLEAR)
    look(cast, dill, days_ago=15, left=SORE)
    later = look(cast, dill, days_ago=5, left=SORE)
    answer = cast.clients.viewer.get(url(cast, "case", dill.pk, "left", later.pk))
    assert answer.headers["Location"] == case_url(cast, dill)
    for foot, check in (("left", clear), ("right", later), ("third", later)):
        page = url(cast, "case", dill.pk, foot, check.pk)
        assert cast.clients.viewer.get(page).status_code == 404


def test_similar_cases_are_counted_as_ranges(cast, birds):
    dill, mace, sorrel = (birds[name] for name in ("Dill", "Mace", "Sorrel"))
    look(cast, dill, days_ago=3, left=SORE)
    a_case(cast, mace, first=100, last=90)
    a_case(cast, mace, first=60, last=30)
    a_case(cast, sorrel, first=100, last=20, score=2)
    look(cast, sorrel, days_ago=1, right=SORE)
    cases = cases_of_flock(cast.flock)
    mine = next(case for case in cases if case.bird_id == dill.pk)
    past = past_like(mine, cases)
    # Sore looks 10 days apart between clear looks 24 days apart, and 30 between 44.
    assert past.days == ((30, 44), (10, 24))
    assert (past.total, past.healed, past.not_healed) == (3, 2, 1)
    assert past.times == "10–24 days, 30–44 days"
    many = Past(((0, 14), (7, 21), (10, 24), (30, 44), (5, None)), 0)
    assert many.times == "from at least 5 days to 30–44 days, half of them within 21 days"
    assert Past(((0, None), (1, 1)), 0).times == "an unknown number of days, 1 day"
    page = " ".join(cast.clients.viewer.get(case_url(cast, dill)).content.decode().split())
    assert "Other birds: 3." in page
    assert "2 healed: 10–24 days, 30–44 days." in page
    assert "Dill: none so far." in page
    assert "promise nothing" in page


def test_a_bird_with_repeated_trouble_has_a_line_of_her_own(cast, birds):
    mace = birds["Mace"]
    Bird.objects.filter(pk=mace.pk).update(traits="Broke her left leg as a pullet.")
    a_case(cast, mace, first=100, last=90)
    assert repeated_trouble(mace, cases_of_bird(mace)) is None
    a_case(cast, mace, first=60, last=50)
    look(cast, mace, days_ago=1, right=SORE)
    line = repeated_trouble(mace, cases_of_bird(mace))
    assert (line.total, line.feet) == (3, "2 left, 1 right")
    assert line.since == day(-100) and line.current
    for page in (url(cast, "repeats"), url(cast, "bird", mace.pk), case_url(cast, mace)):
        text = cast.clients.viewer.get(page).content.decode()
        assert "2 left, 1 right" in text
        assert "Broke her left leg as a pullet." in text
    assert "Dill" not in cast.clients.viewer.get(url(cast, "repeats")).content.decode()


def test_who_sees_a_case_and_how_often_it_asks(cast, birds):
    dill = birds["Dill"]
    look(cast, dill, days_ago=30, left={"score": 2})
    page = case_url(cast, dill)
    assert seen(cast, page) == READ_PAGE

    def grow():
        for number in range(20):
            # As bad as before, so that the box with the vet's number stays.
            look(cast, dill, days_ago=number, left={"score": 2}, keeper=cast.keeper)
            step(cast, dill, "dressing on", days_ago=number)
            other = Bird.objects.create(flock=cast.flock, name=f"Hen {number}")
            a_case(cast, other, first=60, last=50)
            a_case(cast, other, first=30, last=20)

    step(cast, dill, "dressing on", days_ago=20)
    same_queries(cast.clients.owner, page, grow=grow)
    same_queries(cast.clients.owner, url(cast, "repeats"), grow=lambda: None)


# --- Before opening

WELL = {
    **dict.fromkeys(("bright", "eating", "droppings"), "yes"),
    **dict.fromkeys(("belly", "lame", "from_above", "hot", "cold", "deep"), "no"),
}


def opening(cast, bird, said=None):
    address = url(cast, "opening", bird.pk, "left")
    client = cast.clients.keeper
    return client.post(address, said) if said is not None else client.get(address)


def test_the_questions_come_first_and_leaving_is_offered_where_no_vet_is_needed(cast, birds):
    page = opening(cast, birds["Dill"]).content.decode()
    assert page.index("It can always be left") < page.index("First, how is she?")
    assert page.index("First, how is she?") < page.index("Why it is left")
    for caution in CAUTIONS:
        assert escape(caution.text) in page
    assert LEAVE in words(opening(cast, birds["Dill"], WELL))
    # "Leaving it costs nothing tonight" would be wrong of a bird that needs a vet.
    ill = words(opening(cast, birds["Dill"], {**WELL, "bright": "no"}))
    assert LEAVE not in ill and "Until the vet sees her" in ill


LEAVE = "Leave it and monitor"


def words(answer) -> str:
    return " ".join(answer.text.split())


def test_a_limp_is_no_reason_to_soak(cast, birds):
    look(cast, birds["Dill"], left=SORE, right=CLEAR, gait=1)
    page = cast.clients.keeper.get(case_url(cast, birds["Dill"])).content.decode()
    assert "check every day" in page and "How to soak" not in page
    assert "gait 1 slight" in " ".join(page.split())


def test_every_question_has_to_be_answered(cast, birds):
    for name in WELL:
        answer = opening(cast, birds["Dill"], {k: v for k, v in WELL.items() if k != name})
        assert answer.status_code == 422
        assert "Check the bird first" in answer.content.decode()


@pytest.mark.parametrize("name", WELL)
@pytest.mark.parametrize("kind", ["sign", "not sure"])
def test_one_sign_or_one_doubt_is_enough_to_call_a_vet(cast, birds, name, kind):
    other = {"yes": "no", "no": "yes"}[WELL[name]]
    said = {**WELL, name: other if kind == "sign" else "unknown"}
    page = opening(cast, birds["Dill"], said).content.decode()
    assert "Call a vet. Do not open it." in page
    assert "No sign that calls for a vet" not in page


def test_without_a_sign_it_is_commonly_left_and_never_to_be_opened(cast, birds):
    """Common practice, no published source."""
    page = opening(cast, birds["Dill"], WELL).content.decode()
    assert "Call a vet. Do not open it." not in page
    assert (
        "<strong>leave it and monitor</strong>" in page and "No sign that calls for a vet" in page
    )
    assert "you may open" not in page.lower()


def test_the_page_about_a_scab_names_nothing_to_cut_with(cast, birds):
    """It is shown for the birds that are best left, so it says so before anything else."""
    for said in (None, WELL):
        page = words(opening(cast, birds["Dill"], said))
        assert "Dill, left foot: a scab: leave it, and why" in page
        assert "Cutting into a foot is surgery. It is for a vet, in many countries by law" in page
        assert "needs pain relief" in page
        assert not re.search("blade|tweezer|sterile|missing", page, re.IGNORECASE)
        assert page.index("It can always be left") < page.index("surgery")
        # What came off, or what a vet did, is recorded all the same.
        assert "Did a scab come off, or did a vet lift it?" in page and "kind=scab+lifted" in page


def test_who_may_ask(cast, birds):
    assert seen(cast, url(cast, "opening", birds["Dill"].pk, "left")) == FORM_PAGE
    assert opening(cast, birds["Dill"]).status_code == 200
    address = url(cast, "opening", birds["Dill"].pk, "wing")
    assert cast.clients.keeper.get(address).status_code == 404


def test_a_photo_of_a_check_stands_with_it_once(cast, birds):
    dill = birds["Dill"]
    check = look(cast, dill, days_ago=3, left=SORE, right=CLEAR)
    photo = Photo.objects.create(
        flock=cast.flock,
        bird=dill,
        foot="left",
        taken=timezone.now(),
        taken_precision=Precision.DAY,
        width=9,
        height=9,
        stored_bytes=9,
        sha256="b",
        look_hash=0,
    )
    check.photos.add(photo)
    page = cast.clients.viewer.get(case_url(cast, dill)).content.decode()
    story = page.split('class="story"')[1].split("</ol>")[0]
    assert story.count("<li") == 1 and story.count(f"{photo.pk}/240.jpg") == 1


def test_after_the_vet_s_plan_nothing_waits_for_the_vet(cast, birds):
    dill = birds["Dill"]
    look(cast, dill, days_ago=1, left={"score": 2, "swelling": "from above"}, right=CLEAR)
    before = cast.clients.keeper.get(case_url(cast, dill)).content.decode()
    step(cast, dill, "vet", days_ago=0, plan="Dress it daily.", plan_until=day(9))
    after = cast.clients.keeper.get(case_url(cast, dill)).content.decode()
    assert "Until the vet sees her" in before and "Until the vet sees her" not in after
