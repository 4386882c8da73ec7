"""Cases: stretches of trouble of one foot, computed from the looks that were recorded.

A case is never stored, so that a check which arrives late changes the cases by itself.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

from django.db import models
from django.db.models import OuterRef, Subquery
from django.db.models.functions import Coalesce, Concat

from flockcare.analysis.episodes import Episode, Look, episodes
from flockcare.birds.models import Bird
from flockcare.core.prepared import Prepared, as_text, moment_of
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
    looks = [(bird.pk, *row) for row in SORE_LOOKS_OF_BIRD.rows(bird=bird.pk)]
    return _cases(looks, bird.flock.zone)


def cases_of_flock(flock: Flock) -> list[Case]:
    """The cases of every bird of the flock, also of those that left; one query."""
    return _cases(SORE_LOOKS.rows(flock=flock.pk), flock.zone)


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


BY = Coalesce("keeper__name", "keeper_name")
IN_TIME = ("at", "pk")


class SoreLook(NamedTuple):
    """An affected look as the database tells it, with the looks at that foot before and after.

    Of ten years of looks, a bird's cases rest on a few dozen. So only the affected ones are read,
    and times and keys stay the text that the database holds until a look is needed whole. A look
    beside it is its score and its time in one text; None where there is none.
    """

    bird: uuid.UUID
    foot: str
    score: int
    moment: str
    check_key: str
    by: str
    before: str | None
    after: str | None


def _sore_looks(*of_whom: str, **of):
    # From the checks, not from their findings: so the database can take the order from an index.
    return (
        Check.objects.filter(findings__score__gte=AFFECTED_FROM, **of)
        .annotate(moment=as_text("at"), key=as_text("pk"), by=BY)
        .annotate(before=_beside("lt", "-"), after=_beside("gt", ""))
        .order_by(*IN_TIME)
        .values_list(
            *of_whom, "findings__foot", "findings__score", "moment", "key", "by", "before", "after"
        )
    )


def _beside(side: str, order: str) -> Subquery:
    """The look at the same foot next before or after the one of the outer query, by an index."""
    looks = Check.objects.filter(
        findings__foot=OuterRef("findings__foot"),
        # Always so; but then SQLite finds the score in the index and leaves the findings alone.
        findings__score__gte=0,
        bird=OuterRef("bird"),
        **{f"at__{side}": OuterRef("at")},
    ).order_by(*(f"{order}{field}" for field in IN_TIME))
    told = Concat(as_text("findings__score"), as_text("at"))
    return Subquery(looks.values(told=told)[:1])


SORE_LOOKS_OF_BIRD = Prepared(lambda bird: _sore_looks(bird=bird), bird=models.UUIDField())
SORE_LOOKS = Prepared(
    lambda flock: _sore_looks("bird", bird__flock=flock), flock=models.UUIDField()
)


def _cases(rows: list[tuple], zone: dt.tzinfo) -> list[Case]:
    by_foot: dict[tuple, list[SoreLook]] = {}
    for look in map(SoreLook._make, rows):
        by_foot.setdefault((look.bird, look.foot), []).append(look)
    cases: list[Case] = []
    for (bird, foot), looks in by_foot.items():
        sights = _sights(looks, zone)
        if sights is None or _called_both_ways(sights):
            # A clear look on the day of an affected one gives way to it. The neighbour in time
            # is then not the neighbouring day, which only all the looks at that foot tell.
            sights = _all_sights(bird, foot, zone)
        cases += cases_from(sights, bird_id=bird, foot=foot)
    return _newest_first(cases)


def _sights(looks: list[SoreLook], zone: dt.tzinfo) -> list[Sight] | None:
    """The looks that make the cases of one foot, in time order.

    Of each row of affected looks these are the first, the worst and the last one, and the clear
    looks before and after it. None where one of those was made at the moment of an affected one.
    """
    sights: dict[object, Sight] = {}
    moments = {look.moment for look in looks}
    worst = 0
    for look in looks:
        begins, ends = not _is_sore(look.before), not _is_sore(look.after)
        if begins:
            worst = 0
            if look.before:
                if look.before[1:] in moments:
                    return None
                sights[look.before] = _sight(look.before[0], look.before[1:], zone)
        if begins or ends or look.score > worst:
            worst = max(worst, look.score)
            seen = uuid.UUID(look.check_key), look.by
            sights[look.check_key] = _sight(look.score, look.moment, zone, *seen)
        if ends and look.after:
            if look.after[1:] in moments:
                return None
            sights[look.after] = _sight(look.after[0], look.after[1:], zone)
    return list(sights.values())


def _is_sore(beside: str | None) -> bool:
    return beside is not None and int(beside[0]) >= AFFECTED_FROM


def _all_sights(bird_id: uuid.UUID, foot: str, zone: dt.tzinfo) -> list[Sight]:
    looks = Check.objects.filter(bird=bird_id, findings__foot=foot)
    looks = looks.annotate(moment=as_text("at"), by=BY).order_by(*IN_TIME)
    return [
        _sight(score, moment, zone, check, by)
        for score, moment, check, by in looks.values_list("findings__score", "moment", "pk", "by")
    ]


def _sight(score: int | str, moment: str, zone: dt.tzinfo, *seen) -> Sight:
    at = moment_of(moment)
    return Sight(at.astimezone(zone).date(), at, int(score), *seen)


def _called_both_ways(sights: list[Sight]) -> bool:
    affected = {sight.on for sight in sights if sight.affected}
    return any(sight.on in affected for sight in sights if not sight.affected)


def _newest_first(cases: Iterable[Case]) -> list[Case]:
    return sorted(
        cases,
        key=lambda case: (case.current, case.first.at, case.foot == Foot.LEFT),
        reverse=True,
    )
