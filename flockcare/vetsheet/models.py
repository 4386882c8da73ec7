"""Links for somebody outside the flock: to one bird's sheet, or to what a sitter is to do; and when
they were opened.
"""

import uuid

from django.db import models

from flockcare.birds.models import Bird
from flockcare.core.lines import LineField
from flockcare.core.models import Token, TokenQuerySet
from flockcare.people.bylines import Guest
from flockcare.people.models import Flock, Keeper, Membership, Role


class Purpose(models.TextChoices):
    SHEET = "sheet", "vet sheet"
    SITTER = "sitter", "sitter’s page"


class ShareLinkQuerySet(TokenQuerySet):
    def open(self, *, now):
        """As long as whoever made it may share."""
        makers = Membership.objects.able(Role.KEEPER)
        return super().open(now=now).filter(revoked_at=None, membership__in=makers)

    def in_flock(self, flock):
        return self.filter(membership__flock=flock)


class ShareLink(Token):
    """Lets somebody outside the flock look at one bird in one period, as a vet does, or see and
    tick off what is due in that period, as a sitter does.

    It hangs on its maker's place in the flock and ends with it, or with the right to share.
    ``first`` empty: from the first record on. ``question``: what the vet is to answer, asked on the
    day the link was made. Of a sitter there is a ``name``, and no ``bird``.
    """

    purpose = models.CharField(
        max_length=6, choices=Purpose, default=Purpose.SHEET, db_default=Purpose.SHEET
    )
    membership = models.ForeignKey(Membership, on_delete=models.CASCADE)
    # The column has borne this name since before it referred to birds.
    bird = models.ForeignKey(
        Bird, null=True, blank=True, on_delete=models.CASCADE, db_column="bird", db_index=False
    )
    # Shorter than the names of people who did something, in which it is to stand with a word more.
    name = LineField(
        "who looks after the birds", max_length=40, blank=True, default="", db_default=""
    )
    note = models.TextField(
        "note for the sitter", blank=True, default="", db_default="", max_length=2000
    )
    question = models.TextField(
        "question to the vet", blank=True, default="", db_default="", max_length=1000
    )
    first = models.DateField(null=True, blank=True)
    last = models.DateField()
    nameless = models.BooleanField("without the keepers’ names", default=False)
    revoked_at = models.DateTimeField(null=True, blank=True)

    objects = ShareLinkQuerySet.as_manager()

    class Meta:
        db_table = "people_sharelink"
        ordering = ["-created_at"]
        indexes = [models.Index(fields=["bird"], name="share_links_of_a_bird")]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(purpose=Purpose.SHEET, bird__isnull=False)
                | models.Q(purpose=Purpose.SITTER, bird=None, first__isnull=False)
                & ~models.Q(name=""),
                name="link_to_a_bird_or_for_a_sitter",
            )
        ]

    def __str__(self):
        return f"link to {self.bird or self.get_purpose_display()} until {self.expires_at:%Y-%m-%d}"

    @property
    def flock(self) -> Flock:
        return self.membership.flock

    @property
    def flock_id(self) -> uuid.UUID:
        return self.membership.flock_id

    @property
    def made_by(self) -> Keeper:
        return self.membership.keeper

    @property
    def guest(self) -> Guest:
        """Under what name stands what a sitter did."""
        return Guest(f"{self.name} (sitter)")

    def may_be_revoked_by(self, membership: Membership) -> bool:
        return membership.pk == self.membership_id or membership.can(Role.OWNER)


class ShareOpening(models.Model):
    """That a share link was opened, and when. Nothing is kept of who did or from where."""

    class What(models.TextChoices):
        PAGE = "page", "the page"
        PDF = "pdf", "the PDF"

    link = models.ForeignKey(ShareLink, on_delete=models.CASCADE, related_name="openings")
    at = models.DateTimeField(auto_now_add=True)
    what = models.CharField(max_length=4, choices=What)

    class Meta:
        db_table = "people_shareopening"
        ordering = ["-at"]

    def __str__(self):
        return f"{self.what} {self.at:%Y-%m-%d %H:%M}"
