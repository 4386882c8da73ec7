"""What the page says, as plain values: the page, the JSON and what is kept are made from these."""

from __future__ import annotations

import dataclasses
import datetime as dt
import math
from dataclasses import dataclass, field

from django.utils.text import get_text_list

from flockcare.analysis.answers import Estimate
from flockcare.drawing.dates import date_words


@dataclass(frozen=True)
class CaseLine:
    """One new case. ``bird``, ``check``: keys; ``score``: when it was first seen; ``counted``: the
    gap before it was short enough to tell when it began."""

    bird: str
    name: str
    foot: str
    clear_on: dt.date
    found_on: dt.date
    cleared_on: dt.date | None
    score: int
    house: str
    check: str
    counted: bool


@dataclass(frozen=True)
class Figure:
    """A rate (per foot and day) or a ratio with its 95 % limits, for a number of cases."""

    value: float
    low: float
    high: float

    @classmethod
    def of(cls, estimate: Estimate) -> Figure:
        return cls(estimate.value, estimate.low, estimate.high)


@dataclass(frozen=True)
class Refusal:
    """Why there is no figure. ``facts``: the counts that led there."""

    code: str
    reason: str
    facts: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Summary:
    """What there is at all. ``gap_limit``: longest gap in days that counts as watching;
    ``checks_between``: checks between rounds, which count in no rate."""

    birds: int
    looks: int
    first_day: dt.date | None
    last_day: dt.date | None
    foot_days: float
    cases: int
    prevalent: int
    dropped_days: int
    dropped_cases: int
    both_ways: int
    gap_limit: float
    checks_between: int
    rate: Figure | None
    refusal: Refusal | None
    sentences: tuple[str, ...]


@dataclass(frozen=True)
class Outbreak:
    """More birds of a house with a new case lately than usual; ``house`` empty: of the flock.

    ``expected``: birds, at the rate of the year before. ``told``: beyond chance (``p``, for one
    house); else there is too little time before, and the count stands there alone.
    """

    house: str
    house_key: str
    birds: int
    since: dt.date
    told: bool
    expected: float
    p: float
    numbers: tuple[int, ...]
    sentence: str


@dataclass(frozen=True)
class Month:
    """``cases`` spread evenly over the days in which they may have begun; ``found`` on its days."""

    first: dt.date
    cases: float
    found: int
    foot_days: float


@dataclass(frozen=True)
class BeforeAfter:
    """One comparison; foot-days at risk, gaps in days, ``p`` not adjusted for anything.

    ``exact_before``, ``exact_after``: by plain counting, with every straddling case put before, or
    after.
    """

    method: str
    why: tuple[str, ...]
    notes: tuple[str, ...]
    cases_before: int
    cases_after: int
    straddling: int
    days_before: float
    days_after: float
    birds_both: int
    birds_with_cases: int
    gap_before: float
    gap_after: float
    ratio: Figure
    p: float
    exact_before: Figure
    exact_after: Figure
    dispersion: float
    numbers: tuple[int, ...]
    refusal: Refusal | None


@dataclass(frozen=True)
class Beside:
    """The birds of houses in which nothing was changed then, over the same days.

    ``against``: the ratio of the changed birds over theirs, where both have one, and its p.
    """

    houses: tuple[str, ...]
    found: BeforeAfter
    sentence: str
    against: Figure | None
    against_p: float


@dataclass(frozen=True)
class ChangeAnswer:
    """One change, or several that cannot be told apart.

    ``state``: refused, wide, similar, hint, outnumbered, some_sign or clear, on ``adjusted_p``,
    or season where winter and the change cannot be told apart; ``winter``: the shares of the time
    watched before and after that lay in the winter half-year, None where there is none. The p
    allows for all changes compared and all stretches tried. ``called``: how a keeper would name
    it. ``again``: when it is worth looking again, None where nothing more can come; ``chance``:
    that a true halving is told then, None where nobody can tell. ``fresh``: its
    answer became possible in the last FRESH_DAYS. ``doubts``: what else could explain a told
    answer, the weightiest first, as phrases.
    """

    key: str
    number: int
    days: tuple[dt.date, ...]
    houses: tuple[str, ...]
    house_key: str
    what: tuple[str, ...]
    kinds: tuple[str, ...]
    window_days: int
    lag_days: int
    chosen_on: dt.date | None
    before_looking: bool
    tried: int
    state: str
    adjusted_p: float
    compared: int
    found: BeforeAfter | None
    beside: Beside | None
    without: BeforeAfter | None
    without_name: str
    sentences: tuple[str, ...]
    else_changed: tuple[str, ...]
    tells_more: str
    winter: tuple[float, float] | None
    called: str
    again: dt.date | None
    chance: float | None
    fresh: bool
    doubts: tuple[str, ...]

    @property
    def place(self) -> str:
        return get_text_list(self.houses, "and")

    @property
    def when(self) -> str:
        return " and ".join(map(date_words, self.days))

    @property
    def title(self) -> str:
        """``Yard drained (Cart Shed, 14 Oct 2025)``."""
        return f"{self.called} ({', '.join(filter(None, (self.place, self.when)))})"


@dataclass(frozen=True)
class EventLine:
    """Something that happened; ``house`` empty: to the whole flock; ``until`` None: still so, or
    that day alone where ``spell`` is not set. ``change``: the number of the change it is judged as.
    """

    kind: str
    what: str
    house: str
    on: dt.date
    until: dt.date | None
    spell: bool
    change: int | None


@dataclass(frozen=True)
class Window:
    changes: tuple[int, ...]
    cases: int
    share: float
    p: float
    adjusted_p: float


@dataclass(frozen=True)
class ScanAnswer:
    """``inside``: numbers of the changes that lie among the plausible days."""

    day: dt.date | None
    first: dt.date | None
    last: dt.date | None
    rate_before: float
    rate_after: float
    p: float
    told: bool
    inside: tuple[int, ...]
    windows: tuple[Window, ...]
    window_days: int
    windows_share: float
    windows_refusal: Refusal | None
    refusal: Refusal | None
    sentences: tuple[str, ...]


@dataclass(frozen=True)
class GroupRow:
    """``ratio``: to the group watched longest; ``adjusted``: the same within weight classes, with
    limits like those of ``fits``.

    ``fits``: the limits of the ratio at the level of the test that allows for all comparisons;
    ``one_house_each``: each of the two groups is one house, so that no chance can be worked out.
    """

    key: str
    name: str
    birds: int
    cases: int
    foot_days: float
    rate: Figure | None
    show_rate: bool
    refusal: Refusal | None
    ratio: Figure | None
    fits: Figure | None
    one_house_each: bool
    birds_compared: int
    p: float
    adjusted_p: float
    adjusted: Figure | None
    adjusted_refusal: Refusal | None
    words: str
    numbers: tuple[int, ...]


@dataclass(frozen=True)
class Grouping:
    """``alike``: titles of other ways of sorting that put the same birds together."""

    key: str
    title: str
    alike: tuple[str, ...]
    base: str
    rows: tuple[GroupRow, ...]
    unknown_days: float
    unknown_cases: int
    sentences: tuple[str, ...]
    how: str


@dataclass(frozen=True)
class BirdCases:
    key: str
    name: str
    cases: int
    foot_days: float
    numbers: tuple[int, ...]


@dataclass(frozen=True)
class Repeats:
    """``spread``: of cases over birds, where chance alone gives 1. ``both_feet``: cases during
    which the other foot was sore too, of ``all_cases`` (those at the first look as well)."""

    birds: tuple[BirdCases, ...]
    repeated: int
    repeated_cases: int
    cases: int
    both_feet: int
    all_cases: int
    spread: float
    rate_without: Figure | None
    foot_days_without: float
    cases_without: int
    sentences: tuple[str, ...]


@dataclass(frozen=True)
class HealingGroup:
    """``points``: (days, share not yet clear, low, high); infinite median: not reached."""

    key: str
    name: str
    cases: int
    healed: int
    swollen: int
    median: Figure
    points: tuple[tuple[float, float, float, float], ...]
    shown_until: float
    refusal: Refusal | None
    median_refusal: Refusal | None
    p: float
    adjusted_p: float
    test_refusal: Refusal | None
    words: str
    numbers: tuple[int, ...]


@dataclass(frozen=True)
class Healing:
    """``shortest``, ``longest``: the median if every sore lasted as short, or long, as it can."""

    groups: tuple[HealingGroup, ...]
    shortest: float
    longest: float
    culled: int
    halving: Figure | None
    halving_sores: int
    halving_refusal: Refusal | None
    sentences: tuple[str, ...]


@dataclass(frozen=True)
class Step:
    """Something to record next; ``unlocks`` counts the changes whose answer waits for it."""

    code: str
    unlocks: int
    sentence: str
    birds: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Threshold:
    name: str
    value: str
    meaning: str


@dataclass(frozen=True)
class Report:
    """``apart``: what groups are compared within, empty where it is all one.
    ``lived_in``: houses with birds now. ``again``: when there may be enough to answer.
    """

    flock: str
    today: dt.date
    headline: tuple[str, ...]
    summary: Summary
    months: tuple[Month, ...]
    changes: tuple[ChangeAnswer, ...]
    scan: ScanAnswer
    groupings: tuple[Grouping, ...]
    repeats: Repeats
    healing: Healing
    steps: tuple[Step, ...]
    cases: tuple[CaseLine, ...]
    thresholds: tuple[Threshold, ...]
    apart: str
    lived_in: tuple[str, ...]
    again: dt.date | None
    events: tuple[EventLine, ...] = ()
    outbreaks: tuple[Outbreak, ...] = ()


def plain(value):
    """For JSON: days as ISO 8601 text, "not known" as null, infinite as the text ``inf``."""
    if dataclasses.is_dataclass(value):
        return {each.name: plain(getattr(value, each.name)) for each in dataclasses.fields(value)}
    if isinstance(value, dict):
        return {key: plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(item) for item in value]
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, float):
        if math.isnan(value):
            return None
        return value if math.isfinite(value) else "inf" if value > 0 else "-inf"
    return value
