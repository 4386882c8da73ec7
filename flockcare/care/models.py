"""What was done to a foot, with what, and when it is due again; the kit; calendar links."""

from datetime import date, timedelta
from decimal import Decimal

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models.functions import Lower
from django.utils import timezone

from flockcare.birds.models import Bird
from flockcare.core.lines import LineField
from flockcare.core.models import Token
from flockcare.people.models import Flock, FlockRecord
from flockcare.photos.models import Foot, Photo

MOST_DAYS = 365
_days = [MaxValueValidator(MOST_DAYS, "That is more than a year. Check the number.")]
# Days mean something only with the one who stands for them.
DAYS = ("egg_days", "meat_days", "days_from")
_amount = [MinValueValidator(Decimal(0), "Less than nothing cannot be.")]


class DaysFrom(models.TextChoices):
    """Who named the days for which eggs and meat are not eaten."""

    VET = "vet", "the vet"
    LABEL = "label", "the label"


class ItemKind(models.TextChoices):
    BLADE = "blade", "fine blade"
    ALCOHOL = "alcohol", "alcohol for the blade"
    TWEEZERS = "tweezers", "tweezers"
    OINTMENT = "ointment", "ointment"
    ANTISEPTIC = "antiseptic", "antiseptic"
    EPSOM_SALT = "epsom salt", "Epsom salt"
    GAUZE = "gauze", "gauze"
    WRAP = "wrap", "soft strips or wrap"
    GLOVES = "gloves", "gloves"
    MEDICINE = "medicine", "medicine"
    OTHER = "other", "something else"


class KitItem(FlockRecord):
    """Something in the box. ``stock`` counts in ``unit``; empty says that nobody counted.

    ``egg_days``, ``meat_days``: as the vet or the label says, entered by a keeper; empty says that
    nobody knows, which is not the same as none.
    """

    name = LineField(max_length=80)
    kind = models.CharField("what it is", max_length=12, choices=ItemKind, default=ItemKind.OTHER)
    unit = LineField("counted in", max_length=20, blank=True, default="")
    stock = models.DecimalField(
        "how much there is", max_digits=8, decimal_places=1, null=True, blank=True
    )
    low_at = models.DecimalField(
        "low from",
        max_digits=8,
        decimal_places=1,
        null=True,
        blank=True,
        validators=_amount,
    )
    opened_on = models.DateField("opened on", null=True, blank=True)
    keeps_days = models.PositiveSmallIntegerField(
        "days it keeps once opened",
        null=True,
        blank=True,
        validators=[MaxValueValidator(3650, "That is more than ten years. Check the number.")],
    )
    expires_on = models.DateField("to be used by", null=True, blank=True)
    egg_days = models.PositiveSmallIntegerField(
        "days without her eggs", null=True, blank=True, validators=_days
    )
    meat_days = models.PositiveSmallIntegerField(
        "days without her meat", null=True, blank=True, validators=_days
    )
    days_from = models.CharField(
        "who says so", max_length=5, choices=DaysFrom, blank=True, default=""
    )
    pain_reliever = models.BooleanField(
        "has an added pain reliever",
        null=True,
        blank=True,
        choices=[(None, "not known"), (True, "yes"), (False, "no")],
    )
    note = models.TextField(blank=True, default="", max_length=2000)

    together = (DAYS,)

    class Meta:
        ordering = [Lower("name")]
        constraints = [
            models.UniqueConstraint(
                "flock",
                Lower("name"),
                name="one_kit_item_per_name",
                violation_error_message="The kit has something of that name already.",
            )
        ]

    def __str__(self):
        return self.name

    def clean(self):
        _require_source_of_days(self)

    @property
    def use_by(self) -> date | None:
        """The earlier of the printed day and the last day on which it keeps once opened."""
        opened = (
            self.opened_on + timedelta(self.keeps_days)
            if self.opened_on and self.keeps_days is not None
            else None
        )
        return min(filter(None, (self.expires_on, opened)), default=None)


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


WITHHOLDING = (StepKind.MEDICINE, StepKind.OINTMENT)
DRESSED = (StepKind.DRESSING_ON, StepKind.DRESSING_SEEN, StepKind.DRESSING_CHANGED)


class Outcome(models.TextChoices):
    EASILY = "easily", "came out easily"
    PARTLY = "partly", "came out in part"
    LEFT_IN = "left in", "did not come, left in"


class Bleeding(models.TextChoices):
    NONE = "none", "none"
    SOME = "some", "some"
    MUCH = "much", "much"


class CareStep(FlockRecord):
    """One thing done to one foot of a bird, or to the bird (no foot).

    ``egg_days``, ``meat_days``: of an ointment or a medicine, as a keeper entered them from the
    vet or the label, counted from the last giving; empty says that nobody knows.
    ``claimed_by``: who said that they will do what is due next. ``dropped_…``: why it is not done.
    """

    bird = models.ForeignKey(Bird, on_delete=models.CASCADE)
    foot = models.CharField(max_length=5, choices=Foot, blank=True, default="")
    kind = models.CharField(max_length=20, choices=StepKind)
    at = models.DateTimeField("when")
    product = LineField("with what", max_length=80, blank=True, default="")
    item = models.ForeignKey(
        KitItem, verbose_name="from the kit", null=True, blank=True, on_delete=models.SET_NULL
    )
    amount = models.DecimalField(
        "how much was used",
        max_digits=8,
        decimal_places=1,
        null=True,
        blank=True,
        validators=_amount,
    )
    keeper = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL
    )
    keeper_name = LineField(max_length=60, blank=True, default="")
    outcome = models.CharField("how it went", max_length=8, choices=Outcome, blank=True, default="")
    bleeding = models.CharField(max_length=4, choices=Bleeding, blank=True, default="")
    given_until = models.DateField("last day it is given", null=True, blank=True)
    egg_days = models.PositiveSmallIntegerField(
        "days without her eggs", null=True, blank=True, validators=_days
    )
    meat_days = models.PositiveSmallIntegerField(
        "days without her meat", null=True, blank=True, validators=_days
    )
    days_from = models.CharField(
        "who says so", max_length=5, choices=DaysFrom, blank=True, default=""
    )
    next_due = models.DateField("due again", null=True, blank=True)
    claimed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="+",
        editable=False,
    )
    claimed_at = models.DateTimeField(null=True, blank=True, editable=False)
    dropped_because = LineField(max_length=200, blank=True, default="", editable=False)
    dropped_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="+",
        editable=False,
    )
    note = models.TextField(blank=True, default="", max_length=4000)
    photos = models.ManyToManyField(Photo, blank=True, related_name="care_steps")
    logged_at = models.DateTimeField(default=timezone.now, editable=False)
    changed_at = models.DateTimeField(auto_now=True)

    together = (DAYS, ("keeper_id", "keeper_name"))

    class Meta:
        ordering = ["at"]
        indexes = [
            models.Index(fields=["bird", "-at"], name="care_of_a_bird"),
            models.Index(fields=["flock", "-at"], name="care_of_a_flock"),
            models.Index(fields=["flock", "-changed_at"], name="care_changed_last"),
        ]

    def __str__(self):
        return f"{self.bird} {self.foot}: {self.kind}"

    def clean(self):
        _require_source_of_days(self)

    @property
    def by(self) -> str:
        return self.keeper.name if self.keeper else self.keeper_name

    @property
    def words(self) -> str:
        """What was done, such as ``left foot: soaked, warm water``."""
        done = ", ".join(filter(None, (self.get_kind_display(), self.product)))
        return ": ".join(filter(None, (self.foot and self.get_foot_display(), done)))


def _require_source_of_days(record) -> None:
    """Days that nobody stands for would be guesses."""
    given = record.egg_days is not None or record.meat_days is not None
    if given and not record.days_from:
        raise ValidationError({"days_from": "Say whether the vet or the label named these days."})


class CalendarLink(Token):
    """The secret address of one keeper's calendar of one flock. Only its hash is kept.

    ``at_time``: the local time at which care stands in the calendar; without one, the whole day.
    """

    flock = models.ForeignKey(Flock, on_delete=models.CASCADE)
    keeper = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE)
    at_time = models.TimeField("time of the evening round", null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["flock", "keeper"], name="one_calendar_per_keeper_and_flock"
            )
        ]

    def __str__(self):
        return f"calendar of {self.keeper} for {self.flock}"
