"""What a vet reads first on the sheet, what is folded on screen, and vaccines."""

import re
from datetime import timedelta

import pytest

from flockcare.care.situation import worked_out
from flockcare.drawing.dates import date_words
from flockcare.vetsheet.gather import sheet
from flockcare.vetsheet.names import Names
from flockcare.vetsheet.records import Period, read, subjects
from tests.care.steps import day, step, today

pytestmark = pytest.mark.django_db


def made(bird):
    bird = subjects(bird.flock).select_related("flock").get(pk=bird.pk)
    records = read(bird, Period(today() - timedelta(300), today()))
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
