"""The signs of a check: yes, no or not checked, and how each is said, kept and read again."""

import importlib
import uuid
from datetime import UTC, datetime
from types import SimpleNamespace

import pytest
from django.apps import apps
from django.core.exceptions import ValidationError
from django.db import connection
from django.urls import reverse
from django.utils import timezone

from flockcare.birds.models import Bird
from flockcare.exchange.tables import FILES
from flockcare.feet import services
from flockcare.feet.histories import foot_words
from flockcare.feet.models import FOOT_SIGNS, Check, FootFinding
from flockcare.feet.words import foot_signs, odd_signs
from flockcare.people.models import Revision
from tests.care.steps import ago
from tests.exchange.exchanges import bring_in, problems_of, there_and_back
from tests.exchange.folders import write_folder
from tests.feet.test_check import check_url, form
from tests.offline.sends import body, send
from tests.people.page_forms import form_with

pytestmark = pytest.mark.django_db
MILD = {"left-score": "1"}


def save(cast, bird, **said):
    answer = cast.clients.keeper.post(check_url(cast, bird), form(**said))
    assert answer.status_code == 302, answer.content.decode()
    return Check.objects.order_by("-received_at").first()


def signs_of(check, foot="left"):
    finding = check.findings.get(foot=foot)
    return {name: getattr(finding, name) for name in FOOT_SIGNS}


def test_each_sign_is_yes_no_or_not_checked(cast, birds):
    """A box of older forms said “on”."""
    said = {"left-hot": "yes", "left-oozing": "no", "left-cold_or_dark": "on"}
    check = save(cast, birds["Dill"], **MILD, **said, **{"left-raised_scales": "yes"})
    assert signs_of(check) == {
        **dict.fromkeys(FOOT_SIGNS),
        **{"hot": True, "oozing": False, "cold_or_dark": True, "raised_scales": True},
    }
    page = cast.clients.viewer.get(check_url(cast, check, "feet:check")).content.decode()
    assert "hot, cold or dark, raised scales" in page and "<dt>Not</dt><dd>oozing</dd>" in page


def test_a_sign_that_is_neither_is_refused_at_its_field(cast, birds):
    said = form(**MILD, **{"left-joint_swollen": "perhaps"})
    answer = cast.clients.keeper.post(check_url(cast, birds["Dill"]), said)
    assert answer.status_code == 422 and "Say yes or no, or leave it blank." in answer.text
    # The part that holds the field stands open.
    assert "<details open><summary>Something else?" in answer.text


def test_a_clear_foot_is_one_without_heat_pus_and_cold_unless_they_are_said(cast, birds):
    check = save(cast, birds["Dill"], verdict="both clear")
    nothing_else = dict.fromkeys(FOOT_SIGNS[3:])
    assert signs_of(check) == {"hot": False, "oozing": False, "cold_or_dark": False} | nothing_else
    told = {"left-joint_swollen": "yes", "left-cold_or_dark": "yes"}
    check = save(cast, birds["Dill"], verdict="both clear", **told)
    found = signs_of(check)
    assert (found["joint_swollen"], found["cold_or_dark"], found["hot"]) == (True, True, False)
    assert {finding.score for finding in check.findings.all()} == {0}


@pytest.mark.parametrize("sign", ["oozing", "plug_or_hole"])
def test_what_only_a_sore_has_is_not_on_a_clear_foot(cast, birds, sign):
    said = form(**{"left-score": "0", f"left-{sign}": "yes"})
    answer = cast.clients.keeper.post(check_url(cast, birds["Dill"]), said)
    assert answer.status_code == 422 and "A clear foot has no sore place" in answer.text


CALM = ("swelling", "hot", "oozing")


def calm_of(check):
    finding = check.findings.get(foot="left")
    of_foot = [getattr(finding, name) for name in CALM]
    return [*of_foot, check.gait, check.manner, check.eating]


def test_one_chip_denies_six_signs(cast, birds):
    check = save(cast, birds["Dill"], **MILD, calm="yes")
    assert calm_of(check) == ["none", False, False, 0, "bright", "yes"]
    # Not what the chip does not speak of.
    assert signs_of(check)["cold_or_dark"] is None
    assert (check.droppings, check.belly) == ("", "")
    assert calm_of(save(cast, birds["Dill"], **MILD)) == ["", None, None, None, "", ""]


def test_a_single_answer_overrides_the_chip(cast, birds):
    said = {"left-hot": "yes", "left-swelling": "moderate", "gait": "2", "eating": "no"}
    check = save(cast, birds["Dill"], **MILD, calm="yes", **said)
    assert calm_of(check) == ["moderate", True, False, 2, "bright", "no"]
    # A foot that is scored swollen is not denied to be so, nor a limp of which the leg is told.
    check = save(cast, birds["Dill"], **{"left-score": "2"}, calm="yes", limps_on="left")
    assert calm_of(check) == ["", False, False, None, "bright", "yes"]


@pytest.mark.parametrize(
    "said",
    [
        {**MILD, "calm": "yes", "right-score": "0"},
        {**MILD, "left-hot": "yes", "left-oozing": "no", "left-bleeding": "no", "gait": "1"},
        {"left-score": "2", "left-swelling": "from above", "limps_on": "both", "comb": "pale"},
        {"verdict": "both clear", "calm": "yes"},
        {"verdict": "both clear"},
    ],
)
def test_a_check_that_is_opened_and_saved_again_says_the_same(cast, birds, said):
    check = save(cast, birds["Dill"], **said)
    before = services.snapshot(check)
    edit = check_url(cast, check, "feet:check_edit")
    fields = form_with(cast.clients.keeper.get(edit), "check_id")
    assert cast.clients.keeper.post(edit, fields).status_code == 302
    assert services.snapshot(Check.objects.get()) == before
    assert not Revision.objects.exists()


def test_the_leg_is_told_with_a_limp_or_without_its_grade(cast, birds):
    check = save(cast, birds["Dill"], **MILD, limps_on="left", comb="purple")
    assert (check.gait, check.limps_on, check.comb) == (None, "left", "purple")
    page = cast.clients.viewer.get(check_url(cast, check, "feet:check")).text
    assert "left leg" in page and "purple" in page
    wrong = form(**MILD, limps_on="both", gait="0")
    answer = cast.clients.keeper.post(check_url(cast, birds["Dill"]), wrong)
    assert answer.status_code == 422 and "The walk is given as normal (0)." in answer.text
    with pytest.raises(ValidationError, match="The walk"):
        Check(gait=0, limps_on="right").clean()


def test_the_signs_in_words():
    signs = [True, None, False, True, *[None] * 4, True]
    assert foot_signs(["main"], "none", None, "none", *signs) == [
        *("main pad", "hot", "open or bleeding", "raised scales"),
    ]
    odd = odd_signs(2, "left", "dull", "no", "odd", "swollen", "purple")
    assert odd == [
        *("gait 2 definite", "limps on the left leg", "dull", "not eating"),
        *("abnormal droppings", "swollen belly", "purple comb"),
    ]
    assert odd_signs(None, "both", "", "", "", "", "pale") == ["limps on both legs", "pale comb"]
    assert odd_signs(0, "", "bright", "yes", "normal", "normal", "normal") == []


def test_her_page_and_her_timeline_tell_the_signs(cast, birds):
    told = {"left-constricted": "yes", "left-bone_or_joint": "yes"}
    save(cast, birds["Dill"], **MILD, **told, comb="pale", gait="3", limps_on="left")
    page = cast.clients.viewer.get(reverse("bird", args=[cast.flock.pk, birds["Dill"].pk])).text
    for words in (
        "thread, wire or band round it, bone, joint or tendon suspected",
        "gait 3 obvious, limps on the left leg, pale comb",
    ):
        assert words in page


def test_boxes_of_before_become_open_questions_on_affected_feet(cast, birds):
    migration = importlib.import_module("flockcare.feet.migrations.0008_signs_in_full")
    editor = SimpleNamespace(connection=connection)
    look = Check.objects.create(flock=cast.flock, bird=birds["Dill"], at=timezone.now())
    no = {"hot": False, "oozing": False, "cold_or_dark": False}
    for foot, seen in (("left", {**no, "hot": True, "score": 1}), ("right", {**no, "score": 0})):
        FootFinding.objects.create(check_record=look, foot=foot, **seen)
    migration.leave_open_what_nobody_ticked(apps, editor)
    left, right = look.findings.order_by("foot")
    assert (left.hot, left.oozing, left.cold_or_dark) == (True, None, None)
    assert (right.hot, right.oozing, right.cold_or_dark) == (False, False, False)
    migration.close_what_was_left_open(apps, editor)
    left.refresh_from_db()
    assert (left.hot, left.oozing, left.cold_or_dark) == (True, False, False)


def test_an_old_version_comes_back_with_open_questions(cast, birds):
    """As the history kept it when a sign was ticked or not."""
    check = save(cast, birds["Dill"], **MILD, **{"left-oozing": "no"})
    kept = services.snapshot(check) | {
        "findings": [["left", 1, ["main"], "", None, "", True, False, False, None]]
    }
    plain = services.plain_check(kept)["left"]
    assert (plain["hot"], plain["oozing"], plain["bleeding"]) == (True, None, None)
    services.restore_check(check=check, keeper=cast.owner, kept=kept)
    assert signs_of(check) == {**dict.fromkeys(FOOT_SIGNS), "hot": True}


def test_the_history_tells_a_denied_sign_from_one_that_was_left_out():
    kept = {
        "findings": [["left", 1, [], "", None, "", True, False, None, None] + [None] * 6],
        "photos": [],
    }
    assert foot_words(services.plain_check(kept)["left"], None) == "1 mild, hot, not oozing"
    kept["findings"] = [["left", 0, [], "", None, "", False, False, False, None] + [None] * 6]
    assert foot_words(services.plain_check(kept)["left"], None) == "0 clear"


def test_old_entries_of_an_outbox_are_taken(cast, birds):
    """Boxes that say “on”, and the chip that spoke of droppings and belly."""
    said = [("left-score", "1"), ("left-hot", "on"), ("well", "on"), ("right-score", "0")]
    what = body(cast.flock, birds["Dill"], cast.keeper, *said)
    assert send(cast.clients.keeper, cast.flock, what).status_code == 201
    check = Check.objects.get()
    assert signs_of(check) == {**dict.fromkeys(FOOT_SIGNS), "hot": True}
    assert (check.manner, check.eating, check.droppings, check.belly, check.gait) == (
        *("bright", "yes", "normal", "normal"),
        None,
    )


def test_an_outbox_may_call_both_feet_clear_though_a_sore_is_known(cast, birds):
    """The phone did not know of it, and nobody is there to be asked."""
    save(cast, birds["Dill"], **MILD)
    what = body(cast.flock, birds["Dill"], cast.keeper, ("verdict", "both clear"))
    answer = send(cast.clients.keeper, cast.flock, what)
    assert answer.json()["words"] == "Dill, both feet clear"


# --- Exchange

OLD = [
    *("bird", "date", "time", "keeper", "gait", "left_score", "left_sites", "left_scab"),
    *("left_scab_mm", "left_swelling", "right_score", "right_sites", "right_scab"),
    *("right_scab_mm", "right_swelling", "note", "left_hot", "left_oozing", "left_cold_or_dark"),
    *("right_hot", "right_oozing", "right_cold_or_dark", "manner", "eating", "droppings", "belly"),
    *("body_condition", "left_clinical_grade", "right_clinical_grade", "received"),
]


def old_row(**said) -> dict:
    return dict.fromkeys(OLD, "") | {"bird": "Dill", "date": "2024-01-05", "time": "17:00"} | said


def test_the_columns_of_before_stand_where_they_stood():
    assert list(FILES["checks.csv"].all[: len(OLD)]) == OLD


def test_a_file_of_before_is_read_and_what_was_not_ticked_is_open(cast, birds, tmp_path):
    row = old_row(left_score="1", left_hot="yes", right_score="0")
    folder = write_folder(tmp_path / "in", checks=[row])
    bring_in(folder, cast.flock)
    check = Check.objects.get()
    assert signs_of(check) == {**dict.fromkeys(FOOT_SIGNS), "hot": True}
    assert signs_of(check, "right")["hot"] is False
    # The same again is there already, however the foot was recorded.
    assert bring_in(folder, cast.flock).already_there["checks.csv"] == 1
    assert Check.objects.count() == 1


def test_all_three_answers_come_back_from_an_export(cast, birds, tmp_path):
    told = {f"left-{name}": ["yes", "no", ""][at % 3] for at, name in enumerate(FOOT_SIGNS)}
    save(cast, birds["Dill"], **MILD, **told, gait="2", limps_on="right", comb="purple")
    save(cast, birds["Mace"], verdict="both clear")
    Check.objects.update(at=datetime(2024, 1, 5, 12, tzinfo=UTC))
    first, second = there_and_back(cast.flock, tmp_path)
    assert first == second
    header, row, *_ = first["checks.csv"].decode().splitlines()
    cells = dict(zip(header.split(","), row.split(","), strict=True))
    assert [cells[f"left_{name}"] for name in FOOT_SIGNS] == ["yes", "no", ""] * 3
    assert (cells["limps_on"], cells["comb"]) == ("right", "purple")


def test_an_import_is_told_of_a_leg_beside_a_normal_walk(cast, birds, tmp_path):
    row = old_row(left_score="1", gait="0", limps_on="left")
    problems = problems_of(write_folder(tmp_path / "in", checks=[row]), cast.flock)
    assert problems[0] == ("checks.csv", 2, "limps_on")


def test_droppings_are_called_abnormal_and_exchanged_as_before(cast, birds, tmp_path):
    """“odd” is stored and exchanged; “abnormal” is what is read and also understood."""
    rows = [old_row(droppings="odd"), old_row(droppings="abnormal", time="18:00")]
    bring_in(write_folder(tmp_path / "in", checks=rows), cast.flock)
    assert set(Check.objects.values_list("droppings", flat=True)) == {"odd"}
    page = cast.clients.viewer.get(check_url(cast, Check.objects.first(), "feet:check")).text
    assert "abnormal" in page


def test_a_sorted_photo_makes_a_clear_foot_like_any_other(cast, birds):
    check, _ = services.save_check(
        flock=cast.flock,
        bird=Bird.objects.get(name="Dill"),
        keeper=cast.keeper,
        check_id=uuid.uuid4(),
        at=ago(1),
        seen=services.Seen([FootFinding(foot="left", score=0)]),
    )
    assert signs_of(check)["hot"] is False
