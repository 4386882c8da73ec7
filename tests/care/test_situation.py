"""From the records to the signs: what was seen, what nobody wrote down, what was measured."""

import uuid

import pytest
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.html import escape, strip_tags

from flockcare.birds.models import Bird, Breed, Weighing
from flockcare.care.models import CareStep
from flockcare.care.rules import RULES, UNASKED, Advice
from flockcare.care.situation import advise_cases, standing, standings
from flockcare.core.sources import sources_of
from flockcare.feet.cases import cases_of_bird
from flockcare.photos.models import Measurement, Photo, Precision
from tests.care.steps import ago, day, form, look, step, url
from tests.people.rows import READ_PAGE, same_queries, seen

REPORT = "Ring your animal-health authority now"

pytestmark = pytest.mark.django_db


def advised(bird):
    bird.refresh_from_db()
    return advise_cases(bird, standing(bird, now=timezone.now()))[0]


def because(bird) -> set[str]:
    return {rule.key for rule in advised(bird).answer.because}


def of_the_bird(bird) -> tuple[str, ...]:
    bird.refresh_from_db()
    return standing(bird, now=timezone.now()).because


CLEAR = {"score": 0}
# How she is, without which no scab is left alone.
WELL = {"manner": "bright", "eating": "yes", "gait": 0}


def test_a_scab_with_neither_swelling_nor_limp_is_left(cast, birds):
    """Common practice, no published source."""
    seen = {"score": 1, "scab": "black", "swelling": "none"}
    look(cast, birds["Dill"], left=seen, right={"score": 0}, gait=0)
    assert advised(birds["Dill"]).answer.advice is Advice.LOOK
    look(cast, birds["Dill"], left=seen, right={"score": 0}, **WELL)
    found = advised(birds["Dill"])
    assert found.answer.advice is Advice.LEAVE
    assert (found.standing.situation.hot, found.standing.situation.other_score) == (None, 0)


def test_a_box_that_was_not_ticked_says_nothing(cast, birds):
    look(cast, birds["Dill"], left={"score": 1})
    found = advised(birds["Dill"])
    assert found.answer.advice is Advice.LOOK
    assert {"heat", "oozing", "swelling", "the other foot"} <= set(found.answer.unknown)


def test_the_newest_look_at_each_foot_counts(cast, birds):
    look(cast, birds["Dill"], days_ago=5, left={"score": 2, "hot": True}, right={"score": 1})
    look(cast, birds["Dill"], days_ago=2, right={"score": 0})
    look(cast, birds["Dill"], days_ago=1, left={"score": 1, "swelling": "moderate"}, gait=0)
    found = advised(birds["Dill"])
    situation = found.standing.situation
    # What the newest check left out stands: it was hot.
    assert found.answer.advice is Advice.SOON and because(birds["Dill"]) == {"hot"}
    assert (situation.swelling, situation.other_score, found.days_ago) == ("moderate", 0, 1)


def test_a_word_about_the_bird_stands_for_two_weeks(cast, birds):
    look(cast, birds["Dill"], days_ago=20, left={"score": 1}, eating="no", gait=4)
    look(cast, birds["Dill"], days_ago=12, left={"score": 1}, manner="dull")
    look(cast, birds["Dill"], days_ago=0, left={"score": 1})
    assert of_the_bird(birds["Dill"]) == ("Not bright",)
    look(cast, birds["Dill"], left={"score": 1}, manner="bright")
    assert of_the_bird(birds["Dill"]) == ()
    assert not advised(birds["Dill"]).answer.advice.is_for_vet


def test_a_scab_as_wide_as_two_weeks_ago_calls_for_a_vet(cast, birds):
    scab = {"score": 1, "scab": "brown", "swelling": "none", "scab_mm": 6}
    look(cast, birds["Dill"], days_ago=15, left=scab, right=CLEAR, **WELL)
    look(cast, birds["Dill"], days_ago=2, left={**scab, "scab_mm": 4}, right=CLEAR, **WELL)
    assert because(birds["Dill"]) == {"scab alone"}
    look(cast, birds["Dill"], days_ago=1, left={**scab, "scab_mm": 5}, right=CLEAR, **WELL)
    # Smaller by less than the error of two readings.
    assert because(birds["Dill"]) == {"not clearly healing"}
    look(cast, birds["Dill"], left={**scab, "scab_mm": 6}, right=CLEAR, **WELL)
    assert because(birds["Dill"]) == {"not smaller"}


def test_a_width_of_an_earlier_case_is_no_measure_of_this_one(cast, birds):
    scab = {"score": 1, "scab": "brown", "swelling": "none", "scab_mm": 3}
    look(cast, birds["Dill"], days_ago=40, left=scab, right=CLEAR, **WELL)
    look(cast, birds["Dill"], days_ago=30, left=CLEAR, right=CLEAR, **WELL)
    look(cast, birds["Dill"], days_ago=1, left={**scab, "scab_mm": 9}, right=CLEAR, **WELL)
    assert because(birds["Dill"]) == {"scab alone"}


def outline(cast, bird, *, days_ago, area, error=0.05):
    taken = ago(days_ago)
    photo = Photo.objects.create(
        flock=cast.flock,
        bird=bird,
        foot="left",
        taken=taken,
        taken_precision=Precision.MOMENT,
        width=9,
        height=9,
        stored_bytes=9,
        sha256=f"{days_ago}-{area}",
        look_hash=0,
    )
    return Measurement.objects.create(
        flock=cast.flock,
        photo=photo,
        scaled_by="card",
        to_mm=[1] * 9,
        outline_px=[],
        outline_mm=[],
        area_mm2=area,
        perimeter_mm=1,
        longest_diameter_mm=1,
        relative_area_error=error,
    )


def test_an_outline_that_grew_by_more_than_its_error_calls_for_a_vet(cast, birds):
    scab = {"score": 1, "scab": "brown", "swelling": "none"}
    look(cast, birds["Dill"], days_ago=10, left=scab, right=CLEAR, **WELL)
    outline(cast, birds["Dill"], days_ago=9, area=40)
    last = outline(cast, birds["Dill"], days_ago=2, area=42)
    # √((40 · 0.05)² + (42 · 0.05)²) = 2.9 mm²: 42 may be as large as 40 was.
    assert because(birds["Dill"]) == {"scab alone"}
    # Measured anew in the same photo: the newest outline counts.
    again = Measurement(**{f.attname: getattr(last, f.attname) for f in last._meta.fields})
    again.pk, again.area_mm2, again.at = None, 44, timezone.now()
    again.save()
    assert because(birds["Dill"]) == {"growing"}
    # A photo that was taken away measures nothing.
    Photo.with_deleted.filter(pk=last.photo_id).update(deleted_at=timezone.now())
    assert because(birds["Dill"]) == {"scab alone"}


def test_clinical_grade_and_both_feet(cast, birds):
    """Grade III is an infected, deep sore (BSAVA 2008, ch. 16, made for raptors)."""
    look(cast, birds["Dill"], left={"score": 1, "clinical_grade": 3}, right={"score": 0})
    assert because(birds["Dill"]) == {"grade III"}
    look(cast, birds["Mace"], left={"score": 1, "clinical_grade": 4}, right={"score": 1})
    assert because(birds["Mace"]) == {"grade III", "bone or joint"}


def test_the_birds_with_urgent_signs(cast, birds):
    look(cast, birds["Dill"], days_ago=30, left={"score": 2})
    look(cast, birds["Mace"], days_ago=20, left={"score": 0}, manner="dull")
    look(cast, birds["Sorrel"], left={"score": 1, "oozing": True})
    found = standings(cast.flock, now=timezone.now()).birds
    assert {bird.name: found[bird.pk].urgent for bird in birds.values()} == {
        "Dill": True,
        "Mace": False,
        "Sorrel": True,
    }


def test_the_page_shows_what_led_there_and_the_limits(cast, birds):
    look(cast, birds["Dill"], left={"score": 1, "hot": True}, right={"score": 0}, gait=2)
    page = " ".join(cast.clients.viewer.get(url(cast, "bird", birds["Dill"].pk)).text.split())
    assert "left foot: vet within days" in page.lower()
    assert "The foot is hot" in page and "/about/sources/#bsava-2008" in page
    assert "Also there: a sore, and a limp" in page
    assert "No clinical scale has been validated for hens" in page
    # What was not written down is named, and never counted as a no.
    assert "Not recorded:" in page


def test_the_table_of_rules_is_a_page(cast):
    page = cast.clients.viewer.get(url(cast, "rules")).content.decode()
    assert REPORT in " ".join(page.split())
    for rule in RULES:
        assert escape(rule.sign) in page
        named = sources_of(rule.source)
        assert named and all(f"/about/sources/#{source.key}" in page for source in named)
    levels = [page.index(f">{level.words}</span>") for level in sorted(Advice, reverse=True)]
    assert levels == sorted(levels)
    assert escape(UNASKED) in page
    assert seen(cast, url(cast, "rules")) == READ_PAGE


def test_a_sign_of_a_disease_to_be_reported_says_so(cast, birds):
    look(cast, birds["Dill"], left={"score": 1, "cold_or_dark": True})
    assert REPORT in " ".join(
        cast.clients.viewer.get(url(cast, "bird", birds["Dill"].pk)).text.split()
    )
    look(cast, birds["Mace"], left={"score": 1, "hot": True})
    page = " ".join(cast.clients.viewer.get(url(cast, "bird", birds["Mace"].pk)).text.split())
    assert REPORT not in page
    assert "Today, as soon as there is one of these" in page and "(today)" not in page


# "Check every day": the advice of a sore with moderate swelling, against the flock's seven days.
SWOLLEN = {"score": 1, "swelling": "moderate"}


def case_page(cast, bird):
    case = cases_of_bird(bird)[0]
    url_of = url(cast, "case", bird.pk, case.foot, case.first.check_id)
    return cast.clients.keeper.get(url_of).content.decode()


def date_of(number: int) -> str:
    return date_format(day(number), "D j M")


def pages_of(cast, bird) -> list[str]:
    """Today, all care, her page, her care and the case."""
    urls = (
        reverse("today", args=[cast.flock.pk]),
        url(cast, "list"),
        bird.get_absolute_url(),
        url(cast, "bird", bird.pk),
    )
    pages = [cast.clients.keeper.get(one).content.decode() for one in urls]
    return [" ".join(page.split()) for page in (*pages, case_page(cast, bird))]


def words(page: str) -> str:
    return " ".join(strip_tags(page).split())


def test_the_advice_to_look_every_day_stands_with_its_date_everywhere(cast, birds):
    assert cast.flock.recheck_days == 7
    look(cast, birds["Dill"], days_ago=2, left=CLEAR, right=SWOLLEN)
    for page in pages_of(cast, birds["Dill"]):
        assert "1 day late" in words(page) and "Check her" in words(page)
        assert "No step is due" not in page and "Nothing is due" not in page


@pytest.mark.parametrize("page", [0, 1, 2], ids=["today", "all care", "her page"])
def test_what_is_due_stands_once(cast, birds, page):
    look(cast, birds["Dill"], days_ago=2, left=CLEAR, right=SWOLLEN)
    said = words(pages_of(cast, birds["Dill"])[page])
    assert said.count("1 day late") == 1
    assert said.count("Check her") == 1


def test_a_viewer_without_buttons_is_told_what_is_due(cast, birds):
    look(cast, birds["Dill"], days_ago=2, left=CLEAR, right=SWOLLEN)
    page = cast.clients.viewer.get(reverse("today", args=[cast.flock.pk])).content.decode()
    assert "Next: right foot: check 1 day late" in words(page)


def test_before_its_day_it_stands_with_its_date(cast, birds):
    look(cast, birds["Dill"], left=CLEAR, right=SWOLLEN)
    for page in pages_of(cast, birds["Dill"]):
        assert f"check by {date_of(1)}".lower() in words(page).lower()
    assert "No care is due tonight" in pages_of(cast, birds["Dill"])[0]


@pytest.mark.parametrize(
    ("kind", "said"),
    [
        ("watched", "check by {}"),
        ("dressing on", "check by {}"),
        ("dressing changed", "check by {}"),
        # Which leaves the sore under it unseen.
        ("dressing looked at", "right foot: check 1 day late"),
    ],
)
def test_a_step_that_shows_the_foot_stands_for_its_check(cast, birds, kind, said):
    look(cast, birds["Dill"], days_ago=2, left=CLEAR, right=SWOLLEN)
    step(cast, birds["Dill"], kind, foot="right", next_due=day(1))
    assert f"Next: {said.format(date_of(1))}" in " ".join(case_page(cast, birds["Dill"]).split())


def test_a_limp_seen_again_is_not_said_to_have_begun_that_day(cast, birds):
    for days_ago in (9, 2):
        look(cast, birds["Dill"], days_ago=days_ago, left=CLEAR, right=SWOLLEN, gait=2)
    seen = date_format(day(-2), "j M")
    in_rows, hers = pages_of(cast, birds["Dill"])[:2], pages_of(cast, birds["Dill"])[2:]
    assert all("Limps" in words(page) and "Limps, s" not in words(page) for page in in_rows)
    for page in hers:
        assert f"Limps, seen {seen} by" in words(page) and f"Limps, since {seen}" not in words(page)


def test_who_has_looked_today_is_asked_again_tomorrow(cast, birds):
    look(cast, birds["Dill"], days_ago=2, left=CLEAR, right=SWOLLEN)
    step(cast, birds["Dill"], "watched", foot="right")
    assert f"check by {date_of(1)}" in case_page(cast, birds["Dill"])


def test_where_the_advice_names_no_days_the_flock_s_own_count(cast, birds):
    due = f"Next: check by {date_of(5)}"
    scab = {"score": 1, "scab": "brown", "swelling": "none"}
    look(cast, birds["Dill"], days_ago=2, left=CLEAR, right=scab, gait=0, manner="bright")
    assert due in case_page(cast, birds["Dill"])
    # Where too little was recorded to leave it the advice is to check her again first.
    look(cast, birds["Sorrel"], days_ago=2, left=CLEAR, right={"score": 1, "scab": "brown"})
    assert "Next: right foot: check 1 day late" in case_page(cast, birds["Sorrel"])
    # A foot for a vet is not one of them: it is checked every day until the vet has seen it.
    look(cast, birds["Mace"], days_ago=2, left=CLEAR, right={"score": 1, "hot": True})
    assert "Next: right foot: check 1 day late" in case_page(cast, birds["Mace"])


@pytest.mark.parametrize(
    ("foot", "recheck_days", "days"),
    [("right", 7, 1), ("", 7, 1), ("left", 7, 7), ("right", 1, 1), ("left", 1, 1)],
)
def test_a_watched_foot_is_due_again_by_the_sooner_of_advice_and_setting(
    cast, birds, foot, recheck_days, days
):
    cast.flock.recheck_days = recheck_days
    cast.flock.save()
    look(cast, birds["Dill"], left=CLEAR, right=SWOLLEN)
    said = form(kind="watched", foot=foot, who=str(cast.keeper.pk))
    cast.clients.keeper.post(url(cast, "step_new", birds["Dill"].pk), said)
    assert CareStep.objects.get().next_due == day(days)


def test_after_a_lifted_scab_one_tap_takes_the_days_of_the_advice(cast, birds):
    look(cast, birds["Dill"], days_ago=2, left=CLEAR, right=SWOLLEN)
    lifted = step(cast, birds["Dill"], "scab lifted", foot="right", days_ago=1, next_due=day(0))
    cast.clients.keeper.post(url(cast, "done", lifted.pk))
    assert CareStep.objects.exclude(pk=lifted.pk).get().next_due == day(1)


@pytest.mark.parametrize("name", ["list", "today_panel"])
def test_as_many_queries_for_one_swollen_foot_as_for_twenty(cast, birds, name):
    look(cast, birds["Dill"], days_ago=2, left=CLEAR, right=SWOLLEN)

    def grow():
        for number in range(20):
            bird = Bird.objects.create(flock=cast.flock, name=f"Hen {number}")
            look(cast, bird, days_ago=2, left=CLEAR, right=SWOLLEN)

    client = cast.clients.keeper
    client.defaults["HTTP_HX_REQUEST"] = "true"
    same_queries(client, url(cast, name), grow=grow)
    assert client.get(url(cast, name)).content.decode().count("1 day late") == 21


@pytest.mark.parametrize(
    ("breed", "own", "weighed", "large"),
    [
        ("Sebright bantam", "", None, True),
        ("Sussex", "bantam", None, True),
        ("Sussex", "", None, False),
        ("", "", None, False),
        # A weighing says more than the breed.
        ("Sebright bantam", "", 2400, False),
    ],
)
def test_what_is_large_on_a_bantam_is_so_without_a_weighing(
    cast, birds, breed, own, weighed, large
):
    dill = birds["Dill"]
    grams = 570 if breed.startswith("Sebright") else 2800
    if breed:
        dill.breed = Breed.objects.create(flock=cast.flock, name=breed, adult_grams=grams)
    dill.own_weight_class = own
    dill.save()
    if weighed:
        Weighing.objects.create(flock=cast.flock, bird=dill, on=day(-40), grams=weighed)
    look(cast, dill, left={"score": 1, "scab": "brown", "scab_mm": 7, "swelling": "none"}, **WELL)
    assert ("large" in because(dill)) is large


@pytest.mark.parametrize(
    ("left", "signs", "asked"),
    [
        (
            {"score": 1, "swelling": "none", "hot": False, "oozing": False},
            WELL,
            "At the next check say: a scab?<",
        ),
        (
            {"score": 1, "swelling": "none", "hot": False, "oozing": False, "scab": "brown"},
            {"eating": "yes"},
            "At the next check say: limping? bright or dull?<",
        ),
    ],
)
def test_only_what_was_left_out_is_asked_for(cast, birds, left, signs, asked):
    look(cast, birds["Dill"], left=left, right={"score": 0}, **signs)
    page = " ".join(cast.clients.viewer.get(url(cast, "bird", birds["Dill"].pk)).text.split())
    assert asked in page


def sent(bird, **said) -> dict:
    return {
        "check_id": str(uuid.uuid4()),
        "at": timezone.localtime(timezone.now()).strftime("%Y-%m-%dT%H:%M"),
        **said,
    }


@pytest.mark.parametrize(
    ("said", "words"),
    [
        (
            {"left-score": "0", "right-score": "0", "gait": "4"},
            "Saved: Dill, gait 4, both feet clear. View",
        ),
        (
            {"left-score": "0", "right-score": "0", "left-cold_or_dark": "yes"},
            "Saved: Dill, left foot clear but cold or dark, right foot clear.",
        ),
        (
            {"left-score": "0", "right-score": "0", "gait": "0"},
            "Saved: Dill, both feet clear. View",
        ),
    ],
)
def test_what_is_said_after_saving_names_the_worst_and_the_advice(cast, birds, said, words):
    page = reverse("check_bird", args=[cast.flock.pk, birds["Dill"].pk])
    answer = cast.clients.keeper.post(page, sent(birds["Dill"], **said), follow=True)
    text = " ".join(strip_tags(answer.text).split())
    told = "Vet today: " in text.split("View or edit")[0]
    assert words.replace(" View", "") in text, text[:900]
    assert told is ("gait 4" in words or "cold" in words)
