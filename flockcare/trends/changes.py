"""Before and after each housing change, among the birds it touched."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from flockcare.analysis import limits
from flockcare.analysis.comparison import Comparison, against, compare_arrays
from flockcare.analysis.power import chance_told, days_to_wait
from flockcare.analysis.rates import RateRatio, holm
from flockcare.trends import reasons, thresholds, words
from flockcare.trends.records import ChangeRow, Chosen, Records
from flockcare.trends.report import (
    BeforeAfter,
    Beside,
    ChangeAnswer,
    Figure,
    Refusal,
    ScanAnswer,
)
from flockcare.trends.watch import Watch, months_of

_WINTER = (10, 11, 12, 1, 2, 3)
YEAR = 365.25
# What can be told, one way or the other.
TOLD = ("clear", "some_sign", "similar")


@dataclass(frozen=True)
class Event:
    """Changes that cannot be told apart: of one house too close in time, or on the same days in
    several houses. ``houses`` are places in the list of houses."""

    rows: tuple[ChangeRow, ...]

    @property
    def days(self) -> tuple[int, ...]:
        return tuple(sorted({row.day for row in self.rows}))

    @property
    def houses(self) -> tuple[int, ...]:
        return tuple(sorted({row.house for row in self.rows}))

    @property
    def first(self) -> int:
        return self.days[0]

    @property
    def last(self) -> int:
        return self.days[-1]


def events(changes: list[ChangeRow], apart: int = thresholds.MIN_DAYS_APART) -> list[Event]:
    """The changes in groups that can be told apart, in time order."""
    chains: list[list[ChangeRow]] = []
    newest: dict[int, list[ChangeRow]] = {}
    for row in sorted(changes, key=lambda row: (row.day, row.house)):
        chain = newest.get(row.house)
        if chain is None or row.day - chain[-1].day >= apart:
            chain = newest[row.house] = []
            chains.append(chain)
        chain.append(row)
    by_days: dict[tuple[int, ...], list[ChangeRow]] = {}
    for chain in chains:
        by_days.setdefault(tuple(sorted({row.day for row in chain})), []).extend(chain)
    return sorted((Event(tuple(rows)) for rows in by_days.values()), key=lambda one: one.days)


@dataclass(frozen=True)
class Stretch:
    """What is compared: ``window`` days on either side, without ``lag`` days after the change.

    ``tried`` counts the stretches whose answer somebody may have seen; ``before_looking`` says
    that this one was fixed before anything had been seen after the change.
    """

    window: int = thresholds.WINDOW_DAYS
    lag: int = 0
    chosen_on: int | None = None
    before_looking: bool = True
    tried: int = 1


def stretch_of(event: Event, records: Records) -> Stretch:
    """The newest choice for any of its changes, else the usual one.

    A choice made before the first look after the change replaces the usual stretch unseen; each
    other one made later is one more try. One made for a day that was corrected since goes with
    the change, so that neither the stretch nor the count of tries is lost.
    """
    keys = {(records.houses[row.house].key, row.day) for row in event.rows}
    chosen = [one for one in records.choices if (one.house, _day_now(one, records)) in keys]
    if not chosen:
        return Stretch()
    after = records.looks.day[records.looks.day > event.first]
    first_seen = int(after.min()) if after.size else math.inf
    seen = {(thresholds.WINDOW_DAYS, 0)}
    for one in chosen:
        value = (one.window_days, one.lag_days)
        seen = {value} if one.chosen_on < first_seen else seen | {value}
    last: Chosen = chosen[-1]
    return Stretch(
        last.window_days, last.lag_days, last.chosen_on, last.chosen_on < first_seen, len(seen)
    )


def _day_now(choice: Chosen, records: Records) -> int:
    """The day of the change a stretch was chosen for: where nothing changed in that house on the
    day written down, the nearest one less than MIN_DAYS_APART away, else that day itself."""
    days = [row.day for row in records.changes if records.houses[row.house].key == choice.house]
    nearest = min(days, key=lambda day: (abs(day - choice.day), day), default=choice.day)
    return nearest if abs(nearest - choice.day) < thresholds.MIN_DAYS_APART else choice.day


def touched(watch: Watch, houses, day: int) -> np.ndarray:
    """Mask of the pairs of the birds that lived in these houses on ``day``, during that stay."""
    chosen = np.zeros(watch.bird.size, bool)
    for bird, house, since, until in watch.records.stays:
        if house in houses and since <= day < until:
            here = watch.of_bird(bird)
            left, right = watch.pairs.left[here], watch.pairs.right[here]
            chosen[here] |= (left >= since) & (right <= until)
    return chosen


def residents(watch: Watch, houses, day: int) -> list[int]:
    """The birds that lived in these houses on ``day``, whether or not they were looked at."""
    stays = watch.records.stays
    return [bird for bird, house, since, until in stays if house in houses and since <= day < until]


def within(watch: Watch, event: Event, stretch: Stretch) -> np.ndarray:
    """Mask of the pairs in the stretch.

    Pairs that reach into the days left out go as a whole, whatever was seen at their end, so that
    what stays is not picked by its outcome.
    """
    left, right = watch.pairs.left, watch.pairs.right
    resumes = event.last + stretch.lag
    inside = (left >= event.first - stretch.window) & (right <= resumes + stretch.window)
    if resumes > event.first:
        inside &= ~((left < resumes) & (right > event.first))
    return inside


def compare(watch: Watch, chosen: np.ndarray, day: int) -> Comparison:
    pairs = watch.pairs
    return compare_arrays(
        watch.bird[chosen],
        pairs.left[chosen],
        pairs.right[chosen],
        pairs.affected[chosen],
        day,
        watch.curve,
    )


def before_after(found: Comparison, numbers: tuple[int, ...]) -> BeforeAfter:
    def exact(one: RateRatio) -> Figure:
        return Figure(one.ratio, one.low, one.high)

    seen, refusal = found.watched, reasons.told(found.refusal, reasons.COMPARISON)
    return BeforeAfter(
        method=found.method,
        why=reasons.why(found, refusal),
        notes=reasons.notes(found),
        cases_before=seen.cases_before,
        cases_after=seen.cases_after,
        straddling=seen.straddling,
        days_before=seen.days_before,
        days_after=seen.days_after,
        birds_both=seen.birds_both,
        birds_with_cases=seen.birds_with_cases,
        gap_before=seen.gap_before,
        gap_after=seen.gap_after,
        ratio=Figure.of(found.estimate),
        p=found.p,
        exact_before=exact(found.exact_all_before),
        exact_after=exact(found.exact_all_after),
        dispersion=found.dispersion,
        numbers=numbers,
        refusal=refusal,
    )


def answers(watch: Watch, today: int | None = None) -> tuple[ChangeAnswer, ...]:
    """One answer per change or group of changes, in time order; ``today`` an ordinal, else the
    day of the last look."""
    groups = events(watch.records.changes)
    if today is None:
        today = int(watch.records.looks.day.max(initial=0))
    drafts = [_Draft.of(watch, event, groups, today) for event in groups]
    told = [draft for draft in drafts if draft.compared and not draft.compared.refusal]
    tried = [min(1.0, draft.compared.p * draft.stretch.tried) for draft in told]
    adjusted = dict(zip(map(id, told), holm(tried), strict=True))
    return tuple(
        draft.answer(number, adjusted.get(id(draft), math.nan), len(told))
        for number, draft in enumerate(drafts, start=1)
    )


def weighed(answers: tuple[ChangeAnswer, ...], scanned: ScanAnswer) -> tuple[ChangeAnswer, ...]:
    """No change is called clear where the rate itself changed at some other time."""
    if not scanned.told:
        return answers
    return tuple(
        _less_sure(one, scanned) if one.state == "clear" and not lies_near(one, scanned) else one
        for one in answers
    )


def _less_sure(one: ChangeAnswer, scanned: ScanAnswer) -> ChangeAnswer:
    counted, _, *more = one.sentences
    verdict = words.verdict("some_sign", one.found, one.adjusted_p, one.compared)
    elsewhere = words.scan_elsewhere(scanned.first, scanned.last)
    return replace(one, state="some_sign", sentences=(counted, verdict, *more, elsewhere))


def lies_near(change: ChangeAnswer, scanned: ScanAnswer) -> bool:
    margin = dt.timedelta(thresholds.SCAN_MARGIN_DAYS)
    return any(scanned.first - margin <= day <= scanned.last + margin for day in change.days)


def rivals(change: ChangeAnswer, answers, scanned: ScanAnswer) -> list[ChangeAnswer]:
    """Other changes of the same house so near that what is compared is half the same, without
    those that lie elsewhere than the time at which the rate itself changed, if this one does not.
    """
    placed = scanned.told and lies_near(change, scanned)
    return [
        one
        for one in answers
        if one.number != change.number
        and set(one.houses) & set(change.houses)
        and _days_apart(one, change) < thresholds.RIVAL_DAYS
        and not (placed and not lies_near(one, scanned))
    ]


def _days_apart(one: ChangeAnswer, other: ChangeAnswer) -> int:
    return min(abs((a - b).days) for a in one.days for b in other.days)


NOBODY = Refusal("no_residents", words.NOBODY_HOUSED)


def first_look(watch: Watch, birds: list[int]) -> int | None:
    looks = watch.records.looks
    days = looks.day[np.isin(looks.bird, birds)]
    return int(days.min()) if days.size else None


def unwatched(watch: Watch, event: Event, living: list[int]) -> Refusal:
    """Why there is no time to count: nobody looked twice at a foot while these birds lived there.

    Of a change before the first check nothing will ever tell how it was before.
    """
    reason = words.unwatched(len(living), first_look(watch, living), event.first)
    return Refusal("no_time", reason, {"birds": len(living)})


@dataclass(frozen=True)
class _Draft:
    """One change with its comparison, before those of the others are known."""

    watch: Watch
    event: Event
    others: tuple[Event, ...]
    today: int
    stretch: Stretch
    living: list[int]
    watched: bool
    chosen: np.ndarray
    compared: Comparison | None

    @classmethod
    def of(cls, watch: Watch, event: Event, groups: list[Event], today: int) -> _Draft:
        stretch = stretch_of(event, watch.records)
        living = residents(watch, event.houses, event.first)
        hers = touched(watch, event.houses, event.first)
        chosen = hers & within(watch, event, stretch)
        others = tuple(
            one
            for one in groups
            if one is not event
            and one.last > event.first - stretch.window
            and one.first < event.last + stretch.lag + stretch.window
        )
        compared = compare(watch, chosen, event.first) if living else None
        seen = bool(hers.any())
        return cls(watch, event, others, today, stretch, living, seen, chosen, compared)

    @cached_property
    def found(self) -> BeforeAfter | None:
        if not self.compared:
            return None
        found = before_after(self.compared, self.watch.numbers_of(self.chosen))
        if self.watched:
            return found
        return replace(found, refusal=unwatched(self.watch, self.event, self.living))

    def answer(self, number: int, p: float, compared: int) -> ChangeAnswer:
        records, event, stretch = self.watch.records, self.event, self.stretch
        beside = self._beside()
        state = self.compared.verdict(p) if self.compared else "refused"
        state = self._by_age(self._by_season(state, beside, compared), beside, compared)
        without, name = self._without_top()
        tells_more, again = self._tells_more(state), self._again(state)
        return ChangeAnswer(
            key=f"{records.houses[event.rows[0].house].key}-{event.first}",
            number=number,
            days=tuple(map(dt.date.fromordinal, event.days)),
            houses=tuple(records.houses[house].name for house in event.houses),
            house_key=records.houses[event.rows[0].house].key,
            what=tuple(dict.fromkeys(", ".join(row.changed) for row in event.rows)),
            kinds=tuple(dict.fromkeys(row.kind for row in event.rows)),
            window_days=stretch.window,
            lag_days=stretch.lag,
            chosen_on=stretch.chosen_on and dt.date.fromordinal(stretch.chosen_on),
            before_looking=stretch.before_looking,
            tried=stretch.tried,
            state=state,
            adjusted_p=p,
            compared=compared,
            found=self.found,
            beside=beside,
            without=without,
            without_name=name,
            sentences=self._sentences(state, p, compared, beside, without, name),
            else_changed=self._else_changed(),
            tells_more=tells_more,
            winter=self.winter,
            called=words.called([row.called or ", ".join(row.changed) for row in event.rows]),
            again=again,
            chance=self._chance(again),
            fresh=self._fresh(state, compared),
            doubts=self._doubts(state, beside, compared),
        )

    @property
    def ends(self) -> int:
        """The last day compared."""
        return self.event.last + self.stretch.lag + self.stretch.window

    def _again(self, state: str) -> dt.date | None:
        """When a halving would most likely show, at the latest when the days compared are over;
        None where they are, where what is missing lies before the change, and where a halving
        would most likely have shown by now. Before the year is over winter stands between."""
        if self.today >= self.ends or self.found is None:
            return None
        soonest = self.today + thresholds.SOONEST_AGAIN_DAYS
        first = first_look(self.watch, self.living)
        if first is not None and first > self.event.first:
            return None
        wait = math.inf
        if self.watched and self.outlook and state != "season":
            wait = 7 * self.outlook.weeks()
        if not wait and state in ("wide", "hint", "outnumbered"):
            return None
        last = int(self.watch.records.looks.day.max(initial=self.today))
        return dt.date.fromordinal(int(min(self.ends, max(soonest, last + wait))))

    def _chance(self, again: dt.date | None) -> float | None:
        """That a true halving is told by then; None where nobody can tell."""
        if again is None or not self.watched or not self.outlook:
            return None
        last = int(self.watch.records.looks.day.max())
        return self.outlook.chance(max(0, again.toordinal() - last))

    @cached_property
    def outlook(self) -> Outlook | None:
        """None without a case before the change: there is nothing that could have become less."""
        found = self.found
        cases = found.cases_before + found.straddling / 2
        if not cases or not found.days_before:
            return None
        return Outlook.of(
            self.watch,
            self.chosen,
            cases,
            found.days_before,
            found.days_after,
            found.birds_with_cases,
        )

    def _fresh(self, state: str, compared: int) -> bool:
        """Whether FRESH_DAYS ago nothing could be told of what can be told now."""
        since = self.today - thresholds.FRESH_DAYS
        if state not in TOLD or since > self.ends:
            return False
        known = self.chosen & (self.watch.pairs.right <= since)
        before = compare(self.watch, known, self.event.first)
        p = min(1.0, before.p * max(1, compared) * self.stretch.tried)
        return before.verdict(p) not in TOLD

    @cached_property
    def older(self) -> float:
        """Days that the birds were older after than before, on average; not-a-number for none."""
        left, right = self.watch.pairs.left[self.chosen], self.watch.pairs.right[self.chosen]
        middle, width = (left + right) / 2, right - left
        before = middle <= self.event.first
        if not before.any() or before.all():
            return math.nan
        sides = (np.average(middle[side], weights=width[side]) for side in (~before, before))
        return float(np.subtract(*sides))

    def _confirmed(self, beside: Beside | None, compared: int) -> bool:
        """Whether the birds of an unchanged house, who had the same seasons and grew as much
        older, show that it was more than that."""
        if not beside or not beside.against:
            return False
        p = min(1.0, beside.against_p * compared * self.stretch.tried)
        same_way = (beside.against.value - 1) * (self.found.ratio.value - 1) > 0
        return p <= limits.SIGN_LEVEL and same_way

    def _ageing(self, beside: Beside | None, compared: int) -> bool:
        """Whether birds that only grew older could have had so many more cases."""
        may_be = thresholds.AGEING_A_YEAR ** (self.older / YEAR)
        rose = self.found.ratio.value > 1 and self.found.ratio.low < may_be
        return rose and not self._confirmed(beside, compared)

    def _by_age(self, state: str, beside: Beside | None, compared: int) -> str:
        """A rise that ageing could explain is not clear."""
        return "some_sign" if state == "clear" and self._ageing(beside, compared) else state

    def _doubts(self, state: str, beside: Beside | None, compared: int) -> tuple[str, ...]:
        if state not in ("clear", "some_sign"):
            return ()
        confirmed, found = self._confirmed(beside, compared), []
        if beside and self._alike(beside.found):
            found.append(words.SAME_THERE)
        if self.winter and abs(self.winter[1] - self.winter[0]) > thresholds.OTHER_SEASON:
            found += [] if confirmed else [words.SEASON_MAY]
        found += [words.KEEPER_MAY] if self._other_eyes() else []
        found += [words.AGE_MAY] if self._ageing(beside, compared) else []
        return tuple(found)

    @cached_property
    def winter(self) -> tuple[float, float] | None:
        """Shares of the time watched before and after that lay in the winter half-year."""
        left, right = self.watch.pairs.left[self.chosen], self.watch.pairs.right[self.chosen]
        middle, width = (left + right) / 2, right - left
        before = middle <= self.event.first
        if not before.any() or before.all():
            return None
        winter = np.isin(months_of(middle), _WINTER)
        was, became = (np.average(winter[side], weights=width[side]) for side in (before, ~before))
        return float(was), float(became)

    def _by_season(self, state: str, beside: Beside | None, compared: int) -> str:
        """``season`` where before and after lie in other half-years, unless the birds beside, who
        had the same seasons, show the change to be more than that."""
        other = self.winter and abs(self.winter[1] - self.winter[0]) > thresholds.OTHER_HALF_YEAR
        if not other or state in ("refused", "wide"):
            return state
        if state in ("clear", "some_sign") and self._confirmed(beside, compared):
            return "some_sign"
        return "season"

    def _sentences(self, state, p, compared, beside, without, name) -> tuple[str, ...]:
        found = self.found
        if found is None:
            return (NOBODY.reason,)
        if not self.watched:
            return (found.refusal.reason,)
        said = [words.counted(found), words.verdict(state, found, p, compared, self.winter)]
        if self.stretch.tried > 1:
            said.append(words.several_tried(self.stretch.tried))
        if beside:
            said.append(beside.sentence)
        if without:
            said.append(words.without(name, without))
        return tuple(said)

    def _beside(self) -> Beside | None:
        records, event = self.watch.records, self.event
        clear = thresholds.BESIDE_CLEAR_DAYS
        disturbed = {
            row.house
            for row in records.changes
            if event.first - clear < row.day < event.last + clear
        }
        quiet = tuple(n for n in range(len(records.houses)) if n not in disturbed)
        living, same_days = (
            touched(self.watch, quiet, event.first),
            within(self.watch, event, self.stretch),
        )
        if not living.any():
            return None
        chosen = same_days & np.logical_or.reduce([self._untouched(house) for house in quiet])
        compared = compare(self.watch, chosen, event.first)
        ratio, p = None, math.nan
        # Where their days were cut short they did not have the same seasons.
        if self.compared and (chosen == (living & same_days)).all():
            found, p = against(self.compared, compared)
            ratio = None if found.refusal else Figure.of(found)
        found = before_after(compared, self.watch.numbers_of(chosen))
        present = {
            stay.house
            for stay in records.stays
            if stay.house in quiet and stay.since <= event.first < stay.until
        }
        names = tuple(records.houses[house].name for house in sorted(present))
        said = words.beside(names, found, self._alike(found))
        if ratio:
            said = f"{said} {words.against_unchanged(ratio, p)}"
        return Beside(names, found, said, ratio, p)

    def _untouched(self, house: int) -> np.ndarray:
        """The pairs of the birds that lived there then, between the changes of that house itself
        before and after this one."""
        event, pairs = self.event, self.watch.pairs
        days = [row.day for row in self.watch.records.changes if row.house == house]
        since = max((day for day in days if day <= event.first), default=-math.inf)
        until = min((day for day in days if day > event.first), default=math.inf)
        here = touched(self.watch, (house,), event.first)
        return here & (pairs.left >= since) & (pairs.right <= until)

    def _alike(self, beside: BeforeAfter) -> bool | None:
        """Whether it went the same way, surely, where nothing changed; None if none can tell."""
        own = self.found
        if beside.refusal or own is None or own.refusal:
            return None
        same_way = (beside.ratio.value - 1) * (own.ratio.value - 1) > 0
        return beside.p <= limits.SIGN_LEVEL and same_way

    def _without_top(self) -> tuple[BeforeAfter | None, str]:
        """The comparison without the bird that most cases came from, where that is a large part."""
        if self.found is None or self.found.refusal:
            return None, ""
        hers = np.bincount(self.watch.bird[self.chosen & self.watch.pairs.affected])
        top = int(hers.argmax())
        if hers[top] < 3 or hers[top] < 0.2 * hers.sum():
            return None, ""
        rest = self.chosen & (self.watch.bird != top)
        compared = compare(self.watch, rest, self.event.first)
        name = self.watch.records.birds[top].name
        return before_after(compared, self.watch.numbers_of(rest)), name

    def _else_changed(self) -> tuple[str, ...]:
        records = self.watch.records
        said = [
            words.other_change(
                list(dict.fromkeys(phrase for row in one.rows for phrase in row.changed)),
                [records.houses[house].name for house in one.houses],
                one.first,
            )
            for one in self.others
        ]
        said += self._else_happened()
        if self.found is None:
            return tuple(said)
        if not math.isnan(self.older):
            if self.winter and abs(self.winter[1] - self.winter[0]) > thresholds.OTHER_SEASON:
                said.append(words.other_season(*self.winter))
            said.append(words.older(self.older))
        said += self._other_eyes()
        return tuple(said)

    def _else_happened(self) -> list[str]:
        """Events there in the time compared that are not changes of their own, in one phrase."""
        event, stretch = self.event, self.stretch
        first, last = event.first - stretch.window, event.last + stretch.lag + stretch.window
        found: dict[str, list] = {}
        for one in self.watch.records.events:
            here = one.house is None or one.house in event.houses
            if here and not one.judged and one.day <= last and one.until >= first:
                found.setdefault(one.what, []).append(one)
        return [words.else_happened(found)] if found else []

    def _other_eyes(self) -> list[str]:
        """Whether others looked after the change than before it."""
        looks, event, stretch = self.watch.records.looks, self.event, self.stretch
        birds = np.unique(self.watch.bird[self.chosen])
        hers = np.isin(looks.bird, birds)
        before = hers & (looks.day <= event.first) & (looks.day >= event.first - stretch.window)
        resumes = event.last + stretch.lag
        after = hers & (looks.day > resumes) & (looks.day <= resumes + stretch.window)
        if not before.any() or not after.any():
            return []
        size = int(looks.keeper.max()) + 1
        shares = [
            np.bincount(looks.keeper[side], minlength=size) / side.sum() for side in (before, after)
        ]
        moved = np.abs(shares[1] - shares[0]).sum() / 2
        if moved <= thresholds.OTHER_KEEPER:
            return []
        return [words.other_keeper(moved)]

    def _tells_more(self, state: str) -> str:
        found = self.found
        if found is None:
            return words.RECORD_HOUSES
        if not self.watched:
            first = first_look(self.watch, self.living)
            late = first is not None and first > self.event.first
            return words.AFTER_THE_FACT if late else words.SECOND_CHECK
        if found.refusal and found.refusal.code in ("straddling", "too_few_checks"):
            return words.CHECK_AROUND
        if state == "season":
            return words.WHOLE_YEAR
        if state in ("clear", "some_sign", "similar"):
            return words.OTHER_HOUSE
        if self.outlook is None:
            return words.NO_CASE_BEFORE
        weeks = self.outlook.weeks()
        if weeks == 0:
            return words.TOLD_BY_NOW
        left = self.ends - int(self.watch.records.looks.day.max())
        if 7 * weeks <= left:
            return words.weeks_left(weeks)
        return words.chance_left(self.outlook.chance(max(0, left)), self.ends, over=left <= 0)


@dataclass(frozen=True)
class Outlook:
    """What waiting can tell of a halving, watched as at present.

    ``rate`` of new cases per foot-day before; ``gained``: foot-days watched per day, by the birds
    still here at the present share of days; ``together``: feet found sore at one check, which the
    comparison within birds cannot take apart. How birds differ does not count: each is compared
    with herself.
    """

    cases: float
    rate: float
    days_after: float
    gained: float
    together: float
    birds: int

    @classmethod
    def of(
        cls,
        watch: Watch,
        chosen: np.ndarray,
        cases: float,
        days_before: float,
        days_after: float,
        case_birds: int,
    ) -> Outlook:
        birds = np.unique(watch.bird[chosen])
        present = sum(watch.records.birds[bird].present for bird in birds.tolist())
        left, right = watch.pairs.left[chosen], watch.pairs.right[chosen]
        total = 2.0 * birds.size * (right.max() - left.min()) if right.size else 1.0
        share = float(watch.days[chosen].sum()) / total
        hit = chosen & watch.pairs.affected
        sore_at = np.column_stack((watch.bird[hit], watch.pairs.right[hit]))
        _, feet = np.unique(sore_at, axis=0, return_counts=True)
        return cls(
            cases=cases,
            rate=cases / days_before,
            days_after=days_after,
            gained=2 * present * min(1.0, share),
            together=float((feet**2).sum() / feet.sum()) if feet.size else 1.0,
            birds=max(case_birds, 2),
        )

    def weeks(self) -> float:
        """Until a halving would be told with the chance POWER; infinite for never."""
        days = days_to_wait(
            cases_before=self.cases,
            rate=self.rate,
            days_after=self.days_after,
            days_gained_per_day=self.gained,
            ratio=thresholds.SOUGHT_RATIO,
            power=thresholds.POWER,
            spread=self.together,
            birds=self.birds,
        )
        return days / 7

    def chance(self, days: float) -> float:
        """That a halving would be told after so many more days."""
        after = (self.days_after + days * self.gained) * self.rate * thresholds.SOUGHT_RATIO
        return chance_told(self.cases, after, thresholds.SOUGHT_RATIO, self.together, self.birds)
