"""Who may open what: every address of the app, taken from the resolver itself.

A new address fails here until it is under a flock, or listed as open to all or to the signed in.
"""

import uuid
from datetime import date

import pytest
from django.test import Client
from django.urls import URLPattern, get_resolver, reverse
from django.utils import timezone

from flockcare.birds.models import Bird, BirdState, Breed, Weighing
from flockcare.care.models import CarePlan, CareStep, KitItem, TaskDone, VetContact
from flockcare.feet.models import Check, Round, RoundBird
from flockcare.housing.models import (
    EggCount,
    Event,
    Feature,
    FeatureState,
    House,
    HousingChange,
    Stay,
    Wetness,
)
from flockcare.offline.models import Receipt
from flockcare.people.models import Invitation, Membership, Revision
from flockcare.people.services import invite
from flockcare.photos.models import Photo
from flockcare.vetsheet.services import share

pytestmark = pytest.mark.django_db
# Decided by who asks, before any view asks for records of its own.
BEFORE_THE_VIEW = pytest.mark.apart

OPEN_TO_ALL = {
    "calendar_feed",
    "offline:hello",
    "offline:kept",
    "offline:manifest",
    "offline:outbox",
    "offline:worker",
    # How a phone comes to trust this computer; before signing in, and only with `up --lan`.
    "set_up_phone",
    "certificate",
    "people:home",
    "people:set_up",
    "people:sign_in",
    "people:join",
    "people:new_password",
    "vetsheet:shared",
    "vetsheet:shared_pdf",
    "vetsheet:shared_photo",
    "vetsheet:sitter",
    "vetsheet:sitter_tick",
    "vetsheet:sitter_undo",
}
SIGNED_IN = {
    "people:sign_out",
    "people:flocks",
    "people:flock_new",
    "people:account",
    "people:account_delete",
    "people:password",
    "people:sign_out_everywhere",
    "import",
    # Of whoever began it.
    "exchange:importing",
    "exchange:import_cancel",
}

# What a viewer may do: go, say which of their flocks they look at, and have a calendar of it.
OPEN_TO_VIEWERS = {
    *("people:leave", "people:flock_open", "reminders:calendar", "reminders:calendar_end"),
    *("reminders:page", "reminders:phone", "reminders:phone_end"),
}
# The records of these tests have no files, no case, no change with a period and no sitter.
NOT_THERE = {"photos:file", "photos:full", "care:case", "trends:change", "trends:window"}
NOT_THERE |= {"vetsheet:sitter_note", "vetsheet:sitter_paper"}


def addresses(resolver=None, prefix="", namespace=""):
    """(name with namespace, names of the arguments) of every address."""
    resolver = resolver or get_resolver()
    for pattern in resolver.url_patterns:
        names = [*prefix, *pattern.pattern.regex.groupindex]
        if isinstance(pattern, URLPattern):
            yield f"{namespace}{pattern.name}", names
        else:
            inner = f"{pattern.namespace}:" if pattern.namespace else namespace
            yield from addresses(pattern, names, inner)


ADDRESSES = dict(addresses())
IN_A_FLOCK = sorted(name for name, arguments in ADDRESSES.items() if "flock_id" in arguments)


def records(flock, keeper) -> dict:
    """One record of every kind in this flock, by the argument that names it in an address."""
    bird = Bird.objects.create(flock=flock, name="Borage")
    check = Check.objects.create(flock=flock, bird=bird, at=timezone.now())
    photo = Photo.objects.create(
        flock=flock,
        bird=bird,
        width=9,
        height=9,
        stored_bytes=9,
        sha256=uuid.uuid4().hex * 2,
        look_hash=0,
    )
    round_ = Round.objects.create(flock=flock)
    RoundBird.objects.create(round=round_, bird=bird, place=0)
    invitation, _ = invite(flock=flock, role="viewer", by=keeper)
    house = House.objects.create(flock=flock, name="Shed")
    feature = Feature.objects.create(flock=flock, house=house, name="Bar", kind="roost")
    since = date(2026, 1, 1)
    membership = Membership.objects.get(flock=flock, keeper=keeper)
    link, _ = share(
        membership=membership, bird=bird, first=None, last=since, days=30, nameless=False
    )
    revision = Revision.objects.create(
        flock=flock, kind="birds.Bird", record=bird.pk, action="change", before={"name": "Bora"}
    )
    return {
        "kind": "bird",
        "record_id": bird.pk,
        "revision_id": revision.pk,
        "link_id": link.pk,
        "house_id": house.pk,
        "feature_id": feature.pk,
        "state_id": FeatureState.objects.create(flock=flock, feature=feature, since=since).pk,
        "on": since,
        "key": Receipt.objects.create(flock=flock, keeper=keeper, kind="check", answer={}).pk,
        "plan_id": HousingChange.objects.create(flock=flock, house=house, planned=True).pk,
        "stay_id": Stay.objects.create(flock=flock, house=house, bird=bird).pk,
        "event_id": Event.objects.create(flock=flock, house=house, on=since, kind="predator").pk,
        "wetness_id": Wetness.objects.create(flock=flock, house=house, on=since, level="wet").pk,
        "egg_count_id": EggCount.objects.create(flock=flock, house=house, on=since, eggs=3).pk,
        "bird_id": bird.pk,
        "check_id": check.pk,
        "photo_id": photo.pk,
        "step_id": CareStep.objects.create(
            flock=flock, bird=bird, foot="left", kind="soaked", at=timezone.now()
        ).pk,
        "care_plan_id": CarePlan.objects.create(
            flock=flock,
            bird=bird,
            foot="left",
            parts=[{"kind": "soaked", "product": "", "amount": None}],
            since=since,
        ).pk,
        "task_done_id": TaskDone.objects.create(
            flock=flock, kind="muck out", house=house, on=since
        ).pk,
        "contact_id": VetContact.objects.create(
            flock=flock, name="Surgery", telephone="01632 960001"
        ).pk,
        "item_id": KitItem.objects.create(flock=flock, name="Gauze").pk,
        "foot": "left",
        "size": 240,
        "number": 0,
        "weighing_id": Weighing.objects.create(
            flock=flock, bird=bird, on=date(2026, 1, 1), grams=2000
        ).pk,
        "bird_state_id": BirdState.objects.create(
            flock=flock, bird=bird, kind="moulting", since=since
        ).pk,
        "breed_id": Breed.objects.create(flock=flock, name="Sussex").pk,
        "membership_id": Membership.objects.filter(flock=flock).first().pk,
        "invitation_id": Invitation.objects.get(pk=invitation.pk).pk,
    }


@pytest.fixture
def own(cast):
    return records(cast.flock, cast.owner)


@pytest.fixture
def strange(cast):
    return records(cast.elsewhere, cast.stranger)


def address(name, flock, found) -> str:
    arguments = {key: found[key] for key in ADDRESSES[name] if key != "flock_id"}
    return reverse(name, kwargs={"flock_id": flock.pk, **arguments})


def test_every_address_is_in_a_flock_or_listed():
    assert len(IN_A_FLOCK) > 20
    assert set(ADDRESSES) - set(IN_A_FLOCK) == OPEN_TO_ALL | SIGNED_IN


@BEFORE_THE_VIEW
@pytest.mark.parametrize("name", IN_A_FLOCK)
def test_nobody_without_signing_in(cast, own, name):
    client = Client()
    for answer in (
        client.get(address(name, cast.flock, own)),
        client.post(address(name, cast.flock, own)),
    ):
        assert answer.status_code in (302, 405)
        if answer.status_code == 302:
            assert answer.headers["Location"].startswith(reverse("people:sign_in"))


@BEFORE_THE_VIEW
@pytest.mark.parametrize("name", sorted(SIGNED_IN))
def test_pages_of_ones_own_need_signing_in(cast, name):
    answer = Client().get(reverse(name, args=[uuid.uuid4()] * len(ADDRESSES[name])))
    assert answer.status_code in (302, 405)


@BEFORE_THE_VIEW
@pytest.mark.parametrize("name", IN_A_FLOCK)
def test_a_stranger_finds_no_such_flock(cast, own, name):
    for method in (cast.clients.stranger.get, cast.clients.stranger.post):
        assert method(address(name, cast.flock, own)).status_code in (404, 405)


@BEFORE_THE_VIEW
@pytest.mark.parametrize("name", IN_A_FLOCK)
def test_a_viewer_changes_nothing(cast, own, name):
    answer = cast.clients.viewer.post(address(name, cast.flock, own))
    assert answer.status_code in ((200, 302, 405, 422) if name in OPEN_TO_VIEWERS else (403, 405))


@pytest.mark.parametrize("name", IN_A_FLOCK)
def test_whoever_may_not_look_is_told_so(cast, own, name):
    """The same answer as an owner's, or 403: a lacking right is no mistake in what was asked."""
    where = address(name, cast.flock, own)
    owners = cast.clients.owner.get(where).status_code
    assert owners in ((404,) if name in NOT_THERE else (200, 302, 405))
    for client in (cast.clients.keeper, cast.clients.viewer):
        assert client.get(where).status_code in (owners, 403)


# Their key is made by a phone and names nothing yet; see tests/offline/test_keys.py.
WITH_A_NEW_KEY = {"offline:record", "offline:photo", "offline:part"}
WITH_A_RECORD = [name for name in IN_A_FLOCK if len(ADDRESSES[name]) > 1]


@pytest.mark.parametrize("name", sorted(set(WITH_A_RECORD) - WITH_A_NEW_KEY))
def test_a_record_of_another_flock_is_not_found(cast, strange, name):
    for method in (cast.clients.owner.get, cast.clients.owner.post):
        assert method(address(name, cast.flock, strange)).status_code in (404, 405)


@pytest.mark.parametrize("name", sorted(WITH_A_NEW_KEY))
def test_a_key_of_another_flock_is_answered_as_one_that_nobody_has(cast, strange, name):
    theirs, nobodys = strange["key"], uuid.uuid4()
    first, second = (
        cast.clients.owner.post(address(name, cast.flock, {"key": key, "number": 0}))
        for key in (theirs, nobodys)
    )
    assert first.status_code == second.status_code == 400
    assert first.text.replace(str(theirs), str(nobodys)) == second.text
