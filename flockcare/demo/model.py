"""What happens at Thistle Yard: which feet get sore, who looks when, what is done. See README.md.

Everything is drawn from one seed. ``live`` gives the truth and the records made of it; numbers
that matter are named here, and the page beside this file says them in words.
"""

import bisect
import datetime as dt
import math
from dataclasses import dataclass, field, replace

import numpy as np

from flockcare.demo.cast import CART_SHED, HENS, ORCHARD, Hen

SEED = 12
YEARS = 3
FEET = ("left", "right")

# New sores per foot and day where the ground does nothing, and how landing adds to it.
EVERYDAY = 0.0006
SOFT_JOULES = 10.0
STONE_WET, STONE_DRY, KIND_GROUND = 1.0, 0.6, 0.05
WET_MONTHS = (10, 11, 12, 1, 2, 3)

DRAINED_MONTH, DRAINED_DAY = 10, 14
OFTEN_BEFORE_DRAINING = dt.timedelta(days=21)
SELDOM_DAYS, OFTEN_DAYS = 30, 5
LONG_GAPS = 2
LONG_GAP_DAYS = (75, 95)

SEVERE_SHARE = 0.3
HEALING_DAYS = {False: 36.0, True: 58.0}  # median, by severe
HEALING_SPREAD = 0.35
CARE_SHORTENS = 0.75


# No scab below this, and a swelling above that, mm².
SMALLEST_SCAB, SWELLS_MM2 = 4.0, 22.0


@dataclass
class Sore:
    """The truth about one stretch of trouble in one foot; ``end`` is the first day it is clear."""

    hen: Hen
    foot: str
    onset: dt.date
    end: dt.date
    severe: bool
    site: str
    peak_mm2: float
    seen: dt.date | None = None
    action: str = ""
    # What a scab measured at each look, mm; until when a vet's plan holds, and what the vet knew.
    widths: dict[dt.date, float] = field(default_factory=dict)
    vets_plan_until: dt.date | None = None
    vet_knows: set[str] = field(default_factory=set)

    def share(self, on: dt.date) -> float:
        """How far it has gone: 0 at the onset, 1 when healed."""
        return (on - self.onset).days / max(1, (self.end - self.onset).days)

    def area(self, on: dt.date) -> float:
        """Square millimetres: grows for a quarter of its time, then shrinks."""
        share = self.share(on)
        way = share / 0.25 if share < 0.25 else (1 - share) / 0.75
        return self.peak_mm2 * max(0.03, way**1.3)

    def width_mm(self, on: dt.date) -> float:
        """Of the scab, as somebody reads it off a ruler; 0 where there is none."""
        area = self.area(on)
        return max(1.0, round(4 * math.sqrt(area / math.pi)) / 2) if area >= SMALLEST_SCAB else 0.0

    def score(self, on: dt.date) -> int:
        return 2 if self.severe and 0.12 <= self.share(on) < 0.6 else 1


@dataclass(frozen=True)
class Look:
    hen: Hen
    on: dt.date
    at: dt.time
    keeper: str
    sores: dict[str, Sore]
    gait: int = 0


# Numbers of this story only. Real ones come from the vet or the label.
MEDICINE = "as on the vet’s label"
DAYS_WITHOUT = {"medicine": (14, 28, "vet")}


@dataclass(frozen=True)
class Step:
    hen: Hen
    on: dt.date
    at: dt.time
    foot: str
    kind: str
    keeper: str
    product: str = ""
    next_due: dt.date | None = None
    note: str = ""
    # Of a visit to the vet, or of a call when something new was seen since.
    plan_until: dt.date | None = None
    call: bool = False
    medicine: bool = False

    @property
    def days_without(self) -> tuple[int, int, str] | None:
        """Days without her eggs and meat and who said so: invented, as everything here."""
        return DAYS_WITHOUT.get(self.kind)


@dataclass
class History:
    """Three years up to ``today``: the truth (``sores``) and the records (the other lists)."""

    today: dt.date
    start: dt.date
    drained: dt.date
    often_from: dt.date
    moved: dt.date
    left: dict[str, tuple[dt.date, str, str]]
    sores: list[Sore] = field(default_factory=list)
    looks: list[Look] = field(default_factory=list)
    steps: list[Step] = field(default_factory=list)
    weighings: list[tuple[Hen, dt.date, int]] = field(default_factory=list)
    wetness: list[tuple[str, dt.date, str]] = field(default_factory=list)
    eggs: list[tuple[str, dt.date, int, str]] = field(default_factory=list)
    # (hen, kind, first day, day it was over)
    states: list[tuple[Hen, str, dt.date, dt.date]] = field(default_factory=list)

    def came(self, hen: Hen) -> dt.date:
        return self.start + dt.timedelta(days=hen.came or 0)

    def gone(self, hen: Hen) -> dt.date:
        """The first day on which she is not here."""
        return self.left[hen.name][0] if hen.name in self.left else self.today

    def is_here(self, hen: Hen, on: dt.date) -> bool:
        return self.came(hen) <= on < self.gone(hen)

    def house(self, hen: Hen, on: dt.date) -> str:
        return ORCHARD if hen.name == MOVES and on >= self.moved else hen.house


MOVES = "Lovage"
DIED, GIVEN_AWAY = "Marjoram", "Thyme"
# Sore today: under a vet's plan, waiting for a check, and found only last night.
IN_CARE, OVERDUE, FOUND = ("Saffron", "right"), ("Sorrel", "right"), ("Fennel", "left")
OPEN = (IN_CARE, OVERDUE, FOUND)


def live(today: dt.date, seed: int = SEED) -> History:
    history = _frame(today)
    for number, hen in enumerate(HENS):
        frailty = _random(seed, number).lognormal(-0.045, 0.3)
        for side, foot in enumerate(FEET):
            history.sores += _sores_of(history, hen, foot, frailty, _random(seed, number, side))
    _open_today(history, _random(seed, 100))
    rounds = _round_days(history, _random(seed, 101))
    for number, hen in enumerate(HENS):
        _watch(history, hen, rounds, _random(seed, number, 2))
        _weigh(history, hen, _random(seed, number, 3))
    _feel(history, rounds, _random(seed, 102))
    _rest(history, _random(seed, 103))
    _count_eggs(history, _random(seed, 104))
    return history


def _random(*key: int) -> np.random.Generator:
    """A stream of its own for each purpose: a demo made a day later tells nearly the same story."""
    return np.random.default_rng(key)


def _frame(today: dt.date) -> History:
    start = _years_before(today, YEARS)
    middle = start + (today - start) / 2
    octobers = [dt.date(year, DRAINED_MONTH, DRAINED_DAY) for year in range(start.year, today.year)]
    drained = min(octobers, key=lambda day: abs(day - middle))
    left = {
        DIED: (
            drained + dt.timedelta(days=75),
            "died",
            "Found dead on the roost in the morning. Opened by the vet: the heart; feet clear.",
        ),
        GIVEN_AWAY: (
            today - dt.timedelta(days=120),
            "given away",
            "To the school’s flock, with her record.",
        ),
    }
    return History(
        today=today,
        start=start,
        drained=drained,
        often_from=drained - OFTEN_BEFORE_DRAINING,
        moved=drained + dt.timedelta(days=250),
        left=left,
    )


def _years_before(day: dt.date, years: int) -> dt.date:
    try:
        return day.replace(year=day.year - years)
    except ValueError:  # 29 February
        return day.replace(year=day.year - years, day=28)


# --- The truth


def hazard(history: History, hen: Hen, on: dt.date) -> float:
    """New sores per foot and day of an ordinary hen of her weight on her roost."""
    ground = _ground(history, history.house(hen, on), on)
    return EVERYDAY * (1 + ground * (hen.energy / SOFT_JOULES) ** 2)


def _ground(history: History, house: str, on: dt.date) -> float:
    if house != CART_SHED or on >= history.drained:
        return KIND_GROUND
    return STONE_WET if on.month in WET_MONTHS else STONE_DRY


def _sores_of(history, hen, foot, frailty, random) -> list[Sore]:
    start, days = history.came(hen), (history.gone(hen) - history.came(hen)).days
    ready = frailty * hen.readiness(foot)
    daily = [
        ready * hazard(history, hen, start + dt.timedelta(days=day)) for day in range(max(days, 0))
    ]
    reached = np.cumsum(daily)
    sores, spent = [], 0.0
    while True:
        spent += random.exponential()
        day = int(np.searchsorted(reached, spent))
        if day >= len(reached):
            return sores
        sores.append(_sore(hen, foot, start + dt.timedelta(days=day), random))
        # No new sore in a foot that is sore: the clock stands still until it has healed.
        healed = min((sores[-1].end - start).days, len(reached) - 1)
        spent = reached[healed]


def _sore(hen, foot, onset, random) -> Sore:
    severe = bool(random.random() < SEVERE_SHARE)
    days = HEALING_DAYS[severe] * math.exp(random.normal(0, HEALING_SPREAD))
    sites = ("main", "toe III", "toe II")
    return Sore(
        hen=hen,
        foot=foot,
        onset=onset,
        end=onset + dt.timedelta(days=max(14, round(days))),
        severe=severe,
        site=str(random.choice(sites, p=(0.74, 0.16, 0.10))),
        peak_mm2=float((70 if severe else 28) * math.exp(random.normal(0, 0.3))),
    )


def _open_today(history: History, random) -> None:
    """Three sores that are open today, so that the demonstration has something to be done."""
    for (name, foot), days, lasts, severe, peak in (
        (IN_CARE, 26, 46, True, 78.0),
        (OVERDUE, 17, 50, False, 16.0),
        (FOUND, 8, 50, True, 66.0),
    ):
        hen = next(hen for hen in HENS if hen.name == name)
        onset = history.today - dt.timedelta(days=days)
        history.sores = [
            sore
            for sore in history.sores
            if (sore.hen, sore.foot) != (hen, foot) or sore.end < onset - dt.timedelta(days=30)
        ]
        sore = _sore(hen, foot, onset, random)
        sore.severe, sore.site, sore.peak_mm2 = severe, "main", peak
        sore.end = onset + dt.timedelta(days=lasts)
        history.sores.append(sore)


# --- The records

# The round that is still open: so long ago in the Cart Shed, so long ago in the Orchard House.
LAST_LOOK_DAYS = {CART_SHED: 15, ORCHARD: 9}
MISSED_SHARE = 0.04
KEEPERS, KEEPER_SHARES = ("Ros", "Ted", "Ines"), (0.5, 0.3, 0.2)
RECHECK_DAYS = 7
NEVER_WEIGHED = ("Caraway", "Cumin")


def _watch(history: History, hen: Hen, rounds: list[dt.date], random) -> None:
    """Her looks in time order, again in between while she is sore, and what is done at her feet."""
    last = history.today - dt.timedelta(days=LAST_LOOK_DAYS[history.house(hen, rounds[-1])])
    days = [day for day in rounds if random.random() > MISSED_SHARE]
    limped = [history.today - dt.timedelta(days=1)] if hen.name == FOUND[0] else []
    days = [day for day in (*days, last, *limped) if history.is_here(hen, day)]
    at = 0
    while at < len(days):
        again = _look(history, hen, days[at], random)
        near = any(abs((day - again).days) < 3 for day in days) if again else True
        if not near and history.is_here(hen, again):
            bisect.insort(days, again)
        at += 1


def _round_days(history: History, random) -> list[dt.date]:
    """The evenings on which somebody goes through all the hens, up to the open round."""
    last = history.today - dt.timedelta(days=max(LAST_LOOK_DAYS.values()) + 4)
    day = history.start + dt.timedelta(days=int(random.integers(2, 12)))
    seldom = (history.often_from - day).days // SELDOM_DAYS
    gaps = random.choice(np.arange(2, seldom - 3), size=LONG_GAPS, replace=False).tolist()
    days = []
    while day <= last:
        days.append(day)
        if day >= history.often_from:
            step = random.integers(OFTEN_DAYS - 2, OFTEN_DAYS + 3)
        elif len(days) in gaps:
            step = random.integers(*LONG_GAP_DAYS)
        else:
            step = random.integers(SELDOM_DAYS - 5, SELDOM_DAYS + 6)
        later = day + dt.timedelta(days=int(step))
        day = history.often_from if day < history.often_from < later else later
    return days


def _look(history: History, hen: Hen, on: dt.date, random) -> dt.date | None:
    """Record one look; the day on which somebody means to look again, if a foot is sore."""
    keeper = str(random.choice(KEEPERS, p=KEEPER_SHARES))
    at = dt.time(int(random.integers(16, 20)), int(random.integers(0, 60)))
    sores = {
        sore.foot: sore for sore in history.sores if sore.hen is hen and sore.onset <= on < sore.end
    }
    history.looks.append(Look(hen, on, at, keeper, sores, _gait(sores.values(), on)))
    for sore in sores.values():
        if sore.seen is None:
            sore.seen = on
            _begin_care(history, sore, on, keeper, random)
        signs = _urgent(sore, on, sores.values())
        if width := sore.width_mm(on):
            sore.widths[on] = width
        if signs - (sore.vet_knows if _is_planned(sore, on) else set()):
            _see_vet(history, sore, on + dt.timedelta(days=1), keeper)
            sore.vet_knows = signs
    return _next_look(history, hen, on, sores, random)


def _next_look(history, hen, on, sores, random) -> dt.date | None:
    if (hen.name, "right") == OVERDUE and on > history.today - dt.timedelta(days=15):
        return None
    often = on >= history.often_from
    if not sores or (not often and not any(sore.severe for sore in sores.values())):
        return None
    days = RECHECK_DAYS if often else int(random.integers(14, 21))
    again = on + dt.timedelta(days=days)
    return again if again < history.today else None


def _is_planned(sore: Sore, on: dt.date) -> bool:
    return bool(sore.vets_plan_until) and on <= sore.vets_plan_until


def _gait(sores, on: dt.date) -> int:
    """Who limps is seen by a vet, and limps no more."""
    return max(
        (
            2 if sore.score(on) == 2 else int(sore.severe and sore.area(on) > 40)
            for sore in sores
            if not _is_planned(sore, on)
        ),
        default=0,
    )


# At these the advice says "a vet within days" (care/rules), as far as they happen here.
LARGE_MM, GROWN_MM = 10.0, 1.5


def _urgent(sore: Sore, on: dt.date, sores) -> set[str]:
    width, signs = sore.width_mm(on), set()
    if sore.score(on) == 2:
        signs.add("swollen")
    if width >= LARGE_MM / (2 if "bantam" in sore.hen.breed else 1):
        signs.add("large")
    if len(sores) > 1 and any(one.score(on) == 2 or one.area(on) > SWELLS_MM2 for one in sores):
        signs.add("both feet")
    if sore.widths:
        first, last = min(sore.widths), sore.widths[max(sore.widths)]
        most = max(sore.widths.values())
        if width >= last + GROWN_MM:
            signs.add("growing")
        if (on - first).days >= 14 and width > 0.83 * most:
            signs.add("no smaller")
        if (on - first).days >= 28 and most >= 5 and width > 0.7 * most:
            signs.add("not half gone")
    return signs


# What is done at first sight, worse feet getting more: (share, treatment) by whether it is severe.
TREATMENTS = {
    False: ((0.5, "watched"), (0.4, "dressed"), (0.1, "lifted")),
    True: ((0.1, "watched"), (0.4, "dressed"), (0.2, "lifted"), (0.3, "vet")),
}
DRESSED_DAYS = 18


def _begin_care(history, sore: Sore, on: dt.date, keeper: str, random) -> None:
    shares, treatments = zip(*TREATMENTS[sore.severe], strict=True)
    is_open = (sore.hen.name, sore.foot) in (IN_CARE, FOUND) and sore.end > history.today
    sore.action = "dressed" if is_open else str(random.choice(treatments, p=shares))
    if sore.action == "lifted" and sore.score(on) == 2:
        sore.action = "dressed"  # What is swollen is the vet's to open.
    if sore.action != "watched" and not is_open:
        days = (sore.end - on).days * CARE_SHORTENS
        sore.end = on + dt.timedelta(days=max(2, round(days)))
    off = sore.end if is_open else min(sore.end, on + dt.timedelta(days=DRESSED_DAYS))
    times = iter(range(30, 60, 4))
    for day, kind, product, due, note in _treatments(history, sore, on, off):
        if day < min(history.today, history.gone(sore.hen)):
            at = dt.time(20, next(times)) if day == on else dt.time(18, 40)
            step = Step(sore.hen, day, at, sore.foot, kind, keeper, product, due, note)
            if kind == "vet":
                sore.vets_plan_until = on + dt.timedelta(days=PLAN_DAYS)
                step = replace(step, plan_until=sore.vets_plan_until, medicine=True)
            history.steps.append(step)


# As long as the advice waits for a sore to be half gone.
PLAN_DAYS = 28
MEDICINE_DAYS = 7  # of this story only


def _see_vet(history, sore: Sore, on: dt.date, keeper: str) -> None:
    """The day after the app said so. The plan holds for some weeks, and a new sign is a call."""
    if on >= min(history.today, history.gone(sore.hen)):
        return
    is_first = sore.vets_plan_until is None
    sore.vets_plan_until = on + dt.timedelta(days=PLAN_DAYS)
    medicine = is_first and (sore.hen.name, sore.foot) == IN_CARE and sore.end > history.today
    visit = Step(sore.hen, on, dt.time(11, 20), sore.foot, "vet", keeper)
    history.steps.append(
        replace(visit, plan_until=sore.vets_plan_until, medicine=medicine, call=not is_first)
    )
    for day in range(MEDICINE_DAYS if medicine else 0):
        at = dt.time(18, 50) if day else dt.time(11, 50)
        given = Step(sore.hen, on + dt.timedelta(day), at, sore.foot, "medicine", keeper, MEDICINE)
        if given.on < history.today:
            history.steps.append(given)


def _treatments(history, sore, on, off):
    """(day, kind, product, next due, note) of the steps that one sore gets."""
    if sore.action == "watched":
        yield on, "watched", "", on + dt.timedelta(days=RECHECK_DAYS), ""
        return
    if sore.action == "vet":
        yield on, "vet", "", None, "Rang; seen the same evening."
        yield on, "medicine", MEDICINE, None, "Dose and days are on the label."
    yield on, "soaked", "warm water", None, ""
    if sore.action == "lifted":
        yield on, "scab lifted", "", None, "Soft after the soak; came off by itself."
    yield on, "ointment", "wound salve, plain", None, ""
    one = dt.timedelta(days=1)
    day = on + one
    yield on, "dressing on", "gauze and wrap", day, ""
    while day < off:
        # As the page on dressing says: every day.
        yield day, "soaked", "warm water", None, ""
        yield day, "dressing changed", "gauze and wrap", day + one, ""
        day += one
    yield off, "dressing off", "", None, ""


# How it is underfoot in most weeks, by the ground: stone in winter, in summer, and what drains.
FELT = {
    STONE_WET: (("wet", "damp"), (0.85, 0.15)),
    STONE_DRY: (("dry", "damp", "wet"), (0.6, 0.3, 0.1)),
    KIND_GROUND: (("dry", "damp", "wet"), (0.55, 0.4, 0.05)),
}


def _feel(history: History, rounds: list[dt.date], random) -> None:
    """Somebody says how wet it is in each house, on a round and no more than once a week."""
    for house in (CART_SHED, ORCHARD):
        last = None
        for day in rounds:
            if last and (day - last).days < 7:
                continue
            levels, shares = FELT[_ground(history, house, day)]
            history.wetness.append((house, day, str(random.choice(levels, p=shares))))
            last = day


# Eggs of a hen on a day in her best months, by breed; in winter she lays so much less.
LAYS = {
    **{"Brown hybrid": 0.8, "Leghorn": 0.75, "Australorp": 0.65, "Rhode Island Red": 0.65},
    **{"Plymouth Rock": 0.6, "Sussex": 0.6, "Wyandotte": 0.55, "Ameraucana": 0.55},
    **{"Orpington": 0.5, "Jersey Giant": 0.45, "Brahma": 0.4, "Cochin": 0.35},
    **{"Silkie bantam": 0.35, "Sebright bantam": 0.3},
}
SHORTEST_DAY, WINTER_SHARE = 355, 0.45
COUNTED_DAYS = 400


def _rest(history: History, random) -> None:
    """Each autumn most hens moult; every spring the Silkie broods."""
    for year in range(history.start.year, history.today.year + 1):
        for hen in HENS:
            since = dt.date(year, 8, 25) + dt.timedelta(days=int(random.integers(0, 45)))
            until = since + dt.timedelta(days=int(random.integers(45, 65)))
            moults = random.random() < 0.7
            spells = [("moulting", since, until)] if moults else []
            if hen.breed == "Silkie bantam":
                broody = dt.date(year, 4, 20)
                spells.append(("broody", broody, broody + dt.timedelta(days=23)))
            for kind, first, last in spells:
                if history.is_here(hen, first) and last < min(history.today, history.gone(hen)):
                    history.states.append((hen, kind, first, last))


def _count_eggs(history: History, random) -> None:
    """Every evening of the last year and more, house by house; now and then nobody counts."""
    for ago in range(COUNTED_DAYS, 0, -1):
        day = history.today - dt.timedelta(days=ago)
        winter = 0.5 + 0.5 * math.cos((day.timetuple().tm_yday - SHORTEST_DAY) / 365.25 * math.tau)
        keeper = str(random.choice(KEEPERS, p=KEEPER_SHARES))
        for house in (CART_SHED, ORCHARD):
            laid = 0
            for hen in HENS:
                chance = LAYS[hen.breed] * (1 - (1 - WINTER_SHARE) * winter)
                rests = any(
                    one is hen and since <= day < until for one, _, since, until in history.states
                )
                lives = history.is_here(hen, day) and history.house(hen, day) == house
                laid += bool(random.random() < chance) and lives and not rests
            if random.random() > 0.05 or ago < 5:
                history.eggs.append((house, day, laid, keeper))


def _weigh(history: History, hen: Hen, random) -> None:
    if hen.name in NEVER_WEIGHED:
        return
    day = history.came(hen) + dt.timedelta(days=int(random.integers(3, 60)))
    while history.is_here(hen, day):
        months = hen.months_old + (day - history.came(hen)).days / 30.4
        grown = 1 - 0.5 * math.exp(-months / 4)
        grams = hen.grams * grown * (1 + random.normal(0, 0.025))
        history.weighings.append((hen, day, round(grams / 10) * 10))
        day += dt.timedelta(days=int(random.integers(80, 130)))
