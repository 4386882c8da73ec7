"""The looks as pairs, cases and healing times: what every answer of the page starts from."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from flockcare.analysis.episodes import (
    EpisodeArrays,
    PairArrays,
    episodes_from_arrays,
    risk_pairs_from_arrays,
)
from flockcare.analysis.healing import HealingCurve, days_lasting, follow_up, healing_curve
from flockcare.trends.records import Records
from flockcare.trends.rounds import OnlyCases, on_rounds, only_cases

UNKNOWN = -1


class CaseRow(NamedTuple):
    """One new case: clear on ``clear_on``, first seen on ``found_on`` (ordinals), with the check
    that saw it, its score then, and the day on which the foot was first seen clear again."""

    bird: int
    foot: int
    clear_on: int
    found_on: int
    check: str
    score: int
    cleared_on: int | None
    house: int | None
    counted: bool


@dataclass(frozen=True)
class Watch:
    """``pairs`` in order of foot and day, ``bird`` and ``house`` of each (house -1: not known).

    ``episodes`` come from every look, ``pairs`` from those of rounds (see ``rounds``), so that
    neither clear nor sore feet seen in between tilt a rate: ``counts`` says which looks those are.
    ``curve`` is the healing curve of the whole flock; ``between`` counts the checks in between.
    """

    records: Records
    episodes: EpisodeArrays
    curve: HealingCurve
    pairs: PairArrays
    counts: np.ndarray
    between: int

    @classmethod
    def of(cls, records: Records) -> Watch:
        looks = records.looks
        unit = looks.bird * 2 + looks.foot
        episodes = episodes_from_arrays(unit, looks.day, looks.affected)
        curve = healing_curve(*follow_up(episodes))
        counts = on_rounds(records)
        pairs = risk_pairs_from_arrays(unit[counts], looks.day[counts], looks.affected[counts])
        between = int(np.unique(looks.bird[~counts] * 10_000_000 + looks.day[~counts]).size)
        return cls(records, episodes, curve, pairs, counts, between)

    @cached_property
    def bird(self) -> np.ndarray:
        return self.pairs.unit // 2

    @cached_property
    def width(self) -> np.ndarray:
        return self.pairs.right - self.pairs.left

    @cached_property
    def days(self) -> np.ndarray:
        """Foot-days at risk: a case is taken to begin in the middle of its gap."""
        return self.width * np.where(self.pairs.affected, 0.5, 1.0)

    @cached_property
    def lasting_days(self) -> np.ndarray:
        """Foot-days at risk, each counted to the share of sores that last to the look: so a group
        that is checked seldom, where sores come and heal unseen, can be put beside another."""
        lasting = days_lasting(self.width, self.curve)
        return lasting * np.where(self.pairs.affected, 0.5, 1.0)

    @cached_property
    def house(self) -> np.ndarray:
        """The house in which the bird lived from the first look to the second, else -1."""
        found = np.full(self.bird.size, UNKNOWN)
        for bird, house, since, until in self.records.stays:
            here = self.of_bird(bird)
            inside = (self.pairs.left[here] >= since) & (self.pairs.right[here] <= until)
            found[here][inside] = house
        return found

    def lived_in(self, bird: np.ndarray, left: np.ndarray, right: np.ndarray) -> np.ndarray:
        """The same for any birds and days, not many, in any order."""
        found = np.full(bird.size, UNKNOWN)
        for one, house, since, until in self.records.stays:
            found[(bird == one) & (left >= since) & (right <= until)] = house
        return found

    @cached_property
    def only_cases(self) -> tuple[OnlyCases, ...]:
        return only_cases(self.records.looks)

    def of_bird(self, bird: int) -> slice:
        """Where the pairs of a bird stand."""
        return slice(*np.searchsorted(self.pairs.unit, (2 * bird, 2 * bird + 2)))

    @cached_property
    def cases(self) -> list[CaseRow]:
        """One per affected pair, in the order of the pairs; then those that no round found within
        a gap short enough to count, whose beginning was seen all the same."""
        found = self.episodes
        # The last episode of the foot that began by the look at the end of the pair.
        starts = found.unit * 10_000_000 + found.first_affected
        units, rights = self.pairs.unit[self.case_pairs], self.pairs.right[self.case_pairs]
        places = np.searchsorted(starts, units * 10_000_000 + rights, side="right") - 1
        counted, known = places.tolist(), np.flatnonzero(found.incident)
        rest = np.setdiff1d(known, places).tolist()
        seen_by, houses = self._first_sights(), self.house[self.case_pairs].tolist()
        rows = [
            self._case(episode, seen_by, house, True)
            for episode, house in zip(counted, houses, strict=True)
        ]
        return rows + [self._case(episode, seen_by, UNKNOWN, False) for episode in rest]

    def _case(self, episode: int, seen_by: dict, house: int, counted: bool) -> CaseRow:
        found = self.episodes
        unit, first = int(found.unit[episode]), int(found.first_affected[episode])
        ended, look = int(found.first_clear_after[episode]), seen_by[unit, first]
        return CaseRow(
            bird=unit // 2,
            foot=unit % 2,
            clear_on=int(found.last_clear_before[episode]),
            found_on=first,
            check=self.records.looks.check[look],
            score=int(self.records.looks.score[look]),
            cleared_on=ended if ended >= 0 else None,
            house=None if house == UNKNOWN else house,
            counted=counted,
        )

    def _first_sights(self) -> dict[tuple[int, int], int]:
        """The look with the worst score of each foot and day on which it was sore."""
        looks, found = self.records.looks, {}
        for at in np.flatnonzero(looks.affected).tolist():
            key = (int(looks.bird[at] * 2 + looks.foot[at]), int(looks.day[at]))
            if key not in found or looks.score[at] > looks.score[found[key]]:
                found[key] = at
        return found

    @cached_property
    def case_pairs(self) -> np.ndarray:
        return np.flatnonzero(self.pairs.affected)

    def numbers_of(self, chosen: np.ndarray) -> tuple[int, ...]:
        """Places in ``cases`` of the affected ones among the chosen pairs (a mask)."""
        return tuple(np.flatnonzero(chosen[self.case_pairs]).tolist())


def months_of(days: np.ndarray) -> np.ndarray:
    """The month (1 to 12) of each ordinal."""
    since = np.floor(days).astype(np.int64) - dt.date(1970, 1, 1).toordinal()
    return since.astype("datetime64[D]").astype("datetime64[M]").astype(np.int64) % 12 + 1
