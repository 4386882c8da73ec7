"""A bird with clear feet and no sign: nothing is said to be left or monitored."""

import pytest

from tests.care.steps import look

pytestmark = pytest.mark.django_db
CLEAR, MILD = {"score": 0}, {"score": 1}
WELL = {"manner": "bright", "eating": "yes", "gait": 0}


def page_of(cast, bird) -> str:
    return cast.clients.keeper.get(bird.get_absolute_url()).text


def test_it_says_that_her_feet_are_clear_and_names_no_level(cast, birds):
    look(cast, birds["Dill"], left=CLEAR, right=CLEAR, **WELL)
    text = page_of(cast, birds["Dill"])
    assert "Both feet clear, checked" in text
    assert 'class="level' not in text


def test_a_mild_sore_is_to_be_left_and_monitored(cast, birds):
    signs = {"swelling": "none", "hot": False, "oozing": False, "scab": "brown", "scab_mm": 3}
    look(cast, birds["Dill"], left={**MILD, **signs}, right=CLEAR, **WELL)
    assert "level-leave" in page_of(cast, birds["Dill"])
