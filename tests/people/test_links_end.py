"""A link gives no more than its maker may give at the moment it is used."""

import pytest
from django.test import Client
from django.urls import reverse

from flockcare.birds.models import Bird
from flockcare.care.services import make_calendar_link
from flockcare.people import services
from flockcare.people.models import Invitation, Keeper, Membership, PasswordLink, Role
from flockcare.vetsheet.models import ShareLink
from flockcare.vetsheet.services import share
from tests.conftest import PASSWORD, client_of
from tests.people.test_links import NEW, PASSWORDS, assert_gone

pytestmark = pytest.mark.django_db


def place(cast, keeper) -> Membership:
    return Membership.objects.get(flock=cast.flock, keeper=keeper)


def become(cast, keeper, role) -> None:
    services.change_role(membership=place(cast, keeper), role=role, by=cast.owner)


def remove(cast, keeper) -> None:
    services.remove_keeper(membership=place(cast, keeper), by=cast.owner)


def deactivate(cast, keeper) -> None:
    Keeper.objects.filter(pk=keeper.pk).update(is_active=False)


def by_other_hands(change):
    """The role or the place is gone, and nobody has gone through the links meanwhile."""

    def deed(cast, keeper):
        found = Membership.objects.filter(flock=cast.flock, keeper=keeper)
        found.update(role=change) if change else found.delete()

    return deed


@pytest.fixture
def second(cast):
    """A second owner."""
    become(cast, cast.keeper, Role.OWNER)
    return cast.keeper


OUT = [remove, deactivate, by_other_hands(None)]
NO_OWNER = [
    *OUT,
    lambda cast, keeper: become(cast, keeper, Role.KEEPER),
    lambda cast, keeper: become(cast, keeper, Role.VIEWER),
    by_other_hands(Role.KEEPER),
]
NO_KEEPER = [
    *OUT,
    lambda cast, keeper: become(cast, keeper, Role.VIEWER),
    by_other_hands(Role.VIEWER),
]


# Invitations


@pytest.mark.parametrize("role", Role)
@pytest.mark.parametrize("deed", NO_OWNER)
def test_an_invitation_ends_when_its_maker_is_owner_no_longer(cast, second, deed, role):
    _, token = services.invite(flock=cast.flock, role=role, by=second)
    deed(cast, second)
    members = Membership.objects.filter(flock=cast.flock).count()
    address = reverse("people:join", args=[token])
    second.refresh_from_db()
    assert_gone(Client().get(address))
    assert_gone(Client().post(address, NEW))
    assert_gone(cast.clients.stranger.post(address))
    assert not Keeper.objects.filter(sign_in_name="una").exists()
    if second.is_active and not Membership.objects.filter(keeper=second).exists():
        assert_gone(client_of(second).post(address))
    assert Membership.objects.filter(flock=cast.flock).count() == members
    assert "Cancel" not in cast.clients.owner.get(f"/f/{cast.flock.pk}/people/").text


@pytest.mark.parametrize("deed", [remove, lambda cast, who: become(cast, who, Role.KEEPER)])
def test_an_invitation_does_not_come_back_with_its_maker(cast, second, deed):
    _, token = services.invite(flock=cast.flock, role=Role.OWNER, by=second)
    deed(cast, second)
    Membership.objects.update_or_create(
        flock=cast.flock, keeper=second, defaults={"role": Role.OWNER}
    )
    assert_gone(cast.clients.stranger.post(f"/join/{token}/"))


def test_invitations_of_others_and_to_other_flocks_stay(cast, second):
    _, of_the_owner = services.invite(flock=cast.flock, role=Role.VIEWER, by=cast.owner)
    own = services.start_flock(owner=second, name="Own", time_zone="UTC", units="metric")
    _, elsewhere = services.invite(flock=own, role=Role.VIEWER, by=second)
    remove(cast, second)
    for token in (of_the_owner, elsewhere):
        assert cast.clients.stranger.post(f"/join/{token}/").status_code == 302


def test_somebody_removed_between_the_look_and_the_button(cast, second, monkeypatch):
    _, token = services.invite(flock=cast.flock, role=Role.OWNER, by=second)
    real = Invitation.objects.use

    def use(spent, *, now):
        by_other_hands(None)(cast, second)
        return real(spent, now=now)

    monkeypatch.setattr(Invitation.objects, "use", use)
    assert_gone(cast.clients.stranger.post(f"/join/{token}/"))
    assert not Membership.objects.filter(flock=cast.flock, keeper=cast.stranger).exists()


# Links for a new password


def start_another(cast, keeper):
    return services.start_flock(owner=keeper, name="Own", time_zone="UTC", units="metric")


def join_another(cast, keeper):
    _, token = services.invite(flock=cast.elsewhere, role=Role.VIEWER, by=cast.stranger)
    services.accept_invitation(token=token, keeper=keeper)
    return cast.elsewhere


def past_the_services(cast, keeper):
    """As an import does that makes a flock."""
    Membership.objects.create(flock=cast.elsewhere, keeper=keeper, role=Role.VIEWER)
    return cast.elsewhere


@pytest.mark.parametrize("deed", [start_another, join_another, past_the_services])
def test_a_password_link_opens_no_flock_that_came_later(cast, deed):
    token = services.make_password_link(keeper=cast.viewer, by=cast.owner)
    flock = deed(cast, cast.viewer)
    address = f"/new-password/{token}/"
    thief = Client()
    assert_gone(thief.get(address))
    assert_gone(thief.post(address, PASSWORDS))
    assert thief.get(f"/f/{flock.pk}/today/").status_code == 302
    cast.viewer.refresh_from_db()
    assert cast.viewer.check_password(PASSWORD)


def test_a_password_link_does_not_come_back_when_the_later_flock_goes(cast):
    token = services.make_password_link(keeper=cast.viewer, by=cast.owner)
    start_another(cast, cast.viewer).delete()
    assert_gone(Client().post(f"/new-password/{token}/", PASSWORDS))


def test_a_flock_of_the_same_owner_does_not_end_it_unasked(cast):
    own = start_another(cast, cast.owner)
    token = services.make_password_link(keeper=cast.viewer, by=cast.owner)
    Membership.objects.create(flock=own, keeper=cast.viewer, role=Role.VIEWER)
    assert Client().post(f"/new-password/{token}/", PASSWORDS).status_code == 302


@pytest.mark.parametrize("deed", NO_OWNER)
def test_a_password_link_ends_with_the_right_of_its_maker(cast, second, deed):
    token = services.make_password_link(keeper=cast.viewer, by=second)
    deed(cast, second)
    assert_gone(Client().post(f"/new-password/{token}/", PASSWORDS))


@pytest.mark.parametrize("deed", [remove, by_other_hands(None)])
def test_a_password_link_ends_when_its_keeper_is_removed(cast, deed):
    """Whoever made it has nothing to do with them any more."""
    token = services.make_password_link(keeper=cast.viewer, by=cast.owner)
    deed(cast, cast.viewer)
    assert_gone(Client().post(f"/new-password/{token}/", PASSWORDS))


def test_a_password_link_ends_when_the_keeper_finds_the_old_one_and_changes_it(cast):
    token = services.make_password_link(keeper=cast.viewer, by=cast.owner)
    given = {"old_password": PASSWORD, **PASSWORDS}
    assert cast.clients.viewer.post("/account/password/", given).status_code == 302
    assert not PasswordLink.objects.exists()
    assert_gone(Client().post(f"/new-password/{token}/", PASSWORDS))


# Links for a vet, and calendars


def shared_by(cast, keeper) -> str:
    bird = Bird.objects.create(flock=cast.flock, name="Dill")
    _, token = share(
        membership=place(cast, keeper),
        bird=bird,
        first=None,
        last=bird.created_at.date(),
        days=30,
        nameless=False,
    )
    return f"/vet/{token}/"


@pytest.mark.parametrize("deed", NO_KEEPER)
def test_a_vet_link_ends_with_the_right_of_its_maker(cast, deed):
    address = shared_by(cast, cast.keeper)
    listed = reverse("vetsheet:links", args=[cast.flock.pk])
    assert Client().get(address).status_code == 200
    assert "Works until" in cast.clients.owner.get(listed).text
    deed(cast, cast.keeper)
    assert_gone(Client().get(address))
    assert "Works until" not in cast.clients.owner.get(listed).text


def test_the_list_says_why_a_vet_link_ended(cast):
    shared_by(cast, cast.keeper)
    by_other_hands(Role.VIEWER)(cast, cast.keeper)
    listed = cast.clients.owner.get(reverse("vetsheet:links", args=[cast.flock.pk])).text
    assert "Keeper may no longer share" in listed


def test_a_vet_link_does_not_come_back_with_the_role(cast):
    address = shared_by(cast, cast.keeper)
    become(cast, cast.keeper, Role.VIEWER)
    become(cast, cast.keeper, Role.KEEPER)
    assert_gone(Client().get(address))
    assert ShareLink.objects.get().revoked_at


@pytest.mark.parametrize("deed", OUT)
def test_a_calendar_ends_with_the_place_in_the_flock(cast, deed):
    address = f"/calendar/{make_calendar_link(flock=cast.flock, keeper=cast.keeper)}.ics"
    assert Client().get(address).status_code == 200
    deed(cast, cast.keeper)
    assert Client().get(address).status_code == 404


def test_a_calendar_is_a_viewers_too(cast):
    become(cast, cast.keeper, Role.VIEWER)
    address = f"/calendar/{make_calendar_link(flock=cast.flock, keeper=cast.keeper)}.ics"
    assert Client().get(address).status_code == 200
