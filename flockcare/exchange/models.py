"""Imports of exports, and what keepers said of their own tables."""

import uuid

from django.conf import settings
from django.db import models

from flockcare.core.lines import LineField
from flockcare.people.models import Flock


class Import(models.Model):
    """One export that is brought in, in the background; see ``importing``.

    ``worker`` is who works on it, ``seen_at`` when they last said so. ``flock`` is the empty one
    that it goes into, or, once it is in, the one that it made. ``problems``: the fields of each
    ``Problem``. ``changeset``: the first revision of what was added.
    """

    class State(models.TextChoices):
        WORKING = "working", "being brought in"
        DONE = "done", "brought in"
        REFUSED = "refused", "refused"
        CANCELLED = "cancelled", "cancelled"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    keeper = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="imports"
    )
    flock = models.ForeignKey(Flock, null=True, on_delete=models.CASCADE, related_name="+")
    name = LineField(max_length=Flock._meta.get_field("name").max_length, blank=True)
    started_at = models.DateTimeField(auto_now_add=True, db_index=True)
    state = models.CharField(max_length=10, choices=State, default=State.WORKING)
    worker = models.UUIDField(null=True)
    seen_at = models.DateTimeField(null=True)
    tries = models.PositiveSmallIntegerField(default=0)
    photos = models.PositiveIntegerField(default=0)
    photos_done = models.PositiveIntegerField(default=0)
    problems = models.JSONField(default=list)
    more_problems = models.BooleanField(default=False)
    told = models.CharField(max_length=300, blank=True)
    lost = models.JSONField(default=list)
    changeset = models.BigIntegerField(null=True)

    def __str__(self):
        return f"import of {self.started_at:%Y-%m-%d %H:%M}, {self.get_state_display()}"


class TableMapping(models.Model):
    """What was told of a keeper's own table: the fields of the page that asks, and their values.

    ``head``: hash of the names of its columns. A keeper can tell it again, so it is not exported.
    """

    flock = models.ForeignKey(Flock, on_delete=models.CASCADE, related_name="+")
    table = models.CharField(max_length=20)
    head = models.CharField(max_length=64)
    told = models.JSONField(default=dict)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["flock", "table", "head"], name="table_mapping_once")
        ]

    def __str__(self):
        return f"how a table of {self.table} is read"
