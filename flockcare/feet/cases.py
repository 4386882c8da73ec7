"""Cases: stretches of trouble of one foot, computed from the looks that were recorded.

A case is never stored, so that a check which arrives late changes the cases by itself.
"""

from __future__ import annotations

import datetime as dt
import re
import uuid
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby
from operator import itemgetter
from typing import NamedTuple

from flockcare.analysis.episodes import Episode, Look, episodes
from flockcare.birds.models import Bird
from flockcare.feet.models import FootFinding
from flockcare.feet.scales import AFFECTED_FROM
from flockcare.people.models import Flock
from flockcare.photos.models import Foot

_IN_TIME = ("check_record__at", "check_record__received_at")
# SQLite takes 32,766 parameters in one statement.
_LOT = 10_000
# A row of affected looks among scores written as bytes.
_AFFECTED = re.compile(rb"[^" + bytes(range(AFFECTED_FROM)) + rb"]+")


class Sight(NamedTuple):
    """One recorded look at one foot on its local day, with the check it belongs to."""

    on: dt.date
    at: dt.datetime
    score: int
    check_id: uuid.UUID
    by: str

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
    """Her cases, the newest first. The bird must come with her flock."""
    hers = FootFinding.objects.filter(check_record__bird=bird)
    return _newest_first(_cases(hers, ["foot"], bird.flock))


def cases_of_flock(flock: Flock) -> list[Case]:
    """The cases of every bird of the flock, also of those that left, the newest first."""
    all_of_them = FootFinding.objects.filter(check_record__flock=flock)
    return _newest_first(_cases(all_of_them, ["check_record__bird_id", "foot"], flock))


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


def _cases(findings, per_foot: list[str], flock: Flock) -> list[Case]:
    # By key alone: told the bird as well, SQLite tries each of her checks with each key.
    lots = (FootFinding.objects.filter(pk__in=lot) for lot in _turning_points(findings, per_foot))
    feet = _sights_by_foot(lots, flock)
    mixed = [foot for foot, sights in feet.items() if _called_both_ways(sights)]
    if mixed:
        # A clear look on the day of an affected one gives way to it. The neighbour in time is
        # then not the neighbouring day, which only the whole record of that foot can tell.
        whole = findings.filter(check_record__bird__in={bird_id for bird_id, _ in mixed})
        all_sights = _sights_by_foot([whole], flock)
        feet.update((foot, all_sights[foot]) for foot in mixed)
    return [
        case
        for (bird_id, foot), sights in feet.items()
        for case in cases_from(sights, bird_id=bird_id, foot=foot)
    ]


def _turning_points(findings, per_foot: list[str]) -> list[list[int]]:
    """Keys of the looks that make the cases, in lots fit for one query.

    Of each row of affected looks these are the first, the worst and the last one, and the clear
    looks before and after it. Picking them here takes less time than a window function does in
    SQLite, and far less than reading all looks with their times and keepers.
    """
    rows = findings.order_by(*per_foot, "check_record__at").values_list(*per_foot, "score", "pk")
    picked: set[int] = set()
    for _, looks in groupby(rows, key=itemgetter(slice(len(per_foot)))):
        *_, scores, keys = zip(*looks, strict=True)
        for row in _AFFECTED.finditer(bytes(scores)):
            start, end = row.span()
            worst = scores.index(max(scores[start:end]), start)
            picked.update(keys[max(0, start - 1) : start + 1], keys[end - 1 : end + 1])
            picked.add(keys[worst])
    picked = sorted(picked)
    return [picked[start : start + _LOT] for start in range(0, len(picked), _LOT)]


def _sights_by_foot(lots, flock: Flock) -> dict[tuple[uuid.UUID, str], list[Sight]]:
    """The looks of each foot in time order."""
    zone = flock.zone
    feet = defaultdict(list)
    for findings in lots:
        for bird_id, foot, score, at, check_id, keeper, name in findings.order_by(
            *_IN_TIME
        ).values_list(
            "check_record__bird_id",
            "foot",
            "score",
            "check_record__at",
            "check_record_id",
            "check_record__keeper__name",
            "check_record__keeper_name",
        ):
            sight = Sight(at.astimezone(zone).date(), at, score, check_id, keeper or name)
            feet[bird_id, foot].append(sight)
    return feet


def _called_both_ways(sights: list[Sight]) -> bool:
    affected = {sight.on for sight in sights if sight.affected}
    return any(sight.on in affected for sight in sights if not sight.affected)


def _newest_first(cases: list[Case]) -> list[Case]:
    return sorted(
        cases,
        key=lambda case: (case.current, case.first.at, case.foot == Foot.LEFT),
        reverse=True,
    )
