"""Cases: stretches of trouble of one foot, computed from the looks that were recorded.

A case is never stored, so that a check which arrives late changes the cases by itself.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

from django.db.models import Q, QuerySet, Window
from django.db.models.functions import Coalesce, Lag, Lead

from flockcare.analysis.episodes import Episode, Look, episodes
from flockcare.birds.models import Bird
from flockcare.drawing import timeline
from flockcare.feet.models import FootFinding
from flockcare.feet.scales import AFFECTED_FROM
from flockcare.people.models import Flock
from flockcare.photos.models import Foot


class Sight(NamedTuple):
    """One recorded look at one foot on its local day."""

    on: dt.date
    at: dt.datetime
    score: int
    check_id: uuid.UUID | None = None
    by: str = ""

    @property
    def affected(self) -> bool:
        return self.score >= AFFECTED_FROM


@dataclass(frozen=True, slots=True)
class Case:
    """One episode of one foot, with the first and the last check that saw it."""

    bird_id: uuid.UUID
    foot: str
    episode: Episode
    first: Sight
    last: Sight

    @property
    def current(self) -> bool:
        """Not seen clear since."""
        return self.episode.first_clear_after is None

    def touches(self, window: timeline.Window) -> bool:
        """Whether it may have gone on in these days: from the clear check before to that after."""
        episode = self.episode
        begin = episode.last_clear_before or episode.first_affected
        end = episode.first_clear_after or window.last
        return begin <= window.last and end >= window.first

    @property
    def worst(self) -> int:
        return int(self.episode.worst_grade)

    @property
    def least_days(self) -> int:
        """Days from the first to the last look that saw it."""
        return (self.episode.last_affected - self.episode.first_affected).days

    @property
    def most_days(self) -> int | None:
        """Days between the clear looks around it; None while one of the two is missing."""
        before, after = self.episode.last_clear_before, self.episode.first_clear_after
        return (after - before).days if before and after else None


def cases_of_bird(bird: Bird) -> list[Case]:
    """Her cases, the newest first; one query. The bird must come with her flock."""
    return _cases(_looks(check_record__bird=bird), bird.flock.zone)


def cases_of_flock(flock: Flock) -> list[Case]:
    """The cases of every bird of the flock, also of those that left; one query."""
    return _cases(_looks(check_record__bird__flock=flock), flock.zone)


def cases_from(sights: Iterable[Sight], *, bird_id: uuid.UUID, foot: str) -> list[Case]:
    """The cases of one foot from its looks in time order."""
    sights = list(sights)
    looks = [Look(sight.on, sight.affected, float(sight.score)) for sight in sights]
    affected = [sight for sight in sights if sight.affected]
    cases = []
    for episode in episodes(looks):
        seen = [s for s in affected if episode.first_affected <= s.on <= episode.last_affected]
        cases.append(Case(bird_id, foot, episode, first=seen[0], last=seen[-1]))
    return cases


IN_TIME = ("check_record__at", "check_record_id")


def _looks(**of) -> QuerySet:
    """Every check of every foot, in time order."""
    by = Coalesce("check_record__keeper__name", "check_record__keeper_name")
    return (
        FootFinding.objects.filter(**of)
        .order_by(*IN_TIME)
        .values_list(
            *("check_record__bird", "foot", "score", "check_record__at", "check_record", by)
        )
    )


def _beside_trouble(looks: QuerySet) -> QuerySet:
    """The affected looks and those next to them: in ten years a few dozen, and all that counts."""
    of_foot = {"partition_by": ["check_record__bird", "foot"], "order_by": IN_TIME}
    return looks.annotate(
        before=Window(Lag("score"), **of_foot), after=Window(Lead("score"), **of_foot)
    ).filter(
        Q(score__gte=AFFECTED_FROM) | Q(before__gte=AFFECTED_FROM) | Q(after__gte=AFFECTED_FROM)
    )


def _cases(looks: QuerySet, zone: dt.tzinfo) -> list[Case]:
    cases: list[Case] = []
    for (bird, foot), sights in _by_foot(_beside_trouble(looks), zone).items():
        if _called_both_ways(sights):
            # A clear look on the day of an affected one gives way to it. The neighbour in time
            # is then not the neighbouring day, which only all the looks at that foot tell.
            all_looks = looks.filter(check_record__bird=bird, foot=foot)
            sights = _by_foot(all_looks, zone)[bird, foot]
        cases += cases_from(sights, bird_id=bird, foot=foot)
    return _newest_first(cases)


def _by_foot(looks: QuerySet, zone: dt.tzinfo) -> dict[tuple[uuid.UUID, str], list[Sight]]:
    found: dict[tuple[uuid.UUID, str], list[Sight]] = {}
    for bird, foot, score, at, check, by, *_ in looks:
        sight = Sight(at.astimezone(zone).date(), at, score, check, by)
        found.setdefault((bird, foot), []).append(sight)
    return found


def _called_both_ways(sights: list[Sight]) -> bool:
    affected = {sight.on for sight in sights if sight.affected}
    return any(sight.on in affected for sight in sights if not sight.affected)


def _newest_first(cases: Iterable[Case]) -> list[Case]:
    return sorted(
        cases,
        key=lambda case: (case.current, case.first.at, case.foot == Foot.LEFT),
        reverse=True,
    )
