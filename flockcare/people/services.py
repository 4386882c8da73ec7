"""Every write about people."""

import uuid
from datetime import timedelta

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from flockcare.core.models import Token, token_hash
from flockcare.people.models import Flock, Invitation, Keeper, Membership, PasswordLink, Role

INVITATION_DAYS = 7
PASSWORD_LINK_HOURS = 24


@transaction.atomic
def add_keeper(*, name: str, sign_in_name: str, password: str) -> Keeper:
    keeper = Keeper(name=name, sign_in_name=sign_in_name.lower())
    keeper.set_password(password)
    keeper.full_clean()
    keeper.save()
    return keeper


@transaction.atomic
def start_flock(*, owner: Keeper, name: str, time_zone: str, units: str) -> Flock:
    flock = Flock(name=name, time_zone=time_zone, units=units)
    flock.full_clean()
    flock.save()
    Membership.objects.create(flock=flock, keeper=owner, role=Role.OWNER)
    return flock


@transaction.atomic
def set_up(*, keeper: dict, flock: dict) -> Flock:
    """Make the first keeper and flock of an empty installation; ValidationError when not empty."""
    if Keeper.objects.exists():
        raise ValidationError("This installation has been set up already. Sign in instead.")
    return start_flock(owner=add_keeper(**keeper), **flock)


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
        raise ValidationError("This invitation has been used or has run out. Ask for a new one.")
    membership = Membership.objects.filter(flock=invitation.flock, keeper=keeper).first()
    if membership:
        return membership
    if not Invitation.objects.use(token, now=now):
        raise ValidationError("This invitation has just been used. Ask for a new one.")
    return Membership.objects.create(flock=invitation.flock, keeper=keeper, role=invitation.role)


@transaction.atomic
def join_as_new_keeper(*, token: str, **keeper) -> Membership:
    return accept_invitation(token=token, keeper=add_keeper(**keeper))


def withdraw_invitation(*, invitation: Invitation) -> None:
    invitation.delete()


def _other_owners(membership: Membership):
    return Membership.objects.filter(flock=membership.flock, role=Role.OWNER).exclude(
        pk=membership.pk
    )


@transaction.atomic
def change_role(*, membership: Membership, role: str) -> None:
    if role != Role.OWNER and not _other_owners(membership).exists():
        raise ValidationError("A flock needs an owner. Make somebody else an owner first.")
    membership.role = role
    membership.full_clean()
    membership.save()


@transaction.atomic
def remove_keeper(*, membership: Membership) -> None:
    """End a keeper's place in a flock at once; with no flock left their phones are signed out."""
    if not _other_owners(membership).exists():
        raise ValidationError("A flock needs an owner. Make somebody else an owner first.")
    keeper = membership.keeper
    membership.delete()
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
    owned = Membership.objects.filter(keeper=by, role=Role.OWNER).values("flock")
    if keeper.membership_set.exclude(flock__in=owned).exists():
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


@transaction.atomic
def set_password_by_link(*, token: str, password: str) -> Keeper:
    now = timezone.now()
    link = PasswordLink.objects.usable(token, now=now).select_related("keeper").first()
    if link is None or not PasswordLink.objects.use(token, now=now):
        raise ValidationError("This link has been used or has run out. Ask for a new one.")
    link.keeper.set_password(password)
    link.keeper.save()
    end_sessions(keeper=link.keeper)
    return link.keeper
