"""Who is due for a look, and who has a sore foot now."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from uuid import UUID

from django.db.models import OuterRef, Subquery, UUIDField
from django.utils import timezone

from flockcare.birds.models import Bird
from flockcare.core.prepared import Prepared
from flockcare.feet.models import Check, latest_finding
from flockcare.feet.scales import AFFECTED_FROM
from flockcare.photos.models import Foot


@dataclass(frozen=True)
class BirdToday:
    """A bird with the newest score of each foot (None: never looked at) and her next look."""

    pk: UUID
    name: str
    band_colour: str
    band_number: str
    last: date | None
    left: int | None
    right: int | None
    due: date | None
    days_over: int

    @property
    def band(self) -> str:
        return f"{self.band_colour} {self.band_number}".strip()

    @property
    def sore(self) -> bool:
        return is_sore(self.left, self.right)

    @property
    def is_due(self) -> bool:
        return self.due is None or self.days_over >= 0

    @property
    def feet(self) -> list[tuple[str, int | None]]:
        return [("left", self.left), ("right", self.right)]

    @property
    def due_words(self) -> str:
        if self.due is None:
            return "never looked at"
        if self.days_over > 0:
            return f"{self.days_over} day{'s' if self.days_over > 1 else ''} late"
        return "due today" if self.days_over == 0 else f"due in {-self.days_over} days"


# A bird never looked at comes before every other.
NEVER = 10_000


def birds_for_today(flock, *, now) -> list[BirdToday]:
    """Every bird of the flock, those longest due first, sore feet before clear ones."""
    today = timezone.localdate(now)
    birds = [_entry(row, flock, today) for row in NEWEST_LOOKS.rows(flock=flock.pk)]
    return sorted(birds, key=lambda bird: (-bird.days_over, not bird.sore, bird.name.lower()))


# For annotating birds: when each was last looked at.
NEWEST_CHECK = Subquery(Check.objects.filter(bird=OuterRef("pk")).order_by("-at").values("at")[:1])


def _newest_looks(flock):
    """Of each bird here the time of the newest check and the newest score of each foot.

    They come from the index of a bird's checks, whatever the length of her history.
    """
    return (
        Bird.objects.filter(flock=flock)
        .present()
        .order_by()
        .values_list(
            "pk",
            "name",
            "band_colour",
            "band_number",
            NEWEST_CHECK,
            latest_finding(Foot.LEFT, "score"),
            latest_finding(Foot.RIGHT, "score"),
        )
    )


NEWEST_LOOKS = Prepared(_newest_looks, flock=UUIDField())


def is_sore(*scores: int | None) -> bool:
    return any(score is not None and score >= AFFECTED_FROM for score in scores)


def _entry(row, flock, today: date) -> BirdToday:
    *identity, last_check, left, right = row
    last = _day(last_check, flock)
    wait = flock.recheck_days if is_sore(left, right) else flock.round_days
    due = last and last + timedelta(days=wait)
    return BirdToday(
        *identity,
        last=last,
        left=left,
        right=right,
        due=due,
        days_over=(today - due).days if due else NEVER,
    )


def _day(moment: datetime | None, flock) -> date | None:
    return moment and moment.astimezone(flock.zone).date()
