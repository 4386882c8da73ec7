"""A round on paper: the order of the sheet, and typing it in again, all lines at once."""

import re
import uuid
from datetime import UTC, date, datetime

import pytest
from django.urls import reverse
from django.utils import timezone

from flockcare.birds.models import Bird, BirdState
from flockcare.feet.models import Check
from flockcare.housing.models import House, Stay
from flockcare.pages.coop_sheet import groups_of
from flockcare.people.models import Revision
from tests.people.rows import FORM_PAGE, NOT_WRITERS, refused, same_queries, seen

NOW = datetime(2026, 11, 3, 18, 0, tzinfo=UTC)
DAY = date(2026, 11, 2)


@pytest.fixture(autouse=True)
def _evening(monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: NOW)


@pytest.fixture
def where(cast):
    return reverse("pages:coop_type", args=[cast.flock.pk])


def typed(cast, lines: dict, **more) -> dict:
    """What the form sends; ``lines``: of each bird what was filled in."""
    said = {"key": str(uuid.uuid4()), "day": DAY, "by": cast.keeper.pk, "name": "", **more}
    for bird, line in lines.items():
        for name in ("left", "right", "limps", "note"):
            said[f"{bird.pk}-{name}"] = line.get(name, "")
        said |= {f"{bird.pk}-too": "on"} if "too" in line else {}
    return said


def said(check) -> dict:
    return {finding.foot: finding.score for finding in check.findings.all()}


def test_who_may(cast, where):
    assert refused(cast, where) == NOT_WRITERS
    assert seen(cast, where) == FORM_PAGE
    assert seen(cast, reverse("pages:coop_sheet", args=[cast.flock.pk])) == FORM_PAGE


@pytest.mark.parametrize(
    ("order", "groups"),
    [
        ("house", [("Barn", ["alba", "Sorrel"]), ("Shed", ["Dill"]), ("In no house", ["Mace"])]),
        ("name", [("", ["alba", "Dill", "Mace", "Sorrel"])]),
        # By colour and number, 9 before 10; who has no band comes last.
        ("band", [("", ["Sorrel", "Dill", "Mace", "alba"])]),
    ],
)
def test_the_order(cast, order, groups):
    given = {
        "Dill": ("green", "9"),
        "Mace": ("green", "10"),
        "Sorrel": ("blue", "7"),
        "alba": ("", ""),
    }
    hens = {
        name: Bird.objects.create(flock=cast.flock, name=name, band_colour=colour, band_number=no)
        for name, (colour, no) in given.items()
    }
    Bird.objects.create(flock=cast.flock, name="Gone", left="2026-01-02", left_reason="sold")
    for house, names in (("Shed", ["Dill"]), ("Barn", ["Sorrel", "alba"])):
        of = House.objects.create(flock=cast.flock, name=house)
        for name in names:
            Stay.objects.create(flock=cast.flock, house=of, bird=hens[name])
    found = groups_of(cast.flock, order, DAY)
    assert [(name, [bird.name for bird in some]) for name, some in found] == groups
    # The form has the same order.
    page = cast.clients.keeper.get(
        reverse("pages:coop_type", args=[cast.flock.pk]), {"order": order}
    ).text
    keys = re.findall(r'name="([0-9a-f-]{36})-left" value=""', page)
    assert keys == [str(bird.pk) for _, some in found for bird in some]


@pytest.mark.parametrize("order", ["house", "name", "band"])
def test_who_is_in_quarantine_stands_last(cast, order):
    flock = cast.flock
    hens = [Bird.objects.create(flock=flock, name=name) for name in ("Alba", "Dill")]
    barn = House.objects.create(flock=flock, name="Barn")
    for hen in hens:
        Stay.objects.create(flock=flock, bird=hen, house=barn, since="2026-01-01")
    BirdState.objects.create(flock=flock, bird=hens[0], kind="quarantine", since="2026-10-25")
    groups = groups_of(flock, order, DAY)
    assert [(name.split(":")[0], birds) for name, birds in groups] == [
        ("Barn" if order == "house" else "", [hens[1]]),
        ("In quarantine", [hens[0]]),
    ]


def test_one_save_for_all(cast, where, birds):
    lines = {
        birds["Dill"]: {"left": "0", "right": "2", "limps": "yes", "note": "Scab."},
        birds["Mace"]: {"left": "0", "right": "0", "limps": "no"},
        birds["Sorrel"]: {},
    }
    page = cast.clients.owner.post(where, typed(cast, lines), follow=True)
    assert "2 checks of 2 November" in page.text
    dill, mace = Check.objects.order_by("bird__name")
    assert said(dill) == {"left": 0, "right": 2} and (dill.gait, dill.note) == (2, "Scab.")
    assert said(mace) == {"left": 0, "right": 0} and (mace.gait, mace.note) == (0, "")
    for check in (dill, mace):
        assert (check.keeper, check.time_known) == (cast.keeper, False)
        assert check.at == datetime(2026, 11, 2, 12, 0, tzinfo=UTC)
    first, second = Revision.objects.order_by("pk")
    assert second.first == first and {first.by, second.by} == {cast.owner}
    assert first.words == "Coop sheet of 2 November 2026, 2 checks"
    undo = reverse("pages:changeset", args=[cast.flock.pk, first.pk])
    cast.clients.owner.post(undo)
    assert not Check.objects.exists()


@pytest.mark.parametrize(
    ("day", "at"),
    [
        # Clocks in Europe/London go forward on 29 March and back on 25 October 2026 (from memory).
        (date(2026, 3, 28), datetime(2026, 3, 28, 12, tzinfo=UTC)),
        (date(2026, 3, 29), datetime(2026, 3, 29, 11, tzinfo=UTC)),
        (date(2026, 10, 24), datetime(2026, 10, 24, 11, tzinfo=UTC)),
        (date(2026, 10, 25), datetime(2026, 10, 25, 12, tzinfo=UTC)),
    ],
)
def test_noon_of_the_flocks_own_day(cast, where, birds, day, at):
    # A minute before its midnight is no check of that day.
    before = datetime(day.year, day.month, day.day, tzinfo=cast.flock.zone).timestamp() - 60
    late = datetime.fromtimestamp(before, UTC)
    Check.objects.create(flock=cast.flock, bird=birds["Dill"], at=late)
    answer = cast.clients.keeper.post(where, typed(cast, {birds["Dill"]: {"left": "1"}}, day=day))
    assert answer.status_code == 302
    check = Check.objects.latest("at")
    assert check.at == at and timezone.localdate(check.at, cast.flock.zone) == day


def test_today_before_noon_it_is_not_in_the_future(cast, where, birds, monkeypatch):
    early = datetime(2026, 11, 3, 7, 0, tzinfo=UTC)
    monkeypatch.setattr(timezone, "now", lambda: early)
    cast.clients.keeper.post(where, typed(cast, {birds["Dill"]: {"left": "1"}}, day=early.date()))
    assert Check.objects.get().at == early


def test_somebody_without_an_account(cast, where, birds):
    lines = {birds["Dill"]: {"left": "1"}}
    page = cast.clients.keeper.post(where, typed(cast, lines, by="another"))
    assert page.status_code == 422 and "Say who checked." in page.text
    cast.clients.keeper.post(where, typed(cast, lines, by="another", name="Anna"))
    check = Check.objects.get()
    assert (check.keeper, check.by) == (None, "Anna")


def test_a_refused_line_saves_nothing_and_loses_nothing(cast, where, birds):
    birds["Mace"].hatched = "2026-11-03"
    birds["Mace"].save()
    lines = {
        birds["Dill"]: {"left": "2", "note": "Scab, black."},
        birds["Mace"]: {"left": "0"},
        birds["Sorrel"]: {"note": "Seen from afar."},
    }
    page = cast.clients.keeper.post(where, typed(cast, lines))
    assert page.status_code == 422 and not Check.objects.exists()
    assert "Score a foot, or say whether the bird limps." in page.text
    lines[birds["Sorrel"]]["right"] = "0"
    page = cast.clients.keeper.post(where, typed(cast, lines))
    assert page.status_code == 422 and not Check.objects.exists() and not Revision.objects.exists()
    assert "had not hatched yet" in page.text and "1\nbird below needs" in page.text
    assert "Scab, black." in page.text and "Seen from afar." in page.text
    assert re.search(rf'name="{birds["Dill"].pk}-left" value="2"\s+id="[^"]+" checked', page.text)


def test_a_bird_that_has_a_check_of_that_day(cast, where, birds):
    morning = datetime(2026, 11, 2, 0, 5, tzinfo=UTC)
    check = Check.objects.create(
        flock=cast.flock, bird=birds["Dill"], at=morning, keeper=cast.owner
    )
    check.findings.create(foot="left", score=1)
    lines = {birds["Dill"]: {"left": "0"}, birds["Mace"]: {"left": "0"}}
    page = cast.clients.keeper.post(where, typed(cast, lines))
    assert page.status_code == 422 and Check.objects.count() == 1
    assert "There is a check of that day already: left foot mild, by Owner." in page.text
    assert f'name="{birds["Dill"].pk}-too"' in page.text
    assert f'name="{birds["Mace"].pk}-too"' not in page.text
    lines[birds["Dill"]]["too"] = "on"
    assert cast.clients.keeper.post(where, typed(cast, lines)).status_code == 302
    assert Check.objects.count() == 3


def test_sent_twice_is_saved_once(cast, where, birds):
    sent = typed(cast, {birds["Dill"]: {"left": "0"}})
    for _ in range(2):
        assert cast.clients.keeper.post(where, sent).status_code == 302
    assert Check.objects.count() == Revision.objects.count() == 1
    # Other words under the same key: said at the line, and the saved one stays.
    page = cast.clients.keeper.post(where, sent | {f"{birds['Dill'].pk}-left": "2"})
    assert page.status_code == 422 and "saved already" in page.text
    assert said(Check.objects.get()) == {"left": 0}


@pytest.mark.parametrize(
    ("more", "field"),
    [({"day": "2026-11-04"}, "day"), ({"day": ""}, "day"), ({"by": str(uuid.UUID(int=0))}, "by")],
)
def test_a_wrong_head(cast, where, birds, more, field):
    page = cast.clients.keeper.post(where, typed(cast, {birds["Dill"]: {"left": "0"}}, **more))
    assert page.status_code == 422 and not Check.objects.exists()
    assert set(page.context["form"].errors) == {field}


def test_an_empty_sheet_and_birds_that_went_meanwhile(cast, where, birds):
    page = cast.clients.keeper.post(where, typed(cast, {birds["Dill"]: {}}))
    assert page.status_code == 422 and "Nothing is filled in yet." in page.text
    Bird.objects.filter(pk=birds["Dill"].pk).update(left="2026-11-03", left_reason="sold")
    answer = cast.clients.keeper.post(where, typed(cast, {birds["Dill"]: {"left": "0"}}))
    assert answer.status_code == 302 and Check.objects.count() == 1
    sent = typed(cast, {birds["Mace"]: {"left": "0"}, birds["Sorrel"]: {"left": "1"}})
    birds["Mace"].delete()
    page = cast.clients.keeper.post(where, sent)
    assert page.status_code == 422 and "was deleted meanwhile" in page.text
    assert Check.objects.count() == 1


def test_a_bird_of_another_flock_is_nobody(cast, where, birds):
    theirs = Bird.objects.create(flock=cast.elsewhere, name="Clove")
    page = cast.clients.keeper.post(where, typed(cast, {theirs: {"left": "0"}}))
    assert page.status_code == 422 and not Check.objects.exists() and "Clove" not in page.text


def test_as_many_queries_for_one_bird_as_for_twenty(cast, where, birds):
    def grow():
        for number in range(17):
            Bird.objects.create(flock=cast.flock, name=f"Hen {number}")

    same_queries(cast.clients.keeper, where, grow=grow)
