"""How a bird stands as the templates show it: one row or head a bird, in the words of all pages."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property
from uuid import UUID

from flockcare.birds.models import Bird, Sex
from flockcare.care import standing_words as words
from flockcare.care.due import DRESSING, LOOK
from flockcare.care.holds import UNTIL_KNOWN
from flockcare.care.models import StepKind
from flockcare.care.notifiable import several_ill
from flockcare.care.parts import Given
from flockcare.care.rules import Advice
from flockcare.care.rules.table import VETS_PLAN
from flockcare.care.situation import FlockStanding
from flockcare.care.standing import CHECK, Due, FootStanding, Standing, VetPlan
from flockcare.drawing.dates import short_words


@dataclass(frozen=True)
class Tapped:
    """The step or the plan that a button is about."""

    pk: UUID
    bird: Bird
    words: str


@dataclass(frozen=True)
class DueLine:
    due: Due
    what: str
    words: str
    when: str
    is_due: bool
    late: bool
    step: Tapped | None

    @property
    def is_check(self) -> bool:
        return self.due.what == CHECK

    @property
    def is_watch(self) -> bool:
        """A foot that was left to be watched, which can be logged without a check."""
        return bool(self.step) and self.due.line == LOOK

    @property
    def is_plan(self) -> bool:
        return bool(self.due.plan)

    @property
    def is_visit(self) -> bool:
        return self.due.line == StepKind.VET

    @property
    def is_dressing(self) -> bool:
        return self.due.line == DRESSING


@dataclass(frozen=True)
class FootLine:
    standing: FootStanding
    words: str
    brief: str
    course: str
    mark: str
    older: str


def foot_line(foot: FootStanding, today: date) -> FootLine:
    return FootLine(
        foot,
        words.foot_words(foot, today),
        words.foot_words(foot, today, brief=True),
        words.course_words(foot.trend, today),
        words.MARKS[foot.trend.course],
        words.signs_words(foot.older, today),
    )


@dataclass(frozen=True)
class Row:
    """``done``: what was done for her today, the newest first, where the page shows it with her."""

    bird: Bird
    standing: Standing
    done: tuple[Given, ...] = ()

    @property
    def level(self) -> Advice:
        return self.standing.advice

    @property
    def plans(self) -> list[tuple[VetPlan, str]]:
        """Of a vet, while they hold or a new sign broke them; and where one left none."""
        hers = self.standing
        every = (*hers.plans, *hers.broken, *hers.asked)
        return [(plan, words.plan_words(plan, hers.today)) for plan in every]

    @property
    def plan_in_row(self) -> bool:
        """Whether the level names a vet's plan and what it asks for is due, so that the row says
        both without its words."""
        return not self.level.is_urgent and any(line.is_plan for line in self.due)

    @property
    def reasons_in_row(self) -> str:
        """Empty where the foot's score and course, which stand below, say enough."""
        return self.reasons if self.level not in (Advice.LEAVE, Advice.HOME) else ""

    @property
    def has_level(self) -> bool:
        """With clear feet and no sign there is nothing to monitor, whatever she is given."""
        hers = self.standing
        of_her = hers.concerns or hers.signs or hers.plans
        return bool(of_her) or hers.advice is not Advice.LEAVE

    @property
    def badge(self) -> str:
        return words.level_words(self.standing)

    @property
    def bird_badge(self) -> str:
        """Of the bird without her feet, to stand within a line."""
        hers = self.standing
        return words.within(words.level_words(replace(hers, advice=hers.bird_advice)))

    @property
    def calls_vet(self) -> bool:
        """Whether the vet's number stands beside how she stands."""
        return self.level.is_for_vet or bool(self.standing.plans)

    @property
    def follows_plan(self) -> bool:
        """Whether a vet's plan is what to do, and nothing beside it."""
        hers = self.standing
        beside = set(hers.because) - {VETS_PLAN.sign} or any(foot.because for foot in hers.concerns)
        return bool(hers.plans) and not hers.advice.is_for_vet and not beside

    @property
    def reasons(self) -> str:
        """Empty where the level says it: that a vet's plan holds."""
        return "" if self.follows_plan else words.reason_words(self.standing)

    @property
    def signs(self) -> list[str]:
        today = self.standing.today
        return [words.sign_words(sign, today) for sign in self.standing.signs]

    @property
    def ring_first(self) -> bool:
        """Whether a vet is to be rung before she is brought: it may have to be reported."""
        return any(sign.name == "comb" and sign.value == "purple" for sign in self.standing.signs)

    @property
    def feet(self) -> list[FootLine]:
        today = self.standing.today
        return [foot_line(foot, today) for foot in self.standing.concerns]

    @property
    def calm(self) -> str:
        """Where nothing is the matter: that, in a word."""
        return "" if self.standing.concerns or self.standing.signs else words.calm(self.standing)

    @property
    def states(self) -> list[str]:
        return words.state_words(self.standing)

    @property
    def eggs(self) -> str:
        return words.eggs_words(self.standing.eggs)

    @property
    def eggs_line(self) -> str:
        """May her eggs be eaten? Empty of a cock with nothing to say."""
        return self.eggs or ("" if self.bird.sex == "cock" else "Eggs: no withdrawal recorded")

    @property
    def eggs_in_row(self) -> str:
        """Her eggs alone, in one short line; her page has her meat too."""
        hers = self.standing.eggs
        if hers.state == "free" or self.bird.sex == Sex.COCK:
            return self.eggs
        known = hers.state == "withdrawn" and hers.until
        until = (
            f"up to and including {short_words(hers.until, self.standing.today)}"
            if known
            else "until the withdrawal days are known"
        )
        return f"Don’t eat {self.bird.pronouns.possessive} eggs {until}"

    @cached_property
    def due(self) -> list[DueLine]:
        return [self._line(due) for due in self.standing.all_due]

    @property
    def is_due(self) -> bool:
        return any(line.is_due for line in self.due)

    @property
    def next(self) -> str:
        """What comes next, in words: all that is due by now, else the first thing."""
        due = [line for line in self.due if line.is_due] or self.due[:1]
        return ", ".join(line.words for line in due)

    @property
    def next_has_buttons(self) -> bool:
        """Whether all that ``next`` names stands on her page of care with its buttons."""
        due = [line for line in self.due if line.is_due] or self.due[:1]
        return bool(due) and all(line.step or line.is_due for line in due)

    def _line(self, due: Due) -> DueLine:
        today, last = self.standing.today, self.standing.last_check
        key = due.step or due.plan
        step = Tapped(key, self.bird, words.what_words(due)) if key else None
        return DueLine(
            due,
            words.what_words(due),
            words.due_words(due, today, last),
            words.when_words(due, today, last),
            due.on <= today,
            due.on < today,
            step,
        )

    def is_for(self, keeper_key: int) -> bool:
        """Whether something is due that nobody else has taken on."""
        dues = self.standing.all_due
        asked = [due for due in dues if due.step or due.plan] or dues
        return any(due.who_key in (None, keeper_key) for due in asked)


def rows_of(found: FlockStanding, birds: Iterable[Bird]) -> list[Row]:
    """What must happen first comes first."""
    rows = [Row(bird, found.birds[bird.pk]) for bird in birds if bird.pk in found.birds]
    return sorted(rows, key=in_order)


def in_order(row: Row):
    """A tap that logs what is due leaves the row where it is, so that no thumb meets another bird:
    what is late and what was done today stand as what is due today."""
    hers = row.standing
    due = hers.today if row.done else max(hers.first_due, hers.today)
    return -hers.advice if hers.urgent else 0, due, -hers.advice, row.bird.name.lower()


def answer(rows: Iterable[Row]) -> list[str]:
    """The first lines of Today: a vet, and tonight's care."""
    rows = list(rows)
    tonight = [row.bird.name for row in rows if row.is_due]
    said = []
    for level in (Advice.NOW, Advice.SOON):
        hers = [row.bird.name for row in rows if row.standing.advice is level]
        said += [f"{level.words}: {words.names(hers)}. {level.means}"] if hers else []
    said.append(f"Due tonight: {words.names(tonight)}." if tonight else "No care is due tonight.")
    return said


def eggs_not_eaten(rows: Iterable[Row], homes: Mapping[UUID, str]) -> list[str]:
    """Whose eggs are not eaten, each bird by name; a house where it is every hen's, as a whole.

    ``homes``: the house of each bird that has one.
    """
    of_house, alone = defaultdict(list), []
    for row in rows:
        if row.bird.sex != Sex.COCK:
            of_house[homes.get(row.bird.pk, "")].append(row)
    said = []
    for house, hens in sorted(of_house.items()):
        withheld = [hen for hen in hens if hen.standing.eggs.state != "free"]
        if house and len(withheld) == len(hens) > 1:
            ends = [hen.standing.eggs.until for hen in hens if hen.standing.eggs.until]
            known = all(hen.standing.eggs.state == "withdrawn" for hen in hens) and ends
            end = (
                f"up to and including {short_words(max(ends), hens[0].standing.today)}"
                if known
                else UNTIL_KNOWN
            )
            said.append(f"Don’t eat any egg from {house} {end}.")
        else:
            alone += withheld
    if alone:
        every = sorted((row.bird.name for row in alone), key=str.lower)
        said.append(f"Don’t eat the eggs of {words.names(every, at_most=len(every))}.")
    return said


def told_first(found: FlockStanding, rows: list[Row], shown: list[Row]) -> dict:
    """What Today says of care, here and without signal; ``shown``: those of the flock's ``rows``
    that are wanted. Whose eggs are not eaten is said of all."""
    return {
        "rows": shown,
        "answer": [*answer(shown), *eggs_not_eaten(rows, found.homes)],
        "days_to_ask": sorted({name for row in rows for name in row.standing.eggs.to_ask}),
        "several_ill": several_ill(row.standing for row in rows),
        "ring_first": any(row.ring_first for row in shown),
        "vet_wanted": any(row.standing.urgent or _tell_vet(row) for row in shown),
        "gone": [(key, name, words.eggs_words(eggs)) for key, name, eggs in found.gone],
    }


def _tell_vet(row: Row) -> bool:
    return bool(row.standing.plans) and row.level.is_for_vet


def _next_check(hers: Standing) -> date | None:
    """What is due by now stands with her care, or on the list itself."""
    on = hers.check_due.on
    return on if on > hers.today else None


def checks_due(rows: list[Row]) -> dict:
    """Of whom a check alone is due, and the day of the next check of anybody."""
    clear = [row for row in rows if not row.standing.of_care]
    due = [row for row in clear if row.standing.first_due <= row.standing.today]
    return {
        "due": due,
        "due_names": words.names([row.bird.name for row in due]),
        "next_due": min((on for row in rows if (on := _next_check(row.standing))), default=None),
    }
