"""Every write about people."""

import uuid
from datetime import timedelta

from django.contrib.auth.hashers import make_password
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.db.models import Q
from django.utils import timezone

from flockcare.core.models import Token, token_hash
from flockcare.people import history
from flockcare.people.models import (
    Flock,
    Invitation,
    Keeper,
    Membership,
    PasswordLink,
    Role,
)

INVITATION_DAYS = 7
PASSWORD_LINK_HOURS = 24


class LinkGone(ValidationError):
    """The link was used, withdrawn, replaced or has run out."""


def add_keeper(*, name: str, sign_in_name: str, password: str) -> Keeper:
    return _add_keeper(name=name, sign_in_name=sign_in_name, password_hash=make_password(password))


def _add_keeper(*, name: str, sign_in_name: str, password_hash: str) -> Keeper:
    keeper = Keeper(name=name, sign_in_name=sign_in_name.lower(), password=password_hash)
    keeper.full_clean()
    try:
        with transaction.atomic():
            keeper.save()
    except IntegrityError:  # Somebody else took the sign-in name at this moment.
        keeper.full_clean()
        raise
    return keeper


def rename_keeper(*, keeper: Keeper, name: str) -> None:
    keeper.name, keeper.renamed_at = name, timezone.now()
    keeper.full_clean()
    keeper.save(update_fields=["name", "renamed_at"])


def change_password(*, keeper: Keeper, password: str) -> None:
    """Every session of the keeper ends; the caller may renew the one it came from."""
    keeper.set_password(password)
    keeper.save(update_fields=["password"])
    PasswordLink.objects.filter(keeper=keeper).delete()


@transaction.atomic
def start_flock(*, owner: Keeper, name: str, time_zone: str, units: str) -> Flock:
    flock = Flock(name=name, time_zone=time_zone, units=units)
    flock.full_clean()
    flock.save()
    Membership.objects.create(flock=flock, keeper=owner, role=Role.OWNER)
    _end_password_links(owner)
    return flock


@transaction.atomic
def change_flock(*, flock: Flock, by: Keeper, basis=None) -> None:
    history.change(flock, by=by, basis=basis)


def set_up(*, keeper: dict, flock: dict | None) -> tuple[Keeper, Flock | None]:
    """Make the first keeper of an empty installation, and the first flock, unless that is brought
    in afterwards; ValidationError when not empty.
    """
    fields = _hashed(keeper)
    with transaction.atomic():
        if Keeper.objects.exists():
            raise ValidationError("This installation has been set up already. Sign in instead.")
        owner = _add_keeper(**fields)
        return owner, flock and start_flock(owner=owner, **flock)


def _hashed(keeper: dict) -> dict:
    """Hash the password ahead of the transaction: it is slow on purpose, and others would wait."""
    return {
        "name": keeper["name"],
        "sign_in_name": keeper["sign_in_name"],
        "password_hash": make_password(keeper["password"]),
    }


def invite(*, flock: Flock, role: str, by: Keeper) -> tuple[Invitation, str]:
    """A new invitation for one person, and its token, which is not kept."""
    token = Token.new()
    invitation = Invitation(
        flock=flock,
        role=role,
        made_by=by,
        token_hash=token_hash(token),
        expires_at=timezone.now() + timedelta(days=INVITATION_DAYS),
        uses_left=1,
    )
    invitation.full_clean()
    invitation.save()
    return invitation, token


@transaction.atomic
def accept_invitation(*, token: str, keeper: Keeper) -> Membership:
    """Join the flock; the invitation is used up. Members keep their place and the invitation."""
    now = timezone.now()
    invitation = Invitation.objects.usable(token, now=now).select_related("flock").first()
    if invitation is None:
        raise LinkGone("This invitation was used or has expired. Ask for a new one.")
    membership = Membership.objects.filter(flock=invitation.flock, keeper=keeper).first()
    if membership:
        return membership
    if not Invitation.objects.use(token, now=now):
        raise LinkGone("This invitation has just been used. Ask for a new one.")
    _end_password_links(keeper)
    # By two invitations at once one becomes a member once.
    membership, _ = Membership.objects.get_or_create(
        flock=invitation.flock, keeper=keeper, defaults={"role": invitation.role}
    )
    return membership


def join_as_new_keeper(*, token: str, **keeper) -> Membership:
    fields = _hashed(keeper)
    with transaction.atomic():
        return accept_invitation(token=token, keeper=_add_keeper(**fields))


@transaction.atomic
def withdraw_invitation(*, invitation: Invitation, by: Keeper) -> None:
    history.delete(invitation, by=by)


# A link that its maker may no longer make opens nothing (``open`` in the models). Where somebody
# brings that about, the link ends as well, so that it does not come back with the right to make it.


def _end_password_links(keeper: Keeper) -> None:
    """For a keeper whose flocks, or whose rights there, are no longer what they were."""
    PasswordLink.objects.filter(Q(keeper=keeper) | Q(made_by=keeper)).delete()


def _end_links(membership: Membership, *, role: str | None, by: Keeper) -> None:
    """What a member handed out and may not any more with this role; None: as no member."""
    _end_password_links(membership.keeper)
    if role != Role.OWNER:
        for invitation in membership.keeper.invitation_set.filter(flock=membership.flock_id):
            withdraw_invitation(invitation=invitation, by=by)
    if role == Role.VIEWER:
        for link in membership.sharelink_set.filter(revoked_at=None):
            link.revoked_at = timezone.now()
            history.change(link, by=by)


def _require_another_owner(membership: Membership) -> None:
    # Locked, so that of two last owners who leave at once the second sees the first one gone.
    Flock.objects.select_for_update().get(pk=membership.flock_id)
    owners = Membership.objects.filter(flock=membership.flock_id, role=Role.OWNER)
    if not owners.exclude(pk=membership.pk).exists():
        raise ValidationError("A flock needs an owner. Make somebody else an owner first.")


@transaction.atomic
def change_role(*, membership: Membership, role: str, by: Keeper, basis=None) -> None:
    membership.role = role
    history.settle(membership, basis=basis)
    if membership.role != Role.OWNER:
        _require_another_owner(membership)
    history.change(membership, by=by)
    _end_links(membership, role=membership.role, by=by)


@transaction.atomic
def remove_keeper(*, membership: Membership, by: Keeper) -> None:
    """End a keeper's place in a flock at once; with no flock left their phones are signed out."""
    _require_another_owner(membership)
    keeper = membership.keeper
    _end_links(membership, role=None, by=by)
    history.delete(membership, by=by)
    if not keeper.membership_set.exists():
        end_sessions(keeper=keeper)


def end_sessions(*, keeper: Keeper) -> None:
    keeper.session_salt = uuid.uuid4()
    keeper.save(update_fields=["session_salt"])


def make_password_link(*, keeper: Keeper, by: Keeper) -> str:
    """A token for setting a new password once; links made earlier stop working.

    Refused for a keeper who also belongs to a flock that ``by`` does not own: the link would
    open that flock to its maker.
    """
    if keeper.membership_set.not_owned_by(by).exists():
        raise ValidationError(
            f"{keeper} also belongs to a flock of somebody else, whose owner must do this."
        )
    token = Token.new()
    with transaction.atomic():
        PasswordLink.objects.filter(keeper=keeper).delete()
        PasswordLink.objects.create(
            keeper=keeper,
            made_by=by,
            token_hash=token_hash(token),
            expires_at=timezone.now() + timedelta(hours=PASSWORD_LINK_HOURS),
            uses_left=1,
        )
    return token


def set_password_by_link(*, token: str, password: str) -> Keeper:
    """Use the link up, set the password and end every session of the keeper; LinkGone if dead."""
    now = timezone.now()
    password_hash = make_password(password)
    with transaction.atomic():
        link = PasswordLink.objects.usable(token, now=now).select_related("keeper").first()
        if link is None or not PasswordLink.objects.use(token, now=now):
            raise LinkGone("This link was used or has expired. Ask for a new one.")
        link.keeper.password = password_hash
        link.keeper.save(update_fields=["password"])
        end_sessions(keeper=link.keeper)
    return link.keeper
