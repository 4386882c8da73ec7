"""Houses, what in them a bird stands or lands on, and which birds live where."""

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models.functions import Lower

from flockcare.birds.models import Bird
from flockcare.core.lines import LineField
from flockcare.people.models import FlockRecord
from flockcare.photos.models import Photo


def _measure(label: str, most: int, *, least: float = 0):
    return models.FloatField(
        label,
        null=True,
        blank=True,
        validators=[MinValueValidator(least), MaxValueValidator(most)],
    )


class HouseShape(models.TextChoices):
    """What a house looks like from the side; its walls and roof are drawn so."""

    COOP = "coop", "low garden coop"
    SHED = "shed", "shed with roosts"
    RAISED = "raised", "raised house with a ramp"
    AVIARY = "aviary", "aviary or barn aisle"
    STABLE = "stable", "converted stable"


class House(FlockRecord):
    name = LineField(max_length=60)
    note = models.TextField(blank=True, default="", max_length=2000)
    shape = models.CharField(max_length=10, choices=HouseShape, blank=True, default="")
    floor_length_cm = _measure("length of the floor inside", 5000, least=10)
    floor_width_cm = _measure("width of the floor inside", 5000, least=10)
    wall_height_cm = _measure("height of the walls", 1000, least=10)
    floor_height_cm = _measure("height of the floor above the ground outside", 500)

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

    @property
    def floor_cm2(self) -> float | None:
        if self.floor_length_cm is None or self.floor_width_cm is None:
            return None
        return self.floor_length_cm * self.floor_width_cm


class FeatureKind(models.TextChoices):
    ROOST = "roost", "roost"
    RAIL = "rail", "rail"
    NEST_FRONT = "nest front", "nest front"
    STEP = "step", "step"
    RAMP = "ramp", "ramp or ladder"
    BOARD = "droppings board", "droppings board"
    FLOOR = "floor", "floor inside"
    LANDING = "landing", "landing area"
    OTHER = "other", "other"


# Where birds land and no longer come down from.
GROUND = {FeatureKind.FLOOR, FeatureKind.LANDING}
# Where birds sit at night.
PERCHES = {FeatureKind.ROOST, FeatureKind.RAIL}


class Dampness(models.TextChoices):
    DRY = "dry", "dry"
    DAMP = "damp", "damp"
    WET = "wet", "wet"


class Feature(FlockRecord):
    house = models.ForeignKey(House, on_delete=models.CASCADE)
    name = LineField(max_length=60)
    kind = models.CharField(max_length=20, choices=FeatureKind)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(
                fields=["house", "name"],
                name="one_feature_per_name",
                violation_error_message="This house has something of that name already.",
            )
        ]

    def __str__(self):
        return f"{self.house}: {self.name}"


class Described(FlockRecord):
    """What a feature is like; None and empty mean "not known".

    ``along_cm``: of its middle, seen from the side, from the inner face of the left wall; what
    stands outside lies below 0 or beyond the length of the floor.
    """

    gone = models.BooleanField("taken away", default=False)
    height_cm = _measure("height above the floor", 1000)
    along_cm = _measure("place along the house", 7000, least=-2000)
    run_cm = _measure("level distance to the next place down", 2000)
    length_cm = _measure("length", 5000)
    breadth_cm = _measure("breadth", 5000)
    width_mm = _measure("width", 2000)
    spacing_cm = _measure("distance to the next roost", 2000)
    wall_cm = _measure("distance to the wall", 2000)
    edge = LineField("edges", max_length=40, blank=True, default="")
    surface = LineField(max_length=40, blank=True, default="")
    material = LineField(max_length=40, blank=True, default="")
    cover = LineField(max_length=40, blank=True, default="")
    bedding = LineField(max_length=40, blank=True, default="")
    bedding_depth_cm = _measure("depth of the bedding", 100)
    damp = models.CharField("dampness", max_length=5, choices=Dampness, blank=True, default="")
    moisture_percent = _measure("water by weight in percent", 100)
    note = models.TextField(blank=True, default="", max_length=2000)

    class Meta:
        abstract = True


class FeatureState(Described):
    """What a feature was from a day on, until its next state; ``gone``: it was there no more."""

    feature = models.ForeignKey(Feature, on_delete=models.CASCADE, related_name="states")
    since = models.DateField("from")

    class Meta:
        ordering = ["since"]
        constraints = [
            models.UniqueConstraint(
                fields=["feature", "since"],
                name="one_state_per_day",
                violation_error_message="This is described from that day on already.",
            )
        ]

    def __str__(self):
        return f"{self.feature} from {self.since}"


class ChangeKind(models.TextChoices):
    HEIGHT = "height", "a height"
    STEP = "step", "a step or ramp"
    SURFACE = "surface", "a surface or edge"
    BEDDING = "bedding", "bedding"
    DRAINAGE = "drainage", "ground and drainage"
    LAYOUT = "layout", "what stands where"
    OTHER = "other", "feed or something else"
    SEVERAL = "several", "several at once"
    FOUND = "found", "found so on a walk, not made"


class HousingChange(FlockRecord):
    """What keepers say about the changes of one house on one day.

    What changed is told by the states of that day and those before. A planned change has its
    states in ``planned_states``, and a day only if one is meant.
    """

    house = models.ForeignKey(House, on_delete=models.CASCADE, related_name="changes")
    on = models.DateField("day", null=True, blank=True)
    kind = models.CharField(max_length=10, choices=ChangeKind, blank=True, default="")
    note = models.TextField(blank=True, default="", max_length=2000)
    planned = models.BooleanField(default=False)
    photos = models.ManyToManyField(Photo, blank=True, related_name="housing_changes")
    keeper = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, editable=False
    )
    made_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = [models.F("on").desc(nulls_last=True)]
        constraints = [
            models.UniqueConstraint(
                fields=["house", "on"],
                condition=models.Q(planned=False),
                name="one_change_per_house_and_day",
            ),
            models.CheckConstraint(
                condition=models.Q(planned=True) | models.Q(on__isnull=False),
                name="a_change_that_was_made_has_a_day",
                violation_error_message="Say on which day this was.",
            ),
        ]

    def __str__(self):
        return f"{self.house}, {'planned' if self.planned else self.on}"


class PlannedState(Described):
    """What a feature is to become; without a feature, what is to be put up new."""

    change = models.ForeignKey(
        HousingChange, on_delete=models.CASCADE, related_name="planned_states"
    )
    feature = models.ForeignKey(Feature, null=True, blank=True, on_delete=models.CASCADE)
    name = LineField(max_length=60, blank=True, default="")
    kind = models.CharField(max_length=20, choices=FeatureKind, blank=True, default="")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["change", "feature"], name="one_planned_state_each"),
            models.CheckConstraint(
                condition=models.Q(feature__isnull=False) | ~models.Q(name="") & ~models.Q(kind=""),
                name="a_planned_state_is_of_something",
            ),
        ]

    def __str__(self):
        return f"{self.feature or self.name}, planned"


class Walk(FlockRecord):
    """A keeper looked through a house for what hurts feet; what was found is in the states."""

    house = models.ForeignKey(House, on_delete=models.CASCADE, related_name="walks")
    on = models.DateField("day")
    note = models.TextField(blank=True, default="", max_length=2000)
    keeper = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, editable=False
    )

    class Meta:
        ordering = ["-on"]
        constraints = [
            models.UniqueConstraint(
                fields=["house", "on"],
                name="one_walk_per_house_and_day",
            )
        ]

    def __str__(self):
        return f"walk through {self.house} on {self.on}"


ALREADY_THERE = "This is on record for that day already."


class EventKind(models.TextChoices):
    BEDDING = "bedding", "bedding renewed"
    FEED = "feed", "feed changed"
    NEW_BIRDS = "new birds", "new birds"
    PARASITES = "parasites", "treated for mites or worms"
    HOUSING_ORDER = "housing order", "housing order"
    PREDATOR = "predator", "predator"
    WET_SPELL = "wet spell", "wet spell"
    OTHER = "other", "something else"


# What stays so until the next time, and what is so for some days.
LASTING = {EventKind.BEDDING, EventKind.FEED, EventKind.NEW_BIRDS, EventKind.PARASITES}
SPELLS = {EventKind.HOUSING_ORDER, EventKind.WET_SPELL}


class Event(FlockRecord):
    """Something happened in a house, or to the whole flock (``house`` empty).

    ``until`` is the last day of a spell; empty while it goes on. ``what`` says what a kind without
    a name of its own was.
    """

    house = models.ForeignKey(
        House, null=True, blank=True, on_delete=models.CASCADE, related_name="events"
    )
    on = models.DateField("day")
    until = models.DateField("last day", null=True, blank=True)
    kind = models.CharField(max_length=13, choices=EventKind)
    what = LineField("what happened", max_length=60, blank=True, default="")
    note = models.TextField(blank=True, default="", max_length=2000)
    photos = models.ManyToManyField(Photo, blank=True, related_name="events")
    keeper = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, editable=False
    )

    class Meta:
        ordering = ["-on", "kind"]
        # A second tap, or a second keeper, says nothing new.
        constraints = [
            models.UniqueConstraint(
                *("house", "on", "kind", Lower("what")),
                condition=models.Q(house__isnull=False),
                name="one_event_of_a_kind_per_house_and_day",
                violation_error_message=ALREADY_THERE,
            ),
            models.UniqueConstraint(
                *("flock", "on", "kind", Lower("what")),
                condition=models.Q(house__isnull=True),
                name="one_event_of_a_kind_per_flock_and_day",
                violation_error_message=ALREADY_THERE,
            ),
        ]

    def __str__(self):
        return f"{self.words}, {self.where}"

    @property
    def words(self) -> str:
        return self.what or self.get_kind_display()

    @property
    def where(self) -> str:
        return self.house.name if self.house_id else "whole flock"

    @property
    def is_spell(self) -> bool:
        return self.kind in SPELLS

    @property
    def goes_on(self) -> bool:
        return self.is_spell and self.until is None

    def clean(self):
        if self.kind == EventKind.OTHER and not self.what:
            raise ValidationError({"what": "Say in a word or two what it was."})
        if self.kind != EventKind.OTHER and self.what:
            raise ValidationError({"what": "Only for something else. Put it into the note."})
        if self.until and not self.is_spell:
            raise ValidationError({"until": "Only a wet spell or a housing order has a last day."})
        if self.until and self.on and self.until < self.on:
            raise ValidationError({"until": "It cannot end before it began."})


class Wetness(FlockRecord):
    """How wet it was where the birds of a house land and stand; the wettest place counts."""

    house = models.ForeignKey(House, on_delete=models.CASCADE, related_name="wetness")
    on = models.DateField("day")
    level = models.CharField("underfoot", max_length=4, choices=Dampness)
    keeper = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, editable=False
    )

    class Meta:
        ordering = ["-on"]
        verbose_name_plural = "wetness"
        constraints = [
            models.UniqueConstraint(
                fields=["house", "on"],
                name="one_wetness_per_house_and_day",
                violation_error_message="This is on record for that day already. Correct it there.",
            )
        ]

    def __str__(self):
        return f"{self.house}: {self.get_level_display()} on {self.on}"


class EggCount(FlockRecord):
    """How many eggs the birds of a house laid on a day."""

    house = models.ForeignKey(House, on_delete=models.CASCADE, related_name="egg_counts")
    on = models.DateField("day")
    eggs = models.PositiveSmallIntegerField(validators=[MaxValueValidator(1000)])
    keeper = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, editable=False
    )

    class Meta:
        ordering = ["-on"]
        constraints = [
            models.UniqueConstraint(
                fields=["house", "on"],
                name="one_egg_count_per_house_and_day",
                violation_error_message="This is on record for that day already. Correct it there.",
            )
        ]

    def __str__(self):
        return f"{self.house}: {self.eggs} egg{'' if self.eggs == 1 else 's'} on {self.on}"


_ENDS_TOO_EARLY = "She cannot leave the house before she moved in."


class StayQuerySet(models.QuerySet):
    def on(self, day):
        """Who lived where on a day; the day of a move counts for the new house."""
        return self.filter(
            models.Q(since=None) | models.Q(since__lte=day),
            models.Q(until=None) | models.Q(until__gt=day),
        )

    def within(self, first, last):
        """Who lived where on any of these days, both included: a stay that ended on the day on
        which it began counts for none.
        """
        return self.filter(
            models.Q(since=None) | models.Q(since__lte=last),
            models.Q(until=None) | models.Q(until__gt=first),
            models.Q(since=None) | models.Q(until=None) | models.Q(until__gt=models.F("since")),
        )


class Stay(FlockRecord):
    """A bird lived in a house: from a day (empty: always) until a day (empty: still).

    ``until`` is the day she moved out; it counts for the house she moved into.
    """

    bird = models.ForeignKey(Bird, on_delete=models.CASCADE)
    house = models.ForeignKey(House, on_delete=models.RESTRICT)
    since = models.DateField("from", null=True, blank=True)
    until = models.DateField(null=True, blank=True)

    objects = StayQuerySet.as_manager()

    class Meta:
        ordering = [models.F("since").asc(nulls_first=True)]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(since__isnull=True)
                | models.Q(until__isnull=True)
                | models.Q(until__gte=models.F("since")),
                name="a_stay_ends_after_it_begins",
                violation_error_message=_ENDS_TOO_EARLY,
            )
        ]

    def __str__(self):
        return f"{self.bird} in {self.house}"

    def clean(self):
        if self.since and self.until and self.until < self.since:
            raise ValidationError({"until": _ENDS_TOO_EARLY})
