"""Who the birds are, what they weigh, and what state they are in."""

import datetime as dt
from dataclasses import dataclass
from datetime import date

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models.functions import Lower
from django.urls import reverse

from flockcare.birds.age import may_be_growing
from flockcare.birds.breeds import WeightClass, class_of
from flockcare.core.dates import PartialDate, PartialDateField
from flockcare.core.lines import LineField
from flockcare.drawing.dates import date_words
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


@dataclass(frozen=True)
class Pronouns:
    subject: str
    object: str
    possessive: str


PRONOUNS = {
    Sex.HEN: Pronouns("she", "her", "her"),
    Sex.COCK: Pronouns("he", "him", "his"),
    Sex.UNKNOWN: Pronouns("it", "it", "its"),
}


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


_WHY = "Say why the bird left."


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
        help_text="Leave blank to take it from the breed’s adult weight.",
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
        she = self.pronouns.subject
        if self.left and not self.left_reason:
            raise ValidationError({"left_reason": f"Say why {she} left."})
        hatched = self.hatched, f"{she} hatched"
        came = (self.joined, f"{she} came to this flock") if self.joined else hatched
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
    def pronouns(self) -> Pronouns:
        """How this bird is spoken of."""
        return PRONOUNS[self.sex]

    def adult_grams_on(self, day: dt.date) -> int | None:
        """What a weight of that day may be compared with: a grown hen's of the breed.

        None for a cock, for a bird that may have been growing, and where it is not known.
        """
        if self.sex == Sex.COCK or may_be_growing(self.hatched, day):
            return None
        return self.breed.adult_grams if self.breed else None

    def states_on(self, day: dt.date) -> dict:
        """For a page: what holds of this bird on a day, and what else could be said."""
        states = [state for state in self.birdstate_set.all() if state.holds_on(day)]
        return {"states": states, "other_states": self.other_states(states)}

    def other_states(self, states) -> list[tuple[str, str]]:
        """The kinds that could be said of this bird beside ``states``, with their words."""
        said = {state.kind for state in states}
        if self.sex == Sex.COCK:
            said |= {BirdState.Kind.BROODY, BirdState.Kind.IN_LAY}
        return [choice for choice in BirdState.Kind.choices if choice[0] not in said]

    @property
    def band(self) -> str:
        return f"{self.band_colour} {self.band_number}".strip()

    @property
    def weight_class(self) -> str:
        """Her own, else the breed's, else empty."""
        return self.own_weight_class or (self.breed.weight_class if self.breed else "")

    @property
    def about(self) -> str:
        """What tells her from others: ``green 7 · Brahma``; of no known breed her weight class."""
        parts = (self.band or "no band", self.breed.name if self.breed else self.weight_class)
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


class BirdStateQuerySet(models.QuerySet):
    def on(self, day: dt.date):
        """Those that hold on a day; on the day it ends a state holds no more."""
        return self.filter(
            models.Q(until=None) | models.Q(until__gt=day),
            since__lte=day,
        )


_ENDS_TOO_EARLY = "It ends before it begins."


class BirdState(FlockRecord):
    """What is so with a bird for a time: from ``since``, until the day it is over (empty: still).

    It explains what else would be a sign of illness: who is broody eats little, who moults is dull.
    """

    class Kind(models.TextChoices):
        MOULTING = "moulting", "moulting"
        BROODY = "broody", "broody"
        IN_LAY = "in lay", "in lay"
        QUARANTINE = "quarantine", "in quarantine"

    bird = models.ForeignKey(Bird, on_delete=models.CASCADE)
    kind = models.CharField("what", max_length=10, choices=Kind)
    since = models.DateField("from")
    until = models.DateField("over on", null=True, blank=True)
    keeper = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, editable=False
    )

    objects = BirdStateQuerySet.as_manager()

    class Meta:
        verbose_name = "state"
        ordering = ["since"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(until__isnull=True) | models.Q(until__gte=models.F("since")),
                name="a_state_ends_after_it_begins",
                violation_error_message=_ENDS_TOO_EARLY,
            ),
            # Whoever says the same at the same moment is told, though neither has seen the other.
            models.UniqueConstraint(
                fields=["bird", "kind"],
                condition=models.Q(until=None),
                name="one_state_of_a_kind_at_once",
                violation_error_message="This is on record already, and not over.",
            ),
        ]

    def __str__(self):
        return f"{self.bird} {self.get_kind_display()}"

    def holds_on(self, day: dt.date) -> bool:
        """As ``objects.on``, of one that is there."""
        return self.since <= day and (self.until is None or self.until > day)

    def overlaps(self, other: "BirdState") -> bool:
        """Whether both hold on some day; that one is over on the day the other begins is none."""
        if self.since == other.since:
            return True
        first, second = sorted((self, other), key=lambda one: one.since)
        return first.until is None or second.since < first.until

    def clash(self, others) -> None:
        """ValidationError where this is the same, at the same time, as one of ``others``."""
        for other in others:
            if self.kind == other.kind and self.overlaps(other):
                over = f"until {date_words(other.until)}" if other.until else "and not over"
                words = f"{self.get_kind_display()} from {date_words(other.since)} {over}"
                raise ValidationError({"since": f"On record already: {words}."})

    def clean(self):
        self.clean_alone()
        if self.since:
            self.clash(BirdState.objects.filter(bird=self.bird_id).exclude(pk=self.pk))

    def clean_alone(self):
        """What can be wrong with it whatever else is on record."""
        if self.since is None:
            return  # The field itself says what is wrong with it.
        if self.until and self.until < self.since:
            raise ValidationError({"until": _ENDS_TOO_EARLY})
        if self.kind in (self.Kind.BROODY, self.Kind.IN_LAY) and self.bird.sex == Sex.COCK:
            raise ValidationError({"kind": "Only a hen can be that."})
        self._clean_against_her_life()

    def _clean_against_her_life(self):
        bird, she = self.bird, self.bird.pronouns.subject
        if bird.hatched:
            hatched = PartialDate.parse(bird.hatched)
            if self.since < hatched.first():
                raise ValidationError(
                    {"since": f"This is before {she} hatched ({hatched.words()})."}
                )
        if bird.left:
            left = PartialDate.parse(bird.left)
            for field in ("since", "until"):
                day = getattr(self, field)
                if day and day > left.last():
                    raise ValidationError(
                        {field: f"This is after {she} left the flock ({left.words()})."}
                    )
