"""Who is due for a look, and who has a sore foot now."""

from dataclasses import dataclass
from datetime import date, timedelta
from uuid import UUID

from django.db.models import Exists, OuterRef, Subquery
from django.utils import timezone

from flockcare.birds.models import Bird, BirdState
from flockcare.drawing.dates import short_words
from flockcare.feet.models import Check, latest_finding
from flockcare.feet.scales import AFFECTED_FROM
from flockcare.photos.models import Foot

# From when on nobody counts the days any more, as after a winter, or in a flock that has just come
# in with the records of years ago. Our choice, no published source.
LONG_LATE = timedelta(56)


def is_long_late(on: date, today: date) -> bool:
    """Whether what was due ``on`` that day is told by when it was done last."""
    return today - on > LONG_LATE


class Deadline:
    """How far ``today`` is from the day ``on`` which something is due."""

    on: date
    today: date

    @property
    def days_late(self) -> int:
        return (self.today - self.on).days

    @property
    def is_due(self) -> bool:
        return self.days_late >= 0

    @property
    def late(self) -> bool:
        return self.days_late > 0

    @property
    def when(self) -> str:
        days = abs(self.days_late)
        plural = "" if days == 1 else "s"
        if self.late:
            return f"{days} day{plural} late"
        return "due today" if self.is_due else f"due in {days} day{plural}"


@dataclass(frozen=True)
class CheckDue(Deadline):
    on: date
    today: date


@dataclass(frozen=True)
class BirdToday:
    """A bird with the newest score of each foot (None: never checked) and her next check.

    ``apart``: in quarantine.
    """

    pk: UUID
    name: str
    band_colour: str
    band_number: str
    last: date | None
    left: int | None
    right: int | None
    next: CheckDue | None
    apart: bool = False

    @property
    def band(self) -> str:
        return f"{self.band_colour} {self.band_number}".strip()

    @property
    def about(self) -> str:
        """``green 7 · checked 4 May``. That she was never checked is said by ``due_words``."""
        checked = f"checked {self.last.day} {self.last:%b}" if self.last else ""
        return " · ".join(filter(None, (self.which, checked)))

    @property
    def which(self) -> str:
        """``green 7 · in quarantine``."""
        apart = BirdState.Kind.QUARANTINE.label if self.apart else ""
        return " · ".join(filter(None, (self.band, apart)))

    @property
    def sore(self) -> bool:
        return is_sore(self.left, self.right)

    @property
    def is_due(self) -> bool:
        return self.next is None or self.next.is_due

    @property
    def sore_feet(self) -> list[tuple[str, int]]:
        return [
            (foot, score) for foot, score in (("left", self.left), ("right", self.right)) if score
        ]

    @property
    def due_words(self) -> str:
        if self.next and is_long_late(self.next.on, self.next.today):
            return f"not since {short_words(self.last, self.next.today)}"
        return self.next.when if self.next else "never checked"


# A bird never checked comes before every other.
NEVER = 10_000
# For annotating birds: when each was last looked at.
NEWEST_CHECK = Subquery(Check.objects.filter(bird=OuterRef("pk")).order_by("-at").values("at")[:1])

# And how each foot was then: ``left_score``, ``right_score``.
NEWEST_SCORES = {f"{foot}_score": latest_finding(foot, "score") for foot in Foot.values}


def birds_for_today(flock, *, now) -> list[BirdToday]:
    """Every bird of the flock, those longest due first, sore feet before clear ones; one query.

    Who is in quarantine comes last, so that nothing is carried from there to the flock.

    The newest check and scores come from the index of a bird's checks, however many there are.
    """
    today = timezone.localdate(now)
    rows = (
        Bird.objects.filter(flock=flock)
        .present()
        .order_by()
        .values_list(
            *("pk", "name", "band_colour", "band_number", NEWEST_CHECK),
            *NEWEST_SCORES.values(),
            Exists(BirdState.objects.quarantine_on(today).filter(bird=OuterRef("pk"))),
        )
    )
    birds = [_entry(row, flock, today) for row in rows]
    return sorted(birds, key=_urgency)


def _urgency(bird: BirdToday):
    days_late = bird.next.days_late if bird.next else NEVER
    return bird.apart, -days_late, not bird.sore, bird.name.lower()


def is_sore(*scores: int | None) -> bool:
    return any(score is not None and score >= AFFECTED_FROM for score in scores)


def _entry(row, flock, today: date) -> BirdToday:
    *identity, last_check, left, right, apart = row
    last = last_check and last_check.astimezone(flock.zone).date()
    wait = flock.recheck_days if is_sore(left, right) else flock.round_days
    due = last and CheckDue(last + timedelta(days=wait), today)
    return BirdToday(*identity, last=last, left=left, right=right, next=due, apart=apart)
