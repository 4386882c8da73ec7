"""How a bird stands: what is the matter, since when, whether it gets better, what comes next.

A pure function of her records up to the end of a day: no queries, no clock. Pages, the calendar and
``manage.py today`` all show this one answer. All days are those of the flock's time zone.

How long a sign holds that later checks do not mention:

- a sign of a foot, as long as the case in which it was seen goes on;
- a sign of the bird for 14 days (``SIGNS_STAND``, our choice), and as long as no check later than
  that was made while a case is open, since time alone makes no bird well.

A later answer ends either at once. A check that did not ask changes neither the sign nor its day.
What nobody has looked at for weeks (``feet.due.LONG_LATE``) is still shown, with its day, but asks
for a check and for no vet.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from enum import StrEnum
from uuid import UUID

from flockcare.care import sizes
from flockcare.care.due import DRESSING, LOOK
from flockcare.care.rules import Advice, Answer, Rule, Situation, advise
from flockcare.care.rules.answer import is_known_to_vet
from flockcare.care.rules.signs import BANTAM_G, LIMPS_TOO_LONG_DAYS, OTHERS_NEW
from flockcare.care.rules.table import EVERY_DAY
from flockcare.care.sizes import READING_ERROR_MM, Size
from flockcare.feet.cases import Case
from flockcare.feet.due import is_long_late
from flockcare.feet.models import SIGN_WORDS, Swelling
from flockcare.feet.scales import AFFECTED_FROM, CLINICAL_GRADE, LESION

SIGNS_STAND = timedelta(days=14)
YEAR = timedelta(days=365)
FOUR_WEEKS, A_MONTH = timedelta(days=28), timedelta(days=31)
FEET = ("left", "right")
AREA, WIDTH, SCORE = "mm²", "mm", "score"


# --- What is recorded


@dataclass(frozen=True, slots=True)
class FootSeen:
    """What a check saw of one foot; empty or None: not checked."""

    score: int
    swelling: str = ""
    scab: str = ""
    scab_mm: float | None = None
    hot: bool | None = None
    oozing: bool | None = None
    cold_or_dark: bool | None = None
    bleeding: bool | None = None
    constricted: bool | None = None
    plug_or_hole: bool | None = None
    joint_swollen: bool | None = None
    bone_or_joint: bool | None = None
    raised_scales: bool | None = None
    clinical_grade: int | None = None

    @property
    def affected(self) -> bool:
        return self.score >= AFFECTED_FROM


@dataclass(frozen=True, slots=True)
class Look:
    """One check: ``signs`` of the bird by their field (empty or None: not checked); her feet."""

    key: UUID
    at: datetime
    on: date
    by: str
    signs: Mapping[str, object]
    feet: Mapping[str, FootSeen]
    time_known: bool = True


@dataclass(frozen=True, slots=True)
class Outline:
    """The size of a sore in a photo. ``error``: its 95 % bound, in mm² as the area. ``at``: None
    where the time of the day is not known."""

    foot: str
    on: date
    area: float
    error: float
    at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Asked:
    """What the newest step of a line asks for, or a plan. ``line``: see ``care.due``; ``what``: in
    words.

    ``foot`` "": of the whole bird. ``who``, ``who_key``: whoever said that they will do it, or
    whose turn it is. ``why``: what changed the day of a plan. ``dresses``: it looks after a
    dressing. ``terms``: of a plan, what it asks for and from when until when; ``keepers_since``:
    the first day of one that keepers made by themselves.
    """

    step: UUID | None
    foot: str
    line: str
    what: str
    done_on: date | None
    on: date
    who: str = ""
    who_key: int | None = None
    plan: UUID | None = None
    why: str = ""
    dresses: bool = False
    terms: tuple[str, ...] = ()
    keepers_since: date | None = None


@dataclass(frozen=True, slots=True)
class FootLast:
    """The newest finding on a foot."""

    score: int
    on: date
    by: str = ""
    check: UUID | None = None


@dataclass(frozen=True, slots=True)
class Eggs:
    """``state``: free, withdrawn or not known (which withholds). ``until``: the last such day.

    ``words``: of both eggs and meat; ``products``: those whose days nobody knows, ``to_ask``: for
    a while already; see ``care.holds``.
    """

    state: str = "free"
    until: date | None = None
    meat: str = "free"
    meat_until: date | None = None
    products: tuple[str, ...] = ()
    words: str = ""
    to_ask: tuple[str, ...] = ()

    @property
    def known_until(self) -> date | None:
        """The last day on which no egg of hers is eaten; None where nobody knows it, or none is."""
        return self.until if self.state == "withdrawn" else None


@dataclass(frozen=True, slots=True)
class State:
    """What is so with her for a time, such as ``moulting``; ``until``: the day it is over."""

    pk: UUID
    kind: str
    words: str
    since: date
    until: date | None = None

    def get_kind_display(self) -> str:
        return self.words


@dataclass(frozen=True, slots=True)
class VetPlan:
    """What a vet said on that day of a foot, and the last day on which it holds.

    ``words``: empty where nobody wrote a plan down. ``step``: the visit, or the call. ``at``: None
    where its time is not known. ``open_ended``: nobody named the last day. ``new``: the urgent
    signs that have come since, where they broke it. ``said``: what it came to, in few words.
    """

    on: date
    until: date
    words: str = ""
    step: UUID | None = None
    open_ended: bool = False
    at: datetime | None = None
    by_vet: bool = True
    new: tuple[str, ...] = ()
    said: str = ""

    @property
    def answers(self) -> bool:
        """Whether it stands in for the advice: only what a vet planned and somebody wrote down."""
        return bool(self.words) and self.by_vet

    def knew(self, on: date, at: datetime | None) -> bool:
        """Whether something seen then was known at the visit; of the same day, only by the time."""
        if on != self.on:
            return on < self.on
        return at is not None and self.at is not None and at <= self.at


@dataclass(frozen=True)
class Records:
    """Of one bird, up to the day on which she is to be seen.

    ``looks``: the newest first, from 14 days before her oldest open case on, and without one the
    last weeks. ``cases``: all of hers. ``last``: of each foot that was ever checked.
    ``looked_at``: when a foot was last seen with a step of care (watched, its dressing changed).
    ``weights``: day and grams, the oldest first. ``plans``: of a vet, by foot. ``calls``: when a
    vet was last asked about a foot, in the last four weeks, whether it left a plan or not; not of a
    plan that has run out. ``new_since``: when her quarantine began, also where it is over.
    ``bantam``: by her breed or what was entered of her; a weighing says more.
    """

    looks: Sequence[Look] = ()
    last: Mapping[str, FootLast] = field(default_factory=dict)
    last_check: date | None = None
    cases: Sequence[Case] = ()
    outlines: Sequence[Outline] = ()
    asked: Sequence[Asked] = ()
    looked_at: Mapping[str, date] = field(default_factory=dict)
    weights: Sequence[tuple[date, int]] = ()
    eggs: Eggs = Eggs()
    plans: Mapping[str, VetPlan] = field(default_factory=dict)
    calls: Mapping[str, VetPlan] = field(default_factory=dict)
    states: Sequence[State] = ()
    age_days: int | None = None
    new_since: date | None = None
    bantam: bool = False


@dataclass(frozen=True, slots=True)
class Rounds:
    """The flock's own days between checks: of clear birds, and of those with a sore foot.

    ``new_bird_days``: after a new bird came, those on which her feet are checked besides.
    """

    clear_days: int
    sore_days: int
    new_bird_days: tuple[int, ...] = ()


# --- How she stands


class Course(StrEnum):
    BETTER = "better"
    SAME = "same"
    WORSE = "worse"
    NOT_KNOWN = "not known"


@dataclass(frozen=True, slots=True)
class Trend:
    """Whether a case gets better, by all readings of its ``unit``: mm², mm (scab) or score.

    Not known of one that was seen long ago. ``against``: what the last reading is compared with,
    the peak or where worse the lowest since.
    """

    course: Course = Course.NOT_KNOWN
    unit: str = ""
    first: Size | None = None
    peak: Size | None = None
    last: Size | None = None
    against: Size | None = None


@dataclass(frozen=True, slots=True)
class Sign:
    """A sign that holds now, with the day and the observer of the check that said it last."""

    name: str
    value: object
    words: str
    on: date
    by: str
    check: UUID | None


@dataclass(frozen=True, slots=True)
class Due:
    """What is due, such as ``check`` or ``dressing``. ``step`` or ``plan``: that asks for it, else
    the advice or the flock's own days do. ``why``: what changed the day, in words. ``terms``: of
    a plan, as ``keepers_since``, see ``Asked``. ``alone``: of a check, that the other foot is not
    due yet; ``checked``: when this foot was checked last."""

    what: str
    on: date
    who: str = ""
    who_key: int | None = None
    step: UUID | None = None
    line: str = ""
    foot: str = ""
    plan: UUID | None = None
    why: str = ""
    terms: tuple[str, ...] = ()
    keepers_since: date | None = None
    alone: bool = False
    checked: date | None = None


@dataclass(frozen=True, slots=True)
class FootStanding:
    """``advice`` and ``because``: of this foot alone; None and empty where nothing is on it.

    ``signs``: what it shows besides its score. ``older``: those of them that led to the advice and
    that its newest check (``checked``, ``by``) did not say.
    ``first_check``: with which its case began; a clear foot has none. ``check``: the newest.
    """

    foot: str
    state: str
    score: int | None = None
    checked: date | None = None
    by: str = ""
    since: date | None = None
    last_clear: date | None = None
    first_check: UUID | None = None
    check: UUID | None = None
    days: int | None = None
    trend: Trend = Trend()
    areas: tuple[Size, Size, Size] | None = None
    advice: Advice | None = None
    because: tuple[str, ...] = ()
    look_again_days: int | None = None
    due: tuple[Due, ...] = ()
    signs: tuple[Sign, ...] = ()
    older: tuple[Sign, ...] = ()
    situation: Situation = field(default_factory=Situation)

    @property
    def is_case(self) -> bool:
        return self.state == CASE

    @property
    def words(self) -> str:
        return f"{self.foot} foot"

    @property
    def answer(self) -> Answer:
        """The advice of this foot alone, with the rules that led there."""
        return of_foot(self.situation, advise(self.situation))

    @property
    def scored_signs(self) -> list[Sign]:
        """Its score, then what it shows besides."""
        if not self.checked or self.score is None:
            return list(self.signs)
        words = LESION.step(self.score).short.lower()
        return [Sign("score", self.score, words, self.checked, self.by, None), *self.signs]


CLEAR, CASE, NEVER = "clear", "case", "never checked"


@dataclass(frozen=True, slots=True)
class Standing:
    """``because``: signs of the bird herself that lead to her ``advice``, if they do; those of her
    feet stand with each foot. ``due``: of the whole bird; ``all_due``: with that of her feet, each
    thing once and the earliest first. ``plans``: of a vet, while they hold and
    no sign is new since; ``broken``: where one is. ``asked``: visits and calls of the last weeks
    that left no such plan, so that the advice stands. ``rung``: that at which a vet was asked about
    all that is urgent now, no longer ago than she may wait to be seen; None: a vet is to be rung.
    """

    today: date
    advice: Advice
    because: tuple[str, ...]
    bird_advice: Advice | None
    signs: tuple[Sign, ...]
    feet: Mapping[str, FootStanding]
    eggs: Eggs
    due: tuple[Due, ...] = ()
    all_due: tuple[Due, ...] = ()
    last_check: date | None = None
    plans: tuple[VetPlan, ...] = ()
    asked: tuple[VetPlan, ...] = ()
    rung: VetPlan | None = None
    broken: tuple[VetPlan, ...] = ()
    states: Sequence[State] = ()
    round_on: date | None = None
    # A sign is also one of diseases that must be reported.
    notifiable: bool = False
    # Of a bird that was never checked: how many others got a sore foot lately, if several did.
    others_new: int = 0

    @property
    def urgent(self) -> bool:
        """Whether a vet is to see her today or within days."""
        return self.advice.is_urgent

    @property
    def of_care(self) -> bool:
        """Whether there is more to say of her than that her clear feet are checked now and then,
        and whether her eggs are eaten, which is said of all birds at once."""
        care = any(due.what != CHECK for due in self.all_due)
        return bool(self.concerns or self.signs or self.plans or care)

    @property
    def in_quarantine(self) -> bool:
        return any(state.kind == "quarantine" for state in self.states)

    @property
    def both_clear(self) -> bool:
        return all(foot.state == CLEAR for foot in self.feet.values())

    @property
    def first_due(self) -> date:
        return self.all_due[0].on

    @property
    def check_due(self) -> Due:
        return next(due for due in self.all_due if due.what == CHECK)

    @property
    def in_round(self) -> bool:
        """Whether the flock's own days ask for a check by now."""
        return self.round_on is None or self.round_on <= self.today

    @property
    def cases(self) -> list[FootStanding]:
        return [foot for foot in self.feet.values() if foot.is_case]

    @property
    def concerns(self) -> list[FootStanding]:
        """Her sore feet, and a foot that was scored clear but shows a sign."""
        return [foot for foot in self.feet.values() if foot.advice is not None]


CHECK = "check"


# --- Working it out


def standing_of(
    records: Records, *, today: date, rounds: Rounds, others_new: int | None = None
) -> Standing:
    """``others_new``: how many other birds got a sore foot in the last 14 days.

    Of a bird that was never checked nothing follows from them but that she is to be checked.
    """
    check_first = records.last_check is None and (others_new or 0) >= OTHERS_NEW
    current = _current(records)
    signs = signs_of(records.looks, today=today, in_case=bool(current))
    situations = _situations(records, signs, today, None if check_first else others_new)
    answers = {foot: advise(situation) for foot, situation in situations.items()}
    new = {
        foot: _new_signs(foot, records, answers[foot], situations[foot], plan)
        for foot, plan in records.plans.items()
        if plan.answers and plan.until >= today
    }
    plans = _plans_that_hold(records.plans, new, answers)
    broken = _broken_plans(records.plans, new, answers)
    for foot in plans:
        situations[foot] = replace(
            situations[foot],
            under_vet_plan=True,
            larger_since_visit=_larger_since(foot, records, current.get(foot), plans[foot], today),
        )
        answers[foot] = advise(situations[foot])
    feet = {
        foot: _foot(foot, records, current.get(foot), answers[foot], situations[foot], today)
        for foot in FEET
    }
    of_bird = counted(answers.values(), "bird", under_plan=bool(plans))
    bird_advice = strongest(rule.advice for rule in of_bird) if of_bird else None
    feet = _with_checks(feet, records, rounds, today, _bird_again(feet, of_bird, bird_advice))
    all_clear = all(foot.state == CLEAR for foot in feet.values())
    levels = [foot.advice for foot in feet.values() if foot.advice is not None]
    signs_shown, concern = shown_signs(signs), bool(levels)
    levels += [Advice.LEAVE if all_clear else Advice.LOOK] if not levels else []
    levels += [bird_advice] if of_bird else []
    advice = strongest(levels)
    return Standing(
        today=today,
        advice=advice,
        because=tuple(rule.sign for rule in of_bird if rule.advice is bird_advice),
        bird_advice=bird_advice,
        signs=signs_shown,
        feet=feet,
        eggs=records.eggs,
        due=(due := tuple(_due(asked) for asked in records.asked if not asked.foot)),
        all_due=_each_once((*due, *(one for foot in feet.values() for one in foot.due))),
        last_check=records.last_check,
        plans=tuple(dict.fromkeys(plans.values())),
        asked=_asked_lately(records, plans.values(), new, today) if concern or signs_shown else (),
        rung=_rung(records, answers, situations, plans, of_bird, advice, today),
        broken=broken,
        states=tuple(records.states),
        round_on=_usual(records, rounds),
        notifiable=any(answer.notifiable for answer in answers.values()),
        others_new=others_new if check_first else 0,
    )


def _current(records: Records) -> dict[str, Case]:
    return {case.foot: case for case in records.cases if case.current}


def _situations(
    records: Records, signs: Mapping[str, Sign], today: date, others_new: int | None = None
) -> dict[str, Situation]:
    current = _current(records)
    if records.last_check and is_long_late(records.last_check, today):
        signs = {}
    return {
        foot: situation_of(
            foot, records, signs, current.get(foot), today=today, others_new=others_new
        )
        for foot in FEET
    }


def _plans_that_hold(
    plans: Mapping[str, VetPlan], new: Mapping[str, set[str]], answers: Mapping[str, Answer]
) -> dict[str, VetPlan]:
    """By foot: those that have not run out, unless an urgent sign has come since on what they are
    about. ``new``: what ``_new_signs`` says of each that has not run out.

    Where a vet is wanted today or within days, a plan of which nobody named the last day does not
    stand in for that: it may be no more than what was said on the telephone. Our choice, no
    published source.
    """
    broken = {
        plan
        for foot, plan in plans.items()
        if foot not in new or new[foot] or (plan.open_ended and _urgent(answers[foot]))
    }
    return {foot: plan for foot, plan in plans.items() if plan not in broken}


def _broken_plans(
    plans: Mapping[str, VetPlan], new: Mapping[str, set[str]], answers: Mapping[str, Answer]
) -> tuple[VetPlan, ...]:
    """Those that have not run out, with the urgent signs that have come since; not that of a vet
    who has been asked again since.
    """
    last = max((plan.on for plan in plans.values()), default=None)
    found: dict[VetPlan, dict[str, str]] = {}
    for foot, keys in new.items():
        if plans[foot].on == last:
            rules = (*answers[foot].because, *answers[foot].also)
            signs = found.setdefault(plans[foot], {})
            signs |= {rule.key: rule.sign for rule in rules if rule.key in keys}
    return tuple(replace(plan, new=tuple(signs.values())) for plan, signs in found.items() if signs)


def _asked_lately(
    records: Records, held: Iterable[VetPlan], new: Mapping[str, set[str]], today: date
) -> tuple[VetPlan, ...]:
    """The newest first: calls, and plans that do not stand in for the advice, but for those that a
    new sign broke."""
    told = {plan.step for plan in held} | {records.plans[foot].step for foot in new if new[foot]}
    left = {one.step: one for one in (*records.calls.values(), *records.plans.values())}
    left = {step: one for step, one in left.items() if step not in told and one.until >= today}
    asked = [replace(one, words="") for one in left.values()]
    return tuple(sorted(asked, key=lambda one: one.on, reverse=True))


def _rung(
    records: Records,
    answers: Mapping[str, Answer],
    situations: Mapping[str, Situation],
    plans: Mapping[str, VetPlan],
    of_bird: Iterable[Rule],
    advice: Advice,
    today: date,
) -> VetPlan | None:
    """``plans``: those that hold, by foot. See ``Standing.rung``."""
    lately = timedelta(advice.seen_within_days)
    calls = {foot: call for foot, call in records.calls.items() if today - call.on <= lately}
    if not advice.is_urgent or not calls:
        return None
    wanted = {("", rule.key) for rule in of_bird if rule.advice.is_urgent}
    told = set()
    for foot, answer in answers.items():
        rules = counted([answer], "foot", under_plan=foot in plans)
        wanted |= {(foot, rule.key) for rule in rules if rule.advice.is_urgent}
        if foot in calls:
            new = _new_signs(foot, records, answer, situations[foot], calls[foot])
            known = _urgent(answer) - new
            told |= {(of, key) for key in known for of in (foot, "")}
    return max(calls.values(), key=lambda call: call.on) if wanted <= told else None


def _new_signs(
    foot: str, records: Records, answer: Answer, now: Situation, plan: VetPlan
) -> set[str]:
    """The urgent rules that hold ``now``, and neither held for what that visit knew nor would have
    held for it, had each of its signs been as mild as it is now.
    """
    case = _current(records).get(foot)
    then = _as_of(records, plan)
    if case and foot not in _current(then):
        return _urgent(answer)  # Another case than the vet saw, whatever the foot showed then.
    signs = signs_of(then.looks, today=plan.on, in_case=bool(then.cases))
    known = _situations(then, signs, plan.on)[foot]
    milder = replace(_as_mild_as(now, known), days_limping=_known_limp(records, now, known, plan))
    return _urgent(answer) - _urgent(advise(known)) - _urgent(advise(milder))


_SWELLINGS = ("none", "moderate", "from above")


def _as_mild_as(now: Situation, known: Situation) -> Situation:
    """What was ``known``, each sign that has degrees in the milder of the two."""
    both = {
        name: min(getattr(known, name), getattr(now, name))
        for name in ("score", "other_score", "gait", "grade")
        if getattr(known, name) is not None and getattr(now, name) is not None
    }
    if known.swelling in _SWELLINGS and now.swelling in _SWELLINGS:
        both["swelling"] = min(known.swelling, now.swelling, key=_SWELLINGS.index)
    return replace(known, **both)


def _known_limp(records: Records, now: Situation, known: Situation, plan: VetPlan) -> int | None:
    """For how many days she has limped, of a limp that the visit knew: while it gets better, and
    until a check some days after the visit sees it as it was.
    """
    asked = next((look.on for look in records.looks if look.signs.get("gait") is not None), plan.on)
    long_since = (asked - plan.on).days >= LIMPS_TOO_LONG_DAYS
    if not known.gait or now.gait is None or now.gait > known.gait:
        return known.days_limping
    return known.days_limping if now.gait == known.gait and long_since else now.days_limping


def _urgent(answer: Answer) -> set[str]:
    return {rule.key for rule in (*answer.because, *answer.also) if rule.advice.is_urgent}


def _larger_since(
    foot: str, records: Records, case: Case | None, plan: VetPlan, today: date
) -> bool | None:
    """Whether the last reading is larger than that which the visit knew, by more than both errors.

    None where one of the two is missing, for each way of measuring.
    """
    then = _as_of(records, plan)
    if not case or foot not in _current(then):
        return None
    before = {one[0].unit: one[0] for one in sizes.series(sizes_of(foot, then, case, today))}
    pairs = [
        (one[0], before[one[0].unit])
        for one in sizes.series(sizes_of(foot, records, case, today))
        if one[0].unit in before
    ]
    return any(sizes.beyond_error(now, was) for now, was in pairs) if pairs else None


def _as_of(records: Records, plan: VetPlan) -> Records:
    """What was known of her at that visit, as far as the advice goes."""
    looks = [
        look for look in records.looks if plan.knew(look.on, look.at if look.time_known else None)
    ]
    keys = {look.key for look in looks}
    last = {}
    for look in reversed(looks):
        for foot, seen in look.feet.items():
            before = last.get(foot)
            # Clear on the same day as sore gives way to it, as in the cases.
            if not (before and before.on == look.on and before.score > seen.score == 0):
                last[foot] = FootLast(seen.score, look.on)
    return replace(
        records,
        looks=looks,
        last=last,
        cases=[case for case in records.cases if case.current and case.first.check_id in keys],
        outlines=[one for one in records.outlines if plan.knew(one.on, one.at)],
        # A weighing has no time of day; that of the visit is one of the vet's.
        weights=[one for one in records.weights if one[0] <= plan.on],
    )


def counted(answers: Iterable[Answer], of: str, *, under_plan: bool) -> list[Rule]:
    """The rules of these answers that speak of the bird herself or of a foot, each once, but for
    what a vet knows already whose plan holds.
    """
    found = {rule.key: rule for one in answers for rule in (*one.because, *one.also)}
    return [
        rule
        for rule in found.values()
        if rule.of == of and not (under_plan and is_known_to_vet(rule))
    ]


def strongest(levels: Iterable[Advice]) -> Advice:
    """Where something is to be checked again, nothing is left alone."""
    levels = set(levels)
    if Advice.LOOK in levels:
        levels.discard(Advice.LEAVE)
    return max(levels, default=Advice.LOOK)


def of_foot(situation: Situation, answer: Answer) -> Answer:
    """The answer without the signs of the bird herself, which have a place of their own."""
    rules = counted([answer], "foot", under_plan=bool(situation.under_vet_plan))
    advice = strongest(rule.advice for rule in rules)
    because = tuple(rule for rule in rules if rule.advice is advice)
    there = (*answer.because, *answer.also)
    also = tuple(rule for rule in there if rule.of == "foot" and rule not in because)
    return replace(answer, advice=advice, because=because, also=also)


# --- Signs

GAITS = {
    1: "limps slightly",
    2: "limps",
    3: "obviously lame",
    4: "severely lame",
    5: "cannot walk",
}
# A sign of the bird by its field: the values that stand out, in words.
WORDS: dict[str, Mapping[object, str]] = {
    "gait": GAITS,
    "manner": {"dull": "dull"},
    "eating": {"no": "not eating"},
    "droppings": {"odd": "abnormal droppings"},
    "belly": {"swollen": "swollen belly"},
    "body_condition": {0: "very thin"},
    "comb": {"pale": "pale comb", "purple": "purple comb"},
}
LIMPS_ON = {"left": " on the left", "right": " on the right", "both": " on both"}


def signs_of(looks: Sequence[Look], *, today: date, in_case: bool) -> dict[str, Sign]:
    """The newest word about each sign that still holds, also where all is well, by its field."""
    found: dict[str, Sign] = {}
    for look in looks:
        if looks[0].on - look.on > SIGNS_STAND:
            break
        if today - look.on > SIGNS_STAND and not in_case:
            break
        for name, words in WORDS.items():
            value = look.signs.get(name)
            if name not in found and value not in ("", None):
                said = words.get(value, "")
                if said and name == "gait":
                    said += LIMPS_ON.get(look.signs.get("limps_on"), "")
                found[name] = Sign(name, value, said, look.on, look.by, look.key)
    return found


def shown_signs(signs: Mapping[str, Sign]) -> tuple[Sign, ...]:
    return tuple(sign for sign in signs.values() if sign.words)


def days_limping(looks: Sequence[Look], today: date) -> int | None:
    """Since the first of the checks in a row that saw her limp; those that did not ask are none."""
    since = None
    for look in looks:
        gait = look.signs.get("gait")
        if gait is None:
            continue
        if not gait:
            break
        since = look.on
    return (today - since).days if since else None


# --- One foot


def situation_of(
    foot: str,
    records: Records,
    signs: Mapping[str, Sign],
    case: Case | None,
    *,
    today: date,
    others_new: int | None = None,
) -> Situation:
    """What the rules of advice want to know of one foot and its bird: nothing of a sore foot that
    nobody has looked at for weeks, but that.
    """
    last = records.last.get(foot)
    other_foot = "right" if foot == "left" else "left"
    other = records.last.get(other_foot)
    long_ago = case is not None and _seen_long_ago(foot, records, today)
    if long_ago:
        case, last = None, None
    if other and other.score >= AFFECTED_FROM and _seen_long_ago(other_foot, records, today):
        other = None

    def value(name):
        return signs[name].value if name in signs else None

    return Situation(
        score=last.score if last else None,
        other_score=other.score if other else None,
        **signs_in(value),
        moulting=_holds(records.states, "moulting"),
        broody=_holds(records.states, "broody"),
        days_limping=days_limping(records.looks, today) if value("gait") else None,
        days_affected=(today - case.episode.first_affected).days if case else None,
        cases_in_foot_12_months=None if long_ago else _cases_in_a_year(foot, records.cases, today),
        others_new_14_days=others_new,
        weight_g=records.weights[-1][1] if records.weights else _usual_weight(records),
        weight_change_28_days=weight_change(records.weights, today),
        age_days=records.age_days,
        **({} if long_ago else foot_signs(foot, records.looks, case)),
        sizes=sizes_of(foot, records, case, today) if case else (),
        seen_long_ago=long_ago,
    )


def _seen_long_ago(foot: str, records: Records, today: date) -> bool:
    """Whether neither a check nor care nor a measured photo tells of a foot any more."""
    days = [one.on for one in records.outlines if one.foot == foot]
    days += [records.looked_at[foot]] if foot in records.looked_at else []
    return is_long_late(max([records.last[foot].on, *days]), today)


def _usual_weight(records: Records) -> float | None:
    """Of a bird that was never weighed: as much as a bantam weighs at most, where she is one."""
    return BANTAM_G if records.bantam else None


def signs_in(value) -> dict[str, object]:
    """The signs of a bird as the rules name them; ``value`` gives what a check says, or None."""
    return {
        "gait": value("gait"),
        "bright": _is(value("manner"), "bright"),
        "eating": _is(value("eating"), "yes"),
        "belly_swollen": _is(value("belly"), "swollen"),
        "droppings_normal": _is(value("droppings"), "normal"),
        "body_condition": value("body_condition"),
        "comb": value("comb"),
    }


def _cases_in_a_year(foot: str, cases: Iterable[Case], today: date) -> int:
    """Those that went on within the last twelve months, the one that is open now too."""
    since = today - YEAR
    return sum(case.foot == foot and case.episode.last_affected >= since for case in cases)


def weight_change(weights: Sequence[tuple[date, int]], today: date) -> float | None:
    """From the heaviest weighing of the four weeks before the last one to that, as a fraction.

    None where she was not weighed in the last four weeks, or not before that. The earlier one may
    be as old as the last month is long, for who weighs on the first of each.
    """
    if not weights or today - weights[-1][0] > FOUR_WEEKS:
        return None
    last_on, last = weights[-1]
    before = [grams for on, grams in weights[:-1] if last_on - on <= A_MONTH]
    return last / max(before) - 1 if before else None


def _holds(states: Iterable[State], kind: str) -> bool | None:
    """What nobody recorded is not known."""
    return True if any(state.kind == kind for state in states) else None


def _is(value, wanted) -> bool | None:
    return None if value is None else value == wanted


_TOLD = (
    *("hot", "oozing", "cold_or_dark", "bleeding", "constricted", "plug_or_hole"),
    *("joint_swollen", "bone_or_joint", "raised_scales"),
)
_OF_FOOT = ("swelling", "scab", *_TOLD)


def foot_signs(foot: str, looks: Sequence[Look], case: Case | None) -> dict[str, object]:
    """The newest answer about each sign of a foot within its case, else None.

    A foot that is clear is one without these signs, unless the same check says otherwise.
    """
    hers = [look.feet[foot] for look in looks if foot in look.feet]
    if not hers:
        return {}
    if case is None:
        clear = {"swelling": "none", "scab": "none", **dict.fromkeys(_TOLD, False)}
        said = {name: getattr(hers[0], name) for name in _OF_FOOT}
        found = {name: said[name] or clear[name] for name in _OF_FOOT}
        return {**found, "grade": hers[0].clinical_grade}
    of_case = [look.feet[foot] for look in looks if foot in look.feet and look.on >= case.first.on]
    of_case = [seen for seen in of_case if seen.affected]
    found = {name: _newest(of_case, name) for name in _OF_FOOT}
    if found["swelling"] == "from above" and of_case[0].score < 2:
        # Score 1 says that it cannot be seen from above any more, and not how much is left.
        found["swelling"] = None
    return {**found, "grade": _newest(of_case, "clinical_grade")}


def seen_of_foot(foot: str, looks: Sequence[Look], case: Case | None) -> tuple[Sign, ...]:
    """What ``foot_signs`` found there, each with the newest check that said it."""
    found, told = [], foot_signs(foot, looks, case)
    for name in (*_OF_FOOT, "clinical_grade"):
        value = told.get(_FIELDS.get(name, name))
        if value in (None, "", "none", False):
            continue
        seen = next(
            look for look in looks if foot in look.feet and getattr(look.feet[foot], name) == value
        )
        found.append(Sign(name, value, _foot_words(name, value), seen.on, seen.by, seen.key))
    return tuple(found)


def _foot_words(name: str, value) -> str:
    if name == "swelling":
        return f"swelling {Swelling(value).label}"
    if name == "scab":
        return f"{value} scab"
    if name == "clinical_grade":
        return f"clinical grade {CLINICAL_GRADE.step(value).short}"
    return SIGN_WORDS[name]


# Where the rules have another name for a sign than a check.
_FIELDS = {
    **{"manner": "bright", "belly": "belly_swollen", "droppings": "droppings_normal"},
    "clinical_grade": "grade",
}


def seen_for(rule: Rule, foot: FootStanding, hers: Iterable[Sign]) -> tuple[Sign, ...]:
    """The signs without which the rule would not hold of this foot, else one that is enough for it.

    ``hers``: those of the bird. Empty where it rests on what was measured or on time alone.
    """
    signs = [*foot.scored_signs, *hers]
    needed = tuple(sign for sign in signs if not _holds_with(rule, foot.situation, sign, None))
    return needed or enough_for(rule, signs)[:1]


def enough_for(rule: Rule, signs: Iterable[Sign]) -> tuple[Sign, ...]:
    """Those of the signs that the rule would hold with if nothing else were known."""
    return tuple(sign for sign in signs if _holds_with(rule, Situation(), sign, sign.value))


def _holds_with(rule: Rule, situation: Situation, sign: Sign, value) -> bool:
    name = _FIELDS.get(sign.name, sign.name)
    if value is not None and sign.name in WORDS:
        value = signs_in({sign.name: value}.get)[name]
    told = {name: value}
    if sign.name == "gait":
        told["days_limping"] = None  # Known by the same checks.
    return rule.holds(replace(situation, **told)) is True


def _older(rules: Iterable[Rule], foot: FootStanding) -> tuple[Sign, ...]:
    signs = {sign.name: sign for rule in rules for sign in seen_for(rule, foot, ())}
    said = (foot.checked, foot.by)
    return tuple(sign for sign in signs.values() if (sign.on, sign.by) != said)


def _shows_a_sign(situation: Situation) -> bool:
    """Of a foot that was scored clear: whether something else was seen on it."""
    told = (getattr(situation, name) for name in _OF_FOOT)
    return any(sign not in ("", "none", False, None) for sign in told) or bool(situation.grade)


def _newest(seen: Iterable[FootSeen], name: str):
    answers = (getattr(one, name) for one in seen)
    return next((answer for answer in answers if answer not in ("", None)), None)


def sizes_of(foot: str, records: Records, case: Case, today: date) -> tuple[Size, ...]:
    """What was measured of this case: outlines in photos, the largest of a day, and scab widths."""
    clear = case.episode.last_clear_before
    since = clear + timedelta(1) if clear else case.episode.first_affected
    outlines: dict[date, tuple[float, float]] = {}
    for one in records.outlines:
        if one.foot == foot and one.on >= since:
            outlines[one.on] = max(outlines.get(one.on, (0.0, 0.0)), (one.area, one.error))
    widths = {
        look.on: (look.feet[foot].scab_mm, READING_ERROR_MM)
        for look in reversed(records.looks)
        if look.on >= since and foot in look.feet and look.feet[foot].scab_mm
    }
    return tuple(
        Size(*size, unit, (today - on).days)
        for unit, measured in ((AREA, outlines), (WIDTH, widths))
        for on, size in sorted(measured.items())
    )


def trend_of(measured: Sequence[Size], scores: Sequence[Size]) -> Trend:
    """By all areas of the case, else by widths of the scab, else by the scores.

    Where one way of measuring says worse, that is the answer: it is what the advice rests on too.
    """
    known = [_trend(one) for one in reversed(sizes.series(measured)) if len(one) > 1]
    worse = [one for one in known if one.course is Course.WORSE]
    if worse or known:
        return (worse or known)[0]
    return _trend(tuple(scores)) if len(scores) > 1 else Trend()


def _trend(readings: tuple[Size, ...]) -> Trend:
    """``readings`` of one unit, the newest first."""
    course, against = Course.SAME, sizes.peak(readings)
    if sizes.is_worse(readings):
        course, against = Course.WORSE, sizes.lowest_since_peak(readings)
    elif sizes.is_better(readings):
        course = Course.BETTER
    peak = sizes.peak(readings)
    return Trend(course, readings[0].unit, readings[-1], peak, readings[0], against)


def _scores(foot: str, looks: Sequence[Look], case: Case, today: date) -> list[Size]:
    return [
        Size(look.feet[foot].score, 0.0, SCORE, (today - look.on).days)
        for look in looks
        if foot in look.feet and look.on >= case.first.on and look.feet[foot].affected
    ]


def _foot(
    foot: str,
    records: Records,
    case: Case | None,
    answer: Answer,
    situation: Situation,
    today: date,
) -> FootStanding:
    last = records.last.get(foot)
    if last is None:
        return FootStanding(foot, NEVER, situation=situation)
    own = of_foot(situation, answer)
    signs = seen_of_foot(foot, records.looks, case)
    if case is None:
        shows = _shows_a_sign(situation)
        return FootStanding(
            foot,
            CLEAR,
            last.score,
            last.on,
            last.by,
            last_clear=last.on,
            check=last.check,
            advice=own.advice if shows else None,
            because=tuple(rule.sign for rule in own.because) if shows else (),
            look_again_days=_look_again_days(situation, own) if shows else None,
            signs=signs,
            situation=situation,
        )
    # The rules are told of none that were measured long ago; they are shown all the same.
    long_ago = situation.seen_long_ago
    measured = sizes_of(foot, records, case, today) if long_ago else situation.sizes
    areas = [size for size in measured if size.unit == AREA]
    found = FootStanding(
        foot,
        CASE,
        last.score,
        last.on,
        last.by,
        since=case.episode.first_affected,
        last_clear=case.episode.last_clear_before,
        first_check=case.first.check_id,
        check=last.check,
        days=(today - case.episode.first_affected).days,
        trend=Trend()
        if long_ago
        else trend_of(measured, _scores(foot, records.looks, case, today)),
        areas=(areas[0], sizes.peak(areas), areas[-1]) if areas else None,
        advice=own.advice,
        because=tuple(rule.sign for rule in own.because),
        look_again_days=_look_again_days(situation, own),
        signs=signs,
        situation=situation,
    )
    return replace(found, older=_older(own.because, found))


def _look_again_days(situation: Situation, own: Answer) -> int | None:
    """As the rules say; at once where too little is known of a foot and no vet has planned for it.

    ``own``: of this foot alone. Common practice, no published source.
    """
    if own.advice is Advice.LOOK and not situation.under_vet_plan:
        return own.look_again_days or EVERY_DAY
    return own.look_again_days


# --- What is due


def _due(asked: Asked) -> Due:
    by = asked.who, asked.who_key
    of = asked.step, asked.line, asked.foot, asked.plan, asked.why, asked.terms
    return Due(asked.what, asked.on, *by, *of, asked.keepers_since)


def _usual(records: Records, rounds: Rounds) -> date | None:
    """When the flock's own days ask for the next check; None: she was never checked."""
    if records.last_check is None:
        return None
    days = [_by_flock(records.last_check, records, rounds)]
    if records.new_since:
        asked = (records.new_since + timedelta(number) for number in rounds.new_bird_days)
        days += [day for day in asked if day > records.last_check]
    return min(days)


def _by_flock(checked: date, records: Records, rounds: Rounds) -> date:
    """When the flock asks again for what was checked that day: the days of birds with a sore foot
    count from the day on which the sore was found, at the earliest."""
    clear = checked + timedelta(rounds.clear_days)
    if not (current := _current(records)):
        return clear
    found = min(case.first.on for case in current.values())
    return min(clear, max(checked, found) + timedelta(rounds.sore_days))


def _each_once(dues: Iterable[Due]) -> tuple[Due, ...]:
    """One check covers both feet; of two days the earlier counts."""
    found: dict[tuple, Due] = {}
    for due in dues:
        key = (due.what, None if due.what == CHECK else due.step or due.plan)
        if key not in found or (due.on, not due.who) < (found[key].on, not found[key].who):
            found[key] = due
    return tuple(sorted(found.values(), key=lambda due: (due.on, due.what)))


def _bird_again(
    feet: Mapping[str, FootStanding], of_bird: Iterable[Rule], bird_advice: Advice | None
) -> int | None:
    """Days until a bird for a vet, or one whose own signs ask for it, is checked again."""
    if Advice.NOW in (bird_advice, *(foot.advice for foot in feet.values())):
        return EVERY_DAY
    if bird_advice is Advice.SOON:
        return EVERY_DAY
    return min((rule.look_again_days for rule in of_bird if rule.look_again_days), default=None)


def _seen_at_a_dressing(foot: FootStanding, hers: Iterable[Asked], by: date) -> bool:
    """Whether a change of its dressing shows the foot by that day, so that no check is due besides.

    A wrap that is only felt shows nothing of the sore. Under a vet's plan the vet has said how
    often it is opened.
    """
    if foot.situation.under_vet_plan:
        return any(asked.line == DRESSING or asked.dresses for asked in hers)
    return any(asked.dresses and asked.on <= by for asked in hers)


def _with_checks(
    feet: Mapping[str, FootStanding],
    records: Records,
    rounds: Rounds,
    today: date,
    bird_again: int | None,
) -> dict[str, FootStanding]:
    """Each foot with what is due of it: each thing once, on the earliest day that is asked for.

    A check is asked for by the flock's own days, by the advice, and by a step that left the foot to
    be watched. The days of a foot that the last check left out count from when it was checked; one
    that never was is due today.
    """
    usual = _usual(records, rounds) or today
    if bird_again and records.last_check:
        usual = min(usual, records.last_check + timedelta(bird_again))
    checks, others = {}, {}
    for name, foot in feet.items():
        hers = [asked for asked in records.asked if asked.foot == name]
        watch = next((asked for asked in hers if asked.line == LOOK), None)
        days = [usual, _by_flock(foot.checked, records, rounds) if foot.checked else today]
        again = foot.look_again_days
        if again and not watch:
            seen = max(foot.checked, records.looked_at.get(name, foot.checked))
            if not _seen_at_a_dressing(foot, hers, wanted := seen + timedelta(again)):
                days.append(wanted)
        if watch:
            days.append(watch.on)
        checks[name] = Due(CHECK, min(days), line=LOOK, foot=name, checked=foot.checked)
        if watch:
            by = {"who": watch.who, "who_key": watch.who_key, "step": watch.step}
            checks[name] = replace(checks[name], **by)
        others[name] = [_due(asked) for asked in hers if asked.line != LOOK]
    if sum(check.on <= today for check in checks.values()) == 1:
        checks = {name: replace(due, alone=due.on <= today) for name, due in checks.items()}
    return {
        name: replace(
            foot, due=tuple(sorted((checks[name], *others[name]), key=lambda due: due.on))
        )
        for name, foot in feet.items()
    }
