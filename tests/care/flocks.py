"""Flocks with harsh records, made by chance and the same for each seed, by the services alone."""

import random
import uuid
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, time, timedelta

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.http import Http404
from django.utils import timezone

from flockcare.birds import services as of_birds
from flockcare.birds.models import Bird, Weighing
from flockcare.care import services as of_care
from flockcare.care import services_plans as of_plans
from flockcare.care import services_tasks as of_tasks
from flockcare.care.courses import WHOLE_FLOCK, birds_here, named
from flockcare.care.models import CarePlan, CareStep, KitItem, StepKind, TaskKind
from flockcare.feet import services as of_feet
from flockcare.feet.models import FOOT_SIGNS, FootFinding
from flockcare.feet.services import Seen
from flockcare.housing.models import House, Stay
from flockcare.pages import leaving
from flockcare.people.deletion import delete_keeper
from flockcare.people.models import Flock, Keeper, Membership, Role
from flockcare.people.services import add_keeper, start_flock
from tests.care.test_one_answer import measure

# What keepers are told instead, and nothing is saved.
REFUSED = (ValidationError, Http404, of_care.AlreadyDone)
NAMES = ("Dill", "Mace", "Sorrel", "Clove", "Basil", "Tansy", "Cumin")
SOME_DAYS = (0, 0, 1, 1, 2, 3, 5, 8, 13, 14, 15, 21, 27, 28, 29, 35, 50, 57, 70, 120, 400)
CARE = (
    *(StepKind.WATCHED, StepKind.SOAKED, StepKind.SOAKED, StepKind.RINSED, StepKind.LIFTED),
    *(StepKind.OINTMENT, StepKind.DRESSING_ON, StepKind.DRESSING_SEEN, StepKind.DRESSING_CHANGED),
    *(StepKind.DRESSING_OFF, StepKind.MEDICINE, StepKind.MEDICINE, StepKind.VACCINE),
)


@dataclass
class Made:
    """``keepers``: those who are still here; the first owns the flock."""

    flock: Flock
    keepers: list[Keeper]


def make_flock(seed: int) -> Made:
    """All that happens in it lies in the last 400 days, told in no order of time."""
    return _Maker(seed).made()


class _Maker:
    def __init__(self, seed: int):
        self.chance = random.Random(seed)
        self.name = f"Flock {seed}"
        self.keepers = [
            add_keeper(name=name, sign_in_name=f"{name}{seed}".lower(), password="straw and oats")
            for name in ("Ros", "Ted", "Ines")
        ]
        flock = start_flock(
            owner=self.keepers[0], name=self.name, time_zone="Europe/London", units="metric"
        )
        for keeper in self.keepers[1:]:
            Membership.objects.create(flock=flock, keeper=keeper, role=Role.KEEPER)
        self.key = flock.pk
        self.houses = [House.objects.create(flock=flock, name=f"{one} House") for one in "AB"]
        KitItem.objects.create(flock=flock, name="Salve", kind="ointment", no_medicine=True)

    @property
    def flock(self) -> Flock:
        return Flock.objects.get(pk=self.key)

    def one(self, *choices):
        return self.chance.choice(choices)

    def maybe(self, share: float) -> bool:
        return self.chance.random() < share

    def some(self, share: float, value):
        return value if self.maybe(share) else None

    def ago(self) -> int:
        return self.one(*SOME_DAYS)

    def day(self, ago: int):
        return timezone.localdate(timezone.now(), self.flock.zone) - timedelta(ago)

    def moment(self, ago: int) -> datetime:
        """Of the same day whatever the time of the day is now."""
        hour = self.one(6, 12, 12, 19)
        zone = self.flock.zone
        return datetime.combine(self.day(ago), time(hour), zone) if ago else timezone.now()

    def by(self) -> Keeper:
        return self.one(*self.keepers)

    # What happens

    def made(self) -> Made:
        self.flock_settings()
        for name in NAMES:
            self.new_bird(name)
        deeds = [
            deed
            for bird in Bird.objects.filter(flock=self.key).order_by("name")
            for deed in self.life(bird.pk)
        ]
        deeds += [self.all_get_it] * self.one(0, 0, 0, 1, 2)
        self.chance.shuffle(deeds)
        for deed in deeds:
            with suppress(*REFUSED, IntegrityError), transaction.atomic():
                deed()
        if self.maybe(0.4):
            with suppress(*REFUSED), transaction.atomic():
                delete_keeper(keeper=self.keepers[2], keep_name=self.maybe(0.5))
                self.keepers.pop()
        return Made(self.flock, self.keepers)

    def flock_settings(self):
        flock = self.flock
        flock.round_days, flock.recheck_days = self.one(7, 14, 28), self.one(2, 4, 7)
        flock.save()
        if self.maybe(0.5):
            wanted = {TaskKind.NEW_BIRD: (True, None)}
            of_tasks.set_tasks(flock=flock, wanted=wanted, today=self.day(0), by=self.keepers[0])

    def new_bird(self, name: str):
        sex = "cock" if name == "Cumin" else self.one("hen", "hen", "hen", "hen", "unknown")
        bird = Bird(flock=self.flock, name=name, sex=sex)
        if self.maybe(0.2):
            bird.hatched = self.day(self.one(60, 150, 500)).isoformat()
        bird.own_weight_class = self.one("", "", "bantam", "heavy")
        of_birds.add_bird(bird=bird, breed_name="", by=self.keepers[0])
        if self.maybe(0.8):
            house = self.one(*self.houses)
            Stay.objects.create(flock=bird.flock, bird=bird, house=house, since=self.day(450))

    def life(self, key) -> list:
        """Deeds on one bird; some are hardly looked at, or never."""
        deeds = []

        def add(deed, *counts):
            deeds.extend([lambda: deed(Bird.objects.get(pk=key))] * self.one(*counts))

        add(self.check, 0, 1, 2, 3, 5, 7)
        add(self.two_checks_at_once, 0, 0, 0, 1)
        add(self.photo_measured, 0, 0, 2, 3)
        add(self.care, 0, 0, 1, 2, 4)
        add(self.vet, 0, 0, 0, 1, 2)
        add(self.plan, 0, 0, 1)
        add(self.state, 0, 0, 0, 1, 1)
        add(self.weighed, 0, 0, 2)
        add(self.taps, 0, 0, 1, 2)
        add(self.leaves, 0, 0, 0, 0, 0, 1)
        return deeds

    def finding(self, foot: str) -> FootFinding:
        score = self.one(0, 0, 0, 1, 1, 2)
        found = FootFinding(foot=foot, score=score)
        odd = 0.15 if score == 0 else 0.5
        if self.maybe(odd):
            swellings = ("none", "moderate", "from above") if score == 2 else ("none", "moderate")
            found.swelling = self.one(*swellings)
        if self.maybe(odd):
            found.scab = self.one("none", "brown", "black")
            if found.scab != "none":
                found.scab_mm = self.some(0.5, self.one(2, 4, 9, 14))
        for sign in FOOT_SIGNS:
            if self.maybe(0.04 if score == 0 else 0.12):
                setattr(found, sign, self.maybe(0.6))
        found.clinical_grade = self.some(0.05, self.one(1, 2, 3, 4))
        return found

    def seen(self) -> Seen:
        feet = self.one(("left",), ("right",), (), *[("left", "right")] * 5)
        signs = {
            "gait": self.some(0.4, self.one(0, 0, 1, 2, 3)),
            "manner": self.some(0.4, self.one("bright", "bright", "dull")) or "",
            "eating": self.some(0.4, self.one("yes", "yes", "no")) or "",
            "droppings": self.some(0.2, self.one("normal", "odd")) or "",
            "belly": self.some(0.2, self.one("normal", "swollen")) or "",
            "body_condition": self.some(0.2, self.one(0, 1, 2)),
            "comb": self.some(0.2, self.one("red", "pale", "purple")) or "",
            "limps_on": "",
        }
        if signs["gait"]:
            signs["limps_on"] = self.one("", "left", "both")
        return Seen(findings=[self.finding(foot) for foot in feet], signs=signs)

    def check(self, bird, at=None):
        at = at or self.moment(self.ago())
        # Of two that come at once the earlier may be saved later.
        now = timezone.now() - timedelta(seconds=self.one(0, 30))
        of_feet.save_check(
            flock=bird.flock,
            bird=bird,
            keeper=self.by(),
            check_id=uuid.UUID(int=self.chance.getrandbits(128)),
            at=at,
            seen=self.seen(),
            time_known=self.maybe(0.9),
            now=max(now, at),
        )

    def two_checks_at_once(self, bird):
        at = self.moment(self.ago())
        self.check(bird, at)
        self.check(bird, at)

    def photo_measured(self, bird):
        foot, area, ago = self.one("left", "right"), self.one(5, 20, 21, 60, 120), self.ago()
        measure(self, bird, foot, area, days_ago=ago)

    def of_medicine(self, step):
        if self.maybe(0.8):
            step.egg_days = self.some(0.9, self.one(0, 7, 14, 60))
            step.meat_days = self.some(0.9, self.one(0, 7, 14, 60))
            if step.egg_days is not None or step.meat_days is not None:
                step.days_from = self.one("vet", "label")

    def care(self, bird):
        kind, ago = self.one(*CARE), self.ago()
        step = CareStep(flock=bird.flock, bird=bird, kind=kind, at=self.moment(ago))
        step.keeper, step.foot = self.by(), self.one("left", "left", "right", "right", "")
        if self.maybe(0.4):
            step.next_due = self.day(ago) + timedelta(self.one(0, 1, 2, 7, 30))
        if kind in (StepKind.MEDICINE, StepKind.VACCINE):
            step.product = self.one("Drops", "Tablets", "")
            self.of_medicine(step)
            if self.maybe(0.3):
                step.given_until = self.day(ago) + timedelta(self.one(0, 3, 6, 20))
            step.past = self.maybe(0.05)
        if kind == StepKind.OINTMENT:
            step.no_medicine = self.maybe(0.3)
            if not step.no_medicine:
                self.of_medicine(step)
        of_care.log_care(steps=[step], by=step.keeper, now=self.moment(ago))

    def vet(self, bird):
        ago = self.ago()
        step = CareStep(flock=bird.flock, bird=bird, kind=StepKind.VET, at=self.moment(ago))
        step.keeper, step.foot = self.by(), self.one("", "", "left", "right")
        step.question = self.one("", "What is it?")
        step.found = self.one("", "", "Nothing broken.")
        step.plan = self.one("", "", "Soak daily.")
        if step.plan:
            step.decided_by = self.one("", "vet", "keeper", "both")
            step.plan_until = self.some(0.6, self.day(ago) + timedelta(self.one(0, 3, 14, 30, ago)))
        step.medicine_given = self.one("", "yes", "yes", "no", "no", "no", "no", "unknown")
        if step.medicine_given == "yes":
            step.product = self.one("", "Drops")
            self.of_medicine(step)
            step.given_until = self.some(0.3, self.day(ago) + timedelta(self.one(3, 6, 20)))
        step.next_due = self.some(0.3, self.day(ago) + timedelta(self.one(1, 7, 14)))
        of_care.log_care(steps=[step], by=step.keeper, now=self.moment(ago))

    def plan(self, bird):
        since = self.day(self.one(0, 0, 1, 3, 9, 20, -2))
        kinds = self.one(
            ("soaked",), ("soaked", "dressing changed"), ("medicine",), ("ointment",), ("rinsed",)
        )
        parts = [
            {"kind": kind, "product": "Drops" if kind == "medicine" else "", "amount": None}
            for kind in kinds
        ]
        foot = self.one("left", "right", "")
        plan = CarePlan(flock=bird.flock, bird=bird, foot=foot, parts=parts, since=since)
        plan.every_days = self.one(1, 1, 2, 7)
        plan.until = self.some(0.7, since + timedelta(self.one(0, 4, 10, 30)))
        plan.turns = [[str(one.pk), ""] for one in self.keepers[: self.one(0, 0, 2, 3)]]
        plan.decided_by = self.one("", "vet", "keeper")
        if "medicine" in kinds and self.maybe(0.5):
            plan.egg_days, plan.meat_days, plan.days_from = self.one(0, 5), self.one(0, 9), "vet"
        of_plans.save_plan(plan=plan, by=self.by())

    def state(self, bird):
        kind = self.one("moulting", "broody", "in lay", "quarantine")
        state = of_birds.start_state(
            bird=bird, kind=kind, since=self.day(self.one(0, 3, 10, 25, 60)), by=self.by()
        )
        if self.maybe(0.3):
            of_birds.end_state(state=state, on=self.day(0), by=self.by())

    def weighed(self, bird):
        on, grams = self.day(self.ago()), self.one(600, 1500, 1800, 2000, 2400)
        of_birds.weigh(weighing=Weighing(flock=bird.flock, bird=bird, on=on, grams=grams))

    def taps(self, bird):
        """On something that is there: done again, said that one will do it, dropped, skipped …"""
        steps = list(CareStep.objects.filter(bird=bird).order_by("at", "pk"))
        plans = list(CarePlan.objects.filter(bird=bird).order_by("since", "pk"))
        by = self.by()
        if steps and self.maybe(0.6):
            step = self.one(*steps)
            match self.one("claim", "claim", "drop", "undo", "again"):
                case "claim":
                    of_care.claim(step=step, by=by)
                case "drop":
                    of_care.drop(step=step, because="Healed.", by=by)
                case "undo":
                    of_care.undo_step(step=step, by=by)
                case "again":
                    of_care.repeat_step(step=step, by=by)
        elif plans:
            plan = self.one(*plans)
            match self.one("do", "do", "skip", "move", "stop"):
                case "do":
                    of_plans.do_plan(plan=plan, by=by)
                case "skip":
                    of_plans.skip(plan=plan, by=by)
                case "move":
                    of_plans.move(plan=plan, to=self.day(-2), by=by)
                case "stop":
                    of_plans.stop(plan=plan, because="Healed.", by=by)

    def leaves(self, bird):
        bird.left = self.one(self.day(0), self.day(3), self.day(30)).isoformat()
        bird.left_reason = self.one("died", "given away", "missing")
        leaving.leave_flock(bird=bird, by=self.by())
        if self.maybe(0.3):
            leaving.came_back(bird=Bird.objects.get(pk=bird.pk), by=self.by())

    def all_get_it(self):
        ago = self.one(0, 1, 2, 5, 9)
        like = CareStep(flock=self.flock, kind=StepKind.MEDICINE, product="Coxi", foot="")
        like.at, like.keeper = self.moment(ago), self.by()
        like.given_until = self.some(0.6, self.day(ago) + timedelta(self.one(2, 5, 9)))
        like.decided_by = self.one("", "vet")
        self.of_medicine(like)
        house = self.one(None, *self.houses)
        given_to = named(house) if house else WHOLE_FLOCK
        birds = birds_here(self.flock, self.day(ago))
        if house:
            birds = [one for one in birds if one.stay_set.filter(house=house).exists()]
        of_care.give_to_all(like=like, birds=birds, given_to=given_to, key=uuid.uuid4())
