"""What the pages of one bird say: alike on all of them, no louder than needed, and of its sex."""

import re

import pytest

from flockcare.birds.models import Bird
from flockcare.care.rules import RULES
from tests.care.steps import day, look, step, url

pytestmark = pytest.mark.django_db
CLEAR, SCAB = {"score": 0}, {"score": 1, "scab": "brown", "swelling": "none"}
APART = "Keep the bird apart"
OF_A_HEN = re.compile(r"\b(she|her|hers|herself)\b", re.IGNORECASE)


def page(cast, name, *args) -> str:
    text = cast.clients.keeper.get(url(cast, name, *args)).text
    return " ".join(text.split("<main", 1)[1].split())


def test_no_rule_takes_the_bird_for_a_hen():
    for rule in RULES:
        for text in (rule.sign, rule.threshold, rule.reason, rule.look_at):
            assert not OF_A_HEN.search(text), text


def test_a_cock_that_is_ill_is_a_he_on_his_page_and_before_opening(cast, birds):
    rex = Bird.objects.create(flock=cast.flock, name="Rex", sex="cock")
    look(cast, rex, left=CLEAR, right=CLEAR, manner="dull")
    step(cast, rex, "medicine", foot="", product="Drops")
    for text in (page(cast, "bird", rex.pk), page(cast, "opening", rex.pk, "left")):
        assert "Until the vet sees him" in text
        assert not OF_A_HEN.search(re.sub(r"<[^>]*>", " ", text))
    assert "eat his meat" in page(cast, "bird", rex.pk)


def test_a_dull_bird_with_clear_feet_is_told_of_disease_once_and_checked_tomorrow(cast, birds):
    look(cast, birds["Dill"], left=CLEAR, right=CLEAR, manner="dull")
    text = page(cast, "bird", birds["Dill"].pk)
    assert text.count("Ring your animal-health authority now") == 1
    assert APART in text
    assert f"check by {day(1):%a} {day(1).day} {day(1):%b}" in text


def test_a_limp_without_a_sore_is_checked_again_in_the_two_days_that_it_says(cast, birds):
    look(cast, birds["Dill"], left=CLEAR, right=CLEAR, gait=1)
    text = page(cast, "bird", birds["Dill"].pk)
    assert "check again in two days" in text
    assert f"check by {day(2):%a} {day(2).day} {day(2):%b}" in text


def test_what_is_not_urgent_shuts_no_bird_in(cast, birds):
    look(cast, birds["Dill"], left=CLEAR, right=CLEAR, comb="pale")
    look(cast, birds["Mace"], left={"score": 1, "hot": True}, right=CLEAR)
    asked, urgent = page(cast, "bird", birds["Dill"].pk), page(cast, "bird", birds["Mace"].pk)
    assert "Until you have asked the vet" in asked and APART not in asked
    assert "Until the vet sees her" in urgent and APART in urgent
    form = page(cast, "step_new", birds["Dill"].pk)
    assert "Until you have asked the vet" in form and APART not in form


def test_under_a_plan_no_page_leads_to_opening_and_none_waits_for_the_vet(cast, birds):
    dill = birds["Dill"]
    hot = look(cast, dill, days_ago=3, left={"score": 2, "hot": True}, right=CLEAR, gait=0)
    step(
        cast,
        dill,
        "vet",
        days_ago=1,
        plan="Soak daily.",
        medicine_given="no",
        decided_by="vet",
        plan_until=day(9),
    )
    pages = {
        "bird": page(cast, "bird", dill.pk),
        "case": page(cast, "case", dill.pk, "left", hot.pk),
        "form": page(cast, "step_new", dill.pk),
    }
    for name, text in pages.items():
        assert "While the vet’s plan holds" in text, name
        assert "Do not squeeze, cut or pull at a scab" in text, name
        assert "Worse, or a new sign? Ring the vet." in text, name
        assert "Until the vet sees" not in text and "/opening/" not in text, name
    before = page(cast, "opening", dill.pk, "left")
    assert "Do not open it, unless the plan says so" in before and "Call a vet" not in before


def test_others_that_are_sore_alarm_no_bird_with_two_clear_feet(cast, birds):
    for name in ("Sorrel", "Mace", "Tansy"):
        bird = birds.get(name) or Bird.objects.create(flock=cast.flock, name=name)
        look(cast, bird, days_ago=9, left=CLEAR, right=CLEAR)
        look(cast, bird, days_ago=1, left=SCAB, right=CLEAR, gait=0, manner="bright")
    look(cast, birds["Dill"], days_ago=1, left=CLEAR, right=CLEAR)
    assert "Several other birds got a sore foot" not in page(cast, "bird", birds["Dill"].pk)
    look(cast, birds["Dill"], left=SCAB, right=CLEAR, gait=0, manner="bright")
    assert "Several other birds got a sore foot" in page(cast, "bird", birds["Dill"].pk)


def test_whether_her_eggs_may_be_eaten_is_said_where_nothing_withdraws_them(cast, birds):
    rex = Bird.objects.create(flock=cast.flock, name="Rex", sex="cock")
    mild = look(cast, birds["Dill"], left=SCAB, right=CLEAR)
    for text in (
        page(cast, "bird", birds["Dill"].pk),
        page(cast, "case", birds["Dill"].pk, "left", mild.pk),
    ):
        assert "Eggs: no withdrawal recorded" in text
    assert "Eggs:" not in page(cast, "bird", rex.pk)
    step(cast, birds["Dill"], "medicine", product="Drops")
    text = page(cast, "bird", birds["Dill"].pk)
    assert "don’t eat her eggs" in text and "no withdrawal recorded" not in text


def test_what_is_to_be_checked_first_says_what_is_missing(cast, birds):
    look(cast, birds["Dill"], left={"score": 1, "swelling": "none"}, right=CLEAR, gait=0)
    today = cast.clients.keeper.get(f"/f/{cast.flock.pk}/today/").text
    assert "Check again first" in today
    assert "Left foot: scab, heat, oozing not recorded" in " ".join(today.split())
    look(cast, birds["Mace"], left={"score": 1, "scab": "brown", "swelling": "none"}, right=CLEAR)
    today = cast.clients.keeper.get(f"/f/{cast.flock.pk}/today/").text
    assert "Left foot: heat, oozing, lameness not recorded" in " ".join(today.split())


def shown_at_first(text: str) -> str:
    """What stands on a page before anything is opened."""
    innermost = r"<details(?![^>]*\sopen[\s>])[^>]*>(?:(?!<details).)*?</details>"
    while (folded := re.sub(innermost, "", text, flags=re.S)) != text:
        text = folded
    return " ".join(re.sub(r"<[^>]+>", " ", folded.split("<main", 1)[1]).split())


def test_under_a_plan_her_care_says_each_thing_once(cast, birds):
    """The plan, who checked the foot and what is due stand there; why, and what is past, is
    folded."""
    dill = birds["Dill"]
    look(cast, dill, days_ago=3, left={"score": 2, "hot": True}, right=CLEAR, gait=0)
    visit = {"plan": "Soak daily.", "medicine_given": "no", "decided_by": "vet"}
    step(cast, dill, "vet", days_ago=1, **visit, plan_until=day(9))
    for days_ago in (2, 1):
        step(cast, dill, "soaked", days_ago=days_ago, next_due=day(1 - days_ago))
    shown = shown_at_first(cast.clients.keeper.get(url(cast, "bird", dill.pk)).text)
    assert "Soak daily." in shown and "Vet’s plan until" in shown
    assert f"Checked {day(-3).day} {day(-3):%b}, by Owner" in shown
    assert "Left foot: soak today" in shown
    for once_more in ("A vet’s plan holds", "Next:", "Last checked", "soaked, "):
        assert once_more not in shown, once_more
    # Whoever sees no buttons is told what comes next.
    viewers = shown_at_first(cast.clients.viewer.get(url(cast, "bird", dill.pk)).text)
    assert "Next: left foot: soak" in viewers


def test_what_is_beside_the_plan_is_not_folded_away(cast, birds):
    dill = birds["Dill"]
    look(cast, dill, days_ago=3, left={"score": 2, "hot": True}, right=CLEAR, gait=0)
    visit = {"plan": "Soak daily.", "medicine_given": "no", "decided_by": "vet"}
    step(cast, dill, "vet", days_ago=2, foot="left", **visit, plan_until=day(9))
    look(cast, dill, days_ago=0, left={"score": 2, "hot": True}, right=SCAB, gait=0)
    shown = shown_at_first(cast.clients.keeper.get(url(cast, "bird", dill.pk)).text)
    assert "Right foot:" in shown and "Last checked" in shown
