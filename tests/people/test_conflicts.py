"""Two keepers who edit one record: every page on which that can happen.

What is expected of such a page is common practice, no published source: nobody's words are
written over without being shown, nothing typed is lost, the same edit twice is no conflict.
"""

import io
import uuid
from dataclasses import dataclass

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone
from django.utils.html import escape
from PIL import Image

from flockcare.birds import services as bird_services
from flockcare.birds.models import Bird
from flockcare.care import services as care_services
from flockcare.care.models import CareStep, KitItem
from flockcare.core.versions import Basis, Conflict
from flockcare.feet import services as feet_services
from flockcare.feet.models import Check, FootFinding
from flockcare.housing.models import HousingChange
from flockcare.people.models import Membership, Revision, Role
from flockcare.photos.models import Photo
from tests.core.test_access import ADDRESSES, IN_A_FLOCK, address, records
from tests.people.page_forms import form_with

pytestmark = pytest.mark.django_db


@dataclass(frozen=True)
class Edit:
    """A field of the form, and what each of two keepers writes there.

    ``words``: how the two values read, where that is not how they are written; ``name``: the
    column, where that is not the field.
    """

    field: str
    theirs: str
    mine: str
    words: tuple[str, str] | None = None
    name: str = ""

    @property
    def column(self) -> str:
        return self.name or self.field


EDITS = {
    "birds:edit": Edit("traits", "Limps in frost.", "An old break, left."),
    "pages:leave": Edit("left_note", "Heart.", "Liver."),
    "birds:breed_edit": Edit("adult_grams", "2.8", "3.1", ("2.80 kg", "3.10 kg")),
    "birds:weighing_edit": Edit("grams", "2.1", "2.3", ("2.10 kg", "2.30 kg")),
    "birds:state_edit": Edit("since", "2025-12-30", "2025-12-31", ("30 Dec 2025", "31 Dec 2025")),
    "feet:check_edit": Edit("note", "Walks well.", "Bedding wet."),
    "care:step": Edit("note", "Ten minutes.", "Warm water."),
    "care:drop": Edit("because", "Healed.", "Raining.", name="dropped_because"),
    "care:plan_edit": Edit("note", "In the shed.", "By daylight."),
    "care:vet": Edit("note", "Closed on Sundays.", "Rings back."),
    "care:item": Edit("unit", "pads", "rolls"),
    "housing:edit": Edit("note", "Roof new.", "Door sticks."),
    "housing:feature_edit": Edit("name", "Top bar", "Long bar"),
    "housing:state": Edit("height_cm", "60", "70", ("60 cm", "70 cm")),
    "housing:change_tell": Edit("note", "Drained.", "Chips laid."),
    "housing:stay": Edit("since", "2026-02-01", "2026-03-01", ("1 Feb 2026", "1 Mar 2026")),
    "housing:event": Edit("note", "Straw.", "Shavings."),
    "housing:wetness_edit": Edit("on", "2026-01-02", "2026-01-03", ("2 Jan 2026", "3 Jan 2026")),
    "housing:eggs_edit": Edit("eggs", "7", "8"),
    "people:settings": Edit("round_days", "10", "21"),
    "people:member": Edit("role", "keeper", "owner", ("Keeper", "Owner")),
}
# What takes a post and edits no text that somebody else could have written meanwhile.
NEW = {
    *("birds:add", "birds:add_many", "birds:weighings", "birds:states"),
    *("care:item_new", "care:kit_fill", "care:vet_new", "care:give", "care:prescription"),
    *(
        "care:step_new",
        "care:plan_new",
        "reminders:calendar",
        "reminders:phone",
        "check_bird",
        "pages:round_start",
        "feet:sort_add",
    ),
    *("housing:add", "housing:feature_add", "people:people", "people:password_link"),
    *("photos:add", "photos:card", "photos:cards", "photos:card_sheets", "photos:card_print"),
    *("photos:measure", "photos:put_files_back", "housing:photos", "pages:coop_type"),
}
REMOVED_WHOLE = {
    *("birds:breed_delete", "pages:remove", "birds:weighing_delete", "care:item_delete"),
    *("care:undo", "care:vet_delete", "care:plan_delete", "birds:state_delete"),
    "care:task_undo",
    "reminders:phone_end",
    *("reminders:calendar_end", "feet:check_delete", "feet:sort_undo", "housing:delete"),
    *("housing:event_delete", "housing:wetness_delete", "housing:eggs_delete"),
    *("housing:feature_delete", "housing:state_delete", "housing:change_delete"),
    *("housing:stay_delete", "housing:plan_drop", "people:leave", "people:member_remove"),
    *("people:invitation_withdraw", "people:flock_delete", "photos:delete", "photos:take_back"),
}
# One tap each, which says no more than it does.
TAPS = {
    *("housing:events", "housing:event_over", "housing:wetness", "housing:eggs", "pages:wetness"),
    *("housing:change_why", "birds:state_start", "birds:state_end", "photos:face"),
    *("care:plan_done", "care:plan_skip", "care:task_done", "care:task_offer"),
    *("pages:came_back", "care:claim", "care:done", "feet:round_next", "feet:round_pass"),
    *("feet:round_end", "housing:plan_done", "people:flock_open", "photos:put_back"),
    *("photos:turn", "feet:sort_follow", "feet:sort_alike", "feet:sort_known"),
}
OTHERWISE = {
    "reminders:page": "is a keeper's own, and seen at once",
    "pages:restore": "is tested with the history",
    "pages:bring_back": "is tested with the history",
    "pages:changeset": "is tested with the history",
    "care:task_settings": "ticks and numbers, each seen at once",
    "care:plan_move": "is about the next day, which the page shows",
    "care:plan_stop": "refuses the second",
    "care:holds": "only fills in what nobody knew",
    "feet:sort_send": "has an undo of its own",
    "feet:sort": "has an undo of its own",
    "feet:sort_one": "has an undo of its own",
    "housing:change": "writes a new state, and shows what another wrote on that day",
    "housing:arrange": "says that another changed the house, and keeps what was typed",
    "housing:walk": "writes a new state, and shows what another wrote on that day",
    "housing:move": "ends a stay and begins another, which says where she was",
    "photos:crop": "what is shown of a photo, seen at once",
    "housing:correct": "only leads to others",
    "housing:what_if": "keeps a plan, which is new",
    "care:opening": "only shows",
    **dict.fromkeys(("move_check", "move_step", "move_photo"), "is tested with moving"),
}
MOVING = {"move_check", "move_step", "move_photo"}
OURS = (
    "birds:",
    "care:",
    "feet:",
    "housing:",
    "pages:",
    "people:",
    "photos:",
    "check_bird",
    "move_",
)


@pytest.fixture
def found(request, cast):
    """One record of every kind; the keeper is an owner too, so that two may edit all of them."""
    Membership.objects.filter(keeper=cast.keeper).update(role=Role.OWNER)
    found = records(cast.flock, cast.owner)
    found["membership_id"] = Membership.objects.get(flock=cast.flock, keeper=cast.viewer).pk
    Check.objects.get(pk=found["check_id"]).findings.create(foot="left", score=0)
    # Only who has left is said to have left, and why.
    asked = getattr(request.node, "callspec", None)
    if asked and asked.params.get("name") == "pages:leave":
        Bird.objects.filter(pk=found["bird_id"]).update(left="2026-05", left_reason="died")
    return found


def sent(client, url, **typed) -> dict:
    """The page's form as it stands, with what was typed."""
    page = client.get(url)
    assert page.status_code == 200
    fields = form_with(page, "version")
    return fields | {name: [text] for name, text in typed.items()}


def both_open(cast, url, edit: Edit) -> tuple[dict, dict]:
    """What each of the two sends, having opened the page before either sent it."""
    return (
        sent(cast.clients.keeper, url, **{edit.field: edit.theirs}),
        sent(cast.clients.owner, url, **{edit.field: edit.mine}),
    )


def test_every_address_that_takes_a_post_is_told_apart(cast, found):
    """A new one fails here until somebody has said whether two can be at it at once."""
    told = set(EDITS) | NEW | REMOVED_WHOLE | TAPS | set(OTHERWISE)
    ours = {name for name in IN_A_FLOCK if name.startswith(OURS)}
    takes_posts = {
        name
        for name in ours
        if cast.clients.stranger.post(address(name, cast.flock, found)).status_code != 405
    }
    assert told <= set(ADDRESSES)
    assert takes_posts - told == set()


def test_these_pages_carry_a_version_and_no_others(cast, found):
    carry = {
        name
        for name in IN_A_FLOCK
        if name.startswith(OURS)
        and b'name="version"' in b"".join(cast.clients.owner.get(address(name, cast.flock, found)))
    }
    assert carry == {*EDITS, *MOVING, "pages:restore"}


@pytest.mark.parametrize("name", EDITS)
def test_the_second_sees_both_and_chooses(cast, found, name):
    edit, url = EDITS[name], address(name, cast.flock, found)
    theirs, mine = both_open(cast, url, edit)
    assert cast.clients.keeper.post(url, theirs).status_code == 302
    known = Revision.objects.count()

    page = cast.clients.owner.post(url, mine)
    assert page.status_code == 409
    text = page.content.decode()
    for words in edit.words or (edit.theirs, edit.mine):
        assert escape(words) in text
    assert "Keeper</strong> changed this" in text or name == "housing:change_tell"
    assert Revision.objects.count() == known

    choice = form_with(page, f"version-keep-{edit.column}")
    assert choice[f"version-keep-{edit.column}"] == ["mine"]
    done = cast.clients.owner.post(url, choice)
    assert done.status_code == 302, done.content.decode()
    newest = Revision.objects.order_by("-pk").first()
    assert Revision.objects.count() == known + 1
    assert newest.by == cast.owner
    again = form_with(cast.clients.owner.get(url), "version")
    assert again[edit.field] == [edit.mine]


@pytest.mark.parametrize("name", EDITS)
def test_what_the_other_wrote_can_be_kept(cast, found, name):
    edit, url = EDITS[name], address(name, cast.flock, found)
    theirs, mine = both_open(cast, url, edit)
    cast.clients.keeper.post(url, theirs)
    known = Revision.objects.count()
    choice = form_with(cast.clients.owner.post(url, mine), f"version-keep-{edit.column}")
    choice[f"version-keep-{edit.column}"] = ["theirs"]
    assert cast.clients.owner.post(url, choice).status_code == 302
    assert Revision.objects.count() == known
    again = form_with(cast.clients.owner.get(url), "version")
    assert again[edit.field] == [edit.theirs]


@pytest.mark.parametrize("name", EDITS)
def test_the_same_edit_of_two_phones_is_no_conflict(cast, found, name):
    edit, url = EDITS[name], address(name, cast.flock, found)
    theirs, mine = both_open(cast, url, edit)
    mine[edit.field] = theirs[edit.field]
    assert cast.clients.keeper.post(url, theirs).status_code == 302
    known = Revision.objects.count()
    assert cast.clients.owner.post(url, mine).status_code == 302
    assert Revision.objects.count() == known


@pytest.mark.parametrize("name", EDITS)
def test_whoever_typed_nothing_undoes_nothing(cast, found, name):
    edit, url = EDITS[name], address(name, cast.flock, found)
    theirs, _ = both_open(cast, url, edit)
    if name == "care:drop":  # Refused without a word.
        return
    untouched = sent(cast.clients.owner, url)
    assert cast.clients.keeper.post(url, theirs).status_code == 302
    assert cast.clients.owner.post(url, untouched).status_code == 302
    again = form_with(cast.clients.owner.get(url), "version")
    assert again[edit.field] == [edit.theirs]


# What is more than one field of one row


@pytest.fixture
def gauze(cast):
    return KitItem.objects.create(flock=cast.flock, name="Pads", stock=10, unit="pads")


def test_what_the_other_left_alone_and_what_i_left_alone_is_proposed(cast, birds):
    """Each wrote in another field: as it stands, the page keeps both."""
    url = reverse("birds:edit", args=[cast.flock.pk, birds["Dill"].pk])
    theirs = sent(cast.clients.keeper, url, traits="Limps.")
    mine = sent(cast.clients.owner, url, band_number="12")
    cast.clients.keeper.post(url, theirs)
    page = cast.clients.owner.post(url, mine)
    assert page.status_code == 409
    choice = form_with(page, "version-keep-traits")
    assert choice["version-keep-traits"] == ["theirs"]
    assert choice["version-keep-band_number"] == ["mine"]
    cast.clients.owner.post(url, choice)
    birds["Dill"].refresh_from_db()
    assert (birds["Dill"].traits, birds["Dill"].band_number) == ("Limps.", "12")


def test_a_third_edit_while_one_chooses_is_shown_too(cast, birds):
    url = reverse("birds:edit", args=[cast.flock.pk, birds["Dill"].pk])
    mine = sent(cast.clients.owner, url, traits="Old break.")
    cast.clients.keeper.post(url, sent(cast.clients.keeper, url, traits="Limps."))
    choice = form_with(cast.clients.owner.post(url, mine), "version-keep-traits")
    cast.clients.keeper.post(url, sent(cast.clients.keeper, url, traits="Limps a little."))
    page = cast.clients.owner.post(url, choice)
    assert page.status_code == 409
    assert "Limps a little." in page.text
    assert "Old break." in page.text
    cast.clients.owner.post(url, form_with(page, "version-keep-traits"))
    birds["Dill"].refresh_from_db()
    assert birds["Dill"].traits == "Old break."


def test_a_form_that_is_refused_first_meets_the_other_version_afterwards(cast, birds):
    url = reverse("birds:edit", args=[cast.flock.pk, birds["Dill"].pk])
    mine = sent(cast.clients.owner, url, traits="Old break.", hatched="yesterday")
    cast.clients.keeper.post(url, sent(cast.clients.keeper, url, traits="Limps."))
    refused = cast.clients.owner.post(url, mine)
    assert "is not a date" in refused.text
    again = form_with(refused, "version") | {"hatched": ["2024-05"]}
    assert again["traits"] == ["Old break."]
    assert cast.clients.owner.post(url, again).status_code == 409


def test_oneself_on_another_phone_is_told_so(cast, birds):
    url = reverse("birds:edit", args=[cast.flock.pk, birds["Dill"].pk])
    mine = sent(cast.clients.owner, url, traits="Old break.")
    cast.clients.owner.post(url, sent(cast.clients.owner, url, traits="Limps."))
    page = cast.clients.owner.post(url, mine)
    assert "You</strong> changed this yourself" in " ".join(page.text.split())


def test_stock_that_was_used_meanwhile_is_not_put_back(cast, birds, gauze):
    """A step of care takes from the stock without any edit of the kit's item."""
    url = reverse("care:item", args=[cast.flock.pk, gauze.pk])
    mine = sent(cast.clients.owner, url, note="In the blue box.")
    step = CareStep(flock=cast.flock, bird=birds["Dill"], kind="soaked", at=timezone.now())
    step.item, step.amount = gauze, 3
    care_services.log_step(step=step)
    assert cast.clients.owner.post(url, mine).status_code == 302
    gauze.refresh_from_db()
    assert (gauze.stock, gauze.note) == (7, "In the blue box.")


def test_days_go_with_the_one_who_stands_for_them(cast, gauze):
    url = reverse("care:item", args=[cast.flock.pk, gauze.pk])
    mine = sent(cast.clients.owner, url, egg_days="7", days_from="label")
    theirs = sent(cast.clients.keeper, url, egg_days="14", meat_days="21", days_from="vet")
    cast.clients.keeper.post(url, theirs)
    page = cast.clients.owner.post(url, mine)
    assert "eggs 7 days, meat not known, the label says so" in page.text
    assert "eggs 14 days, meat 21 days, the vet says so" in page.text
    choice = form_with(page, "version-keep-egg_days") | {"version-keep-egg_days": ["theirs"]}
    cast.clients.owner.post(url, choice)
    gauze.refresh_from_db()
    assert (gauze.egg_days, gauze.meat_days, gauze.days_from) == (14, 21, "vet")


def test_an_edit_leaves_alone_what_its_form_does_not_show(cast, birds):
    """The row may change between the look at it and the writing: here, who does what is due."""
    step = CareStep(flock=cast.flock, bird=birds["Dill"], kind="soaked", at=timezone.now())
    step.keeper, step.next_due = cast.owner, timezone.localdate()
    care_services.log_step(step=step)
    held = CareStep.objects.get(pk=step.pk)
    basis = Basis(held.version, ("note",))
    care_services.claim(step=step, by=cast.keeper)
    held.note = "Warm water."
    care_services.change_step(step=held, by=cast.owner, basis=basis)
    stored = CareStep.objects.get(pk=step.pk)
    assert (stored.note, stored.claimed_by) == ("Warm water.", cast.keeper)


def test_a_change_between_the_look_and_the_writing_is_a_conflict(cast, birds):
    mine = Bird.objects.get(pk=birds["Dill"].pk)
    basis = Basis(mine.version, ("traits",))
    mine.traits = "Old break."
    theirs = Bird.objects.get(pk=mine.pk)
    theirs.traits = "Limps."
    bird_services.change_bird(bird=theirs, by=cast.keeper)
    with pytest.raises(Conflict):
        bird_services.change_bird(bird=mine, by=cast.owner, basis=basis)
    assert Revision.objects.count() == 1


def test_a_form_without_a_version_is_taken_as_it_is(cast, birds):
    url = reverse("birds:edit", args=[cast.flock.pk, birds["Dill"].pk])
    mine = sent(cast.clients.owner, url, traits="Old break.")
    assert cast.clients.owner.post(url, mine | {"version": [""]}).status_code == 302
    birds["Dill"].refresh_from_db()
    assert birds["Dill"].traits == "Old break."


@pytest.mark.parametrize("text", ["name:12345678 traits:zz", "nonsense", "-1", "99", "1" * 5000])
def test_with_a_version_that_the_record_never_had_one_is_asked(cast, birds, text):
    """As from a page that was opened before versions were numbers."""
    url = reverse("birds:edit", args=[cast.flock.pk, birds["Dill"].pk])
    mine = sent(cast.clients.owner, url, traits="Old break.") | {"version": [text]}
    page = cast.clients.owner.post(url, mine)
    assert page.status_code == 409
    choice = form_with(page, "version-keep-traits")
    assert choice["version-keep-traits"] == ["mine"]
    assert cast.clients.owner.post(url, choice).status_code == 302
    birds["Dill"].refresh_from_db()
    assert birds["Dill"].traits == "Old break."


# Photos


def photo_of(cast, bird, colour) -> SimpleUploadedFile:
    out = io.BytesIO()
    Image.effect_noise((240, 180), 60).convert("RGB").save(out, "JPEG")
    return SimpleUploadedFile(f"{colour}.jpg", out.getvalue(), "image/jpeg")


def checked(cast, bird) -> Check:
    seen = feet_services.Seen([FootFinding(foot="left", score=0)])
    return feet_services.save_check(
        flock=cast.flock,
        bird=bird,
        keeper=cast.owner,
        check_id=uuid.uuid4(),
        at=timezone.now(),
        seen=seen,
    )[0]


@pytest.mark.parametrize(("whose", "kept"), [("mine", 1), ("theirs", 1), ("both", 2)])
def test_photos_of_both_can_be_kept_and_none_is_lost(cast, birds, whose, kept):
    check = checked(cast, birds["Dill"])
    url = reverse("feet:check_edit", args=[cast.flock.pk, check.pk])
    mine, theirs = sent(cast.clients.owner, url), sent(cast.clients.keeper, url)
    theirs["left-photos"] = [photo_of(cast, birds["Dill"], "red")]
    mine["left-photos"] = [photo_of(cast, birds["Dill"], "blue")]
    assert cast.clients.keeper.post(url, theirs).status_code == 302
    page = cast.clients.owner.post(url, mine)
    assert page.status_code == 409
    choice = form_with(page, "version-keep-photos")
    assert choice["version-keep-photos"] == ["both"]
    assert len(choice["left-kept_photo"]) == 1
    choice["version-keep-photos"] = [whose]
    assert cast.clients.owner.post(url, choice).status_code == 302
    assert check.photos.count() == kept
    # Left out of the check, they stay with the bird.
    assert Photo.objects.filter(bird=birds["Dill"]).count() in (kept, 2)
    assert Photo.objects.count() == 2


def test_photos_of_a_step_come_through_a_conflict(cast, birds):
    step = CareStep(flock=cast.flock, bird=birds["Dill"], kind="soaked", at=timezone.now())
    step.keeper = cast.owner
    care_services.log_step(step=step)
    url = reverse("care:step", args=[cast.flock.pk, step.pk])
    mine = sent(cast.clients.owner, url, note="Warm water.")
    mine["photos"] = [photo_of(cast, birds["Dill"], "blue")]
    cast.clients.keeper.post(url, sent(cast.clients.keeper, url, note="Ten minutes."))
    choice = form_with(cast.clients.owner.post(url, mine), "version-keep-note")
    assert cast.clients.owner.post(url, choice).status_code == 302
    step.refresh_from_db()
    assert (step.note, step.photos.count()) == ("Warm water.", 1)


def test_photos_of_a_refused_step_come_with_it_again(cast, birds):
    url = reverse("care:step_new", args=[cast.flock.pk, birds["Dill"].pk])
    fields = form_with(cast.clients.owner.get(url), "step_id")
    fields["photos"] = [photo_of(cast, birds["Dill"], "blue")]
    refused = cast.clients.owner.post(url, fields)
    assert "Say what was done." in refused.text
    again = form_with(refused, "step_id") | {"kind": ["soaked"]}
    assert cast.clients.owner.post(url, again).status_code == 302
    assert CareStep.objects.get().photos.count() == 1


def test_photos_of_a_change_of_a_house_come_through_a_conflict(cast, found):
    url = address("housing:change_tell", cast.flock, found)
    mine = sent(cast.clients.owner, url, note="Chips laid.")
    mine["photos"] = [photo_of(cast, None, "blue")]
    cast.clients.keeper.post(url, sent(cast.clients.keeper, url, note="Drained."))
    choice = form_with(cast.clients.owner.post(url, mine), "version-keep-note")
    assert cast.clients.owner.post(url, choice).status_code == 302
    told = HousingChange.objects.get(on=found["on"])
    assert (told.note, told.photos.count()) == ("Chips laid.", 1)
