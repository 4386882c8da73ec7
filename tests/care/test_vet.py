"""The vet's telephone, visits, and the plan that holds."""

import io
import re
from datetime import UTC, date, datetime, timedelta
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from flockcare.care.due import open_dues
from flockcare.care.holds import open_holds
from flockcare.care.models import CareStep, VetContact
from flockcare.care.rules import Advice
from flockcare.care.situation import standing, standings
from flockcare.care.vet import PLAN_DAYS, plan_for
from flockcare.feet.sorting import loose
from flockcare.people.models import Revision
from flockcare.photos.models import Photo
from tests.care.steps import day, form, look, step, today, url
from tests.people.rows import FORM_PAGE, NOT_WRITERS, READ_PAGE, refused, seen

# Numbers of 01632 are kept for stories (Ofcom's numbers for drama; from memory).
SURGERY = {"name": "Mill Lane", "telephone": "+44 (1632) 960 001", "note": "Nights: ring twice."}


def surgery(cast, **more) -> VetContact:
    return VetContact.objects.create(flock=cast.flock, **{**SURGERY, **more})


# --- The telephone


def test_the_first_vet_is_the_one_to_ring_and_another_takes_over(cast):
    cast.clients.keeper.post(url(cast, "vet_new"), SURGERY)
    first = VetContact.objects.get()
    assert (first.is_usual, first.tel) == (True, "+441632960001")
    other = {"name": "The Ark", "telephone": "01632 960002", "is_usual": "on"}
    cast.clients.owner.post(url(cast, "vet_new"), other)
    assert VetContact.objects.get(is_usual=True).name == "The Ark"
    assert VetContact.objects.filter(flock=cast.flock).usual().name == "The Ark"
    cast.clients.owner.post(url(cast, "vet", first.pk), {**SURGERY, "is_usual": "on"})
    assert VetContact.objects.get(is_usual=True) == first
    # The one stepped back in the same changeset as the other came first.
    changed = Revision.objects.filter(kind="care.VetContact").order_by("pk")
    assert len({one.changeset for one in changed}) == 2


def test_without_a_usual_one_the_first_by_name_is_rung(cast):
    surgery(cast, name="Yew")
    surgery(cast, name="Ash")
    assert VetContact.objects.filter(flock=cast.flock).usual().name == "Ash"


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"name": ""}, "required"),
        ({"telephone": ""}, "required"),
        ({"telephone": "ask Ros"}, "with its digits"),
        ({"name": "the ark"}, "a vet of that name already"),
    ],
)
def test_what_cannot_be_of_a_vet_is_said_at_its_field(cast, said, words):
    surgery(cast, name="The Ark")
    answer = cast.clients.keeper.post(url(cast, "vet_new"), {**SURGERY, **said})
    assert answer.status_code == 422 and words in answer.text and "ring twice" in answer.text
    assert VetContact.objects.count() == 1


def test_a_vet_that_is_deleted_leaves_the_visits_and_comes_back(cast, birds):
    vet = surgery(cast)
    visit = step(cast, birds["Dill"], "vet", contact=vet)
    cast.clients.keeper.post(url(cast, "vet_delete", vet.pk))
    visit.refresh_from_db()
    assert visit.contact is None and not VetContact.objects.exists()
    revision = Revision.objects.get(kind="care.VetContact")
    page = reverse("pages:bring_back", args=[cast.flock.pk, vet.pk, "vetcontact", revision.pk])
    cast.clients.keeper.post(page)
    assert VetContact.objects.get().telephone == SURGERY["telephone"]


def sick(cast, birds):
    look(cast, birds["Dill"], left={"score": 2, "swelling": "from above"})


def pages_that_say_call_a_vet(cast, birds):
    dill = birds["Dill"]
    yield url(cast, "list"), {}
    yield url(cast, "today_panel"), {"HX-Request": "true"}
    yield url(cast, "bird", dill.pk), {}
    yield url(cast, "rules"), {}
    check = dill.check_set.get()
    yield url(cast, "case", dill.pk, "left", check.pk), {}


def test_the_number_is_one_tap_away_wherever_a_vet_is_to_be_called(cast, birds):
    sick(cast, birds)
    surgery(cast, name="Far", telephone="01632 960009")
    surgery(cast, is_usual=True)
    for page, headers in pages_that_say_call_a_vet(cast, birds):
        text = cast.clients.viewer.get(page, headers=headers).text
        assert 'href="tel:+441632960001"' in text and "ring twice" in text, page
        assert "960009" not in text
    opening = url(cast, "opening", birds["Dill"].pk, "left")
    answers = dict.fromkeys(
        ("bright", "eating", "droppings", "belly", "lame", "from_above", "hot", "cold", "deep"),
        "yes",
    )
    assert "tel:+441632960001" in cast.clients.keeper.post(opening, answers).text


CALL = re.compile(r'class="button large( plain)?"\s+href="tel:')


@pytest.mark.parametrize(
    ("hot", "advice", "looks"), [(False, Advice.ASK, [" plain"]), (True, Advice.SOON, [""])]
)
def test_only_what_is_urgent_is_a_red_button(cast, birds, hot, advice, looks):
    surgery(cast)
    dill = birds["Dill"]
    for days_ago in (30, 1):
        look(cast, dill, days_ago=days_ago, left={"score": 1, "scab": "brown", "hot": hot})
    assert standing(dill, now=timezone.now()).advice is advice
    for page in (dill.get_absolute_url(), url(cast, "opening", dill.pk, "left")):
        assert CALL.findall(cast.clients.keeper.get(page).text) == looks, page


@pytest.mark.parametrize(("width", "looks"), [(9, [" plain"]), (None, [""])])
def test_today_is_red_for_what_is_urgent_alone(cast, birds, width, looks):
    """Larger under a vet’s plan is told the vet, and no more; a hot foot without one is urgent."""
    surgery(cast)
    dill = birds["Dill"]
    scab = {"score": 1, "scab": "brown"}
    for days_ago, mm in ((12, 3), (9, 6), (2, width)):
        sore = {**scab, "scab_mm": mm} if mm else {"score": 2, "hot": True}
        look(cast, dill, days_ago=days_ago, left=sore)
    if width:
        step(cast, dill, "vet", days_ago=8, plan="Soak.", plan_until=day(5), decided_by="vet")
    panel = cast.clients.keeper.get(url(cast, "today_panel"), headers={"HX-Request": "true"})
    assert CALL.findall(panel.text) == looks


def test_without_a_number_who_may_write_is_asked_for_it(cast, birds):
    sick(cast, birds)
    for page, headers in pages_that_say_call_a_vet(cast, birds):
        assert url(cast, "vet_new") in cast.clients.keeper.get(page, headers=headers).text, page
        assert url(cast, "vet_new") not in cast.clients.viewer.get(page, headers=headers).text


def test_much_bleeding_names_the_number(cast, birds):
    surgery(cast)
    said = form(kind="scab lifted", who=str(cast.keeper.pk), bleeding="much")
    page = url(cast, "step_new", birds["Dill"].pk)
    answer = cast.clients.keeper.post(page, said, follow=True)
    assert "call a vet now" in answer.text and 'href="tel:+441632960001"' in answer.text


def test_who_sees_and_changes_vets(cast):
    vet = surgery(cast)
    assert seen(cast, url(cast, "vets")) == READ_PAGE
    for name, args in (("vet_new", []), ("vet", [vet.pk])):
        assert seen(cast, url(cast, name, *args)) == FORM_PAGE
    for name in ("vet", "vet_delete"):
        assert refused(cast, url(cast, name, vet.pk)) == NOT_WRITERS


# --- Visits


def visit_form(cast, **said):
    return form(kind="vet", who=str(cast.keeper.pk), medicine_given="no", **said)


def test_a_visit_is_logged_with_what_was_asked_found_said_and_planned(cast, birds):
    vet = surgery(cast)
    page = url(cast, "step_new", birds["Dill"].pk)
    said = visit_form(
        cast,
        contact=str(vet.pk),
        question="Is it bone?",
        found="A soft core.",
        note="Not bone.",
        plan="Soak daily.",
        plan_until=day(10).isoformat(),
        decided_by="vet",
        laboratory="Culture sent.",
        again="day",
        next_due=day(7).isoformat(),
    )
    assert cast.clients.keeper.post(page, said).status_code == 302
    visit = CareStep.objects.get()
    assert (visit.on, visit.contact, visit.question, visit.found) == (
        *(today(), vet),
        *("Is it bone?", "A soft core."),
    )
    assert (visit.note, visit.plan, visit.plan_until) == ("Not bone.", "Soak daily.", day(10))
    assert (visit.decided_by, visit.laboratory, visit.next_due) == (
        *("vet", "Culture sent."),
        day(7),
    )
    shown = cast.clients.viewer.get(url(cast, "bird", birds["Dill"].pk)).text
    assert "Vet’s plan for the left foot until" in shown and "Soak daily." in shown


def test_the_next_visit_is_due_and_is_no_matter_of_one_tap(cast, birds):
    visit = step(cast, birds["Dill"], "vet", days_ago=3, next_due=day(0), medicine_given="no")
    (due,) = open_dues(cast.flock, now=timezone.now())
    assert (due.what, due.on) == ("next visit to the vet", day(0))
    page = cast.clients.keeper.get(url(cast, "list")).text
    assert "kind=vet" in page and "Log the visit" in page
    answer = cast.clients.keeper.post(url(cast, "done", visit.pk), follow=True)
    assert "One tap can’t log this." in answer.text
    assert CareStep.objects.count() == 1


def test_whether_a_medicine_was_given_has_to_be_said(cast, birds):
    page = url(cast, "step_new", birds["Dill"].pk)
    said = visit_form(cast, note="Typed.")
    del said["medicine_given"]
    answer = cast.clients.keeper.post(page, said)
    assert answer.status_code == 422 and "“not known” is an answer" in answer.text
    assert "Typed." in answer.text and not CareStep.objects.exists()


@pytest.mark.parametrize(
    ("given", "withdrawn"), [("no", False), ("yes", True), ("unknown", True), ("", True)]
)
def test_a_visit_withdraws_eggs_unless_no_medicine_was_given(cast, birds, given, withdrawn):
    """A visit from before anybody was asked says nothing, which is not known."""
    step(cast, birds["Dill"], "vet", days_ago=1, medicine_given=given)
    held = open_holds(cast.flock, now=timezone.now())
    assert bool(held) == withdrawn
    if held:
        assert held[0].unknown_products == ["a medicine from the vet"]
        assert not held[0].eggs_until


def test_the_days_of_what_the_vet_gave_are_counted(cast, birds):
    page = url(cast, "step_new", birds["Dill"].pk)
    said = visit_form(cast, product="Drops", egg_days="7", meat_days="28", days_from="vet")
    cast.clients.keeper.post(page, {**said, "medicine_given": "yes"})
    (held,) = open_holds(cast.flock, now=timezone.now())
    assert (held.eggs_until, held.meat_until) == (day(7), day(28))
    visit = CareStep.objects.get()
    # Said no after all: the days go with it.
    cast.clients.keeper.post(url(cast, "step", visit.pk), said)
    visit.refresh_from_db()
    assert (visit.egg_days, visit.days_from) == (None, "")
    assert not open_holds(cast.flock, now=timezone.now())


@pytest.mark.parametrize(("days_later", "told"), [(0, True), (3, True), (4, False), (-1, False)])
def test_a_medicine_with_an_entry_of_its_own_is_not_told_twice(cast, birds, days_later, told):
    step(cast, birds["Dill"], "vet", days_ago=9, medicine_given="yes")
    days = {"egg_days": 20, "meat_days": 0, "days_from": "vet"}
    step(cast, birds["Dill"], "medicine", days_ago=9 - days_later, product="Drops", **days)
    (held,) = open_holds(cast.flock, now=timezone.now())
    assert held.eggs_until == day(11 + days_later)
    assert bool(held.eggs_unknown) != told
    # Of another bird it says nothing; nor where nobody knows whether there was one.
    step(cast, birds["Mace"], "vet", days_ago=9, medicine_given="yes")
    step(cast, birds["Sorrel"], "vet", days_ago=9, medicine_given="unknown")
    step(cast, birds["Sorrel"], "medicine", days_ago=9, **days)
    unknown = {hold.bird.name for hold in open_holds(cast.flock, now=timezone.now())}
    assert unknown == {"Dill", "Mace", "Sorrel"}


@pytest.mark.parametrize("days_ago", [9, 740, 2000])
@pytest.mark.parametrize("past", [False, True])
def test_an_old_medicine_withdraws_nothing_again_by_its_visit(cast, birds, days_ago, past):
    """The days of the medicine are known; so are they of the visit at which it was given."""
    dill = birds["Dill"]
    days = {"egg_days": 4, "meat_days": 7, "days_from": "vet", "product": "Drops", "past": past}
    step(cast, dill, "vet", days_ago=days_ago, medicine_given="yes")
    step(cast, dill, "medicine", days_ago=days_ago, **days)
    assert not open_holds(cast.flock, now=timezone.now())
    # Whose medicine has no entry is not known, however long ago.
    step(cast, dill, "vet", days_ago=days_ago + 30, medicine_given="yes")
    (held,) = open_holds(cast.flock, now=timezone.now())
    assert len(held.eggs_unknown) == len(held.meat_unknown) == 1


def test_days_entered_for_a_visit_count_beside_those_of_its_medicine(cast, birds):
    """The latest counts; what is blank is what the medicine says."""
    dill = birds["Dill"]
    days = {"egg_days": 5, "meat_days": 20, "days_from": "vet"}
    step(cast, dill, "medicine", days_ago=2, product="Drops", **days)
    visit = step(cast, dill, "vet", days_ago=2, medicine_given="yes", egg_days=9, days_from="vet")
    (held,) = open_holds(cast.flock, now=timezone.now())
    assert (held.eggs_until, held.meat_until) == (day(7), day(18))
    assert not held.eggs_unknown and not held.meat_unknown
    # Another medicine is another giving.
    visit.product, visit.egg_days = "Tablets", None
    visit.save()
    (held,) = open_holds(cast.flock, now=timezone.now())
    assert held.eggs_unknown == held.meat_unknown == [visit]
    visit.product = "drops "
    visit.save()
    (held,) = open_holds(cast.flock, now=timezone.now())
    assert not held.eggs_unknown


def test_a_course_of_years_counts_from_its_last_day(cast, birds):
    days = {"egg_days": 9, "meat_days": 0, "days_from": "vet"}
    step(cast, birds["Dill"], "medicine", days_ago=900, given_until=day(-2), **days)
    (held,) = open_holds(cast.flock, now=timezone.now())
    assert held.eggs_until == day(7)


@pytest.mark.parametrize("given", ["", "unknown", "yes"])
def test_the_days_of_a_visit_can_be_entered_later(cast, birds, given):
    visited = step(cast, birds["Dill"], "vet", days_ago=2, medicine_given=given)
    page = url(cast, "holds")
    assert "Who named these days (needed)" in cast.clients.keeper.get(page).text
    assert "a medicine from the vet" in cast.clients.viewer.get(page).text
    said = {"product": "a medicine from the vet", "egg_days": "9", "meat_days": "0"}
    cast.clients.keeper.post(page, {**said, "days_from": "vet"})
    visited.refresh_from_db()
    assert (visited.egg_days, visited.medicine_given) == (9, "yes")
    (held,) = open_holds(cast.flock, now=timezone.now())
    assert held.eggs_until == day(7) and not held.eggs_unknown


def test_other_care_has_nothing_of_a_visit(cast, birds):
    vet = surgery(cast)
    page = url(cast, "step_new", birds["Dill"].pk)
    said = visit_form(cast, contact=str(vet.pk), plan="Soak.", question="Why?")
    cast.clients.keeper.post(page, {**said, "kind": "soaked", "plan_until": day(3).isoformat()})
    soaked = CareStep.objects.get()
    assert (soaked.contact, soaked.plan, soaked.question, soaked.plan_until) == (None, "", "", None)
    assert soaked.medicine_given == ""


# --- The plan that holds

LONDON = SimpleNamespace(zone=ZoneInfo("Europe/London"))


def visit(on: date, *, foot="", plan="", until=None, hour=9, decided_by="vet") -> CareStep:
    """Not stored: the plan is worked out from the visits alone."""
    made = CareStep(kind="vet", foot=foot, plan=plan, plan_until=until, decided_by=decided_by)
    made.at = datetime(on.year, on.month, on.day, hour, tzinfo=UTC)
    made._state.fields_cache["flock"] = LONDON
    return made


NOV = [date(2026, 11, number) if number else None for number in range(31)]


def test_a_plan_holds_up_to_and_including_its_last_day():
    visits = [visit(NOV[2], plan="Soak.", until=NOV[12])]
    assert plan_for(visits, "left", NOV[12]).words == "Vet’s plan until 12 Nov: Soak."
    assert plan_for(visits, "left", NOV[13]) is None
    assert plan_for(visits, "left", NOV[1]) is None
    assert plan_for([], "left", NOV[2]) is None


def test_a_plan_without_an_end_holds_for_four_weeks():
    visits = [visit(date(2026, 10, 1), plan="Soak.")]
    last = date(2026, 10, 1) + timedelta(PLAN_DAYS)
    assert PLAN_DAYS == 28
    plan = plan_for(visits, "right", last)
    assert plan.open_ended and plan.until == last
    assert plan_for(visits, "right", last + timedelta(1)) is None


def test_a_visit_of_the_other_foot_says_nothing_of_this_one():
    visits = [visit(NOV[2], foot="left", plan="Soak.", until=NOV[20])]
    assert plan_for(visits, "left", NOV[5]) and plan_for(visits, "right", NOV[5]) is None
    # Nor of the bird as a whole, while a plan for her speaks of both feet.
    assert plan_for(visits, "", NOV[5]) is None
    whole = [visit(NOV[2], plan="Rest.", until=NOV[20])]
    assert all(plan_for(whole, foot, NOV[5]) for foot in ("", "left", "right"))


def test_the_newest_plan_counts_and_a_visit_without_one_ends_none():
    visits = [
        visit(NOV[2], plan="Soak.", until=NOV[20]),
        visit(NOV[4], hour=9, plan="Dress.", until=NOV[10]),
        visit(NOV[4], hour=15, foot="left", plan="Leave it.", until=NOV[6]),
        visit(NOV[5]),
    ]
    for order in (visits, visits[::-1]):
        assert plan_for(order, "left", NOV[6]).visit.plan == "Leave it."
        assert plan_for(order, "left", NOV[7]).visit.plan == "Dress."
        assert plan_for(order, "right", NOV[6]).visit.plan == "Dress."
        assert plan_for(order, "right", NOV[11]).visit.plan == "Soak."


@pytest.mark.parametrize(
    ("decided_by", "words"),
    [("vet", "Vet’s plan"), ("both", "Vet’s plan"), ("keeper", "Plan"), ("", "Plan")],
)
def test_only_what_the_vet_decided_is_called_the_vets(decided_by, words):
    visits = [visit(NOV[2], plan="Rest.", until=NOV[3], decided_by=decided_by)]
    assert plan_for(visits, "left", NOV[3]).words == f"{words} until 3 Nov: Rest."


def test_a_day_without_a_word_of_what_to_do_is_no_plan():
    assert plan_for([visit(NOV[2], until=NOV[20])], "left", NOV[3]) is None


def test_a_question_alone_changes_no_advice_and_keeps_the_number(cast, birds):
    surgery(cast)
    dill = birds["Dill"]
    look(cast, dill, days_ago=1, left={"score": 2, "hot": True}, right={"score": 0})
    page = url(cast, "step_new", dill.pk)
    asked = visit_form(cast, question="Is it deep?")
    assert cast.clients.keeper.post(page, asked).status_code == 302
    assert standing(dill, now=timezone.now()).advice is Advice.SOON
    on = f"{today().day} {today():%b}"
    for address in (dill.get_absolute_url(), url(cast, "bird", dill.pk)):
        shown = cast.clients.keeper.get(address).text
        stands = "The advice stands: vet within days."
        assert f"Vet asked on {on}, no answer recorded. {stands}" in shown
        assert "tel:" in shown and "Vet within days" in shown and "Vet’s plan" not in shown
    # Nor does what a keeper decided alone.
    step(cast, dill, "vet", plan="Soak.", medicine_given="no", decided_by="keeper")
    assert standing(dill, now=timezone.now()).advice is Advice.SOON
    shown = cast.clients.keeper.get(dill.get_absolute_url()).text
    assert "our own plan: Soak. The advice stands: vet within days." in shown


@pytest.mark.parametrize("where", ["note", "found", "plan"])
def test_what_a_call_came_to_stands_where_ring_today_stood(cast, birds, where):
    surgery(cast)
    for name in ("Dill", "Mace"):
        look(cast, birds[name], days_ago=1, left={"score": 2, "hot": True}, right={"score": 0})
    said = visit_form(cast, question="Is it deep?", **{where: "Bring her tomorrow\nat 10."})
    cast.clients.keeper.post(url(cast, "step_new", birds["Dill"].pk), said)
    asked, words = "Vet asked today: Bring her tomorrow at 10.", Advice.SOON.words
    for address in (url(cast, "list"), reverse("today", args=[cast.flock.pk])):
        shown = " ".join(cast.clients.viewer.get(address).text.split())
        assert f"<p>{words}: Mace. Ring today.</p><p>{words}: Dill. {asked}</p>" in shown
        # In her row too.
        assert shown.count(asked) == 2 and "tel:" in shown
    for name, ring in (("Dill", False), ("Mace", True)):
        shown = " ".join(cast.clients.viewer.get(birds[name].get_absolute_url()).text.split())
        assert ("Ring today; to be seen within 2 days." in shown) is ring
        assert ("To be seen within 2 days." in shown) is not ring
        assert words in shown and "tel:" in shown and "four weeks" not in shown


def test_the_form_tells_the_vets_words_from_the_note(cast, birds):
    shown = cast.clients.keeper.get(url(cast, "step_new", birds["Dill"].pk)).text
    assert "What the vet found or said" in shown and ">Note</label>" in shown
    assert "or what the vet said" not in shown


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"plan_until": 10}, "Say what the plan is."),
        ({"plan": "Soak.", "plan_until": 29}, "That is more than four weeks"),
        ({"plan": "Soak.", "plan_until": 29, "plan_is_long": "on"}, ""),
        ({"plan": "Soak.", "plan_until": 28}, ""),
    ],
)
def test_a_plan_is_written_down_and_a_long_one_asked_for_twice(cast, birds, said, words):
    said = {**said, "plan_until": day(said["plan_until"]).isoformat()}
    answer = cast.clients.keeper.post(
        url(cast, "step_new", birds["Dill"].pk), visit_form(cast, **said)
    )
    assert answer.status_code == (422 if words else 302)
    assert words in answer.text
    assert not words or "said so: longer than four weeks" in answer.text or "plan" not in said


def test_under_a_plan_the_state_says_so_and_the_number_stays(cast, birds):
    surgery(cast)
    dill = birds["Dill"]
    look(cast, dill, days_ago=9, left={"score": 1, "scab": "brown", "scab_mm": 6, "hot": True})
    step(cast, dill, "vet", days_ago=8, plan="Soak.", plan_until=day(5), decided_by="vet")
    until = f"et’s plan until {day(5).day} {day(5):%b}"
    look(cast, dill, days_ago=2, left={"score": 1, "scab": "brown", "scab_mm": 6}, gait=2)
    for address in (dill.get_absolute_url(), url(cast, "bird", dill.pk)):
        shown = cast.clients.keeper.get(address).text
        assert shown.count(f"V{until}") == 1 and "tel:" in shown
        assert f"eft foot: v{until}" in shown
        assert "Care at home" not in shown and "slight" not in shown.split("Timeline")[0]
        assert "Tell the vet" not in shown and "Too little is recorded" not in shown
        # What would change this.
        assert "A new sign, or one that calls for a vet today." in shown
        assert "A check that says how the foot is" not in shown
    series = reverse("series", args=[cast.flock.pk, dill.pk, "left"])
    assert f"V{until}" in cast.clients.keeper.get(series).text
    assert f"V{until}" in cast.clients.keeper.get(reverse("birds", args=[cast.flock.pk])).text


def test_the_plans_of_a_bird_stand_once_each(cast, birds):
    dill = birds["Dill"]
    step(cast, dill, "vet", days_ago=4, foot="", plan="Rest.")
    step(cast, dill, "vet", days_ago=2, foot="right", plan="Dress.")
    step(cast, birds["Mace"], "vet", plan="Soak.")
    step(cast, dill, "soaked")
    hers = standings(cast.flock, now=timezone.now()).birds[dill.pk]
    links = {plan.words.split(": ")[1]: url(cast, "step", plan.step) for plan in hers.plans}
    assert sorted(links) == ["Dress.", "Rest."]
    # Who may not open the record reads the plan all the same.
    shown = cast.clients.viewer.get(url(cast, "bird", dill.pk)).text
    assert "Rest." in shown and f'"{links["Rest."]}"' not in shown.split("Last care given")[0]
    assert links["Rest."] in cast.clients.keeper.get(url(cast, "bird", dill.pk)).text
    look(cast, dill, days_ago=3, right={"score": 1})
    page = url(cast, "case", dill.pk, "right", dill.check_set.get().pk)
    shown = cast.clients.viewer.get(page).text
    assert "Dress." in shown and "for the right foot until" in shown


@pytest.mark.parametrize(
    ("decided_by", "words"),
    [
        ("vet", "left foot: medicine, Drops, as the vet said"),
        ("both", "left foot: medicine, Drops, as the vet said"),
        ("keeper", "left foot: medicine, Drops"),
        ("", "left foot: medicine, Drops"),
    ],
)
def test_a_medicine_is_as_the_vet_said_only_where_the_vet_decided(decided_by, words):
    given = CareStep(kind="medicine", product="Drops", foot="left", decided_by=decided_by)
    assert given.words == words


# --- The prescription


def picture(colour="white") -> SimpleUploadedFile:
    file = io.BytesIO()
    Image.new("RGB", (60, 80), colour).save(file, "JPEG")
    return SimpleUploadedFile("paper.jpg", file.getvalue(), "image/jpeg")


def test_a_prescription_stands_beside_its_visit_and_nowhere_else(cast, birds):
    dill = birds["Dill"]
    visited = step(cast, dill, "vet", medicine_given="yes")
    page = url(cast, "prescription", visited.pk)
    answer = cast.clients.keeper.post(page, {"prescription": picture()}, follow=True)
    photo = Photo.objects.get()
    assert "Saved: the prescription of Dill" in answer.text
    assert f'alt="Prescription, {timezone.localtime(photo.added_at):%-d %b %Y}"' in answer.text
    assert (photo.bird, photo.foot, photo.of_house) == (dill, "", True)
    assert list(visited.photos.all()) == [photo]
    assert not loose(cast.flock).exists()
    # Private, as all photos are.
    file = reverse("photos:file", args=[cast.flock.pk, photo.pk, 240])
    assert cast.clients.viewer.get(file).status_code == 200
    assert cast.clients.stranger.get(file).status_code == 404


def test_a_photo_of_a_foot_becomes_no_prescription(cast, birds):
    visited = step(cast, birds["Dill"], "vet")
    page = url(cast, "prescription", visited.pk)
    cast.clients.keeper.post(page, {"prescription": picture()})
    Photo.objects.update(foot="left", of_house=False)
    visited.photos.clear()
    answer = cast.clients.keeper.post(page, {"prescription": picture()}, follow=True)
    assert "saved already, as another photo" in answer.text
    assert not visited.photos.exists()
    assert "Choose a photo first." in cast.clients.keeper.post(page, {}, follow=True).text


def test_only_a_visit_has_a_prescription(cast, birds):
    soaked = step(cast, birds["Dill"], "soaked")
    page = url(cast, "prescription", soaked.pk)
    assert cast.clients.keeper.post(page, {"prescription": picture()}).status_code == 404
    assert refused(cast, url(cast, "prescription", step(cast, birds["Dill"], "vet").pk)) == (
        NOT_WRITERS
    )


# --- What a visit does to a dressing


def dressing_due(cast) -> list:
    return [due.on for due in open_dues(cast.flock, now=timezone.now()) if due.is_dressing]


def test_a_dressing_that_a_vet_saw_is_checked_the_day_after(cast, birds):
    dill = birds["Dill"]
    step(cast, dill, "dressing on", days_ago=3)
    assert dressing_due(cast) == [day(-2)]
    step(cast, dill, "vet", foot="right", plan="Rest")  # About the other foot
    step(cast, dill, "vet", days_ago=4, plan="Rest")  # Before it was put on
    step(cast, dill, "vet", question="Is it deep?")  # Only asked
    assert dressing_due(cast) == [day(-2)]
    step(cast, dill, "vet", plan="Rebandage every other day")
    assert dressing_due(cast) == [day(1)]


def test_a_visit_about_the_bird_saw_her_dressing_too(cast, birds):
    step(cast, birds["Dill"], "dressing on", days_ago=3)
    step(cast, birds["Dill"], "vet", foot="", days_ago=1, found="Grade II")
    assert dressing_due(cast) == [day(0)]


def test_a_plan_that_a_new_sign_breaks_is_still_told_with_what_is_new(cast, birds):
    surgery(cast)
    dill = birds["Dill"]
    sore = {"score": 1, "scab": "brown", "scab_mm": 6, "swelling": "none"}
    look(cast, dill, days_ago=9, left=sore)
    step(
        cast,
        dill,
        "vet",
        days_ago=8,
        foot="left",
        plan="Soak.",
        plan_until=day(5),
        decided_by="vet",
    )
    look(cast, dill, days_ago=1, left={**sore, "hot": True, "oozing": True})
    hers = standing(dill, now=timezone.now())
    assert hers.advice is Advice.SOON and not hers.plans
    new = ": the foot is hot, the sore is oozing. Vet’s plan for the left foot until"
    for address in (dill.get_absolute_url(), url(cast, "bird", dill.pk)):
        shown = cast.clients.keeper.get(address).text
        assert new in shown and "Soak." in shown and "Vet’s plan until" not in shown
    # In a list the line of her foot says what is new.
    shown = cast.clients.keeper.get(url(cast, "list")).text
    assert "Left foot: mild, hot, oozing, sore since" in shown and "The foot is hot" not in shown
    assert "New since the vet was asked on" in shown and new not in shown and "Soak." in shown


def test_nobody_asks_which_eggs_are_a_cocks(cast, birds):
    dill = birds["Dill"]
    step(cast, dill, "medicine", egg_days=5, meat_days=5, days_from="label")
    page = url(cast, "bird", dill.pk)
    assert "Cannot tell which eggs are hers?" in cast.clients.keeper.get(page).text
    dill.sex = "cock"
    dill.save()
    assert "Cannot tell which eggs" not in cast.clients.keeper.get(page).text
