"""A foot that was scored clear but shows a sign: there is no case beside it, on any page."""

import pytest
from django.urls import reverse
from django.utils import timezone

from flockcare.care.situation import standing
from flockcare.feet.models import FOOT_SIGNS
from tests.care.steps import day, look, step, url

pytestmark = pytest.mark.django_db
CLEAR = {"score": 0}
WELL = {"manner": "bright", "eating": "yes", "gait": 0}
SIGNS = [
    *({name: True} for name in FOOT_SIGNS),
    {"swelling": "moderate"},
    {"scab": "brown", "scab_mm": 4},
    {"clinical_grade": 3},
    {"hot": True, "joint_swollen": True},
]


def ids(sign):
    return " ".join(sign)


def pages(cast, bird, check):
    flock = cast.flock.pk
    return {
        "bird": bird.get_absolute_url(),
        "care": url(cast, "bird", bird.pk),
        "today": reverse("today", args=[flock]),
        "birds": reverse("birds", args=[flock]),
        "list": url(cast, "list"),
        "log care": url(cast, "step_new", bird.pk),
        "opening": url(cast, "opening", bird.pk, "left"),
        "check": reverse("feet:check", args=[flock, check.pk]),
        "check form": reverse("check_bird", args=[flock, bird.pk]),
        "series": reverse("series", args=[flock, bird.pk, "left"]),
        "vet sheet": reverse("vetsheet:sheet", args=[flock, bird.pk]),
    }


@pytest.mark.parametrize("sign", SIGNS, ids=ids)
def test_it_is_shown_on_every_page_with_its_check_in_place_of_a_case(cast, birds, sign):
    dill = birds["Dill"]
    # The other foot has a case, and without one the pages are the same.
    other = {"score": 1} if "hot" in sign else CLEAR
    check = look(cast, dill, left={**CLEAR, **sign}, right=other, **WELL)
    hers = standing(dill, now=timezone.now()).feet["left"]
    assert (hers.state, hers.first_check, hers.check) == ("clear", None, check.pk)
    assert hers.advice and hers.because
    for name, address in pages(cast, dill, check).items():
        answer = cast.clients.keeper.get(address)
        assert answer.status_code == 200, name
        if name in ("bird", "care"):
            assert reverse("feet:check", args=[cast.flock.pk, check.pk]) in answer.text, name
        if name in ("bird", "care", "today", "birds"):
            assert "scored clear on" in answer.text, name
    if sign == {"raised_scales": True}:
        for name in ("bird", "birds", "today"):
            text = cast.clients.keeper.get(pages(cast, dill, check)[name]).text
            assert "Care at home" in text and "Leave and monitor" not in text
    case = url(cast, "case", dill.pk, "left", check.pk)
    assert cast.clients.keeper.get(case).status_code == 404


def test_who_looks_after_her_for_a_week_reads_it_too(cast, birds):
    look(cast, birds["Dill"], left={**CLEAR, "hot": True, "joint_swollen": True}, right=CLEAR)
    said = {"name": "Anna", "first": day(0), "last": day(6), "note": ""}
    page = cast.clients.keeper.post(reverse("vetsheet:sitters", args=[cast.flock.pk]), said)
    link = page.text.split('readonly value="http://testserver', 1)[1].split('"', 1)[0]
    text = cast.clients.keeper.get(link).text
    assert "left foot: the foot is hot, a joint is swollen" in text.lower()


def test_it_is_not_forgotten_by_a_check_that_did_not_look_at_this_foot(cast, birds):
    seen = look(cast, birds["Dill"], days_ago=3, left={**CLEAR, "cold_or_dark": True}, right=CLEAR)
    look(cast, birds["Dill"], days_ago=1, right=CLEAR)
    hers = standing(birds["Dill"], now=timezone.now()).feet["left"]
    assert hers.because == ("The foot is cold or dark",) and hers.check == seen.pk
    look(cast, birds["Dill"], left=CLEAR, right=CLEAR)
    assert standing(birds["Dill"], now=timezone.now()).feet["left"].advice is None


def test_an_old_one_is_not_forgotten_with_time(cast, birds):
    look(cast, birds["Dill"], days_ago=80, left={**CLEAR, "hot": True}, right=CLEAR)
    step(cast, birds["Dill"], "soaked", foot="left")
    assert standing(birds["Dill"], now=timezone.now()).feet["left"].because
