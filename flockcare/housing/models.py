"""Houses, what in them a bird stands or lands on, and which birds live where."""

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from flockcare.birds.models import Bird
from flockcare.people.models import FlockRecord


class House(FlockRecord):
    name = models.CharField(max_length=60)
    note = models.TextField(blank=True, default="", max_length=2000)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(
                fields=["flock", "name"],
                name="one_house_per_name",
                violation_error_message="This flock has a house of that name already.",
            )
        ]

    def __str__(self):
        return self.name


class FeatureKind(models.TextChoices):
    ROOST = "roost", "roost"
    RAIL = "rail", "rail"
    NEST_FRONT = "nest front", "nest front"
    STEP = "step", "step or ramp"
    LANDING = "landing", "landing area"
    OTHER = "other", "other"


class Dampness(models.TextChoices):
    DRY = "dry", "dry"
    DAMP = "damp", "damp"
    WET = "wet", "wet"


class Feature(FlockRecord):
    house = models.ForeignKey(House, on_delete=models.CASCADE)
    name = models.CharField(max_length=60)
    kind = models.CharField(max_length=12, choices=FeatureKind)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(fields=["house", "name"], name="one_feature_per_name")
        ]

    def __str__(self):
        return f"{self.house}: {self.name}"


def _measure(label: str, most: int, *, least: float = 0):
    return models.FloatField(
        label,
        null=True,
        blank=True,
        validators=[MinValueValidator(least), MaxValueValidator(most)],
    )


class FeatureState(FlockRecord):
    """What a feature was from a day on, until its next state."""

    feature = models.ForeignKey(Feature, on_delete=models.CASCADE, related_name="states")
    since = models.DateField("from")
    height_cm = _measure("height above the floor", 1000)
    run_cm = _measure("run to the next step down", 2000)
    length_cm = _measure("length", 5000)
    width_mm = _measure("width", 2000)
    edge = models.CharField(max_length=40, blank=True, default="")
    material = models.CharField(max_length=40, blank=True, default="")
    cover = models.CharField(max_length=40, blank=True, default="")
    bedding = models.CharField(max_length=40, blank=True, default="")
    bedding_depth_cm = _measure("depth of the bedding", 100)
    damp = models.CharField("dampness", max_length=5, choices=Dampness, blank=True, default="")
    note = models.TextField(blank=True, default="", max_length=2000)

    class Meta:
        ordering = ["since"]
        constraints = [
            models.UniqueConstraint(fields=["feature", "since"], name="one_state_per_day")
        ]

    def __str__(self):
        return f"{self.feature} from {self.since}"


class Stay(FlockRecord):
    """A bird lived in a house: from a day (empty: always) until a day (empty: still)."""

    bird = models.ForeignKey(Bird, on_delete=models.CASCADE)
    house = models.ForeignKey(House, on_delete=models.PROTECT)
    since = models.DateField("from", null=True, blank=True)
    until = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["since"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(since__isnull=True)
                | models.Q(until__isnull=True)
                | models.Q(until__gte=models.F("since")),
                name="a_stay_ends_after_it_begins",
                violation_error_message="She cannot leave the house before she moved in.",
            )
        ]

    def __str__(self):
        return f"{self.bird} in {self.house}"
