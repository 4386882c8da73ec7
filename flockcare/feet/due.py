"""Who is due for a look, and who has a sore foot now."""

from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import OuterRef, Subquery
from django.utils import timezone

from flockcare.birds.models import Bird
from flockcare.feet.models import Check, latest_finding
from flockcare.feet.scales import AFFECTED_FROM
from flockcare.photos.models import Foot


@dataclass(frozen=True)
class BirdToday:
    """A bird with the newest score of each foot (None: never looked at) and her next look."""

    bird: Bird
    last: date | None
    left: int | None
    right: int | None
    due: date | None
    days_over: int

    @property
    def sore(self) -> bool:
        return any(
            score is not None and score >= AFFECTED_FROM for score in (self.left, self.right)
        )

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


def birds_for_today(flock, *, now) -> list[BirdToday]:
    """Every bird of the flock, those longest due first, sore feet before clear ones.

    One query: the newest check and findings of each bird come from the index of her checks.
    """
    today = timezone.localdate(now)
    newest_check = Check.objects.filter(bird=OuterRef("pk")).order_by("-at").values("at")[:1]
    birds = (
        Bird.objects.filter(flock=flock)
        .present()
        .annotate(
            last_check=Subquery(newest_check),
            left_score=latest_finding(Foot.LEFT, "score"),
            right_score=latest_finding(Foot.RIGHT, "score"),
        )
    )
    entries = [_entry(bird, flock, today) for bird in birds]
    return sorted(entries, key=lambda entry: (-entry.days_over, not entry.sore, entry.bird.name))


def _entry(bird: Bird, flock, today: date) -> BirdToday:
    scores = (bird.left_score, bird.right_score)
    sore = any(score is not None and score >= AFFECTED_FROM for score in scores)
    last = timezone.localdate(bird.last_check) if bird.last_check else None
    due = last and last + timedelta(days=flock.recheck_days if sore else flock.round_days)
    return BirdToday(
        bird=bird,
        last=last,
        left=bird.left_score,
        right=bird.right_score,
        due=due,
        # A bird never looked at comes before every other.
        days_over=(today - due).days if due else 10_000,
    )
