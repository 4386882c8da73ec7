"""What was done to a foot or by a vet, with what, and when it is due again; the flock's vets; the
kit; calendar links."""

import re
from datetime import date, datetime, timedelta
from decimal import Decimal
from uuid import UUID, uuid5

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator, RegexValidator
from django.db import models
from django.db.models.functions import Lower
from django.utils import timezone

from flockcare.birds.models import Bird
from flockcare.care.medicines import is_medicine_by_name
from flockcare.core.lines import LineField
from flockcare.core.models import Token
from flockcare.feet.models import FootFinding
from flockcare.housing.models import EventKind, House
from flockcare.people.models import Flock, FlockRecord
from flockcare.photos.models import Foot, Photo

MOST_DAYS = 365
_days = [MaxValueValidator(MOST_DAYS, "That is more than a year. Check the number.")]
# Days mean something only with the one who stands for them.
DAYS = ("egg_days", "meat_days", "days_from")
_dialled = RegexValidator(r"\d.*\d.*\d", "Give the number with its digits, as you dial it.")
_amount = [MinValueValidator(Decimal(0), "Enter 0 or more.")]
_IS_ONE = "“{}” is a medicine by its name. Leave this unticked; eggs and meat are withdrawn."
_NO_MEDICINE_HAS_NO_DAYS = "What contains no medicine has no days without eggs or meat."


class DaysFrom(models.TextChoices):
    """Who named the days for which eggs and meat are not eaten."""

    VET = "vet", "the vet"
    LABEL = "label", "the label"


class DecidedBy(models.TextChoices):
    """Only what the vet decided is called "as the vet said"."""

    VET = "vet", "the vet"
    KEEPER = "keeper", "a keeper"
    BOTH = "both", "the vet and a keeper together"

    @property
    def is_vets(self) -> bool:
        return self in (self.VET, self.BOTH)


class ItemKind(models.TextChoices):
    BLADE = "blade", "fine blade"
    ALCOHOL = "alcohol", "alcohol"
    TWEEZERS = "tweezers", "tweezers"
    OINTMENT = "ointment", "ointment, spray or powder"
    ANTISEPTIC = "antiseptic", "antiseptic"
    EPSOM_SALT = "epsom salt", "Epsom salt"
    GAUZE = "gauze", "gauze"
    WRAP = "wrap", "soft strips or wrap"
    GLOVES = "gloves", "gloves"
    MEDICINE = "medicine", "medicine"
    OTHER = "other", "something else"


# Not proposed to keepers: cutting into a foot is surgery.
FOR_A_VET = (ItemKind.BLADE, ItemKind.TWEEZERS)
# What may hold a medicine; of anything else nobody is asked for days without eggs.
MEDICATED = (ItemKind.OINTMENT, ItemKind.ANTISEPTIC, ItemKind.MEDICINE, ItemKind.OTHER)


class VetContactQuerySet(models.QuerySet):
    def usual(self):
        """The one to ring; without a usual one the first by name, None without any."""
        return self.order_by("-is_usual", Lower("name")).first()


class VetContact(FlockRecord):
    """A vet, or a practice, that the flock rings."""

    name = LineField(max_length=80)
    telephone = LineField(max_length=40, validators=[_dialled])
    note = models.TextField(
        "out of hours, and anything else", blank=True, default="", max_length=1000
    )
    is_usual = models.BooleanField("the one to ring first", default=False)

    objects = VetContactQuerySet.as_manager()

    class Meta:
        ordering = [Lower("name")]
        constraints = [
            models.UniqueConstraint(
                "flock",
                Lower("name"),
                name="one_vet_per_name",
                violation_error_message="There is a vet of that name already.",
            ),
            models.UniqueConstraint(
                fields=["flock"],
                condition=models.Q(is_usual=True),
                name="one_usual_vet",
                violation_error_message="Another vet is the one to ring first.",
            ),
        ]

    def __str__(self):
        return self.name

    @property
    def tel(self) -> str:
        """The number as a link dials it (RFC 3966): digits, and the plus of another country."""
        return re.sub(r"[^\d+*#]", "", self.telephone)


class KitItem(FlockRecord):
    """Something in the box. ``stock`` counts in ``unit``; empty says that nobody counted.

    ``egg_days``, ``meat_days``: as the vet or the label says, entered by a keeper; empty says that
    nobody knows, which is not the same as none. ``no_medicine``: a plain salve; then nothing is
    withdrawn, and nobody is asked.
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
    no_medicine = models.BooleanField("contains no medicine", default=False, db_default=False)
    batch = LineField("batch number", max_length=40, blank=True, default="", db_default="")
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
        _refuse_medicine(self, self.name)
        if self.no_medicine and _has_days(self):
            raise ValidationError({"no_medicine": _NO_MEDICINE_HAS_NO_DAYS})

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
    WATCHED = "watched", "monitored"
    SOAKED = "soaked", "soaked"
    RINSED = "rinsed", "rinsed"
    LIFTED = "scab lifted", "scab lifted, plug or core out"
    OINTMENT = "ointment", "ointment, spray or powder"
    DRESSING_ON = "dressing on", "dressing on"
    DRESSING_SEEN = "dressing looked at", "dressing checked"
    DRESSING_CHANGED = "dressing changed", "dressing changed"
    DRESSING_OFF = "dressing off", "dressing off"
    VET = "vet", "vet"
    MEDICINE = "medicine", "medicine"
    VACCINE = "vaccine", "vaccinated"


# What is still to be done, where a kind says what was done.
WHAT = {
    StepKind.SOAKED: "soak",
    StepKind.RINSED: "rinse",
    StepKind.OINTMENT: "ointment",
    StepKind.DRESSING_CHANGED: "dressing",
    StepKind.MEDICINE: "medicine",
}
# A vaccine is a medicine by law, and its label names its days, most often none.
WITHHOLDING = (StepKind.MEDICINE, StepKind.VACCINE, StepKind.OINTMENT)
# Where a medicine is from, as the law wants it recorded: Regulation (EU) 2019/6, article 108(2);
# United Kingdom, SI 2013/2033, regulations 17 to 19.
SUPPLY = ("supplier", "supplied_on", "supplied_amount", "prescribed_by")
DRESSED = (StepKind.DRESSING_ON, StepKind.DRESSING_SEEN, StepKind.DRESSING_CHANGED)


class Outcome(models.TextChoices):
    EASILY = "easily", "came out easily"
    PARTLY = "partly", "came out in part"
    LEFT_IN = "left in", "did not come, left in"


class Bleeding(models.TextChoices):
    NONE = "none", "none"
    SOME = "some", "some"
    MUCH = "much", "much"


class MedicineGiven(models.TextChoices):
    YES = "yes", "yes"
    NO = "no", "no"
    UNKNOWN = "unknown", "not known"


# What is said of a visit to the vet, or of a call, alone.
OF_A_VISIT = ("contact_id", "question", "found", "plan", "plan_until", "laboratory")
OF_A_VISIT += ("medicine_given",)


# Medicines, ointments that may hold one, and visits at which one may have been given: a visit of
# which nobody said so counts as not known. ``CareStep.withholds`` says the same of a record.
MAY_WITHHOLD = models.Q(past=False) & (
    models.Q(kind__in=WITHHOLDING, no_medicine=False)
    | models.Q(kind=StepKind.VET) & ~models.Q(medicine_given=MedicineGiven.NO)
)


class CareStepQuerySet(models.QuerySet):
    def newest_first(self):
        """What was given in one go, at one moment, in the order in which it was logged."""
        return self.order_by("-at", "logged_at")


class CareStep(FlockRecord):
    """One thing done to one foot of a bird, or to the bird (no foot); also a visit to the vet.

    A visit, or a call, has ``question``, ``found`` (or said) and ``plan``; the next visit is its
    ``next_due``. Its ``note`` is a keeper's: it may tell what the vet said, and may not.

    ``egg_days``, ``meat_days``: of an ointment or a medicine, as a keeper entered them from the
    vet or the label, counted from the last giving; empty says that nobody knows.
    ``amount`` is taken off the kit; ``quantity`` says in words how much was given, and is no dose
    to follow. ``given_to``: "whole flock" or the house, where all its birds got it at once.
    ``supplier``, ``supplied_…``: who dispensed it, when and how much was obtained.
    ``past``: an old record, of which nothing is due and by which nothing is withdrawn.
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
    no_medicine = models.BooleanField("contains no medicine", default=False, db_default=False)
    batch = LineField("batch number", max_length=40, blank=True, default="", db_default="")
    quantity = LineField("how much was given", max_length=80, blank=True, default="", db_default="")
    supplier = LineField(
        "dispensed or sold by", max_length=120, blank=True, default="", db_default=""
    )
    supplied_on = models.DateField("obtained on", null=True, blank=True)
    supplied_amount = LineField(
        "how much was obtained", max_length=80, blank=True, default="", db_default=""
    )
    prescribed_by = LineField(
        "prescribed by", max_length=120, blank=True, default="", db_default=""
    )
    given_to = LineField(
        "given to", max_length=80, blank=True, default="", db_default="", editable=False
    )
    decided_by = models.CharField(
        "who decided", max_length=6, choices=DecidedBy, blank=True, default="", db_default=""
    )
    past = models.BooleanField("it is past", default=False, db_default=False)
    contact = models.ForeignKey(
        VetContact, verbose_name="which vet", null=True, blank=True, on_delete=models.SET_NULL
    )
    question = models.TextField(
        "what was asked", blank=True, default="", db_default="", max_length=2000
    )
    found = models.TextField(
        "what the vet found", blank=True, default="", db_default="", max_length=4000
    )
    plan = models.TextField(blank=True, default="", db_default="", max_length=2000)
    plan_until = models.DateField("the plan holds until", null=True, blank=True)
    laboratory = models.TextField(
        "laboratory result", blank=True, default="", db_default="", max_length=4000
    )
    medicine_given = models.CharField(
        "was a medicine given or prescribed",
        max_length=7,
        choices=MedicineGiven,
        blank=True,
        default="",
        db_default="",
    )
    photos = models.ManyToManyField(Photo, blank=True, related_name="care_steps")
    logged_at = models.DateTimeField(default=timezone.now, editable=False)
    changed_at = models.DateTimeField(auto_now=True)

    together = (DAYS, ("keeper_id", "keeper_name"))

    objects = CareStepQuerySet.as_manager()

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
        if not self.may_have_days and _has_days(self):
            column = "egg_days" if self.egg_days is not None else "meat_days"
            message = "Only an ointment or a medicine has days without eggs and meat."
            raise ValidationError({column: message})
        if self.no_medicine and self.kind != StepKind.OINTMENT:
            raise ValidationError({"no_medicine": "Only an ointment can be without a medicine."})
        _refuse_medicine(self, self.product, self.item.name if self.item else "")
        if self.no_medicine and _has_days(self):
            raise ValidationError({"no_medicine": _NO_MEDICINE_HAS_NO_DAYS})
        if not self.may_have_days:
            for name in SUPPLY:
                if getattr(self, name):
                    raise ValidationError({name: "Only a medicine has this."})
        if self.kind != StepKind.VET:
            for name in OF_A_VISIT:
                if getattr(self, name):
                    name = name.removesuffix("_id")
                    raise ValidationError({name: "Only a visit to the vet has this."})
        if self.at is None:
            return  # The field itself says so.
        on = timezone.localdate(self.at, self.flock.zone)
        for name, what in (
            ("next_due", "the day of the care itself"),
            ("given_until", "the first giving"),
            ("plan_until", "the day of the visit itself"),
        ):
            day = getattr(self, name)
            if day and day < on:
                raise ValidationError({name: f"This is before {what}."})
        if self.supplied_on and self.supplied_on > on:
            raise ValidationError({"supplied_on": "This is after it was given."})

    @property
    def may_have_days(self) -> bool:
        if self.kind == StepKind.VET:
            return self.medicine_given == MedicineGiven.YES
        return self.kind in WITHHOLDING

    @property
    def may_be_medicine(self) -> bool:
        """However long ago: what nobody knows is not none."""
        if self.kind == StepKind.VET:
            return self.medicine_given != MedicineGiven.NO
        return self.kind in WITHHOLDING and not self.no_medicine

    @property
    def withholds(self) -> bool:
        """As ``MAY_WITHHOLD`` asks the records."""
        return self.may_be_medicine and not self.past

    @property
    def on(self) -> date:
        """The flock's own day."""
        return timezone.localdate(self.at, self.flock.zone)

    @property
    def is_vets(self) -> bool:
        """Whether the vet decided this, alone or with a keeper."""
        return bool(self.decided_by) and DecidedBy(self.decided_by).is_vets

    @property
    def by(self) -> str:
        return self.keeper.name if self.keeper else self.keeper_name

    @property
    def words(self) -> str:
        """What was done, such as ``left foot: soaked, warm water``."""
        foot = self.foot and self.get_foot_display()
        return ": ".join(filter(None, (foot, self.done_words)))

    @property
    def done_words(self) -> str:
        """The same without the foot."""
        vets = self.kind == StepKind.MEDICINE and self.is_vets and "as the vet said"
        return ", ".join(filter(None, (self.get_kind_display(), self.product, vets)))


def _has_days(record) -> bool:
    return record.egg_days is not None or record.meat_days is not None


def _refuse_medicine(record, *names: str) -> None:
    """No tick outdoes the name of what was given."""
    named = next((name for name in names if name and is_medicine_by_name(name)), None)
    if record.no_medicine and named:
        raise ValidationError({"no_medicine": _IS_ONE.format(named)})


def _require_source_of_days(record) -> None:
    """Days that nobody stands for would be guesses."""
    if _has_days(record) and not record.days_from:
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


# What a plan may ask for in one go; which of the two a dressing is logged as, the day tells.
PLANNED = (
    StepKind.SOAKED,
    StepKind.RINSED,
    StepKind.OINTMENT,
    StepKind.DRESSING_CHANGED,
    StepKind.MEDICINE,
)
MOST_APART = 60
# How long a plan that is over is still said to be late, where its last day was not done.
LATE_FOR = timedelta(days=14)


class PutOff(models.TextChoices):
    SKIPPED = "skipped", "skipped"
    MOVED = "moved", "moved"


class CarePlanQuerySet(models.QuerySet):
    def live(self, today: date, before: datetime | None = None):
        """Those of birds that are here which may still ask for something, as far as the records go.

        Without a last day a plan ends with the first check, made after it was set up, that finds
        the foot clear. ``before``: as if later records were not there yet.
        """
        clear = FootFinding.objects.filter(
            check_record__bird=models.OuterRef("bird"),
            check_record__at__gt=models.OuterRef("logged_at"),
            foot=models.OuterRef("foot"),
            score=0,
        )
        found = self.filter(bird__left="")
        if before:
            clear = clear.filter(check_record__at__lt=before)
            found = found.filter(logged_at__lt=before)
        return found.filter(
            models.Q(stopped_on=None) | models.Q(stopped_on__gt=today),
            models.Q(until__gte=today - LATE_FOR) | models.Q(until=None) & ~models.Exists(clear),
        )


class CarePlan(FlockRecord):
    """Care that a bird, or one of her feet, is to get every so many days.

    ``parts``: what is done in one go, each ``{"kind", "product", "amount"}``; a product that the
    kit has under this name is counted down there. ``turns``: whose turn it is by turns, each
    ``[key, name]``: of a keeper the key alone, of whoever has no account here the name; empty:
    anyone's. ``until``: the last day; empty: until a check finds the foot clear.

    ``put_off_…``: the day that would come next is skipped or moved, once. ``quantity`` says in
    words how much is given, as the vet said, and is no dose to follow.
    """

    bird = models.ForeignKey(Bird, on_delete=models.CASCADE)
    foot = models.CharField(max_length=5, choices=Foot, blank=True, default="")
    parts = models.JSONField("what is done", default=list)
    every_days = models.PositiveSmallIntegerField(
        "every how many days",
        default=1,
        validators=[
            MinValueValidator(1, "At least every day."),
            MaxValueValidator(MOST_APART, f"At most every {MOST_APART} days."),
        ],
    )
    since = models.DateField("first day")
    until = models.DateField("last day", null=True, blank=True)
    turns = models.JSONField("whose turn", default=list, blank=True)
    batch = LineField("batch number", max_length=40, blank=True, default="")
    quantity = LineField("how much is given", max_length=80, blank=True, default="")
    egg_days = models.PositiveSmallIntegerField(
        "days without her eggs", null=True, blank=True, validators=_days
    )
    meat_days = models.PositiveSmallIntegerField(
        "days without her meat", null=True, blank=True, validators=_days
    )
    days_from = models.CharField(
        "who says so", max_length=5, choices=DaysFrom, blank=True, default=""
    )
    no_medicine = models.BooleanField("contains no medicine", default=False)
    decided_by = models.CharField(
        "who decided", max_length=6, choices=DecidedBy, blank=True, default=""
    )
    note = models.TextField(blank=True, default="", max_length=2000)
    put_off = models.CharField(
        "skipped or moved", max_length=7, choices=PutOff, blank=True, default="", editable=False
    )
    put_off_from = models.DateField("instead of", null=True, blank=True, editable=False)
    put_off_to = models.DateField("put off to", null=True, blank=True, editable=False)
    stopped_on = models.DateField("stopped on", null=True, blank=True, editable=False)
    stopped_because = LineField(
        "stopped, because", max_length=200, blank=True, default="", editable=False
    )
    keeper = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, editable=False
    )
    logged_at = models.DateTimeField(default=timezone.now, editable=False)

    together = (DAYS, ("put_off", "put_off_from", "put_off_to"))
    objects = CarePlanQuerySet.as_manager()

    class Meta:
        verbose_name = "plan of care"
        ordering = ["since"]

    def __str__(self):
        return f"{self.bird}, {self.words}"

    @property
    def kinds(self) -> list[str]:
        return [part["kind"] for part in self.parts]

    @property
    def words(self) -> str:
        """``left foot: soak, Epsom salt; dressing, every 2 days``."""
        what = "; ".join(
            ", ".join(filter(None, (WHAT[part["kind"]], part["product"]))) for part in self.parts
        )
        often = "every day" if self.every_days == 1 else f"every {self.every_days} days"
        foot = self.foot and self.get_foot_display()
        return ": ".join(filter(None, (foot, f"{what}, {often}")))

    @property
    def is_medicine(self) -> bool:
        return StepKind.MEDICINE in self.kinds

    @property
    def withholds(self) -> bool:
        return bool(set(self.kinds) & set(WITHHOLDING)) and not self.no_medicine

    @property
    def is_vets(self) -> bool:
        return bool(self.decided_by) and DecidedBy(self.decided_by).is_vets

    def clean(self):
        _require_source_of_days(self)
        self._clean_parts()
        for one in self.turns if isinstance(self.turns, list) else [None]:
            if (
                not isinstance(one, list)
                or len(one) != 2
                or not all(isinstance(x, str) for x in one)
            ):
                raise ValidationError({"turns": "This cannot be read."})
        if self.until and self.since and self.until < self.since:
            raise ValidationError({"until": "This is before the first day."})
        if not self.until and (self.is_medicine or not self.foot):
            what = "A medicine" if self.is_medicine else "What is done to no foot"
            raise ValidationError({"until": f"{what} needs a last day."})
        if self.no_medicine and StepKind.OINTMENT not in self.kinds:
            raise ValidationError({"no_medicine": "Only an ointment can be without a medicine."})
        _refuse_medicine(self, *(part["product"] for part in self.parts))
        if _has_days(self) and (self.no_medicine or not set(self.kinds) & set(WITHHOLDING)):
            column = "egg_days" if self.egg_days is not None else "meat_days"
            message = "Only an ointment or a medicine has days without eggs and meat."
            raise ValidationError({column: message})

    def _clean_parts(self):
        try:
            kinds = [StepKind(part["kind"]) for part in self.parts]
            products = [str(part["product"]) for part in self.parts]
            amounts = [Decimal(part["amount"]) for part in self.parts if part["amount"] is not None]
        except (TypeError, KeyError, ValueError, ArithmeticError):
            raise ValidationError({"parts": "This cannot be read."}) from None
        if not kinds:
            raise ValidationError({"parts": "Say what is to be done."})
        if len(set(kinds)) < len(kinds) or not set(kinds) <= set(PLANNED):
            raise ValidationError({"parts": "A plan has each kind of care only once."})
        if {StepKind.OINTMENT, StepKind.MEDICINE} <= set(kinds):
            raise ValidationError(
                {"parts": "Ointment and medicine each have days of their own: make two plans."}
            )
        field = CareStep._meta.get_field("product")
        for product in products:
            if ";" in product:
                raise ValidationError({"parts": "Name one product for each, without a semicolon."})
            if product:
                field.run_validators(product)
        if any(not amount.is_finite() or amount < 0 for amount in amounts):
            raise ValidationError({"parts": "Enter 0 or more."})


class TaskKind(models.TextChoices):
    """What keeps feet sound before anything is wrong with them."""

    MUCK_OUT = "muck out", "muck out and renew the bedding"
    TOP_UP = "top up landing", "top up the bedding where they land"
    SAND = "sand roosts", "sand the roosts smooth"
    NAILS = "trim nails", "trim nails"
    WEIGH = "weigh", "weigh"
    NEW_BIRD = "new bird", "check the feet of a new bird"


OF_A_HOUSE = (TaskKind.MUCK_OUT, TaskKind.TOP_UP, TaskKind.SAND)
OF_A_BIRD = (TaskKind.NAILS, TaskKind.WEIGH)


class Task(FlockRecord):
    """Whether the flock wants to be reminded of a task, and how often, from a day on.

    Without one the usual holds; see ``care.tasks``. ``every_days``: none of the checks of a new
    bird, which have days of their own.
    """

    kind = models.CharField("task", max_length=14, choices=TaskKind)
    is_on = models.BooleanField("on the list", default=True)
    every_days = models.PositiveSmallIntegerField(
        "every how many days",
        null=True,
        blank=True,
        validators=[MinValueValidator(1, "At least every day."), *_days],
    )
    since = models.DateField("from")

    class Meta:
        ordering = ["kind"]
        constraints = [
            models.UniqueConstraint(
                fields=["flock", "kind"],
                name="one_task_of_a_kind",
                violation_error_message="This task is set already.",
            )
        ]

    def __str__(self):
        return self.get_kind_display()

    def clean(self):
        if (self.every_days is None) != (self.kind == TaskKind.NEW_BIRD):
            words = "has days of its own" if self.every_days else "needs its number of days"
            raise ValidationError({"every_days": f"This {words}."})


class TaskDone(FlockRecord):
    """A task that was done on a day: in a house, or with a bird. A weighing is its own record.

    Mucking out logs the event "bedding renewed" too: see ``bedding_key``.
    """

    kind = models.CharField("task", max_length=14, choices=TaskKind)
    house = models.ForeignKey(House, null=True, blank=True, on_delete=models.CASCADE)
    bird = models.ForeignKey(Bird, null=True, blank=True, on_delete=models.CASCADE)
    on = models.DateField("date")
    note = models.TextField(blank=True, default="", max_length=1000)
    keeper = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, editable=False
    )
    logged_at = models.DateTimeField(default=timezone.now, editable=False)

    class Meta:
        verbose_name = "task done"
        ordering = ["on"]

    def __str__(self):
        return f"{self.get_kind_display()}, {self.house or self.bird}"

    @property
    def bedding_key(self) -> UUID:
        """Of the event "bedding renewed" that mucking out logs with it."""
        return uuid5(self.pk, EventKind.BEDDING)

    def clean(self):
        if self.kind not in (*OF_A_HOUSE, TaskKind.NAILS):
            raise ValidationError({"kind": "This is recorded by itself: as a weighing or a check."})
        of_house = self.kind in OF_A_HOUSE
        if bool(self.house_id) != of_house or bool(self.bird_id) == of_house:
            where = "a house" if of_house else "a bird"
            raise ValidationError({"house" if of_house else "bird": f"This is done with {where}."})
