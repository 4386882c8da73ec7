"""How long until a foot is seen clear again, by what was done about it first."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from flockcare.analysis import limits
from flockcare.analysis.healing import follow_up, healing_curve, log_rank_by_bird
from flockcare.analysis.planimetry import halving_time
from flockcare.analysis.rates import holm
from flockcare.care.models import DRESSED, StepKind
from flockcare.feet.scales import SWOLLEN
from flockcare.trends import reasons, thresholds, words
from flockcare.trends.records import AreaRow, StepRow
from flockcare.trends.report import Figure, Healing, HealingGroup, Refusal
from flockcare.trends.watch import Watch

ALL, ALONE = "all", "alone"
# The later in the list, the more was done; the most that was done on the first day counts.
ACTIONS = {
    ALONE: ("left alone", ()),
    "dressed": (
        "soaked and dressed",
        (StepKind.SOAKED, StepKind.RINSED, StepKind.OINTMENT, *DRESSED),
    ),
    "lifted": ("scab lifted", (StepKind.LIFTED,)),
    "vet": ("vet", (StepKind.VET, StepKind.MEDICINE)),
}
_ORDER = list(ACTIONS)
_RANK = {str(kind): _ORDER.index(key) for key, (_, kinds) in ACTIONS.items() for kind in kinds}


def answer(watch: Watch) -> Healing:
    found, chosen = watch.episodes, watch.episodes.incident
    days, healed = follow_up(found)
    unit, first = found.unit[chosen], found.first_affected[chosen]
    action = first_actions(unit, first, watch.records.steps)
    swollen = _swollen_at_first(watch, unit, first)
    number = _numbers(watch, unit, first)
    columns = (days, healed, swollen, number)
    groups = [_group(ALL, "all sores", *columns)]
    groups += [
        _group(key, ACTIONS[key][0], *(part[action == at] for part in columns))
        for at, key in enumerate(_ORDER)
        if (action == at).any()
    ]
    groups = _tested(groups, days, healed, action, unit // 2)
    shortest, longest = _bounds(found, chosen, healed)
    halving, sores, refusal = _halving(watch, found)
    return Healing(
        groups=tuple(groups),
        shortest=shortest,
        longest=longest,
        culled=_culled(watch, found),
        halving=halving,
        halving_sores=sores,
        halving_refusal=refusal,
        sentences=_sentences(groups),
    )


def first_actions(unit: np.ndarray, first: np.ndarray, steps: Iterable[StepRow]) -> np.ndarray:
    """The first action on each sore, as a place in ``ACTIONS``.

    Within FIRST_ACTION_DAYS of the first look that saw it; of several on that day the one
    by which most was done. Care of the whole bird counts for both feet.
    """
    action = np.zeros(unit.size, int)
    day = np.full(unit.size, math.inf)
    by_unit: dict[int, list[int]] = {}
    for place, name in enumerate(unit.tolist()):
        by_unit.setdefault(name, []).append(place)
    for step in steps:
        rank = _RANK.get(step.kind)
        if rank is None:
            continue
        for foot in (0, 1) if step.foot is None else (step.foot,):
            for place in by_unit.get(2 * step.bird + foot, ()):
                late = step.day - first[place]
                if not 0 <= late <= thresholds.FIRST_ACTION_DAYS or step.day > day[place]:
                    continue
                sooner = step.day < day[place]
                action[place] = rank if sooner else max(action[place], rank)
                day[place] = step.day
    return action


def _numbers(watch: Watch, unit: np.ndarray, first: np.ndarray) -> np.ndarray:
    """The place of each sore among the cases of the report."""
    place = {
        (2 * case.bird + case.foot, case.found_on): number
        for number, case in enumerate(watch.cases)
    }
    keys = zip(unit.tolist(), first.tolist(), strict=True)
    return np.array([place[key] for key in keys], int)


def _swollen_at_first(watch: Watch, unit: np.ndarray, first: np.ndarray) -> np.ndarray:
    looks = watch.records.looks
    bad = looks.score >= SWOLLEN
    seen = set(
        zip((looks.bird * 2 + looks.foot)[bad].tolist(), looks.day[bad].tolist(), strict=True)
    )
    return np.array([key in seen for key in zip(unit.tolist(), first.tolist(), strict=True)], bool)


def _group(key: str, name: str, days, healed, swollen, number) -> HealingGroup:
    curve = healing_curve(days, healed)
    refusal = reasons.told(curve.refusal, reasons.CURVE)
    median_refusal = reasons.told(curve.median_refusal, reasons.MEDIAN)
    median = (
        Figure(curve.median, curve.median_low, curve.median_high)
        if median_refusal is None
        else Figure(math.nan, math.nan, math.nan)
    )
    return HealingGroup(
        key=key,
        name=name,
        cases=int(days.size),
        healed=int(healed.sum()),
        swollen=int(swollen.sum()),
        median=median,
        points=tuple(zip(curve.times, curve.remaining, curve.low, curve.high, strict=True)),
        shown_until=curve.shown_until,
        refusal=refusal,
        median_refusal=median_refusal,
        p=math.nan,
        adjusted_p=math.nan,
        test_refusal=None,
        words=words.healing(curve, int(healed.sum()), refusal or median_refusal),
        numbers=tuple(number.tolist()),
    )


def _tested(groups: list[HealingGroup], days, healed, action, bird) -> list[HealingGroup]:
    """Each kind of care against sores left alone; birds keep their sores together."""
    tests = {}
    for group in groups:
        if group.key not in (ALL, ALONE):
            both = (action == 0) | (action == _ORDER.index(group.key))
            tests[group.key] = log_rank_by_bird(
                days[both], healed[both], (action > 0)[both], bird[both]
            )
    told = [key for key, test in tests.items() if test.refusal is None]
    adjusted = dict(zip(told, holm([tests[key].permutation_p for key in told]), strict=True))
    return [_with_test(group, tests.get(group.key), adjusted) for group in groups]


def _with_test(group: HealingGroup, test, adjusted: dict[str, float]) -> HealingGroup:
    if test is None:
        return group
    return replace(
        group,
        p=math.nan if test.refusal else test.permutation_p,
        adjusted_p=adjusted.get(group.key, math.nan),
        test_refusal=reasons.told(test.refusal, reasons.LOG_RANK),
    )


def _bounds(found, chosen, healed) -> tuple[float, float]:
    """Medians if every sore lasted as short, and as long, as it can have."""
    least = (found.last_affected - found.first_affected)[chosen]
    cleared = np.where(found.first_clear_after >= 0, found.first_clear_after, found.last_affected)
    most = (cleared - found.last_clear_before)[chosen]
    if healed.sum() < limits.MIN_HEALED_FOR_MEDIAN:
        return math.nan, math.nan
    return healing_curve(least, healed).median, healing_curve(most, healed).median


def _culled(watch: Watch, found) -> int:
    """Birds that were put down because of their feet while a foot was sore."""
    open_ = set((found.unit[found.first_clear_after < 0] // 2).tolist())
    return sum(
        bird.culled_for_feet and number in open_ for number, bird in enumerate(watch.records.birds)
    )


def _halving(watch: Watch, found) -> tuple[Figure | None, int, Refusal | None]:
    """The middle one of the times in which the measured areas halve, from the largest on."""
    times = sorted(_halving_times(found, watch.records.areas))
    if len(times) < limits.MIN_HEALED_FOR_MEDIAN:
        reason = words.too_few_measured(len(times))
        return None, len(times), Refusal("too_few_measured", reason, {"sores": len(times)})
    low, middle, high = np.quantile(times, (0.25, 0.5, 0.75))
    return Figure(float(middle), float(low), float(high)), len(times), None


def _halving_times(found, areas: list[AreaRow]) -> Iterable[float]:
    """One per sore that was measured at its largest and later while smaller."""
    by_unit: dict[int, list[tuple[int, float]]] = {}
    for row in areas:
        by_unit.setdefault(2 * row.bird + row.foot, []).append((row.day, row.mm2))
    columns = (found.unit, found.first_affected, found.last_affected)
    for unit, first, last in zip(*(part.tolist() for part in columns), strict=True):
        inside = sorted(one for one in by_unit.get(unit, ()) if first <= one[0] <= last)
        if len(inside) < 2:
            continue
        peak_day, peak = max(inside, key=lambda one: one[1])
        end_day, end = inside[-1]
        if end_day > peak_day and 0 < end < peak:
            yield halving_time(peak, end, end_day - peak_day)


def _sentences(groups: list[HealingGroup]) -> tuple[str, ...]:
    everything = groups[0]
    if not everything.cases:
        return (words.NONE_FOLLOWED,)
    said = [everything.words]
    treated = [group for group in groups[1:] if group.key != ALONE]
    if not treated:
        return (*said, words.NO_CARE)
    said.append(words.CARE_TELLS_NOTHING)
    told = [group for group in treated if group.adjusted_p <= limits.SIGN_LEVEL]
    tested = [group for group in treated if not math.isnan(group.p)]
    alike = words.care_alike([group.name for group in tested]) if tested else words.CARE_UNTOLD
    said += [words.not_alike(group) for group in told] or [alike]
    return (*said, words.swollen_at_first([group for group in groups[1:] if group.cases]))
