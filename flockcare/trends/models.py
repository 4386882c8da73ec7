"""What must be kept for an honest answer: the stretch of time that was chosen, and when.

Everything else on the page is computed from the records of other apps.
"""

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils import timezone

from flockcare.housing.models import House
from flockcare.people.models import FlockRecord


class WindowChoice(FlockRecord):
    """How many days before and after a change are compared, and how many after it are left out.

    Rows are only ever added: the newest one holds, and their number says how many stretches were
    tried, which makes a result that fits by chance more likely. A change is known by house and day.
    """

    house = models.ForeignKey(House, on_delete=models.CASCADE, related_name="+")
    on = models.DateField("day of the change")
    window_days = models.PositiveSmallIntegerField(
        "days compared before and after",
        validators=[
            MinValueValidator(28, "Compare at least 28 days on either side."),
            MaxValueValidator(1825, "Compare at most five years on either side."),
        ],
    )
    lag_days = models.PositiveSmallIntegerField(
        "days left out after the change",
        default=0,
        validators=[MaxValueValidator(180, "Leave out at most 180 days.")],
    )
    keeper = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, editable=False
    )
    chosen_at = models.DateTimeField(default=timezone.now, editable=False)

    class Meta:
        ordering = ["chosen_at"]

    def __str__(self):
        return f"{self.house} {self.on}: {self.window_days} days"
