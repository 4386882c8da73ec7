"""How a bird stands, as a pure function of her records: signs, course, advice, what is due."""

import uuid
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

import pytest

from flockcare.care.rules import RULES, Advice
from flockcare.care.standing import standing_of
from flockcare.care.standing.answer import Course
from flockcare.care.standing.records import (
    Asked,
    FootLast,
    FootSeen,
    Look,
    Outline,
    Records,
    Rounds,
    VetPlan,
)
from flockcare.care.standing.signs import seen_for
from flockcare.care.standing_words import (
    calm,
    due_words,
    plan_words,
    reason_words,
    reasons,
    signs_words,
)
from flockcare.feet.cases import Sight, cases_from

TODAY = date(2026, 11, 20)
ROUNDS = Rounds(clear_days=21, sore_days=7)
BIRD = uuid.uuid4()
MILD = {"score": 1, "scab": "black", "swelling": "none"}
CLEAR = {"score": 0}
# With all that the advice wants to know of a foot, and what it wants to know of the bird.
FULL = MILD | {"hot": False, "oozing": False}
WELL = {"gait": 0, "manner": "bright", "eating": "yes"}


def day(ago: int) -> date:
    return TODAY - timedelta(ago)


def look(ago, *, left=None, right=None, by="Ros", **signs) -> Look:
    on = day(ago)
    feet = {"left": left, "right": right}
    return Look(
        key=uuid.uuid4(),
        at=datetime(on.year, on.month, on.day, 18, tzinfo=UTC),
        on=on,
        by=by,
        signs=signs,
        feet={foot: FootSeen(**seen) for foot, seen in feet.items() if seen},
    )


def records(*looks: Look, **more) -> Records:
    """From checks in any order, as the reader of the records would give them."""
    looks = sorted(looks, key=lambda one: one.at, reverse=True)
    cases, last = [], {}
    for foot in ("left", "right"):
        hers = [one for one in looks if foot in one.feet]
        sights = [
            Sight(one.on, one.at, one.feet[foot].score, one.key, one.by) for one in reversed(hers)
        ]
        cases += cases_from(sights, bird_id=BIRD, foot=foot)
        if hers:
            last[foot] = FootLast(hers[0].feet[foot].score, hers[0].on, hers[0].by)
    last_check = looks[0].on if looks else None
    return Records(looks=looks, last=last, last_check=last_check, cases=cases, **more)


def stands(*looks: Look, today=TODAY, **more):
    return standing_of(records(*looks, **more), today=today, rounds=ROUNDS)


# --- What each foot is


def test_a_bird_never_checked_is_to_be_looked_at():
    found = stands()
    assert found.advice is Advice.LOOK and reasons(found) == []
    assert [foot.state for foot in found.feet.values()] == ["never checked"] * 2
    assert [(due.what, due.on) for due in found.all_due] == [("check", TODAY)]


def test_a_bird_never_checked_gets_no_advice_from_the_feet_of_others():
    found = standing_of(records(), today=TODAY, rounds=ROUNDS, others_new=4)
    assert (found.advice, found.bird_advice, found.because) == (Advice.LOOK, None, ())
    assert found.others_new == 4 and found.check_due.on == TODAY
    # What was seen of her counts with them.
    limps = records(look(2, gait=1))
    assert standing_of(limps, today=TODAY, rounds=ROUNDS, others_new=4).advice is Advice.ASK
    few = standing_of(records(), today=TODAY, rounds=ROUNDS, others_new=2)
    assert few.others_new == 0


def test_a_case_says_since_when_and_when_the_foot_was_last_clear():
    found = stands(
        look(30, left=CLEAR, right=CLEAR), look(20, left=MILD, right=CLEAR), look(2, left=MILD)
    ).feet
    assert (found["left"].state, found["left"].since, found["left"].last_clear) == (
        *("case", day(20)),
        day(30),
    )
    assert (found["left"].score, found["left"].days, found["left"].checked) == (1, 20, day(2))
    assert (found["right"].state, found["right"].last_clear) == ("clear", day(20))


def test_both_feet_are_told_apart():
    found = stands(look(9, left=MILD, right=CLEAR), look(1, left=CLEAR, right=MILD))
    assert found.feet["left"].state == "clear"
    assert found.feet["right"].since == day(1)
    assert found.feet["right"].last_clear == day(9)


def test_a_check_that_comes_late_changes_the_case():
    first, last = look(20, left=CLEAR), look(1, left=MILD)
    assert stands(first, last).feet["left"].since == day(1)
    assert stands(first, last, look(10, left=MILD)).feet["left"].since == day(10)


# --- Signs


def test_what_was_seen_long_ago_rings_no_vet_and_asks_for_a_check():
    bad = {"score": 2, "scab": "black", "swelling": "from above", "hot": True}
    seen = look(56, left=bad, right=MILD, gait=3, manner="dull")
    assert stands(seen).advice is Advice.NOW
    seen = look(57, left=bad, right=MILD, gait=3, manner="dull")
    found = stands(seen)
    assert (found.advice, found.urgent) == (Advice.LOOK, False)
    # All of it is still told, with its day.
    assert [sign.words for sign in found.signs] == ["obviously lame", "dull"]
    assert {sign.on for foot in found.feet.values() for sign in foot.signs} == {day(57)}
    assert found.feet["left"].is_case and found.feet["left"].score == 2
    before = look(80, left=MILD)
    courses = [stands(before, seen, today=on).feet["left"].trend.course for on in (day(1), TODAY)]
    assert courses == [Course.WORSE, Course.NOT_KNOWN]
    assert reason_words(found) == "left foot: signs of 24 Sep; right foot: signs of 24 Sep"
    assert found.check_due.on <= TODAY


def test_a_sign_of_today_beside_a_foot_seen_long_ago_still_rings():
    old, fresh = look(90, left={"score": 2, "hot": True}), look(0, right={"score": 2, "hot": True})
    found = stands(old, fresh)
    assert found.feet["left"].advice is Advice.LOOK
    assert (found.advice, found.feet["right"].advice) == (Advice.SOON, Advice.SOON)
    # That both feet are sore is not known of today.
    fresh = look(0, right=MILD)
    assert stands(look(90, left={"score": 2}), fresh).advice is not Advice.SOON
    assert stands(look(20, left={"score": 2}), fresh).advice is Advice.SOON


@pytest.mark.parametrize(
    "lately",
    [
        {"looked_at": {"left": day(3)}},
        {"outlines": [Outline("left", day(3), 90.0, 3.0)]},
    ],
)
def test_care_or_a_measured_photo_keeps_a_foot_known(lately):
    seen = look(90, left={"score": 2, "hot": True})
    assert stands(seen).advice is Advice.LOOK
    assert stands(seen, **lately).advice is Advice.SOON


def test_a_sign_keeps_its_day_and_observer_until_it_is_answered():
    dull = look(5, left=CLEAR, right=CLEAR, manner="dull", by="Ros")
    quick = look(1, left=CLEAR, right=CLEAR, by="Ted")
    (sign,) = stands(dull, quick).signs
    assert (sign.words, sign.on, sign.by) == ("dull", day(5), "Ros")
    # An answer ends it, in whichever order the checks arrived.
    answer = look(2, left=CLEAR, right=CLEAR, manner="bright", by="Ted")
    assert stands(answer, quick, dull).signs == ()


def test_no_check_is_said_to_have_seen_what_it_did_not_say():
    """Swelling and limp of two earlier checks, and a newest one that said mild and no more."""
    foot = stands(
        look(12, right=MILD | {"swelling": "moderate"}, by="Ted"),
        look(9, right={"score": 1}, gait=1, limps_on="right", by="Ines"),
        look(0, right={"score": 1}, by="Ros"),
    )
    right = foot.feet["right"]
    assert (right.checked, right.by) == (day(0), "Ros")
    assert [(one.words, one.on, one.by) for one in right.signs] == [
        ("swelling moderate", day(12), "Ted"),
        ("black scab", day(12), "Ted"),
    ]
    assert right.because == ("A swollen foot, and a limp",)
    assert right.older == right.signs[:1]
    (rule,) = [rule for rule in RULES if rule.key == "swollen and limps"]
    assert signs_words(seen_for(rule, right, foot.signs), TODAY) == (
        "swelling moderate, seen 8 Nov by Ted; limps slightly on the right, seen 11 Nov by Ines"
    )
    again = stands(look(12, right=MILD, by="Ted"), look(0, right={"score": 2}, by="Ros"))
    assert again.feet["right"].older == ()


@pytest.mark.parametrize(
    ("key", "sign"),
    [
        ("cold or dark", {"cold_or_dark": True}),
        ("bleeding", {"bleeding": True}),
        ("swelling from above", {"swelling": "from above", "score": 2}),
        ("bone or joint", {"bone_or_joint": True}),
        ("bone or joint", {"clinical_grade": 4}),
        ("grade III", {"clinical_grade": 3}),
    ],
)
def test_a_sign_that_is_enough_by_itself_has_its_day(key, sign):
    found = stands(look(6, left={"score": 1} | sign, by="Ted"), look(0, right=CLEAR))
    (rule,) = [rule for rule in RULES if rule.key == key]
    seen = seen_for(rule, found.feet["left"], found.signs)
    assert [(one.on, one.by) for one in seen] == [(day(6), "Ted")], key


def test_a_second_word_is_the_one_that_counts():
    (sign,) = stands(
        look(6, left=CLEAR, manner="dull"), look(3, left=CLEAR, manner="dull", by="Ted")
    ).signs
    assert (sign.on, sign.by) == (day(3), "Ted")


@pytest.mark.parametrize(
    ("looks", "foot", "on"),
    [
        # Only scored; nothing said of how she walks; a limp that has its own days.
        ([look(0, left={"score": 1}, right=CLEAR)], "left", day(-1)),
        ([look(0, left=FULL, right=CLEAR)], "left", day(-1)),
        ([look(3, left=FULL, right=CLEAR)], "left", day(2)),
        ([look(0, left=CLEAR, right=CLEAR, gait=1)], "left", day(-2)),
    ],
)
def test_who_is_to_be_checked_again_first_is_due_for_it_at_once(looks, foot, on):
    found = stands(*looks)
    assert found.advice is Advice.LOOK
    assert (found.check_due.foot, found.check_due.on) == (foot, on)
    # Nothing is missing: then the flock's own days count.
    found = stands(look(0, left=FULL, right=CLEAR, **WELL))
    assert (found.advice, found.check_due.on) == (Advice.LEAVE, day(-7))


def test_a_foot_that_was_never_checked_is_due_today():
    found = stands(look(0, left=CLEAR))
    assert found.advice is Advice.LOOK and found.feet["right"].state == "never checked"
    assert due_words(found.check_due, TODAY, found.last_check) == "right foot: check today"
    assert stands(look(0, manner="bright")).check_due.on == TODAY


def test_a_vets_plan_does_not_ask_for_a_check_at_once():
    plan = VetPlan(day(0), day(-28), "Rest.")
    found = stands(look(1, left={"score": 1}, right=CLEAR), plans={"left": plan})
    assert found.plans and found.check_due.on == day(1 - 7)


@pytest.mark.parametrize(("ago", "holds"), [(14, True), (15, False)])
def test_an_unanswered_sign_of_a_bird_with_clear_feet_holds_for_two_weeks(ago, holds):
    assert bool(stands(look(ago, left=CLEAR, right=CLEAR, manner="dull")).signs) is holds


@pytest.mark.parametrize(("later", "holds"), [(86, True), (85, False)])
def test_time_alone_makes_no_sore_bird_well(later, holds):
    """While a case is open only a check can say so: one within two weeks says nothing yet."""
    lame = look(100, left=MILD, gait=4)
    assert stands(lame).signs[0].words == "severely lame"
    assert bool(stands(lame, look(later, left=MILD)).signs) is holds


def test_a_clear_foot_is_never_a_reason():
    found = stands(look(3, left=CLEAR, right=CLEAR, manner="dull", eating="no", gait=3))
    assert found.advice is found.bird_advice and found.advice > Advice.HOME
    assert all("foot" not in reason for reason in reasons(found))
    assert [foot.because for foot in found.feet.values()] == [(), ()]
    assert {sign.words for sign in found.signs} == {"dull", "not eating", "obviously lame"}


def test_the_signs_of_the_bird_and_of_her_foot_stand_apart():
    found = stands(look(3, left={**MILD, "hot": True}, right=CLEAR, manner="dull"))
    left = found.feet["left"]
    assert "The foot is hot" in left.because
    assert not set(left.because) & set(found.because)
    assert found.because and "The foot is hot" not in found.because


# --- Signs of a foot within its case


def test_a_quick_check_does_not_empty_the_advice():
    full = look(8, left={**MILD, "swelling": "moderate", "hot": True}, right=CLEAR, gait=1)
    before = stands(full).feet["left"]
    after = stands(full, look(1, left={"score": 1})).feet["left"]
    assert (after.situation.swelling, after.situation.hot) == ("moderate", True)
    assert (after.advice, after.because) == (before.advice, before.because)


def test_an_answer_ends_a_sign_of_the_foot():
    swollen = look(8, left={"score": 1, "swelling": "moderate"})
    answered = look(1, left={"score": 1, "swelling": "none"})
    assert stands(swollen, answered).feet["left"].situation.swelling == "none"


def test_score_1_says_that_the_swelling_is_no_longer_seen_from_above():
    high = look(8, left={"score": 2, "swelling": "from above"})
    found = stands(high, look(1, left={"score": 1})).feet["left"]
    assert found.situation.swelling is None
    assert "Swollen (score 2)" not in found.because


def test_what_an_earlier_case_showed_is_not_of_this_one():
    found = stands(
        look(40, left={"score": 1, "swelling": "moderate", "hot": True}),
        look(30, left=CLEAR),
        look(5, left={"score": 1}),
    ).feet["left"]
    assert (found.situation.swelling, found.situation.hot) == (None, None)


# --- Better or worse


def outlines(*measured, foot="left", relative=0.05) -> list[Outline]:
    return [Outline(foot, day(ago), area, area * relative) for ago, area in measured]


@pytest.mark.parametrize(
    ("areas", "course"),
    [
        # Small at first, a peak, and well below it: the first two do not make it larger.
        ([(21, 1.4), (10, 67), (1, 20)], Course.BETTER),
        ([(21, 1.4), (10, 60), (1, 67)], Course.WORSE),
        ([(21, 75), (10, 10), (1, 30)], Course.WORSE),
        ([(21, 40), (1, 40)], Course.SAME),
        ([(1, 40)], Course.NOT_KNOWN),
        ([], Course.NOT_KNOWN),
    ],
)
def test_all_areas_of_the_case_together_say_how_it_goes(areas, course):
    found = stands(look(22, left={"score": 1}), outlines=outlines(*areas)).feet["left"]
    assert found.trend.course is course
    if len(areas) > 1:
        assert found.trend.unit == "mm²"
        first, peak, last = found.areas
        assert (first.value, last.value) == (areas[0][1], areas[-1][1])
        assert peak.value == max(area for _, area in areas)


def test_areas_before_the_case_and_of_the_other_foot_do_not_count():
    looks = look(20, left=CLEAR), look(12, left=MILD, right=MILD)
    areas = [*outlines((20, 90), (11, 30), (2, 31)), *outlines((11, 9), (2, 30), foot="right")]
    found = stands(*looks, outlines=areas).feet
    assert found["left"].trend.course is Course.SAME and found["left"].areas[1].value == 31
    assert found["right"].trend.course is Course.WORSE


def test_widths_count_where_there_are_no_areas_and_else_the_scores():
    wide, narrow = {**MILD, "scab_mm": 9.0}, {**MILD, "scab_mm": 5.0}
    found = stands(look(20, left=wide), look(2, left=narrow)).feet["left"].trend
    assert (found.course, found.unit, found.first.value, found.last.value) == (
        *(Course.BETTER, "mm"),
        *(9, 5),
    )
    found = stands(look(20, left={"score": 2}), look(2, left=MILD)).feet["left"].trend
    assert (found.course, found.unit) == (Course.BETTER, "score")


def test_worse_by_one_way_of_measuring_is_worse():
    """As in the advice, which counts each way: no page says smaller beside it grows."""
    scab = [{**MILD, "scab_mm": width} for width in (5.0, 9.0)]
    found = stands(
        look(12, left=scab[0]), look(2, left=scab[1]), outlines=outlines((12, 60), (2, 30))
    ).feet["left"]
    assert (found.trend.course, found.trend.unit) == (Course.WORSE, "mm")


# --- What is due


def asked(line, on, *, foot="left", done=1, who="", what="") -> Asked:
    return Asked(uuid.uuid4(), foot, line, what or line, day(done), on, who)


def due_of(found, foot="left"):
    return [(due.what, due.on) for due in found.feet[foot].due]


def test_clear_feet_are_due_by_the_rounds_and_sore_ones_sooner():
    assert due_of(stands(look(4, left=CLEAR, right=CLEAR))) == [("check", day(4 - 21))]
    assert due_of(stands(look(4, left=MILD, right=CLEAR, **WELL))) == [("check", day(4 - 7))]


DAILY = {"score": 1, "swelling": "moderate"}


# From the mildest to the worst, with the days to the next check; common practice, no published
# source: a foot for a vet is looked at every day until the vet has seen it.
WORSE_AND_WORSE = [
    ("a mild scab, and she is well", {}, WELL, 7),
    ("a moderate swelling", {"swelling": "moderate"}, {}, 1),
    ("that, for two weeks", {"swelling": "moderate"}, {"before": 15}, 1),
    ("a swelling and a limp", {"swelling": "moderate"}, {"gait": 1}, 1),
    ("oozing", {"oozing": True}, {}, 1),
    ("swollen", {"score": 2}, {}, 1),
    ("swollen, and lame", {"score": 2}, {"gait": 3}, 1),
    ("bleeding", {"bleeding": True}, {}, 1),
]


def test_the_worse_bird_is_never_checked_later():
    found = []
    for words, foot, more, days in WORSE_AND_WORSE:
        more = dict(more)
        before = more.pop("before", None)
        seen = MILD | foot
        looks = [look(0, left=seen, right=CLEAR, **more)]
        looks += [look(before, left=seen, right=CLEAR)] if before else []
        hers = stands(*looks)
        assert due_of(hers) == [("check", day(-days))], words
        found.append((hers.advice, days))
    assert [level for level, _ in found] == sorted(level for level, _ in found)
    assert [days for _, days in found] == sorted((days for _, days in found), reverse=True)


def test_a_bird_for_a_vet_within_days_is_checked_daily_until_the_vet_has_seen_her():
    lame = look(0, left=CLEAR, right=CLEAR, gait=3)
    assert stands(lame).check_due.on == day(-1)
    plan = VetPlan(day(0), day(-28), "Rest.")
    seen = stands(look(1, left={"score": 2}, right=CLEAR), plans={"left": plan})
    assert seen.check_due.on == day(-6)


def test_the_foot_that_the_last_check_left_out_is_asked_for_again():
    hers = stands(look(9, left=CLEAR, right=MILD), look(0, right=MILD, **WELL))
    assert (hers.check_due.on, hers.check_due.foot) == (day(2), "left")
    both = stands(look(9, left=CLEAR, right=MILD), look(0, right=MILD, left=CLEAR, **WELL))
    assert both.check_due.on == day(-7)
    assert stands(look(30, left=CLEAR, right=CLEAR), look(0, right=CLEAR)).check_due.on == day(9)


def test_a_sore_found_on_one_foot_makes_the_other_no_later_than_it_was():
    """The days of sore birds count from the day the sore was known."""
    before = look(22, left=CLEAR, right=CLEAR)
    assert stands(before).check_due.on == day(1)
    found = stands(before, look(0, left=FULL, **WELL))
    assert (found.check_due.on, found.check_due.foot) == (day(1), "right")
    assert due_words(found.check_due, TODAY, found.last_check) == "right foot: check 1 day late"
    # Where the days of clear birds end later, the other foot is asked for with the sore one.
    found = stands(look(9, left=CLEAR, right=CLEAR), look(2, left=FULL, **WELL))
    assert due_of(found, "right") == due_of(found, "left") == [("check", day(2 - 7))]
    # And where they end before that, by those.
    found = stands(look(19, left=CLEAR, right=CLEAR), look(2, left=FULL, **WELL))
    assert due_of(found, "right") == [("check", day(19 - 21))]


def test_a_check_says_which_foot_where_one_alone_is_due():
    found = stands(look(22, left=CLEAR, right=CLEAR), look(0, right=CLEAR))
    assert due_words(found.check_due, TODAY, found.last_check) == "left foot: check 1 day late"
    found = stands(look(90, left=CLEAR, right=CLEAR), look(0, right=CLEAR))
    assert due_words(found.check_due, TODAY, found.last_check) == (
        "left foot: no check since 22 Aug"
    )
    assert calm(found) == "both feet clear, checked left 22 Aug, right 20 Nov"
    # Both, on the same day or not, or none of them yet.
    for looks in (
        [look(22, left=CLEAR, right=CLEAR)],
        [look(30, left=CLEAR, right=CLEAR), look(22, right=CLEAR)],
        [look(9, left=CLEAR, right=CLEAR), look(0, right=CLEAR)],
    ):
        found = stands(*looks)
        assert "foot" not in due_words(found.check_due, TODAY, found.last_check)


def test_one_check_is_due_whatever_asks_for_it():
    """The flock's days, the advice to look every day, and a step that left it to be watched."""
    checked = look(3, left=DAILY, right=CLEAR)
    assert due_of(stands(checked)) == [("check", day(2))]
    watched = asked("look", day(-1), done=0, what="check", who="Ted")
    found = stands(checked, asked=[watched])
    assert due_of(found) == [("check", day(-1))]
    assert found.all_due[0].who == "Ted"
    assert len([due for due in found.all_due if due.what == "check"]) == 1


CHANGE = "soak, dressing"


@pytest.mark.parametrize(
    ("dressing", "check"),
    [
        # One that is on is felt each day, which shows nothing of the sore under it.
        (asked("dressing", day(0)), day(0)),
        # A change of it shows the foot, where it comes no later than the advice asks for.
        (replace(asked("plan", day(0), what=CHANGE), dresses=True), day(1 - 7)),
        (replace(asked("plan", day(2), what=CHANGE), dresses=True), day(1 - 7)),
        (replace(asked("plan", day(-1), what=CHANGE), dresses=True), day(0)),
        (asked("plan", day(0), what="soak"), day(0)),
    ],
)
@pytest.mark.parametrize("seen", [DAILY, MILD | {"hot": True, "oozing": True}])
def test_only_a_change_of_dressing_in_time_stands_for_the_check(dressing, check, seen):
    found = stands(look(1, left=seen, right=CLEAR), asked=[dressing])
    assert ("check", check) in due_of(found)


def test_a_dressed_bird_is_not_checked_later_than_a_milder_one():
    worse = MILD | {"hot": True, "oozing": True}
    dressed = stands(look(1, left=worse, right=CLEAR, gait=2), asked=[asked("dressing", day(0))])
    milder = stands(look(1, left=DAILY, right=CLEAR))
    assert dressed.urgent and not milder.urgent
    assert dressed.check_due.on <= milder.check_due.on == day(0)
    # Nobody looked since: a week later it is late, not fine.
    week = stands(look(7, left=worse, right=CLEAR), asked=[asked("dressing", day(6), done=7)])
    assert week.urgent and week.check_due.on == day(6)


def test_under_a_vets_plan_the_vet_says_how_often_a_dressing_is_opened():
    plan = VetPlan(day(1), day(-20), "Vet’s plan: a dressing every three days")
    change = replace(asked("plan", day(-2), what=CHANGE), dresses=True)
    found = stands(look(1, left=DAILY, right=CLEAR), asked=[change], plans={"left": plan})
    assert found.plans and due_of(found)[-1] == ("check", day(1 - 7))


def test_who_looked_with_a_step_is_asked_again_from_that_day():
    found = stands(look(3, left=DAILY), looked_at={"left": day(0)})
    assert due_of(found) == [("check", day(-1))]


def test_what_is_due_of_the_whole_bird_stands_beside_her_feet():
    found = stands(look(3, left=CLEAR, right=CLEAR), asked=[asked("medicine", TODAY, foot="")])
    assert [due.what for due in found.due] == ["medicine"]
    assert [due.what for due in found.all_due] == ["medicine", "check"]


# --- Under a vet's plan


def test_a_vets_plan_holds_until_its_day_or_a_new_sign():
    swollen = look(9, left={"score": 2}, right=CLEAR)
    plan = VetPlan(day(8), day(-5), "Vet’s plan until 25 Nov: soak daily")

    def stands_under(*looks, plan=plan):
        return stands(*looks, plans={"left": plan, "right": plan})

    assert stands_under(swollen).plans == (plan,)
    # The same again is not new, nor what had been seen before the visit.
    assert stands_under(swollen, look(1, left={"score": 2})).plans == (plan,)
    assert stands_under(swollen, look(1, left={"score": 2, "hot": True})).plans == ()
    assert stands_under(swollen, look(1, right={"score": 2})).plans == ()
    assert stands_under(swollen, look(1, left=MILD, manner="dull")).plans == ()
    assert stands_under(swollen, plan=replace(plan, until=day(1))).plans == ()
    # Healed, and swollen again.
    healed = look(5, left=CLEAR, right=CLEAR)
    assert stands_under(swollen, healed).plans == (plan,)
    assert stands_under(swollen, healed, look(1, left={"score": 2})).plans == ()


def test_a_visit_without_a_plan_and_a_plan_without_a_vet_change_no_advice():
    swollen = look(9, left={"score": 2}, right=CLEAR)
    plan = VetPlan(day(8), day(-5), "Plan: soak", by_vet=False, said="our own plan: soak")
    asked = replace(plan, words="")
    for more in ({"calls": {"left": asked}}, {"plans": {"left": plan, "right": plan}}):
        found = stands(swollen, **more)
        assert (found.advice, found.plans, found.asked) == (Advice.SOON, (), (asked,))
    assert stands(swollen, calls={"left": VetPlan(day(30), day(2))}).asked == ()


HOT = {"score": 1, "scab": "brown", "swelling": "none", "hot": True}
LIMPS = {"score": 1, "scab": "brown", "swelling": "moderate"}


@pytest.mark.parametrize(
    ("foot", "signs", "level"),
    [
        (HOT, {}, Advice.SOON),
        (LIMPS, {"gait": 2}, Advice.SOON),
        (MILD, {"manner": "dull"}, Advice.NOW),
        ({**MILD, "cold_or_dark": True}, {}, Advice.NOW),
    ],
    ids=["hot", "swollen and limping", "dull", "cold"],
)
def test_a_plan_without_a_last_day_stands_in_for_no_urgent_level(foot, signs, level):
    seen = look(2, left=foot, right=CLEAR, **signs)
    plan = VetPlan(day(1), day(-27), "Vet’s plan: bring her", uuid.uuid4(), said="Bring her")
    ends = stands(seen, plans={"left": plan, "right": plan})
    assert ends.plans == (plan,)
    open_ended = replace(plan, open_ended=True)
    plans = {"left": open_ended, "right": open_ended}
    found = stands(seen, plans=plans, calls=plans)
    assert (found.advice, found.plans) == (level, ()) and found.check_due.on == day(1)
    assert [one.step for one in found.asked] == [plan.step]
    assert plan_words(found.asked[0], found) == (
        "Vet asked on 19 Nov: Bring her. The plan has no last day, so the advice stands: "
        f"{level.words.lower()}."
    )
    # What is not urgent it stands in for, and what was urgent once that is answered.
    calm = look(0, left=MILD, right=CLEAR, manner="bright", gait=0)
    well = replace(calm, feet={**calm.feet, "left": FootSeen(1, "none", "black", hot=False)})
    well.feet["left"] = replace(well.feet["left"], cold_or_dark=False)
    assert stands(seen, well, plans=plans, calls=plans).plans == (open_ended,)


def call(ago: int, **more) -> VetPlan:
    return VetPlan(day(ago), day(ago - 28), step=uuid.uuid4(), **more)


@pytest.mark.parametrize(
    ("looks", "calls", "rung"),
    [
        ([look(3, left=HOT)], {}, False),
        ([look(3, left=HOT)], {"left": call(0)}, True),
        # She may wait so long to be seen, and no longer.
        ([look(3, left=HOT)], {"left": call(2)}, True),
        ([look(4, left=HOT)], {"left": call(3)}, False),
        ([look(3, left={**HOT, "cold_or_dark": True})], {"left": call(1)}, True),
        ([look(3, left={**HOT, "cold_or_dark": True})], {"left": call(2)}, False),
        # About the other foot; and what has come since.
        ([look(3, left=HOT, right=HOT)], {"left": call(0)}, False),
        ([look(3, left=HOT, right=HOT)], {"left": call(0), "right": call(1)}, True),
        ([look(3, left=HOT), look(0, left={**HOT, "oozing": True})], {"left": call(1)}, False),
        ([look(3, left=HOT), look(0, left=HOT, manner="dull")], {"left": call(1)}, False),
        ([look(3, left=HOT, manner="dull")], {"left": call(0)}, True),
        ([look(3, left=MILD)], {"left": call(0)}, False),
    ],
)
def test_a_vet_was_rung_where_asked_lately_about_all_that_is_urgent(looks, calls, rung):
    found = stands(*looks, calls=calls)
    newest = max(calls.values(), key=lambda one: one.on, default=None)
    assert found.rung == (newest if rung else None)
    # The level itself is what it would be without.
    assert found.advice is stands(*looks).advice
    assert len(found.asked) == len(calls)


def test_a_call_about_a_new_sign_leaves_the_broken_plan_where_it_is():
    plan = VetPlan(day(8), day(-5), "Vet’s plan: soak", uuid.uuid4())
    looks = look(9, left=MILD, right=CLEAR), look(1, left=HOT)
    plans, calls = {"left": plan, "right": plan}, {"left": call(0), "right": call(0)}
    assert stands(*looks, plans=plans, calls=plans).rung is None
    found = stands(*looks, plans=plans, calls=calls)
    assert (found.rung, len(found.asked)) == (calls["left"], 2)
    assert [one.step for one in found.broken] == [plan.step]


NOON = datetime.combine(day(3), time(12), tzinfo=UTC)


@pytest.mark.parametrize(
    ("minutes", "time_known", "holds"),
    [(-5, True, True), (0, True, True), (5, True, False), (-5, False, False)],
)
def test_of_the_day_of_a_visit_only_what_was_seen_before_it_is_known(minutes, time_known, holds):
    before = look(9, left=MILD, right=CLEAR)
    same_day = replace(
        look(3, left={"score": 2, "hot": True, "oozing": True}, gait=2),
        at=NOON + timedelta(minutes=minutes),
        time_known=time_known,
    )
    plan = VetPlan(day(3), day(-5), "Vet’s plan: soak", at=NOON)
    found = stands(before, same_day, plans={"left": plan, "right": plan})
    assert found.plans == ((plan,) if holds else ())
    assert found.urgent is not holds
    # Where the time of the visit is not known nothing of that day was.
    found = stands(before, same_day, plans={"left": replace(plan, at=None)})
    assert found.plans == () and found.urgent


def test_a_sore_that_was_none_at_the_visit_is_new_whatever_else_was_seen_then():
    """Both feet swollen before: the left had healed by then, so that it swells anew."""
    looks = (
        look(20, left={"score": 2}, right={"score": 2}),
        look(9, left=CLEAR),
        look(1, left={"score": 2}),
    )
    plan = VetPlan(day(8), day(-5), "Vet’s plan: soak", at=NOON - timedelta(5))
    assert stands(*looks[:2], plans={"left": plan, "right": plan}).plans == (plan,)
    assert stands(*looks, plans={"left": plan, "right": plan}).plans == ()


LAME = {"score": 2, "swelling": "from above", "hot": True}


@pytest.mark.parametrize(
    ("since", "holds"),
    [
        # Nobody has asked about the limp since, however long ago that is.
        ([], True),
        # Milder in each sign, which is another rule than those that held for the visit.
        ([look(1, left=LIMPS, gait=1)], True),
        ([look(1, left={"score": 2, "swelling": "moderate"}, gait=2)], True),
        # As lame days after it, worse, or with a sign that the visit did not know.
        ([look(1, left=LIMPS, gait=3)], False),
        ([look(3, left=LIMPS, gait=3)], True),
        ([look(1, left=LIMPS, gait=4)], False),
        ([look(4, left=LIMPS, gait=4)], False),
        ([look(1, left={**LIMPS, "oozing": True}, gait=1)], False),
        ([look(1, left=LIMPS, gait=1, manner="dull")], False),
    ],
)
def test_what_gets_milder_does_not_break_a_plan(since, holds):
    plan = VetPlan(day(6), day(-5), "Vet’s plan: soak", uuid.uuid4())
    found = stands(look(7, left=LAME, gait=3), *since, plans={"left": plan, "right": plan})
    assert found.plans == ((plan,) if holds else ())
    assert found.urgent is not holds


@pytest.mark.parametrize(("width", "larger"), [(9.0, True), (7.0, False), (4.0, False)])
def test_larger_since_the_visit_is_told_under_the_plan_too(width, larger):
    """Growing already then, so that growing more is no new sign."""
    scab = {"score": 1, "scab": "brown"}
    looks = [
        look(ago, left={**scab, "scab_mm": mm}) for ago, mm in ((12, 3.0), (9, 6.0), (2, width))
    ]
    plan = VetPlan(day(8), day(-5), "Vet’s plan: soak")
    found = stands(*looks, plans={"left": plan, "right": plan})
    assert found.plans == (plan,)
    assert (found.feet["left"].because == ("Tell the vet: larger",)) is larger
    assert found.advice is (Advice.ASK if larger else Advice.HOME)


# --- What the rules are told


def told(*looks: Look, foot="left", **more):
    return stands(*looks, **more).feet[foot].situation


def test_how_long_and_how_often_is_told():
    found = told(look(300, left=MILD), look(290, left=CLEAR), look(12, left=MILD, gait=2))
    assert (found.days_affected, found.days_limping, found.cases_in_foot_12_months) == (12, 12, 2)
    # A case that ended more than a year ago is not of these twelve months.
    found = told(look(380, left=MILD), look(370, left=CLEAR), look(12, left=MILD))
    assert (found.cases_in_foot_12_months, found.days_limping) == (1, None)


def test_a_check_that_did_not_ask_neither_begins_nor_ends_a_limp():
    looks = look(9, left=MILD, gait=1), look(6, left=MILD), look(3, left=MILD, gait=2)
    assert told(*looks).days_limping == 9
    assert told(*looks, look(5, left=MILD, gait=0)).days_limping == 3
    assert told(*looks, look(1, left=MILD, gait=0)).days_limping is None


@pytest.mark.parametrize(
    ("weights", "change"),
    [
        ([(30, 2000), (2, 1800)], -0.1),
        # A month apart, as weighed on the first of each; the heaviest of the month counts.
        ([(33, 2000), (20, 2200), (2, 1980)], -0.1),
        ([(34, 2000), (2, 1000)], None),
        ([(50, 2000), (29, 1000)], None),
        ([(2, 2000)], None),
        ([], None),
    ],
)
def test_the_change_of_weight_is_that_of_four_weeks(weights, change):
    found = told(look(3, left=MILD), weights=[(day(ago), grams) for ago, grams in weights])
    assert found.weight_change_28_days == (change and pytest.approx(change))
    assert found.weight_g == (weights[-1][1] if weights else None)


def test_a_foot_that_was_scored_clear_but_shows_a_sign_is_a_reason():
    found = stands(look(2, left=CLEAR, right={"score": 0, "cold_or_dark": True}))
    assert found.feet["right"].state == "clear" and found.feet["left"].because == ()
    assert reasons(found) == ["right foot: the foot is cold or dark"]
    assert found.urgent


def test_what_is_left_alone_does_not_outdo_what_is_to_be_checked_again():
    well = {"manner": "bright", "eating": "yes", "gait": 0}
    left_alone = look(2, left=MILD, right=CLEAR, **well)
    assert stands(left_alone).advice is Advice.LEAVE
    limps = look(1, left=CLEAR, right=CLEAR, gait=1)
    assert stands(limps).advice is Advice.LOOK and stands(limps).because
