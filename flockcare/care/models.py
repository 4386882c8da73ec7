"""What was done to a foot, with what, and when it is due again."""

from django.conf import settings
from django.db import models

from flockcare.birds.models import Bird
from flockcare.people.models import FlockRecord
from flockcare.photos.models import Foot


class StepKind(models.TextChoices):
    WATCHED = "watched", "left and watched"
    SOAKED = "soaked", "soaked"
    RINSED = "rinsed", "rinsed"
    LIFTED = "scab lifted", "scab lifted or plug out"
    OINTMENT = "ointment", "ointment"
    DRESSING_ON = "dressing on", "dressing on"
    DRESSING_SEEN = "dressing looked at", "dressing looked at"
    DRESSING_CHANGED = "dressing changed", "dressing changed"
    DRESSING_OFF = "dressing off", "dressing off"
    VET = "vet", "vet"
    MEDICINE = "medicine", "medicine as the vet said"


class CareStep(FlockRecord):
    bird = models.ForeignKey(Bird, on_delete=models.CASCADE)
    foot = models.CharField(max_length=5, choices=Foot, blank=True, default="")
    kind = models.CharField(max_length=20, choices=StepKind)
    at = models.DateTimeField()
    product = models.CharField(max_length=80, blank=True, default="")
    keeper = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL
    )
    keeper_name = models.CharField(max_length=60, blank=True, default="")
    next_due = models.DateField(null=True, blank=True)
    note = models.TextField(blank=True, default="", max_length=4000)

    class Meta:
        ordering = ["at"]
        indexes = [models.Index(fields=["bird", "-at"], name="care_of_a_bird")]

    def __str__(self):
        return f"{self.bird} {self.foot}: {self.kind}"
