"""From the records to the signs: what was seen, what nobody wrote down, what was measured."""

from datetime import timedelta

import pytest
from django.utils import timezone
from django.utils.html import escape

from flockcare.care.rules import RULES, Advice
from flockcare.care.situation import advise_cases, urgent_birds
from flockcare.feet.cases import cases_of_bird
from flockcare.photos.models import Measurement, Photo, Precision
from tests.care.steps import look, url
from tests.people.rows import READ_PAGE, seen

pytestmark = pytest.mark.django_db


def advised(bird):
    bird.refresh_from_db()
    cases = [case for case in cases_of_bird(bird) if case.current]
    return advise_cases(bird, cases, now=timezone.now())[0]


def because(bird) -> set[str]:
    return {rule.key for rule in advised(bird).answer.because}


def test_a_scab_with_neither_swelling_nor_limp_is_left(cast, birds):
    """Common practice, no published source."""
    seen = {"score": 1, "scab": "black", "swelling": "none"}
    look(cast, birds["Dill"], left=seen, right={"score": 0}, gait=0)
    found = advised(birds["Dill"])
    assert found.answer.advice is Advice.LEAVE
    assert (found.situation.hot, found.situation.other_score) == (None, 0)


def test_a_box_that_was_not_ticked_says_nothing(cast, birds):
    look(cast, birds["Dill"], left={"score": 1})
    found = advised(birds["Dill"])
    assert found.answer.advice is Advice.LOOK
    assert {"heat", "oozing", "swelling", "the other foot"} <= set(found.answer.unknown)


def test_the_newest_look_at_each_foot_counts(cast, birds):
    look(cast, birds["Dill"], days_ago=5, left={"score": 2, "hot": True}, right={"score": 1})
    look(cast, birds["Dill"], days_ago=2, right={"score": 0})
    look(cast, birds["Dill"], days_ago=1, left={"score": 1, "swelling": "moderate"}, gait=0)
    found = advised(birds["Dill"])
    assert found.answer.advice is Advice.HOME
    assert (found.situation.hot, found.situation.other_score, found.days_ago) == (None, 0, 1)


def test_a_word_about_the_bird_stands_for_two_weeks(cast, birds):
    look(cast, birds["Dill"], days_ago=20, left={"score": 1}, eating="no", gait=4)
    look(cast, birds["Dill"], days_ago=12, left={"score": 1}, manner="dull")
    look(cast, birds["Dill"], days_ago=0, left={"score": 1})
    assert because(birds["Dill"]) == {"dull"}
    look(cast, birds["Dill"], left={"score": 1}, manner="bright")
    assert advised(birds["Dill"]).answer.advice is not Advice.VET


def test_a_scab_as_wide_as_two_weeks_ago_calls_for_a_vet(cast, birds):
    scab = {"score": 1, "scab": "brown", "swelling": "none", "scab_mm": 6}
    look(cast, birds["Dill"], days_ago=15, left=scab, gait=0)
    look(cast, birds["Dill"], days_ago=1, left={**scab, "scab_mm": 5}, gait=0)
    assert because(birds["Dill"]) == {"scab alone"}
    look(cast, birds["Dill"], left={**scab, "scab_mm": 6}, gait=0)
    assert because(birds["Dill"]) == {"not smaller"}


def test_a_width_of_an_earlier_case_is_no_measure_of_this_one(cast, birds):
    scab = {"score": 1, "scab": "brown", "swelling": "none", "scab_mm": 3}
    look(cast, birds["Dill"], days_ago=40, left=scab, gait=0)
    look(cast, birds["Dill"], days_ago=30, left={"score": 0}, gait=0)
    look(cast, birds["Dill"], days_ago=1, left={**scab, "scab_mm": 9}, gait=0)
    assert because(birds["Dill"]) == {"scab alone"}


def outline(cast, bird, *, days_ago, area, error=0.05):
    taken = timezone.now() - timedelta(days=days_ago)
    photo = Photo.objects.create(
        flock=cast.flock,
        bird=bird,
        foot="left",
        taken=taken,
        taken_precision=Precision.MOMENT,
        width=9,
        height=9,
        stored_bytes=9,
        sha256=f"{days_ago}-{area}",
        look_hash=0,
    )
    return Measurement.objects.create(
        flock=cast.flock,
        photo=photo,
        scaled_by="card",
        to_mm=[1] * 9,
        outline_px=[],
        outline_mm=[],
        area_mm2=area,
        perimeter_mm=1,
        longest_diameter_mm=1,
        relative_area_error=error,
    )


def test_an_outline_that_grew_by_more_than_its_error_calls_for_a_vet(cast, birds):
    scab = {"score": 1, "scab": "brown", "swelling": "none"}
    look(cast, birds["Dill"], days_ago=10, left=scab, gait=0)
    outline(cast, birds["Dill"], days_ago=9, area=40)
    last = outline(cast, birds["Dill"], days_ago=2, area=42)
    # √((40 · 0.05)² + (42 · 0.05)²) = 2.9 mm²: 42 may be as large as 40 was.
    assert because(birds["Dill"]) == {"scab alone"}
    # Measured anew in the same photo: the newest outline counts.
    again = Measurement(**{f.attname: getattr(last, f.attname) for f in last._meta.fields})
    again.pk, again.area_mm2, again.at = None, 44, timezone.now()
    again.save()
    assert because(birds["Dill"]) == {"larger"}
    # A photo that was taken away measures nothing.
    Photo.with_deleted.filter(pk=last.photo_id).update(deleted_at=timezone.now())
    assert because(birds["Dill"]) == {"scab alone"}


def test_clinical_grade_and_both_feet(cast, birds):
    """Grade III is an infected, deep sore (BSAVA 2008, ch. 16, made for raptors)."""
    look(cast, birds["Dill"], left={"score": 1, "clinical_grade": 3}, right={"score": 0})
    assert because(birds["Dill"]) == {"grade III"}
    look(cast, birds["Mace"], left={"score": 1, "clinical_grade": 4}, right={"score": 1})
    assert because(birds["Mace"]) == {"grade III", "bone or joint", "both feet"}


def test_the_birds_with_urgent_signs(cast, birds):
    look(cast, birds["Dill"], days_ago=30, left={"score": 2})
    look(cast, birds["Mace"], days_ago=20, left={"score": 0}, manner="dull")
    look(cast, birds["Sorrel"], left={"score": 1, "oozing": True})
    found = {one.bird.name: one.foot for one in urgent_birds(cast.flock, now=timezone.now())}
    assert found == {"Dill": "left", "Sorrel": "left"}


def test_the_page_shows_what_led_there_and_the_limits(cast, birds):
    look(cast, birds["Dill"], left={"score": 1, "hot": True}, right={"score": 0}, gait=2)
    page = cast.clients.viewer.get(url(cast, "bird", birds["Dill"].pk)).content.decode()
    assert "left foot: call a vet" in page.lower()
    assert "The foot is hot" in page and "grade III" in page
    assert "Also there: a sore, and she limps a little" in page
    assert "No clinical scale has been validated for hens" in page
    # What was not written down is named, and never counted as a no.
    assert "Not written down:" in page


def test_the_table_of_rules_is_a_page(cast):
    page = cast.clients.viewer.get(url(cast, "rules")).content.decode()
    for rule in RULES:
        assert escape(rule.sign) in page and escape(rule.source) in page
    assert seen(cast, url(cast, "rules")) == READ_PAGE
