"""The pages about houses: who sees them, what they take and say."""

import datetime as dt
import io
import re

import pytest
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from flockcare.birds.models import Bird
from flockcare.housing.models import (
    Feature,
    FeatureState,
    House,
    HousingChange,
    PlannedState,
    Stay,
    Walk,
)
from flockcare.people.models import Revision
from flockcare.photos.models import Photo
from tests.housing.rows import feature, house, state, stay
from tests.people.rows import FORM_PAGE, NOT_WRITERS, READ_PAGE, refused, same_queries, seen

MAY, JUNE = dt.date(2026, 5, 10), dt.date(2026, 6, 10)


@pytest.fixture
def shed(cast, birds):
    shed = house(cast.flock, floor_length_cm=200, floor_width_cm=150)
    bar = feature(shed, "Top bar")
    state(bar, MAY, height_cm=140, length_cm=200, edge="square")
    state(bar, JUNE, height_cm=60, length_cm=200, edge="square")
    state(feature(shed, "Yard", "landing"), MAY, bedding="stone")
    stay(birds["Dill"], shed)
    return shed


def url(name, *args):
    return reverse(f"housing:{name}", args=args)


def text(client, address):
    answer = client.get(address)
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def bar_of(shed):
    return Feature.objects.get(house=shed, name="Top bar")


# Who


READ = [
    lambda flock, shed, bird: url("list", flock.pk),
    lambda flock, shed, bird: url("house", flock.pk, shed.pk),
    lambda flock, shed, bird: url("feature", flock.pk, bar_of(shed).pk),
    lambda flock, shed, bird: url("stays", flock.pk, bird.pk),
]
FORMS = [
    lambda flock, shed, bird: url("add", flock.pk),
    lambda flock, shed, bird: url("move", flock.pk),
    lambda flock, shed, bird: url("edit", flock.pk, shed.pk),
    lambda flock, shed, bird: url("feature_add", flock.pk, shed.pk),
    lambda flock, shed, bird: url("feature_add", flock.pk, shed.pk) + "?start=roost",
    lambda flock, shed, bird: url("feature_edit", flock.pk, bar_of(shed).pk),
    lambda flock, shed, bird: url("change", flock.pk, shed.pk),
    lambda flock, shed, bird: url("change_tell", flock.pk, shed.pk, "2026-06-10"),
    lambda flock, shed, bird: url("correct", flock.pk, shed.pk),
    lambda flock, shed, bird: url("state", flock.pk, bar_of(shed).states.first().pk),
    lambda flock, shed, bird: url("stay", flock.pk, Stay.objects.get().pk),
]


@pytest.mark.parametrize("page", READ)
def test_who_may_look(cast, shed, birds, page):
    assert seen(cast, page(cast.flock, shed, birds["Dill"])) == READ_PAGE


@pytest.mark.parametrize("page", FORMS)
def test_who_may_write(cast, shed, birds, page):
    address = page(cast.flock, shed, birds["Dill"])
    assert seen(cast, address) == FORM_PAGE
    assert refused(cast, address) == NOT_WRITERS


def test_a_viewer_is_offered_nothing_to_write(cast, shed):
    page = text(cast.clients.viewer, url("house", cast.flock.pk, shed.pk))
    assert "Top bar" in page
    for words in ("Something changed", "Move birds", "Correct a mistake", "Add something"):
        assert words not in page


# The list and the house


def test_a_flock_without_houses_is_told_why_it_should_have_one(cast):
    assert "see whether a change helped" in text(cast.clients.owner, url("list", cast.flock.pk))


def test_the_list_counts_birds_and_tells_the_last_change(cast, shed):
    page = text(cast.clients.owner, url("list", cast.flock.pk))
    assert "1 bird<" in page
    assert "10 Jun 2026: Top bar lowered to 60 cm" in page
    assert "2 birds in no house yet" in page


def test_a_house_as_it_is_and_as_it_was(cast, shed, birds):
    address = url("house", cast.flock.pk, shed.pk)
    now, then = (text(cast.clients.owner, address + day) for day in ("", "?on=2026-06-09"))
    assert "height 60 cm" in now and "height 140 cm" not in now
    assert "height 140 cm" in then and "As it was on" in then
    assert "Lived here then: 1 bird" in then
    # Past days are looked at and not changed from there.
    assert "Something changed" in now and "Something changed" not in then


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("?on=2026-05-09", "The record of Shed begins on 10 May 2026"),
        ("?on=yesterday", "This day could not be shown"),
        ("?on=2999-01-01", "This day could not be shown"),
    ],
)
def test_a_day_that_cannot_be_shown_is_said(cast, shed, query, words):
    assert words in text(cast.clients.owner, url("house", cast.flock.pk, shed.pk) + query)


def test_room_is_named_as_orientation(cast, shed):
    page = text(cast.clients.owner, url("house", cast.flock.pk, shed.pk))
    assert "a rule for 350 laying hens and more" in page
    assert "Length of roost: 200 cm" in page
    assert "A guide, not a building rule" in page
    assert "Local animal-welfare rules come first" in page


def test_history_shows_changes_with_notes_and_photos(cast, shed):
    photo = Photo.objects.create(
        flock=cast.flock, width=9, height=9, stored_bytes=9, sha256="a" * 64, look_hash=0
    )
    told = HousingChange.objects.create(
        flock=cast.flock, house=shed, on=JUNE, kind="height", note="For Mace & all."
    )
    told.photos.add(photo)
    page = text(cast.clients.owner, url("house", cast.flock.pk, shed.pk))
    assert "For Mace &amp; all." in page
    assert f"{photo.pk}/240.jpg" in page
    history = page[page.index('id="history"') :]
    assert history.index("10 Jun 2026") < history.index("the record begins")


def test_a_long_history_is_cut_and_can_be_had_whole(cast, shed):
    for number in range(1, 9):
        state(bar_of(shed), JUNE + dt.timedelta(number), height_cm=60 + number)
    address = url("house", cast.flock.pk, shed.pk)
    page = text(cast.clients.owner, address)
    assert "Top bar 67 → 68 cm" in page and "Top bar 140 → 60 cm" not in page
    assert "4 earlier" in page
    page = text(cast.clients.owner, address + "?all")
    assert "Top bar 140 → 60 cm" in page and "earlier</a>" not in page


def test_a_walk_is_named_with_who_and_when(cast, shed):
    Walk.objects.create(
        flock=cast.flock, house=shed, on=JUNE, keeper=cast.keeper, note="Nail head."
    )
    page = text(cast.clients.owner, url("house", cast.flock.pk, shed.pk))
    assert "10 Jun 2026 by Keeper" in page and "Nail head." in page


# Queries


def test_the_list_asks_the_database_as_often_for_many_houses(cast, shed):
    def grow():
        for number in range(20):
            other = house(cast.flock, f"Shed {number}")
            state(feature(other, "Bar"), MAY, height_cm=9)
            stay(Bird.objects.create(flock=cast.flock, name=f"Hen {number}"), other)
            HousingChange.objects.create(flock=cast.flock, house=other, on=JUNE)

    same_queries(cast.clients.owner, url("list", cast.flock.pk), grow=grow)


def test_a_house_asks_the_database_as_often_for_many_rows(cast, shed):
    def tell(number):
        day = MAY + dt.timedelta(number)
        told = HousingChange.objects.create(flock=cast.flock, house=shed, on=day, note="x")
        told.photos.add(
            Photo.objects.create(
                flock=cast.flock,
                width=9,
                height=9,
                stored_bytes=9,
                sha256=f"{number:064}",
                look_hash=0,
            )
        )
        plan = HousingChange.objects.create(flock=cast.flock, house=shed, planned=True)
        PlannedState.objects.create(
            flock=cast.flock, change=plan, feature=bar_of(shed), height_cm=number
        )

    def grow():
        for number in range(1, 21):
            state(feature(shed, f"Bar {number}"), MAY, height_cm=9)
            stay(Bird.objects.create(flock=cast.flock, name=f"Hen {number}"), shed)
            tell(number)

    tell(0)
    same_queries(cast.clients.owner, url("house", cast.flock.pk, shed.pk), grow=grow)


@pytest.mark.parametrize("name", ["change", "correct"])
def test_forms_ask_the_database_as_often_for_many_features(cast, shed, name):
    def grow():
        for number in range(20):
            state(feature(shed, f"Bar {number}"), MAY, height_cm=9)
            stay(Bird.objects.create(flock=cast.flock, name=f"Hen {number}"), shed)

    same_queries(cast.clients.owner, url(name, cast.flock.pk, shed.pk), grow=grow)


def test_moving_asks_the_database_as_often_for_many_birds(cast, shed):
    def grow():
        for number in range(20):
            stay(Bird.objects.create(flock=cast.flock, name=f"Hen {number}"), shed)

    same_queries(cast.clients.owner, url("move", cast.flock.pk), grow=grow)


# Houses and features


def test_a_house_is_added_edited_and_removed(cast):
    client = cast.clients.keeper
    client.post(
        url("add", cast.flock.pk),
        {"name": "Barn", "floor_length_cm": "2 m", "floor_width_cm": "1,5 m"},
    )
    barn = House.objects.get()
    assert (barn.name, barn.floor_cm2) == ("Barn", 30_000)
    client.post(url("edit", cast.flock.pk, barn.pk), {"name": "Old barn", "floor_length_cm": "200"})
    barn.refresh_from_db()
    assert (barn.name, barn.floor_length_cm, barn.floor_width_cm) == ("Old barn", 200, None)
    client.post(url("delete", cast.flock.pk, barn.pk))
    assert not House.objects.exists()
    assert Revision.objects.filter(kind="housing.House").count() == 2


def test_a_house_that_birds_lived_in_stays(cast, shed):
    answer = cast.clients.owner.post(url("delete", cast.flock.pk, shed.pk), follow=True)
    assert "Birds live or lived in Shed" in answer.content.decode()
    assert House.objects.filter(pk=shed.pk).exists()


def test_two_houses_of_one_name_are_refused(cast, shed):
    answer = cast.clients.owner.post(url("add", cast.flock.pk), {"name": "shed"})
    assert "a house of that name already" in answer.content.decode()


def add(client, shed, start, **typed):
    data = {"arrived": "new", "since": "2026-06-20", "note": "", **typed}
    return client.post(url("feature_add", shed.flock_id, shed.pk) + f"?start={start}", data)


def test_a_feature_is_added_from_a_start_in_plain_words(cast, shed):
    page = text(cast.clients.keeper, url("feature_add", cast.flock.pk, shed.pk))
    for word in ("Roost", "Shelf", "Ladder", "Ramp", "Nest front", "Door sill", "Floor", "Yard"):
        assert f"<strong>{word}" in page
    assert (
        add(cast.clients.keeper, shed, "ladder", name="Ladder", height_cm="55").status_code == 302
    )
    ladder = Feature.objects.get(name="Ladder")
    assert ladder.kind == "ramp"
    assert ladder.states.get().since == dt.date(2026, 6, 20)
    page = text(cast.clients.keeper, url("house", cast.flock.pk, shed.pk))
    assert "Ladder added at 55 cm" in page


def test_what_was_there_already_is_no_change(cast, shed):
    add(cast.clients.keeper, shed, "roost", name="Low bar", arrived="there", height_cm="40")
    assert FeatureState.objects.get(feature__name="Low bar").since == MAY
    page = text(cast.clients.keeper, url("house", cast.flock.pk, shed.pk))
    assert "Low bar added" not in page and "With Low bar, Top bar, Yard" in page


def test_the_first_thing_in_a_house_only_needs_a_day(cast):
    barn = house(cast.flock, "Barn")
    assert add(cast.clients.keeper, barn, "floor", name="Floor").status_code == 302
    held = FeatureState.objects.get()
    assert held.since == dt.date(2026, 6, 20)


def test_fields_fit_the_kind(cast, shed):
    def fields(start):
        address = url("feature_add", cast.flock.pk, shed.pk) + f"?start={start}"
        return set(cast.clients.keeper.get(address).context["form"].fields)

    assert "spacing_cm" in fields("roost") and "bedding" not in fields("roost")
    assert "bedding_depth_cm" in fields("floor") and "edge" not in fields("floor")
    assert "spacing_cm" not in fields("ladder")


def test_one_thing_has_one_word_from_the_list_to_the_label(cast, shed):
    start = url("feature_add", cast.flock.pk, shed.pk)
    page = text(cast.clients.keeper, start) + text(cast.clients.keeper, start + "?start=roost")
    for words in (
        *("<strong>Roost", ">Roost<", "Distance to the next roost in cm"),
        "How far out she lands in cm",
    ):
        assert words in page
    assert "erch" not in page
    page = text(cast.clients.keeper, url("change", cast.flock.pk, shed.pk))
    assert "Tap what changed and enter how it is now" in page
    assert "from what changed" in page


def test_a_name_that_is_taken_is_refused_and_a_free_one_proposed(cast, shed):
    answer = add(cast.clients.keeper, shed, "roost", name="top BAR")
    assert "something of that name already" in answer.content.decode()
    state(feature(shed, "Roost"), MAY)
    page = text(cast.clients.keeper, url("feature_add", cast.flock.pk, shed.pk) + "?start=roost")
    assert 'value="Roost 2"' in page


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({"height_cm": "high"}, "“high” is not a length"),
        ({"height_cm": "20 m"}, "That is too high: at most 1000 cm is possible"),
        ({"since": "2999-01-01"}, "This day is in the future"),
        ({"since": "soon"}, "Enter a day like 2026-03-14"),
        ({"since": "0201-01-01"}, "too long ago"),
        ({"since": ""}, "Enter the day it was put up"),
        ({"arrived": ""}, "Say whether it was there already or is new"),
        ({"name": ""}, "Give it a name"),
        ({"height_cm": "9999999"}, "That is too high: at most 1000 cm is possible"),
        ({"length_cm": "9" * 40}, "That is too long: at most 5000 cm is possible"),
        ({"length_cm": "4 mm"}, "That is too small: at least 5 cm is possible"),
        ({"width_mm": "0"}, "That is too small: at least 1 mm is possible"),
        ({"material": "old pine"}, "Choose one of these words"),
        ({"cover": "x" * 41}, "at most 40 characters"),
        ({"cover-own": "x" * 41}, "at most 40 characters"),
    ],
)
def test_bad_input_is_said_in_words(cast, shed, typed, words):
    answer = add(cast.clients.keeper, shed, "roost", **{"name": "Low bar", **typed})
    assert words in answer.content.decode()
    assert not Feature.objects.filter(name="Low bar").exists()


def test_inches_with_fractions_come_back_as_they_were_typed(cast, shed):
    cast.flock.units = "imperial"
    cast.flock.save()
    add(cast.clients.keeper, shed, "roost", name="Low bar", height_cm="18 1/2", width_mm="1⅝")
    low = FeatureState.objects.get(feature__name="Low bar")
    # 25.4 mm to the inch, from memory.
    assert (low.height_cm, low.width_mm) == (pytest.approx(46.99), pytest.approx(41.275))
    page = text(cast.clients.keeper, url("state", cast.flock.pk, low.pk))
    assert 'value="18 1/2"' in page and 'value="1 5/8"' in page
    page = text(cast.clients.keeper, url("house", cast.flock.pk, shed.pk))
    page = page.replace("\N{NO-BREAK SPACE}", " ")
    assert "height 18 1/2 in" in page and "width 1 5/8 in" in page


def test_a_length_that_was_left_alone_is_not_rounded(cast, shed):
    cast.flock.units = "imperial"
    cast.flock.save()
    held = bar_of(shed).states.get(since=JUNE)
    cast.clients.keeper.post(
        url("state", cast.flock.pk, held.pk),
        {"height_cm": "23 5/8", "length_cm": "80", "edge": "rounded"},
    )
    held.refresh_from_db()
    assert (held.height_cm, held.edge) == (60, "rounded")
    assert held.length_cm == pytest.approx(203.2)


def test_a_floor_of_four_millimetres_is_a_slip_of_the_unit(cast, shed):
    """As small as the floor of a house may be at all; what stands there already is left alone."""
    answer = add(cast.clients.keeper, shed, "floor", name="Floor", breadth_cm="4 mm")
    assert "That is too small: at least 10 cm is possible" in answer.content.decode()
    tray = feature(shed, "Tray", "floor")
    held = state(tray, MAY, breadth_cm=0.4)
    address = url("state", cast.flock.pk, held.pk)
    assert (
        cast.clients.keeper.post(address, {"breadth_cm": "0.4", "damp": "dry"}).status_code == 302
    )
    held.refresh_from_db()
    assert (held.breadth_cm, held.damp) == (0.4, "dry")


def test_bedding_has_the_chips_of_the_walk_and_room_for_another_word(cast, shed):
    page = text(cast.clients.keeper, url("feature_add", cast.flock.pk, shed.pk) + "?start=floor")
    for word in ("none", "straw", "wood shavings"):
        assert re.search(rf'type="radio" name="bedding" value="{word}"', page)
    add(cast.clients.keeper, shed, "floor", name="Floor", bedding="none")
    add(cast.clients.keeper, shed, "floor", name="Nook", **{"bedding-own": " coconut fibre "})
    kept = FeatureState.objects.filter(feature__name__in=("Floor", "Nook"))
    assert set(kept.values_list("feature__name", "bedding")) == {
        ("Floor", "none"),
        ("Nook", "coconut fibre"),
    }
    page = text(cast.clients.keeper, url("state", cast.flock.pk, kept.get(feature__name="Nook").pk))
    assert re.search(r'name="bedding" value="coconut fibre"[^>]* checked', page)


def test_a_bedding_of_no_depth_is_none(cast, shed):
    floor = feature(shed, "Floor", "floor")
    held = state(floor, MAY, material="concrete", bedding_depth_cm=0)
    page = text(cast.clients.viewer, url("house", cast.flock.pk, shed.pk))
    assert "the bedding of Floor" not in page
    assert "Share with litter: 0% of the floor" in page
    page = text(cast.clients.viewer, url("landing", cast.flock.pk, shed.pk))
    assert "bedding not recorded" not in page
    assert "Floor: no bedding" in page
    page = text(cast.clients.keeper, url("state", cast.flock.pk, held.pk))
    assert re.search(r'name="bedding" value="none"[^>]* checked', page)


# Changes and corrections


def shown(client, shed, **changed):
    """What the page of changes would send when nothing but ``changed`` was touched."""
    page = client.get(url("change", shed.flock_id, shed.pk)).context
    data = {"on": "2026-07-01", "kind": "", "note": ""}
    for form, _ in page["forms"]:
        data[f"{form.prefix}-shown"] = form.shown
        for name in form.names:
            value = form.fields[name].prepare_value(form[name].value())
            data[f"{form.prefix}-{name}"] = "" if value is None else value
        for name, value in changed.get(form.feature.name, {}).items():
            data[f"{form.prefix}-{name}"] = value
    return data


def picture(name="shed.jpg"):
    out = io.BytesIO()
    Image.new("RGB", (60, 40), "green").save(out, "JPEG")
    out.seek(0)
    out.name = name
    return out


def test_something_changed_keeps_only_what_differs(cast, shed):
    client = cast.clients.keeper
    data = shown(client, shed, **{"Top bar": {"height_cm": "45"}})
    data |= {"kind": "height", "note": "Lower still.", "photos": picture()}
    answer = client.post(url("change", cast.flock.pk, shed.pk), data, follow=True)
    page = answer.content.decode()
    assert "Saved: a change of the house from 1 Jul 2026 on" in page
    assert "Top bar 60 → 45 cm" in page and "Lower still." in page
    held = bar_of(shed).states.get(since=dt.date(2026, 7, 1))
    assert (held.height_cm, held.length_cm, held.edge) == (45, 200, "square")
    assert FeatureState.objects.filter(feature__name="Yard").count() == 1
    told = HousingChange.objects.get()
    assert told.keeper == cast.keeper and told.photos.count() == 1


def test_nothing_changed_is_said(cast, shed):
    client = cast.clients.keeper
    answer = client.post(url("change", cast.flock.pk, shed.pk), shown(client, shed))
    assert answer.status_code == 422
    assert "Nothing differs yet" in answer.content.decode()


def test_new_feed_is_a_change_without_anything_in_the_house(cast, shed):
    client = cast.clients.keeper
    data = shown(client, shed) | {"kind": "other", "note": "Mash instead of pellets."}
    client.post(url("change", cast.flock.pk, shed.pk), data)
    page = text(client, url("house", cast.flock.pk, shed.pk))
    assert "feed or something else" in page and "Mash instead of pellets." in page
    assert FeatureState.objects.count() == 3
    client.post(url("change_delete", cast.flock.pk, shed.pk, "2026-07-01"))
    assert not HousingChange.objects.exists()
    assert FeatureState.objects.count() == 3


def test_what_is_taken_away_stands_there_no_more_and_can_be_put_back(cast, shed):
    client = cast.clients.keeper
    address = url("change", cast.flock.pk, shed.pk)
    client.post(address, shown(client, shed, Yard={"turned": "on"}))
    page = text(client, url("house", cast.flock.pk, shed.pk))
    assert "Yard taken away" in page and "landing area" not in page
    data = shown(client, shed, Yard={"turned": "on"}) | {"on": "2026-07-02"}
    client.post(address, data)
    assert "Yard put back" in text(client, url("house", cast.flock.pk, shed.pk))


def test_a_form_that_was_not_on_the_page_clears_nothing(cast, shed):
    client = cast.clients.keeper
    data = shown(client, shed, Yard={"bedding": "sand"})
    # Added by somebody else while the page was open.
    state(feature(shed, "Ladder", "step"), MAY, height_cm=50)
    client.post(url("change", cast.flock.pk, shed.pk), data)
    assert Feature.objects.get(name="Ladder").states.count() == 1


def test_what_somebody_else_changed_meanwhile_is_shown(cast, shed):
    client = cast.clients.keeper
    data = shown(client, shed, **{"Top bar": {"edge": "rounded"}})
    bar_of(shed).states.filter(since=JUNE).update(height_cm=50)
    answer = client.post(url("change", cast.flock.pk, shed.pk), data)
    assert answer.status_code == 422
    assert "It says now: height 50 cm" in answer.content.decode()


def test_a_refused_photo_keeps_what_was_typed(cast, shed):
    client = cast.clients.keeper
    broken = io.BytesIO(b"not a picture")
    broken.name = "broken.jpg"
    data = shown(client, shed, Yard={"bedding": "sand"}) | {"photos": [picture(), broken]}
    answer = client.post(url("change", cast.flock.pk, shed.pk), data)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "broken.jpg" in page and 'value="sand"' in page
    # The good one is kept and goes with the next try.
    kept = Photo.objects.get()
    assert f'name="kept" value="{kept.pk}"' in page
    again = shown(client, shed, Yard={"bedding": "sand"}) | {"kept": str(kept.pk)}
    client.post(url("change", cast.flock.pk, shed.pk), again)
    assert list(HousingChange.objects.get().photos.all()) == [kept]


def test_note_kind_and_day_of_a_change_can_be_mended(cast, shed):
    client = cast.clients.keeper
    address = url("change_tell", cast.flock.pk, shed.pk, "2026-06-10")
    client.post(
        address,
        {"on": "2026-06-08", "kind": "height", "note": "Two days before.", "photos": picture()},
    )
    told = HousingChange.objects.get()
    assert (told.on, told.kind, told.note) == (dt.date(2026, 6, 8), "height", "Two days before.")
    assert bar_of(shed).states.filter(since=told.on).exists()
    address = url("change_tell", cast.flock.pk, shed.pk, "2026-06-08")
    photo = told.photos.get()
    client.post(address, {"on": "2026-06-08", "kind": "", "note": "", "without": str(photo.pk)})
    assert not told.photos.exists()
    assert Photo.objects.filter(pk=photo.pk).exists()


@pytest.mark.parametrize("day", ["2026-06-11", "2026-02-30", "x"])
def test_a_day_without_change_is_not_found(cast, shed, day):
    address = url("change_tell", cast.flock.pk, shed.pk, day)
    assert cast.clients.owner.get(address).status_code == 404


def test_a_correction_says_that_the_house_did_not_change(cast, shed):
    held = bar_of(shed).states.get(since=MAY)
    answer = cast.clients.keeper.post(
        url("state", cast.flock.pk, held.pk),
        {"height_cm": "120", "length_cm": "200", "edge": "square"},
        follow=True,
    )
    assert "The house itself did not change" in answer.content.decode()
    assert "Top bar 120 → 60 cm" in answer.content.decode()
    assert HousingChange.objects.count() == 0


def test_stays_are_corrected_from_the_house(cast, shed, birds):
    page = text(cast.clients.keeper, url("correct", cast.flock.pk, shed.pk))
    assert url("stay", cast.flock.pk, Stay.objects.get().pk) in page
    assert "from the beginning" in page


def test_what_never_was_is_removed(cast, shed):
    held = bar_of(shed).states.get(since=JUNE)
    cast.clients.keeper.post(url("state_delete", cast.flock.pk, held.pk))
    assert bar_of(shed).states.get().since == MAY
    only = bar_of(shed).states.get()
    answer = cast.clients.keeper.post(url("state_delete", cast.flock.pk, only.pk), follow=True)
    assert "Remove it as a whole" in answer.content.decode()
    cast.clients.keeper.post(url("feature_delete", cast.flock.pk, only.feature_id))
    assert not Feature.objects.filter(name="Top bar").exists()


# Plans


@pytest.fixture
def plan(cast, shed):
    plan = HousingChange.objects.create(flock=cast.flock, house=shed, planned=True, note="For Mace")
    PlannedState.objects.create(
        flock=cast.flock, change=plan, feature=bar_of(shed), height_cm=40, length_cm=200
    )
    return plan


def test_a_plan_stands_on_the_page_and_can_be_done(cast, shed, plan):
    page = text(cast.clients.keeper, url("house", cast.flock.pk, shed.pk))
    assert "Top bar 60 → 40 cm" in page and "For Mace" in page
    address = url("plan_done", cast.flock.pk, plan.pk)
    wrong = cast.clients.keeper.post(address, {"on": "2999-01-01"}, follow=True)
    assert "This day is in the future" in wrong.content.decode()
    answer = cast.clients.keeper.post(address, {"on": "2026-07-01"}, follow=True)
    assert "The plan is now a change from 1 Jul 2026 on" in answer.content.decode()
    assert bar_of(shed).states.get(since=dt.date(2026, 7, 1)).height_cm == 40


def test_a_plan_can_be_thrown_away(cast, shed, plan):
    cast.clients.keeper.post(url("plan_drop", cast.flock.pk, plan.pk))
    assert not HousingChange.objects.exists()
    assert bar_of(shed).states.count() == 2


# Birds


def test_many_birds_are_moved_with_ticks(cast, shed, birds):
    barn = house(cast.flock, "Barn")
    page = text(cast.clients.keeper, url("move", cast.flock.pk) + f"?house={barn.pk}")
    assert "In no house yet" in page
    data = {
        "house": str(barn.pk),
        "on": "2026-07-01",
        "birds": [str(birds[name].pk) for name in ("Dill", "Mace")],
    }
    answer = cast.clients.keeper.post(url("move", cast.flock.pk), data, follow=True)
    assert "2 birds in Barn from 1 Jul 2026 on" in answer.content.decode()
    assert Stay.objects.get(bird=birds["Dill"], house=shed).until == dt.date(2026, 7, 1)


def test_all_birds_of_a_house_are_moved_with_one_tick(cast, shed, birds):
    """As a page without script sends it, with one of them ticked besides."""
    barn = house(cast.flock, "Barn")
    stay(birds["Mace"], shed)
    page = text(cast.clients.keeper, url("move", cast.flock.pk))
    (keys,) = re.findall(r'name="birds" value="([^"]+)">All 2<span[^>]*> of Shed', page)
    data = {"house": str(barn.pk), "on": "2026-07-01", "birds": [keys, str(birds["Dill"].pk)]}
    answer = cast.clients.keeper.post(url("move", cast.flock.pk), data, follow=True)
    assert "2 birds in Barn from 1 Jul 2026 on" in answer.content.decode()
    assert {one.bird.name for one in Stay.objects.filter(house=barn)} == {"Dill", "Mace"}
    # Refused without a house, the page has all of them ticked.
    answer = cast.clients.keeper.post(url("move", cast.flock.pk), {"birds": [keys]})
    assert answer.context["ticked"] == {str(birds[name].pk) for name in ("Dill", "Mace")}


@pytest.mark.parametrize(
    ("missing", "words"),
    [("house", "Choose the house"), ("birds", "Tick the birds"), ("on", "Enter the day")],
)
def test_what_is_missing_of_a_move_is_said(cast, shed, birds, missing, words):
    data = {"house": str(shed.pk), "on": "2026-07-01", "birds": [str(birds["Mace"].pk)]}
    del data[missing]
    answer = cast.clients.keeper.post(url("move", cast.flock.pk), data)
    assert answer.status_code == 422
    assert words in answer.content.decode()


def test_a_bird_of_another_flock_cannot_be_moved(cast, shed):
    strange = Bird.objects.create(flock=cast.elsewhere, name="Borage")
    data = {"house": str(shed.pk), "on": "2026-07-01", "birds": [str(strange.pk)]}
    answer = cast.clients.keeper.post(url("move", cast.flock.pk), data)
    assert "not in the flock any more" in answer.content.decode()
    assert not Stay.objects.filter(bird=strange).exists()


def test_a_stay_can_be_corrected_and_removed(cast, shed, birds):
    kept = Stay.objects.get(bird=birds["Dill"])
    address = url("stay", cast.flock.pk, kept.pk)
    cast.clients.keeper.post(address, {"house": str(shed.pk), "since": "2026-05-20", "until": ""})
    page = text(cast.clients.viewer, url("stays", cast.flock.pk, birds["Dill"].pk))
    assert "since 20 May 2026" in page
    wrong = cast.clients.keeper.post(
        address, {"house": str(shed.pk), "since": "2026-05-20", "until": "2026-05-01"}
    )
    assert "cannot leave the house before she moved in" in wrong.content.decode()
    cast.clients.keeper.post(url("stay_delete", cast.flock.pk, kept.pk))
    assert not Stay.objects.exists()


def test_a_house_of_another_flock_is_no_choice(cast, shed, birds):
    other = house(cast.elsewhere, "Else")
    kept = Stay.objects.get(bird=birds["Dill"])
    cast.clients.keeper.post(
        url("stay", cast.flock.pk, kept.pk), {"house": str(other.pk), "since": "", "until": ""}
    )
    kept.refresh_from_db()
    assert kept.house == shed


def test_today_is_the_day_of_the_flock(cast, shed):
    page = text(cast.clients.keeper, url("move", cast.flock.pk))
    with timezone.override(cast.flock.zone):
        assert f'value="{timezone.localdate().isoformat()}"' in page
