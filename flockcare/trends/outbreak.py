"""Whether more birds of a house fell ill in the last days than its own past leads one to expect.

Counted in birds, not feet, since both feet of a bird often go together. A case counts by the check
that found it, on a round or not, if the foot was clear within the gap limit before: what is found
after a longer gap, or at the first check, may have begun long ago. Against it stand all gaps that
could have brought one to light: those that a round ended in these days, and from the last round
until today. So whoever checks a limping bird at once does not get more cases than are expected.
"""

from __future__ import annotations

import datetime as dt
from typing import NamedTuple

import numpy as np

from flockcare.analysis import limits
from flockcare.analysis.outbreak import excess
from flockcare.care.rules.signs import OTHERS_NEW
from flockcare.care.situation import NEW_WITHIN
from flockcare.trends import thresholds, words
from flockcare.trends.records import HouseRow
from flockcare.trends.report import Outbreak
from flockcare.trends.watch import UNKNOWN, Watch


class _Gaps(NamedTuple):
    """Each gap between rounds of a bird with a clear foot (n,), whether it found a case, and of
    the birds here the gap from their last round to today."""

    bird: np.ndarray
    left: np.ndarray
    right: np.ndarray
    house: np.ndarray
    affected: np.ndarray

    def those(self, chosen: np.ndarray) -> _Gaps:
        return _Gaps(*(each[chosen] for each in self))


def outbreaks(watch: Watch, today: dt.date) -> tuple[Outbreak, ...]:
    """One for each house with reason, the most birds first; of the flock where no house is known.

    Told where chance alone gives as many in that house no more often than CLEAR_LEVEL says; how
    often that is wrong somewhere within a year was simulated (``tests/studies/outbreaks.txt``).
    Where the time before is too short for it the count alone stands there, once the advice for
    each of these birds goes by the others.
    """
    first = today - NEW_WITHIN
    since = first.toordinal()
    gaps = _gaps(watch, since, today.toordinal())
    now = gaps.those(gaps.right >= since)
    year = since - thresholds.WINDOW_DAYS
    before = gaps.those((gaps.right < since) & (gaps.right >= year))
    cases = _new_cases(watch, now, since)
    houses = range(len(watch.records.houses)) if watch.records.stays else [UNKNOWN]
    found = []
    for house in houses:
        numbers = [number for number, at in cases if at == house]
        birds = len({watch.cases[number].bird for number in numbers})
        if birds < OTHERS_NEW:
            continue
        here, then = now.those(now.house == house), before.those(before.house == house)
        chance = excess(birds, here.right - here.left, then.right - then.left, then.affected)
        told = chance.p <= limits.CLEAR_LEVEL
        if told or (chance.smallest_p > limits.CLEAR_LEVEL and birds > OTHERS_NEW):
            row = HouseRow("", "") if house == UNKNOWN else watch.records.houses[house]
            usual = chance.expected if told else None
            found.append(
                Outbreak(
                    house=row.name,
                    house_key=row.key,
                    birds=birds,
                    since=first,
                    told=told,
                    expected=chance.expected,
                    p=chance.p,
                    numbers=tuple(numbers),
                    sentence=words.outbreak(birds, row.name, first, today, usual),
                )
            )
    return tuple(sorted(found, key=lambda one: -one.birds))


def _new_cases(watch: Watch, now: _Gaps, since: int) -> list[tuple[int, int]]:
    """Place in ``watch.cases`` and house of each case found in one of these gaps since then."""
    found = []
    for number, case in enumerate(watch.cases):
        if case.found_on < since:
            continue
        inside = (now.left < case.found_on) & (case.found_on <= now.right)
        houses = now.house[inside & (now.bird == case.bird)]
        found += [(number, int(house)) for house in houses[:1]]
    return found


def _gaps(watch: Watch, since: int, today: int) -> _Gaps:
    unit, left, until = _open(watch, since, today)
    pairs = watch.pairs
    house = watch.lived_in(unit // 2, left, until)
    gaps = _Gaps(
        bird=np.r_[watch.bird, unit // 2],
        left=np.r_[pairs.left, left],
        right=np.r_[pairs.right, until],
        house=np.r_[watch.house, house],
        affected=np.r_[pairs.affected, np.zeros(unit.size, bool)],
    )
    # The two feet of a bird as one: the longer gap, a case if either found one.
    gaps = gaps.those(np.lexsort((gaps.left, gaps.right, gaps.bird)))
    same = (gaps.bird[1:] == gaps.bird[:-1]) & (gaps.right[1:] == gaps.right[:-1])
    first = np.flatnonzero(np.r_[True, ~same][: gaps.bird.size])
    if not first.size:
        return gaps
    affected = np.logical_or.reduceat(gaps.affected, first)
    return gaps.those(first)._replace(affected=affected)


def _open(watch: Watch, since: int, today: int):
    """Foot, last round, and today or the day she left, of each foot that was clear at its last
    round, of the birds that were here in the last days."""
    looks, counts = watch.records.looks, watch.counts
    unit = looks.bird[counts] * 2 + looks.foot[counts]
    day, sore = looks.day[counts], looks.affected[counts]
    order = np.lexsort((sore, day, unit))
    unit, day, sore = unit[order], day[order], sore[order]
    last = np.r_[unit[1:] != unit[:-1], True][: unit.size]
    until = np.array(
        [
            today if bird.present else -1 if bird.left_on is None else min(bird.left_on, today)
            for bird in watch.records.birds
        ],
        np.int64,
    )[unit // 2]
    clear = last & ~sore & (until >= since) & (day < until)
    clear &= until - day <= limits.GAP_LIMIT_DAYS
    return unit[clear], day[clear], until[clear]
