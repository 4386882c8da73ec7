"""Photos of feet and birds: where they are kept, what they show and when they were taken."""

from django.conf import settings
from django.db import models
from django.utils import timezone

from flockcare.birds.models import Bird
from flockcare.people.models import FlockRecord


class Foot(models.TextChoices):
    LEFT = "left", "left foot"
    RIGHT = "right", "right foot"


class Precision(models.TextChoices):
    MOMENT = "moment", "to the minute"
    DAY = "day", "to the day"
    MONTH = "month", "to the month"
    YEAR = "year", "to the year"
    UNKNOWN = "unknown", "not known"


class DateSource(models.TextChoices):
    CAMERA = "camera", "written by the camera"
    FILE_NAME = "file name", "from the file name"
    FILE_TIME = "file time", "time of the file, doubtful"
    HAND = "hand", "given by a keeper"
    UPLOAD = "upload", "when it was sent"
    NONE = "", "none"


class Photo(FlockRecord):
    """One picture, kept without its metadata.

    ``taken`` is the earliest moment that ``taken_precision`` allows, empty when not known.
    """

    bird = models.ForeignKey(Bird, null=True, blank=True, on_delete=models.CASCADE)
    foot = models.CharField(max_length=5, choices=Foot, blank=True, default="")
    taken = models.DateTimeField(null=True, blank=True)
    taken_precision = models.CharField(max_length=8, choices=Precision, default=Precision.UNKNOWN)
    taken_source = models.CharField(
        max_length=10, choices=DateSource, blank=True, default=DateSource.NONE
    )
    width = models.PositiveIntegerField(editable=False)
    height = models.PositiveIntegerField(editable=False)
    stored_bytes = models.PositiveBigIntegerField(editable=False)
    sha256 = models.CharField(max_length=64, editable=False)
    look_hash = models.BigIntegerField(editable=False)
    note = models.TextField(blank=True, default="", max_length=2000)
    keeper = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, editable=False
    )
    added_at = models.DateTimeField(default=timezone.now, editable=False)

    class Meta:
        ordering = ["taken", "added_at"]
        constraints = [
            models.UniqueConstraint(fields=["flock", "sha256"], name="one_photo_per_file"),
        ]
        indexes = [models.Index(fields=["bird", "foot", "taken"], name="photos_of_a_foot")]

    def __str__(self):
        return f"{self.bird or 'unknown bird'} {self.foot} {self.taken or ''}".strip()

    def path(self, size: int | None = None) -> str:
        """Where the file of this size lies in the storage; the full picture without a size."""
        return f"photos/{self.flock_id}/{self.pk}/{size or 'full'}.jpg"
