"""Keepers, their flocks and who may do what in which."""

import datetime as dt
import functools
import uuid
import zoneinfo

from django.conf import settings
from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.core.exceptions import ValidationError
from django.core.serializers.json import DjangoJSONEncoder
from django.core.validators import MaxValueValidator, MinValueValidator, RegexValidator
from django.db import models
from django.db.models import Exists, OuterRef, Q
from django.urls import reverse

from flockcare.core.lines import LineField
from flockcare.core.models import Record, Token, TokenQuerySet


class KeeperManager(BaseUserManager):
    def get_by_natural_key(self, username):
        return self.get(sign_in_name=username.lower())


class Keeper(AbstractBaseUser):
    """A person who signs in. What they may do is said by their memberships."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    name = LineField("your name", max_length=60, help_text="As the others know you.")
    # Kept in small letters: a phone's keyboard likes to begin a name with a capital.
    sign_in_name = LineField(
        "sign-in name",
        max_length=60,
        unique=True,
        error_messages={"unique": "Somebody here already uses this sign-in name."},
        help_text="Letters, digits and . - _ @, for example ros or ros@home.",
        validators=[
            RegexValidator(r"^[\w.@-]+$", "Only letters, digits and . - _ @, without spaces.")
        ],
    )
    # What is kept of a flock's pages says who did what, and is made anew after a new name.
    renamed_at = models.DateTimeField(null=True, editable=False, db_index=True)
    is_active = models.BooleanField(default=True)
    # Part of what a session is checked against: a new value ends every session of this keeper.
    session_salt = models.UUIDField(default=uuid.uuid4, editable=False)

    USERNAME_FIELD = "sign_in_name"
    objects = KeeperManager()

    def __str__(self):
        return self.name

    def get_session_auth_hash(self):
        return self._salted(super().get_session_auth_hash())

    def get_session_auth_fallback_hash(self):
        return map(self._salted, super().get_session_auth_fallback_hash())

    def _salted(self, session_hash: str) -> str:
        return f"{session_hash}:{self.session_salt.hex}"


class FlockQuerySet(models.QuerySet):
    def of(self, keeper):
        return self.filter(membership__keeper=keeper)


class Units(models.TextChoices):
    METRIC = "metric", "kilograms and centimetres"
    IMPERIAL = "imperial", "pounds and inches"


@functools.cache
def zones() -> frozenset[str]:
    """The names of all time zones; finding them reads hundreds of files."""
    return frozenset(zoneinfo.available_timezones())


def validate_time_zone(value):
    if value not in zones():
        raise ValidationError(f"“{value}” is not a time zone we know, such as Europe/London.")


class Flock(Record):
    name = LineField(max_length=60)
    time_zone = models.CharField(
        max_length=60,
        default="UTC",
        validators=[validate_time_zone],
        help_text="Where the hens live, such as Europe/London.",
    )
    units = models.CharField(max_length=10, choices=Units, default=Units.METRIC)
    round_days = models.PositiveSmallIntegerField(
        "days between rounds",
        default=14,
        validators=[MinValueValidator(1), MaxValueValidator(120)],
        help_text="How often every bird’s feet are checked.",
    )
    recheck_days = models.PositiveSmallIntegerField(
        "days until a sore foot is checked again",
        default=7,
        validators=[MinValueValidator(1), MaxValueValidator(60)],
    )
    created_at = models.DateTimeField(auto_now_add=True)

    objects = FlockQuerySet.as_manager()

    def __str__(self):
        return self.name

    def get_absolute_url(self):
        """Today, where a flock is entered."""
        return reverse("today", args=[self.pk])

    @property
    def zone(self):
        return zoneinfo.ZoneInfo(self.time_zone)


class FlockRecord(Record):
    """A record that belongs to one flock."""

    flock = models.ForeignKey(Flock, on_delete=models.CASCADE)

    class Meta:
        abstract = True


class Role(models.TextChoices):
    OWNER = "owner", "Owner"
    KEEPER = "keeper", "Keeper"
    VIEWER = "viewer", "Viewer"

    @property
    def rank(self) -> int:
        return [Role.VIEWER, Role.KEEPER, Role.OWNER].index(self)

    @property
    def may(self) -> str:
        return {
            Role.OWNER: "records, edits and manages people",
            Role.KEEPER: "records and edits",
            Role.VIEWER: "only reads",
        }[self]


class MembershipQuerySet(models.QuerySet):
    def able(self, role: Role):
        """Those of keepers who can sign in and have at least this role."""
        enough = [each for each in Role if each.rank >= Role(role).rank]
        return self.filter(keeper__is_active=True, role__in=enough)

    def not_owned_by(self, keeper):
        """Those in flocks of which that keeper is not an owner."""
        owned = Membership.objects.able(Role.OWNER).filter(keeper=keeper)
        return self.exclude(flock__in=owned.values("flock"))


class Membership(FlockRecord):
    keeper = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE)
    role = models.CharField(max_length=10, choices=Role)
    joined_at = models.DateTimeField(auto_now_add=True)

    objects = MembershipQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["flock", "keeper"], name="one_membership_per_flock")
        ]

    def __str__(self):
        return f"{self.keeper} in {self.flock}: {self.role}"

    def can(self, role: Role) -> bool:
        return Role(self.role).rank >= Role(role).rank


class InvitationQuerySet(TokenQuerySet):
    def open(self, *, now):
        """As long as whoever made it may invite."""
        owners = Membership.objects.able(Role.OWNER)
        maker = owners.filter(flock=OuterRef("flock"), keeper=OuterRef("made_by"))
        return super().open(now=now).filter(Exists(maker))


class Invitation(Token):
    flock = models.ForeignKey(Flock, on_delete=models.CASCADE)
    role = models.CharField(max_length=10, choices=Role, default=Role.KEEPER)
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE)

    objects = InvitationQuerySet.as_manager()

    def __str__(self):
        return f"invitation to {self.flock} as {self.role}"


class PasswordLinkQuerySet(TokenQuerySet):
    def open(self, *, now):
        """As long as whoever made it owns every flock that its keeper belongs to.

        It opens all of these to its maker, also those that came after it.
        """
        places = Membership.objects.filter(keeper=OuterRef("keeper"))
        elsewhere = places.not_owned_by(OuterRef(OuterRef("made_by")))
        return super().open(now=now).filter(Exists(places), ~Exists(elsewhere))


class PasswordLink(Token):
    """Lets a keeper who forgot their password set a new one, once, without a mail server."""

    keeper = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+"
    )

    objects = PasswordLinkQuerySet.as_manager()

    def __str__(self):
        return f"new password for {self.keeper}"


class WholeMoments(DjangoJSONEncoder):
    """Django's own leaves out the microseconds, and what comes back would not be what was there."""

    def default(self, value):
        return value.isoformat() if isinstance(value, dt.datetime) else super().default(value)


class RevisionQuerySet(models.QuerySet):
    def of_changeset(self, key: int):
        return self.filter(Q(pk=key) | Q(first=key))


class Revision(models.Model):
    """What a record held before somebody changed it.

    What was done in one go is one changeset: its first revision, and those that name it as their
    ``first``. The first also says it in ``words``, where its records do not say enough, what it
    was done with, and which changeset was undone by it.
    """

    class Action(models.TextChoices):
        # Only what is added many at once; ``before`` is then empty.
        ADD = "add", "added"
        CHANGE = "change", "changed"
        DELETE = "delete", "deleted"
        # Then ``before`` is what was brought back.
        RESTORE = "restore", "restored"

    class Tool(models.TextChoices):
        SORTING = "sorting", "sorting of photos"
        IMPORT = "import", "import"
        # Of a whole flock, as it was exported somewhere.
        EXPORT = "export", "import of an export"

    # Its index is the one of a flock's revisions, below.
    flock = models.ForeignKey(Flock, on_delete=models.CASCADE, db_index=False)
    kind = models.CharField(max_length=40)
    record = models.UUIDField()
    at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL)
    # Who it was, where they have no account here.
    by_name = models.CharField(max_length=60, blank=True, default="", db_default="")
    action = models.CharField(max_length=10, choices=Action, db_column="deed")
    before = models.JSONField(encoder=WholeMoments)
    # Revisions only go with their flock, all of them at once, which needs no look at each.
    first = models.ForeignKey("self", null=True, on_delete=models.DO_NOTHING, related_name="+")
    undoes = models.ForeignKey("self", null=True, on_delete=models.DO_NOTHING, related_name="+")
    words = models.CharField(max_length=300, blank=True, default="", db_default="")
    tool = models.CharField(
        max_length=10, choices=Tool, blank=True, default="", db_default="", editable=False
    )

    objects = RevisionQuerySet.as_manager()

    class Meta:
        indexes = [
            models.Index(fields=["record", "-at"], name="revision_of_record"),
            # The newest of a flock: by the primary key PostgreSQL reads those of all flocks.
            models.Index(fields=["flock", "-id"], name="revisions_of_a_flock"),
        ]

    def __str__(self):
        return f"{self.kind} {self.record} {self.action} {self.at:%Y-%m-%d}"

    @property
    def changeset(self) -> int:
        return self.first_id or self.pk

    @property
    def author(self) -> str:
        return str(self.by) if self.by else self.by_name or "Somebody who is no longer here"


class SignInAttempt(models.Model):
    """One attempt to sign in, kept for an hour; see ``people.attempts``.

    ``name`` and ``address`` (the place it came from) are keyed hashes.
    """

    name = models.CharField(max_length=64)
    address = models.CharField(max_length=64)
    at = models.DateTimeField(db_index=True)

    class Meta:
        indexes = [
            models.Index(fields=["name", "address"], name="attempt_of_name"),
            models.Index(fields=["address"], name="attempt_from_place"),
        ]

    def __str__(self):
        return f"an attempt at {self.at}"


class Byline(models.Model):
    """Whose name stands at a record when they have no account here, and in which of its fields.

    They may keep hens elsewhere, from where the record was brought in, or have deleted their
    account. A keeper in the field itself goes before this name.
    """

    flock = models.ForeignKey(Flock, on_delete=models.CASCADE)
    record = models.UUIDField()
    field = models.CharField(max_length=20)
    name = LineField(max_length=60)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["record", "field"], name="one_byline_per_field")
        ]

    def __str__(self):
        return self.name
