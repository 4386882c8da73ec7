"""Why a figure is refused, how it was reached and what to bear in mind: in words, from the codes
and counts that ``analysis`` gives.
"""

from __future__ import annotations

from collections.abc import Callable

from flockcare.analysis import answers, limits
from flockcare.analysis.comparison import Comparison
from flockcare.trends.report import Refusal
from flockcare.trends.words import count

Sentences = dict[str, Callable[..., str]]


def _too_few(number: float, one: str, many: str = "") -> str:
    return f"{count(int(number), one, many)} {'is' if number == 1 else 'are'} too few"


def _untold(cases: int, **facts) -> str:
    return f"{count(cases, 'new case')} could not have told us either way."


# Of the functions of ``analysis``: for each code a sentence, made from the facts.
COMPARISON: Sentences = {
    "no_time": lambda **_: "No foot was watched while clear on one side of the change.",
    "too_little_time": lambda **_: (
        f"Less than {limits.MIN_FOOT_DAYS} foot-days were watched on one side of the change."
    ),
    "too_few_checks": lambda **_: "There was only one day with checks on one side of the change.",
    "no_cases": lambda **_: "No new case was found on either side of the change.",
    "too_few_cases": lambda cases, **_: (
        f"{_too_few(cases, 'new case')} to tell. Even the most lopsided split could be chance."
    ),
    "too_few_birds": lambda birds_both, **_: (
        f"Only {count(birds_both, 'bird was', 'birds were')} watched both before and after."
    ),
    "straddling": lambda **_: "The checks were too far apart around the change.",
    "too_few_case_birds": lambda birds_compared, **_: (
        f"Only {count(birds_compared, 'bird')} seen on both sides had a case: that is "
        f"{'her' if birds_compared == 1 else 'their'} story, and says nothing about the others."
    ),
    "unattainable": _untold,
}
SCAN: Sentences = {
    "too_few_cases": lambda cases, **_: f"{_too_few(cases, 'case')} to look for a change.",
    "too_few_check_days": lambda check_days, **_: (
        f"Checks on {count(check_days, 'day')} are too few to look for a change."
    ),
    "too_short": lambda days, **_: (
        f"{_too_few(days, 'day on record', 'days on record')} to look for a change."
    ),
    "one_sided": lambda **_: "No day has enough cases and time watched both before and after it.",
}
MATCHES: Sentences = {
    "no_changes": lambda **_: "No change is logged.",
    "too_few_cases": lambda cases, **_: f"{_too_few(cases, 'new case')} to tell.",
    "windows_cover_too_much": lambda share, **_: (
        f"The weeks after changes cover {share:.0%} of the time watched, too much to tell."
    ),
    "unattainable": _untold,
}
POOLED: Sentences = {
    "no_usable_stratum": lambda **_: "No group has cases and time watched on both sides.",
    "too_many_strata": lambda strata, **_: f"{strata} groups are too many to pool.",
    "too_few_cases": lambda cases, **_: f"{_too_few(cases, 'new case')} to allow for groups.",
    "one_stratum": lambda **_: (
        "Only one group has cases and time on both sides; nothing to allow for."
    ),
}
CURVE: Sentences = {
    "too_few_cases": lambda cases, **_: f"{_too_few(cases, 'sore')} for a curve.",
}
MEDIAN: Sentences = {
    "too_few_healed": lambda healed, **_: (
        f"{_too_few(healed, 'healed sore')} to say how long half of them take."
    ),
}
LOG_RANK: Sentences = {
    "too_few_healed": lambda healed_first, healed_second, **_: (
        f"{healed_first} and {healed_second} healed sores are too few to compare."
    ),
    "too_few_birds": lambda birds, **_: (
        f"{count(birds, 'bird stands', 'birds stand')} in one group only; so few could never show "
        "a difference."
    ),
}


def told(refusal: answers.Refusal | None, sentences: Sentences) -> Refusal | None:
    if refusal is None:
        return None
    reason = sentences[refusal.code](**refusal.facts)
    return Refusal(refusal.code, reason, refusal.facts)


OWN_RATE = (
    "Each bird is compared with herself, so that birds that fall ill often do not count more."
)


def why(found: Comparison, refusal: Refusal | None) -> tuple[str, ...]:
    """By which method a change was compared, or why it was not."""
    if refusal:
        return (refusal.reason,)
    if found.method == "one_sided":
        side = "after" if found.estimate.value < 1 else "before"
        return (
            f"No case {side} the change can be told apart, so only one end of the range is known.",
        )
    if found.method == "within_birds":
        return OWN_RATE, "Cases are spread over birds about as chance would have it."
    return OWN_RATE, "Cases go together within birds, so the range is widened for that."


def notes(found: Comparison) -> tuple[str, ...]:
    """What else to bear in mind."""
    seen, said = found.watched, []
    if seen.straddling:
        cases = count(seen.straddling, "case")
        said.append(f"{cases} may have begun before or after the change.")
    if seen.cases and seen.largest_share > 1 / 3:
        said.append(f"{seen.largest_share:.0%} of the cases came from one bird.")
    gaps = seen.gap_before, seen.gap_after
    if max(gaps) > 1.5 * min(gaps):
        said.append(f"Checks were {gaps[0]:g} days apart before and {gaps[1]:g} after.")
        if not found.allows_for_healing:
            said.append("Sores that came and went between two checks are not allowed for.")
    return tuple(said)
