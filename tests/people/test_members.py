import pytest

from flockcare.people.models import Invitation, Membership, PasswordLink, Revision, Role
from flockcare.people.services import add_keeper, invite, start_flock
from tests.conftest import PASSWORD, client_of
from tests.people.rows import NOT_WRITERS, OWNER_PAGE, READ_PAGE, refused, same_queries, seen


def url(cast, tail=""):
    return f"/f/{cast.flock.pk}/people/{tail}"


def membership(cast, name):
    return Membership.objects.get(flock=cast.flock, keeper=getattr(cast, name))


def test_who_may_look(cast):
    member = membership(cast, "keeper")
    assert seen(cast, url(cast)) == READ_PAGE
    assert seen(cast, url(cast, f"{member.pk}/")) == OWNER_PAGE
    assert seen(cast, url(cast, f"{member.pk}/remove/")) == OWNER_PAGE
    assert seen(cast, f"/f/{cast.flock.pk}/more/") == READ_PAGE
    assert seen(cast, f"/f/{cast.flock.pk}/leave/") == READ_PAGE


def test_only_an_owner_decides(cast):
    member = membership(cast, "keeper")
    invitation, _ = invite(flock=cast.flock, role=Role.KEEPER, by=cast.owner)
    for tail in (
        "",
        f"{member.pk}/",
        f"{member.pk}/remove/",
        f"{member.pk}/new-password/",
        f"invitations/{invitation.pk}/withdraw/",
    ):
        assert refused(cast, url(cast, tail), {"role": "owner"}) == NOT_WRITERS
        assert cast.clients.keeper.post(url(cast, tail), {"role": "owner"}).status_code == 403
    assert membership(cast, "keeper").role == Role.KEEPER
    assert Invitation.objects.count() == 1
    assert not PasswordLink.objects.exists()


def test_keepers_see_who_belongs_but_no_invitations(cast):
    invite(flock=cast.flock, role=Role.VIEWER, by=cast.owner)
    page = cast.clients.keeper.get(url(cast)).text
    assert "Viewer" in page and "Invite somebody" not in page and "Cancel" not in page
    assert "Cancel" in cast.clients.owner.get(url(cast)).text


def test_change_a_role_keeps_the_one_before(cast):
    member = membership(cast, "viewer")
    cast.clients.owner.post(url(cast, f"{member.pk}/"), {"role": "keeper"})
    assert membership(cast, "viewer").role == Role.KEEPER
    revision = Revision.objects.get()
    assert (revision.before["role"], revision.by, revision.record) == (
        "viewer",
        cast.owner,
        member.pk,
    )


def test_last_owner_stays_owner(cast):
    own = membership(cast, "owner")
    page = cast.clients.owner.post(url(cast, f"{own.pk}/"), {"role": "viewer"})
    assert "A flock needs an owner" in page.text
    leave = cast.clients.owner.post(f"/f/{cast.flock.pk}/leave/", follow=True)
    assert "A flock needs an owner" in leave.text
    assert membership(cast, "owner").role == Role.OWNER


def test_an_owner_may_go_when_there_is_another(cast):
    cast.clients.owner.post(url(cast, f"{membership(cast, 'keeper').pk}/"), {"role": "owner"})
    response = cast.clients.owner.post(f"/f/{cast.flock.pk}/leave/")
    assert response.headers["Location"] == "/flocks/"
    assert not Membership.objects.filter(flock=cast.flock, keeper=cast.owner).exists()


def test_keeper_leaves(cast):
    assert "Leave Hill Flock?" in cast.clients.keeper.get(f"/f/{cast.flock.pk}/leave/").text
    cast.clients.keeper.post(f"/f/{cast.flock.pk}/leave/")
    cast.keeper.refresh_from_db()
    assert client_of(cast.keeper).get(url(cast)).status_code == 404


def test_looking_at_the_confirm_page_removes_nobody(cast):
    cast.clients.owner.get(url(cast, f"{membership(cast, 'keeper').pk}/remove/"))
    assert membership(cast, "keeper")


def test_removing_ends_access_at_once_and_signs_out_who_has_no_flock_left(cast):
    client = cast.clients.keeper
    assert client.get(url(cast)).status_code == 200
    cast.clients.owner.post(url(cast, f"{membership(cast, 'keeper').pk}/remove/"))
    assert client.get(url(cast)).headers["Location"].startswith("/sign-in/")
    cast.keeper.refresh_from_db()
    assert client_of(cast.keeper).get(url(cast)).status_code == 404
    assert Revision.objects.get().action == "delete"


def test_removing_leaves_the_sessions_of_who_has_another_flock(cast):
    start_flock(owner=cast.keeper, name="Own", time_zone="UTC", units="metric")
    cast.clients.owner.post(url(cast, f"{membership(cast, 'keeper').pk}/remove/"))
    assert cast.clients.keeper.get(url(cast)).status_code == 404
    assert cast.clients.keeper.get("/flocks/").status_code == 200


def test_member_of_another_flock_is_not_found(cast):
    theirs = Membership.objects.get(flock=cast.elsewhere)
    for tail in ("", "remove/", "new-password/"):
        response = cast.clients.owner.post(url(cast, f"{theirs.pk}/{tail}"), {"role": "viewer"})
        assert response.status_code == 404
    theirs.refresh_from_db()
    assert theirs.role == Role.OWNER


def test_no_password_link_for_who_also_belongs_elsewhere(cast):
    """It would let the owner of one flock into the other."""
    Membership.objects.create(flock=cast.flock, keeper=cast.stranger, role=Role.KEEPER)
    member = membership(cast, "stranger")
    page = cast.clients.owner.post(url(cast, f"{member.pk}/new-password/"), follow=True)
    assert "also belongs to a flock of somebody else" in page.text
    assert not PasswordLink.objects.exists()


@pytest.mark.parametrize("role", ["king", ""])
def test_no_invitation_to_a_role_that_is_none(cast, role):
    assert cast.clients.owner.post(url(cast), {"role": role}).status_code == 200
    assert not Invitation.objects.exists()


def test_people_queries(cast):
    def grow():
        for n in range(20):
            keeper = add_keeper(name=f"K{n}", sign_in_name=f"k{n}", password=PASSWORD)
            Membership.objects.create(flock=cast.flock, keeper=keeper, role=Role.KEEPER)
            invite(flock=cast.flock, role=Role.KEEPER, by=keeper)

    invite(flock=cast.flock, role=Role.KEEPER, by=cast.owner)
    same_queries(cast.clients.owner, url(cast), grow=grow)


def test_the_only_owner_hears_before_leaving_that_it_cannot_be(cast):
    where = f"/f/{cast.flock.pk}/leave/"
    page = cast.clients.owner.get(where).text
    assert "You are its only owner" in page
    assert f'href="/f/{cast.flock.pk}/delete/"' in page
    assert 'class="danger"' not in page and "no longer see this flock" not in page
    assert "only owner" not in cast.clients.keeper.get(where).text
    Membership.objects.filter(keeper=cast.keeper).update(role=Role.OWNER)
    page = cast.clients.owner.get(where).text
    assert "no longer see this flock" in page and 'class="danger"' in page
