"""What is said about medicines in laying hens: names, lists of law, eggs, and no dose."""

import pytest
from django.core.exceptions import ValidationError
from django.utils.html import escape

from flockcare.care.medicines import (
    EGGS,
    LISTS,
    NOTICES,
    SILENCE,
    STEWARDSHIP,
    US_LABEL,
    is_medicine_by_name,
    warnings_about,
)
from flockcare.care.models import CarePlan, CareStep, KitItem
from tests.care.steps import day, form, url


def text(cast) -> str:
    return " ".join(cast.clients.viewer.get(url(cast, "medicines")).text.split())


@pytest.mark.parametrize(
    ("product", "name"),
    [
        # 21 CFR 530.41 (read): classes, with members by which a keeper may know them.
        ("Enrofloxacin 2.5 % drops", "Fluoroquinolones"),
        ("nitrofurazone ointment", "Nitrofurazone"),
        ("Metronidazole", "Other nitroimidazoles"),
        ("CHLORAMPHENICOL eye salve", "Chloramphenicol"),
        ("ceftiofur", "Cephalosporins other than cephapirin"),
        # Families by the ending or the beginning of their names, in several spellings.
        ("Marbofloxacine", "Fluoroquinolones"),
        ("tinidazol tablets", "Other nitroimidazoles"),
        ("Nitrofurantoin", "Nitrofurazone"),
        ("cefalexin", "Cephalosporins other than cephapirin"),
        ("cephalexin", "Cephalosporins other than cephapirin"),
        ("plain salve", None),
        ("cephapirin", None),
        ("cefapirin", None),
        ("flubendazole", None),
        ("", None),
    ],
)
def test_classes_that_are_not_allowed_in_the_united_states(product, name):
    found = next((drug for drug in US_LABEL.drugs if drug.named_in(product.lower())), None)
    assert (found and found.name) == name


@pytest.mark.parametrize(
    ("product", "said"),
    [
        # 21 CFR 500.30 (read); FARAD, restrictions of use outside the label (read).
        ("Gentian violet spray", ["Gentian violet: not to be used in a hen in the United States"]),
        ("crystal-violet", ["Gentian violet: not to be used"]),
        ("colloidal silver gel", ["Colloidal silver: not to be used"]),
        ("DMSO", ["DMSO that was not made as a medicine: not to be used"]),
        ("Dipyrone", ["Dipyrone (metamizole): not to be used"]),
        ("metamizole", ["Dipyrone (metamizole): not to be used"]),
        # Regulation (EU) 37/2010, table 2 (as others quote it).
        ("colchicine", ["Colchicine: never allowed in an animal that gives food in the European"]),
        ("Dapson", ["Dapsone: never allowed"]),
        ("aristolochia extract", ["Aristolochia and what is made of it: never allowed"]),
        # Nitrofurans by other beginnings (international names, from memory).
        ("Furaltadone powder", ["Nitrofurans, furazolidone too: never allowed"]),
        ("nifursol", ["Nitrofurans, furazolidone too: never allowed"]),
        (
            "metronidazole",
            [
                "Other nitroimidazoles: not allowed outside the label",
                "Metronidazole: never allowed",
            ],
        ),
        # "-caine": the dose matters in small birds (as cited by secondary sources).
        ("Lidocaine ointment", ["Pain relievers, names in ‑caine: ask a vet first"]),
        ("plain ointment", []),
        ("silver tape", []),
        ("Descaler", []),
    ],
)
def test_whoever_enters_such_a_product_hears_of_it(product, said):
    heard = warnings_about(product)
    assert len(heard) == len(said)
    for sentence, begins in zip(heard, said, strict=True):
        assert sentence.startswith(begins) and sentence.endswith(".")


def test_each_list_is_headed_by_its_country_and_silence_is_no_permission(cast):
    page = text(cast)
    assert "<h2>United States: not allowed outside the label</h2>" in page
    assert "Not allowed in laying hens" not in page
    for one in LISTS:
        assert f"<h2>{escape(one.heading)}</h2>" in page and one.sources
        for drug in one.drugs:
            assert escape(drug.name) in page
    assert page.count(SILENCE) == 2
    # Regulation (EU) 37/2010, table 2: ten entries (as others quote it).
    assert [len(one.drugs) for one in LISTS] == [12, 4, 10]
    assert US_LABEL.drugs[0].name == "Chloramphenicol"


def test_days_of_the_law_stand_with_their_source_and_no_dose(cast):
    page = text(cast)
    for notice in (*NOTICES, *EGGS):
        assert escape(notice.text) in page
        for source in notice.sources:
            assert f"/about/sources/#{source.key}" in page
    said = {
        key: [n.text for n in NOTICES if any(s.key == key for s in n.sources)]
        for key in ("vmr-2013", "noah", "eu-2019-6", "marmulak-2015")
    }
    # SI 2013/2033, schedule 4, paragraph 2(3)(a), as amended by SI 2024/567 (read).
    assert "one and a half times" in said["vmr-2013"][0] and "14 days" in said["vmr-2013"][0]
    # NOAH, guide to the withdrawal period tables (read): meat from poultry.
    assert "one and a half times" in said["noah"][0] and "28 days" in said["noah"][0]
    # Regulation (EU) 2019/6, article 115(1)(c) (from memory).
    assert "one and a half times" in said["eu-2019-6"][0] and "10 days" in said["eu-2019-6"][0]
    # From memory: no tolerance for eggs, so that any residue is illegal.
    assert "any trace of it in an egg is illegal" in said["marmulak-2015"][0]
    assert "gives no dose" in page and "mg" not in page.split()


def test_whose_eggs_and_what_becomes_of_leftovers(cast):
    """Common practice, no published source."""
    page = text(cast)
    assert "withhold all that could be its own, or house it apart" in page
    assert "do not feed them back" in page and "withhold the eggs of all of them" in page
    assert STEWARDSHIP in page.replace("&#x27;", "'") or escape(STEWARDSHIP) in page
    assert "Never use leftovers" in page


@pytest.mark.parametrize(
    "name",
    [
        *("Enrofloxacin spray", "oxytetracycline spray", "Amoxicillin", "Gentamicin drops"),
        *("Antibiotic ointment", "Sulfadiazine cream", "Ivermectin 1 %", "Meloxicam", "lidocaine"),
        *("Hydrocortisone", "betamethasone", "Wormer", "Medicated powder", "Metronidazole gel"),
        *("Cephapirin ointment", "cefapirin"),
    ],
)
def test_a_medicine_is_one_by_its_name(name):
    assert is_medicine_by_name(name)


@pytest.mark.parametrize(
    "name",
    [
        *("Plain salve", "Petroleum jelly", "Epsom salt (magnesium sulfate)", "Zinc oxide", ""),
        *("Antibiotic-free salve", "Salve without steroids", "No-antibiotic ointment", "Honey"),
        *("Own salve", "Chlorhexidine", "Povidone iodine", "Salt water", "Coconut oil"),
    ],
)
def test_what_names_no_medicine_is_left_to_the_keeper(name):
    assert not is_medicine_by_name(name)


def test_the_tick_that_there_is_none_is_refused_where_the_name_says_otherwise(cast, birds):
    dill = birds["Dill"]
    page = url(cast, "step_new", dill.pk)
    said = form(kind="ointment", product="Enrofloxacin spray", no_medicine="on")
    said["who"] = str(cast.keeper.pk)
    answer = cast.clients.keeper.post(page, said)
    assert (
        answer.status_code == 422 and "Enrofloxacin spray” is a medicine by its name" in answer.text
    )
    # Nor by a thing of the kit that is marked so.
    item = KitItem.objects.create(
        flock=cast.flock, name="Blue spray", kind="ointment", no_medicine=True
    )
    said |= {"item": str(item.pk), "no_medicine": ""}
    assert cast.clients.keeper.post(page, said).status_code == 422
    assert not CareStep.objects.exists()
    for record, name in (
        (KitItem(flock=cast.flock, name="Tylosin", kind="ointment", no_medicine=True), "name"),
        (
            CarePlan(
                flock=cast.flock,
                bird=dill,
                foot="left",
                since=day(0),
                no_medicine=True,
                parts=[{"kind": "ointment", "product": "Tylosin", "amount": None}],
            ),
            "parts",
        ),
    ):
        with pytest.raises(ValidationError) as refused:
            record.clean()
        assert "no_medicine" in refused.value.message_dict, name
    said["no_medicine"], said["item"] = "", ""
    assert cast.clients.keeper.post(page, said).status_code == 302
    assert CareStep.objects.get().withholds
