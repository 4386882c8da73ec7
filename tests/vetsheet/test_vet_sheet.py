"""What the vet sheet says: every fact once, in the period, nothing cut in silence."""

import re
from datetime import date, timedelta

import pytest
from hypothesis import given as any_of
from hypothesis import strategies as st

from flockcare.birds.models import Bird, BirdState, Weighing
from flockcare.care.models import CarePlan
from flockcare.care.situation import worked_out
from flockcare.drawing.timeline import Window
from flockcare.feet.cases import cases_of_bird
from flockcare.feet.layers import checks
from flockcare.feet.scales import CLINICAL_GRADE
from flockcare.housing.models import Event, House, Stay
from flockcare.people.deletion import FORMER
from flockcare.people.models import Byline
from flockcare.vetsheet.dates import age_in_words, days_in_words, newest, ordinal, spread
from flockcare.vetsheet.gather import sheet
from flockcare.vetsheet.names import LONGEST, Nameless, Names
from flockcare.vetsheet.records import Period, keepers_of, photo_in, read, subjects
from tests.people.rows import READ_PAGE, same_queries, seen
from tests.vetsheet.vet_rows import at, full_bird, look, many_records, measure, photo, step

TODAY = date(2026, 8, 25)
YEAR = Period(date(2026, 1, 1), TODAY)


@pytest.fixture
def bird(cast):
    return full_bird(cast.flock, cast.owner, cast.keeper)


def made(bird, period=YEAR, *, nameless=False, today=TODAY, **asked):
    bird = subjects(bird.flock).select_related("flock").get(pk=bird.pk)
    records = read(bird, period)
    names = Nameless(keepers_of(bird.flock, records)) if nameless else Names()
    stands = worked_out(bird.flock, today)
    return sheet(records, stands, names, made_on=today, made_by="Owner", **asked)


def said(facts) -> dict:
    return {fact.label: fact.words for fact in facts}


# --- Her


def test_who_she_is(bird):
    found = made(bird)
    assert found.who == (
        "Domestic hen, female; Sussex; age 2 years 5 months (hatched 5 Mar 2024); 3.25 kg on "
        "1 Aug 2026; band green 12."
    )
    facts = said(found.identity)
    assert facts["Weight class"] == "heavy"
    assert facts["Previous injuries"] == "“Old break of the left leg, ½ turn outwards”"


def test_weights_against_the_breed(bird):
    found = made(bird)
    # 3250 / 3180 g
    assert "3.25 kg on 1 Aug 2026, 102% of the breed’s adult weight" in found.weight
    assert found.weights.startswith("1 Feb 2026: 3.05 kg by Keeper; 1 May 2026: 3.12 kg")


def test_a_growing_bird_and_a_cock_are_not_compared(bird):
    """The weight of a grown hen says nothing about either."""
    Bird.objects.filter(pk=bird.pk).update(hatched="2026-05")
    assert "3.25 kg on 1 Aug 2026 (still growing)." in made(bird).weight
    Bird.objects.filter(pk=bird.pk).update(hatched="2024", sex="cock")
    assert made(bird).weight.endswith("3.25 kg on 1 Aug 2026.")


def test_who_weighed_her_is_named_also_without_an_account(bird):
    weighing = bird.weighing_set.get(on=date(2026, 5, 1))
    Weighing.objects.filter(pk=weighing.pk).update(keeper=None)
    Byline.objects.create(flock=bird.flock, record=weighing.pk, field="keeper", name="Uncle Ted")
    assert "1 May 2026: 3.12 kg by Uncle Ted; 1 Aug" in made(bird).weights


def test_several_former_keepers_do_not_become_one(bird):
    look(bird, at(8, 20), keeper_name=FORMER, note="the former ark")
    for nameless, by in ((False, FORMER), (True, "a keeper")):
        *_, words, who = made(bird, nameless=nameless).cases[0].looks.rows[-1]
        assert (words, who) == ("clear; “the former ark”", by)


def test_a_bird_of_whom_nothing_is_known(cast):
    bird = Bird.objects.create(flock=cast.flock, name="Nobody")
    found = made(bird, Period(None, TODAY))
    assert found.who == (
        "Domestic hen, female; breed not known; age not known; not weighed in this period."
    )
    # Silence is not to be read as “normal”.
    asked = said(found.asked)
    silent = ("Eating", "Droppings", "In lay", "Vaccination", "Mites or worms treated")
    assert {asked[label] for label in silent} == {"not recorded"}
    assert found.history == ("Medicines, antibiotics too: none recorded in this period.",)
    assert not found.key_photos.groups
    assert found.looked == "Her feet were not checked in this period."
    assert found.weight == "Not weighed in this period."
    assert not (found.cases or found.given or found.photos.groups or found.housing)
    assert said(found.holds)["Eggs and meat"] == (
        "No withdrawal period running (keepers’ record, 25 Aug 2026)."
    )


@pytest.mark.parametrize(
    ("hatched", "words"),
    [
        ("2026-08-20", "5 days"),
        ("2026-07-24", "1 month"),
        ("2025-08-25", "1 year"),
        ("2025-08-26", "11 months"),
        ("2024-06", "about 2 years 2 months"),
        ("2021", "about 5 years"),
        ("2026", "less than a year"),
    ],
)
def test_age(hatched, words):
    assert age_in_words(hatched, TODAY) == words


# --- Feet


def test_cases_with_scores_grade_and_dates(bird):
    found = made(bird)
    open_case, healed = found.cases
    assert open_case.title == "Right foot: sore since 1 Aug 2026, not seen clear since"
    assert open_case.facts == "Worst score 2; last clear on 1 Jul 2026."
    (row,) = open_case.looks.labelled
    cells = dict(row)
    assert cells["Score"] == "2" and cells["Clinical grade"] == "III" and cells["By"] == "Keeper"
    assert cells["What was seen"] == (
        "main pad and toe II (inner), black scab 8 mm, swelling seen from above, hot; "
        "gait 3 obvious, dull"
    )
    assert healed.title == "Left foot: sore 1 Mar 2026"
    assert "clear again on 15 Mar 2026; lasted 0 to 42 days" in healed.facts
    # No look at it had a grade, so there is no empty column.
    assert healed.looks.heads == ("Date", "Score", "What was seen", "By")
    assert [row[1] for row in healed.looks.rows] == ["1", "0"]


def test_of_a_sore_that_one_check_saw_nobody_says_how_long_it_lasted_at_least(bird):
    look(bird, at(1, 5), left={"score": 1})
    first = made(bird).cases[-1]
    assert first.facts == "Worst score 1; sore when first checked; clear again on 1 Feb 2026."


def test_a_case_that_may_have_begun_in_the_period_is_told_as_on_her_timeline(bird):
    period = Period(date(2026, 2, 1), date(2026, 2, 20))
    found = [case.title for case in made(bird, period).cases]
    window = Window(period.first, period.last, bird.flock.zone)
    drawn = [case for case in cases_of_bird(bird) if case.touches(window)]
    # Clear on 1 February, sore on 1 March.
    assert len(found) == len(drawn) == 1 and found[0].startswith("Left foot: sore 1 Mar")


def test_clear_looks_are_counted(bird):
    assert made(bird).looked == (
        "Her feet were checked 5 times in this period, first on 1 Feb 2026, last on 1 Aug 2026; "
        "both feet were clear 3 times."
    )


def test_one_look_is_told_as_one(bird):
    assert made(bird, Period(date(2026, 7, 20), TODAY)).looked == (
        "Her feet were checked once in this period, on 1 Aug 2026; both feet were never clear."
    )


def test_a_foot_is_worded_as_on_her_timeline(bird):
    window = Window(YEAR.first, YEAR.last, bird.flock.zone)
    sore = next(mark for mark in checks(bird, window) if mark.lane == "right" and mark.value)
    assert sore.label.startswith("right foot 2 swollen, main pad and toe II (inner), black scab")
    (row,) = made(bird).cases[0].looks.labelled
    assert dict(row)["What was seen"].startswith(sore.label.removeprefix("right foot 2 swollen, "))


def test_grades_have_the_published_wording_and_say_what_they_were_made_for(bird):
    scales = {scale.name: scale for scale in made(bird).scales}
    grade = scales["Clinical grade (a scale made for raptors)"]
    # BSAVA Manual of Raptors, Pigeons and Passerine Birds (2008), figure 16.4, grade III.
    assert [(one.step, one.wording) for one in grade.steps] == [
        ("III", CLINICAL_GRADE.step(3).definition)
    ]
    assert "infected" in grade.steps[0].wording.lower() and grade.source == "BSAVA manual (2008)"
    assert [step.step for step in scales["Lesion score"].steps] == ["0", "1", "2"]
    assert "made for broilers" in " ".join(scales)


def test_no_grade_scale_where_no_grade_was_given(cast):
    bird = Bird.objects.create(flock=cast.flock, name="Plain")
    look(bird, at(8, 1), left=1)
    assert [scale.name for scale in made(bird).scales] == ["Lesion score"]


def test_a_look_in_a_case_is_not_told_twice(bird):
    signs = made(bird).signs.rows
    assert [row[0] for row in signs] == ["1 Jul 2026"]
    assert "gait 2 definite: “Jürgen says “she limps ≤ 2 steps””" in signs[0][1]


def test_a_note_about_both_feet_is_told_once(cast):
    bird = Bird.objects.create(flock=cast.flock, name="Twofold")
    look(bird, at(8, 1), left=1, right=1, gait=2, note="sits a lot")
    found = made(bird)
    told = [row[2] for case in found.cases for row in case.looks.rows]
    assert told == [
        "no details recorded; gait 2 definite: “sits a lot”",
        "no details recorded",
    ]
    assert not found.signs.rows


def test_the_period_ends_and_begins_by_the_day_of_the_flock(cast):
    """In London 23:30 UTC of 30 June is already the first of July."""
    bird = Bird.objects.create(flock=cast.flock, name="Late")
    look(bird, at(6, 30, 23).replace(minute=30), left=1)
    assert made(bird, Period(date(2026, 7, 1), TODAY)).cases[0].looks.rows
    assert not made(bird, Period(date(2026, 6, 1), date(2026, 6, 30))).cases


def test_a_case_is_told_whole_even_where_only_its_end_lies_in_the_period(bird):
    found = made(bird, Period(date(2026, 3, 10), date(2026, 4, 1)))
    (case,) = found.cases
    assert "sore 1 Mar 2026" in case.title and "clear again on 15 Mar 2026" in case.facts
    assert [row[0] for row in case.looks.rows] == ["15 Mar 2026"]


def test_cases_are_those_of_her_page(bird):
    """Told from other queries: each must come to the same cases."""
    many_records(bird, years=2)
    bird = subjects(bird.flock).select_related("flock").get(pk=bird.pk)
    theirs = {(case.foot, case.episode) for case in cases_of_bird(bird)}
    assert {(case.foot, case.episode) for case in read(bird, Period(None, TODAY)).cases} == theirs


# --- Measured


def test_measured_with_uncertainty_and_change_within_one_sore(bird):
    taken = photo(bird, at(8, 24), foot="right", seed=9)
    measure(taken, area=30.0)
    rows = made(bird).measured.rows
    # The photo of 20 July was taken after the last clear look, within the open case's bounds.
    assert [row[0] for row in rows] == ["20 Jul 2026", "20 Aug 2026", "24 Aug 2026"]
    assert rows[0][2] == "40 ± 2 mm²" and rows[0][5] == "the first of this sore"
    # (60 − 40) / 40; beyond √(2.4² + 3.6²) = 4.3
    assert rows[1][5] == "larger by 50%"
    assert rows[2][5] == "smaller by 50%"
    assert rows[0][4] == "known length, 20 mm"


def test_two_sores_are_not_compared(bird):
    taken = photo(bird, at(3, 2), foot="left", seed=10)
    measure(taken, area=5.0)
    look(bird, at(8, 10), left=1)
    measure(photo(bird, at(8, 11), foot="left", seed=11), area=50.0)
    rows = [row for row in made(bird).measured.rows if row[1] == "left"]
    assert [row[5] for row in rows] == ["the first of this sore"] * 2


def test_nothing_is_compared_across_a_case_that_healed(bird):
    """Neither photo was taken in a case, but one lies between them."""
    for seed, when in ((14, at(1, 20)), (15, at(3, 20))):
        measure(photo(bird, when, foot="left", seed=seed))
    rows = [row for row in made(bird).measured.rows if row[1] == "left"]
    assert [row[5] for row in rows] == ["the first of this sore"] * 2


def test_what_has_no_day_is_not_compared(bird):
    """Nobody knows which of two came first, so neither became larger or smaller."""
    for seed, taken, precision in ((12, None, "unknown"), (13, at(8, 1), "month")):
        measure(photo(bird, taken, foot="right", seed=seed, taken_precision=precision), area=5.0)
    rows = made(bird, Period(None, TODAY)).measured.rows
    assert [(row[0], row[5]) for row in rows] == [
        ("20 Jul 2026", "the first of this sore"),
        ("August 2026, day not known", "smaller by 88%"),
        ("20 Aug 2026", "not compared: order not known"),
        ("date not known", "not compared: date not known"),
    ]
    # Those whose day is known; the fourth of this year would stand on a day that nobody named.
    assert len(made(bird).timeline.lanes()["photos"]) == 3


# --- Given


def test_everything_given_with_dates_and_who(bird):
    medicine, *others = made(bird).given
    assert medicine.what == "Medicine: “Tablets from the vet”, right foot, as the vet said"
    assert medicine.dates == ("2 Aug 2026, given until 9 Aug 2026, by Owner",)
    assert medicine.remarks == ("batch B-12; “half a tablet as the vet said”",)
    dates = {one.what: one.dates for one in others}
    assert dates["Dressing changed: “gauze”, left foot, 4 times"] == ("2–4, 9 Mar 2026, by Keeper",)
    assert dates["Soaked: “warm water”, left foot"] == ("1 Mar 2026, by Owner",)


def test_days_nobody_entered_are_unknown_and_never_none(bird):
    medicine = made(bird).given[0]
    assert medicine.holds == (
        "without eggs: 10 days; without meat: days not known, as the vet says"
    )
    holds = said(made(bird, today=date(2026, 8, 12)).holds)
    # The last giving was on 9 August; ten days after it end on the 19th.
    assert holds["Eggs and meat"] == (
        "Egg withdrawal: don’t eat her eggs up to and including 19 Aug; meat withdrawal: don’t eat "
        "her meat until the withdrawal days are known (“Tablets from the vet”)"
    )


def test_a_hold_from_before_the_period_is_still_told(bird):
    later = made(bird, Period(date(2026, 8, 20), TODAY))
    assert not later.given
    assert "her meat until the withdrawal days" in said(later.holds)["Eggs and meat"]


def test_a_course_that_was_still_given_in_the_period_is_told(bird):
    (medicine,) = made(bird, Period(date(2026, 8, 9), TODAY)).given
    assert medicine.dates == ("2 Aug 2026, given until 9 Aug 2026, by Owner",)
    assert not made(bird, Period(date(2026, 8, 10), TODAY)).given


def test_what_a_keeper_gave_is_not_called_the_vets(bird):
    step(bird, at(8, 21), "medicine", product="Powder", decided_by="keeper")
    step(bird, at(8, 22), "medicine", product="Drops")
    told = [one.what for one in made(bird).given]
    assert "Medicine: “Powder”, left foot" in told and "Medicine: “Drops”, left foot" in told


def test_plans_in_force_are_listed_and_others_not(bird, cast):
    """As Today says it: the day of making decides, and a stopped plan is none."""

    def plan(kind, **more):
        parts = [{"kind": kind, "product": "", "amount": None}]
        said = {"foot": "left", "every_days": 3, "since": TODAY - timedelta(4), "until": TODAY}
        plan = CarePlan(flock=bird.flock, bird=bird, **said | {"parts": parts} | more)
        plan.logged_at = at(8, 21)
        plan.full_clean()
        plan.save()

    parts = [{"kind": "medicine", "product": "Owner’s tablets", "amount": None}]
    plan("soaked")
    plan("medicine", parts=parts, foot="", until=TODAY + timedelta(3), decided_by="vet")
    plan("rinsed", stopped_on=TODAY - timedelta(1), stopped_because="It stings.")
    plan("dressing changed", since=TODAY - timedelta(60), until=TODAY - timedelta(30))
    soak, medicine = sorted(made(bird, nameless=True).plans, key=lambda one: one.what)
    assert soak.what == "Left foot: soak, every 3 days"
    assert soak.dates == ("from 21 Aug up to and including 25 Aug", "next on 21 Aug 2026")
    assert medicine.what == "Medicine, Keeper A’s tablets, every 3 days, as the vet said"
    assert medicine.dates[0] == "from 21 Aug up to and including 28 Aug"
    assert made(bird, today=TODAY + timedelta(20)).plans == ()


def test_why_she_comes_stands_on_top(bird):
    """The question, how many others are affected, and whether eggs are eaten or sold."""
    asked = said(made(bird).asked)
    assert set(asked["Question to the vet"]) == {"_"}
    assert set(asked["Eggs eaten or sold"]) == {"_"}
    assert asked["Others affected"] == "she is the only bird"
    ark, dates = House.objects.get(name="Ark"), {"Late": 8, "Before": 1, "Well": 8, "Gone": 8}
    for name, month in dates.items():
        other = Bird.objects.create(flock=bird.flock, name=name)
        look(other, at(month, 10), left=int(name != "Well"))
        look(other, at(8, 20))
        Stay.objects.create(flock=bird.flock, bird=other, house=ark)
    Bird.objects.filter(name="Gone").update(left="2026-08-11", left_reason="died")
    away = Bird.objects.create(flock=bird.flock, name="Away")
    look(away, at(8, 10), left=2)
    step(bird, at(8, 1), "vet", question="Is it bone?", note="No.", plan="Soak daily.")
    plan = {"plan": "Soak twice a day.", "decided_by": "vet", "foot": "right"}
    plan["plan_until"] = date(2026, 9, 17)
    step(bird, at(8, 20), "vet", question="May she lay?", **plan)
    found = made(bird)
    asked = said(found.asked)
    assert asked["Others affected"] == (
        "2 of 4 other birds in Ark: sore foot in the 30 days to 25 Aug 2026; 1 died"
    )
    # Both were answered at the visit, by word or by plan.
    assert set(asked["Question to the vet"]) == {"_"}
    # Nothing new was seen since the first, but nobody named how long its plan holds.
    second, first = found.now[-2:]
    assert second == (
        "Vet asked on 20 Aug. Vet’s plan for the right foot until 17 Sep: Soak twice a day."
    )
    assert first.endswith("Soak daily. The plan has no last day, so the advice stands: vet today.")
    assert "asked “Is it bone?”; keeper’s note “No.”; plan “Soak daily.”" in str(found.given)


def test_the_sheet_of_a_cock_speaks_of_him(bird):
    """Alone in his house, with more stays than are shown; and where nothing of him is known."""
    Bird.objects.filter(pk=bird.pk).update(sex="cock")
    lonely = Bird.objects.create(flock=bird.flock, name="Rue", sex="cock")
    sheets = [made(bird), made(lonely)]
    assert sheets[1].looked == "His feet were not checked in this period."
    assert sheets[0].looked.startswith("His feet were checked 5 times")
    Bird.objects.exclude(pk=bird.pk).delete()
    sheets.append(made(bird))
    assert said(sheets[2].asked)["Others affected"] == "he is the only bird"
    Stay.objects.filter(bird=bird).delete()
    house, days = House.objects.create(flock=bird.flock, name="Pen"), range(10)
    for day in days:
        since = TODAY - timedelta(40 - day)
        until = since + timedelta(1) if day != days[-1] else None
        Stay.objects.create(flock=bird.flock, bird=bird, house=house, since=since, until=until)
    Bird.objects.create(flock=bird.flock, name="Elsewhere")
    sheets.append(made(bird))
    assert said(sheets[3].asked)["Others affected"].startswith("he is alone in Pen; ")
    assert sheets[3].housing_left_out.startswith("The newest 6 of 10 houses he lived in")


@pytest.mark.parametrize(
    ("stay", "left", "words"),
    [
        # 27 July is the first of those days.
        ({"until": date(2026, 8, 25)}, {}, "1 of 1 other bird"),
        ({"until": date(2026, 7, 28)}, {}, "1 of 1 other bird"),
        ({"until": date(2026, 7, 27)}, {}, ""),
        ({"since": date(2026, 8, 25)}, {}, "1 of 1 other bird"),
        ({"since": date(2026, 8, 25), "until": date(2026, 8, 25)}, {}, ""),
        ({"since": date(2026, 8, 26)}, {}, ""),
        ({}, {"left": "2026-08-25", "left_reason": "died"}, "1 died"),
        ({}, {"left": "2026-08", "left_reason": "died"}, "1 died"),
        ({}, {"left": "2026-08-11", "left_reason": "culled for the feet"}, "1 put down"),
        ({}, {"left": "2026-07", "left_reason": "died"}, "to 25 Aug 2026"),
        ({}, {"left": "2026-07-26", "left_reason": "died"}, ""),
    ],
)
def test_who_shared_her_house_of_late_counts(bird, stay, left, words):
    """As elsewhere, the day of a move counts for the new house alone."""
    other = Bird.objects.create(flock=bird.flock, name="Sage", **left)
    look(other, at(8, 10), left=1)
    Stay.objects.create(flock=bird.flock, bird=other, house=House.objects.get(name="Ark"), **stay)
    told = said(made(bird).asked)["Others affected"]
    assert ("1 of 1 other bird in Ark" in told) is bool(words) and words in told
    if words.startswith("to "):
        assert told.endswith(words)


def test_where_no_house_is_known_the_flock_is_told_of(bird):
    Stay.objects.all().delete()
    look(Bird.objects.create(flock=bird.flock, name="Away"), at(8, 10), left=2)
    assert said(made(bird).asked)["Others affected"] == (
        "1 of 1 other bird in the flock had a sore foot at the last check"
    )


def test_a_question_stands_with_its_day_until_it_is_answered(bird):
    """Asked for this sheet, or at a visit of which nobody recorded an answer."""
    step(bird, at(8, 20), "vet", question="May she lay?")
    assert said(made(bird).asked)["Question to the vet, 20 Aug 2026"] == "“May she lay?”"
    asked = said(made(bird, question="Is it deep?", asked_on=date(2026, 8, 24)).asked)
    assert asked["Question to the vet, 24 Aug 2026"] == "“Is it deep?”"
    assert "May she lay?" not in str(asked)
    # Answered later, without the question.
    step(bird, at(8, 22), "vet", found="Grade II")
    assert set(said(made(bird).asked)["Question to the vet"]) == {"_"}


def test_what_a_call_came_to_names_nobody_who_need_not_be_known(bird):
    step(bird, at(8, 24), "vet", foot="", note="Owner rang: bring her on Friday.")
    who = "Owner", "Keeper A"
    for nameless, by in zip((False, True), who, strict=True):
        told = f"Vet asked on 24 Aug: {by} rang: bring her on Friday. The advice stands: "
        assert made(bird, nameless=nameless).now[-1].startswith(told)


def test_what_is_read_first(bird):
    """Of how many cases this is one, what was given, and the foot at first and last."""
    step(bird, at(3, 1, year=2025), "medicine", product="Old drops")
    step(bird, at(3, 10, year=2025), "medicine", product="old drops")
    step(bird, at(6, 1, year=2025), "medicine", product="Old drops")
    found = made(bird)
    assert found.history == (
        # Of the two cases that of the right foot goes on. Nine days apart is one course.
        "2nd case (1 left, 1 right) since Mar 2026; medicines before: 2.",
        "Last care at home, medicines aside: left foot: dressing changed, gauze, 9 Mar 2026.",
        "Medicines: “Tablets from the vet” (2 Aug 2026).",
    )
    (group,) = found.key_photos.groups
    assert [photo.caption[0] for photo in group.photos] == [
        "First measured, 20 Jul 2026",
        "Latest, 20 Aug 2026",
    ]


def test_how_a_case_began_is_told_however_long_it_is(cast):
    bird = Bird.objects.create(flock=cast.flock, name="Long")
    look(bird, at(7, 1))
    for number in range(10):
        look(bird, at(7, 2 + number), left=1)
    table = made(bird).cases[0].looks
    assert [row[0] for row in table.rows[:2]] == ["2 Jul 2026", "6 Jul 2026"]
    assert table.rows[-1][0] == "11 Jul 2026" and len(table.rows) == 7
    assert table.left_out == "The first and the newest 6 of 10 checks of this sore are shown."


def test_what_is_known_of_eating_lay_and_worms_has_its_day(bird):
    look(bird, at(8, 3), eating="no", droppings="odd")
    look(bird, at(8, 4), eating="yes")
    BirdState.objects.create(flock=bird.flock, bird=bird, kind="in lay", since=date(2026, 8, 1))
    ark, barn = House.objects.get(name="Ark"), House.objects.create(flock=bird.flock, name="Shed")
    for house, day in ((barn, 9), (ark, 7), (None, 6)):
        Event.objects.create(
            flock=bird.flock, house=house, on=date(2026, 8, day), kind="parasites", what="powder"
        )
    asked = said(made(bird).asked)
    assert asked["Eating"] == "yes, 4 Aug 2026" and asked["Droppings"] == "abnormal, 3 Aug 2026"
    assert asked["In lay"] == "since 1 Aug 2026"
    assert asked["Mites or worms treated"] == "7 Aug 2026 “powder”"


def test_a_cock_does_not_lay(bird):
    Bird.objects.filter(pk=bird.pk).update(sex="cock")
    found = made(bird)
    assert found.who.startswith("Domestic cock, male; ") and "In lay" not in said(found.asked)


@pytest.mark.parametrize(
    ("count", "words"),
    [(1, "1st"), (2, "2nd"), (3, "3rd"), (4, "4th"), (11, "11th"), (12, "12th"), (22, "22nd")],
)
def test_ordinals(count, words):
    assert ordinal(count) == words


def test_a_prescription_is_no_photo_of_a_foot(bird):
    count = made(bird).photos.count
    paper = photo(bird, at(8, 20), foot="", seed=77, of_house=True)
    assert made(bird).photos.count == count
    assert not photo_in(paper, bird, YEAR)


def test_nought_days_are_told_as_entered(bird):
    step(bird, at(8, 20), "ointment", product="salve", egg_days=0, meat_days=0, days_from="label")
    group = next(one for one in made(bird).given if "salve" in one.what)
    assert group.holds == "without eggs: 0 days; without meat: 0 days, as the label says"


# --- Housing


def test_housing_in_short(bird):
    facts = made(bird).housing
    assert [(fact.label, fact.words) for fact in facts] == [
        ("Lived in", "Barn, as long as is known until 1 Apr 2026"),
        ("Lived in", "Ark, from 1 Apr 2026"),
        ("Top roost", "roost, height 60 cm"),
        ("Changed 1 Jun 2026", "Ark: Top roost 120 → 60 cm; “Lowered for the heavy ones”"),
    ]


def test_many_moves_are_cut_aloud(bird):
    ark = House.objects.get(name="Ark")
    for number in range(8):
        days = {"since": date(2026, 4, 2 + number), "until": date(2026, 4, 3 + number)}
        Stay.objects.create(flock=bird.flock, bird=bird, house=ark, **days)
    found = made(bird)
    assert sum(fact.label == "Lived in" for fact in found.housing) == 6
    assert found.housing_left_out == "The newest 6 of 10 houses she lived in are shown."


# --- Photos


def test_photos_are_in_order_and_at_one_scale(bird):
    photos = made(bird).photos
    assert [group.title for group in photos.groups] == ["Left foot", "Right foot"]
    left, right = (group.photos for group in photos.groups)
    assert [one.caption[0] for one in right] == ["20 Jul 2026", "20 Aug 2026"]
    assert left[0].caption[1] == "not to scale" and not left[0].measured
    assert right[0].caption[2] == "“after a bath”"
    assert f"{photos.paper_mm_per_cm:g} mm on paper are 1 cm of the foot" in photos.scale_words
    assert photos.span_mm >= 3 * 9.0  # Three times the longest sore.


def test_a_photo_without_a_date_belongs_to_all_the_time_only(bird):
    photo(bird, None, seed=20, taken_precision="unknown")
    assert made(bird).photos.count == 3
    found = made(bird, Period(None, TODAY)).photos
    assert found.count == 4 and found.groups[0].photos[-1].caption[0] == "date not known"


# --- Long histories


def test_whatever_is_left_out_is_said_with_its_number(bird):
    many_records(bird, years=4, photos=30)
    for number in range(14):
        on = date(2026, 1, 1) + timedelta(9 * number)
        Weighing.objects.get_or_create(
            bird=bird, on=on, defaults={"flock": bird.flock, "grams": 3000}
        )
    found = made(bird, Period(None, TODAY))
    # 30 photos of these records and 3 before.
    assert found.photos.left_out.startswith("24 of 33 photos are printed")
    assert found.photos.count == 24
    weighings = bird.weighing_set.count()
    assert found.weights_left_out == f"The newest 10 of {weighings} weighings are shown."
    told = len(found.cases) + len(found.other_cases.rows)
    # Counted by the feet pages, in a query of their own.
    assert told == len(cases_of_bird(bird)) and not found.other_cases.left_out
    remarks = [text for one in found.given for text in one.remarks]
    assert any(" remarks are shown." in text for text in remarks)


def test_where_photos_are_cut_each_foot_keeps_its_share(cast):
    """As they come when both feet are taken at every look."""
    bird = Bird.objects.create(flock=cast.flock, name="Twofold")
    for number in range(47):
        when = at(7, 1) + timedelta(number // 2, minutes=number % 2)
        photo(bird, when, foot=("left", "right")[number % 2], seed=number, size=(320, 240))
    groups = made(bird).photos.groups
    assert [(group.title, len(group.photos)) for group in groups] == [
        ("Left foot", 12),
        ("Right foot", 12),
    ]
    assert made(bird).photos.left_out == (
        "24 of 47 photos are printed, of each foot evenly over the time; 23 more in the record."
    )


@any_of(st.lists(st.integers(), max_size=60), st.integers(2, 30))
def test_spread_keeps_the_first_the_last_and_the_order(rows, most):
    rows = list(enumerate(rows))
    kept = spread(rows, most)
    assert len(kept) == min(most, len(rows)) and len(set(kept)) == len(kept)
    assert kept == sorted(kept)
    assert kept[:1] == rows[:1] and kept[-1:] == rows[-1:]


def test_newest_says_nothing_where_nothing_is_missing():
    assert newest([1, 2], 2, "things") == ([1, 2], "")
    assert newest([1, 2, 3], 2, "things") == ([2, 3], "The newest 2 of 3 things are shown.")


@any_of(st.lists(st.dates(date(2023, 1, 1), date(2026, 12, 31)), min_size=1, max_size=40))
def test_every_day_can_be_read_back_from_the_words(days):
    """Undone by a reader of its own: months once, runs with a dash, counts in brackets."""
    read_back = []
    for part in days_in_words(days).split("; "):
        months, year = part.rsplit(" ", 1)
        for of_month in re.findall(r"(?:[\d–, ()×]+) [A-Z][a-z]{2}", months):
            numbers, month = of_month.strip(", ").rsplit(" ", 1)
            number = "JanFebMarAprMayJunJulAugSepOctNovDec".index(month) // 3 + 1
            for one in numbers.split(", "):
                first, last, times = re.fullmatch(r"(\d+)(?:–(\d+))?(?: \((\d+)×\))?", one).groups()
                for day in range(int(first), int(last or first) + 1):
                    read_back += [date(int(year), number, day)] * int(times or 1)
    assert read_back == sorted(days)


def test_long_notes_are_cut_aloud():
    quoted = Names().quoted("word " * 200)
    assert quoted.startswith("“word word") and len(quoted) < LONGEST + 60
    kept = len(quoted.split(" …”")[0]) - 1
    assert f"({999 - kept} letters more in the record)" in quoted


# --- The page


def test_who_may_look(cast, bird):
    base = f"/f/{cast.flock.pk}/birds/{bird.pk}/vet/"
    assert seen(cast, base) == READ_PAGE
    assert seen(cast, base + "sheet.pdf") == READ_PAGE
    assert seen(cast, f"/f/{cast.flock.pk}/vet/") == READ_PAGE
    assert 'id="share"' in cast.clients.keeper.get(base).text
    assert 'id="share"' not in cast.clients.viewer.get(base).text


def test_page_shows_the_sheet(cast, bird):
    page = cast.clients.viewer.get(f"/f/{cast.flock.pk}/birds/{bird.pk}/vet/?period=all").text
    for words in (
        "Vet sheet: Łopian",
        "Old break of the left leg, ½ turn outwards",
        "Right foot: sore since 1 Aug 2026, not seen clear since",
        "a scale made for raptors",
        "40 ± 2 mm²",
        "given until 9 Aug 2026, by Owner",
        "days not known",
        "Top roost 120 → 60 cm",
        "not to scale",
        "no diagnosis, no treatment advised, no dose",
    ):
        assert words in page, words
    # The measured photos, cut out at one scale, and once more on top.
    assert page.count("<image ") == 4


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("period=own", "Say from which day on."),
        ("period=own&first=2026-05-01&last=2026-04-01", "This is after the day it ends."),
        ("period=own&first=2126-05-01", "This is after the last day on record."),
        ("period=own&first=yesterday", "Enter a date, like"),
        ("period=own&first=0001-01-01", "That is too long ago."),
        ("period=7", "Choose one of these periods."),
    ],
)
def test_a_wrong_stretch_of_time_is_said_and_shows_the_usual_one(cast, bird, query, words):
    base = f"/f/{cast.flock.pk}/birds/{bird.pk}/vet/"
    page = cast.clients.owner.get(f"{base}?{query}")
    assert page.status_code == 422 and words in page.text and "Vet sheet: Łopian" in page.text
    answer = cast.clients.owner.get(f"{base}sheet.pdf?{query}")
    assert answer.status_code == 302 and answer.headers["Location"] == f"{base}?{query}"


@pytest.mark.parametrize(
    "days", ["first=2026-08-01&last=2026-08-01", "first=1950-01-01", "first=2026-01-31"]
)
def test_one_day_and_a_lifetime_can_be_drawn(cast, bird, days):
    base = f"/f/{cast.flock.pk}/birds/{bird.pk}/vet/"
    assert cast.clients.owner.get(f"{base}?period=own&{days}").status_code == 200
    assert cast.clients.owner.get(f"{base}sheet.pdf?period=own&{days}").status_code == 200


def test_own_stretch_leads_to_its_pdf_and_link(cast, bird):
    page = cast.clients.owner.get(
        f"/f/{cast.flock.pk}/birds/{bird.pk}/vet/?period=own&first=2026-03-01&last=2026-04-01"
    ).text
    assert "1 Mar – 1 Apr 2026" in page
    assert "sheet.pdf?period=own&amp;first=2026-03-01&amp;last=2026-04-01&amp;paper=a4" in page
    assert '<input type="hidden" name="first" value="2026-03-01">' in page


def test_the_sheet_of_a_bird_that_left_ends_with_that_day(cast, bird):
    Bird.objects.filter(pk=bird.pk).update(left="2026-08-05", left_reason="died")
    page = cast.clients.owner.get(f"/f/{cast.flock.pk}/birds/{bird.pk}/vet/").text
    assert "6 Aug 2025 – 5 Aug 2026" in page and "5 Aug 2026: died" in page


def test_letter_comes_first_where_inches_are_used(cast, bird):
    address = f"/f/{cast.flock.pk}/birds/{bird.pk}/vet/"
    page = cast.clients.owner.get(address).text
    assert page.index("PDF, A4") < page.index("PDF, Letter")
    cast.flock.units = "imperial"
    cast.flock.save()
    page = cast.clients.owner.get(address).text
    assert page.index("PDF, Letter") < page.index("PDF, A4")


def test_queries(cast, bird):
    url = f"/f/{cast.flock.pk}/birds/{bird.pk}/vet/?period=all"
    same_queries(cast.clients.owner, url, grow=lambda: many_records(bird, years=1, photos=20))


def test_ways_to_the_sheet(cast, bird):
    address = f"/f/{cast.flock.pk}/birds/{bird.pk}/vet/"
    assert (
        f'href="{address}"' in cast.clients.viewer.get(f"/f/{cast.flock.pk}/birds/{bird.pk}/").text
    )
    assert (
        f'href="/f/{cast.flock.pk}/vet/"'
        in cast.clients.viewer.get(f"/f/{cast.flock.pk}/more/").text
    )
    assert f'href="{address}"' in cast.clients.viewer.get(f"/f/{cast.flock.pk}/vet/").text
