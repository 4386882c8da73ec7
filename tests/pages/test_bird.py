import datetime as dt
import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from flockcare.birds.models import Bird, Breed, Weighing
from flockcare.care.models import CareStep
from flockcare.feet.models import Check, FootFinding
from flockcare.housing.models import Event, House, Stay
from flockcare.photos.models import Photo

NOW = dt.datetime(2026, 5, 14, 18, tzinfo=dt.UTC)


@pytest.fixture(autouse=True)
def _one_day(monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: NOW)


def page(bird, view="bird"):
    return reverse(view, args=[bird.flock_id, bird.pk])


def look(bird, days_ago, left, right=0, **fields):
    at = NOW - dt.timedelta(days=days_ago, hours=4)
    check = Check.objects.create(flock=bird.flock, bird=bird, at=at, **fields)
    for foot, score in (("left", left), ("right", right)):
        FootFinding.objects.create(check_record=check, foot=foot, score=score)
    return check


def text_of(response):
    return " ".join(re.sub(r"<[^>]+>", " ", response.content.decode()).split())


def test_a_bird_without_checks_says_what_to_do(cast, birds):
    got = cast.clients.keeper.get(page(birds["Dill"]))
    assert "Her feet have not been checked yet." in text_of(got)
    new = reverse("check_bird", args=[cast.flock.pk, birds["Dill"].pk])
    assert f'href="{new}"' in got.content.decode()
    assert "Nothing was recorded in this time." in text_of(got)


def test_photos_are_offered_of_a_foot_that_has_some(cast, birds):
    dill = birds["Dill"]
    got = text_of(cast.clients.viewer.get(page(dill)))
    assert "Photos, " not in got and "Vet sheet" in got
    file = {"width": 9, "height": 9, "stored_bytes": 9, "sha256": "a", "look_hash": 0}
    Photo.objects.create(flock=cast.flock, bird=dill, foot="right", **file)
    got = text_of(cast.clients.viewer.get(page(dill)))
    assert "Photos, right foot" in got and "Photos, left foot" not in got


def test_who_she_is(cast, birds):
    dill = birds["Dill"]
    dill.breed = Breed.objects.create(
        flock=cast.flock, name="Marsh Hen", adult_grams=3000, source="own records"
    )
    dill.hatched, dill.traits = "2024-04", "Old injury of the left hock."
    dill.save()
    for on, grams in ((dt.date(2026, 1, 5), 2100), (dt.date(2026, 5, 9), 2700)):
        Weighing.objects.create(flock=cast.flock, bird=dill, on=on, grams=grams)
    words = text_of(cast.clients.viewer.get(page(dill)))
    assert "Dill green 7" in words
    assert "Marsh Hen, medium" in words
    assert "Hatched April 2024" in words
    # By hand: 2700 / 3000.
    assert "2.70 kg on 9 May 2026: 90% of a grown Marsh Hen’s (3.00 kg; own records)" in words, (
        words
    )
    assert "Old injury of the left hock." in words


def test_cases_are_told_current_first(cast, birds):
    dill = birds["Dill"]
    for days_ago, left, right in (
        (60, 0, 0),
        (50, 0, 2),
        (46, 0, 1),
        (40, 0, 0),
        (12, 0, 0),
        (5, 1, 0),
    ):
        check = look(dill, days_ago, left, right, keeper=cast.keeper)
    got = cast.clients.viewer.get(page(dill))
    words = text_of(got)
    # By hand from 14 May 2026: sore on the 9th, clear on the 2nd; 5 to 12 days.
    current = (
        "Left foot since 9 May 2026 (seen clear on 2 May 2026) 5–12 days, mild at worst. "
        "Last check: 9 May 2026, score 1, by Keeper"
    )
    # Clear on 15 March and 4 April, sore on 25 and 29 March: 4 to 20 days.
    healed = "Right foot 25 Mar – 29 Mar 2026 4–20 days, swollen at worst."
    assert words.index(current) < words.index(healed)
    assert reverse("feet:check", args=[cast.flock.pk, check.pk]) in got.content.decode()


def test_a_viewer_is_not_offered_what_only_keepers_may_do(cast, birds):
    url = page(birds["Dill"])
    for client, offered in ((cast.clients.keeper, True), (cast.clients.viewer, False)):
        shown = client.get(url).content.decode()
        assert ("Check her" in shown) is offered
        assert ("Edit her details" in shown) is offered


def test_a_bird_that_left_is_told_as_gone_and_her_timeline_ends_there(cast, birds):
    dill = birds["Dill"]
    look(dill, 40, 1)
    dill.left, dill.left_reason, dill.left_note = "2026-04-20", "died", "Found in the morning."
    dill.save()
    got = cast.clients.keeper.get(page(dill))
    words = text_of(got)
    assert "Left the flock 20 Apr 2026: died. Found in the morning." in words
    assert "Check her" not in words
    assert "21 Jan – 20 Apr 2026" in words
    # Sore since 4 April, and for no longer than she lived: 16 days.
    assert "Left foot since 4 Apr 2026 (sore already when first checked) At least 16 days" in words


def test_of_a_bird_checked_after_the_day_she_left_no_case_lasts_less_than_nothing(cast, birds):
    dill = birds["Dill"]
    for days_ago, score in ((9, 0), (4, 1), (2, 1)):
        look(dill, days_ago, score)
    dill.left, dill.left_reason = "2026-04-14", "missing"
    dill.save()
    assert "2–7 days, mild at worst" in text_of(cast.clients.keeper.get(page(dill)))


def test_the_timeline_of_an_old_record_opens_where_it_has_something(cast, birds):
    dill = birds["Dill"]
    house = House.objects.create(flock=cast.flock, name="Shed")
    Stay.objects.create(flock=cast.flock, bird=dill, house=house, since=dt.date(2020, 1, 1))
    # What happens around her says nothing of her.
    Event.objects.create(flock=cast.flock, house=house, kind="bedding", on=NOW.date())

    def opened():
        return text_of(cast.clients.keeper.get(page(dill)))

    assert "15 Feb – 14 May 2026" in opened(), "nothing on record: as always"
    look(dill, 400, 1)
    look(dill, 430, 0)
    assert "10 Jan – 9 Apr 2025" in opened() and "Later" in opened(), "and leads on to today"
    look(dill, 3, 0)
    assert "15 Feb – 14 May 2026" in opened()


@pytest.mark.parametrize("view", ["bird", "pages:timeline"])
@pytest.mark.parametrize(
    ("who", "status"), [("owner", 200), ("keeper", 200), ("viewer", 200), ("stranger", 404)]
)
def test_who_may_look(cast, birds, view, who, status):
    assert getattr(cast.clients, who).get(page(birds["Dill"], view)).status_code == status


def test_a_bird_of_another_flock_is_not_found_here(cast, birds):
    stray = Bird.objects.create(flock=cast.elsewhere, name="Stray")
    for view in ("bird", "pages:timeline"):
        url = reverse(view, args=[cast.flock.pk, stray.pk])
        assert cast.clients.owner.get(url).status_code == 404
    assert cast.clients.owner.post(page(birds["Dill"])).status_code == 405


def test_htmx_gets_the_piece_and_others_the_page(cast, birds):
    url = page(birds["Dill"], "pages:timeline") + "?zoom=month&until=2026-03-31"
    piece = cast.clients.keeper.get(url, headers={"HX-Request": "true"}).content.decode()
    assert piece.startswith('<section id="timeline"')
    assert 'id="timeline-table" hx-swap-oob="true"' in piece
    assert "1 Mar – 31 Mar 2026" in piece
    whole = cast.clients.keeper.get(url).content.decode()
    assert "<!doctype html>" in whole
    assert "1 Mar – 31 Mar 2026" in whole
    assert "hx-swap-oob" not in whole


def test_steps_through_time_work_as_plain_links(cast, birds):
    look(birds["Dill"], 45, 1)
    url = page(birds["Dill"])
    shown = cast.clients.keeper.get(url + "?zoom=month").content.decode()
    assert "tl-later" not in shown
    assert "0 clear" not in re.search(r"<tbody>.*</tbody>|Nothing", shown, re.S)[0]
    earlier = re.search(r'id="tl-earlier" href="([^"]+)"', shown)[1].replace("&amp;", "&")
    assert earlier == f"{url}?zoom=month&until=2026-04-14#timeline"
    back = cast.clients.keeper.get(earlier).content.decode()
    assert "left foot 1 mild" in back
    assert re.search(r'id="tl-later" href="[^"]+until=2026-05-14#timeline"', back)


def test_hostile_names_stay_text(cast):
    evil = "<script>alert(1)</script>"
    bird = Bird.objects.create(flock=cast.flock, name=evil, band_number="<b>", traits=evil)
    look(bird, 3, 1, keeper_name=evil, note=evil)
    shown = cast.clients.keeper.get(page(bird)).content.decode()
    assert "<script>alert" not in shown
    assert "<b>" not in shown
    assert shown.count("&lt;script&gt;alert(1)") > 4
    assert not re.search(r"\sstyle=|\son\w+=", shown)


def fill(bird, count, keeper):
    """``count`` weekly checks with steps of care and weighings beside them."""
    moments = [NOW - dt.timedelta(days=7 * number, hours=3) for number in range(count)]
    checks = Check.objects.bulk_create(
        Check(flock=bird.flock, bird=bird, at=at, keeper=keeper) for at in moments
    )
    FootFinding.objects.bulk_create(
        FootFinding(check_record=check, foot=foot, score=int(number % 9 == 4))
        for number, check in enumerate(checks)
        for foot in ("left", "right")
    )
    CareStep.objects.bulk_create(
        CareStep(flock=bird.flock, bird=bird, kind="soaked", at=at) for at in moments[::9]
    )
    Weighing.objects.bulk_create(
        Weighing(flock=bird.flock, bird=bird, on=at.date(), grams=3000) for at in moments[::4]
    )


@pytest.mark.parametrize("zoom", ["year", "season", "month"])
def test_queries_stay_few_however_long_the_record(cast, birds, zoom):
    """At most 12, and as many with ten years of weekly checks as with one check."""
    counts = {}
    for count, name in ((5, "Dill"), (20, "Mace"), (520, "Sorrel")):
        fill(birds[name], count, cast.keeper)
        cast.clients.keeper.get(page(birds[name]))  # works out how the birds stand
        with CaptureQueriesContext(
            connection,
        ) as captured:
            assert cast.clients.keeper.get(page(birds[name]) + f"?zoom={zoom}").status_code == 200
        counts[count] = len(captured)
    assert len(set(counts.values())) == 1, counts
    assert counts[520] <= 12


def test_one_check_takes_no_more_queries_than_many(cast, birds):
    look(birds["Dill"], 3, 1)
    cast.clients.keeper.get(page(birds["Dill"]))
    with CaptureQueriesContext(connection) as captured:
        cast.clients.keeper.get(page(birds["Dill"]))
    assert len(captured) <= 12
