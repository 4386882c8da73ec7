"""Checks of feet: what a keeper saw, bird by bird. Cases are computed from them, never stored."""

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import OuterRef, Q, Subquery
from django.utils import timezone

from flockcare.birds.models import Bird
from flockcare.core.lines import LineField
from flockcare.feet.scales import AFFECTED_FROM, BODY_CONDITION, CLINICAL_GRADE, GAIT, LESION
from flockcare.people.models import FlockRecord
from flockcare.photos.models import Foot, Photo


class Site(models.TextChoices):
    """Places on a foot. Toes are counted from the hind toe (I) outwards to IV."""

    MAIN = "main", "main pad"
    TOE_1 = "toe I", "toe I (hind)"
    TOE_2 = "toe II", "toe II (inner)"
    TOE_3 = "toe III", "toe III (middle)"
    TOE_4 = "toe IV", "toe IV (outer)"
    BETWEEN = "between", "between the toes"
    TOP = "top", "top of the foot"


class Scab(models.TextChoices):
    NONE = "none", "none"
    BROWN = "brown", "brown"
    BLACK = "black", "black"


class Swelling(models.TextChoices):
    NONE = "none", "none"
    MODERATE = "moderate", "moderate"
    FROM_ABOVE = "from above", "seen from above"


class Leg(models.TextChoices):
    LEFT = "left", "left leg"
    RIGHT = "right", "right leg"
    BOTH = "both", "both legs"


class Comb(models.TextChoices):
    NORMAL = "normal", "normal"
    PALE = "pale", "pale"
    PURPLE = "purple", "purple"


class CheckQuerySet(models.QuerySet):
    def newest_first(self):
        return self.order_by("-at", "-received_at", "-pk")


class Check(FlockRecord):
    """One look at one bird. Its key is made where the check is made, so that it counts once."""

    bird = models.ForeignKey(Bird, on_delete=models.CASCADE)
    at = models.DateTimeField("when")
    time_known = models.BooleanField(default=True)
    received_at = models.DateTimeField(default=timezone.now, editable=False)
    keeper = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL
    )
    keeper_name = LineField(
        max_length=60, blank=True, default="", help_text="Who checked, if not a keeper here."
    )
    gait = models.PositiveSmallIntegerField(null=True, blank=True, choices=GAIT.choices)
    manner = models.CharField(
        "how she is",
        max_length=6,
        blank=True,
        default="",
        choices=[("bright", "bright"), ("dull", "dull")],
    )
    eating = models.CharField(
        max_length=3, blank=True, default="", choices=[("yes", "eating"), ("no", "not eating")]
    )
    droppings = models.CharField(
        max_length=6, blank=True, default="", choices=[("normal", "normal"), ("odd", "abnormal")]
    )
    belly = models.CharField(
        max_length=7, blank=True, default="", choices=[("normal", "normal"), ("swollen", "swollen")]
    )
    body_condition = models.PositiveSmallIntegerField(
        null=True, blank=True, choices=BODY_CONDITION.choices
    )
    note = models.TextField(blank=True, default="", max_length=4000)
    limps_on = models.CharField(max_length=5, choices=Leg, blank=True, default="", db_default="")
    comb = models.CharField(max_length=6, choices=Comb, blank=True, default="", db_default="")
    photos = models.ManyToManyField(Photo, blank=True, related_name="checks")

    together = (("keeper_id", "keeper_name"),)
    objects = CheckQuerySet.as_manager()

    class Meta:
        ordering = ["at"]
        indexes = [
            models.Index(fields=["bird", "-at", "-id"], name="checks_of_a_bird"),
            models.Index(fields=["flock", "-at"], name="checks_of_a_flock"),
            models.Index(fields=["flock", "-received_at"], name="checks_as_they_came"),
        ]

    def __str__(self):
        return f"{self.bird} {self.at:%Y-%m-%d}"

    def clean(self):
        if self.limps_on and self.gait == 0:
            raise ValidationError(
                {"limps_on": "The walk is given as normal (0). Change that, or leave out the leg."}
            )

    @property
    def by(self) -> str:
        return self.keeper.name if self.keeper else self.keeper_name

    def summary(self) -> str:
        return ", ".join(filter(None, (self.signs_words, in_few_words(self.findings.all()))))

    @property
    def signs_words(self) -> str:
        """What is not well with the bird as a whole, such as ``gait 4, dull``."""
        told = (
            (self.gait, f"gait {self.gait}"),
            (self.manner == "dull", "dull"),
            (self.eating == "no", "not eating"),
            (self.belly == "swollen", "belly swollen"),
            (self.comb in (Comb.PURPLE, Comb.PALE), f"comb {self.comb}"),
            (self.body_condition == 0, "very thin"),
            (self.droppings == "odd", "droppings abnormal"),
        )
        return ", ".join(words for there, words in told if there)


def in_few_words(findings) -> str:
    """What was seen, such as ``both feet clear`` or ``left foot mild, right foot clear``."""
    findings = sorted(findings, key=lambda finding: finding.foot)
    if len(findings) == len(Foot) and not any(one.affected or one.seen_on_it for one in findings):
        return "both feet clear"
    return ", ".join(
        f"{one.get_foot_display()} {one.get_score_display().lower()}"
        + (f" but {', '.join(one.seen_on_it)}" if one.seen_on_it and not one.affected else "")
        for one in findings
    )


class FootFindingQuerySet(models.QuerySet):
    def newest_first(self):
        """As their checks."""
        return self.order_by("-check_record__at", "-check_record__received_at", "-check_record")


class FootFinding(models.Model):
    """What was seen on one foot. A foot that was not checked has none.

    Each of ``FOOT_SIGNS`` is yes, no or, None, not checked.
    """

    # The index below begins with it.
    check_record = models.ForeignKey(
        Check, on_delete=models.CASCADE, related_name="findings", db_index=False
    )
    foot = models.CharField(max_length=5, choices=Foot)
    score = models.PositiveSmallIntegerField(
        "lesion score",
        choices=LESION.choices,
    )
    sites = models.JSONField(default=list, blank=True)
    scab = models.CharField(max_length=5, choices=Scab, blank=True, default="")
    scab_mm = models.DecimalField(
        "width of the scab",
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[
            MinValueValidator(0.1, "Leave the width empty where there is no scab."),
            MaxValueValidator(60, "A hen’s foot pad is not wider than 60 mm."),
        ],
    )
    swelling = models.CharField(max_length=10, choices=Swelling, blank=True, default="")
    hot = models.BooleanField(null=True, blank=True)
    oozing = models.BooleanField(null=True, blank=True)
    cold_or_dark = models.BooleanField("cold or dark", null=True, blank=True)
    clinical_grade = models.PositiveSmallIntegerField(
        null=True, blank=True, choices=CLINICAL_GRADE.choices
    )
    bleeding = models.BooleanField("open or bleeding", null=True, blank=True)
    constricted = models.BooleanField("thread, wire or band round it", null=True, blank=True)
    plug_or_hole = models.BooleanField("hole, core or plug", null=True, blank=True)
    joint_swollen = models.BooleanField("hock or toe joint swollen", null=True, blank=True)
    bone_or_joint = models.BooleanField("bone, joint or tendon suspected", null=True, blank=True)
    raised_scales = models.BooleanField("raised scales", null=True, blank=True)

    objects = FootFindingQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["check_record", "foot"], name="one_finding_per_foot"),
            models.CheckConstraint(
                condition=Q(score__lte=LESION.steps[-1].value), name="score_on_the_scale"
            ),
        ]
        # What the cases of ten years rest on, without a look at the findings themselves.
        indexes = [models.Index(fields=["check_record", "foot", "score"], name="scores_of_a_check")]

    def __str__(self):
        return f"{self.get_foot_display()}: {self.score}"

    def clean(self):
        # Most feet are clear, and an import asks this of thousands.
        if self.sites and (unknown := set(self.sites) - set(Site.values)):
            raise ValidationError({"sites": f"Not a place on a foot: {', '.join(unknown)}."})
        if self.score is not None and self.swelling == Swelling.FROM_ABOVE and self.score < 2:
            raise ValidationError({"score": "A swelling that is seen from above is a score of 2."})
        if self.scab_mm and self.scab in ("", Scab.NONE):
            raise ValidationError({"scab": "Say whether the scab is brown or black."})
        if not self.affected:
            # Who calls a foot clear has seen it without these.
            for name in NOT_ON_A_CLEAR_FOOT:
                if getattr(self, name) is None:
                    setattr(self, name, False)

    @property
    def places(self) -> str:
        return ", ".join(Site(site).label for site in self.sites)

    @property
    def affected(self) -> bool:
        return self.score is not None and self.score >= AFFECTED_FROM

    def signs_said(self, answer: bool) -> list[str]:
        """The signs that were answered so, in words."""
        return [word for name, word in SIGN_WORDS.items() if getattr(self, name) is answer]

    @property
    def signs(self) -> list[str]:
        return self.signs_said(True)

    @property
    def seen_on_it(self) -> list[str]:
        """What was seen besides the score: of a foot that was scored clear, in words."""
        scab = self.scab not in ("", Scab.NONE) and f"{self.get_scab_display()} scab"
        swollen = self.swelling not in ("", Swelling.NONE) and "swollen"
        return [*filter(None, (swollen, scab)), *self.signs]

    @property
    def signs_absent(self) -> list[str]:
        """What was looked for and not there; of a clear foot that needs no words."""
        return self.signs_said(False) if self.affected else []


FOOT_SIGNS = (
    *("hot", "oozing", "cold_or_dark", "bleeding", "constricted", "plug_or_hole"),
    *("joint_swollen", "bone_or_joint", "raised_scales"),
)
NOT_ON_A_CLEAR_FOOT = FOOT_SIGNS[:3]
SIGN_WORDS = {name: FootFinding._meta.get_field(name).verbose_name for name in FOOT_SIGNS}


class Round(FlockRecord):
    """A walk through every bird that is due, open to all keepers until each has been seen."""

    started_at = models.DateTimeField(default=timezone.now)
    started_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-started_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["flock"],
                condition=Q(ended_at__isnull=True),
                name="one_open_round_per_flock",
            )
        ]

    def __str__(self):
        return f"Round of {self.started_at:%Y-%m-%d}"


class RoundBirdQuerySet(models.QuerySet):
    def waiting(self):
        """Those still to be seen; nobody waits for a bird that has left the flock."""
        return self.filter(check_record=None, passed_over=False, bird__left="")


class RoundBird(models.Model):
    """One bird of a round: waiting, in somebody's hands, seen or passed over; or she has left."""

    round = models.ForeignKey(Round, on_delete=models.CASCADE, related_name="birds")
    bird = models.ForeignKey(Bird, on_delete=models.CASCADE)
    place = models.PositiveSmallIntegerField()
    held_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL)
    held_at = models.DateTimeField(null=True)
    check_record = models.ForeignKey(Check, null=True, on_delete=models.SET_NULL)
    passed_over = models.BooleanField(default=False)

    objects = RoundBirdQuerySet.as_manager()

    class Meta:
        ordering = ["place"]
        constraints = [
            models.UniqueConstraint(fields=["round", "bird"], name="a_bird_once_per_round")
        ]

    def __str__(self):
        return f"{self.bird} in {self.round}"

    @property
    def is_waiting(self) -> bool:
        """As ``objects.waiting``, of one that is there."""
        return not (self.check_record_id or self.passed_over or self.bird.left)


class SortingNote(models.Model):
    """What was found out while a heap of old photos was sorted; most photos have none.

    ``card_bird``, ``card_foot``: whose printed card is in the photo. ``card_answered``: whether a
    keeper said if that card names the photos that follow.
    """

    photo = models.OneToOneField(
        Photo, primary_key=True, on_delete=models.CASCADE, related_name="sorting"
    )
    card_bird = models.ForeignKey(
        Bird, null=True, blank=True, on_delete=models.CASCADE, related_name="+"
    )
    card_foot = models.CharField(max_length=5, choices=Foot, blank=True, default="")
    card_answered = models.BooleanField(default=False)
    kept_beside_alike = models.BooleanField(default=False)
    nobody_knows = models.BooleanField("nobody knows whose it is", default=False)

    def __str__(self):
        return f"sorting of {self.photo}"

    @property
    def flock_id(self):
        return self.photo.flock_id


def latest_finding(foot: str, field: str) -> Subquery:
    """For annotating birds: ``field`` of the newest finding on this foot."""
    return Subquery(
        FootFinding.objects.filter(check_record__bird=OuterRef("pk"), foot=foot)
        .newest_first()
        .values(field)[:1]
    )
