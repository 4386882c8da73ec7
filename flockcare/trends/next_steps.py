"""What to record next: the one thing that would most improve what the records can tell."""

from __future__ import annotations

import numpy as np

from flockcare.trends import changes, thresholds, words
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
_OPEN = ("refused", "wide", "hint", "outnumbered", "season")


def steps(watch: Watch, told: tuple[ChangeAnswer, ...]) -> tuple[Step, ...]:
    """Most useful first: what most answers wait for, then what helps at the next change."""
    if not watch.records.looks.day.size:
        return (Step("look", 0, words.CHECK_ONCE),)
    waiting: dict[str, int] = {}
    for change in told:
        if change.state in _OPEN:
            refusal = change.found.refusal if change.found else changes.NOBODY
            code = refusal.code if refusal else ""
            remedy = _REMEDY.get(code, "wait")
            waiting[remedy] = waiting.get(remedy, 0) + 1
    found = [_stays(watch), _closer(watch), _wait(watch), _one_house(watch, told)]
    found += [_weigh(watch), _log(told), _why(watch)]
    offered = [step for step in found if step]
    clear = [one.name for one in watch.only_cases]
    ranked = sorted(offered, key=lambda step: -waiting.get(step.code, 0))
    if clear:
        ranked.insert(0, Step("clear", 0, words.log_clear(clear)))
    return tuple(
        Step(step.code, waiting.get(step.code, 0), step.sentence, step.birds) for step in ranked
    )


def _stays(watch: Watch) -> Step | None:
    housed = {stay.bird for stay in watch.records.stays}
    looked = np.unique(watch.records.looks.bird).tolist()
    missing = [bird for bird in looked if bird not in housed]
    if not missing:
        return None
    return Step("stays", 0, words.record_stays(len(missing)), _named(watch, missing))


def _closer(watch: Watch) -> Step | None:
    """Closer checks, judged by the last year of looks."""
    right = watch.pairs.right
    if not right.size:
        return Step("closer", 0, words.CHECK_TWICE)
    recent = right > right.max() - thresholds.WINDOW_DAYS
    gap = float(np.median(watch.width[recent]))
    if gap <= thresholds.WIDE_GAP_DAYS:
        return None
    return Step("closer", 0, words.check_closer(gap))


def _wait(watch: Watch) -> Step | None:
    """How long until a halving after the next change would show, at the present rate."""
    pairs = watch.pairs
    if not pairs.right.size:
        return None
    now = int(pairs.right.max())
    recent = pairs.left >= now - thresholds.WINDOW_DAYS
    affected = watch.pairs.affected & recent
    cases = int(affected.sum())
    if not cases:
        return Step("wait", 0, words.NO_CASE_LATELY)
    case_birds = int(np.unique(watch.bird[affected]).size)
    outlook = changes.Outlook.of(
        watch, recent, cases, float(watch.days[recent].sum()), 0.0, case_birds
    )
    weeks = outlook.weeks()
    if weeks > thresholds.FARTHEST_WEEKS:
        chance = outlook.chance(thresholds.WINDOW_DAYS)
        return Step("wait", 0, words.chance_after_a_year(chance, cases))
    return Step("wait", 0, words.wait(weeks, cases))


def _one_house(watch: Watch, told: tuple[ChangeAnswer, ...]) -> Step | None:
    alone = [change for change in told if change.beside is None]
    houses = np.unique(watch.house[watch.house != UNKNOWN]).size
    if not alone or houses < 2:
        return None
    return Step("one_house", 0, words.one_house_first(len(alone)))


def _weigh(watch: Watch) -> Step | None:
    birds = watch.records.birds
    looked = np.unique(watch.records.looks.bird).tolist()
    missing = [bird for bird in looked if birds[bird].present and not birds[bird].weighed]
    if not missing:
        return None
    return Step("weigh", 0, words.weigh(len(missing)), _named(watch, missing))


def _log(told: tuple[ChangeAnswer, ...]) -> Step | None:
    return None if told else Step("log", 0, words.RECORD_HOUSING)


def _why(watch: Watch) -> Step | None:
    undecided = sorted(watch.records.undecided, key=lambda one: one[1])
    if not undecided:
        return None
    house, on = undecided[-1]
    return Step("why", 0, words.say_why(len(undecided), watch.records.houses[house].name, on))


def _named(watch: Watch, birds: list[int]) -> tuple[tuple[str, str], ...]:
    rows = [watch.records.birds[bird] for bird in birds]
    return tuple((row.key, row.name) for row in rows)
