"""Receipts for what phones sent."""

from django.conf import settings
from django.db import models
from django.utils import timezone

from flockcare.people.models import FlockRecord


class Receipt(FlockRecord):
    """What was answered when something from an outbox was stored, under the key it was made with.

    It is written together with the record, so that whoever sends again, because the answer was
    lost on its way, hears the same. ``made_at`` and ``sent_at`` are by the phone's clock,
    ``received_at`` by ours.
    """

    kind = models.CharField(max_length=10)
    keeper = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL)
    body_hash = models.CharField(max_length=64)
    answer = models.JSONField()
    made_at = models.DateTimeField(null=True)
    sent_at = models.DateTimeField(null=True)
    received_at = models.DateTimeField(default=timezone.now)

    class Meta:
        indexes = [models.Index(fields=["flock", "-received_at"], name="receipts_of_a_flock")]

    def __str__(self):
        return f"{self.kind} {self.pk} received {self.received_at:%Y-%m-%d %H:%M}"
