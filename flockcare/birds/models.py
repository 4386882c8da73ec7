"""Who the birds are and what they weigh."""

from datetime import date

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models.functions import Lower
from django.urls import reverse

from flockcare.birds.breeds import WeightClass, class_of
from flockcare.core.dates import PartialDate, PartialDateField
from flockcare.core.lines import LineField
from flockcare.people.models import FlockRecord

LIGHTEST_GRAMS, HEAVIEST_GRAMS = 20, 9000


class Breed(FlockRecord):
    name = LineField(max_length=60)
    adult_grams = models.PositiveIntegerField(
        "adult weight of a hen",
        null=True,
        blank=True,
        validators=[MinValueValidator(200), MaxValueValidator(HEAVIEST_GRAMS)],
    )
    source = LineField(max_length=120, blank=True, default="")

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint("flock", Lower("name"), name="one_breed_per_name_and_flock")
        ]

    def __str__(self):
        return self.name

    @property
    def weight_class(self) -> str:
        return class_of(self.name, self.adult_grams)


class BandColour(models.TextChoices):
    RED = "red", "red"
    ORANGE = "orange", "orange"
    YELLOW = "yellow", "yellow"
    GREEN = "green", "green"
    BLUE = "blue", "blue"
    PURPLE = "purple", "purple"
    PINK = "pink", "pink"
    WHITE = "white", "white"
    GREY = "grey", "grey"
    BROWN = "brown", "brown"
    BLACK = "black", "black"


class Sex(models.TextChoices):
    HEN = "hen", "hen"
    COCK = "cock", "cock"
    UNKNOWN = "unknown", "not known yet"


class LeftReason(models.TextChoices):
    DIED = "died", "died"
    # Told apart from other culls: a foot that ended a life must not count as a foot that was
    # merely lost from sight.
    CULLED_FEET = "culled for the feet", "put down because of the feet"
    CULLED = "culled", "put down for another reason"
    GIVEN_AWAY = "given away", "sold or given away"
    PREDATOR = "predator", "taken by a predator"
    MISSING = "missing", "missing"
    OTHER = "other", "other"


_WHY = "Say why she left."


class BirdQuerySet(models.QuerySet):
    def present(self):
        return self.filter(left="")

    def gone(self):
        return self.exclude(left="")


class Bird(FlockRecord):
    name = LineField(max_length=40)
    band_colour = models.CharField(max_length=10, choices=BandColour, blank=True, default="")
    band_number = LineField(max_length=12, blank=True, default="")
    breed = models.ForeignKey(Breed, null=True, blank=True, on_delete=models.RESTRICT)
    sex = models.CharField(max_length=10, choices=Sex, default=Sex.HEN)
    own_weight_class = models.CharField(
        "weight class",
        max_length=10,
        choices=WeightClass,
        blank=True,
        default="",
        help_text="Leave empty to take it from the breed's adult weight.",
    )
    hatched = PartialDateField()
    joined = PartialDateField("came to this flock")
    traits = models.TextField(
        "lasting traits",
        blank=True,
        default="",
        help_text="What stays with her, such as an old leg injury or an odd gait.",
    )
    left = PartialDateField("left the flock")
    left_reason = models.CharField(max_length=20, choices=LeftReason, blank=True, default="")
    left_note = models.TextField(
        "notes, also of a post-mortem", blank=True, default="", max_length=4000
    )
    created_at = models.DateTimeField(auto_now_add=True)

    objects = BirdQuerySet.as_manager()

    class Meta:
        ordering = [Lower("name")]
        constraints = [
            models.UniqueConstraint(
                "flock",
                Lower("name"),
                condition=models.Q(left=""),
                name="one_bird_per_name_in_the_flock",
                violation_error_message="Another bird of this flock has that name already.",
            ),
            models.CheckConstraint(
                condition=models.Q(left="") | ~models.Q(left_reason=""),
                name="a_bird_that_left_has_a_reason",
                violation_error_message=_WHY,
            ),
        ]

    def __str__(self):
        return self.name

    def get_absolute_url(self):
        return reverse("bird", args=[self.flock_id, self.pk])

    def clean(self):
        if self.left and not self.left_reason:
            raise ValidationError({"left_reason": _WHY})
        hatched = self.hatched, "she hatched"
        came = (self.joined, "she came to this flock") if self.joined else hatched
        for field, (earlier, what) in (("joined", hatched), ("left", came)):
            later = getattr(self, field)
            if earlier and later:
                try:
                    known = PartialDate.parse(earlier)
                    wrong = PartialDate.parse(later).last() < known.first()
                except ValueError:
                    continue  # The field itself says what is wrong with it.
                if wrong:
                    raise ValidationError({field: f"This is before {what} ({known.words()})."})

    def validate_day(self, day: date) -> None:
        """ValidationError for a day on which nothing can be told of her: she had left or had not
        hatched. A date known to the month or the year rules out only what lies outside it.
        """
        if self.left and PartialDate.parse(self.left).last() < day:
            raise ValidationError(f"{self} left the flock before this ({self.left}).")
        if self.hatched and day < PartialDate.parse(self.hatched).first():
            raise ValidationError(f"{self} had not hatched yet ({self.hatched}).")

    @property
    def band(self) -> str:
        return f"{self.band_colour} {self.band_number}".strip()

    @property
    def weight_class(self) -> str:
        """Her own, else the breed's, else empty."""
        return self.own_weight_class or (self.breed.weight_class if self.breed else "")

    @property
    def about(self) -> str:
        """What tells her from others: ``green 7 · Brahma · very heavy``."""
        parts = (self.band or "no band", self.breed and self.breed.name, self.weight_class)
        return " · ".join(filter(None, parts))


class Weighing(FlockRecord):
    bird = models.ForeignKey(Bird, on_delete=models.CASCADE)
    on = models.DateField("date")
    grams = models.PositiveIntegerField(
        "weight",
        validators=[
            MinValueValidator(LIGHTEST_GRAMS, "That is lighter than a day-old chick."),
            MaxValueValidator(
                HEAVIEST_GRAMS, "No hen weighs more than 9 kg (20 lb). Check the number and unit."
            ),
        ],
    )
    keeper = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, editable=False
    )

    class Meta:
        ordering = ["on"]
        constraints = [
            models.UniqueConstraint(
                fields=["bird", "on"],
                name="one_weighing_per_day",
                violation_error_message="She has been weighed on this day already.",
            )
        ]

    def __str__(self):
        return f"{self.bird} {self.on}: {self.grams} g"
