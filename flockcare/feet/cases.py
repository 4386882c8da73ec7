"""Cases: stretches of trouble of one foot, computed from the looks that were recorded.

A case is never stored, so that a check which arrives late changes the cases by itself.
"""

from __future__ import annotations

import datetime as dt
import re
import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby
from operator import itemgetter
from typing import NamedTuple

from django.db import models
from django.db.models.functions import Cast

from flockcare.analysis.episodes import Episode, Look, episodes
from flockcare.birds.models import Bird
from flockcare.core.prepared import Prepared
from flockcare.feet.models import FootFinding
from flockcare.feet.scales import AFFECTED_FROM
from flockcare.people.models import Flock
from flockcare.photos.models import Foot

# A row of affected looks among scores written as bytes.
_AFFECTED = re.compile(rb"[^" + bytes(range(AFFECTED_FROM)) + rb"]+")


class Sight(NamedTuple):
    """One recorded look at one foot on its local day, with the check it belongs to."""

    on: dt.date
    at: dt.datetime
    score: int
    check_id: uuid.UUID
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
    return _cases(LOOKS_OF_BIRD.rows(bird=bird.pk), bird.flock)


def cases_of_flock(flock: Flock) -> list[Case]:
    """The cases of every bird of the flock, also of those that left; one query."""
    return _cases(_looks(FootFinding.objects.filter(check_record__flock=flock)), flock)


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


def _looks(findings):
    """Ten years of a bird's looks are a thousand rows, of which her cases rest on a few dozen.

    So times and keys come as the text that the database holds, and only the looks that matter
    are made whole. (A window function that leaves out the others takes longer in SQLite.)
    """
    return (
        findings.annotate(
            bird=_as_text("check_record__bird_id"),
            moment=_as_text("check_record__at"),
            key=_as_text("check_record_id"),
        )
        .order_by("bird", "foot", "check_record__at")
        .values_list(
            "bird",
            "foot",
            "score",
            "moment",
            "key",
            "check_record__keeper__name",
            "check_record__keeper_name",
        )
    )


def _as_text(field: str) -> Cast:
    return Cast(field, models.CharField())


LOOKS_OF_BIRD = Prepared(
    lambda bird: _looks(FootFinding.objects.filter(check_record__bird=bird)),
    bird=models.UUIDField(),
)


def _cases(rows: Iterable[tuple], flock: Flock) -> list[Case]:
    zone = flock.zone
    cases: list[Case] = []
    for (bird, foot), looks in groupby(rows, key=itemgetter(0, 1)):
        looks = list(looks)
        sights = [_sight(looks[place], zone) for place in _turning_points(looks)]
        if _called_both_ways(sights):
            # A clear look on the day of an affected one gives way to it. The neighbour in time
            # is then not the neighbouring day, which only all the looks at that foot tell.
            sights = [_sight(look, zone) for look in looks]
        cases += cases_from(sights, bird_id=uuid.UUID(bird), foot=foot)
    return _newest_first(cases)


def _sight(row: tuple, zone: dt.tzinfo) -> Sight:
    _, _, score, moment, key, keeper, name = row
    at = dt.datetime.fromisoformat(moment)
    if at.tzinfo is None:
        at = at.replace(tzinfo=dt.UTC)  # SQLite keeps UTC without saying so.
    return Sight(at.astimezone(zone).date(), at, score, uuid.UUID(key), keeper or name)


def _turning_points(looks: list[tuple]) -> list[int]:
    """Places of the looks that make the cases, in order.

    Of each row of affected looks these are the first, the worst and the last one, and the clear
    looks before and after it.
    """
    scores = bytes([look[2] for look in looks])
    places: set[int] = set()
    for row in _AFFECTED.finditer(scores):
        start, end = row.span()
        worst = scores.index(max(row.group()), start)
        places |= {max(0, start - 1), start, worst, end - 1, min(end, len(looks) - 1)}
    return sorted(places)


def _called_both_ways(sights: list[Sight]) -> bool:
    affected = {sight.on for sight in sights if sight.affected}
    return any(sight.on in affected for sight in sights if not sight.affected)


def _newest_first(cases: list[Case]) -> list[Case]:
    return sorted(
        cases,
        key=lambda case: (case.current, case.first.at, case.foot == Foot.LEFT),
        reverse=True,
    )
