"""Who gets it: rates by group, each against the group watched longest, birds kept together."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from scipy.stats import t as student

from flockcare.analysis import limits
from flockcare.analysis.answers import Estimate
from flockcare.analysis.clusters import clustered_ratio, ratio_p, spread_over_birds, widened
from flockcare.analysis.landing import JOULES_PER_FOOT_POUND, landing_energy
from flockcare.analysis.onset import fit_rates
from flockcare.analysis.rates import holm, pooled_ratio
from flockcare.birds.breeds import WeightClass, weight_class
from flockcare.housing.models import SPELLS
from flockcare.people.models import Units
from flockcare.trends import reasons, thresholds, words
from flockcare.trends.records import WETNESS, EventRow
from flockcare.trends.report import ChangeAnswer, Figure, Grouping, GroupRow, Refusal
from flockcare.trends.watch import UNKNOWN, Watch, months_of

YEAR = 365.25
CM_PER_INCH = 2.54
SEASONS = ("winter", "spring", "summer", "autumn")
CLASSES = tuple(WeightClass.values)


@dataclass(frozen=True)
class Sorted:
    """The pairs sorted into groups: ``code`` (place in ``names``, -1 unknown) of each pair."""

    key: str
    names: tuple[str, ...]
    code: np.ndarray


def groupings(watch: Watch, told: Sequence[ChangeAnswer] = ()) -> tuple[Grouping, ...]:
    """Every way of sorting the birds, with all comparisons of the page corrected together.

    Groups are compared within each house, and before and after each of ``told`` apart, the changes
    after which the rate moved.
    """
    era = _eras(watch, told)
    housed = _crossed(era, watch.house + 1)
    classes = by_weight_class(watch)
    ways = (
        classes,
        by_house(watch),
        by_drop(watch),
        by_energy(watch),
        by_breed(watch),
        by_age(watch),
        by_season(watch),
        *([by_wetness(watch)] if watch.records.wetness else []),
        *([by_spell(watch)] if _spells(watch) else []),
    )
    strata = {
        "house": era,
        # What comes with a season is compared within it.
        **dict.fromkeys(("wetness", "spell"), _crossed(housed, by_season(watch).code)),
    }
    drafts = [
        _grouping(watch, way, classes, strata.get(way.key, housed), alike)
        for way, alike in _distinct(watch, ways)
    ]
    rows = [row for draft in drafts for row in draft.rows if not math.isnan(row.p)]
    adjusted = dict(zip(map(id, rows), _held_together(rows), strict=True))
    unwatched = "" if watch.bird.size else words.unsorted(watch.records.looks.first_day)
    return tuple(_finished(draft, adjusted, unwatched) for draft in drafts)


def _held_together(rows: list[GroupRow]) -> list[tuple[float, Figure, Figure | None]]:
    """The p of each that allows for all (Holm), and the limits of the ratio, and of that within
    weight classes, at that test's level, so that a range leaves out "the same" only where the
    test does."""
    adjusted = holm([row.p for row in rows])
    told = sum(p <= limits.SIGN_LEVEL for p in adjusted)
    order = np.argsort([row.p for row in rows], kind="stable")
    found: list = [None] * len(rows)
    for rank, at in enumerate(order.tolist()):
        steps = len(rows) - min(rank, told)
        row, birds = rows[at], rows[at].birds_compared
        within = row.adjusted and _at_level(row.adjusted, birds, steps)
        found[at] = adjusted[at], _at_level(row.ratio, birds, steps), within
    return found


def _at_level(ratio: Figure, birds: int, steps: int) -> Figure:
    """The 95 % limits drawn apart to those of one of so many comparisons."""
    if not 0 < ratio.value < math.inf:
        return ratio
    tail = limits.SIGN_LEVEL / 2
    more = student.isf(tail / steps, birds - 1) / student.isf(tail, birds - 1)
    return Figure(
        ratio.value,
        ratio.value * (ratio.low / ratio.value) ** more,
        ratio.value * (ratio.high / ratio.value) ** more,
    )


def _distinct(watch: Watch, ways: tuple[Sorted, ...]) -> list[tuple[Sorted, tuple[str, ...]]]:
    """Those that sort the time watched otherwise than the ones before, with the titles of those
    that do not."""
    kept: list[tuple[Sorted, list[str]]] = []
    for way in ways:
        same = next((titles for other, titles in kept if _alike(watch, other, way)), None)
        if same is None:
            kept.append((way, []))
        else:
            same.append(words.WAYS[way.key].title)
    return [(way, tuple(titles)) for way, titles in kept]


def _alike(watch: Watch, one: Sorted, other: Sorted) -> bool:
    """Whether each group of one is a group of the other, but for little of the time watched."""
    known = (one.code != UNKNOWN) & (other.code != UNKNOWN)
    either = (one.code != UNKNOWN) | (other.code != UNKNOWN)
    both, least = float(watch.days[known].sum()), thresholds.ALIKE_SHARE
    if not both or both < least * float(watch.days[either].sum()):
        return False
    table = np.zeros((len(one.names), len(other.names)))
    np.add.at(table, (one.code[known], other.code[known]), watch.days[known])
    if (table.sum(1) > 0).sum() < 2 or (table.sum(0) > 0).sum() < 2:
        return False
    return min(table.max(1).sum(), table.max(0).sum()) >= least * both


# Ways of sorting


def by_weight_class(watch: Watch) -> Sorted:
    code = np.full(watch.bird.size, UNKNOWN)
    for number, bird in enumerate(watch.records.birds):
        here = watch.of_bird(number)
        adult = CLASSES.index(bird.weight_class) if bird.weight_class else UNKNOWN
        usual = np.where(_grown(watch, number), adult, UNKNOWN)
        code[here] = usual
        if bird.weighed:
            weighed = np.array([CLASSES.index(weight_class(grams)) for _, grams in bird.weighed])
            at = _last_before(bird.weighed, watch.pairs.left[here])
            code[here] = np.where(at >= 0, weighed[at], usual)
    return Sorted("weight", CLASSES, code)


def _grown(watch: Watch, number: int) -> np.ndarray:
    """Of each pair of a bird, whether she surely had her adult weight when it began."""
    left, grown_from = (
        watch.pairs.left[watch.of_bird(number)],
        watch.records.birds[number].grown_from,
    )
    return left >= (-math.inf if grown_from is None else grown_from)


def _last_before(dated, days: np.ndarray) -> np.ndarray:
    """Place of the last of the (ordinal, value) pairs on or before each day, -1 for none."""
    return np.searchsorted([on for on, _ in dated], days, side="right") - 1


def by_house(watch: Watch) -> Sorted:
    names = tuple(house.name for house in watch.records.houses)
    return Sorted("house", names, watch.house)


def by_drop(watch: Watch) -> Sorted:
    unit = (CM_PER_INCH, "in") if watch.records.units == Units.IMPERIAL else (1, "cm")
    edges = thresholds.DROP_EDGES_CM
    return Sorted("drop", _bands(edges, *unit), _banded(_drops(watch), edges))


def _banded(values: np.ndarray, edges: tuple[int, ...]) -> np.ndarray:
    return np.where(np.isnan(values), UNKNOWN, np.searchsorted(edges, values, side="left"))


def _bands(edges: tuple[int, ...], size: float, unit: str) -> tuple[str, ...]:
    """Names of the bands; the same edges in every unit, since words must not move a count."""
    shown = [round(edge / size) for edge in edges]
    between = [f"{low} to {high} {unit}" for low, high in pairwise(shown)]
    return (f"up to {shown[0]} {unit}", *between, f"over {shown[-1]} {unit}")


def _drops(watch: Watch) -> np.ndarray:
    """The drop in cm of each pair, not-a-number where not known."""
    found = np.full(watch.bird.size, math.nan)
    for house in range(len(watch.records.houses)):
        dated = [(row.since, row.drop_cm) for row in watch.records.drops if row.house == house]
        here = watch.house == house
        if dated and here.any():
            drops = np.array([math.nan if drop is None else drop for _, drop in dated])
            at = _last_before(dated, watch.pairs.left[here])
            found[here] = np.where(at >= 0, drops[at], math.nan)
    return found


def by_energy(watch: Watch) -> Sorted:
    energy = landing_energy(1.0, 1.0) * (_grams(watch) / 1000) * (_drops(watch) / 100)
    imperial = watch.records.units == Units.IMPERIAL
    unit = (JOULES_PER_FOOT_POUND, "ft·lbf") if imperial else (1, "J")
    edges = thresholds.ENERGY_EDGES_J
    return Sorted("energy", _bands(edges, *unit), _banded(energy, edges))


def _grams(watch: Watch) -> np.ndarray:
    found = np.full(watch.bird.size, math.nan)
    for number, bird in enumerate(watch.records.birds):
        here = watch.of_bird(number)
        adult = bird.adult_grams if bird.adult_grams else math.nan
        usual = np.where(_grown(watch, number), adult, math.nan)
        found[here] = usual
        if bird.weighed:
            grams = np.array([float(weight) for _, weight in bird.weighed])
            at = _last_before(bird.weighed, watch.pairs.left[here])
            found[here] = np.where(at >= 0, grams[at], usual)
    return found


def by_breed(watch: Watch) -> Sorted:
    names = tuple(sorted({bird.breed for bird in watch.records.birds if bird.breed}))
    place = {name: number for number, name in enumerate(names)}
    of_bird = np.array([place.get(bird.breed, UNKNOWN) for bird in watch.records.birds], int)
    return Sorted("breed", names, of_bird[watch.bird])


def by_age(watch: Watch) -> Sorted:
    hatched = np.array([bird.hatched or math.nan for bird in watch.records.birds], float)
    years = (watch.pairs.left - hatched[watch.bird]) / YEAR
    edges = thresholds.AGE_EDGES_YEARS
    between = [f"{low} to {high} years" for low, high in pairwise(edges)]
    names = ("under 1 year", *between, f"over {edges[-1]} years")
    code = np.where(np.isnan(years), UNKNOWN, np.searchsorted(edges, years, side="right"))
    return Sorted("age", names, code)


def by_season(watch: Watch) -> Sorted:
    middle = (watch.pairs.left + watch.pairs.right) / 2
    return Sorted("season", SEASONS, months_of(middle) % 12 // 3)


def by_wetness(watch: Watch) -> Sorted:
    middle = (watch.pairs.left + watch.pairs.right) / 2
    code = np.full(watch.bird.size, UNKNOWN)
    for house in {row.house for row in watch.records.wetness}:
        rows = sorted(row for row in watch.records.wetness if row.house == house)
        days, levels = np.array([(row.day, row.level) for row in rows]).T
        here = watch.house == house
        after = np.searchsorted(days, middle[here]).clip(1, max(1, days.size - 1))
        pair = np.column_stack((after - 1, after)).clip(0, days.size - 1)
        away = np.abs(days[pair] - middle[here][:, None])
        nearest = pair[np.arange(len(pair)), away.argmin(1)]
        near = away.min(1) <= thresholds.WETNESS_DAYS
        code[here] = np.where(near, levels[nearest], UNKNOWN)
    return Sorted("wetness", tuple(WETNESS), code)


def _spells(watch: Watch) -> list[EventRow]:
    return [event for event in watch.records.events if event.kind in SPELLS]


def by_spell(watch: Watch) -> Sorted:
    spells = _spells(watch)
    kinds = sorted({event.kind for event in spells})
    middle = (watch.pairs.left + watch.pairs.right) / 2
    # Without her house nobody can tell whether a spell of one house was hers.
    of_a_house = any(event.house is not None for event in spells)
    code = np.where(of_a_house & (watch.house == UNKNOWN), UNKNOWN, 0)
    for event in spells:
        here = np.ones(code.size, bool) if event.house is None else watch.house == event.house
        during = here & (middle >= event.day) & (middle <= event.until)
        code[during] = 1 + kinds.index(event.kind)
    return Sorted("spell", ("at other times", *map(str, kinds)), code)


# Rates and comparisons


def _eras(watch: Watch, told: Sequence[ChangeAnswer]) -> np.ndarray:
    """Of each pair a number that says which of these changes had been made where the bird lived."""
    middle = (watch.pairs.left + watch.pairs.right) / 2
    names = [house.name for house in watch.records.houses]
    era = np.zeros(watch.bird.size, int)
    for change in told:
        houses = [names.index(name) for name in change.houses]
        after = middle >= change.days[0].toordinal()
        era = _crossed(era, np.isin(watch.house, houses) & after)
    return era


def _crossed(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """A number for each pair of codes."""
    return np.unique(np.column_stack((one, other)), axis=0, return_inverse=True)[1].ravel()


def _grouping(
    watch: Watch, way: Sorted, classes: Sorted, stratum: np.ndarray, alike: tuple[str, ...]
) -> Grouping:
    seen = [code for code in range(len(way.names)) if (way.code == code).any()]
    days = {code: float(watch.days[way.code == code].sum()) for code in seen}
    base = max(seen, key=days.__getitem__, default=None)
    rows = []
    for code in seen:
        row = _row(watch, way, code)
        if code != base:
            row = _compared(watch, way, code, base, classes, stratum, row)
        rows.append(row)
    unknown = way.code == UNKNOWN
    return Grouping(
        key=way.key,
        title=words.WAYS[way.key].title,
        alike=alike,
        base="" if base is None else way.names[base],
        rows=tuple(rows),
        unknown_days=float(watch.days[unknown].sum()),
        unknown_cases=int(watch.pairs.affected[unknown].sum()),
        sentences=(),
        how=words.WAYS[way.key].how,
    )


def _row(watch: Watch, way: Sorted, code: int) -> GroupRow:
    here = way.code == code
    pairs, days = watch.pairs, float(watch.days[here].sum())
    cases, birds = int(pairs.affected[here].sum()), int(np.unique(watch.bird[here]).size)
    refusal = group_refusal(cases, days, birds)
    rate = None
    if days >= limits.MIN_FOOT_DAYS:
        rate = rate_of(watch, here)
    shown = rate is not None and cases >= limits.MIN_CASES_FOR_RATE and refusal is None
    if refusal:
        said = refusal.reason
    else:
        said = words.rate_words(cases, days, rate.low, rate.high, rate.value if shown else None)
    blank = math.nan
    return GroupRow(
        key=f"{way.key}-{code}",
        name=way.names[code],
        birds=birds,
        cases=cases,
        foot_days=days,
        rate=rate,
        show_rate=shown,
        refusal=refusal,
        ratio=None,
        fits=None,
        one_house_each=False,
        birds_compared=0,
        p=blank,
        adjusted_p=blank,
        adjusted=None,
        adjusted_refusal=None,
        words=said,
        numbers=watch.numbers_of(here),
    )


def group_refusal(cases: int, foot_days: float, birds: int) -> Refusal | None:
    """Why a group's rate should not be shown."""
    facts = {"cases": cases, "foot_days": foot_days, "birds": birds}
    if foot_days < limits.MIN_FOOT_DAYS:
        return Refusal("too_little_time", words.too_little_time(cases, foot_days), facts)
    if birds < thresholds.MIN_BIRDS_IN_GROUP:
        return Refusal("too_few_birds", words.too_few_birds(cases, birds), facts)
    return None


def rate_of(watch: Watch, chosen: np.ndarray) -> Figure:
    """The rate per foot-day of the chosen pairs, with limits that keep each bird's cases together.

    Limits of the interval-censored likelihood, drawn apart on the log scale by the spread of the
    cases over birds; never drawn together.
    """
    pairs = watch.pairs
    found = fit_rates(replace(pairs, **_columns(pairs, chosen))).rate()
    return Figure.of(widened(found, spread_of(watch, chosen)))


def _columns(pairs, chosen) -> dict:
    return {name: getattr(pairs, name)[chosen] for name in ("unit", "left", "right", "affected")}


def spread_of(watch: Watch, chosen: np.ndarray) -> float:
    """Of the cases over birds where chance alone gives 1; 1 where it cannot be judged."""
    (cases,), (days,) = _by_bird(watch, chosen, np.zeros(chosen.size, int))
    return spread_over_birds(cases, days)


def _by_bird(
    watch: Watch, chosen: np.ndarray, stratum: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Cases, and foot-days of which a sore would have lasted to the look, by stratum and bird."""
    shape = stratum.max(initial=0) + 1, len(watch.records.birds)
    place = np.ravel_multi_index((stratum[chosen], watch.bird[chosen]), shape)
    return tuple(
        np.bincount(place, each[chosen], math.prod(shape)).reshape(shape)
        for each in (watch.pairs.affected, watch.lasting_days)
    )


def _compared(watch, way, code: int, base: int, classes, stratum, row: GroupRow) -> GroupRow:
    here, there = way.code == code, way.code == base
    # What was watched only after a change, or only before it, has nothing to stand beside.
    both = np.isin(stratum, np.intersect1d(stratum[here], stratum[there]))
    here, there = here & both, there & both
    (n1, t1), (n0, t0) = _by_bird(watch, here, stratum), _by_bird(watch, there, stratum)
    days, others = float(watch.days[there].sum()), int((t0 > 0).any(0).sum())
    refused = row.refusal or group_refusal(int(n0.sum()), days, others)
    if refused or n1.sum() + n0.sum() < limits.MIN_CASES_FOR_RATIO:
        return row
    found = clustered_ratio(n1, t1, n0, t0)
    if found.refusal:
        return row
    birds = int(((t1 > 0) | (t0 > 0)).any(0).sum())
    # Birds of one house share all of it: there is nothing to hold one house against another by.
    sides = [np.unique(watch.house[side & (watch.house != UNKNOWN)]) for side in (here, there)]
    alone = all(side.size == 1 for side in sides) and sides[0] != sides[1]
    p = math.nan if alone else ratio_p(found, birds)
    adjusted, refusal = None, None
    if way is not classes:
        adjusted, refusal = _within_classes(watch, here, there, classes)
    return replace(
        row,
        ratio=Figure.of(found),
        fits=Figure.of(found),
        one_house_each=bool(alone),
        birds_compared=birds,
        p=p,
        adjusted=adjusted,
        adjusted_refusal=refusal,
    )


def _within_classes(watch, here, there, classes: Sorted) -> tuple[Figure | None, Refusal | None]:
    """The ratio within weight classes (Mantel-Haenszel), its limits widened by the spread."""
    affected, days = watch.pairs.affected, watch.lasting_days
    strata = []
    for code in [*range(len(classes.names)), UNKNOWN]:
        same = classes.code == code
        if (same & (here | there)).any():
            cells = [
                (affected[same & side].sum(), days[same & side].sum()) for side in (here, there)
            ]
            strata.append((int(cells[0][0]), cells[0][1], int(cells[1][0]), cells[1][1]))
    found = pooled_ratio(strata)
    if found.refusal:
        return None, reasons.told(found.refusal, reasons.POOLED)
    ratio = Estimate(found.ratio, found.low, found.high)
    return Figure.of(widened(ratio, spread_of(watch, here | there))), None


# Sentences


def _finished(draft: Grouping, adjusted: dict[int, tuple], unwatched: str) -> Grouping:
    held = [adjusted.get(id(row), (math.nan, row.fits, row.adjusted)) for row in draft.rows]
    rows = tuple(
        replace(row, adjusted_p=p, fits=fits, adjusted=within)
        for row, (p, fits, within) in zip(draft.rows, held, strict=True)
    )
    sentences = (unwatched,) if unwatched else _sentences(draft, rows)
    return replace(draft, rows=rows, sentences=sentences)


def _sentences(draft: Grouping, rows: tuple[GroupRow, ...]) -> tuple[str, ...]:
    if not rows:
        return (words.NOTHING_TO_SORT_BY,)
    if len(rows) == 1:
        return (words.one_group(rows[0].name),)
    alike = (words.sorted_alike(draft.title, draft.alike),) if draft.alike else ()
    told = [row for row in rows if row.adjusted_p <= limits.SIGN_LEVEL]
    if not told:
        compared = [row for row in rows if row.ratio]
        if not compared:
            return (words.TOO_FEW_TO_COMPARE,)
        widest = max(compared, key=lambda row: abs(math.log(row.ratio.value)))
        if all(row.one_house_each for row in compared):
            return (words.one_house_each(widest, draft.base), *alike)
        return (words.nothing_stands_out(widest, draft.base), *alike)
    told.sort(key=lambda row: row.adjusted_p)
    return (*(words.stands_out(row, draft.base) for row in told), *alike)
