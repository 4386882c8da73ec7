"""Cases: stretches of trouble of one foot, computed from the looks that were recorded.

A case is never stored, so that a check which arrives late changes the cases by itself.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from operator import attrgetter
from typing import NamedTuple

from django.db.models import OuterRef, QuerySet, Subquery

from flockcare.analysis.episodes import Episode, Look, episodes
from flockcare.birds.models import Bird
from flockcare.drawing import timeline
from flockcare.feet.models import Check
from flockcare.feet.scales import AFFECTED_FROM
from flockcare.people.models import Flock
from flockcare.photos.models import Foot


class Sight(NamedTuple):
    """One recorded look at one foot on its local day.

    The check it belongs to and who looked are told of looks that saw something.
    """

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
    return _cases(_affected(bird=bird), bird.flock.zone)


def cases_of_flock(flock: Flock) -> list[Case]:
    """The cases of every bird of the flock, also of those that left; one query."""
    return _cases(_affected(bird__flock=flock), flock.zone)


def cases_of_birds(birds, zone: dt.tzinfo, *, before: dt.datetime) -> list[Case]:
    """The cases of these birds, as if later checks were not there yet; one query."""
    return _cases(_affected(bird__in=birds, at__lt=before), zone, before)


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


def _neighbour(order: str, side: str) -> Subquery:
    """When the same foot was looked at next before or after the look of the outer query."""
    looks = Check.objects.filter(
        bird=OuterRef("bird"),
        findings__foot=OuterRef("findings__foot"),
        **{f"at__{side}": OuterRef("at")},
    )
    return Subquery(looks.order_by(order).values("at")[:1])


BEFORE, AFTER = _neighbour("-at", "lt"), _neighbour("at", "gt")


class Affected(NamedTuple):
    """An affected look, and when that foot was looked at before and after it."""

    bird: uuid.UUID
    foot: str
    score: int
    at: dt.datetime
    check: uuid.UUID
    keeper: str | None
    keeper_name: str
    before: dt.datetime | None = None
    after: dt.datetime | None = None

    def sight(self, zone: dt.tzinfo) -> Sight:
        by = self.keeper or self.keeper_name
        return Sight(_day(self.at, zone), self.at, self.score, self.check, by)


LOOK = (
    *("bird", "findings__foot", "findings__score", "at", "pk"),
    *("keeper__name", "keeper_name"),
)


def _affected(**of) -> QuerySet:
    """In time order. In ten years of looks a few dozen, and all that cases need."""
    looks = Check.objects.filter(findings__score__gte=AFFECTED_FROM, **of)
    return looks.newest_first().reverse().values_list(*LOOK, BEFORE, AFTER)


def _cases(affected: QuerySet, zone: dt.tzinfo, before: dt.datetime | None = None) -> list[Case]:
    by_foot: dict[tuple[uuid.UUID, str], list[Affected]] = {}
    for look in map(Affected._make, affected):
        by_foot.setdefault((look.bird, look.foot), []).append(look)
    cases: list[Case] = []
    for (bird, foot), looks in by_foot.items():
        sights = _with_clear_neighbours(looks, zone)
        if _called_both_ways(sights):
            # A clear look on the day of an affected one gives way to it. The neighbour in time
            # is then not the neighbouring day, which only all the looks at that foot tell.
            looks = Check.objects.filter(bird=bird, findings__foot=foot)
            looks = looks.newest_first().reverse()
            sights = [Affected(*row).sight(zone) for row in looks.values_list(*LOOK)]
        if before:
            sights = [sight for sight in sights if sight.at < before]
        cases += cases_from(sights, bird_id=bird, foot=foot)
    return _newest_first(cases)


def _with_clear_neighbours(looks: list[Affected], zone: dt.tzinfo) -> list[Sight]:
    affected = {look.at for look in looks}
    beside = {at for look in looks for at in (look.before, look.after)}
    clear = [Sight(_day(at, zone), at, 0) for at in beside - affected if at]
    return sorted([*(look.sight(zone) for look in looks), *clear], key=attrgetter("at"))


def _day(at: dt.datetime, zone: dt.tzinfo) -> dt.date:
    return at.astimezone(zone).date()


def _called_both_ways(sights: list[Sight]) -> bool:
    affected = {sight.on for sight in sights if sight.affected}
    return any(sight.on in affected for sight in sights if not sight.affected)


def _newest_first(cases: Iterable[Case]) -> list[Case]:
    return sorted(
        cases,
        key=lambda case: (case.current, case.first.at, case.foot == Foot.LEFT),
        reverse=True,
    )
