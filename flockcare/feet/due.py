"""How late something is, and who has a sore foot now."""

from datetime import date, timedelta

from flockcare.feet.models import latest_finding
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


# For annotating birds: how each foot was when it was checked last.
NEWEST_SCORES = {f"{foot}_score": latest_finding(foot, "score") for foot in Foot.values}


def is_sore(*scores: int | None) -> bool:
    return any(score is not None and score >= AFFECTED_FROM for score in scores)
