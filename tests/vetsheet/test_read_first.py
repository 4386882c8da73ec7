"""What a vet reads first on the sheet, what is folded on screen, and vaccines."""

import re
from datetime import timedelta

import pytest

from flockcare.care.situation import worked_out
from flockcare.drawing.dates import date_words
from flockcare.vetsheet.gather import sheet
from flockcare.vetsheet.names import Names
from flockcare.vetsheet.records import Period, read, subjects
from tests.care.steps import day, look, step, today

pytestmark = pytest.mark.django_db


def made(bird, period=None):
    bird = subjects(bird.flock).select_related("flock").get(pk=bird.pk)
    records = read(bird, period or Period(today() - timedelta(300), today()))
    stands = worked_out(bird.flock, today())
    return sheet(records, stands, Names(), made_on=today(), made_by="Owner")


def test_a_vet_reads_medicines_and_the_last_visit_first(cast, birds):
    """What is said of several givings in a row stands once; the rest is folded on screen, and all
    of it is on paper."""
    dill = birds["Dill"]
    drops = {"product": "Drops", "batch": "B 1", "foot": "left"}
    for days_ago in (3, 2, 1):
        step(cast, dill, "medicine", days_ago=days_ago, **drops)
    step(cast, dill, "medicine", days_ago=0, **drops | {"batch": "B 2"})
    step(cast, dill, "vet", days_ago=20, found="A core.", medicine_given="no", decided_by="vet")
    step(cast, dill, "vet", days_ago=4, plan="Drops.", medicine_given="no", decided_by="keeper")
    step(cast, dill, "soaked", days_ago=1)
    found = made(dill)
    drops, visit = found.medicines
    assert [words.split(": ")[-1] for words in drops.remarks] == ["batch B 1", "batch B 2"]
    assert "plan “Drops.”" in visit.remarks[0] and "A core." not in visit.remarks[0]
    assert [one.what.split(",")[0] for one in found.other_given] == ["Vet", "Soaked"]
    page = cast.clients.keeper.get(f"/f/{cast.flock.pk}/birds/{dill.pk}/vet/").text
    folded = re.findall(r'<details class="print-open[^>]*>.*?</details>', page, re.S)
    assert any("A core." in part and "Soaked" in part for part in folded)
    assert not any("batch B 1" in part or "plan “Drops.”" in part for part in folded)
    # Nothing of the sheet is folded that paper would leave out.
    sheet = page[page.index('class="vet-sheet"') : page.index("</article>")]
    assert sheet.count("<details") == sheet.count('<details class="print-open')


def test_the_visit_that_prescribed_the_medicine_is_not_folded(cast, birds):
    """A later one said only that it heals: what was found and planned stands in the first."""
    dill = birds["Dill"]
    given = {"product": "Drops", "egg_days": 7, "meat_days": 7, "days_from": "vet"}
    step(cast, dill, "vet", days_ago=9, found="Deep.", medicine_given="yes", **given)
    step(cast, dill, "medicine", days_ago=8, foot="left", **given)
    step(cast, dill, "vet", days_ago=1, found="Heals.", medicine_given="no")
    remarks = [" ".join(one.remarks) for one in made(dill).medicines]
    assert any("Deep." in words for words in remarks)
    assert any("Heals." in words for words in remarks)


def test_a_course_of_a_whole_house_is_one_line(cast, birds):
    said = {"product": "Drops", "foot": "", "given_to": "Ark", "given_until": day(2)}
    for days_ago, keeper in ((1, cast.keeper), (0, cast.owner)):
        step(cast, birds["Dill"], "medicine", days_ago=days_ago, keeper=keeper, **said)
    (group,) = made(birds["Dill"]).given
    (dates,) = group.dates
    assert dates.endswith(", by Keeper and Owner") and "given until" in dates


def test_a_vaccine_is_told_with_its_day_and_is_no_treatment(cast, birds):
    given = step(cast, birds["Dill"], "vaccine", foot="", product="ND drops", days_ago=400)
    found = made(birds["Dill"])
    (told,) = [fact.words for fact in found.asked if fact.label == "Vaccination"]
    assert told == f"“ND drops”, {date_words(given.on)}"
    assert "Medicines, antibiotics too: none recorded in this period." in found.history
    (none,) = [one.words for one in made(birds["Mace"]).asked if one.label == "Vaccination"]
    assert none == "not recorded"


def test_what_decides_is_read_at_first_sight(cast, birds):
    """A hot, swollen joint stands open above the folds; so does a plan that it breaks."""
    dill = birds["Dill"]
    sore = {"score": 2, "scab": "black", "scab_mm": 12, "plug_or_hole": True, "sites": ["main"]}
    step(cast, dill, "vet", days_ago=4, foot="left", plan="Rest.", medicine_given="no")
    look(cast, dill, days_ago=9, left=sore, right={"score": 0})
    deep = {**sore, "hot": True, "joint_swollen": True}
    look(cast, dill, days_ago=1, left=deep, right={"score": 0}, note="Sits alone.")
    found = made(dill)
    on = date_words(day(-1))
    assert found.now[-2] == (
        f"Left foot on {on}: main pad, black scab 12 mm, hot, hole, core or plug, "
        "hock or toe joint swollen; “Sits alone.”"
    )
    assert "New since the vet was asked" in found.now[-1] and "Rest." in found.now[-1]
    page = cast.clients.keeper.get(f"/f/{cast.flock.pk}/birds/{dill.pk}/vet/").text
    open_part = re.sub(r"<details.*?</details>", "", page, flags=re.S)
    assert "hock or toe joint swollen" in open_part
    look(cast, dill, left={"score": 0}, right={"score": 0})
    assert not any("joint" in line for line in made(dill).now)


def test_a_score_is_said_as_it_was_tapped(cast, birds):
    """Score 2 alone is no sign that somebody ticked, though both are of one rule."""
    dill = birds["Dill"]
    look(cast, dill, days_ago=9, left={"score": 1}, right={"score": 0})
    step(cast, dill, "vet", days_ago=4, foot="left", plan="Rest.", medicine_given="no")
    look(cast, dill, days_ago=1, left={"score": 2}, right={"score": 0})
    told = made(dill).now
    assert "New since the vet was asked" in told[-1] and "swollen (score 2)" in told[-1]
    assert "from above" not in " ".join(told)


@pytest.mark.parametrize(
    ("kind", "said", "words"),
    [
        ("vet", {"medicine_given": "yes", "product": "Tablets"}, "“Tablets” from the vet"),
        ("vet", {"medicine_given": "yes"}, "at the vet’s visit, not named"),
        ("vet", {"medicine_given": "unknown"}, "at the vet’s visit: not recorded"),
        ("ointment", {"product": "Salve"}, "“Salve”, ointment, spray or powder"),
        ("medicine", {"product": "Drops", "past": True}, "“Drops”"),
        ("vet", {"medicine_given": "no"}, ""),
        ("ointment", {"product": "Salve", "no_medicine": True}, ""),
    ],
)
def test_a_medicine_is_never_told_as_none(cast, birds, kind, said, words):
    given = step(cast, birds["Dill"], kind, days_ago=3, **said)
    told = made(birds["Dill"]).history
    none = "Medicines, antibiotics too: none recorded in this period."
    assert (none in told) is not bool(words)
    assert (f"Medicines: {words} ({date_words(given.on)})." in told) is bool(words)


def test_what_a_whole_house_got_says_so(cast, birds):
    for name, to in (("Dill", "Ark"), ("Mace", "the whole flock")):
        step(cast, birds[name], "medicine", foot="", product="Drops", given_to=to)
    assert [made(birds[name]).given[0].what for name in ("Dill", "Mace")] == [
        "Medicine: “Drops”, all of Ark",
        "Medicine: “Drops”, the whole flock",
    ]


@pytest.mark.parametrize("entered", [{}, {"egg_days": 0, "meat_days": 0, "days_from": "vet"}])
def test_a_medicine_and_its_visit_are_one_giving(cast, birds, entered):
    """Also where days were entered for the visit; the medicine's own are said once."""
    dill = birds["Dill"]
    look(cast, dill, days_ago=9, left={"score": 1}, right={"score": 0})
    days = {"egg_days": 14, "meat_days": 28, "days_from": "vet"}
    for days_ago in (120, 60):
        visit = step(cast, dill, "vet", days_ago=days_ago, medicine_given="yes", **entered)
        drops = step(cast, dill, "medicine", days_ago=days_ago - 1, product="Drops", **days)
    found = made(dill)
    assert any(line.endswith("medicines before: 2.") for line in found.history)
    assert f"Medicines: “Drops” ({date_words(drops.on)})." in found.history
    assert {one.what.split(",")[0]: one.holds for one in found.given} == {
        "Medicine: “Drops”": "without eggs: 14 days; without meat: 28 days, as the vet says",
        "Vet": "",
    }
    # A visit at the end of a period whose medicine came after it.
    (of_visit,) = made(dill, Period(visit.on - timedelta(9), visit.on)).given
    assert of_visit.holds == ""


def test_the_days_of_a_visit_are_said_where_they_count(cast, birds):
    dill = birds["Dill"]
    said = {"medicine_given": "yes", "egg_days": 30, "days_from": "vet"}
    visit = step(cast, dill, "vet", days_ago=3, **said)
    (alone,) = made(dill).given
    assert alone.holds == "without eggs: 30 days; without meat: days not known, as the vet says"
    days = {"egg_days": 14, "meat_days": 28, "days_from": "vet"}
    step(cast, dill, "medicine", at=visit.at, product="Drops", **days)
    assert "without eggs: 30 days, as the vet says" in [one.holds for one in made(dill).given]
