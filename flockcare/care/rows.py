"""How a bird stands as the templates show it: one row or head a bird, in the words of all pages."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property
from itertools import chain
from uuid import UUID

from flockcare.birds.models import Bird, BirdQuerySet, Sex
from flockcare.care import standing_words as words
from flockcare.care.due import AS_THE_VET_SAID, DRESSING, LOOK
from flockcare.care.holds import UNTIL_KNOWN
from flockcare.care.models import StepKind
from flockcare.care.notifiable import several_ill
from flockcare.care.parts import Given
from flockcare.care.rules import Advice
from flockcare.care.rules.table import VETS_PLAN
from flockcare.care.situation import FlockStanding, advise_bird
from flockcare.care.standing.answer import CHECK, Due, FootStanding, Sign, Standing
from flockcare.care.standing.records import VetPlan
from flockcare.care.standing.signs import enough_for
from flockcare.drawing.dates import up_to_words
from flockcare.feet.scales import SWOLLEN


@dataclass(frozen=True)
class Tapped:
    """The step or the plan that a button is about."""

    pk: UUID
    bird: Bird
    words: str


@dataclass(frozen=True)
class DueLine:
    """``brief``: what, beside the lines of her feet and of a vet's plan. ``why``: then, or at all,
    in words."""

    due: Due
    what: str
    brief: str
    words: str
    when: str
    is_due: bool
    late: bool
    step: Tapped | None
    why: str = ""

    @property
    def is_check(self) -> bool:
        return self.due.what == CHECK

    @property
    def which(self) -> str:
        """``right foot``: of a check, where that one alone is due."""
        return f"{self.due.foot} foot" if self.due.alone else ""

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

    @property
    def taps(self) -> tuple[tuple[str, str], ...]:
        """What one tap can log of it, the usual first: what the button says, and the kind of care;
        empty: again what asked for it."""
        if self.is_dressing:
            return DRESSING_TAPS
        if self.is_watch:
            return (("Checked", StepKind.WATCHED),)
        return () if self.is_check or self.is_visit or not self.step else (("Done", ""),)


DRESSING_TAPS = (
    ("Checked", StepKind.DRESSING_SEEN),
    ("Changed", StepKind.DRESSING_CHANGED),
    ("Taken off", StepKind.DRESSING_OFF),
)


@dataclass(frozen=True)
class FootLine:
    """``brief``, ``course_brief``: as a row of Today has them."""

    standing: FootStanding
    words: str
    brief: str
    course: str
    course_brief: str
    mark: str
    older: str


def foot_line(foot: FootStanding, today: date, shown: Iterable[Sign] = ()) -> FootLine:
    """``shown``: signs that the brief words have beside the score."""
    return FootLine(
        foot,
        words.foot_words(foot, today),
        words.foot_words(foot, today, brief=True, shown=shown),
        words.course_words(foot.trend, today),
        words.course_in_row(foot.trend, today),
        words.MARKS.get(foot.trend.course, ""),
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
        return [(plan, words.plan_words(plan, hers)) for plan in every]

    @property
    def plans_in_row(self) -> list[str]:
        """Those of which the row does not say all by its level and what is due by them."""
        hers = self.standing
        every = (*hers.plans, *hers.broken, *hers.asked)
        told = not self.level.is_urgent and any(line.is_plan for line in self.due)
        shown = [plan for plan in every if not told or not plan.answers]
        return [words.plan_words(plan, hers, brief=True) for plan in shown]

    @property
    def means(self) -> str:
        """By when a vet is to be rung, and is to see her, where that is urgent."""
        if not self.level.is_urgent:
            return ""
        return f"{self.level.seen_by.capitalize()}." if self.standing.rung else self.level.means

    @property
    def level_in_row(self) -> bool:
        """Whether the level says more than what is due and the score and course of the feet."""
        cared_for = self.level is Advice.HOME and any(line.step for line in self.due)
        calm = self.level is Advice.LEAVE or cared_for
        return self.has_level and (bool(self.standing.plans) or not calm)

    @property
    def _tells_why(self) -> bool:
        return self.level_in_row and self.level not in (Advice.LEAVE, Advice.HOME)

    @cached_property
    def _signs_of_feet(self) -> dict[tuple[str, str], tuple[Sign, ...]]:
        """By foot and the words of each rule that led to its advice, the signs that are enough for
        it, so that they can stand in its place."""
        found = {}
        for foot in self.standing.concerns if self._tells_why else ():
            for rule in foot.answer.because:
                found[foot.foot, rule.sign] = enough_for(rule, foot.scored_signs)
        return found

    def _shown(self, foot: FootStanding) -> list[Sign]:
        """What stands with the score of a sore foot."""
        of_rules = (some for (of, _), some in self._signs_of_feet.items() if of == foot.foot)
        said = {"score", "swelling"} if foot.score == SWOLLEN else {"score"}
        return [sign for sign in dict.fromkeys(chain(*of_rules)) if sign.name not in said]

    @property
    def reasons_in_row(self) -> str:
        """Without what stands in the lines of her signs and feet, which the row has as well."""
        hers = self.standing
        if self.follows_plan or not self._tells_why:
            return ""
        said = {rule for (_, rule), signs in self._signs_of_feet.items() if signs}
        said |= {rule for foot in hers.concerns if not foot.is_case for rule in foot.because}
        said |= {rule.sign for rule in advise_bird(hers) if enough_for(rule, hers.signs)}
        return words.reason_words(hers, said)

    @property
    def signs_in_row(self) -> str:
        """Those of the bird, in one line; who saw each, and when, stands on her page."""
        return ", ".join(sign.words for sign in self.standing.signs)

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
        return [foot_line(foot, today, self._shown(foot)) for foot in self.standing.concerns]

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
        if hers.state == "free":
            return self.eggs
        until = (
            up_to_words(hers.known_until, self.standing.today) if hers.known_until else UNTIL_KNOWN
        )
        return f"Don’t eat {self.bird.pronouns.possessive} eggs {until}"

    @cached_property
    def due(self) -> list[DueLine]:
        return [self._line(due) for due in self.standing.all_due]

    @property
    def check(self) -> DueLine:
        return self._line(self.standing.check_due)

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
            self._brief(due),
            words.due_words(due, today, last),
            words.when_words(due, today, last),
            due.on <= today,
            due.on < today,
            step,
            words.why_words(due, self.standing),
        )

    def _brief(self, due: Due) -> str:
        concerns = [foot.foot for foot in self.standing.concerns]
        what = due.what if concerns == [due.foot] else words.what_words(due)
        return what.removesuffix(AS_THE_VET_SAID) if self.standing.plans else what

    def is_for(self, keeper_key: int) -> bool:
        """Whether something is due that nobody else has taken on."""
        dues = self.standing.all_due
        asked = [due for due in dues if due.step or due.plan] or dues
        return any(due.who_key in (None, keeper_key) for due in asked)


def rows_of(found: FlockStanding, birds: BirdQuerySet) -> list[Row]:
    """Of those that are here; what must happen first comes first. One query."""
    here = birds.present().select_related("breed")
    rows = [Row(bird, found.birds[bird.pk]) for bird in here if bird.pk in found.birds]
    return sorted(rows, key=in_order)


def in_order(row: Row):
    """A tap that logs what is due leaves the row where it is, so that no thumb meets another bird:
    what is late and what was done today stand as what is due today."""
    hers = row.standing
    due = hers.today if row.done else max(hers.first_due, hers.today)
    return -hers.advice if hers.urgent else 0, due, -hers.advice, row.bird.name.lower()


def answer(rows: Iterable[Row], *, mine: bool = False) -> list[str]:
    """The first lines of Today: a vet, and tonight's care; ``mine``: that of one keeper.

    Apart from those a vet is to be rung about: those one was asked about already.
    """
    rows = list(rows)
    tonight = [row.bird.name for row in rows if row.is_due]
    said = []
    for level, now in ((Advice.NOW, "Ring now"), (Advice.SOON, "Ring today")):
        hers = [row for row in rows if row.level is level]
        to_ring = [row.bird.name for row in hers if not row.standing.rung]
        said += [f"{level.words}: {words.names(to_ring)}. {now}."] if to_ring else []
        for row in hers:
            if call := row.standing.rung:
                asked = words.asked_words(call, row.standing.today, brief=True)
                said.append(f"{level.words}: {row.bird.name}. {asked}")
    nothing = "Nothing for you tonight." if mine else "No care is due tonight."
    said.append(f"Due tonight: {words.names(tonight)}." if tonight else nothing)
    return said


@dataclass(frozen=True)
class NotEaten:
    """``whose``: ``Dill’s eggs``, ``the eggs of Dill and Mace``, ``any egg from Cart Shed``.
    ``until``: the last day of it, in words; empty where nobody knows that."""

    whose: str
    until: str


def eggs_not_eaten(rows: Iterable[Row], homes: Mapping[UUID, str]) -> list[NotEaten]:
    """Each hen by name, with those whose eggs are withheld as long; a house where it is every hen's
    as a whole, until the last of them.

    ``homes``: the house of each bird that has one.
    """
    of_house, today = defaultdict(list), None
    for row in rows:
        today = row.standing.today
        if row.bird.sex != Sex.COCK:
            of_house[homes.get(row.bird.pk, "")].append(row)
    of_houses, alone = [], defaultdict(list)
    for house, hens in sorted(of_house.items()):
        withheld = [hen for hen in hens if hen.standing.eggs.state != "free"]
        ends = [hen.standing.eggs.known_until for hen in withheld]
        if house and len(withheld) == len(hens) > 1:
            of_houses.append((f"any egg from {house}", None if None in ends else max(ends)))
        else:
            for hen, end in zip(withheld, ends, strict=True):
                alone[end].append(hen.bird.name)
    # Those nobody knows the days of come first.
    by_end = sorted(alone.items(), key=lambda one: one[0] or date.min)
    of_birds = [(_eggs_of(sorted(some, key=str.lower)), end) for end, some in by_end]
    return [
        NotEaten(whose, up_to_words(end, today) if end else "")
        for whose, end in (*of_houses, *of_birds)
    ]


def _eggs_of(hens: list[str]) -> str:
    if len(hens) == 1:
        return f"{hens[0]}’s eggs"
    return f"the eggs of {words.names(hens, at_most=len(hens))}"


def told_first(
    found: FlockStanding, rows: list[Row], shown: list[Row], *, mine: bool = False
) -> dict:
    """What Today says of care, here and without signal; ``shown``: those of the flock's ``rows``
    that are wanted. Whose eggs are not eaten is said of all."""
    return {
        "rows": shown,
        "answer": answer(shown, mine=mine),
        "not_eaten": eggs_not_eaten(rows, found.homes),
        "days_to_ask": any(row.standing.eggs.to_ask for row in rows),
        "several_ill": several_ill(row.standing for row in rows),
        "ring_first": any(row.ring_first for row in shown),
        "vet_wanted": any(row.standing.urgent or _tell_vet(row) for row in shown),
        "vet_level": max((row.level for row in shown), default=None),
        "gone": [(key, name, words.eggs_words(eggs)) for key, name, eggs in found.gone],
    }


def _tell_vet(row: Row) -> bool:
    return bool(row.standing.plans) and row.level.is_for_vet


def checks_due(rows: list[Row]) -> dict:
    """Of whom a check alone is due, whether one is due of others as well, and where none is, the
    day of the next check of anybody."""
    of_all = [row for row in rows if row.standing.check_due.on <= row.standing.today]
    due = [row for row in of_all if not row.standing.of_care]
    days = [row.standing.check_due.on for row in rows] if not of_all else ()
    return {"due": due, "also": len(of_all) > len(due), "next_due": min(days, default=None)}
