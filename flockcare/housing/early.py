"""Houses with far fewer eggs than usual: an early sign of something wrong, and no diagnosis."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from dataclasses import dataclass

from flockcare.analysis.falls import BASE_DAYS, MIN_DAYS, SPANS, Fall, fall
from flockcare.birds.models import BirdState, Sex
from flockcare.core.dates import PartialDate
from flockcare.housing.models import EggCount, House, Stay
from flockcare.people.models import Flock

# Birds that are not expected to lay: what is known already is no sign.
AT_REST = (BirdState.Kind.MOULTING, BirdState.Kind.BROODY)


@dataclass(frozen=True)
class Fewer:
    house: House
    fall: Fall

    @property
    def words(self) -> str:
        """``Fewer eggs than usual in Ark: 3 yesterday, usually 8 to 12 (by chance …)``."""
        few = self.fall
        when = "yesterday" if few.days == 1 else f"in {few.days} days"
        usual = f"usually {few.low} to {few.high}" if few.low < few.high else f"usually {few.low}"
        # Rounded down to two figures: beyond a year or two nobody has a feeling for it.
        days = int(min(1 / max(few.chance, 1e-9), 1000))
        often = f"less than 1 day in {days}" if days == 1000 else f"1 day in {days // 10 * 10}"
        return (
            f"Fewer eggs than usual in {self.house}: {few.count} {when}, {usual} "
            f"(by chance {often})."
        )


def fewer_eggs(flock: Flock, today: dt.date) -> list[Fewer]:
    """Of yesterday, since today's eggs may not all be in yet; one query, or four."""
    yesterday = today - dt.timedelta(1)
    first = yesterday - dt.timedelta(BASE_DAYS + max(SPANS) - 1)
    rows = EggCount.objects.filter(flock=flock, on__range=(first, yesterday)).order_by()
    counts = defaultdict(dict)
    for house, on, eggs in rows.values_list("house", "on", "eggs"):
        counts[house][on.toordinal()] = eggs
    asked = {
        house: days
        for house, days in counts.items()
        if yesterday.toordinal() in days and len(days) > MIN_DAYS
    }
    if not asked:
        return []
    laying = _laying(flock, first, yesterday)
    found = []
    for house in House.objects.filter(flock=flock, pk__in=asked).order_by("name"):
        fell = fall(asked[house.pk], laying.get(house.pk, {}), yesterday.toordinal())
        if fell:
            found.append(Fewer(house, fell))
    return found


def _laying(flock: Flock, first: dt.date, last: dt.date) -> dict[object, dict[int, int]]:
    """By house and day, how many birds lived there that may lay; two queries."""
    resting = defaultdict(list)
    states = BirdState.objects.filter(flock=flock, kind__in=AT_REST, since__lte=last)
    for bird, since, until in states.values_list("bird", "since", "until"):
        resting[bird].append((since, until or dt.date.max))
    stays = list(Stay.objects.filter(flock=flock).select_related("bird"))
    days = [first + dt.timedelta(number) for number in range((last - first).days + 1)]
    found = defaultdict(lambda: defaultdict(int))
    for stay in stays:
        bird = stay.bird
        if bird.sex == Sex.COCK:
            continue
        left = PartialDate.parse(bird.left).last() if bird.left else dt.date.max
        for day in days:
            lives = (stay.since or day) <= day < (stay.until or dt.date.max) and day <= left
            if lives and not any(since <= day < until for since, until in resting[bird.pk]):
                found[stay.house_id][day.toordinal()] += 1
    return found
