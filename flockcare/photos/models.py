"""Photos of feet and birds: where they are kept, what they show, when they were taken, and what
was measured in them.

Places in a photo are pixels of the kept original, upright as it was taken in, x to the right and
y down, with whole numbers at pixel centres. Turning and cropping change only what is shown.
"""

from datetime import timedelta

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from flockcare.birds.models import Bird
from flockcare.people.models import Flock, FlockRecord
from flockcare.photos.intake import LEAST_FILM_FOCAL, MOST_FILM_FOCAL, SIZES


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


IS_FACE = Q(face_since__isnull=False, foot="")


class PhotoQuerySet(models.QuerySet):
    def in_time_order(self):
        """Oldest first; those whose date nobody knows come last."""
        return self.order_by(F("taken").asc(nulls_last=True), "added_at", "pk")

    def damaged(self):
        return self.exclude(damaged_since=None)

    def faces(self):
        """Those of a whole bird that stand for her, or did before another."""
        return self.filter(IS_FACE)


class KeptPhotos(models.Manager.from_queryset(PhotoQuerySet)):
    def get_queryset(self):
        return super().get_queryset().filter(deleted_at=None)


# A form that is not saved after this long is forgotten; then its photos are photos like others.
UNSAVED_FORMS_WAIT = timedelta(days=1)


class Photo(FlockRecord):
    """One picture, kept without its metadata.

    ``taken`` is the earliest moment that ``taken_precision`` allows, empty when not known. A
    deleted photo can be put back for a while; ``objects`` does not see it, ``with_deleted`` does.

    ``quarter_turns``: clockwise, as it is shown. ``crop``: [left, top, right, bottom] of the part
    that is shown, edges in pixels of the original before it is turned.

    ``stored_as`` is in the name of the original's file, ``edition`` in those of the sizes that show
    it as it is turned and cropped. Both are new with every writing, so that no file is ever written
    over, and whoever fails to save a photo removes files that nobody else can have. Empty in names
    from before. ``damaged_since``: when it was noticed that files are gone or cut off.
    """

    bird = models.ForeignKey(Bird, null=True, blank=True, on_delete=models.CASCADE)
    foot = models.CharField(max_length=5, choices=Foot, blank=True, default="")
    # It shows a house, or a paper such as a prescription: it is not to be sorted, and never of a
    # foot.
    of_house = models.BooleanField(default=False, editable=False)
    # It came with a form that may not be saved yet, and waits for it: see ``UNSAVED_FORMS_WAIT``.
    with_form = models.BooleanField(default=False, db_default=False, editable=False)
    taken = models.DateTimeField(null=True, blank=True)
    taken_precision = models.CharField(max_length=8, choices=Precision, default=Precision.UNKNOWN)
    taken_source = models.CharField(
        max_length=10, choices=DateSource, blank=True, default=DateSource.NONE
    )
    width = models.PositiveIntegerField(editable=False)
    height = models.PositiveIntegerField(editable=False)
    # Focal length of its lens on 35 mm film, as the camera wrote it.
    film_focal_mm = models.PositiveSmallIntegerField(
        null=True,
        blank=True,
        editable=False,
        validators=[MinValueValidator(LEAST_FILM_FOCAL), MaxValueValidator(MOST_FILM_FOCAL)],
    )
    stored_bytes = models.PositiveBigIntegerField(editable=False)
    sha256 = models.CharField(max_length=64, editable=False)
    look_hash = models.BigIntegerField(editable=False)
    note = models.TextField(blank=True, default="", max_length=2000)
    keeper = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, editable=False
    )
    added_at = models.DateTimeField(default=timezone.now, editable=False)
    deleted_at = models.DateTimeField(null=True, blank=True, editable=False)
    quarter_turns = models.PositiveSmallIntegerField(
        default=0, editable=False, validators=[MaxValueValidator(3)]
    )
    crop = models.JSONField(null=True, blank=True, editable=False)
    edition = models.CharField(max_length=8, blank=True, default="", editable=False)
    stored_as = models.CharField(
        max_length=8, blank=True, default="", db_default="", editable=False
    )
    damaged_since = models.DateTimeField(null=True, editable=False)
    # Of the photos of a whole bird the one chosen last stands for her; see ``photos.faces``.
    face_since = models.DateTimeField("stands for her since", null=True, blank=True, editable=False)

    objects = KeptPhotos()
    with_deleted = PhotoQuerySet.as_manager()

    class Meta:
        ordering = [F("taken").asc(nulls_last=True), "added_at"]
        constraints = [
            # A deleted photo may be sent again before its file is gone for good.
            models.UniqueConstraint(
                fields=["flock", "sha256"],
                condition=Q(deleted_at=None),
                name="one_photo_per_file",
            ),
        ]
        indexes = [models.Index(fields=["bird", "foot", "taken"], name="photos_of_a_foot")]

    def __str__(self):
        return f"{self.bird or 'unknown bird'} {self.foot} {self.taken or ''}".strip()

    def path(self, size: int | None = None) -> str:
        """Where the file of this size lies in the storage; without one, the untouched original."""
        name, part = (size, self.edition) if size else ("full", self.stored_as)
        return f"photos/{self.flock_id}/{self.pk}/{name}{part and '-'}{part}.jpg"

    def paths(self) -> list[str]:
        """Where all of its files lie."""
        return [self.path(), *map(self.path, SIZES)]

    @property
    def crop_box(self) -> tuple[int, int, int, int]:
        """The part of the original that is shown: left, top, right, bottom."""
        return tuple(self.crop) if self.crop else (0, 0, self.width, self.height)

    @property
    def shown(self) -> tuple[int, int]:
        """Width and height of what is shown, in pixels of the original."""
        left, top, right, bottom = self.crop_box
        size = right - left, bottom - top
        return size[::-1] if self.quarter_turns % 2 else size

    def holds(self, points) -> bool:
        """Whether all these places lie in it; a finger may have touched the very edge."""
        return all(-1 <= x <= self.width and -1 <= y <= self.height for x, y in points)

    def shown_at(self, side: int) -> tuple[int, int]:
        """Width and height of the file of that size; never larger than the original."""
        width, height = self.shown
        scale = min(1, side / max(width, height))
        return max(1, round(width * scale)), max(1, round(height * scale))


class FileCheck(models.Model):
    """What was found when the files of a flock's photos were looked over the last time."""

    flock = models.OneToOneField(Flock, primary_key=True, on_delete=models.CASCADE)
    at = models.DateTimeField()
    damaged_photos = models.PositiveIntegerField()
    unowned_files = models.PositiveIntegerField()
    unowned_bytes = models.PositiveBigIntegerField()

    def __str__(self):
        return f"{self.flock} {self.at:%Y-%m-%d %H:%M}"


class CardReading(FlockRecord):
    """What was found when the printed card was looked for in a photo; made anew at will.

    ``view``: the reader's own account, empty where ``reason`` says in words why there is none.
    ``code``: the card's text where it could be read at all.
    """

    photo = models.OneToOneField(Photo, on_delete=models.CASCADE, related_name="card_reading")
    code = models.CharField(max_length=64, blank=True, default="")
    reason = models.TextField(blank=True, default="")
    view = models.JSONField(null=True)

    def __str__(self):
        return f"{self.photo}: {self.code or self.reason}"


_as_drawn = "This is not the length of our card. Measure from black square to black square, in mm."


class CardPrint(FlockRecord):
    """How large the flock's cards came out of the printer, measured on one of them.

    Lengths in mm over the outer edges of the outermost black squares.
    """

    on = models.DateField("day")
    across_mm = models.FloatField(
        "across",
        validators=[MinValueValidator(85, _as_drawn), MaxValueValidator(105, _as_drawn)],
    )
    down_mm = models.FloatField(
        "from top to bottom",
        validators=[MinValueValidator(44, _as_drawn), MaxValueValidator(55, _as_drawn)],
    )
    keeper = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, editable=False
    )
    at = models.DateTimeField(default=timezone.now, editable=False)

    class Meta:
        ordering = ["on", "at"]

    def __str__(self):
        return f"{self.across_mm:g} × {self.down_mm:g} mm"


class Scaling(models.TextChoices):
    CARD = "card", "printed card"
    LENGTH = "length", "known length"


class Bounds:
    """What follows from the bound of an area, for a measurement kept or not yet."""

    @property
    def area_error_mm2(self) -> float:
        """95 % bound."""
        return self.area_mm2 * self.relative_area_error

    @property
    def diameter_error_mm(self) -> float:
        """95 % bound: a length goes with the square root of the area."""
        return self.longest_diameter_mm * self.relative_area_error / 2


class Measurement(Bounds, FlockRecord):
    """The outline of a sore, drawn in a photo. The newest one of a photo counts.

    ``to_mm``: homography (3 × 3, row by row) from pixels to mm in the plane of the card, or of the
    known length. ``outline_px``, ``outline_mm``: the same points, (n, 2). ``relative_area_error``:
    95 % bound as a fraction, of scale and drawing together. ``height_mm``: how far above the card
    the sore stood, as a keeper saw it; None where nobody said.
    """

    photo = models.ForeignKey(Photo, on_delete=models.CASCADE, related_name="measurements")
    scaled_by = models.CharField(max_length=6, choices=Scaling)
    length_mm = models.FloatField(null=True, blank=True)
    height_mm = models.FloatField(
        "how far above the card",
        null=True,
        blank=True,
        validators=[
            MinValueValidator(0),
            MaxValueValidator(20, "A sore stands no more than 20 mm above its card."),
        ],
    )
    to_mm = models.JSONField()
    outline_px = models.JSONField()
    outline_mm = models.JSONField()
    area_mm2 = models.FloatField(validators=[MinValueValidator(0)])
    perimeter_mm = models.FloatField(validators=[MinValueValidator(0)])
    longest_diameter_mm = models.FloatField(validators=[MinValueValidator(0)])
    relative_area_error = models.FloatField(validators=[MinValueValidator(0)])
    keeper = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, editable=False
    )
    at = models.DateTimeField(default=timezone.now, editable=False)

    class Meta:
        ordering = ["at"]
        indexes = [models.Index(fields=["photo", "at"], name="measurements_of_a_photo")]
        constraints = [
            models.CheckConstraint(
                condition=Q(scaled_by=Scaling.CARD) | Q(length_mm__isnull=False, length_mm__gt=0),
                name="a_known_length_has_its_mm",
            )
        ]

    def __str__(self):
        return f"{self.photo}: {self.area_mm2:.1f} mm²"

    def clean(self):
        if self.scaled_by == Scaling.LENGTH and self.length_mm is None:
            raise ValidationError({"length_mm": "Say how long the known length is."})
        if self.length_mm is not None and self.length_mm <= 0:
            raise ValidationError({"length_mm": "A known length is longer than nothing."})
        px, mm = len(self.outline_px), len(self.outline_mm)
        if px != mm:
            message = f"It has {mm} points; there are {px} in pixels."
            raise ValidationError({"outline_mm": message})
        if not self.photo.holds(self.outline_px):
            raise ValidationError({"outline_px": "It lies outside the photo."})
