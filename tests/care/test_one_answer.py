"""The same bird read on Today, in Birds, on her page, with her care and case, by the command."""

import io
import json
import re
from datetime import UTC, datetime, time, timedelta

import pypdf
import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from flockcare.birds.models import Bird, BirdState, Weighing
from flockcare.birds.services import change_bird
from flockcare.care.situation import standings, worked_out
from flockcare.care.standing_words import course_words, lines, state_of_foot
from flockcare.drawing.dates import short_words
from flockcare.feet.models import Check
from flockcare.feet.services import delete_check
from flockcare.people.deletion import FORMER, delete_keeper
from flockcare.people.models import Revision
from flockcare.people.services import rename_keeper
from flockcare.photos.models import Measurement, Photo, Precision
from tests.care.steps import ago, day, look, step, today, url
from tests.conftest import ZONE
from tests.exchange.folders import write_folder

pytestmark = pytest.mark.django_db
CLEAR = {"score": 0}
MILD = {"score": 1, "scab": "black", "swelling": "none"}


def measure(cast, bird, foot, area, *, days_ago, error=0.05) -> Measurement:
    photo = Photo.objects.create(
        flock=cast.flock,
        bird=bird,
        foot=foot,
        taken=ago(days_ago),
        taken_precision=Precision.MOMENT,
        width=9,
        height=9,
        stored_bytes=9,
        sha256=f"{bird}{foot}{days_ago}{area}",
        look_hash=0,
    )
    return Measurement.objects.create(
        flock=cast.flock,
        photo=photo,
        scaled_by="card",
        to_mm=[[0.1, 0, 0], [0, 0.1, 0], [0, 0, 1]],
        outline_px=[[0, 0], [60, 0], [60, 60]],
        outline_mm=[[0, 0], [6, 0], [6, 6]],
        area_mm2=area,
        perimeter_mm=1,
        longest_diameter_mm=1,
        relative_area_error=error,
    )


def a_story(cast, bird):
    """A sore that grew and shrinks, a limp, a soak that is late, an ointment."""
    look(cast, bird, days_ago=20, left=CLEAR, right=CLEAR, manner="bright", eating="yes")
    look(cast, bird, days_ago=12, left=MILD, right=CLEAR, gait=1, keeper=cast.keeper)
    look(cast, bird, days_ago=3, left={"score": 1}, keeper=cast.owner)
    for days_ago, area in ((12, 20), (9, 80), (3, 30)):
        measure(cast, bird, "left", area, days_ago=days_ago)
    step(cast, bird, "soaked", days_ago=3, next_due=day(-1), claimed_by=cast.keeper)
    step(cast, bird, "ointment", days_ago=2, egg_days=9, meat_days=0, days_from="vet")


def text(client, address) -> str:
    page = client.get(address)
    assert page.status_code == 200
    return " ".join(re.sub(r"<[^>]*>", " ", page.text).split())


def said_of(cast, **options) -> dict:
    out = io.StringIO()
    call_command("today", flock=cast.flock.name, json=True, stdout=out, **options)
    return {bird["bird"]: bird for bird in json.loads(out.getvalue())["birds"]}


def test_all_pages_and_the_command_give_one_answer(cast, birds):
    dill = birds["Dill"]
    a_story(cast, dill)
    for name in ("Mace", "Sorrel"):
        look(cast, birds[name], left=CLEAR, right=CLEAR)
    hers = said_of(cast)["Dill"]
    left, right = hers["feet"]["left"], hers["feet"]["right"]
    assert (left["state"], left["since"], left["last_clear"]) == (
        *("case", day(-12).isoformat()),
        day(-20).isoformat(),
    )
    assert (left["course"], left["area_mm2"]) == ("better", [20, 80, 30])
    assert (right["state"], right["course"]) == ("clear", None)
    assert (hers["eggs"], hers["eggs_until"]) == ("withdrawn", day(7).isoformat())
    assert [(sign["sign"], sign["by"]) for sign in hers["signs"]] == [("limps slightly", "Keeper")]
    assert {"what": "soak", "on": day(-1).isoformat(), "who": "Keeper"} in left["due"]
    assert [due["what"] for due in left["due"]] == ["check", "soak"]
    case = url(cast, "case", dill.pk, "left", Check.objects.get(bird=dill, gait=1).pk)
    series = reverse("series", args=[cast.flock.pk, dill.pk, "left"])
    pages = {
        "today": reverse("today", args=[cast.flock.pk]),
        "birds": reverse("birds", args=[cast.flock.pk]),
        "bird": dill.get_absolute_url(),
        "care": url(cast, "bird", dill.pk),
        "list": url(cast, "list"),
        "case": case,
        "series": series,
    }
    since = f"since {short_words(day(-9), today())}"
    for name, address in pages.items():
        page = text(cast.clients.keeper, address)
        if name in {"today", "birds", "list"}:  # The same in fewer words.
            assert f"Better {since}" in page and "Limps slightly" in page, name
            assert "seen" not in page.split("Limps slightly")[1][:20], name
        else:
            assert f"Better: 80 ± 4 → 30.0 ± 1.5 mm² {since}" in page, name
        assert "Left foot: " in page and "Right foot: " not in page.split("Timeline")[0], name
        assert "orse:" not in page, name
        if name == "series":
            continue  # Of this foot alone.
        if name in {"bird", "care", "case"}:
            assert re.search(r"Limps slightly, seen \d+ \w+ by Keeper", page), name
        if name != "birds":
            assert re.search("[Ss]oak 1 day late", page), name
        assert re.search("on’t eat (her|Dill’s) eggs up to and including", page), name
    # By --json, in words, and from what is kept or not.
    out = io.StringIO()
    call_command("today", flock=cast.flock.name, stdout=out)
    assert "Better: 80 ± 4 → 30.0 ± 1.5 mm²" in out.getvalue()
    assert "Mace: leave" in out.getvalue() and "both feet clear" in out.getvalue()


def test_her_sheet_for_the_vet_and_the_form_of_a_check_say_the_same(cast, birds):
    """Of birds of every kind, in the words in which the command has it."""
    stories(cast, birds)
    found = standings(cast.flock, now=timezone.now())
    for bird in Bird.objects.filter(flock=cast.flock):
        bird.flock = cast.flock
        hers = found.birds.get(bird.pk)
        told = list(lines(hers)) if hers else []
        eggs = found.eggs_of(bird.pk).words
        sheet = reverse("vetsheet:sheet", args=[cast.flock.pk, bird.pk])
        pages = {
            "sheet": text(cast.clients.keeper, sheet),
            "PDF": pdf_text(cast.clients.keeper, sheet + "sheet.pdf"),
            "bird": text(cast.clients.keeper, bird.get_absolute_url()),
        }
        form = text(cast.clients.keeper, reverse("check_bird", args=[cast.flock.pk, bird.pk]))
        for name, page in pages.items():
            for line in told:
                for part in line.split(". "):
                    assert part[1:] in page, (name, bird.name, part)
            assert eggs[1:] in page, (name, bird.name)
        for foot in hers.feet.values() if hers else ():
            if foot.is_case:
                said = (
                    state_of_foot(foot, today(), brief=True),
                    course_words(foot.trend, today()),
                )
                assert f"{foot.foot.title()}: {said[0]} {said[1]}" in form, bird.name
    courses = {
        (bird.name, foot): str(found.birds[bird.pk].feet[foot].trend.course)
        for bird in Bird.objects.filter(left="")
        for foot in ("left", "right")
        if found.birds[bird.pk].feet[foot].is_case
    }
    assert courses == {
        ("Dill", "left"): "better",
        ("Mace", "left"): "worse",
        ("Mace", "right"): "same",
        ("Sorrel", "right"): "same",
        ("Basil", "left"): "same",
    }
    plain = {
        (name, foot): told["course"]
        for name, hers in said_of(cast).items()
        for foot, told in hers["feet"].items()
        if told["state"] == "case"
    }
    assert plain == courses


def test_the_photos_compared_first_are_those_the_answer_is_about(cast, birds):
    """Not the two newest, between which there may be no change."""
    dill = birds["Dill"]
    look(cast, dill, days_ago=20, left=CLEAR, right=CLEAR)
    look(cast, dill, days_ago=12, left=MILD)
    for days_ago, area in ((12, 8), (9, 30), (3, 68), (1, 69)):
        measure(cast, dill, "left", area, days_ago=days_ago)
    address = reverse("series", args=[cast.flock.pk, dill.pk, "left"])
    page = cast.clients.keeper.get(address).context
    assert (page["first"].measurement.area_mm2, page["second"].measurement.area_mm2) == (8, 69)
    assert "Worse: 8.0 ± 0.4 → 69 ± 3 mm²" in text(cast.clients.keeper, address)
    newest = page["shots"][2].key, page["shots"][3].key
    page = cast.clients.keeper.get(f"{address}?a={newest[0]}&b={newest[1]}").context
    assert page["first"].measurement.area_mm2 == 68


@pytest.mark.parametrize("apart", [0, 3])
def test_a_foot_called_sore_and_clear_on_one_day_is_sore_on_all_pages(cast, birds, apart):
    """By two keepers, at the same time or the clear one later: the cases say so, and the rest."""
    dill = birds["Dill"]
    look(cast, dill, days_ago=20, left=CLEAR, right=CLEAR)
    swollen = {"score": 2, "swelling": "from above", "hot": True}
    sore = look(cast, dill, left=swollen, right=CLEAR, keeper=cast.keeper)
    clear = look(cast, dill, left=CLEAR, right=CLEAR)
    noon = datetime.combine(day(-1), time(12), ZONE)
    Check.objects.filter(pk=sore.pk).update(at=noon)
    Check.objects.filter(pk=clear.pk).update(at=noon + timedelta(hours=apart))
    for name in ("Mace", "Sorrel"):
        look(cast, birds[name], left=CLEAR, right=CLEAR)
    hers = said_of(cast)["Dill"]
    left = hers["feet"]["left"]
    assert (left["state"], left["score"], left["since"]) == ("case", 2, day(-1).isoformat())
    assert (hers["advice"], len(left["signs"])) == ("SOON", 2)
    since = f"wollen, sore since {short_words(day(-1), today())}"
    form = reverse("check_bird", args=[cast.flock.pk, dill.pk])
    for address in (
        reverse("today", args=[cast.flock.pk]),
        reverse("birds", args=[cast.flock.pk]),
        dill.get_absolute_url(),
        url(cast, "case", dill.pk, "left", sore.pk),
        reverse("vetsheet:sheet", args=[cast.flock.pk, dill.pk]),
    ):
        page = text(cast.clients.keeper, address)
        assert since.replace("wollen,", "wollen, hot,") in page or since in page, address
    page = cast.clients.keeper.get(form).text
    assert f'name="left-same" id="id_left-same" value="{sore.pk}"' in page and since in page
    pick = text(cast.clients.keeper, reverse("pick", args=[cast.flock.pk]))
    assert "Dill green 7 left today" in pick
    told = cast.clients.keeper.get(reverse("birds", args=[cast.flock.pk])[:-6] + "outbox/birds/")
    (kept,) = [one for one in told.json()["birds"] if one["name"] == "Dill"]
    assert (kept["sore"], kept["was"]["left"]) == (["left"], str(sore.pk))
    # A clear check on another day ends it.
    look(cast, dill, left=CLEAR, right=CLEAR)
    assert said_of(cast)["Dill"]["feet"]["left"]["state"] == "clear"


def test_a_vet_who_was_asked_in_the_evening_knew_of_both_checks_of_the_day(cast, birds):
    """A foot called swollen and then clear is no sign that is new since."""
    dill = birds["Dill"]
    moments = [datetime.combine(day(-1), time(hour), ZONE) for hour in (9, 11, 18)]
    for at, left in ((moments[0], {"score": 2}), (moments[1], CLEAR)):
        check = look(cast, dill, left=left, right={"score": 1}, gait=0)
        Check.objects.filter(pk=check.pk).update(at=at)
    said = {"plan": "Soak daily.", "plan_until": day(9), "decided_by": "vet"}
    step(cast, dill, "vet", foot="", at=moments[2], **said)
    hers = standings(cast.flock, now=timezone.now()).birds[dill.pk]
    assert hers.plans and not hers.broken


def test_a_sign_is_nowhere_said_to_be_of_a_check_that_did_not_say_it(cast, birds):
    """A swelling and a limp of one keeper, and a check of today by another, without either."""
    dill = birds["Dill"]
    swollen = {"score": 1, "swelling": "moderate"}
    look(cast, dill, days_ago=9, right=swollen, left=CLEAR, gait=1, keeper=cast.keeper)
    look(cast, dill, days_ago=0, right={"score": 1}, keeper=cast.owner)
    pages = {
        "bird": dill.get_absolute_url(),
        "care": url(cast, "bird", dill.pk),
        "opening": url(cast, "opening", dill.pk, "right"),
        "sheet": reverse("vetsheet:sheet", args=[cast.flock.pk, dill.pk]),
    }
    for name, address in pages.items():
        page = text(cast.clients.keeper, address)
        if name == "opening":
            assert re.search(r"A swollen foot, and a limp. Seen \d+ \w+ 20\d\d by Keeper\.", page)
            continue
        assert re.search(r"[Ss]welling moderate, seen \d+ \w+ by", page), name
        assert "By the check of" not in page, name
    care = text(cast.clients.keeper, pages["care"])
    assert re.search(r"Swelling moderate, seen \d+ \w+ by Keeper; limps slightly", care)
    right = said_of(cast)["Dill"]["feet"]["right"]
    assert [(one["sign"], one["on"], one["by"]) for one in right["signs"]] == [
        ("swelling moderate", day(-9).isoformat(), "Keeper")
    ]


def stories(cast, birds) -> None:
    """Better and worse, the same by area, width and score, a dull bird with clear feet, days of
    withdrawal that are known and not, a vet's plan, and one that left.
    """
    a_story(cast, birds["Dill"])
    mace, sorrel = birds["Mace"], birds["Sorrel"]
    for days_ago, area, other in ((12, 20, 40), (3, 60, 41)):
        look(cast, mace, days_ago=days_ago, left=MILD, right=MILD)
        measure(cast, mace, "left", area, days_ago=days_ago)
        measure(cast, mace, "right", other, days_ago=days_ago)
    step(cast, mace, "vet", days_ago=2, plan="Soak daily.", foot="", decided_by="vet")
    for days_ago in (12, 3):
        look(cast, sorrel, days_ago=days_ago, right={"score": 1, "scab": "brown", "scab_mm": 6})
    step(cast, sorrel, "medicine", days_ago=2, product="Drops")
    basil, tansy, gone = (
        Bird.objects.create(flock=cast.flock, name=name) for name in ("Basil", "Tansy", "Gone")
    )
    for days_ago in (12, 3):
        look(cast, basil, days_ago=days_ago, left={"score": 1}, right=CLEAR)
    look(cast, tansy, days_ago=2, left=CLEAR, right=CLEAR, manner="dull", keeper=cast.keeper)
    step(cast, gone, "medicine", days_ago=4, egg_days=9, meat_days=9, days_from="vet")
    gone.left, gone.left_reason = str(day(-2)), "died"
    change_bird(bird=gone, by=cast.keeper)


def pdf_text(client, address) -> str:
    file = io.BytesIO(client.get(address).content)
    return " ".join(" ".join(page.extract_text() for page in pypdf.PdfReader(file).pages).split())


@pytest.mark.parametrize(
    ("visited", "until", "lame", "holds"),
    [
        (5, 0, False, True),
        (5, -1, False, False),
        (28, None, False, True),
        (29, None, False, False),
        (5, 9, True, False),
    ],
    ids=["last day", "run out", "four weeks", "after four weeks", "an urgent sign is new"],
)
def test_a_vets_plan_holds_on_all_pages_or_on_none(cast, birds, visited, until, lame, holds):
    dill = birds["Dill"]
    look(cast, dill, days_ago=40, left=CLEAR, right=CLEAR)
    look(cast, dill, left=CLEAR, right=CLEAR, gait=4 if lame else 0)
    on = None if until is None else day(until)
    step(cast, dill, "vet", days_ago=visited, foot="", plan="Soak daily.", plan_until=on)
    hers = standings(cast.flock, now=timezone.now()).birds[dill.pk]
    assert hers.feet["left"].situation.under_vet_plan is (True if holds else None)
    last = day(until) if until is not None else day(28 - visited)
    assert said_of(cast)["Dill"]["vet_plan_until"] == (last.isoformat() if holds else None)
    for address in (
        reverse("today", args=[cast.flock.pk]),
        dill.get_absolute_url(),
        url(cast, "bird", dill.pk),
        reverse("vetsheet:sheet", args=[cast.flock.pk, dill.pk]),
    ):
        assert ("Vet asked on" in text(cast.clients.keeper, address)) is holds, address


def test_json_has_the_promised_shape_and_types(cast, birds):
    stories(cast, birds)
    out = io.StringIO()
    call_command("today", flock=cast.flock.name, json=True, stdout=out)
    said = json.loads(out.getvalue())
    assert list(said) == ["birds"] and len(said["birds"]) == 5
    is_day = re.compile(r"\d{4}-\d\d-\d\d").fullmatch
    for bird in said["birds"]:
        assert isinstance(bird["bird"], str)
        assert bird["advice"] in {"LOOK", "LEAVE", "HOME", "ASK", "SOON", "NOW"}
        assert all(isinstance(reason, str) for reason in bird["reasons"])
        assert all(is_day(sign["on"]) and sign["sign"] and sign["by"] for sign in bird["signs"])
        assert bird["eggs"] in {"free", "withdrawn", "not known"}
        assert (bird["eggs_until"] is None) == (bird["eggs"] != "withdrawn")
        assert set(bird["feet"]) == {"left", "right"}
        for foot in bird["feet"].values():
            is_case = foot["state"] == "case"
            assert foot["state"] in {"clear", "case", "never checked"}
            assert bool(foot["since"] and is_day(foot["since"])) == is_case
            assert foot["last_clear"] is None or is_day(foot["last_clear"])
            assert (foot["score"] is None) == (foot["state"] == "never checked")
            courses = {"better", "same", "worse", "not known"} if is_case else {None}
            assert foot["course"] in courses
            areas = foot["area_mm2"]
            assert areas is None or (len(areas) == 3 and all(type(area) is float for area in areas))
            for due in foot["due"]:
                assert isinstance(due["what"], str) and is_day(due["on"])
                assert due["who"] is None or due["who"]


def test_a_flock_without_birds_has_an_empty_list(cast):
    assert said_of(cast) == {}


@pytest.mark.parametrize("on", ["2026-02-30", "1.5.2026", "20260501", "2026-W01-1", "9999-12-31"])
def test_a_day_that_is_none_is_told_in_words(cast, on):
    with pytest.raises(CommandError, match=on):
        said_of(cast, on=on)


def test_the_command_says_how_it_was_on_a_day(cast, birds):
    dill = birds["Dill"]
    a_story(cast, dill)
    then = said_of(cast, on=day(-10).isoformat())["Dill"]
    assert then["feet"]["left"]["area_mm2"] == [20, 20, 20]
    assert (then["eggs"], then["feet"]["left"]["due"][0]["what"]) == ("free", "check")
    assert said_of(cast, on=day(-15).isoformat())["Dill"]["feet"]["left"]["state"] == "clear"
    before = said_of(cast, on=day(-40).isoformat())["Dill"]
    assert {foot["state"] for foot in before["feet"].values()} == {"never checked"}
    with pytest.raises(CommandError, match="is not a date"):
        said_of(cast, on="yesterday")
    with pytest.raises(CommandError, match="no flock"):
        call_command("today", flock="Nowhere", json=True)


def test_birds_that_left_are_not_among_them(cast, birds):
    dill = birds["Dill"]
    look(cast, dill, days_ago=9, left={"score": 2})
    dill.left, dill.left_reason = str(day(-2)), "died"
    change_bird(bird=dill, by=cast.keeper)
    assert "Dill" not in said_of(cast)
    assert "Dill" in said_of(cast, on=day(-3).isoformat())
    assert "Dill" not in text(cast.clients.keeper, reverse("today", args=[cast.flock.pk]))


def test_days_are_those_of_the_flock(cast, birds):
    """23:30 UTC on 1 June is 2 June in London (British Summer Time, UTC+1)."""
    look(cast, birds["Dill"], left=MILD)
    Check.objects.update(at=datetime(2026, 6, 1, 23, 30, tzinfo=UTC))
    assert said_of(cast, on="2026-06-01")["Dill"]["feet"]["left"]["state"] == "never checked"
    assert said_of(cast, on="2026-06-02")["Dill"]["feet"]["left"]["since"] == "2026-06-02"
    cast.flock.time_zone = "UTC"
    cast.flock.save()
    assert said_of(cast, on="2026-06-01")["Dill"]["feet"]["left"]["since"] == "2026-06-01"


def test_three_others_with_a_new_sore_are_told_to_the_rules(cast, birds):
    hens = [Bird.objects.create(flock=cast.flock, name=f"Hen {number}") for number in range(4)]
    for hen in hens:
        look(cast, hen, days_ago=20, left=CLEAR, right=CLEAR)
        look(cast, hen, days_ago=5, left=MILD, right=CLEAR)
    # Sore when first checked: nobody knows that it is new.
    look(cast, birds["Dill"], days_ago=5, left=MILD)
    found = standings(cast.flock, now=timezone.now()).birds
    told = found[hens[0].pk].feet["left"].situation
    assert told.others_new_14_days == 3
    assert found[birds["Dill"].pk].feet["left"].situation.others_new_14_days == 4


def test_a_new_hen_is_to_be_checked_and_nothing_is_said_of_her_feet(cast, birds):
    for number in range(3):
        hen = Bird.objects.create(flock=cast.flock, name=f"Hen {number}")
        look(cast, hen, days_ago=20, left=CLEAR, right=CLEAR)
        look(cast, hen, days_ago=5, left=MILD, right=CLEAR)
    dill = birds["Dill"]
    BirdState.objects.create(flock=cast.flock, bird=dill, kind="quarantine", since=day(-1))
    since = f"In quarantine since {short_words(day(-1), today())}"
    why = "3 other birds got a sore foot within two weeks"
    page = text(cast.clients.keeper, reverse("today", args=[cast.flock.pk]))
    assert f"Never checked {since} {why} today" in page.split("for a check")[1]
    for address in (dill.get_absolute_url(), url(cast, "bird", dill.pk)):
        page = text(cast.clients.keeper, address)
        assert "Check first" in page and "Never checked" in page and why in page
        assert "Ask a vet" not in page and "Add your vet" not in page and "as advised" not in page


def test_what_is_known_of_the_bird_is_told_to_the_rules(cast, birds):
    dill = birds["Dill"]
    dill.hatched = str(day(-100))
    change_bird(bird=dill, by=cast.keeper)
    look(cast, dill, left=MILD, comb="pale", gait=2, limps_on="left")
    for days_ago, grams in ((25, 2000), (1, 1700)):
        Weighing.objects.create(flock=cast.flock, bird=dill, on=day(-days_ago), grams=grams)
    BirdState.objects.create(flock=cast.flock, bird=dill, kind="moulting", since=day(-3))
    hers = standings(cast.flock, now=timezone.now()).birds[dill.pk]
    told = hers.feet["left"].situation
    assert (told.moulting, told.broody, told.comb, told.age_days) == (True, None, "pale", 100)
    assert (told.weight_g, told.weight_change_28_days) == (1700, pytest.approx(-0.15))
    assert {sign.words for sign in hers.signs} == {"limps on the left", "pale comb"}
    assert [state.kind for state in hers.states] == ["moulting"]


# --- Kept until a record changes


def kept_is_right(flock) -> bool:
    now = timezone.now()
    return standings(flock, now=now).birds == worked_out(flock, today()).birds


def test_kept_standings_follow_every_kind_of_record(cast, birds):
    dill = birds["Dill"]
    flock = cast.flock
    deeds = [
        lambda: look(cast, dill, days_ago=9, left=CLEAR, right=CLEAR),
        lambda: look(cast, dill, days_ago=1, left=MILD),
        lambda: look(cast, dill, days_ago=5, left=MILD, manner="dull"),  # late
        lambda: measure(cast, dill, "left", 30, days_ago=4),
        lambda: measure(cast, dill, "left", 50, days_ago=1),
        lambda: step(cast, dill, "dressing on", days_ago=1),
        lambda: step(cast, dill, "medicine", days_ago=1, egg_days=5, days_from="vet"),
        lambda: step(cast, dill, "vet", days_ago=1),
        lambda: Weighing.objects.create(flock=flock, bird=dill, on=day(-1), grams=1500),
        lambda: BirdState.objects.create(flock=flock, bird=dill, kind="broody", since=day(-1)),
        lambda: Bird.objects.create(flock=flock, name="New"),
        lambda: delete_check(check=Check.objects.get(manner="dull"), keeper=cast.keeper),
        lambda: Photo.with_deleted.filter(bird=dill).update(deleted_at=timezone.now()),
        lambda: look(cast, dill, left=CLEAR, right=CLEAR),
    ]
    for number, deed in enumerate(deeds):
        before = standings(flock, now=timezone.now())
        deed()
        after = standings(flock, now=timezone.now())
        assert kept_is_right(flock), number
        assert after.mark != before.mark, number


def test_kept_standings_follow_what_was_saved_later_than_it_came(cast, birds):
    """Of two that come at once one waits for the other."""
    look(cast, birds["Dill"], days_ago=9, left=CLEAR, right=CLEAR)
    standings(cast.flock, now=timezone.now())
    check = Check(flock=cast.flock, bird=birds["Dill"], at=timezone.now(), gait=3)
    check.received_at = timezone.now() - timedelta(hours=1)
    Check.objects.bulk_create([check])
    assert kept_is_right(cast.flock)
    # So it is with two changes.
    first, second = (
        Revision(flock=cast.flock, kind="birds.Bird", record=key, action="change", before={})
        for key in (birds["Dill"].pk, birds["Mace"].pk)
    )
    first.save()
    second.save()
    Revision.objects.filter(pk=first.pk).delete()
    before = standings(cast.flock, now=timezone.now()).mark
    first.save()
    assert standings(cast.flock, now=timezone.now()).mark != before


@pytest.mark.parametrize("keeper", ["a keeper", "nobody"])
def test_kept_standings_follow_an_import_which_brings_its_own_moments(
    cast, birds, tmp_path, keeper
):
    look(cast, birds["Dill"], days_ago=9, left=CLEAR, right=CLEAR)
    standings(cast.flock, now=timezone.now())
    row = {"bird": "Dill", "date": str(day(-5)), "left_score": "1"}
    row["received"] = f"{day(-5)} 09:00:00+00:00"
    folder = write_folder(tmp_path / "records", checks=[row])
    more = {"owner": "owner"} if keeper == "a keeper" else {}
    call_command("import_records", folder, flock=cast.flock.name, stdout=io.StringIO(), **more)
    assert standings(cast.flock, now=timezone.now()).birds[birds["Dill"].pk].concerns
    assert kept_is_right(cast.flock)


@pytest.mark.parametrize("deed", ["renamed", "gone"])
def test_kept_standings_name_keepers_as_they_are_called(cast, birds, deed):
    look(cast, birds["Dill"], days_ago=2, left=MILD, manner="dull", keeper=cast.keeper)
    step(cast, birds["Dill"], days_ago=3, next_due=day(-1), claimed_by=cast.keeper)
    standings(cast.flock, now=timezone.now())
    if deed == "renamed":
        rename_keeper(keeper=cast.keeper, name="Rosalind")
    else:
        delete_keeper(keeper=cast.keeper, keep_name=False)
    hers = standings(cast.flock, now=timezone.now()).birds[birds["Dill"].pk]
    assert hers.signs[0].by == ("Rosalind" if deed == "renamed" else FORMER)
    assert kept_is_right(cast.flock)


def test_what_is_kept_is_asked_for_in_one_query(cast, birds):
    a_story(cast, birds["Dill"])
    now = timezone.now()
    with CaptureQueriesContext(connection) as first:
        standings(cast.flock, now=now)
    with CaptureQueriesContext(connection) as again:
        standings(cast.flock, now=now)
    # Four of them ask for plans of care, courses that withhold, checks of new birds, and, as eggs
    # are withheld, which house is whose.
    assert (len(first), len(again)) == (17, 1)
