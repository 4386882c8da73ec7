"""Sentences for people who never learned statistics.

The order is: what was counted, for how long it was watched, the range that still fits, what else
may explain it. Never that something was the cause, never that it did nothing: records of a few
hens cannot say either.
"""

from __future__ import annotations

import datetime as dt
import math
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from typing import NamedTuple

from flockcare.analysis import limits
from flockcare.analysis.healing import HealingCurve
from flockcare.drawing.dates import date_words, short_words, span_words
from flockcare.trends import thresholds
from flockcare.trends.report import (
    BeforeAfter,
    ChangeAnswer,
    Figure,
    GroupRow,
    HealingGroup,
    Refusal,
    Repeats,
)
from flockcare.trends.rounds import OnlyCases

FEET_PER_HEN = 2
# New cases per foot and day, as new cases per 10 hens and month of 30 days.
PER_TEN_HENS_MONTH = 10 * FEET_PER_HEN * 30

_FEW = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
_TIMES = [
    (0.02, "a fiftieth as many"),
    (0.05, "a twentieth as many"),
    (0.1, "a tenth as many"),
    (1 / 6, "a sixth as many"),
    (0.2, "a fifth as many"),
    (0.25, "a quarter as many"),
    (1 / 3, "a third as many"),
    (0.4, "two fifths as many"),
    (0.5, "half as many"),
    (0.6, "three fifths as many"),
    (2 / 3, "two thirds as many"),
    (0.75, "three quarters as many"),
    (0.8, "four fifths as many"),
    (0.9, "nine tenths as many"),
    (0.9999, "almost as many"),
    (1.0, "just as many"),
    (1.0001, "slightly more"),
    (1.1, "a tenth more"),
    (1.25, "a quarter more"),
    (4 / 3, "a third more"),
    (1.5, "half as many again"),
    (1.75, "three quarters more"),
    (2.0, "twice as many"),
    (2.5, "two and a half times as many"),
    *((float(n), f"{_FEW[n]} times as many") for n in range(3, 11)),
    *((float(n), f"{n} times as many") for n in (12, 15, 20, 30, 50)),
]
_VALUES = [value for value, _ in _TIMES]
_ODDS = (2, 3, 4, 5, 6, 7, 8, 9, 10, 12, 15, 20, 25, 30, 40, 50, 60, 80)
_ODDS = (*_ODDS, *(factor * 100 for factor in (1, 1.5, 2, 3, 5, 7, 10)))


def times(ratio: float) -> str:
    """A ratio of rates in plain fractions, the nearest: ``half as many``, ``twice as many``."""
    if ratio <= 0:
        return "none at all"
    if ratio > _VALUES[-1]:
        return f"more than {_VALUES[-1]:g} times as many"
    if ratio < _VALUES[0]:
        return f"less than {_TIMES[0][1]}"
    return min(_TIMES, key=lambda item: abs(math.log(item[0] / ratio)))[1]


def at_least(ratio: float) -> str:
    """The lower end of a range, rounded down to a plain fraction."""
    if ratio <= 0 or ratio < _VALUES[0]:
        return "none at all"
    return _TIMES[bisect_right(_VALUES, ratio * (1 + 1e-9)) - 1][1]


def at_most(ratio: float) -> str:
    """The upper end of a range, rounded up to a plain fraction."""
    place = bisect_left(_VALUES, ratio * (1 - 1e-9))
    return _TIMES[place][1] if place < len(_TIMES) else f"more than {_VALUES[-1]:g} times as many"


def ratio_range(low: float, high: float) -> str:
    """``anything from a third as many to twice as many``; never narrower than the figures."""
    if low < _VALUES[0] and high > _VALUES[-1]:
        return "anything at all"
    if math.isinf(high) and low > 0:
        return f"{at_least(low)} or more, with no upper end"
    if low <= 0 and not math.isinf(high):
        return f"anything from none at all to {at_most(high)}"
    return f"anything from {at_least(low)} to {at_most(high)}"


def by_chance(p: float) -> str:
    """``about 1 in 30``: the share of equally lopsided results if nothing had changed."""
    if p <= 0.001:
        return "1 in 1,000 or less"
    if p > 0.4:
        return "more than 1 in 3"
    odds = min(_ODDS, key=lambda odds: abs(math.log(odds * p)))
    return f"about 1 in {odds:,.0f}"


def count(number: int, one: str, many: str = "") -> str:
    """``1 new case``, ``1,204 new cases``."""
    return f"{number:,} {one if number == 1 else many or one + 's'}"


def time_watched(foot_days: float) -> str:
    """``1 day of watching`` is one hen watched for one day; the page says so."""
    return count(round(foot_days / FEET_PER_HEN), "day of watching", "days of watching")


def rate(per_foot_day: float) -> str:
    """Per ten hens and month, as short as it can honestly be: ``0.8``, ``2.1``, ``12``."""
    return plain_number(per_foot_day * PER_TEN_HENS_MONTH)


def plain_number(value: float) -> str:
    if value >= 9.95:
        return f"{value:,.0f}"
    return f"{value:.1f}" if value >= 0.095 else f"{value:.2f}" if value >= 0.0095 else "0"


def none_found(foot_days: float, high: float) -> str:
    """No case at all. ``high``: upper limit of the rate per foot and day."""
    return (
        f"None found in {time_watched(foot_days)}. That still fits a rate up to 1 case per "
        f"{1 / (high * FEET_PER_HEN):,.0f} days of watching."
    )


def rate_words(cases: int, foot_days: float, low: float, high: float, value: float | None) -> str:
    """Cases, time watched and the rate with its range; ``value`` None where only the range is."""
    if cases == 0:
        return none_found(foot_days, high)
    counts = f"{count(cases, 'new case')} in {time_watched(foot_days)}"
    between = f"{rate(low)} to {rate(high)}"
    if value is None:
        return f"{counts}. That fits {between} per 10 hens a month."
    return f"{counts}: about {rate(value)} per 10 hens a month, and {between} would fit as well."


def day(ordinal: float) -> str:
    return date_words(dt.date.fromordinal(int(ordinal)))


def days_span(first: float, last: float) -> str:
    return span_words(dt.date.fromordinal(int(first)), dt.date.fromordinal(int(last)))


def listed(names: Sequence[str]) -> str:
    """``a, b and c``."""
    names = list(names)
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"


# Before and after a change


NOBODY_HOUSED = (
    "It is not recorded which birds lived there then, so nobody knows which birds this touched."
)
# What would tell more.
RECORD_HOUSES = "Record which birds live in which house."
AFTER_THE_FACT = (
    "Nothing can, since nobody checked before it. After the next round the birds are watched, and "
    "a later change can be compared with that."
)
SECOND_CHECK = "Check every foot again: what counts is the time from one check to the next."
CHECK_AROUND = "Check every foot shortly before and shortly after the next change."
OTHER_HOUSE = "The same change in another house, with this one left as it is, would tell more."
TOLD_BY_NOW = (
    "A halving would most likely have shown by now; what is left open is smaller than that, or the "
    "other way."
)


WHOLE_YEAR = (
    "A whole year of checks on either side, or a house beside it in which nothing is changed, "
    "would tell winter from the change."
)
NO_CASE_BEFORE = "Without a case before the change there is nothing that could have become less."


def in_ten(chance: float) -> str:
    """``4 times in 10``."""
    tenths = round(10 * chance)
    if tenths < 1:
        return "less than once in 10 times"
    return "once in 10 times" if tenths == 1 else f"{min(tenths, 9)} times in 10"


def about_in_ten(chance: float) -> str:
    """``about 4 times in 10``, ``less than once in 10 times``."""
    said = in_ten(chance)
    return said if said.startswith("less") else f"about {said}"


def weeks_left(weeks: float) -> str:
    return (
        f"At the present rate a halving would show after about "
        f"{count(max(1, round(weeks)), 'more week')} ({in_ten(thresholds.POWER)})."
    )


def chance_left(chance: float, until: float, *, over: bool) -> str:
    """``over``: the days compared have passed, on ``until``."""
    if over:
        return (
            f"With so many cases a true halving shows {about_in_ten(chance)}; something "
            "larger more often. More birds, or a longer period, would tell more."
        )
    return (
        f"By {day(until)}, when the days compared are over, a true halving would show "
        f"{about_in_ten(chance)}; something larger more often."
    )


def unwatched(birds: int, first: int | None, changed: int) -> str:
    """No foot was checked twice while these birds lived there; ``first``: their first check."""
    lived = f"{count(birds, 'bird')} that lived there then"
    if first is None:
        return f"Nobody has yet checked the feet of the {lived}."
    start = f"Too little time watched yet: the first check of the {lived} was on {day(first)}"
    if first > changed:
        return f"{start}, after this change. How they were before it is not on record."
    return f"{start}. After the next round there is time before or after to count."


def counted(found: BeforeAfter) -> str:
    """``4 new cases before, in 300 days of watching, and 7 after, in 280.``"""
    words = (
        f"{count(found.cases_before, 'new case')} before, in {time_watched(found.days_before)}, "
        f"and {found.cases_after:,} after, in {round(found.days_after / FEET_PER_HEN):,}."
    )
    if found.straddling:
        one = found.straddling == 1
        words += (
            f" {found.straddling} more {'was' if one else 'were'} found at the first check after "
            "the change and may have begun before it."
        )
    return words


def several_tried(tried: int) -> str:
    return (
        f"{tried} periods were tried for this change; the more are tried, the more likely one fits "
        "by chance, and this is allowed for."
    )


def short(found: BeforeAfter) -> str:
    counts = f"{found.cases_before} before and {found.cases_after} after"
    if found.refusal:
        return f"{counts}. {found.refusal.reason}"
    return f"{counts}, which fits {ratio_range(found.ratio.low, found.ratio.high)}."


def without(name: str, found: BeforeAfter) -> str:
    return f"Without {name}: {short(found)}"


def beside(houses: Sequence[str], found: BeforeAfter, alike: bool | None) -> str:
    """``alike``: whether it went the same way there; None where none can tell."""
    start = f"In {listed(houses)}, where nothing was changed then: {short(found)}"
    if alike is None:
        return start
    if alike:
        return (
            f"{start} It went the same way there, so something common to both, such as the season, "
            "may be at work."
        )
    return f"{start} One house against another: what differs between them besides stays open."


def other_change(changed: Sequence[str], houses: Sequence[str], on: float) -> str:
    """``Roost 140 → 60 cm and step added (Cart Shed, 14 Oct 2025)``."""
    return f"{listed(changed)} ({listed(houses)}, {day(on)})"


def else_happened(found: dict) -> str:
    """``what happened then: Wet spell (twice), Bedding renewed (7 times)``; ``found``:
    rows of events by what they were."""
    said = []
    for what, rows in found.items():
        if len(rows) > 1:
            said.append(f"{what} ({'twice' if len(rows) == 2 else f'{len(rows)} times'})")
            continue
        one = rows[0]
        if one.until == one.day:
            said.append(f"{what} ({day(one.day)})")
        elif math.isinf(one.until):
            said.append(f"{what} (since {day(one.day)})")
        else:
            said.append(f"{what} ({day(one.day)} to {day(one.until)})")
    return f"what happened then: {listed(said)}"


def say_why(days: int, house: str, on: float) -> str:
    """What was found drier, and nobody has said whether it was made so."""
    more = f" and {count(days - 1, 'other time')}" if days > 1 else ""
    return (
        f"{house} was found drier on {day(on)}{more}. Say on its page whether somebody did "
        "something, or it was the weather: only what was done is compared."
    )


def other_season(before: float, after: float) -> str:
    return (
        f"the season: {before:.0%} of the time watched before was winter half-year, {after:.0%} "
        "after"
    )


def older(days: float) -> str:
    return f"age: the birds were about {count(max(1, round(days / 30.44)), 'month')} older after"


def other_keeper(moved: float) -> str:
    return (
        f"who checked: {moved:.0%} of the checks went from one keeper to another, and a different "
        "observer can look like a different rate"
    )


def against_unchanged(ratio: Figure, p: float) -> str:
    return (
        f"Set against theirs, over the same season, that is {ratio_range(ratio.low, ratio.high)} "
        f"({by_chance(p)} by chance alone)."
    )


def verdict(
    state: str,
    found: BeforeAfter,
    p: float,
    compared: int,
    winter: tuple[float, float] | None = None,
) -> str:
    """The sentence for one change of ``compared``. ``state`` as in ``ChangeAnswer``, ``p``
    adjusted; ``winter``: its shares before and after."""
    if found.refusal:
        return found.refusal.reason
    ratio, low, high = found.ratio.value, found.ratio.low, found.ratio.high
    more = "more" if ratio > 1 else "fewer"
    fits = f"With equal watching time this fits {ratio_range(low, high)}"
    if state == "similar":
        return "About the same; a doubling is unlikely on these records, and so is a halving."
    if state == "season":
        return (
            f"{fits}. {winter[0]:.0%} of the time watched before was winter half-year and "
            f"{winter[1]:.0%} after: winter and this change cannot be told apart."
        )
    if state == "wide":
        return f"{fits}. It can’t tell us."
    if state == "outnumbered":
        return (
            f"{fits}. Alone this would be some sign of {more} cases after, but it is one of "
            f"{compared} compared, and among so many, chance alone does this {by_chance(p)} "
            "times. It can’t tell us."
        )
    if state == "hint":
        return f"{fits}. It leans towards {more} cases after, on too few cases to call it a sign."
    if state == "some_sign":
        return (
            f"Some sign of {more} cases after: {by_chance(p)} by chance alone. {fits}. "
            "Age, and often the season, changed too."
        )
    moved = "rose" if ratio > 1 else "fell"
    return f"Cases clearly {moved} after. {fits}. Records can’t say that this change was the cause."


# What else could explain an answer that is told, as the end of a sentence.
SAME_THERE = "it went the same way in the unchanged house"
SEASON_MAY = "winter could explain part of this"
KEEPER_MAY = "another keeper checked, which could explain this"
AGE_MAY = "older birds could explain this"


def called(names: Sequence[str]) -> str:
    """Changes that are judged as one, each named once; after the second, how many more."""
    names = list(dict.fromkeys(names))
    more = len(names) - 2
    return "; ".join(names[:2]) + (f"; {more} more" if more > 0 else "")


# One line for each change: at most 20 words, and what the bar shows is not said again.


class Mark(NamedTuple):
    """``shape``: names the drawing and the style."""

    shape: str
    words: str


FEWER, MORE = Mark("fewer", "Fewer"), Mark("more", "More")
SAME = Mark("none", "About the same")
NO_DIFFERENCE = Mark("untold", "No clear difference")
TOO_EARLY = Mark("early", "Too early")
UNTOLD = Mark("untold", "Can’t be told")

_SHORT_REASONS = {
    "no_residents": "it’s not recorded which birds lived there then",
    "no_time": "these birds were not checked twice on one side of it",
    "too_little_time": "too little time watched on one side",
    "too_few_checks": "only one day of checks on one side",
    "no_cases": "no new case before or after it",
    "too_few_birds": "too few birds checked before and after it",
    "straddling": "the checks around it were too far apart",
}


def mark(change: ChangeAnswer) -> Mark:
    if change.state in ("clear", "some_sign"):
        return MORE if change.found.ratio.value > 1 else FEWER
    if change.state == "similar":
        return SAME
    if change.again:
        return TOO_EARLY
    return UNTOLD if change.state in ("refused", "season") else NO_DIFFERENCE


def one_line(change: ChangeAnswer, near: Sequence[ChangeAnswer] = ()) -> str:
    """The sentence beside the mark. ``near``: other changes it cannot be told apart from."""
    later, found = _later(change), change.found
    if found is None:
        return _capital(f"{_SHORT_REASONS['no_residents']}.")
    before, after = found.cases_before + found.straddling, found.cases_after
    if found.refusal:
        few = f"{count(before + after, 'new case')} in all can’t tell yet"
        if not change.again:
            few = f"{count(before + after, 'new case')} in all could not have told us"
        return _capital(f"{_SHORT_REASONS.get(found.refusal.code, few)}{later}.")
    if change.state == "season":
        return f"Winter and this change can’t be told apart{later}."
    if change.state == "similar":
        return "About as many new cases as before, neither half nor twice."
    if change.state in ("clear", "some_sign"):
        doubts = [f"it can’t be told from change {near[0].number}"] if near else []
        doubts += change.doubts
        return f"{_capital(_new_cases(found))}{f'; {doubts[0]}' if doubts else ''}."
    if change.again:
        return f"{count(before, 'new case')} before, {after} after{later}."
    leans = "more" if found.ratio.value > 1 else "fewer"
    if change.state == "wide":
        return "Both fewer and more new cases fit what was seen."
    return f"It leans towards {leans} new cases, on too little to call it a sign."


def _later(change: ChangeAnswer) -> str:
    """When to look again, where a halving would most likely show by then; else how likely."""
    if change.again is None:
        return ""
    on, found = date_words(change.again), change.found
    if change.chance is None:
        never = found.days_before and not found.cases_before + found.straddling
        return f"; by {on} only a rise could show" if never else ""
    if change.chance >= thresholds.LIKELY:
        return f"; look again around {on}"
    if change.chance < thresholds.RARELY:
        return f"; by {on} a halving would rarely show"
    return f"; by {on} a halving would show {in_ten(change.chance)}"


def _new_cases(found: BeforeAfter) -> str:
    """``about twice as many new cases``, for equal time watched."""
    ratio = found.ratio.value
    if ratio <= 0:
        return f"no new case after it, {found.cases_before} before"
    if math.isinf(ratio):
        return f"{count(found.cases_after, 'new case')} after it, none before"
    # "a third as many new cases", "a tenth more new cases"
    said = times(ratio)
    noun = "as many" if "as many" in said else "more"
    said = said.replace(noun, f"{noun} new cases")
    rough = said.startswith(("less", "more", "almost", "just", "slightly"))
    return said if rough else f"about {said}"


def lead(told: Sequence[tuple[Mark, str]]) -> str:
    """Over the lines: whether something helped. ``told``: of each change, and how it is called.

    What followed a change, fewer or more new cases, is said by its line alone.
    """
    marks = [mark for mark, _ in told]
    changes = count(len(marks), "change")
    if FEWER in marks:
        fewer = [called for mark, called in told if mark == FEWER]
        which = f"“{fewer[0]}”" if len(fewer) == 1 else f"{len(fewer)} of {changes}"
        return f"{which} may have helped. Records can’t say why."
    if MORE in marks:
        return f"No sign of it. {marks.count(MORE)} of {changes} may have done harm."
    return "Too early to say." if TOO_EARLY in marks else "Nothing shows so far."


# What to change next, and for whom.

ONE_AT_A_TIME = "One thing at a time, in one house first: then the records can tell."
NOTHING_POINTS = "Nothing on record points to one change."
NOBODY_STANDS_OUT = "No bird or group stands out."
FIGURES_FIRST = "Start with what is beyond a published figure in your houses."


def do_the_same(change: ChangeAnswer, houses: Sequence[str], *, named: bool = False) -> str:
    """``named``: it stands just above how the change is called."""
    if houses and named:
        return f"If {listed(houses)} has the same fault, do the same there."
    if houses:
        return f"If {listed(houses)} has the same fault, try it there too: “{change.called}”."
    return f"Keep “{change.called}” as it is."


def undo(change: ChangeAnswer) -> str:
    return f"Consider undoing “{change.called}” ({change.place})."


def blurs(change: ChangeAnswer) -> str:
    """``change`` is being watched, and one more would be mixed up with it."""
    return f"It would blur the answer on “{change.called}”."


def lower(key: str, group: str) -> str:
    return f"Lower the roosts: more new cases in {_GROUPS[key].format(group)}."


def house_first(worse: str, other: str) -> str:
    return f"Start in {worse}: more new cases there than in {other}."


def keep_dry(wetter: str, drier: str) -> str:
    return f"Keep it dry underfoot: more new cases while it was {wetter} than {drier}."


_GROUPS = {
    "weight": "{} birds",
    "house": "birds in {}",
    "drop": "birds that drop {}",
    "energy": "birds that land with {}",
    "breed": "birds of the breed {}",
    "age": "birds aged {}",
}
# What an energy is like, by its unit: m·g·h; a foot-pound lifts a pound by a foot.
_ENERGY = {
    " J": " A hen of 2 kg that comes down 1 m lands with 20 J (joules).",
    " ft·lbf": " A hen of 4 lb that comes down 3 ft lands with 12 ft·lbf (foot-pounds).",
}
# Ways of sorting the weeks, which every bird lived through: they name no birds.
TIMES = {"season", "wetness", "spell"}


def more_in(key: str, worse: str, other: str, *, higher: bool) -> str:
    """``key``: of the way of sorting, see WAYS; ``higher``: ``worse`` stands after ``other``."""
    group = _GROUPS[key].format(worse)
    if key == "energy" and higher:
        group = f"birds that land hard ({worse})"
    unit = ""
    if key == "energy":
        unit = next((words for end, words in _ENERGY.items() if worse.endswith(end)), "")
    return f"More new cases in {group}, against {other}.{unit}"


def most_cases(found: Repeats) -> str:
    return (
        f"{_most_repeated(found)} had {found.repeated_cases} of {count(found.cases, 'new case')}."
    )


# Several birds at once


def outbreak(birds: int, house: str, since: dt.date, today: dt.date, usual: float | None) -> str:
    """``usual``: how many are expected, None where nobody can tell."""
    where = f" in {house}" if house else ""
    said = f"{count(birds, 'bird')} with a new case{where} since {short_words(since, today)}"
    if usual is None:
        return f"{said}."
    number = round(usual)
    many = f"about {_FEW[number] if number < len(_FEW) else number}" if number else "none"
    return f"{said}; usually {many}. Check the litter first."


def how_many_usual(p: float | None) -> str:
    """``p``: how often chance alone gives as many, None where nobody can tell."""
    counted = (
        "A bird counts once, if the foot was seen clear at most "
        f"{limits.GAP_LIMIT_DAYS} days before: what is found later may have begun long ago."
    )
    if p is None:
        return f"{counted} Too little time was watched before to say how many are usual."
    return (
        f"{counted} How many are usual: by the rate of the year before, for gaps between checks as "
        f"long as these. Chance alone gives as many {by_chance(p)} times."
    )


# With too little on record: three lines.


def on_record(summary, changes: int) -> str:
    if not summary.looks:
        return "No foot checked yet."
    said = (
        f"{count(summary.birds, 'bird')} checked since {date_words(summary.first_day)}, "
        f"{count(summary.cases, 'new case')}, {count(changes, 'change')}."
    )
    return said


MISSING = {
    "look": "A first check of both feet of every bird.",
    "closer": "Every foot checked again, every two weeks.",
    "clear": "Checks of clear birds: log them too.",
    "stays": "Which house each bird lives in.",
    "wait": "Time: keep checking every bird.",
    "one_house": "Time: keep checking every bird.",
    "weigh": "Time: keep checking every bird.",
    "log": "A change of the housing, with its day.",
    "why": "Why it became drier underfoot: say so on the house’s page.",
}
AFTER_FIRST_ROUND = "After the first two rounds of checks."


def around(day: dt.date, today: dt.date) -> str:
    """The last day that is offered is no promise."""
    if (day - today).days >= thresholds.WINDOW_DAYS:
        return "At this rate in a year or later."
    return f"Around {date_words(day)}."


def apart(houses: int, titles: Sequence[str]) -> str:
    """What groups are compared within; ``titles``: of the changes after which the rate moved."""
    said = ["within each house"] if houses > 1 else []
    if titles:
        quoted = listed([f"“{title}”" for title in titles])
        said.append(f"before and after {quoted} apart")
    return f"Groups are compared {' and '.join(said)}." if said else ""


# When the rate changed


def scan_sentence(first: float, last: float, rose: bool, p: float, surely: bool) -> str:
    span = days_span(first, last)
    if surely:
        moved = "rose" if rose else "fell"
        if last - first >= thresholds.LONG_PERIOD_DAYS:
            return (
                f"Cases {moved} at some time between {day(first)} and {day(last)} "
                f"({by_chance(p)} by chance alone); when is not known."
            )
        return (
            f"Cases {moved} around {span} ({by_chance(p)} by chance alone). These dates are rough: "
            "about one time in three the true day lies outside."
        )
    return (
        "No day stands out at which the rate became another. The likeliest period would be "
        f"{span}, but chance alone does this {by_chance(p)} times."
    )


def inside_sentence(changes: Sequence[tuple[int, Sequence[str]]]) -> str:
    """``changes``: number and houses of each."""
    names = [f"change {number} ({listed(houses)})" for number, houses in changes]
    if not names:
        return "None of the logged changes falls inside."
    if len(names) == 1:
        return f"One logged change falls inside: {names[0]}."
    return (
        f"{len(names)} logged changes fall inside and cannot be told apart by this: "
        f"{listed(names)}."
    )


def windows_sentence(days: int, share: float, inside: int, cases: int) -> str:
    return (
        f"The {days} days after every change together cover {share:.0%} of the time watched, so "
        f"an even rate would put {share:.0%} of the cases there; {inside} of {cases} are (both "
        "feet at once counted once)."
    )


NONE_CROWDED = (
    "After no change were there more new cases, beyond chance, than in the weeks next to it."
)


def crowded(changed: int, cases: int, p: float) -> str:
    return (
        f"In the days after {day(changed)} there were more cases than in the weeks next to "
        f"them ({count(cases, 'case')}; {by_chance(p)} by chance alone)."
    )


# Who gets it


class Way(NamedTuple):
    """A way of sorting the birds: its title, and how each bird is put into a group."""

    title: str
    how: str


WAYS = {
    "weight": Way(
        "Weight class",
        "By her last weighing before each check, else as entered for her, else by her breed’s "
        "adult weight.",
    ),
    "house": Way("House", "Where she lived from one check to the next."),
    "drop": Way(
        "Highest usual drop",
        "The largest single drop on the gentlest way down from the perches of her house at that "
        "time; which perch she sleeps on is not on record.",
    ),
    "energy": Way(
        "Landing energy",
        "Weight × gravity × that drop: an upper figure, for she brakes with her wings. Weight by "
        "her last weighing before each check, else her breed’s adult weight.",
    ),
    "breed": Way("Breed", "As entered for her."),
    "age": Way("Age", "At each check, from the day she hatched as far as known."),
    "season": Way(
        "Season",
        "December to February is winter, and so on; by the middle of each gap between checks.",
    ),
    "wetness": Way(
        "Dry or wet underfoot",
        f"By the reading nearest to the middle of each gap between checks, at most "
        f"{thresholds.WETNESS_DAYS} days away. Compared within each season.",
    ),
    "spell": Way(
        "Wet spells and housing orders",
        "By the middle of each gap between checks. A spell that is not over counts until now. "
        "Compared within each season.",
    ),
}
NEEDED = (
    f"To compare groups this page needs {limits.MIN_CASES_FOR_RATIO} new cases in two of them "
    f"together, and in each at least {thresholds.MIN_BIRDS_IN_GROUP} birds and "
    f"{time_watched(limits.MIN_FOOT_DAYS)}."
)
NOTHING_TO_SORT_BY = "Nothing is on record to sort the birds by."
TOO_FEW_TO_COMPARE = "Too few cases or birds to compare these groups."


def unsorted(first: int | None) -> str:
    """Why nothing can be sorted while no foot was checked twice; ``first``: the first check."""
    if first is None:
        return NOT_CHECKED
    return (
        f"Too little time watched yet: the first check was on {day(first)}. After the next round "
        "of checks the birds can be sorted."
    )


def too_few_birds(cases: int, birds: int) -> str:
    one = birds == 1
    return (
        f"{count(cases, 'new case')} in {count(birds, 'bird')}: that is {'her' if one else 'their'}"
        f" story, and says nothing about others like {'her' if one else 'them'}."
    )


def one_group(name: str) -> str:
    return f"All that is known is {name}, so there is nothing to compare."


def nothing_stands_out(widest: GroupRow, base: str) -> str:
    return (
        f"Nothing stands out beyond chance. {_against(widest, base)} It can’t tell us where "
        "there are more."
    )


def one_house_each(row: GroupRow, base: str) -> str:
    return (
        f"{_against(row, base)} Each of them is one house, and one house against another has no "
        "test: all that differs between them goes together."
    )


def sorted_alike(title: str, others: Sequence[str]) -> str:
    names = [title, *(name[:1].lower() + name[1:] for name in others)]
    return f"{listed(names)} are the same birds here and cannot be told apart."


def stands_out(row: GroupRow, base: str) -> str:
    sentence = (
        f"{_capital(row.name)}: {'more' if row.ratio.value > 1 else 'fewer'} new cases than {base} "
        f"({by_chance(row.adjusted_p)} by chance alone). {_against(row, base)}"
    )
    if row.adjusted:
        between = ratio_range(row.adjusted.low, row.adjusted.high)
        return f"{sentence} Among birds of the same weight class: {between}."
    if row.adjusted_refusal:
        reason = row.adjusted_refusal.reason
        return f"{sentence} Not adjusted for weight: {reason[:1].lower()}{reason[1:]}"
    return sentence


def _against(row: GroupRow, base: str) -> str:
    between = ratio_range(row.fits.low, row.fits.high)
    return f"{_capital(row.name)} against {base}, per hen and day: {between}."


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


# Birds with repeated cases

NO_CASE = "No new case is on record."
NONE_REPEATED = f"No bird had {thresholds.REPEAT_CASES} or more new cases."
GO_TOGETHER = (
    "Cases go together in some birds more than chance explains, so all ranges here are drawn wider "
    "for that."
)
_MOST_NAMES = 4


def repeated(found: Repeats) -> str:
    return (
        f"{found.repeated_cases} of {count(found.cases, 'new case')} came from "
        f"{count(found.repeated, 'bird')} with {thresholds.REPEAT_CASES} or more: "
        f"{_most_repeated(found)}."
    )


def _most_repeated(found: Repeats) -> str:
    """``Clove, Mace, Dill, Sage and 3 more``."""
    names = [bird.name for bird in found.birds[: min(found.repeated, _MOST_NAMES)]]
    more = found.repeated - len(names)
    return listed([*names, f"{more} more"] if more > 0 else names)


def without_repeated(rest: str) -> str:
    return f"Without them: {rest}"


def both_feet(both: int, cases: int) -> str:
    return f"During {both} of {count(cases, 'case')} the other foot was sore too."


# Healing

NONE_FOLLOWED = "No sore has been followed from its beginning yet."
NO_CARE = "No care is on record within a week of a sore’s first sight."
CARE_TELLS_NOTHING = (
    "Worse feet get more care, and feet that heal soon need none: which way a sore was treated "
    "says as much about the sore as about the care. This cannot tell what helps."
)
CARE_UNTOLD = "The ways of first care cannot be compared yet: too few sores have healed."


def care_alike(names: Sequence[str]) -> str:
    """``names``: the ways of care that could be compared with leaving alone."""
    quoted = listed([f"“{name}”" for name in names])
    return f"Between {quoted} and those left alone no difference shows beyond chance."


def healing(curve: HealingCurve, healed: int, refusal: Refusal | None) -> str:
    """``refusal``: why there is no curve, or no middle time."""
    if curve.refusal:
        return refusal.reason
    seen = f"{healed} of {count(curve.cases, 'sore')} seen clear again"
    if refusal:
        return f"{seen}. {refusal.reason}"
    if math.isinf(curve.median):
        return f"{seen}; half of them have not healed yet, so there is no middle time."
    high = "not reached" if math.isinf(curve.median_high) else f"{curve.median_high:g}"
    return (
        f"{seen}; half of them within {curve.median:g} days (fits {curve.median_low:g} to {high})."
    )


def not_alike(group: HealingGroup) -> str:
    return (
        f"Sores first treated as “{group.name}” and those left alone were not clear after equally "
        f"long times ({by_chance(group.adjusted_p)} by chance alone)."
    )


def swollen_at_first(groups: Sequence[HealingGroup]) -> str:
    shares = [f"{group.swollen} of {group.cases} {group.name}" for group in groups]
    return f"Swollen already when first seen: {listed(shares)}."


def too_few_measured(sores: int) -> str:
    return (
        f"{count(sores, 'sore')} measured twice while shrinking {'is' if sores == 1 else 'are'} "
        "too few to say how fast areas halve."
    )


# What there is at all, and the first sentences of the page

NOT_CHECKED = "No foot has been checked yet."
NO_CHANGE = "No change of the housing is on record yet."


def too_little_time(cases: int, foot_days: float) -> str:
    return (
        f"{count(cases, 'new case')} in {time_watched(foot_days)}: too little time watched for a "
        "rate."
    )


def sore_at_first(feet: int) -> str:
    one = feet == 1
    return (
        f"{count(feet, 'foot', 'feet')} {'was' if one else 'were'} sore at the first check ever; "
        f"nobody knows since when, so {'it is' if one else 'they are'} not counted as new."
    )


def dropped(foot_days: float, cases: int) -> str:
    return (
        f"Of the days between checks {count(round(foot_days / FEET_PER_HEN), 'does', 'do')} not "
        f"count as watched, since those checks were more than {limits.GAP_LIMIT_DAYS} days apart: "
        f"a sore could have come and healed unseen. {count(cases, 'case')} found after such a gap "
        f"{'does' if cases == 1 else 'do'} not count either."
    )


def between(checks: int) -> str:
    return (
        f"{count(checks, 'check')} between rounds {'counts' if checks == 1 else 'count'} in no "
        "rate: a bird that is checked because she limps nearly always has a sore. What is still "
        "there at the next round counts then."
    )


def only_cases(one: OnlyCases) -> str:
    who = f" by {one.name}" if one.name else ""
    return (
        f"{one.found} of {count(one.checks, 'check')}{who} of birds that were clear before found a "
        "sore. It looks as if clear birds are not logged; without them nobody knows how long a "
        "bird was well."
    )


def moved_after(change: ChangeAnswer, near: Sequence[ChangeAnswer] = ()) -> str:
    """``near``: other changes that this cannot be told apart from."""
    sure = "clearly" if change.state == "clear" else "perhaps"
    moved = "rose" if change.found.ratio.value > 1 else "fell"
    named = " or ".join(f"“{one.title}”" for one in (change, *near))
    apart = "; these cannot be told apart" if near else ""
    return f"New cases {sure} {moved} after {named}{apart}."


def in_season(change: ChangeAnswer) -> str:
    return f"Winter and the change “{change.title}” cannot be told apart."


def rest(marks: Sequence[Mark], of: str = "other change") -> list[str]:
    """What is to be said of the changes that no line before names, by their marks."""
    same, early = marks.count(SAME), marks.count(TOO_EARLY)
    open_ = len(marks) - same - early
    said = []
    if same:
        said.append(f"After {count(same, of)} cases stayed about the same.")
    if early:
        said.append(f"For {count(early, of)} it is too early to say.")
    if open_:
        said.append(f"For {count(open_, of)} the records can’t tell.")
    return said


def scan_elsewhere(first: dt.date, last: dt.date) -> str:
    when = f"around {span_words(first, last)}"
    if (last - first).days >= thresholds.LONG_PERIOD_DAYS:
        when = f"at some time between {date_words(first)} and {date_words(last)}"
    return f"The rate itself changed {when}, not around this change."


# What to record next

CHECK_ONCE = "Check both feet of every bird once: from then on there is something to compare."
CHECK_TWICE = "Check every foot a second time: one check says how it is, two say what came."
RECORD_HOUSING = (
    "Record what stands in each house, and each change of it on its day: without dated changes "
    "there is nothing to compare the cases with."
)


def log_clear(names: Sequence[str]) -> str:
    asked = listed([name for name in names if name])
    return (
        f"{f'{asked}: log' if asked else 'Log'} the clear birds too, each time birds are checked."
    )


def record_stays(birds: int) -> str:
    return (
        f"Record which house {count(birds, 'bird lives', 'birds live')} in, and since when: only "
        "then is it known whom a change touched."
    )


def check_closer(gap: float) -> str:
    return (
        f"Check closer around the next change: in the last year the checks of a foot were {gap:g} "
        "days apart, so a new sore can rarely be put before or after a change. Check every foot "
        "just before it, and every two weeks after."
    )


NO_CASE_LATELY = (
    "No new case in the last year: there is nothing that a change could make less. Keep checking."
)


def chance_after_a_year(chance: float, cases: int) -> str:
    return (
        "After a change give that house a year without another: at the present rate "
        f"({count(cases, 'new case')} in the last year) a true halving would then show "
        f"{about_in_ten(chance)}, and something larger more often."
    )


def wait(weeks: float, cases: int) -> str:
    return (
        f"After a change give that house about {max(1, round(weeks))} weeks of watching without "
        f"another: at the present rate ({count(cases, 'new case')} in the last year) a true "
        f"halving would then show {in_ten(thresholds.POWER)}."
    )


def one_house_first(changes: int) -> str:
    return (
        "Make the next change in one house first and leave another as it is: "
        f"{count(changes, 'change')} so far had no unchanged house beside "
        f"{'it' if changes == 1 else 'them'}, so season and age cannot be told from the change."
    )


def weigh(birds: int) -> str:
    return (
        f"Weigh {count(birds, 'bird')}: without a weight nobody knows how hard "
        f"{'she lands' if birds == 1 else 'they land'}."
    )
