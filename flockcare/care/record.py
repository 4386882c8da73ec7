"""The record of medicines: what was given to whom, by batch and amount, and when it ends."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, timedelta
from operator import attrgetter

from django.db.models import Q
from django.utils import timezone

from flockcare.care.holds import is_to_tell, last_day, product_of, told_elsewhere
from flockcare.care.models import MAY_WITHHOLD, WITHHOLDING, CareStep, MedicineGiven, StepKind

KEPT_YEARS = 5
# Read in its version of 1 October 2013; the five years in the guidance of English trading
# standards on keeping veterinary medicine records.
LAW = (
    "Great Britain: whoever keeps hens whose eggs people eat records the product, its batch, when "
    "it was bought, from whom and how much, when and how much was given to which birds, and the "
    "withdrawal period; keeps the proof of purchase; and keeps all of it for five years. A vet who "
    "gives a medicine enters it or hands it over in writing."
)
LAW_SOURCE = (
    "Veterinary Medicines Regulations, SI 2013/2033, part 3, regulations 17 to 19; the European "
    "Union asks much the same, Regulation (EU) 2019/6, article 108"
)


@dataclass
class Giving:
    """One medicine as it was given: to one bird, or to all of a house or the flock at once, all
    days of such a course in one. ``step``: its first giving. ``told``: a visit whose medicine has
    an entry of its own, which says the days that are blank here.
    """

    step: CareStep
    zone: object
    today: date
    told: bool = False
    steps: list[CareStep] = field(default_factory=list)

    @property
    def first(self) -> date:
        return timezone.localdate(self.step.at, self.zone)

    @property
    def last(self) -> date:
        given = [timezone.localdate(step.at, self.zone) for step in self.steps]
        return max(*given, self.step.given_until or self.first)

    @property
    def missed(self) -> list[date]:
        """Of a course that is ticked off day by day, the days before its last, or before ``today``,
        on which nobody did; none of one that was logged as a whole when it was over."""
        ticked = {timezone.localdate(step.at, self.zone) for step in self.steps}
        logged = timezone.localdate(self.step.logged_at, self.zone)
        until = self.step.given_until
        if not self.step.given_to or not until or logged > until:
            return []
        end = max(*ticked, min(until, self.today - timedelta(1)))
        days = (self.first + timedelta(number) for number in range((end - self.first).days + 1))
        return [day for day in days if day not in ticked]

    @property
    def birds(self) -> set[str]:
        return {step.bird.name for step in self.steps}

    @property
    def by(self) -> str:
        """Whoever gave it, each once."""
        return ", ".join(dict.fromkeys(step.by for step in reversed(self.steps) if step.by))

    @property
    def kind(self) -> str:
        if self.step.kind == StepKind.VET and self.step.medicine_given != MedicineGiven.YES:
            return "if any was given"
        return "vaccine" if self.step.kind == StepKind.VACCINE else ""

    @property
    def supply(self) -> str:
        """``Mill Lane Surgery, 12 Nov 2026, 100 ml``; empty where nothing of it is recorded."""
        step, on = self.step, self.step.supplied_on
        day = on and f"{on.day} {on:%b %Y}"
        return ", ".join(filter(None, (step.supplier, day, step.supplied_amount)))

    @property
    def whom(self) -> str:
        step = self.step
        if step.given_to:
            return f"{step.given_to}: {', '.join(sorted(self.birds, key=str.lower))}"
        return ", ".join(filter(None, (step.bird.name, step.foot and step.get_foot_display())))

    @property
    def product(self) -> str:
        return product_of(self.step)

    @property
    def quantity(self) -> str:
        step = self.step
        if step.quantity or step.amount is None:
            return step.quantity
        unit = step.item.unit if step.item else ""
        return f"{step.amount.normalize():f} {unit}".strip()

    @property
    def eggs(self) -> str:
        return self._end(self.step.egg_days)

    @property
    def meat(self) -> str:
        return self._end(self.step.meat_days)

    def _end(self, days: int | None) -> str:
        if days is None:
            return "see the medicine" if self.told else "not known"
        end = last_day(self.last, days)
        return f"{end.day} {end:%b %Y}" if end else "none"


def givings(steps: Iterable[CareStep], zone, today: date) -> list[Giving]:
    """In the order of ``steps``; what many birds got at once is one."""
    found: dict[tuple, Giving] = {}
    steps = list(steps)
    told = told_elsewhere(steps, zone)
    for step in steps:
        if not is_to_tell(step, told):
            continue
        # Each day of a course that many get names the same last day.
        course = step.given_until or step.at
        key = (step.given_to, step.kind, step.product, course) if step.given_to else step.pk
        giving = found.setdefault(key, Giving(step, zone, today, step.pk in told))
        giving.steps.append(step)
        giving.step = min(giving.step, step, key=attrgetter("at"))
    return list(found.values())


def medicines_given(flock, *, now) -> list[Giving]:
    """Of the last ``KEPT_YEARS`` years, the newest first; one query. Whatever may withhold eggs is
    among them, also where nobody knows whether one was given.
    """
    given = MAY_WITHHOLD | Q(kind__in=WITHHOLDING, no_medicine=False)
    given |= Q(kind=StepKind.VET, medicine_given=MedicineGiven.YES)
    since = now - timedelta(366 * KEPT_YEARS)
    steps = (
        CareStep.objects.filter(given, flock=flock, at__gte=since)
        .select_related("bird", "item", "keeper", "contact")
        .order_by("-at", "bird__name")
    )
    return givings(steps, flock.zone, timezone.localdate(now, flock.zone))
