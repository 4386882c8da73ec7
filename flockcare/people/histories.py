"""A flock and its members in a keeper's words; see ``people.kinds``."""

from flockcare.people.kinds import Kind
from flockcare.people.models import Flock, Membership, Role

KINDS = (
    Kind(
        Flock,
        title=lambda said: said["name"],
        page=lambda flock: ("people:settings",),
        hidden=frozenset({"created_at"}),
        read=Role.OWNER,
        write=Role.OWNER,
    ),
    Kind(
        Membership,
        title=lambda said: said["keeper_id"],
        page=lambda membership: ("people:member", membership.pk),
        hidden=frozenset({"joined_at"}),
        read=Role.OWNER,
        write=None,  # Who belongs is said on the page about the people.
    ),
)
