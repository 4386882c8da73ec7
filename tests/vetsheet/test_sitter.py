"""A sitter's link: what it opens and what not, ticking off under the sitter's name, undoing it."""

import logging
import re
from datetime import date, datetime, timedelta
from types import SimpleNamespace

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from flockcare.birds.models import Bird, BirdState
from flockcare.care.models import CarePlan, CareStep, Task, TaskDone, VetContact
from flockcare.care.rows import Row
from flockcare.care.services import repeat_step
from flockcare.care.standing.records import Eggs
from flockcare.core.models import token_hash
from flockcare.housing.models import House, Stay
from flockcare.people import services
from flockcare.people.logs import HideTokens
from flockcare.people.models import Membership, Revision, Role
from flockcare.vetsheet.models import Purpose, ShareLink
from flockcare.vetsheet.sitting import Days, OneBird, Sitting, sitting
from tests.care.steps import day, look, step, today
from tests.people.rows import FORM_PAGE, NOT_WRITERS, refused, seen

SOAK = {"kind": "soaked", "product": "Epsom salt", "amount": None}
DRESS = {"kind": "dressing changed", "product": "Gauze", "amount": None}


def address(cast) -> str:
    return reverse("vetsheet:sitters", args=[cast.flock.pk])


def typed(**given) -> dict:
    return {"name": "Anna", "first": day(0), "last": day(6), "note": "Feed is in the bin."} | given


def make(client, cast, **given) -> str:
    page = client.post(address(cast), typed(**given))
    return re.search(r'readonly value="http://testserver([^"]+)"', page.text)[1]


@pytest.fixture
def dill(birds):
    return birds["Dill"]


@pytest.fixture
def plan(cast, dill):
    return CarePlan.objects.create(
        flock=cast.flock, bird=dill, foot="left", parts=[SOAK, DRESS], since=day(0), every_days=2
    )


@pytest.fixture
def link(cast, plan):
    return make(cast.clients.keeper, cast)


def tick(link, key, kind="", client=None):
    return (client or Client()).post(f"{link}tick/", {"what": key, "kind": kind}, follow=True)


# --- Handing out


def test_who_may_make_one(cast, link):
    assert refused(cast, address(cast), typed(name="Bert")) == NOT_WRITERS
    assert seen(cast, address(cast)) == FORM_PAGE
    kept = ShareLink.objects.get()
    for name in ("sitter_paper", "sitter_note"):
        assert seen(cast, reverse(f"vetsheet:{name}", args=[cast.flock.pk, kept.pk])) == FORM_PAGE
        elsewhere = reverse(f"vetsheet:{name}", args=[cast.elsewhere.pk, kept.pk])
        assert cast.clients.stranger.get(elsewhere).status_code == 404
    token = link.split("/")[2]
    assert kept.token_hash == token_hash(token)
    assert token not in cast.clients.keeper.get(address(cast)).text


def test_the_paper_does_not_take_the_place_of_the_link_that_is_shown_once(cast):
    """Back would not bring it again, being the answer to a form."""
    page = cast.clients.keeper.post(address(cast), typed(name="Bert")).text
    paper = reverse("vetsheet:sitter_paper", args=[cast.flock.pk, ShareLink.objects.get().pk])
    assert re.search(rf'target="_blank"\s+href="{paper}"', page)


@pytest.mark.parametrize(
    ("given", "field", "words"),
    [
        ({"name": ""}, "name", ""),
        ({"name": "anna"}, "name", "There is a link for anna already."),
        ({"first": day(-1)}, "first", "This day is past."),
        ({"first": day(93), "last": day(94)}, "first", "At most 92 days ahead."),
        ({"first": day(1), "last": day(0)}, "last", "This is before the first day."),
        ({"last": day(42)}, "last", "At most 6 weeks with one link."),
    ],
)
def test_a_wrong_wish_makes_no_link_and_keeps_what_was_typed(cast, link, given, field, words):
    sent = typed(note="Keep this.") | {"name": "Bert"} | given
    page = cast.clients.keeper.post(address(cast), sent)
    assert page.status_code == 422 and "Keep this." in page.text and words in page.text
    assert set(page.context["form"].errors) == {field}
    assert ShareLink.objects.count() == 1


def test_a_soak_of_a_dressed_foot_ends_with_its_dressing(cast, link, birds):
    """Another foot's, or another bird's, is not dressed for it."""
    mace, sorrel = birds["Mace"], birds["Sorrel"]
    for bird, foot in ((mace, "right"), (mace, "left"), (sorrel, "left")):
        step(cast, bird, "soaked", days_ago=1, foot=foot, next_due=day(0))
    step(cast, mace, "dressing on", days_ago=1, foot="left")
    found = sitting(ShareLink.objects.get(), now=timezone.now())
    soaks = {
        (thing.bird.name, thing.what): (
            [one.key for one in thing.how],
            "Then put the dressing on again." in thing.details,
        )
        for bird in found.birds
        for thing in bird.now
        if "soak" in thing.what and thing.bird in (mace, sorrel)
    }
    plain = ["hold", "soak", "dry"], False
    assert soaks == {
        ("Mace", "left foot: soak"): (["hold", "soak", "dry", "wrap", "look"], True),
        ("Mace", "right foot: soak"): plain,
        ("Sorrel", "left foot: soak"): plain,
    }


def test_the_note_can_be_changed_while_the_link_works(cast, link):
    kept = ShareLink.objects.get()
    where = reverse("vetsheet:sitter_note", args=[cast.flock.pk, kept.pk])
    cast.clients.owner.post(where, {"note": "Feed is in the shed.", "version": kept.version})
    page = Client().get(link).text
    assert "Feed is in the shed." in page and "in the bin" not in page


# --- What it opens


def test_shows_what_is_due_and_nothing_else(cast, link, dill, birds):
    VetContact.objects.create(flock=cast.flock, name="Surgery", telephone="01632 960001")
    medicine = {"kind": "medicine", "product": "X", "egg_days": 3, "days_from": "vet"}
    step(cast, birds["Mace"], at=timezone.now(), foot="", **medicine)
    page = Client().get(link)
    assert page.status_code == 200
    assert "1 thing to do" in page.text and "Dill" in page.text and "Epsom salt" in page.text
    until = day(3)
    assert f"Don’t eat Mace’s eggs up to and including {until.day} {until:%b}" in page.text
    assert 'href="tel:01632960001"' in page.text and "Feed is in the bin." in page.text
    # How it is done: the steps that this care needs, and no others.
    assert re.findall(r'<li class="card" id="how-(\w+)"', page.text) == [
        *("hold", "soak", "dry", "wrap", "look")
    ]
    # Numbered, since the soak says "go on with step 3": the one after it.
    steps = re.findall(r'id="how-(\w+)".*?class="number" aria-hidden="true">(\d)<', page.text, re.S)
    assert [number for _, number in steps] == ["1", "2", "3", "4", "5"]
    assert steps[1][0] == "soak" and "Go on with step 3." in page.text
    for other in ("Sorrel", "Owner", "Keeper", "Viewer", str(cast.flock.pk)):
        assert other not in page.text
    assert page.headers["X-Robots-Tag"] == "noindex" and "no-store" in page.headers["Cache-Control"]
    assert page.headers["Referrer-Policy"] == "strict-origin"


@pytest.mark.parametrize(
    ("sex", "eggs", "words"),
    [
        ("hen", Eggs(), []),
        (
            "hen",
            Eggs("withdrawn", date(2026, 11, 7)),
            ["Don’t eat Dill’s eggs up to and including 7 Nov"],
        ),
        ("hen", Eggs("not known"), ["Don’t eat Dill’s eggs until the keepers say so"]),
        ("cock", Eggs("not known"), []),
    ],
)
def test_whose_eggs(sex, eggs, words):
    stands = SimpleNamespace(today=date(2026, 11, 3), eggs=eggs)
    hers = OneBird(Row(Bird(name="Dill", sex=sex), stands), ())
    found = SimpleNamespace(homes={})
    assert Sitting(None, found, (hers,), (), (), stands.today).eggs == words


def test_opens_nothing_before_its_days_after_them_or_once_ended(cast, plan, link):
    ahead = make(cast.clients.keeper, cast, name="Bert", first=day(2), last=day(3))
    early = Client().get(ahead)
    assert "Dill" not in early.text and "Feed is in the bin." in early.text
    tick(ahead, f"plan:{plan.pk}")
    assert not CareStep.objects.exists()

    kept = ShareLink.objects.get(name="Anna")
    midnight = datetime.combine(day(7), datetime.min.time(), cast.flock.zone)
    assert kept.expires_at == midnight
    ShareLink.objects.filter(pk=kept.pk).update(expires_at=timezone.now() - timedelta(seconds=1))
    assert_opens_nothing(link, plan)
    ShareLink.objects.filter(pk=kept.pk).update(expires_at=midnight)
    assert Client().get(link).status_code == 200
    ended = reverse("vetsheet:revoke", args=[cast.flock.pk, kept.pk])
    assert cast.clients.viewer.post(ended).status_code == 403
    assert cast.clients.owner.post(ended).headers["Location"] == address(cast)
    assert_opens_nothing(link, plan)


def assert_opens_nothing(link, plan):
    for answer in (
        Client().get(link),
        tick(link, f"plan:{plan.pk}"),
        Client().post(f"{link}undo/"),
    ):
        assert answer.status_code == 410
    assert not CareStep.objects.exists()


def test_ends_with_its_makers_right(cast, link):
    place = Membership.objects.get(flock=cast.flock, keeper=cast.keeper)
    services.change_role(membership=place, role=Role.VIEWER, by=cast.owner)
    assert Client().get(link).status_code == 410
    services.change_role(membership=place, role=Role.KEEPER, by=cast.owner)
    assert Client().get(link).status_code == 410


def test_is_no_link_to_a_sheet_nor_a_sheet_one_to_it(cast, link, dill):
    token = link.split("/")[2]
    assert Client().get(f"/vet/{token}/").status_code == 410
    ShareLink.objects.update(purpose=Purpose.SHEET, bird=dill)
    assert Client().get(link).status_code == 410


def test_wears_out_by_taps_too(link, plan):
    ShareLink.objects.update(uses_left=1)
    assert Client().post(f"{link}tick/", {"what": "plan:x"}).status_code == 302
    assert_opens_nothing(link, plan)


def test_a_tap_needs_the_token_of_the_page(link, plan):
    client = Client(enforce_csrf_checks=True)
    assert tick(link, f"plan:{plan.pk}", client=client).status_code == 403
    token = re.search(r'name="csrfmiddlewaretoken" value="([^"]+)"', client.get(link).text)[1]
    client.post(f"{link}tick/", {"what": f"plan:{plan.pk}", "csrfmiddlewaretoken": token})
    assert CareStep.objects.count() == 2


def test_its_address_stays_out_of_the_logs(link):
    line = logging.LogRecord("x", logging.INFO, "", 0, "GET %s", (f"{link}tick/",), None)
    HideTokens().filter(line)
    assert link.split("/")[2] not in line.getMessage()


# --- Ticking off


def test_a_tick_is_on_today_and_in_the_history_under_the_sitters_name(cast, link, plan):
    page = tick(link, f"plan:{plan.pk}")
    assert "Nothing is due today." in page.text
    assert "Saved: Dill, left foot: soak, dressing." in page.text
    done = CareStep.objects.order_by("kind")
    assert {(one.kind, one.keeper, one.by) for one in done} == {
        ("soaked", None, "Anna (sitter)"),
        ("dressing on", None, "Anna (sitter)"),
    }
    for name in ("today", "recent_changes"):
        assert "Anna (sitter)" in cast.clients.viewer.get(reverse(name, args=[cast.flock.pk])).text
    assert {one.author for one in Revision.objects.filter(action="add")} == {"Anna (sitter)"}
    # Twice, as by a second thumb: once.
    assert "done already" in tick(link, f"plan:{plan.pk}").text
    assert CareStep.objects.count() == 2


def test_undo_makes_it_due_again(cast, link, plan):
    page = tick(link, f"plan:{plan.pk}").text
    (key,) = re.findall(r'name="what"\s+value="(step:[^"]+)"', page)
    page = Client().post(f"{link}undo/", {"what": key}, follow=True).text
    assert "Undone: Dill, left foot: " in page
    assert "1 thing to do" in page and not CareStep.objects.exists()
    gone = Revision.objects.filter(action="delete")
    assert {one.author for one in gone} == {"Anna (sitter)"} and len(gone) == 2


def test_only_the_sitters_own_of_today_is_undone(cast, link, dill, plan):
    mine = {"keeper": None, "keeper_name": "Anna (sitter)"}
    others = [
        step(cast, dill, "rinsed"),
        step(cast, dill, "rinsed", days_ago=2, **mine),
        step(cast, dill, "rinsed", keeper=None, keeper_name="Bert (sitter)"),
    ]
    for other in others:
        Client().post(f"{link}undo/", {"what": f"step:{other.pk}"})
    assert CareStep.objects.count() == 3


def test_a_dressing_is_ticked_as_its_button_says(cast, link, dill):
    on = step(cast, dill, "dressing on", days_ago=1, foot="right", product="Gauze")
    tick(link, f"step:{on.pk}", "dressing changed")
    changed = CareStep.objects.get(kind="dressing changed")
    assert (changed.product, changed.by) == ("Gauze", "Anna (sitter)")
    assert Revision.objects.get(record=changed.pk).author == "Anna (sitter)"


@pytest.mark.parametrize("kind", ["vet", "scab lifted", "medicine"])
def test_no_more_than_the_page_offers(cast, link, birds, kind):
    on = step(cast, birds["Mace"], "dressing on", days_ago=1)
    later = step(cast, birds["Mace"], "soaked", next_due=day(3))
    before = CareStep.objects.count()
    assert "no longer due" in tick(link, f"step:{on.pk}", kind).text
    assert "no longer due" in tick(link, f"step:{later.pk}").text
    for key in ("", "step:", "plan:x", "task:muck out:x"):
        assert "no longer due" in tick(link, key).text
    assert CareStep.objects.count() == before


def test_a_task_of_the_house(cast, link):
    house = House.objects.create(flock=cast.flock, name="Cart Shed")
    for kind in ("muck out", "trim nails"):
        Task.objects.create(flock=cast.flock, kind=kind, every_days=7, since=day(-1))
    page = Client().get(link).text
    assert "Muck out and renew the bedding, Cart Shed" in page and "nails" not in page
    page = tick(link, f"task:muck out:{house.pk}").text
    done = TaskDone.objects.get()
    assert "Anna (sitter)" in cast.clients.keeper.get(reverse("today", args=[cast.flock.pk])).text
    assert Revision.objects.get(record=done.pk).author == "Anna (sitter)"
    other = cast.clients.keeper.post(
        reverse("care:task_done", args=[cast.flock.pk]),
        {"what": f"muck out:{house.pk}"},
        follow=True,
    )
    assert "Anna (sitter) has done this already." in other.text
    assert f"task:{done.pk}" in page
    Client().post(f"{link}undo/", {"what": f"task:{done.pk}"})
    assert not TaskDone.objects.exists()


def test_a_keepers_tick_is_shown_without_a_name_and_not_undone(cast, link, dill, plan):
    soaked = step(cast, dill, "rinsed", days_ago=1, foot="right", next_due=day(0))
    repeat_step(step=soaked, by=cast.keeper)
    page = Client().get(link).text
    assert "a keeper," in page and cast.keeper.name not in page
    assert "undo/" not in page


# --- Ahead, and on paper


@pytest.mark.parametrize(
    ("on", "every", "until", "days"),
    [
        (-3, 2, None, [1, 3, 5]),
        (2, 2, None, [2, 4]),
        (0, None, None, [1]),
        (4, 1, 4, [4]),
        (6, 1, None, []),
        (0, 2, 0, []),
    ],
)
def test_the_days_to_come(on, every, until, days):
    start = today()
    there = Days(start + timedelta(1), start + timedelta(5))
    until = None if until is None else start + timedelta(until)
    found = there.of(start + timedelta(on), every, until)
    assert [(one - start).days for one in found] == days


def test_the_paper_has_every_day_and_no_buttons(cast, plan):
    make(cast.clients.keeper, cast, first=day(1), last=day(4))
    kept = ShareLink.objects.get()
    page = cast.clients.keeper.get(reverse("vetsheet:sitter_paper", args=[cast.flock.pk, kept.pk]))
    assert page.status_code == 200 and "<form" not in page.text
    assert not re.search(r"things? to do|is due today", page.text)
    found = sitting(kept, now=timezone.now())
    assert [thing.days for thing in found.ahead] == [(day(1), day(3))]
    assert page.text.count("sitter-day") >= 2


def test_a_foot_left_to_be_watched(cast, link, birds):
    look(cast, birds["Mace"], days_ago=8, left={"score": 1})
    step(cast, birds["Mace"], "watched", days_ago=7, next_due=day(0))
    (key,) = re.findall(r'value="(step:[^"]+)"', Client().get(link).text)
    tick(link, key, "watched")
    assert CareStep.objects.filter(kind="watched", keeper_name="Anna (sitter)").exists()


def test_whose_eggs_are_not_eaten_is_said_once(cast, dill, link):
    step(cast, dill, "medicine", egg_days=5, meat_days=5, days_from="label")
    page = Client().get(link).text
    assert page.count("Don’t eat Dill’s eggs") == 1
    assert page.count("withhold all that could be its own") == 1


def test_a_house_whose_hens_all_withhold_is_told_as_a_whole(cast, birds, link):
    ark = House.objects.create(flock=cast.flock, name="Ark")
    for name in birds:
        Stay.objects.create(flock=cast.flock, bird=birds[name], house=ark, since=day(-9))
    known = {"meat_days": 0, "days_from": "label"}
    step(cast, birds["Dill"], "medicine", egg_days=5, **known)
    assert "any egg from Ark" not in Client().get(link).text
    Bird.objects.filter(pk=birds["Sorrel"].pk).update(sex="cock")
    mace = step(cast, birds["Mace"], "medicine", egg_days=9, **known)
    page = Client().get(link).text
    last = f"up to and including {day(9).day} {day(9):%b}"
    assert page.count(f"Don’t eat any egg from Ark {last}.") == 1 and "Dill’s eggs" not in page
    mace.egg_days = None
    mace.save()
    assert "Don’t eat any egg from Ark until the keepers say so." in Client().get(link).text


def test_who_is_in_quarantine_is_seen_to_last(cast, birds, link):
    assert "In quarantine" not in Client().get(link).text
    state = {"flock": cast.flock, "kind": "quarantine", "since": day(-5)}
    BirdState.objects.create(bird=birds["Mace"], **state)
    said = "In quarantine: Mace. See to her last, then wash your hands."
    assert said in Client().get(link).text
    BirdState.objects.create(bird=birds["Sorrel"], **state)
    assert "In quarantine: Mace and Sorrel. See to them last" in Client().get(link).text
