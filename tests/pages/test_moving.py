"""A check, care and a photo that were logged for the wrong bird or the wrong foot are moved."""

import json
import uuid
from datetime import timedelta

import pytest
from django.core.files.storage import default_storage
from django.core.management import call_command
from django.urls import reverse
from django.utils import timezone

from flockcare.birds.models import Bird
from flockcare.care.models import CareStep, KitItem
from flockcare.feet import services
from flockcare.feet.models import Check, FootFinding, Round, RoundBird, SortingNote
from flockcare.feet.moving import foot_now
from flockcare.feet.sorting import unsorted
from flockcare.pages import moving
from flockcare.pages.kinds import KINDS
from flockcare.people import restoring
from flockcare.people.models import Revision
from flockcare.photos.models import Measurement, Photo, Scaling
from tests.feet.test_check import picture
from tests.offline.sends import body, send, send_photo
from tests.people.page_forms import form_with

pytestmark = pytest.mark.django_db

ADDRESS = {Check: "move_check", CareStep: "move_step", Photo: "move_photo"}


@pytest.fixture
def check(cast, birds):
    """Of Dill, her left foot sore and her right foot not checked, with a measured photo."""
    found = Check.objects.create(
        flock=cast.flock, bird=birds["Dill"], at=timezone.now(), keeper=cast.keeper
    )
    FootFinding.objects.create(
        check_record=found, foot="left", score=2, sites=["toe III"], scab="black", scab_mm="6.5"
    )
    found.photos.add(add_photo(cast, birds["Dill"], "left"))
    return found


def add_photo(cast, bird, foot, colour="tan") -> Photo:
    add = reverse("photos:add", args=[cast.flock.pk])
    photo = Photo.objects.get(
        pk=cast.clients.keeper.post(add, {"photo": picture(colour)}).json()["id"]
    )
    photo.bird, photo.foot = bird, foot
    photo.save()
    outline = [[10, 10], [90, 10], [90, 90]]
    Measurement.objects.create(
        flock=cast.flock,
        photo=photo,
        scaled_by=Scaling.LENGTH,
        length_mm=20,
        to_mm=[[1, 0, 0], [0, 1, 0], [0, 0, 1]],
        outline_px=outline,
        outline_mm=outline,
        area_mm2=55.5,
        perimeter_mm=30,
        longest_diameter_mm=9,
        relative_area_error=0.05,
    )
    return photo


@pytest.fixture
def step(cast, birds):
    found = CareStep.objects.create(
        flock=cast.flock, bird=birds["Dill"], foot="left", kind="soaked", at=timezone.now()
    )
    found.photos.add(add_photo(cast, birds["Dill"], "left", "olive"))
    return found


def url(record) -> str:
    return reverse(ADDRESS[type(record)], args=[record.flock_id, record.pk])


def post(client, record, **said):
    return client.post(url(record), {"version": record.version, **said}, follow=True)


def state(record) -> dict:
    """All that moving may touch, of the whole flock."""
    flock, found = record.flock_id, FootFinding.objects.values_list
    return {
        "checks": list(Check.objects.filter(flock=flock).values_list("pk", "bird").order_by("pk")),
        "findings": sorted(found("check_record", "foot", "score", "scab")),
        "steps": list(CareStep.objects.values_list("pk", "bird", "foot").order_by("pk")),
        "photos": sorted(Photo.with_deleted.values_list("pk", "bird", "foot", "stored_as")),
        "in checks": sorted(Check.photos.through.objects.values_list("check", "photo")),
        "in care": sorted(CareStep.photos.through.objects.values_list("carestep", "photo")),
        "measured": sorted(Measurement.objects.values_list("pk", "photo", "area_mm2")),
        "notes": sorted(SortingNote.objects.values_list("photo", "nobody_knows")),
        "ticks": sorted(RoundBird.objects.values_list("bird__name", "check_record")),
    }


def undo_last(cast) -> None:
    key = Revision.objects.order_by("-pk").first().changeset
    restoring.undo(flock=cast.flock, key=key, kinds=KINDS, by=cast.owner, words="Undone")


def test_in_two_taps_with_all_that_hangs_on_it(cast, birds, check):
    client = cast.clients.keeper
    shown = client.get(reverse("feet:check", args=[cast.flock.pk, check.pk])).text
    assert f'href="{url(check)}"' in shown and "Wrong bird?" in shown
    page = client.get(url(check)).text
    assert f'name="bird" value="{birds["Mace"].pk}"' in page
    assert f'value="{birds["Dill"].pk}"' not in page
    answer = post(client, check, bird=birds["Mace"].pk)
    assert "moved from Dill to Mace" in answer.text
    check.refresh_from_db()
    assert check.bird == birds["Mace"]
    finding = check.findings.get()
    assert (finding.foot, finding.score, finding.sites) == ("left", 2, ["toe III"])
    photo = check.photos.get()
    assert (photo.bird, photo.foot) == (birds["Mace"], "left")
    assert photo.measurements.get().area_mm2 == 55.5
    assert all(default_storage.exists(path) for path in photo.paths())
    series = reverse("series", args=[cast.flock.pk, birds["Mace"].pk, "left"])
    assert str(photo.pk) in client.get(series).text


def test_the_other_foot_in_one_tap(cast, check):
    shown = cast.clients.keeper.get(reverse("feet:check", args=[cast.flock.pk, check.pk]))
    fields = form_with(shown, "seen")
    for _ in range(2):  # a second tap does not take it back
        cast.clients.keeper.post(url(check), {**fields, "foot": "left"})
    finding, photo = check.findings.get(), check.photos.get()
    assert (finding.foot, finding.scab, finding.sites) == ("right", "black", ["toe III"])
    assert (photo.foot, photo.measurements.count()) == ("right", 1)


def test_both_feet_change_places(cast, check):
    FootFinding.objects.create(check_record=check, foot="right", score=0)
    post(cast.clients.keeper, check, foot="left")
    assert sorted(check.findings.values_list("foot", "score")) == [("left", 0), ("right", 2)]


def test_a_check_that_says_the_same_of_both_feet_has_no_other_foot(cast, birds):
    check = Check.objects.create(flock=cast.flock, bird=birds["Dill"], at=timezone.now())
    for foot in ("left", "right"):
        FootFinding.objects.create(check_record=check, foot=foot, score=0)
    page = cast.clients.keeper.get(reverse("feet:check", args=[cast.flock.pk, check.pk])).text
    assert "Wrong bird?" in page and "Other foot" not in page


def test_care_goes_with_its_photos_and_the_stock_stays(cast, birds, step):
    salt = KitItem.objects.create(flock=cast.flock, name="Epsom salt", stock=10)
    CareStep.objects.filter(pk=step.pk).update(item=salt, amount=2)
    post(cast.clients.keeper, step, bird=birds["Mace"].pk)
    step.refresh_from_db()
    post(cast.clients.keeper, step, foot="right")
    step.refresh_from_db()
    assert (step.bird, step.foot) == (birds["Mace"], "right")
    photo = step.photos.get()
    assert (photo.bird, photo.foot, photo.measurements.count()) == (birds["Mace"], "right", 1)
    salt.refresh_from_db()
    assert salt.stock == 10


def test_a_photo_leaves_the_records_of_the_bird_it_was_of(cast, birds, check, step):
    photo = check.photos.get()
    step.photos.add(photo)
    page = cast.clients.keeper.get(reverse("photos:photo", args=[cast.flock.pk, photo.pk])).text
    assert f'href="{url(photo)}"' in page
    post(cast.clients.keeper, photo, bird=birds["Mace"].pk)
    photo.refresh_from_db()
    assert (photo.bird, photo.foot) == (birds["Mace"], "left")
    assert not check.photos.exists()
    assert photo not in step.photos.all()
    assert step.photos.count() == 1


def test_a_photo_of_the_other_foot_stays_with_its_check(cast, check):
    photo = check.photos.get()
    post(cast.clients.keeper, photo, foot="right")
    photo.refresh_from_db()
    assert photo.foot == "right"
    assert list(check.photos.all()) == [photo]


def test_a_photo_of_nobody_known_is_to_be_sorted_again(cast, check):
    photo = check.photos.get()
    post(cast.clients.keeper, photo, bird="unknown")
    photo.refresh_from_db()
    assert photo.bird is None
    assert not check.photos.exists()
    assert photo in unsorted(cast.flock)


def test_nobody_knows_whose_it_is_does_not_stay_with_one_that_is_known(cast, birds, check):
    photo = add_photo(cast, None, "", "navy")
    SortingNote.objects.create(photo=photo, nobody_knows=True)
    before = state(check)
    post(cast.clients.keeper, photo, bird=birds["Mace"].pk)
    assert not SortingNote.objects.get().nobody_knows
    undo_last(cast)
    assert state(check) == before


MOVES = {
    "check to a bird": lambda check, step, hen, by: moving.move_check(check=check, bird=hen, by=by),
    "check to the other foot": lambda check, step, hen, by: moving.swap_feet(check=check, by=by),
    "care to a bird": lambda check, step, hen, by: moving.move_step(step=step, bird=hen, by=by),
    "care to the other foot": lambda check, step, hen, by: moving.move_step(
        step=step, foot="right", by=by
    ),
    "photo to a bird": lambda check, step, hen, by: moving.move_photo(
        photo=check.photos.first(), bird=hen, foot="left", by=by
    ),
    "photo to nobody": lambda check, step, hen, by: moving.move_photo(
        photo=check.photos.first(), bird=None, foot="", by=by
    ),
    "photo of care taken over by a check": lambda check, step, hen, by: moving.take_over(
        photo=step.photos.first(), record=check, foot="right", by=by
    ),
    "photo of a check taken over by care": lambda check, step, hen, by: moving.take_over(
        photo=check.photos.first(), record=step, foot="right", by=by
    ),
}


@pytest.mark.parametrize("shared", [True, False])
@pytest.mark.parametrize("move", MOVES.values(), ids=MOVES)
def test_it_is_one_change_and_is_undone_as_one(cast, birds, check, step, move, shared):
    """``shared``: a photo of the check is with the care too."""
    if shared:
        step.photos.add(check.photos.get())
    deleted = add_photo(cast, birds["Dill"], "left", "plum")
    check.photos.add(deleted)
    Photo.objects.filter(pk=deleted.pk).update(deleted_at=timezone.now())
    services.start_round(
        flock=cast.flock, keeper=cast.keeper, bird_ids=[birds["Dill"].pk, birds["Mace"].pk]
    )
    RoundBird.objects.filter(bird=birds["Dill"]).update(check_record=check)
    before = state(check)
    changed = move(check, step, birds["Mace"], cast.keeper)
    assert state(check) != before
    assert not Revision.objects.exclude(pk=changed.first.pk).exclude(first=changed.first).exists()
    listed = cast.clients.viewer.get(reverse("recent_changes", args=[cast.flock.pk])).text
    assert changed.words in listed
    undo = reverse("pages:changeset", args=[cast.flock.pk, changed.first.pk])
    assert cast.clients.keeper.post(undo).status_code == 302
    assert state(check) == before


def test_an_earlier_version_brings_the_photos_back_too(cast, birds, check):
    """From the history of the check itself, not by undoing the change."""
    moving.move_check(check=check, bird=birds["Mace"], by=cast.keeper)
    revision = Revision.objects.filter(record=check.pk).get()
    address = reverse("pages:restore", args=[cast.flock.pk, check.pk, "check", revision.pk])
    page = cast.clients.keeper.get(address)
    cast.clients.keeper.post(address, form_with(page, "version"))
    check.refresh_from_db()
    assert (check.bird, check.photos.get().bird) == (birds["Dill"], birds["Dill"])


# The round


@pytest.fixture
def on_a_round(cast, birds, check):
    round_ = services.start_round(
        flock=cast.flock, keeper=cast.keeper, bird_ids=[bird.pk for bird in birds.values()]
    )
    round_.birds.filter(bird=birds["Dill"]).update(check_record=check)
    return round_


def test_the_tick_of_a_round_goes_along(cast, birds, check, on_a_round):
    post(cast.clients.keeper, check, bird=birds["Mace"].pk)
    ticked = on_a_round.birds.exclude(check_record=None)
    assert [place.bird for place in ticked] == [birds["Mace"]]
    waiting = services.take_next_bird(round_=on_a_round, keeper=cast.keeper)
    assert waiting.bird == birds["Dill"]


def test_a_round_that_ended_says_who_was_seen(cast, birds, check, on_a_round):
    Round.objects.update(ended_at=timezone.now() + timedelta(minutes=1))
    moving.move_check(check=check, bird=birds["Mace"], by=cast.keeper)
    ticked = on_a_round.birds.exclude(check_record=None)
    assert [place.bird for place in ticked] == [birds["Mace"]]


def test_a_bird_seen_by_herself_keeps_her_tick(cast, birds, check, on_a_round):
    own = Check.objects.create(flock=cast.flock, bird=birds["Mace"], at=timezone.now())
    on_a_round.birds.filter(bird=birds["Mace"]).update(check_record=own)
    moving.move_check(check=check, bird=birds["Mace"], by=cast.keeper)
    assert on_a_round.birds.get(bird=birds["Mace"]).check_record == own
    assert on_a_round.birds.get(bird=birds["Dill"]).check_record is None


# Care is not tied to a check


def test_care_of_that_day_stays_and_is_named(cast, birds, check, step):
    answer = post(cast.clients.keeper, check, bird=birds["Mace"].pk)
    step.refresh_from_db()
    assert step.bird == birds["Dill"]
    assert "Also logged" in answer.text
    assert f'href="{url(step)}"' in answer.text


# Who was not there


@pytest.mark.parametrize(
    ("gone", "words"),
    [
        ({"left": "2024-05", "left_reason": "died"}, "left the flock before this (2024-05)"),
        ({"hatched": "2031-03"}, "had not hatched yet (2031-03)"),
    ],
)
@pytest.mark.parametrize("what", ["check", "step", "photo"])
def test_a_bird_that_was_not_there_then(cast, birds, check, step, what, gone, words):
    Bird.objects.filter(pk=birds["Mace"].pk).update(**gone)
    photo = check.photos.get()
    Photo.objects.update(taken=timezone.now(), taken_precision="moment", taken_source="camera")
    photo.refresh_from_db()
    record = {"check": check, "step": step, "photo": photo}[what]
    before = state(check)
    answer = post(cast.clients.keeper, record, bird=birds["Mace"].pk)
    assert answer.status_code == 422
    assert words in answer.text
    assert f'name="bird" value="{birds["Sorrel"].pk}"' in answer.text
    assert state(check) == before


def test_before_she_left_it_can_be_hers(cast, birds, check):
    Bird.objects.filter(pk=birds["Mace"].pk).update(left="2999", left_reason="died")
    page = cast.clients.keeper.get(url(check)).text
    assert "Birds that left the flock" in page
    post(cast.clients.keeper, check, bird=birds["Mace"].pk)
    check.refresh_from_db()
    assert check.bird == birds["Mace"]


@pytest.mark.parametrize(
    "said", [{}, {"bird": "it"}, {"bird": str(uuid.uuid4())}, {"foot": "both"}]
)
@pytest.mark.parametrize("what", ["check", "step", "photo"])
def test_what_no_page_sends(cast, check, step, what, said):
    record = {"check": check, "step": step, "photo": check.photos.get()}[what]
    before = state(check)
    answer = post(cast.clients.keeper, record, **said)
    assert answer.status_code in (200, 422)
    assert state(check) == before


def test_a_bird_of_another_flock(cast, check):
    hen = Bird.objects.create(flock=cast.elsewhere, name="Strange")
    post(cast.clients.keeper, check, bird=hen.pk)
    check.refresh_from_db()
    assert check.bird.name == "Dill"


def test_a_check_is_never_nobodys(cast, check):
    assert post(cast.clients.keeper, check, bird="unknown").status_code == 422
    check.refresh_from_db()
    assert check.bird.name == "Dill"


# Two at once


@pytest.mark.parametrize("what", ["check", "step", "photo"])
def test_two_who_move_it_to_different_birds(cast, birds, check, step, what):
    record = {"check": check, "step": step, "photo": check.photos.get()}[what]
    post(cast.clients.owner, record, bird=birds["Mace"].pk)
    answer = post(cast.clients.keeper, record, bird=birds["Sorrel"].pk)
    assert answer.status_code == 409
    assert "Mace" in answer.text and "Sorrel" in answer.text
    again = form_with(answer, "version-keep-bird_id")
    assert again["bird"] == [str(birds["Sorrel"].pk)]
    cast.clients.keeper.post(url(record), again)
    record.refresh_from_db()
    assert record.bird == birds["Sorrel"]


@pytest.mark.parametrize("what", ["check", "step", "photo"])
def test_two_who_move_it_to_the_same_bird(cast, birds, check, step, what):
    record = {"check": check, "step": step, "photo": check.photos.get()}[what]
    post(cast.clients.owner, record, bird=birds["Mace"].pk)
    count = Revision.objects.count()
    answer = post(cast.clients.keeper, record, bird=birds["Mace"].pk)
    assert "moved already" in answer.text
    assert Revision.objects.count() == count


@pytest.mark.parametrize("what", ["check", "step", "photo"])
def test_two_who_tap_other_foot(cast, check, step, what):
    record = {"check": check, "step": step, "photo": check.photos.get()}[what]
    for client in (cast.clients.owner, cast.clients.keeper):
        post(client, record, foot="right")
    of = check.findings.get() if what == "check" else record
    of.refresh_from_db()
    assert of.foot == "right"


def test_other_foot_meets_a_correction_of_it(cast, check):
    shown = check.version
    check.findings.update(score=1)
    Check.objects.filter(pk=check.pk).update(version=shown + 1)
    answer = post(cast.clients.keeper, check, foot="right")
    assert "has corrected this check since" in answer.text
    assert check.findings.get().foot == "left"


def test_a_move_meets_a_correction_of_something_else(cast, birds, check):
    stale = Check.objects.get(pk=check.pk)
    seen = services.Seen(findings=[FootFinding(foot="left", score=1)], signs={"note": "Limps."})
    services.change_check(check=check, keeper=cast.owner, at=check.at, seen=seen)
    post(cast.clients.keeper, stale, bird=birds["Mace"].pk)
    check = Check.objects.get()
    assert (check.bird, check.note, check.findings.get().score) == (birds["Mace"], "Limps.", 1)


def test_a_correction_meets_a_move(cast, birds, check):
    """The form was open under Dill while another found that it is Mace's."""
    edit = reverse("feet:check_edit", args=[cast.flock.pk, check.pk])
    fields = form_with(cast.clients.keeper.get(edit), "check_id")
    post(cast.clients.owner, check, bird=birds["Mace"].pk)
    cast.clients.keeper.post(edit, {**fields, "note": "Limps."})
    check.refresh_from_db()
    assert (check.bird, check.note) == (birds["Mace"], "Limps.")
    assert check.photos.get().bird == birds["Mace"]


def test_it_was_deleted_meanwhile(cast, birds, check):
    services.delete_check(check=Check.objects.get(), keeper=cast.owner)
    answer = post(cast.clients.keeper, check, bird=birds["Mace"].pk)
    assert answer.status_code == 404
    assert not Check.objects.exists()


# What phones send of it later


@pytest.fixture
def sent(cast, birds):
    """A check of Dill's left foot that a phone sent; its key, and what was sent."""
    what = body(cast.flock, birds["Dill"], cast.keeper, ("left-score", "1"))
    key = uuid.uuid4()
    assert send(cast.clients.keeper, cast.flock, what, key).status_code == 201
    return key, what


def test_the_same_again_from_a_phone_whose_answer_was_lost(cast, birds, sent):
    key, what = sent
    moving.move_check(check=Check.objects.get(), bird=birds["Mace"], by=cast.owner)
    assert send(cast.clients.keeper, cast.flock, what, key).status_code == 201
    assert Check.objects.get().bird == birds["Mace"]


@pytest.mark.parametrize("way", ["bird", "foot"])
@pytest.mark.parametrize("kind", ["check", "step"])
def test_the_same_again_of_one_that_the_page_had_stored(cast, birds, kind, way):
    """The page's answer was lost, so the outbox knows of no answer and sends all of it."""
    key, client = uuid.uuid4(), cast.clients.keeper
    said = {
        "check": [("left-score", "1")],
        "step": [("kind", "soaked"), ("foot", "left"), ("who", str(cast.keeper.pk))],
    }[kind]
    what = body(cast.flock, birds["Dill"], cast.keeper, *said, kind=kind)
    name, field = {"check": ("check_bird", "check_id"), "step": ("care:step_new", "step_id")}[kind]
    page = reverse(name, args=[cast.flock.pk, birds["Dill"].pk])
    assert client.post(page, {**dict(what["fields"]), field: str(key)}).status_code == 302
    record = {"check": Check, "step": CareStep}[kind].objects.get()
    post(
        cast.clients.owner,
        record,
        **({"bird": birds["Mace"].pk} if way == "bird" else {"foot": "right"}),
    )
    assert send(client, cast.flock, what, key).status_code == 201
    record.refresh_from_db()
    assert record.bird == birds["Mace" if way == "bird" else "Dill"]
    assert type(record).objects.count() == 1
    # And its photo, which had waited, comes to where the record is now.
    assert send_photo(client, cast.flock, key, cast.keeper, kind=kind).status_code == 201
    photo = record.photos.get()
    assert (photo.bird, photo.foot) == (record.bird, "right" if way == "foot" else "left")


def test_a_correction_from_the_outbox_of_a_check_that_was_moved(cast, birds, sent):
    key, what = sent
    moving.move_check(check=Check.objects.get(), bird=birds["Mace"], by=cast.owner)
    otherwise = {**what, "fields": [*what["fields"], ["note", "Limps."]]}
    answer = send(cast.clients.keeper, cast.flock, otherwise, key)
    assert answer.status_code == 409
    assert answer.json()["url"] == reverse("feet:check", args=[cast.flock.pk, key])
    assert Check.objects.get().bird == birds["Mace"]


def test_where_a_late_photo_belongs_after_swapping_to_and_fro(cast, birds, check):
    assert foot_now(check, "left") == "left"
    for number, foot in enumerate(("right", "left", "right")):
        moving.swap_feet(check=Check.objects.get(), by=cast.keeper)
        assert foot_now(Check.objects.get(), "left") == foot, number
    seen = services.Seen(findings=[FootFinding(foot="right", score=1)])
    check = Check.objects.get()
    services.change_check(check=check, keeper=cast.owner, at=check.at, seen=seen)
    assert foot_now(Check.objects.get(), "left") == "right"
    assert foot_now(Check.objects.get(), "") == ""


# Exchange


def test_an_export_after_a_move_comes_in_as_it_is(cast, birds, check, tmp_path):
    moving.move_check(check=check, bird=birds["Mace"], by=cast.keeper)
    call_command("export_records", str(tmp_path / "out"), flock="Hill Flock")
    call_command("import_records", str(tmp_path / "out"), flock="Copy", create=True)
    copy = Check.objects.exclude(flock=cast.flock).get()
    assert (copy.bird.name, copy.findings.get().score) == ("Mace", 2)
    assert copy.photos.get().measurements.count() == 1


def test_what_is_seen_of_her_follows(cast, birds, check):
    moving.move_check(check=check, bird=birds["Mace"], by=cast.keeper)
    pages = {
        name: cast.clients.keeper.get(bird.get_absolute_url()).text for name, bird in birds.items()
    }
    assert "Her feet have not been checked yet" in pages["Dill"]
    assert "Her feet have not been checked yet" not in pages["Mace"]


def test_json_of_what_was_is_kept_whole(check, birds, cast):
    moving.move_check(check=check, bird=birds["Mace"], by=cast.keeper)
    kept = Revision.objects.filter(record=check.pk).get().before
    assert json.dumps(kept) and kept["bird_id"] == str(birds["Dill"].pk)
