"""The form of a check knows how the bird's feet were, and asks before it forgets it."""

import re
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from flockcare.birds.models import Bird
from flockcare.drawing.dates import short_words
from flockcare.feet.known import known_of
from flockcare.feet.models import Check
from flockcare.photos.models import Photo
from tests.care.steps import ago, look
from tests.feet.test_check import check_url, form, picture

pytestmark = pytest.mark.django_db
SORE = {"score": 1, "sites": ["main"], "scab": "brown", "scab_mm": 4, "swelling": "moderate"}
CLEAR = {"score": 0}


def page_of(cast, bird) -> str:
    return " ".join(cast.clients.keeper.get(check_url(cast, bird)).text.split())


def plain(page: str) -> str:
    return " ".join(re.sub(r"<[^>]*>", " ", page).split())


def post(cast, bird, **said):
    return cast.clients.keeper.post(check_url(cast, bird), form(**said), follow=True)


def newest() -> Check:
    return Check.objects.order_by("-at", "-received_at").first()


def seen_in(check) -> dict:
    return {
        finding.foot: (finding.score, finding.sites, finding.scab, finding.scab_mm)
        for finding in check.findings.all()
    }


def questions(page: str) -> list[str]:
    return re.findall(r"<legend[^>]*>((?:Still|[A-Z][a-z, ]+ still)[^<]*\?)</legend>", page)


def test_it_says_how_each_foot_is_and_since_when(cast, birds):
    """In the words of all pages, and besides what the last check saw."""
    dill = birds["Dill"]
    look(cast, dill, days_ago=40, left=CLEAR, right=CLEAR)
    look(cast, dill, days_ago=30, left={"score": 1, "scab": "brown", "scab_mm": 9})
    look(cast, dill, days_ago=3, left={**SORE, "hot": True})
    today = timezone.localdate(timezone.now(), cast.flock.zone)
    then = {ago: short_words(today - timedelta(ago), today) for ago in (30, 40)}
    page = plain(page_of(cast, dill))
    told = page[page.index("Left:") :][:200]
    assert (
        f"Left: mild, sore since {then[30]} "
        f"Better: scab 9.0 ± 1.0 → 4.0 ± 1.0 mm since {then[30]} "
        "main pad, brown scab 4 mm, swelling moderate, hot, checked 3 days ago"
    ) in told
    assert "Right: clear checked 40 days ago" in page
    assert page.count("Still the same") == 1, "only of the foot that is not clear"


def test_a_foot_that_many_checks_passed_over_is_still_known(cast, birds):
    dill = birds["Dill"]
    look(cast, dill, days_ago=40, right=SORE)
    for days in range(12):
        look(cast, dill, days_ago=days, left=CLEAR)
    left, right = known_of(dill, now=timezone.now()).feet
    assert left.details == "checked today" and right.details.endswith("checked 40 days ago")
    assert "Right foot healed?" in page_of(cast, dill)


def test_of_a_bird_that_left_it_says_what_was_seen_last(cast, birds):
    dill = birds["Dill"]
    look(cast, dill, days_ago=9, left=SORE)
    Bird.objects.filter(pk=dill.pk).update(
        left=str(timezone.localdate() - timedelta(2)), left_reason="died"
    )
    page = plain(page_of(cast, dill))
    assert "Left: mild main pad" in page and "Right: never checked" in page


def test_a_bird_never_checked_is_said_to_be_so(cast, birds):
    page = page_of(cast, birds["Dill"])
    assert "first check" in page and 'class="known"' not in page and "Still the same" not in page


def test_the_newest_photo_of_each_foot_is_shown(cast, birds):
    dill = birds["Dill"]
    for colour in ("tan", "pink"):
        post(cast, dill, **{"left-score": "1", "left-photos": [picture(colour)]})
    older, newer = Photo.objects.order_by("added_at")
    Photo.objects.filter(pk=older.pk).update(taken=ago(9))
    page = page_of(cast, dill)
    assert f"/photos/{newer.pk}/240" in page and str(older.pk) not in page


@pytest.mark.parametrize(("checks", "count"), [(2, 4), (30, 4)])
def test_it_asks_little_of_the_database_however_long_the_history(cast, birds, checks, count):
    dill = birds["Dill"]
    look(cast, dill, days_ago=checks + 1, left=CLEAR, right=CLEAR)
    for day in range(checks):
        look(cast, dill, days_ago=day, left={**SORE, "hot": True}, right=CLEAR, gait=2)
    page_of(cast, dill)
    with CaptureQueriesContext(connection) as queries:
        page_of(cast, dill)
    assert len(queries) == count


# --- Still the same


def test_a_foot_that_is_the_same_is_one_chip(cast, birds):
    """Without script; the width is for whoever measures it, and silence denies no sign."""
    dill = birds["Dill"]
    before = look(cast, dill, days_ago=3, left={**SORE, "hot": True}, right=CLEAR)
    post(cast, dill, **{"left-same": str(before.pk), "right-score": "0"})
    assert seen_in(newest()) == {
        "left": (1, ["main"], "brown", None),
        "right": (0, [], "", None),
    }
    left = newest().findings.get(foot="left")
    assert (left.swelling, left.hot) == ("", None)


def test_what_is_said_beside_it_counts(cast, birds):
    before = look(cast, birds["Dill"], days_ago=3, left=SORE)
    post(cast, birds["Dill"], **{"left-same": str(before.pk), "left-scab": "black"})
    assert seen_in(newest())["left"] == (1, ["main"], "black", None)
    said = {"left-same": str(before.pk), "left-score": "2"}
    post(cast, birds["Dill"], **said)
    assert seen_in(newest())["left"] == (2, [], "", None)


def test_both_feet_the_same_are_one_tap(cast, birds):
    dill = birds["Dill"]
    right = look(cast, dill, days_ago=9, right=CLEAR)
    left = look(cast, dill, days_ago=3, left=SORE)
    said = {"left-was": str(left.pk), "right-was": str(right.pk)}
    page = page_of(cast, dill)
    assert all(f'name="{name}" value="{key}"' in page for name, key in said.items())
    answer = post(cast, dill, verdict="same", **said)
    assert "left foot mild, right foot clear" in answer.text
    assert seen_in(newest()) == {"left": (1, ["main"], "brown", None), "right": (0, [], "", None)}


def test_the_check_of_another_bird_is_no_ground_for_the_same(cast, birds):
    strange = look(cast, birds["Mace"], left=SORE)
    for said in ({"verdict": "same", "left-was": str(strange.pk)}, {"left-same": "no key"}):
        answer = post(cast, birds["Dill"], **said)
        assert answer.status_code == 422 and "Say how at least one foot is" in answer.text
    assert Check.objects.count() == 1


# --- Healed?


def test_both_feet_clear_asks_before_a_case_is_closed(cast, birds):
    dill = birds["Dill"]
    look(cast, dill, days_ago=3, left=CLEAR, right=SORE)
    answer = post(cast, dill, verdict="both clear", note="Kept.")
    page = " ".join(answer.text.split())
    assert answer.status_code == 422 and "Right foot healed?" in page and "Kept." in page
    assert Check.objects.count() == 1
    assert re.findall(r'name="clear"\s+value="([^"]+)"', answer.text) == ["left right", "left"]


@pytest.mark.parametrize(
    ("clear", "seen"), [("left right", {"left": 0, "right": 0}), ("left", {"left": 0})]
)
def test_each_answer_saves_what_was_checked(cast, birds, clear, seen):
    look(cast, birds["Dill"], days_ago=3, left=CLEAR, right=SORE)
    answer = post(cast, birds["Dill"], clear=clear, verdict="both clear")
    assert answer.status_code == 200
    assert {foot: score for foot, (score, *_) in seen_in(newest()).items()} == seen
    is_open = known_of(birds["Dill"], now=timezone.now()).open_feet
    assert [foot.foot for foot in is_open] == ["right"] * ("right" not in seen)
    assert ("Right foot not checked." in answer.text) == ("right" not in seen)


def test_whether_it_healed_is_asked_until_a_later_day_said_clear(cast, birds):
    """On the day on which it was seen sore the foot counts as sore, whatever was said after."""
    dill = birds["Dill"]
    look(cast, dill, days_ago=2, left=SORE, right=CLEAR)
    look(cast, dill, days_ago=2, left=CLEAR, right=CLEAR)
    assert "Left foot healed?" in page_of(cast, dill)
    look(cast, dill, left=CLEAR, right=CLEAR)
    assert "healed?" not in page_of(cast, dill)


def test_with_two_sores_each_foot_can_be_the_one_that_healed(cast, birds):
    look(cast, birds["Dill"], days_ago=3, left=SORE, right=SORE)
    page = page_of(cast, birds["Dill"])
    assert "Both feet healed?" in page
    assert re.findall(r'name="clear" value="([^"]+)"', page) == ["left right", "left", "right"]


def test_it_is_not_asked_where_no_sore_is_known(cast, birds):
    look(cast, birds["Dill"], days_ago=3, left=CLEAR, right=CLEAR)
    assert 'name="clear"' not in page_of(cast, birds["Dill"])
    assert post(cast, birds["Dill"], verdict="both clear").status_code == 200


@pytest.mark.parametrize("clear", ["", "elbow", "none"])
def test_an_answer_that_no_button_gives_saves_nothing(cast, birds, clear):
    answer = post(cast, birds["Dill"], clear=clear)
    assert answer.status_code == 422 and not Check.objects.exists()


def test_both_are_the_same_only_where_both_were_checked(cast, birds):
    """Else the foot that nobody has checked would seem to be said too."""
    look(cast, birds["Dill"], days_ago=3, left=SORE)
    assert "Both still the same" not in page_of(cast, birds["Dill"])
    look(cast, birds["Dill"], days_ago=2, right=CLEAR)
    assert "Both still the same" in page_of(cast, birds["Dill"])


# --- Still there?


def test_it_asks_for_what_the_check_before_had(cast, birds):
    dill = birds["Dill"]
    signs = {"gait": 2, "eating": "no", "comb": "pale"}
    look(cast, dill, days_ago=3, left={**SORE, "hot": True, "joint_swollen": True}, **signs)
    page = page_of(cast, dill)
    assert questions(page) == [
        *("Still swollen?", "Still hot?", "Joint still swollen?"),
        *("Still limping?", "Still not eating?", "Comb still pale or purple?"),
    ]
    # Each is asked for once.
    assert page.count('name="left-hot"') == 2 and 'type="checkbox" name="left-hot"' not in page
    said = {"left-score": "1", "left-hot": "no", "left-swelling": "none", "gait": "0"}
    post(cast, dill, **said)
    assert questions(page_of(cast, dill)) == [
        *("Joint still swollen?", "Still not eating?", "Comb still pale or purple?"),
    ]


def test_silence_is_no_answer(cast, birds):
    look(cast, birds["Dill"], days_ago=9, left={**SORE, "hot": True}, gait=1)
    look(cast, birds["Dill"], days_ago=3, left={"score": 1})
    assert questions(page_of(cast, birds["Dill"])) == [
        *("Still swollen?", "Still hot?", "Still limping?"),
    ]


def test_a_clear_foot_ends_what_only_a_sore_has(cast, birds):
    look(cast, birds["Dill"], days_ago=9, left={**SORE, "bleeding": True, "raised_scales": True})
    post(cast, birds["Dill"], clear="left right")
    assert questions(page_of(cast, birds["Dill"])) == ["Scales still raised?"]


def test_the_leg_alone_is_asked_for_and_ends_with_a_normal_walk(cast, birds):
    look(cast, birds["Dill"], days_ago=9, left=CLEAR, limps_on="left")
    assert questions(page_of(cast, birds["Dill"])) == ["Still limping?"]
    post(cast, birds["Dill"], verdict="both clear", gait="0")
    assert questions(page_of(cast, birds["Dill"])) == []


def test_what_was_long_ago_is_not_asked_for(cast, birds):
    look(cast, birds["Dill"], days_ago=90, left={**SORE, "hot": True}, gait=3)
    assert questions(page_of(cast, birds["Dill"])) == []


def test_an_answer_stays_when_the_form_is_refused(cast, birds):
    look(cast, birds["Dill"], days_ago=3, left={**SORE, "hot": True}, gait=2)
    said = {"left-score": "1", "left-hot": "no", "gait": "2", "left-scab_mm": "99"}
    answer = post(cast, birds["Dill"], **said)
    assert answer.status_code == 422
    for name, value in (("left-hot", "no"), ("gait", "2")):
        fields = re.findall(rf'<input\s+type="radio"\s+name="{name}"[^>]*>', answer.text)
        assert any(f'value="{value}"' in field and "checked" in field for field in fields)


def test_the_parts_that_are_kept_for_all_birds_are_not_mixed_up(cast, birds):
    """They are stored as they were made for the first bird that needed them."""
    look(cast, birds["Dill"], days_ago=3, left={**SORE, "hot": True})
    assert "Still hot?" in page_of(cast, birds["Dill"])
    assert "Still hot?" not in page_of(cast, birds["Mace"])
    look(cast, birds["Sorrel"], days_ago=3, right={**SORE, "hot": True})
    page = page_of(cast, birds["Sorrel"])
    assert 'type="radio" name="right-hot"' in page and 'type="checkbox" name="left-hot"' in page


def test_the_edit_of_a_check_knows_nothing_of_the_one_before(cast, birds):
    check = look(cast, birds["Dill"], days_ago=3, left={**SORE, "hot": True})
    edit = reverse("feet:check_edit", args=[cast.flock.pk, check.pk])
    page = cast.clients.keeper.get(edit).text
    assert "Still" not in page and "healed?" not in page
