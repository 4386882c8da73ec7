"""Abstract models, and what the clock was seen to say."""

import hashlib
import secrets
import uuid

from django.db import models
from django.db.models import F, Q


class Record(models.Model):
    """Anything that a phone may make before the server hears of it: the key is its own.

    ``version`` counts its changes, so that of two who edit it at once the second is told; see
    ``core.versions``.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    version = models.PositiveIntegerField(default=1, db_default=1, editable=False)

    class Meta:
        abstract = True


def token_hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


class TokenQuerySet(models.QuerySet):
    def open(self, *, now):
        """The rows that still open something."""
        return self.filter(
            Q(uses_left__isnull=True) | Q(uses_left__gt=0),
            expires_at__gt=now,
        )

    def usable(self, token: str, *, now):
        """The rows that this token still opens."""
        return self.open(now=now).filter(token_hash=token_hash(token))

    def use(self, token: str, *, now) -> bool:
        """Spend one use; False when nothing was left to spend (also for the slower of two)."""
        return bool(self.usable(token, now=now).update(uses_left=F("uses_left") - 1))


class Token(Record):
    """A link that gives something away: only its hash is kept, it expires, its uses are counted."""

    token_hash = models.CharField(max_length=64, unique=True, editable=False)
    created_at = models.DateTimeField(auto_now_add=True)
    expires_at = models.DateTimeField()
    uses_left = models.PositiveSmallIntegerField(null=True)

    objects = TokenQuerySet.as_manager()

    class Meta:
        abstract = True

    @staticmethod
    def new() -> str:
        return secrets.token_urlsafe(24)


class ClockMark(models.Model):
    """The one row, 1: when the clock was seen last; see ``core.clock``.

    ``since``: from when on it has run without a jump. ``before``: what it said before that.
    """

    seen = models.DateTimeField()
    since = models.DateTimeField()
    before = models.DateTimeField(null=True)

    def __str__(self):
        return f"the clock at {self.seen}"
