"""For how long a bird's eggs and meat are not eaten, from the days that keepers entered.

The days come from the vet or the label; this module adds them to a date and nothing more. Days
that nobody entered are *unknown*, which withdraws them as well until somebody enters them, and is
never read as none.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Container, Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from uuid import UUID

from django.db.models import Exists, OuterRef, Q
from django.utils import timezone

from flockcare.birds.models import Bird, Sex
from flockcare.care.models import (
    MAY_WITHHOLD,
    MOST_DAYS,
    CarePlan,
    CareStep,
    MedicineGiven,
    StepKind,
)
from flockcare.drawing.dates import short_words, up_to_words

# A course of a year and a year's days after it: nothing older can still hold.
LONGEST = timedelta(days=2 * MOST_DAYS + 2)
# From when on after its last giving care of which nobody knows the days may be marked as long past:
# twelve weeks, far beyond the 14 days and the one and a half times that the United Kingdom asks for
# (SI 2013/2033, schedule 4). Our choice, no published source.
LONG_PAST_DAYS = 84
# After how many days Today asks for days that nobody entered (our choice).
ASK_AFTER = timedelta(days=7)
LOGGED_WITHIN = timedelta(days=3)
UNTIL_KNOWN = "until the withdrawal days are known"


def last_day(given: date, days: int) -> date | None:
    """The last day held when the last giving was on ``given``; None for no days at all.

    A day is counted in full after the day of the giving, so that the time of day never shortens it.
    """
    return given + timedelta(days) if days else None


@dataclass
class Hold:
    """What holds one bird's eggs and meat: the last held day of each, and what nobody knows. Of a
    cock meat alone: there are no eggs to withhold.

    ``to_ask``: the products of which nobody has entered the days for a while.
    """

    bird: Bird
    today: date
    since: date | None = None
    eggs_until: date | None = None
    meat_until: date | None = None
    eggs_unknown: list[CareStep] = field(default_factory=list)
    meat_unknown: list[CareStep] = field(default_factory=list)
    steps: list[CareStep] = field(default_factory=list)
    to_ask: set[str] = field(default_factory=set)

    def add(self, step: CareStep, zone, *, told: bool = False) -> None:
        """Take in one giving; of several the latest end counts.

        ``told``: it has an entry of its own, which says the days that are blank here.
        """
        if not step.withholds:
            return
        given = step.at.astimezone(zone).date()
        last = max(given, step.given_until or given)
        for what, days in self._of(step):
            if days is None and told:
                continue
            if days is None:
                getattr(self, f"{what}_unknown").append(step)
                if last + ASK_AFTER <= self.today:
                    self.to_ask.add(product_of(step))
                continue
            ends = last_day(last, days)
            if ends and ends >= self.today:
                until = getattr(self, f"{what}_until")
                setattr(self, f"{what}_until", max(ends, until or ends))
                self.since = min(given, self.since or given)
        self.steps.append(step)

    def add_course(self, plan: CarePlan) -> None:
        """While a course runs its days are counted from its last day: between two givings too."""
        end = plan.until or self.today
        for what, days in self._of(plan):
            if ends := last_day(end, days or 0):
                until = getattr(self, f"{what}_until")
                setattr(self, f"{what}_until", max(ends, until or ends))
                self.since = min(plan.since, self.since or plan.since)

    def _of(self, given: CareStep | CarePlan) -> list[tuple[str, int | None]]:
        """Of what this bird has, the days for which it is not eaten."""
        meat = [("meat", given.meat_days)]
        return meat if self.bird.sex == Sex.COCK else [("eggs", given.egg_days), *meat]

    @property
    def eggs(self) -> bool:
        return bool(self.eggs_until or self.eggs_unknown)

    @property
    def meat(self) -> bool:
        return bool(self.meat_until or self.meat_unknown)

    @property
    def active(self) -> bool:
        return self.eggs or self.meat

    @property
    def words(self) -> str:
        """``egg withdrawal: don’t eat her eggs up to and including 3 Dec; meat withdrawal: …``."""
        eggs = self._end(self.eggs_until, self.eggs_unknown)
        meat = self._end(self.meat_until, self.meat_unknown)
        her = self.bird.pronouns.possessive
        if eggs == meat:
            return f"egg and meat withdrawal: don’t eat {her} eggs or {her} meat {eggs}"
        elif eggs and self.eggs_unknown and self.meat_unknown:
            # What is known of one of them, or of each, is the least: nobody knows the rest.
            least = ", ".join(
                f"{what} at least to {short_words(until, self.today)}"
                for what, until in (("eggs", self.eggs_until), ("meat", self.meat_until))
                if until
            )
            both = f"don’t eat {her} eggs or {her} meat {UNTIL_KNOWN}"
            return f"egg and meat withdrawal: {both} ({least})"
        each = (("egg", f"{her} eggs", eggs), ("meat", f"{her} meat", meat))
        told = [f"{what} withdrawal: don’t eat {whose} {end}" for what, whose, end in each if end]
        return "; ".join(told)

    def _end(self, until: date | None, unknown: list) -> str:
        known = until and up_to_words(until, self.today)
        return ", and then ".join(filter(None, (known, unknown and UNTIL_KNOWN)))

    @property
    def unknown_products(self) -> list[str]:
        return sorted({product_of(step) for step in (*self.eggs_unknown, *self.meat_unknown)})


def product_of(step: CareStep) -> str:
    if step.product:
        return step.product
    return "a medicine from the vet" if step.kind == StepKind.VET else step.get_kind_display()


def told_elsewhere(steps: Iterable[CareStep], zone) -> set[UUID]:
    """The keys of visits whose medicine has an entry of its own, so that the two are one giving.

    That is a medicine logged for her on the day of the visit or in the ``LOGGED_WITHIN`` after, of
    the same name where the visit names one. ``steps``: with those medicines, however long ago, also
    where they are marked as long past.
    """
    steps = list(steps)
    given = defaultdict(list)
    for step in steps:
        if step.kind == StepKind.MEDICINE:
            given[step.bird_id].append((timezone.localdate(step.at, zone), _named(step)))

    def is_told(visit):
        on = timezone.localdate(visit.at, zone)
        return any(
            on <= day <= on + LOGGED_WITHIN and _named(visit) in ("", name)
            for day, name in given[visit.bird_id]
        )

    return {
        step.pk
        for step in steps
        if step.kind == StepKind.VET and step.medicine_given == MedicineGiven.YES and is_told(step)
    }


def is_to_tell(step: CareStep, told: Container[UUID]) -> bool:
    """Whether it is to be told as a giving: a visit that is ``told_elsewhere`` only where it has
    days of its own, which count as well."""
    return step.pk not in told or bool(step.egg_days or step.meat_days)


def _named(step: CareStep) -> str:
    return step.product.strip().casefold()


def holds_from(
    steps: Iterable[CareStep], *, today: date, zone, courses: Iterable[CarePlan] = ()
) -> list[Hold]:
    """The holds that are on, by bird, the longest first; those nobody knows come before all.

    ``courses``: plans that run.
    """
    holds: dict[UUID, Hold] = {}
    steps = list(steps)
    told = told_elsewhere(steps, zone)
    steps = [step for step in steps if step.withholds and is_to_tell(step, told)]
    for step in steps:
        hold = holds.setdefault(step.bird_id, Hold(step.bird, today))
        hold.add(step, zone, told=step.pk in told)
    for plan in courses:
        if any(_is_of(step, plan, zone) for step in steps):
            holds[plan.bird_id].add_course(plan)
    active = [hold for hold in holds.values() if hold.active]
    return sorted(active, key=_urgency)


def _is_of(step: CareStep, plan: CarePlan, zone) -> bool:
    same = (step.bird_id, step.foot) == (plan.bird_id, plan.foot) and step.kind in plan.kinds
    return same and step.at.astimezone(zone).date() >= plan.since


def _urgency(hold: Hold):
    until = hold.eggs_until or hold.meat_until or date.min
    return not hold.eggs_unknown, not hold.eggs, -until.toordinal(), hold.bird.name.lower()


def open_holds(flock, *, now: datetime, **narrowed) -> list[Hold]:
    """Of all birds, also of those that left: their eggs and meat may be eaten elsewhere."""
    today = timezone.localdate(now, flock.zone)
    steps = list(withholding_steps(flock, now=now).filter(**narrowed).select_related("bird"))
    return holds_from(steps, today=today, zone=flock.zone, courses=_running(steps, flock, today))


def _running(steps: list[CareStep], flock, today: date) -> list[CarePlan]:
    """The plans by which these may have been given and are to be given again; one query at most."""
    if not steps:
        return []
    birds = {step.bird_id for step in steps}
    live = CarePlan.objects.filter(flock=flock, bird__in=birds, since__lte=today).live(today)
    live = live.filter(Q(until=None) | Q(until__gte=today))
    return [plan for plan in live if plan.withholds]


def withholding_steps(flock, *, now: datetime):
    """The givings that can still withdraw something: what nobody knows does so until it is. With
    the medicines that may be those of such a visit, as ``told_elsewhere`` wants them.
    """
    since = now - LONGEST
    lately = Q(at__gte=since) | Q(given_until__gte=since.date())
    unknown = Q(egg_days=None) | Q(meat_days=None)
    # A day more on either side: the flock's own days decide.
    around = OuterRef("at") - LOGGED_WITHIN - timedelta(2), OuterRef("at") + timedelta(2)
    of_her = CareStep.objects.filter(kind=StepKind.VET, bird=OuterRef("bird"), at__range=around)
    visits = of_her.filter(unknown, medicine_given=MedicineGiven.YES)
    of_visit = Q(Exists(visits), kind=StepKind.MEDICINE)
    return CareStep.objects.filter(MAY_WITHHOLD & (lately | unknown) | of_visit, flock=flock)


def still_runs(step: CareStep, *, today: date, zone) -> str:
    """What withholds eggs or meat after this giving, in words, were it not marked as long past.

    Empty where nothing does: all its days are over, or nobody knows them and it is long ago.
    """
    hold = Hold(step.bird, today)
    past, step.past = step.past, False
    hold.add(step, zone)
    step.past = past
    last = max(step.at.astimezone(zone).date(), step.given_until or date.min)
    if last + timedelta(LONG_PAST_DAYS) < today:
        hold.eggs_unknown, hold.meat_unknown = [], []
    return hold.words if hold.active else ""


@dataclass
class UnknownProduct:
    """A product whose days nobody entered, with the givings and birds that hang on it."""

    name: str
    steps: list[CareStep]

    @property
    def birds(self) -> list[str]:
        return sorted({step.bird.name for step in self.steps})

    @property
    def last_given(self) -> datetime:
        return max(step.at for step in self.steps)


def unknown_products(holds: Iterable[Hold]) -> list[UnknownProduct]:
    by_product = defaultdict(dict)
    for hold in holds:
        for step in (*hold.eggs_unknown, *hold.meat_unknown):
            by_product[product_of(step)][step.pk] = step
    return [
        UnknownProduct(name, list(steps.values())) for name, steps in sorted(by_product.items())
    ]
