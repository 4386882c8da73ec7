"""What was changed, by whom, what stood there before, and bringing it back."""

import re
import uuid
from datetime import date, timedelta
from importlib import import_module
from types import SimpleNamespace

import pytest
from django.db import connection
from django.db.migrations.loader import MigrationLoader
from django.urls import reverse
from django.utils import timezone
from django.utils.html import escape

from flockcare.birds import services as bird_services
from flockcare.birds.models import Bird, Weighing
from flockcare.care import services as care_services
from flockcare.care.models import CareStep, KitItem
from flockcare.feet import services as feet_services
from flockcare.feet.models import Check, FootFinding
from flockcare.housing import services as housing_services
from flockcare.housing.models import (
    Feature,
    FeatureState,
    House,
    HousingChange,
    PlannedState,
    Stay,
)
from flockcare.pages import leaving
from flockcare.pages.kinds import kind_of
from flockcare.people import history
from flockcare.people.models import Byline, Flock, Membership, Revision
from flockcare.people.services import change_flock
from flockcare.photos import editing, measuring
from flockcare.photos.models import Measurement, Photo
from tests.care.steps import ago
from tests.people.page_forms import form_with
from tests.people.rows import NOT_WRITERS, READ_PAGE, refused, same_queries, seen

pytestmark = pytest.mark.django_db


def pages(record, revision=None) -> str:
    flock = record if isinstance(record, Flock) else record.flock
    key = [flock.pk, record.pk, record._meta.model_name]
    if revision:
        return reverse("pages:restore", args=[*key, revision.pk])
    return reverse("record_history", args=key)


def newest(record) -> Revision:
    return Revision.objects.filter(record=record.pk).latest("pk")


def bring_back(client, record, revision=None):
    """Look at what would come back, and tap the button; gives the page after it."""
    url = pages(record, revision or newest(record))
    look = client.get(url)
    assert look.status_code == 200
    fields = form_with(look, "version") if b'name="version"' in look.content else {}
    return client.post(url, fields, follow=True)


def changed(record, by, **values):
    for name, value in values.items():
        setattr(record, name, value)
    history.change(record, by=by)


@pytest.fixture
def check(cast, birds):
    finding = FootFinding(foot="left", score=1, sites=["main"], scab="brown", scab_mm="4.0")
    return feet_services.save_check(
        flock=cast.flock,
        bird=birds["Dill"],
        keeper=cast.owner,
        check_id=uuid.uuid4(),
        at=ago(3),
        seen=feet_services.Seen([finding], signs={"note": "Wet yard."}),
    )[0]


@pytest.fixture
def photo(cast, birds):
    return photo_of(cast, bird=birds["Dill"], foot="left")


def photo_of(cast, **more) -> Photo:
    return Photo.objects.create(
        flock=cast.flock,
        width=9,
        height=9,
        stored_bytes=9,
        sha256=uuid.uuid4().hex * 2,
        look_hash=0,
        **more,
    )


# The page


def test_it_tells_who_changed_what_and_what_stood_there(cast, birds):
    changed(birds["Dill"], cast.keeper, traits="Limps.", hatched="2024-05")
    changed(birds["Dill"], cast.owner, traits="Limps a little.")
    page = cast.clients.viewer.get(pages(birds["Dill"]))
    text = " ".join(page.content.decode().split())
    for words in ("Keeper changed it", "Owner changed it", "May 2024", "Lasting traits", "nothing"):
        assert words in text
    assert text.index("Owner changed it") < text.index("Keeper changed it")
    assert "Go back" not in text


def test_a_record_that_nobody_changed_says_so(cast, birds):
    page = cast.clients.keeper.get(pages(birds["Dill"]))
    assert "Not changed since it was recorded" in page.content.decode()


def test_who_may_look(cast, birds):
    assert seen(cast, pages(birds["Dill"])) == READ_PAGE
    assert seen(cast, reverse("recent_changes", args=[cast.flock.pk])) == READ_PAGE


def test_who_may_bring_back(cast, birds):
    changed(birds["Dill"], cast.keeper, traits="Limps.")
    url = pages(birds["Dill"], newest(birds["Dill"]))
    assert seen(cast, url) == {**READ_PAGE, "viewer": 403}
    assert refused(cast, url) == NOT_WRITERS
    birds["Dill"].refresh_from_db()
    assert birds["Dill"].traits == "Limps."


def test_what_only_owners_set_only_owners_see(cast):
    membership = Membership.objects.get(keeper=cast.viewer)
    for record in (cast.flock, membership):
        answers = seen(cast, pages(record))
        assert (answers["owner"], answers["keeper"], answers["viewer"]) == (200, 403, 403)
    flock = Flock.objects.get(pk=cast.flock.pk)
    flock.round_days = 21
    change_flock(flock=flock, by=cast.owner)
    recent = reverse("recent_changes", args=[flock.pk])
    assert b"Hill Flock</strong>" in cast.clients.owner.get(recent).content
    assert b"Hill Flock</strong>" not in cast.clients.keeper.get(recent).content


def test_the_list_says_what_of_a_record_was_changed(cast, birds):
    changed(birds["Dill"], cast.keeper, traits="Limps.", hatched="2022")
    changed(birds["Dill"], cast.owner, traits="Limps a little.")
    changed(birds["Mace"], cast.owner, hatched="2023")
    page = cast.clients.owner.get(reverse("recent_changes", args=[cast.flock.pk])).text
    told = re.findall(r'<strong>([^<]+)</strong><span\s+class="line">([^<]+)</span>', page)
    assert [" ".join(" ".join(row).split()) for row in told] == [
        "Mace Hatched",
        "Dill Lasting traits",
        "Dill Hatched, Lasting traits",
    ]


def test_a_record_of_another_flock_has_no_history_here(cast, birds):
    changed(birds["Dill"], cast.keeper, traits="Limps.")
    own = pages(birds["Dill"]).replace(str(cast.flock.pk), str(cast.elsewhere.pk))
    assert cast.clients.stranger.get(own).status_code == 404
    at = pages(birds["Dill"], newest(birds["Dill"]))
    own = at.replace(str(cast.flock.pk), str(cast.elsewhere.pk))
    assert cast.clients.stranger.get(own).status_code == 404
    assert cast.clients.stranger.post(own).status_code == 404
    # Nor under the name of another kind.
    assert cast.clients.owner.post(at.replace("/bird/", "/house/")).status_code == 404


def test_the_same_queries_for_many_changes(cast, birds):
    def change_often():
        for number in range(20):
            changed(birds["Dill"], cast.keeper, traits=f"Line {number}")
            changed(birds["Mace"], cast.keeper, traits=f"Line {number}")

    same_queries(cast.clients.owner, pages(birds["Dill"]), grow=change_often)
    recent = reverse("recent_changes", args=[cast.flock.pk])
    same_queries(cast.clients.owner, recent, grow=change_often)


def test_a_long_history_is_cut_and_can_be_had_whole(cast, birds):
    for number in range(52):
        changed(birds["Dill"], cast.keeper, traits=f"Line {number}")
    page = cast.clients.owner.get(pages(birds["Dill"])).content.decode()
    assert page.count("Keeper changed it") == 50
    assert "Show all" in page
    page = cast.clients.owner.get(pages(birds["Dill"]) + "?all").content.decode()
    assert page.count("Keeper changed it") == 52


def test_somebody_without_an_account_here_is_named(cast, birds):
    changed(birds["Dill"], None, traits="Limps.")
    text = cast.clients.owner.get(pages(birds["Dill"])).content.decode()
    assert "Somebody who is no longer here changed it" in text
    Revision.objects.filter(pk=newest(birds["Dill"]).pk).update(by_name="Grandma Ines")
    assert (
        "Grandma Ines changed it" in cast.clients.owner.get(pages(birds["Dill"])).content.decode()
    )


def test_a_history_that_cannot_be_read_breaks_no_page(cast, birds, check):
    """As a damaged import may bring it."""
    for record in (birds["Dill"], check):
        for before in ({"at": "yesterday"}, {"findings": [["left"]], "photos": 3}, {"hatched": {}}):
            Revision.objects.create(
                flock=cast.flock,
                kind=record._meta.label,
                record=record.pk,
                action="change",
                before=before,
            )
        assert cast.clients.owner.get(pages(record)).status_code == 200
    recent = reverse("recent_changes", args=[cast.flock.pk])
    assert cast.clients.owner.get(recent).status_code == 200


def test_a_version_that_cannot_be_read_is_asked_about(cast, birds, check):
    url = reverse("birds:edit", args=[cast.flock.pk, birds["Dill"].pk])
    mine = form_with(cast.clients.owner.get(url), "version") | {"traits": ["Old break."]}
    changed(birds["Dill"], cast.keeper, traits="Limps.")
    edit = reverse("feet:check_edit", args=[cast.flock.pk, check.pk])
    other = form_with(cast.clients.owner.get(edit), "version") | {"note": ["Dry yard."]}
    feet_services.change_check(
        check=check, keeper=cast.keeper, at=check.at, seen=feet_services.Seen([], signs={"gait": 1})
    )
    spoilt = {"version": 1, "hatched": {}, "at": "yesterday", "findings": [["left"]], "photos": 3}
    Revision.objects.update(before=spoilt)
    assert cast.clients.owner.post(url, mine).status_code == 409
    assert cast.clients.owner.post(edit, other).status_code == 409


def test_what_comes_back_has_a_version_it_never_had(cast, birds, check):
    changed(birds["Dill"], cast.keeper, traits="Limps.")
    weighing = delete_weighing(cast, birds, check)
    Revision.objects.filter(record=weighing.pk).update(
        before={**newest(weighing).before, "version": "many"}
    )
    bring_back(cast.clients.owner, Weighing(pk=weighing.pk, flock=cast.flock))
    assert Weighing.objects.get(pk=weighing.pk).version == 2


# An earlier version comes back


def test_an_earlier_version_comes_back_and_the_later_one_stays_known(cast, birds):
    changed(birds["Dill"], cast.keeper, traits="Limps.", hatched="2024-05")
    first = newest(birds["Dill"])
    changed(birds["Dill"], cast.keeper, traits="Limps a little.")
    page = bring_back(cast.clients.owner, birds["Dill"], first)
    assert "Restored." in page.content.decode()
    birds["Dill"].refresh_from_db()
    assert (birds["Dill"].traits, birds["Dill"].hatched) == ("", "")
    assert newest(birds["Dill"]).before["traits"] == "Limps a little."
    assert newest(birds["Dill"]).by == cast.owner


def test_what_cannot_stand_is_refused_in_words(cast, birds):
    changed(birds["Dill"], cast.keeper, name="Parsley")
    Bird.objects.create(flock=cast.flock, name="Dill")
    page = bring_back(cast.clients.owner, birds["Dill"])
    assert "Another bird of this flock has that name already." in page.content.decode()
    birds["Dill"].refresh_from_db()
    assert birds["Dill"].name == "Parsley"


def test_two_who_bring_back_at_once_see_both(cast, birds):
    dill = birds["Dill"]
    changed(dill, cast.keeper, traits="Limps.")
    url = pages(dill, newest(dill))
    fields = form_with(cast.clients.owner.get(url), "version")
    changed(dill, cast.keeper, traits="Limps a little.")
    page = cast.clients.owner.post(url, fields)
    assert page.status_code == 409
    assert "Limps a little." in page.content.decode()
    choice = form_with(page, "version-keep-traits")
    assert cast.clients.owner.post(url, choice).status_code == 302
    dill.refresh_from_db()
    assert dill.traits == ""


def test_a_check_comes_back_with_what_was_seen(cast, check, photo):
    now = timezone.now()
    other = feet_services.Seen(
        [FootFinding(foot="right", score=0)], {"left": [photo]}, {"note": "Dry yard."}
    )
    feet_services.change_check(check=check, keeper=cast.keeper, at=now, seen=other)
    page = cast.clients.owner.get(pages(check)).content.decode()
    for words in ("1 mild, main pad, brown scab, 4 mm wide", "not checked", "Wet yard."):
        assert words in page
    bring_back(cast.clients.owner, check)
    stored = Check.objects.get(pk=check.pk)
    (finding,) = stored.findings.all()
    assert (finding.foot, finding.score, finding.sites) == ("left", 1, ["main"])
    assert (finding.scab, str(finding.scab_mm), stored.note) == ("brown", "4.0", "Wet yard.")
    assert not stored.photos.exists()
    bring_back(cast.clients.owner, check)
    assert list(Check.objects.get(pk=check.pk).photos.all()) == [photo]


def test_the_stock_follows_a_step_back(cast, birds):
    gauze = KitItem.objects.create(flock=cast.flock, name="Gauze", stock=10)
    step = CareStep(
        flock=cast.flock,
        bird=birds["Dill"],
        foot="left",
        kind="soaked",
        at=timezone.now(),
        keeper=cast.owner,
        item=gauze,
        amount=1,
    )
    care_services.log_step(step=step)
    step.amount = 4
    care_services.change_step(step=step, by=cast.keeper)
    bring_back(cast.clients.owner, step)
    gauze.refresh_from_db()
    assert gauze.stock == 9


def test_a_change_of_a_house_moves_back_with_its_states(cast):
    shed = House.objects.create(flock=cast.flock, name="Shed")
    bar = Feature.objects.create(flock=cast.flock, house=shed, name="Bar", kind="roost")
    state = FeatureState.objects.create(flock=cast.flock, feature=bar, since=date(2026, 3, 1))
    told = HousingChange.objects.create(flock=cast.flock, house=shed, on=date(2026, 3, 1))
    told.on = date(2026, 3, 9)
    housing_services.correct_change(
        house=shed, on=date(2026, 3, 1), told=told, by=cast.keeper, today=date(2026, 6, 1)
    )
    bring_back(cast.clients.owner, told)
    state.refresh_from_db()
    assert state.since == date(2026, 3, 1)


def test_joined_words_of_a_day_keep_what_stood_there(cast):
    """Two keepers describe the same day one after the other."""
    shed = House.objects.create(flock=cast.flock, name="Shed")
    for note in ("Bar lowered.", "Chips laid."):
        housing_services.change_features(
            house=shed,
            on=date(2026, 3, 1),
            changes={},
            told=HousingChange(kind="other", note=note),
            by=cast.keeper,
            today=date(2026, 6, 1),
        )
    told = HousingChange.objects.get(house=shed)
    assert told.note == "Bar lowered.\nChips laid."
    assert newest(told).before["note"] == "Bar lowered."


# What was deleted comes back


def delete_weighing(cast, birds, check):
    weighing = Weighing.objects.create(
        flock=cast.flock, bird=birds["Dill"], on=date(2026, 1, 1), grams=2400
    )
    bird_services.delete_weighing(weighing=Weighing.objects.get(pk=weighing.pk), by=cast.keeper)
    return weighing


def delete_check(cast, birds, check):
    feet_services.delete_check(check=Check.objects.get(pk=check.pk), keeper=cast.keeper)
    return check


def delete_step(cast, birds, check):
    step = CareStep(
        flock=cast.flock, bird=birds["Dill"], kind="soaked", at=timezone.now(), keeper=cast.owner
    )
    care_services.log_step(step=step)
    care_services.undo_step(step=CareStep.objects.get(pk=step.pk), by=cast.keeper)
    return step


def delete_item(cast, birds, check):
    item = KitItem.objects.create(flock=cast.flock, name="Gauze", stock="2.5")
    care_services.delete_item(item=KitItem.objects.get(pk=item.pk), by=cast.keeper)
    return item


def delete_stay(cast, birds, check):
    house = House.objects.create(flock=cast.flock, name="Shed")
    stay = Stay.objects.create(flock=cast.flock, bird=birds["Dill"], house=house)
    housing_services.delete_stay(stay=Stay.objects.get(pk=stay.pk), by=cast.keeper)
    return stay


def delete_told(cast, birds, check):
    house = House.objects.create(flock=cast.flock, name="Shed")
    told = HousingChange.objects.create(
        flock=cast.flock, house=house, on=date(2026, 3, 1), note="Chips laid.", keeper=cast.owner
    )
    told.photos.add(photo_of(cast))
    housing_services.delete_change(change=HousingChange.objects.get(pk=told.pk), by=cast.keeper)
    return told


def delete_plan(cast, birds, check):
    house = House.objects.create(flock=cast.flock, name="Shed")
    plan = HousingChange(flock=cast.flock, house=house, note="Lower it.")
    step = PlannedState(name="Step", kind="step", height_cm=30)
    housing_services.plan_change(change=plan, states=[step])
    housing_services.drop_plan(plan=HousingChange.objects.get(pk=plan.pk), by=cast.keeper)
    return plan


def delete_measurement(cast, birds, check):
    measurement = Measurement.objects.create(
        flock=cast.flock,
        photo=photo_of(cast),
        scaled_by="length",
        length_mm=50,
        to_mm=[[1, 0, 0], [0, 1, 0], [0, 0, 1]],
        outline_px=[[0, 0], [0, 4], [3, 0]],
        outline_mm=[[0, 0], [0, 4], [3, 0]],
        area_mm2=6,
        perimeter_mm=12,
        longest_diameter_mm=5,
        relative_area_error=0.1,
        keeper=cast.owner,
    )
    held = Measurement.objects.get(pk=measurement.pk)
    measuring.delete_measurement(measurement=held, keeper=cast.keeper)
    return measurement


DELETIONS = (
    *(delete_weighing, delete_check, delete_step, delete_item, delete_stay, delete_told),
    *(delete_plan, delete_measurement),
)


@pytest.mark.parametrize("delete", DELETIONS)
def test_what_was_deleted_comes_back(cast, birds, check, delete):
    record = delete(cast, birds, check)
    record = type(record)(pk=record.pk, flock=cast.flock)
    kept = newest(record).before
    removed = reverse("recent_changes", args=[cast.flock.pk]) + "?removed"
    assert escape(pages(record)) in cast.clients.viewer.get(removed).text
    assert "Restore it" in cast.clients.owner.get(pages(record)).text
    page = bring_back(cast.clients.owner, record)
    assert escape(pages(record)) not in cast.clients.viewer.get(removed).text
    assert "Restored." in page.content.decode()
    stored = type(record).objects.get(pk=record.pk)
    kind = kind_of(record)
    assert kind.plain_of(kind.snapshot(stored)) == kind.plain_of(kept)
    told = newest(record)
    assert (told.action, told.by) == ("restore", cast.owner)
    # Once is enough.
    assert cast.clients.owner.post(pages(record, told)).status_code == 302
    assert Revision.objects.filter(record=record.pk, action="restore").count() == 1


def test_what_hung_on_it_comes_back_too(cast, birds, check):
    plan, told = delete_plan(cast, birds, check), None
    bring_back(cast.clients.owner, plan)
    assert PlannedState.objects.get(change=plan.pk).height_cm == 30
    House.objects.all().delete()
    told = delete_told(cast, birds, check)
    bring_back(cast.clients.owner, told)
    assert HousingChange.objects.get(pk=told.pk).photos.count() == 1


def test_a_moment_comes_back_to_the_microsecond(cast, birds, photo):
    photo.taken = timezone.now().replace(microsecond=123456)
    photo.save()
    taken = photo.taken
    changed(photo, cast.keeper, taken=None)
    bring_back(cast.clients.owner, photo)
    assert Photo.objects.get(pk=photo.pk).taken == taken


def test_a_photo_tells_what_it_was_and_goes_back_but_not_from_the_dead(cast, birds, photo):
    changed(photo, cast.keeper, bird=birds["Mace"], foot="right")
    text = cast.clients.viewer.get(pages(photo)).text
    assert "Dill" in text and "right foot" in text
    bring_back(cast.clients.owner, photo)
    photo.refresh_from_db()
    assert (photo.bird, photo.foot) == (birds["Dill"], "left")
    editing.delete(photo=photo, keeper=cast.keeper, now=ago(31))
    text = cast.clients.owner.get(pages(photo)).text
    assert "Deleted" in text
    key = photo.pk
    editing.purge()
    gone = Photo(pk=key, flock=cast.flock)
    assert "Restore it" not in cast.clients.owner.get(pages(gone)).text
    assert cast.clients.owner.post(pages(gone, newest(gone))).status_code == 404
    # Among the newest changes of the flock photos do not stand: sorting changes hundreds.
    recent = reverse("recent_changes", args=[cast.flock.pk])
    assert "Photo of" not in cast.clients.owner.get(recent).text


def test_what_a_step_used_is_off_the_stock_again(cast, birds, check, photo):
    gauze = KitItem.objects.create(flock=cast.flock, name="Gauze", stock=10)
    step = CareStep(flock=cast.flock, bird=birds["Dill"], kind="soaked", at=timezone.now())
    step.item, step.amount = gauze, 2
    care_services.log_step(step=step, photos=[photo])
    care_services.undo_step(step=CareStep.objects.get(pk=step.pk), by=cast.keeper)
    bring_back(cast.clients.owner, step)
    gauze.refresh_from_db()
    assert gauze.stock == 8
    assert list(CareStep.objects.get(pk=step.pk).photos.all()) == [photo]


def test_a_house_comes_back_with_what_stood_in_it(cast):
    shed = House.objects.create(flock=cast.flock, name="Shed")
    bar = Feature.objects.create(flock=cast.flock, house=shed, name="Bar", kind="roost")
    FeatureState.objects.create(flock=cast.flock, feature=bar, since=date(2026, 3, 1), height_cm=60)
    HousingChange.objects.create(flock=cast.flock, house=shed, on=date(2026, 3, 1), note="New.")
    housing_services.delete_house(house=House.objects.get(pk=shed.pk), by=cast.keeper)
    bar.flock = cast.flock
    page = bring_back(cast.clients.owner, bar)
    assert "house was deleted too" in page.content.decode()
    shed = House(pk=Revision.objects.get(kind="housing.House").record, flock=cast.flock)
    bring_back(cast.clients.owner, shed)
    assert FeatureState.objects.get(feature__house=shed.pk).height_cm == 60
    assert HousingChange.objects.get(house=shed.pk).note == "New."


def test_what_was_deleted_by_itself_just_before_stays_deleted(cast):
    shed = House.objects.create(flock=cast.flock, name="Shed")
    bar = Feature.objects.create(flock=cast.flock, house=shed, name="Bar", kind="roost")
    for day, height in ((1, 60), (9, 40)):
        FeatureState.objects.create(
            flock=cast.flock, feature=bar, since=date(2026, 3, day), height_cm=height
        )
    wrong = FeatureState.objects.get(height_cm=40)
    housing_services.delete_state(state=wrong, by=cast.keeper)
    housing_services.delete_feature(feature=Feature.objects.get(pk=bar.pk), by=cast.keeper)
    bar = Feature(pk=newest(Feature(pk=bar.pk)).record, flock=cast.flock)
    bring_back(cast.clients.owner, bar)
    assert [state.height_cm for state in FeatureState.objects.filter(feature=bar.pk)] == [60]


def test_what_was_weighed_again_since_is_not_doubled(cast, birds, check):
    weighing = delete_weighing(cast, birds, check)
    again = Weighing.objects.create(
        flock=cast.flock, bird=birds["Dill"], on=date(2026, 1, 1), grams=2500
    )
    weighing = Weighing(pk=Revision.objects.latest("pk").record, flock=cast.flock)
    page = bring_back(cast.clients.owner, weighing)
    assert "She has been weighed on this day already." in page.content.decode()
    assert list(Weighing.objects.all()) == [again]


def test_nobody_is_put_back_into_a_flock_without_asking_them(cast):
    membership = Membership.objects.get(keeper=cast.keeper)
    key = membership.pk
    history.delete(Membership.objects.get(pk=key), by=cast.owner)
    url = pages(Membership(pk=key, flock=cast.flock), Revision.objects.latest("pk"))
    assert cast.clients.owner.get(url).status_code == 403
    answer = cast.clients.owner.post(url)
    assert answer.status_code == 403
    assert "Your role in this flock doesn’t allow this." in answer.text


# An edit of what has been removed meanwhile


def test_what_was_typed_about_a_removed_record_is_shown_and_can_be_saved(cast, birds, check):
    url = reverse("feet:check_edit", args=[cast.flock.pk, check.pk])
    fields = form_with(cast.clients.owner.get(url), "version") | {"note": ["Walks well."]}
    feet_services.delete_check(check=Check.objects.get(pk=check.pk), keeper=cast.keeper)
    page = cast.clients.owner.post(url, fields)
    assert page.status_code == 404
    text = page.content.decode()
    assert "Keeper</strong> deleted it" in text
    assert "Walks well." in text
    action = re.search(r'action="([^"]*/bring-back/[^"]*)"', text)[1]
    done = cast.clients.owner.post(action, form_with(page, "version"), follow=True)
    assert done.redirect_chain[0] == (url, 307)
    stored = Check.objects.get(pk=check.pk)
    assert stored.note == "Walks well."
    assert [finding.score for finding in stored.findings.all()] == [1]


def test_a_check_that_comes_back_counts_for_the_round_again(cast, birds):
    round_ = feet_services.start_round(
        flock=cast.flock, keeper=cast.owner, bird_ids=[birds["Dill"].pk, birds["Mace"].pk]
    )
    check = feet_services.save_check(
        flock=cast.flock,
        bird=birds["Dill"],
        keeper=cast.owner,
        check_id=uuid.uuid4(),
        at=timezone.now(),
        seen=feet_services.Seen([FootFinding(foot="left", score=0)]),
    )[0]
    feet_services.delete_check(check=Check.objects.get(pk=check.pk), keeper=cast.keeper)
    assert round_.birds.get(bird=birds["Dill"]).check_record is None
    bring_back(cast.clients.owner, check)
    assert round_.birds.get(bird=birds["Dill"]).check_record == check


def test_a_person_who_deleted_their_account_is_named_where_the_name_was_kept(cast, check):
    key = uuid.uuid4()
    Revision.objects.create(
        flock=cast.flock,
        kind="feet.Check",
        record=check.pk,
        action="change",
        by=cast.owner,
        before={**feet_services.snapshot(check), "keeper_id": key},
    )
    text = cast.clients.owner.get(pages(check)).text
    assert "somebody who is no longer here" in text
    Byline.objects.create(flock=cast.flock, record=key, field="name", name="Grandma Ines")
    assert "Grandma Ines" in cast.clients.owner.get(pages(check)).text


# What was done in one go


@pytest.fixture
def shed(cast):
    shed = House.objects.create(flock=cast.flock, name="Shed")
    bar = Feature.objects.create(flock=cast.flock, house=shed, name="Bar", kind="roost")
    FeatureState.objects.create(flock=cast.flock, feature=bar, since=date(2026, 3, 1), height_cm=60)
    told = HousingChange.objects.create(
        flock=cast.flock, house=shed, on=date(2026, 3, 1), note="New."
    )
    told.photos.add(photo_of(cast))
    plan = HousingChange(flock=cast.flock, house=shed, note="Lower it.")
    states = [PlannedState(feature=bar, height_cm=30)]
    housing_services.plan_change(change=plan, states=states)
    return shed


def rows_of(*models) -> set:
    """All that these rows hold, but for the count of changes and when a row was made."""
    held = (history.values(row) for model in models for row in model._base_manager.all())
    return {str({**values, "version": None, "made_at": None}) for values in held}


IN_A_HOUSE = (House, Feature, FeatureState, HousingChange, PlannedState)


def page_of_all(flock, record) -> str:
    return reverse("pages:changeset", args=[flock.pk, newest(record).changeset])


def test_a_removed_house_is_one_change_and_is_undone_as_one(cast, shed):
    before = rows_of(*IN_A_HOUSE)
    kept = House(pk=shed.pk)
    housing_services.delete_house(house=shed, by=cast.keeper)
    recent = reverse("recent_changes", args=[cast.flock.pk])
    listed = " ".join(cast.clients.viewer.get(recent).text.split())
    url = page_of_all(cast.flock, kept)
    assert listed.count('<a class="row"') == 1
    assert url in listed and "<strong>Shed</strong>" in listed and "and 5 others" in listed
    assert "Undo all of it" in cast.clients.owner.get(url).text
    answer = cast.clients.owner.post(url, follow=True)
    assert "Undone: Shed" in answer.text
    assert rows_of(*IN_A_HOUSE) == before
    assert HousingChange.objects.get(note="New.").photos.count() == 1
    # It is told as a change of its own, and the first as undone.
    assert answer.text.count('<a class="row"') == 2 and ">undone<" in answer.text
    assert "Owner undid it" in cast.clients.owner.get(url).text
    assert "There is nothing to undo." in cast.clients.owner.post(url, follow=True).text
    assert rows_of(*IN_A_HOUSE) == before


def test_who_may_look_at_what_was_changed_together_and_undo_it(cast, shed):
    key = shed.pk
    housing_services.delete_house(house=shed, by=cast.keeper)
    url = page_of_all(cast.flock, House(pk=key))
    assert seen(cast, url) == READ_PAGE
    assert refused(cast, url) == NOT_WRITERS
    elsewhere = url.replace(str(cast.flock.pk), str(cast.elsewhere.pk))
    assert cast.clients.stranger.get(elsewhere).status_code == 404
    assert cast.clients.stranger.post(elsewhere).status_code == 404
    assert not House.objects.exists()
    # The settings are the owner's.
    flock = Flock.objects.get(pk=cast.flock.pk)
    flock.round_days = 21
    change_flock(flock=flock, by=cast.owner)
    url = page_of_all(flock, flock)
    assert cast.clients.keeper.get(url).status_code == 404
    assert cast.clients.keeper.post(url).status_code == 404
    cast.clients.owner.post(url)
    flock.refresh_from_db()
    assert flock.round_days == 14


def test_nobody_is_put_back_into_a_flock_by_undoing_either(cast):
    membership = Membership.objects.get(keeper=cast.keeper)
    kept = Membership(pk=membership.pk)
    history.delete(membership, by=cast.owner)
    url = page_of_all(cast.flock, kept)
    assert "Undo" not in cast.clients.owner.get(url).text
    answer = cast.clients.owner.post(url)
    assert answer.status_code == 403
    assert "Your role in this flock doesn’t allow this." in answer.text
    assert not Membership.objects.filter(keeper=cast.keeper).exists()


def test_what_somebody_has_touched_since_is_not_undone(cast, shed):
    house, bar = House.objects.get(), Feature.objects.get()
    with history.changeset():
        changed(house, cast.keeper, note="Roof new.")
        changed(bar, cast.keeper, name="Top bar")
    url = page_of_all(cast.flock, house)
    changed(Feature.objects.get(), cast.owner, name="Long bar")
    page = cast.clients.owner.post(url, follow=True).text
    assert "was changed since" in page
    assert (House.objects.get().note, Feature.objects.get().name) == ("Roof new.", "Long bar")
    # Once that is undone, it is as if it had not been.
    cast.clients.owner.post(page_of_all(cast.flock, bar))
    cast.clients.owner.post(url)
    assert (House.objects.get().note, Feature.objects.get().name) == ("", "Bar")


def test_all_or_nothing_is_undone(cast, birds):
    dill, mace = birds["Dill"], birds["Mace"]
    with history.changeset():
        changed(dill, cast.keeper, name="Parsley")
        changed(mace, cast.keeper, traits="Limps.")
    Bird.objects.create(flock=cast.flock, name="Dill")
    page = cast.clients.owner.post(page_of_all(cast.flock, dill), follow=True).text
    assert "Another bird of this flock has that name already." in page
    mace.refresh_from_db()
    assert mace.traits == "Limps."
    assert Revision.objects.count() == 2


def test_a_change_of_many_counts_its_queries_once(cast, birds):
    def change(numbers):
        with history.changeset():
            for number in numbers:
                changed(birds["Dill"], cast.keeper, traits=f"Line {number}")
                changed(birds["Mace"], cast.keeper, traits=f"Line {number}")

    change(range(1))
    recent = reverse("recent_changes", args=[cast.flock.pk])
    same_queries(cast.clients.owner, recent, grow=lambda: change(range(1, 20)))
    url = page_of_all(cast.flock, birds["Dill"])
    same_queries(cast.clients.owner, url, grow=lambda: change(range(20, 40)))


def test_one_that_fails_leaves_the_next_alone(cast, birds):
    with pytest.raises(ZeroDivisionError), history.changeset():
        changed(birds["Dill"], cast.keeper, traits="Limps.")
        1 / 0  # noqa: B018
    assert not Revision.objects.exists()
    changed(birds["Mace"], cast.keeper, traits="Limps.")
    assert newest(birds["Mace"]).first is None


def test_the_history_of_before_is_joined_where_it_is_known(cast, birds, shed):
    """Rows as the release before wrote them: nothing says that they belong together."""
    dill, keys = birds["Dill"], [shed.pk]
    stay = Stay.objects.create(flock=cast.flock, bird=dill, house=shed, since=date(2026, 1, 1))
    dill.left, dill.left_reason = timezone.localdate().isoformat(), "died"
    leaving.leave_flock(bird=dill, by=cast.keeper)
    Stay.objects.all().delete()
    lone = FeatureState.objects.create(
        flock=cast.flock, feature=Feature.objects.get(), since=date(2026, 2, 1)
    )
    changed(birds["Mace"], None, traits="Limps.")
    mace = newest(birds["Mace"])
    key = uuid.UUID(int=mace.pk)
    Byline.objects.create(flock=cast.flock, record=key, field="by", name="Grandma Ines")
    housing_services.delete_state(state=FeatureState.objects.get(pk=lone.pk), by=cast.keeper)
    Revision.objects.filter(record=lone.pk).update(at=timezone.now() - timedelta(minutes=5))
    housing_services.delete_house(house=shed, by=cast.keeper)
    parts = set(Revision.objects.filter(action="delete").values_list("pk", flat=True))
    parts -= set(Revision.objects.filter(record=lone.pk).values_list("pk", flat=True))
    Revision.objects.update(first=None)

    carried = import_module("flockcare.people.migrations.0009_changesets_of_before")
    then = MigrationLoader(connection).project_state(("people", "0009_changesets_of_before")).apps
    for _ in range(2):  # Once more, it finds nothing left to do.
        carried.carry_over(then, SimpleNamespace(connection=connection))
        house = Revision.objects.get(record=keys[0], action="delete")
        joined = Revision.objects.of_changeset(house.changeset)
        planned = Revision.objects.get(kind="housing.PlannedState").pk
        assert set(joined.values_list("pk", flat=True)) | {planned} == parts
        left = Revision.objects.get(record=dill.pk)
        assert Revision.objects.get(record=stay.pk).first == left
        alone = Revision.objects.filter(first=None).exclude(pk__in=[house.changeset, left.pk])
        assert set(alone.values_list("record", flat=True)) == {birds["Mace"].pk, lone.pk}
        mace.refresh_from_db()
        assert (mace.by, mace.by_name) == (None, "Grandma Ines")
