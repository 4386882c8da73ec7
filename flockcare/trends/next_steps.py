"""What to record next: the one thing that would most improve what the records can tell."""

from __future__ import annotations

import math

import numpy as np

from flockcare.trends import changes, thresholds, words
from flockcare.trends.groups import spread_of
from flockcare.trends.report import ChangeAnswer, Step
from flockcare.trends.watch import UNKNOWN, Watch

# What each refusal waits for.
_REMEDY = {
    "no_residents": "stays",
    "straddling": "closer",
    "too_few_checks": "closer",
    "no_time": "closer",
    "too_little_time": "closer",
}
_OPEN = ("refused", "wide", "hint", "outnumbered")


def steps(watch: Watch, told: tuple[ChangeAnswer, ...]) -> tuple[Step, ...]:
    """Most useful first: what most answers wait for, then what helps at the next change."""
    if not watch.records.looks.day.size:
        first = "Check both feet of every bird once: from then on there is something to compare."
        return (Step("look", 0, first),)
    waiting: dict[str, int] = {}
    for change in told:
        if change.state in _OPEN:
            refusal = change.found.refusal if change.found else changes.NOBODY
            code = refusal.code if refusal else ""
            remedy = _REMEDY.get(code, "wait")
            waiting[remedy] = waiting.get(remedy, 0) + 1
    found = [_stays(watch), _closer(watch), _wait(watch), _one_house(watch, told)]
    found += [_weigh(watch), _log(told)]
    offered = [step for step in found if step]
    ranked = sorted(offered, key=lambda step: -waiting.get(step.code, 0))
    return tuple(
        Step(step.code, waiting.get(step.code, 0), step.sentence, step.birds) for step in ranked
    )


def _stays(watch: Watch) -> Step | None:
    housed = {stay.bird for stay in watch.records.stays}
    looked = np.unique(watch.records.looks.bird).tolist()
    missing = [bird for bird in looked if bird not in housed]
    if not missing:
        return None
    sentence = (
        f"Record which house {words.count(len(missing), 'bird')} live in, and since when: "
        "only then is it known whom a change touched."
    )
    return Step("stays", 0, sentence, _named(watch, missing))


def _closer(watch: Watch) -> Step | None:
    """Closer checks, judged by the last year of looks."""
    right = watch.pairs.right
    if not right.size:
        sentence = "Check every foot a second time: one check says how it is, two say what came."
        return Step("closer", 0, sentence)
    recent = right > right.max() - thresholds.WINDOW_DAYS
    gap = float(np.median(watch.width[recent]))
    if gap <= thresholds.WIDE_GAP_DAYS:
        return None
    sentence = (
        f"Check closer around the next change: in the last year the checks of a foot were {gap:g} "
        "days apart, so a new sore can rarely be put before or after a change. Check every foot "
        "just before it, and every two weeks after."
    )
    return Step("closer", 0, sentence)


def _wait(watch: Watch) -> Step | None:
    """How long until a halving after the next change would show, at the present rate."""
    pairs = watch.pairs
    if not pairs.right.size:
        return None
    now = int(pairs.right.max())
    recent = pairs.left >= now - thresholds.WINDOW_DAYS
    affected = watch.pairs.affected & recent
    cases = int(affected.sum())
    weeks = changes.weeks_until_told(
        watch,
        recent,
        cases=cases,
        days_before=float(watch.days[recent].sum()),
        days_after=0.0,
        spread=spread_of(watch, recent),
        case_birds=int(np.unique(watch.bird[affected]).size),
    )
    if math.isinf(weeks) or weeks > thresholds.FARTHEST_WEEKS:
        sentence = (
            f"{words.count(cases, 'new case')} in the last year are too few to ever "
            "tell a halving from chance after the next change; only something larger would show. "
            "More birds, or the records of more years, would help."
        )
        return Step("wait", 0, sentence)
    sentence = (
        f"Leave things as they are after a change for about {max(1, round(weeks))} weeks of "
        f"watching: at the present rate ({words.count(cases, 'new case')} in the "
        "last year) a halving would then show 8 times in 10."
    )
    return Step("wait", 0, sentence)


def _one_house(watch: Watch, told: tuple[ChangeAnswer, ...]) -> Step | None:
    alone = [change for change in told if change.beside is None]
    houses = np.unique(watch.house[watch.house != UNKNOWN]).size
    if not alone or houses < 2:
        return None
    sentence = (
        "Make the next change in one house first and leave another as it is: "
        f"{words.count(len(alone), 'change')} so far had no unchanged house beside "
        f"{'it' if len(alone) == 1 else 'them'}, so season and age cannot be told from the change."
    )
    return Step("one_house", 0, sentence)


def _weigh(watch: Watch) -> Step | None:
    birds = watch.records.birds
    looked = np.unique(watch.records.looks.bird).tolist()
    missing = [bird for bird in looked if birds[bird].present and not birds[bird].weighed]
    if not missing:
        return None
    sentence = (
        f"Weigh {words.count(len(missing), 'bird')}: without a weight nobody knows how hard "
        f"{'she lands' if len(missing) == 1 else 'they land'}."
    )
    return Step("weigh", 0, sentence, _named(watch, missing))


def _log(told: tuple[ChangeAnswer, ...]) -> Step | None:
    if told:
        return None
    sentence = (
        "Record what stands in each house, and each change of it on its day: without dated "
        "changes there is nothing to compare the cases with."
    )
    return Step("log", 0, sentence)


def _named(watch: Watch, birds: list[int]) -> tuple[tuple[str, str], ...]:
    rows = [watch.records.birds[bird] for bird in birds]
    return tuple((row.key, row.name) for row in rows)
