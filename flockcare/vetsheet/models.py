"""Links by which somebody outside the flock sees one bird's sheet, and when they were opened."""

import uuid

from django.db import models

from flockcare.birds.models import Bird
from flockcare.core.models import Token, TokenQuerySet
from flockcare.people.models import Flock, Keeper, Membership, Role


class ShareLinkQuerySet(TokenQuerySet):
    def open(self, *, now):
        """As long as whoever made it may share."""
        makers = Membership.objects.able(Role.KEEPER)
        return super().open(now=now).filter(revoked_at=None, membership__in=makers)

    def in_flock(self, flock):
        return self.filter(membership__flock=flock)


class ShareLink(Token):
    """Lets somebody outside the flock, such as a vet, look at one bird in one stretch of time.

    It hangs on its maker's place in the flock and ends with it, or with the right to share.
    ``first`` empty: from the first record on.
    """

    membership = models.ForeignKey(Membership, on_delete=models.CASCADE)
    # The column has borne this name since before it referred to birds.
    bird = models.ForeignKey(Bird, on_delete=models.CASCADE, db_column="bird", db_index=False)
    first = models.DateField(null=True, blank=True)
    last = models.DateField()
    nameless = models.BooleanField("without the keepers' names", default=False)
    revoked_at = models.DateTimeField(null=True, blank=True)

    objects = ShareLinkQuerySet.as_manager()

    class Meta:
        db_table = "people_sharelink"
        ordering = ["-created_at"]
        indexes = [models.Index(fields=["bird"], name="share_links_of_a_bird")]

    def __str__(self):
        return f"link to {self.bird} until {self.expires_at:%Y-%m-%d}"

    @property
    def flock(self) -> Flock:
        return self.membership.flock

    @property
    def flock_id(self) -> uuid.UUID:
        return self.membership.flock_id

    @property
    def made_by(self) -> Keeper:
        return self.membership.keeper

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
