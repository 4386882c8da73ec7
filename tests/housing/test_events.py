"""What happened and how wet it was: one tap each, taken back and brought back, on timelines."""

import datetime as dt
import io
from zoneinfo import ZoneInfo

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from flockcare.drawing.timeline import Mark, Period, Window
from flockcare.feet import services as feet
from flockcare.housing import services
from flockcare.housing.changes import RENEWED_DAYS, history
from flockcare.housing.layers import stays
from flockcare.housing.models import Event, HousingChange, Wetness
from flockcare.housing.states import record_of
from flockcare.pages.kinds import KINDS
from flockcare.people import restoring
from flockcare.people.models import Revision
from tests.housing.rows import feature, house, state, stay

pytestmark = pytest.mark.django_db
MAY, JUNE = dt.date(2026, 5, 10), dt.date(2026, 6, 10)
DAY = dt.timedelta(1)


@pytest.fixture
def shed(cast, birds):
    shed = house(cast.flock)
    stay(birds["Dill"], shed)
    return shed


def url(name, *args):
    return reverse(f"housing:{name}", args=args)


def tap(cast, place="all", **sent):
    address = url("events", cast.flock.pk)
    return cast.clients.keeper.post(address, {"house": place, **sent}, follow=True)


def text_of(answer):
    return " ".join(answer.content.decode().split())


# One tap


def test_a_tap_logs_today_and_a_second_says_nothing_new(cast, shed):
    page = tap(cast, shed.pk, kind="bedding")
    event = Event.objects.get()
    assert (event.house, event.on, event.keeper) == (shed, timezone.localdate(), cast.keeper)
    assert "Saved: bedding renewed, Shed, today" in text_of(page)
    assert url("event_delete", cast.flock.pk, event.pk) in text_of(page)
    tap(cast, shed.pk, kind="bedding")
    assert Event.objects.get() == event
    tap(cast, kind="bedding")
    assert Event.objects.filter(house=None).get().where == "whole flock"


def test_something_else_wants_a_word_and_nothing_typed_is_lost(cast):
    page = tap(cast, kind="other")
    assert page.status_code == 422 and "Say in a word or two" in text_of(page)
    tap(cast, kind="other", what="New cat")
    tap(cast, kind="predator", what="Fox at noon")
    other, fox = Event.objects.order_by("kind")
    assert (other.words, other.note) == ("New cat", "")
    assert (fox.words, fox.note) == ("predator", "Fox at noon")


def test_a_house_of_another_flock_is_no_choice(cast):
    strange = house(cast.elsewhere, "Theirs")
    assert tap(cast, strange.pk, kind="feed").status_code == 422
    assert not Event.objects.exists()


def test_what_treats_mites_says_that_it_withdraws_no_eggs(cast):
    assert "starts no egg withdrawal" in text_of(tap(cast, kind="parasites"))
    assert "egg withdrawal" not in text_of(tap(cast, kind="feed"))


def test_undone_it_is_gone_and_comes_back_with_its_photo(cast, shed):
    tap(cast, shed.pk, kind="predator")
    event = Event.objects.get()
    file = io.BytesIO()
    Image.new("RGB", (60, 40), "red").save(file, "JPEG")
    file.seek(0)
    file.name = "fox.jpg"
    address = url("event", cast.flock.pk, event.pk)
    sent = {"on": "2026-05-10", "kind": "predator", "house": shed.pk, "photos": file, "note": "Fox"}
    assert cast.clients.keeper.post(address, sent).status_code == 302
    event.refresh_from_db()
    photo = event.photos.get()
    assert (event.on, event.note, photo.of_house) == (MAY, "Fox", True)
    shown = text_of(cast.clients.viewer.get(url("house", cast.flock.pk, shed.pk)))
    assert "Predator" in shown and f"{photo.pk}/240.jpg" in shown
    cast.clients.keeper.post(url("event_delete", cast.flock.pk, event.pk))
    assert not Event.objects.exists()
    gone = Revision.objects.get(record=event.pk, action="delete")
    restoring.bring_back(revision=gone, kinds=KINDS, by=cast.owner)
    assert Event.objects.get().photos.get() == photo


def test_a_habit_leaves_room_for_the_changes_in_the_history_of_a_house(cast, shed):
    bar = feature(shed, "Bar")
    for on, height in ((MAY, 90), (MAY + DAY, 60)):
        state(bar, on, height_cm=height)
    for days in range(9):
        log(cast, JUNE + days * DAY, kind="bedding", house=shed)
    page = text_of(cast.clients.viewer.get(url("house", cast.flock.pk, shed.pk)))
    assert (
        "Bar 90 → 60 cm" in page and page.count("Bedding renewed: 9 times, last 18 Jun 2026") == 1
    )
    assert "earlier</a>" not in page
    log(cast, JUNE - DAY, kind="bedding", house=shed, note="Half of it.")
    for address in (url("house", cast.flock.pk, shed.pk), url("events", cast.flock.pk)):
        page = text_of(cast.clients.viewer.get(address))
        assert "Bedding renewed: 9 times" in page and "Half of it." in page


def test_a_new_house_tells_nothing_of_the_flock_from_before_it_stood(cast, shed):
    state(feature(shed, "Bar"), JUNE, height_cm=90)
    log(cast, MAY, kind="feed")
    log(cast, JUNE + DAY, kind="new birds")
    log(cast, MAY, until=JUNE, kind="wet spell")
    log(cast, MAY, kind="predator", house=shed)
    page = text_of(cast.clients.viewer.get(url("house", cast.flock.pk, shed.pk)))
    told = page[page.index('id="history"') :]
    assert all(words in told for words in ("New birds", "Wet spell", "Predator"))
    assert "Feed changed" not in told


def test_what_was_logged_a_moment_ago_is_undone_not_deleted(cast, shed):
    tap(cast, kind="feed")
    page = cast.clients.keeper.get(f"{url('event', cast.flock.pk, Event.objects.get().pk)}?new")
    assert 'name="undo">Undo</button>' in page.text
    over = url("event_delete", cast.flock.pk, Event.objects.get().pk)
    assert "Undone: feed changed" in cast.clients.keeper.post(over, {"undo": ""}, follow=True).text


def test_a_spell_is_shown_until_it_is_over(cast, shed):
    tap(cast, kind="wet spell")
    event = Event.objects.get()
    Event.objects.update(on=MAY)
    page = url("house", cast.flock.pk, shed.pk)
    assert "Over today" in text_of(cast.clients.keeper.get(page))
    over = url("event_over", cast.flock.pk, event.pk)
    cast.clients.keeper.post(over)
    event.refresh_from_db()
    assert event.until == timezone.localdate()
    assert "Over today" not in text_of(cast.clients.keeper.get(page))
    services.end_spell(event=event, on=event.until + DAY, by=cast.keeper)
    event.refresh_from_db()
    assert event.until == timezone.localdate()


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"kind": "feed", "until": JUNE}, "until"),
        ({"kind": "wet spell", "until": MAY - DAY}, "until"),
        ({"kind": "feed", "what": "mash"}, "what"),
    ],
)
def test_what_an_event_cannot_hold_together(cast, fields, field):
    with pytest.raises(ValidationError) as refused:
        services.log_event(event=Event(flock=cast.flock, on=MAY, **fields), today=JUNE)
    assert field in refused.value.error_dict


def test_a_house_goes_with_what_happened_and_comes_back_with_it(cast):
    barn = house(cast.flock, "Barn")
    for model, more in ((Event, {"kind": "feed"}), (Wetness, {"level": "wet"})):
        model.objects.create(flock=cast.flock, house=barn, on=MAY, **more)
    services.delete_house(house=barn, by=cast.keeper)
    assert not Event.objects.exists() and not Wetness.objects.exists()
    event = Revision.objects.get(kind="housing.Event")
    with pytest.raises(ValidationError, match="house was deleted too"):
        restoring.bring_back(revision=event, kinds=KINDS, by=cast.owner)
    gone = Revision.objects.get(kind="housing.House", action="delete")
    restoring.bring_back(revision=gone, kinds=KINDS, by=cast.owner)
    assert Event.objects.get().house.name == "Barn" == Wetness.objects.get().house.name


# How wet it is


def test_wetness_said_again_on_that_day_is_corrected(cast, shed):
    address = url("wetness", cast.flock.pk, shed.pk)
    for level in ("wet", "damp"):
        assert cast.clients.keeper.post(address, {"level": level}).status_code == 302
    assert Wetness.objects.get().level == "damp"
    assert Revision.objects.get(kind="housing.Wetness").before["level"] == "wet"
    assert cast.clients.keeper.post(address, {"level": "soaked"}).status_code == 404


@pytest.fixture
def on_a_round(cast, birds, shed):
    keys = [birds["Dill"].pk, birds["Mace"].pk]
    feet.start_round(flock=cast.flock, keeper=cast.keeper, bird_ids=keys, now=timezone.now())
    stay(birds["Mace"], shed)
    return reverse("check_bird", args=[cast.flock.pk, birds["Dill"].pk])


def asks(cast, address, client="keeper"):
    return "Underfoot in Shed today" in text_of(getattr(cast.clients, client).get(address))


def test_a_round_asks_once_a_week_and_house(cast, birds, on_a_round, shed):
    assert not asks(cast, on_a_round), "only in a round"
    address = f"{on_a_round}?round"
    assert asks(cast, address)
    answer = reverse("pages:wetness", args=[cast.flock.pk, birds["Dill"].pk])
    assert cast.clients.keeper.post(answer, {"level": "wet"}).headers["Location"] == address
    assert Wetness.objects.get().level == "wet"
    mace = address.replace(str(birds["Dill"].pk), str(birds["Mace"].pk))
    assert not asks(cast, address) and not asks(cast, mace)
    for days, again in ((6, False), (7, True)):
        Wetness.objects.update(on=timezone.localdate() - days * DAY)
        assert asks(cast, address) == again


def test_skipped_by_one_keeper_the_other_is_asked(cast, birds, on_a_round):
    address = f"{on_a_round}?round"
    answer = reverse("pages:wetness", args=[cast.flock.pk, birds["Dill"].pk])
    cast.clients.keeper.post(answer, {"skip": "yes"})
    assert not asks(cast, address) and asks(cast, address, "owner")
    assert not Wetness.objects.exists()


# On timelines

SUMMER = Window(dt.date(2026, 4, 1), dt.date(2026, 9, 30), ZoneInfo("Europe/London"))


def log(cast, on, kind="feed", **more):
    return Event.objects.create(flock=cast.flock, on=on, kind=kind, **more)


def shown(bird, kind):
    return [one for one in stays(bird, SUMMER) if isinstance(one, kind)]


def test_a_timeline_has_what_happened_where_she_lived_then(cast, birds, shed):
    barn = house(cast.flock, "Barn")
    dill, mace = birds["Dill"], birds["Mace"]
    dill.stay_set.update(until=JUNE)
    stay(dill, barn, JUNE)
    mace.joined = JUNE.isoformat()
    mace.save()
    log(cast, MAY, house=shed)
    log(cast, JUNE, house=shed, kind="predator")
    log(cast, JUNE, house=barn, kind="bedding")
    log(cast, MAY, kind="new birds")
    log(cast, dt.date(2026, 3, 1), house=shed, kind="wet spell", until=MAY)
    log(cast, MAY, house=barn, kind="wet spell")
    log(cast, dt.date(2026, 2, 1), kind="housing order", until=dt.date(2026, 3, 31))
    assert [(one.at, one.label) for one in shown(dill, Mark)] == [
        (MAY, "feed changed, Shed"),
        (MAY, "new birds, whole flock"),
        (JUNE, "bedding renewed, Barn"),
    ]
    assert [(one.since, one.until, one.label) for one in shown(dill, Period)] == [
        (dt.date(2026, 3, 1), MAY, "wet spell, Shed"),
        (MAY, None, "wet spell, Barn"),
    ]
    assert stays(mace, SUMMER) == []


def test_wet_readings_in_a_row_are_one_time(cast, birds, shed):
    def say(on, level):
        Wetness.objects.create(flock=cast.flock, house=shed, on=on, level=level)

    for days, level in ((0, "wet"), (7, "wet"), (14, "dry"), (21, "wet"), (36, "wet")):
        say(MAY + days * DAY, level)
    found = [
        ((one.since - MAY).days, (one.until - MAY).days) for one in shown(birds["Dill"], Period)
    ]
    assert found == [(0, 7), (21, 21), (36, 36)]
    assert stays(birds["Mace"], SUMMER) == []


# Wet to dry: by hand, or by the weather


def dried(cast, shed, *, damp=("wet", "dry"), **more):
    """The yard was ``damp[0]`` on 10 May and is ``damp[1]`` on 10 June, and what else differs."""
    yard = feature(shed, "Yard", "landing")
    state(yard, MAY, damp=damp[0], bedding="straw", bedding_depth_cm=5)
    new = {"bedding": "straw", "bedding_depth_cm": 5, **more}
    state(yard, JUNE, damp=damp[1], **new)


def newest(shed, events=()):
    told = HousingChange.objects.filter(house=shed)
    return history(record_of(shed), told, events, units="metric")[0]


@pytest.mark.parametrize(
    ("damp", "more", "asks", "made"),
    [
        (("wet", "dry"), {}, True, False),
        (("damp", "dry"), {}, True, False),
        (("dry", "wet"), {}, False, False),
        (("wet", "dry"), {"bedding": "shavings"}, False, True),
        (("wet", "dry"), {"bedding_depth_cm": 12}, False, True),
        (("wet", "dry"), {"material": "chip"}, True, False),  # Not known before, so only noted.
    ],
)
def test_drier_with_the_same_bedding_asks_and_new_bedding_was_made(
    cast, shed, damp, more, asks, made
):
    dried(cast, shed, damp=damp, **more)
    change = newest(shed)
    assert (change.asks, change.made) == (asks, made)


@pytest.mark.parametrize(
    ("days", "kind", "made"),
    [
        *((0, "bedding", True), (RENEWED_DAYS, "bedding", True)),
        *((RENEWED_DAYS + 1, "bedding", False), (-1, "bedding", False), (0, "feed", False)),
    ],
)
def test_bedding_renewed_just_before_made_it_drier(cast, shed, days, kind, made):
    dried(cast, shed)
    log(cast, JUNE - days * DAY, kind=kind, house=shed)
    change = newest(shed, Event.objects.all())
    assert (change.made, change.asks) == (made, not made)
    elsewhere = house(cast.flock, "Barn")
    Event.objects.update(house=elsewhere)
    assert newest(shed, Event.objects.all()).asks


@pytest.mark.parametrize(("kind", "made"), [("drainage", True), ("found", False)])
def test_one_tap_says_why_it_is_drier(cast, shed, kind, made):
    dried(cast, shed)
    page = url("house", cast.flock.pk, shed.pk)
    assert "Was something done?" in text_of(cast.clients.keeper.get(page))
    address = url("change_why", cast.flock.pk, shed.pk, JUNE)
    assert cast.clients.keeper.post(address, {"kind": "magic"}).status_code == 404
    assert cast.clients.keeper.post(address, {"kind": kind}).status_code == 302
    assert (newest(shed).made, newest(shed).asks) == (made, False)
    assert "Was something done?" not in text_of(cast.clients.keeper.get(page))
