"""Whatever is done in a flock, in whichever order: how its birds stand, as it is kept, is how it
would be worked out anew.
"""

import tempfile
import uuid
from contextlib import suppress
from datetime import timedelta
from pathlib import Path
from types import SimpleNamespace

import pytest
from django.core.exceptions import ValidationError
from django.http import Http404
from django.utils import timezone
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from flockcare.birds import services as of_birds
from flockcare.birds.models import Bird, BirdState, Weighing
from flockcare.care import services as of_care
from flockcare.care import services_plans as plans
from flockcare.care import services_tasks as tasks
from flockcare.care.models import CarePlan, CareStep, StepKind, TaskKind
from flockcare.care.situation import standings, worked_out
from flockcare.care.standing.records import FEET
from flockcare.exchange.services import Refused, apply, check, export, read_folder
from flockcare.feet import services as of_feet
from flockcare.feet.models import Check, FootFinding
from flockcare.feet.services import Seen
from flockcare.pages import leaving, moving
from flockcare.pages.kinds import KINDS
from flockcare.people import restoring
from flockcare.people.deletion import delete_keeper
from flockcare.people.models import Flock, Membership, Revision, Role
from flockcare.people.services import add_keeper, change_flock, rename_keeper, start_flock
from flockcare.photos import editing
from flockcare.photos.measuring import delete_measurement
from flockcare.photos.models import Measurement, Photo
from tests.care.test_one_answer import measure

pytestmark = pytest.mark.django_db

BIRDS, AGO, PICK = st.integers(0, 2), st.integers(0, 40), st.integers(0, 1000)
FOOT = st.sampled_from(FEET)
FINDING = st.none() | st.fixed_dictionaries(
    {"score": st.integers(0, 2)},
    optional={"swelling": st.sampled_from(["none", "moderate"]), "scab_mm": st.integers(2, 12)},
)
SIGNS = st.fixed_dictionaries(
    {},
    optional={
        "gait": st.integers(0, 3),
        "manner": st.sampled_from(["bright", "dull"]),
        "eating": st.sampled_from(["yes", "no"]),
    },
)
KINDS_OF_CARE = st.sampled_from(["soaked", "dressing on", "dressing off", "watched", "ointment"])
DEEDS = st.sampled_from(["claim", "take over", "release", "drop", "undo", "days"])
# What keepers are told instead, and nothing is saved.
REFUSED = (ValidationError, Http404, of_care.AlreadyDone)


def seen_as(left, right, signs) -> Seen:
    found = [
        FootFinding(foot=foot, **({"scab": "brown"} if "scab_mm" in said else {}), **said)
        for foot, said in (("left", left), ("right", right))
        if said
    ]
    return Seen(findings=found, signs=signs)


class Standings(RuleBasedStateMachine):
    @initialize()
    def a_flock(self):
        self.ros = add_keeper(name="Ros", sign_in_name=uuid.uuid4().hex, password="straw and oats")
        self.ted = add_keeper(name="Ted", sign_in_name=uuid.uuid4().hex, password="straw and oats")
        flock = start_flock(
            owner=self.ros, name=uuid.uuid4().hex, time_zone="Europe/London", units="metric"
        )
        Membership.objects.create(flock=flock, keeper=self.ted, role=Role.KEEPER)
        self.key = flock.pk
        for name in ("Dill", "Mace", "Sorrel"):
            Bird.objects.create(flock=flock, name=name)
        self.exported = None
        self.folder = Path(tempfile.mkdtemp())

    # Everything is fetched anew, as each request does.

    @property
    def flock(self) -> Flock:
        return Flock.objects.get(pk=self.key)

    def bird(self, which: int) -> Bird:
        return self._of(Bird.objects.order_by("name"), which)

    def one(self, model, which: int):
        return self._of(model.objects.order_by("pk"), which)

    def _of(self, records, which: int):
        found = list(records.filter(flock=self.key).select_related("flock"))
        return found[which % len(found)] if found else None

    @rule(bird=BIRDS, ago=AGO, left=FINDING, right=FINDING, signs=SIGNS, ted=st.booleans())
    def a_check_in_time_or_late(self, bird, ago, left, right, signs, ted):
        with suppress(*REFUSED):
            of_feet.save_check(
                flock=self.flock,
                bird=self.bird(bird),
                keeper=self.ted if ted else self.ros,
                check_id=uuid.uuid4(),
                at=timezone.now() - timedelta(ago),
                seen=seen_as(left, right, signs),
                # Of two that come at once the earlier may be saved later.
                now=timezone.now() - timedelta(seconds=30 * ted),
            )

    @rule(which=PICK, left=FINDING, right=FINDING, signs=SIGNS, days=st.integers(-3, 3))
    def a_correction(self, which, left, right, signs, days):
        if (one := self.one(Check, which)) is not None:
            with suppress(*REFUSED):
                of_feet.change_check(
                    check=one,
                    keeper=self.ted,
                    at=one.at - timedelta(days),
                    seen=seen_as(left, right, signs),
                )

    @rule(which=PICK)
    def a_check_is_deleted(self, which):
        if (one := self.one(Check, which)) is not None:
            of_feet.delete_check(check=one, keeper=self.ros)

    @rule(which=PICK, bird=BIRDS)
    def a_check_is_of_another_bird(self, which, bird):
        if (one := self.one(Check, which)) is not None:
            with suppress(*REFUSED):
                moving.move_check(check=one, by=self.ros, bird=self.bird(bird))

    @rule(which=PICK)
    def a_check_is_of_the_other_foot(self, which):
        if (one := self.one(Check, which)) is not None:
            with suppress(*REFUSED):
                moving.swap_feet(check=one, by=self.ros)

    @rule(bird=BIRDS, foot=FOOT, ago=AGO, area=st.sampled_from([5, 20, 60, 120]))
    def a_measurement(self, bird, foot, ago, area):
        photo = Photo.objects.filter(bird=(hen := self.bird(bird)), foot=foot).first()
        if photo is None or ago % 2:
            measure(SimpleNamespace(flock=self.flock), hen, foot, area, days_ago=ago)
        else:
            again = Measurement.objects.filter(photo=photo).first()
            if again:
                again.pk, again.area_mm2, again.at = uuid.uuid4(), area, timezone.now()
                again.save(force_insert=True)

    @rule(which=PICK)
    def a_measurement_is_deleted(self, which):
        if (one := self.one(Measurement, which)) is not None:
            delete_measurement(measurement=one, keeper=self.ros)

    @rule(which=PICK, bird=BIRDS, foot=FOOT)
    def a_photo_is_of_another_bird(self, which, bird, foot):
        if (one := self.one(Photo, which)) is not None:
            with suppress(*REFUSED):
                moving.move_photo(photo=one, by=self.ros, bird=self.bird(bird), foot=foot)

    @rule(which=PICK, back=st.booleans())
    def a_photo_goes_or_comes_back(self, which, back):
        photos = Photo.with_deleted.filter(deleted_at__isnull=not back).order_by("pk")
        if (one := self._of(photos, which)) is not None:
            (editing.put_back if back else editing.delete)(photo=one, keeper=self.ros)

    @rule(bird=BIRDS, ago=AGO, grams=st.integers(1500, 2500))
    def a_weighing(self, bird, ago, grams):
        hen, on = self.bird(bird), timezone.localdate() - timedelta(ago)
        with suppress(*REFUSED):
            of_birds.weigh(weighing=Weighing(flock=hen.flock, bird=hen, on=on, grams=grams))

    @rule(which=PICK, grams=st.none() | st.integers(1500, 2500))
    def a_weighing_is_changed_or_deleted(self, which, grams):
        one = self.one(Weighing, which)
        if one is not None and grams:
            one.grams = grams
            of_birds.change_weighing(weighing=one, by=self.ros)
        elif one is not None:
            of_birds.delete_weighing(weighing=one, by=self.ros)

    @rule(bird=BIRDS, ago=AGO, kind=st.sampled_from(["moulting", "broody", "quarantine"]))
    def a_state_begins(self, bird, ago, kind):
        since = timezone.localdate() - timedelta(ago)
        with suppress(*REFUSED):
            of_birds.start_state(bird=self.bird(bird), kind=kind, since=since, by=self.ros)

    @rule(which=PICK, ago=st.none() | AGO)
    def a_state_ends_or_is_deleted(self, which, ago):
        one = self.one(BirdState, which)
        with suppress(*REFUSED):
            if one is not None and ago is not None:
                of_birds.end_state(state=one, on=timezone.localdate() - timedelta(ago), by=self.ros)
            elif one is not None:
                of_birds.delete_state(state=one, by=self.ros)

    def _care(self, bird, ago, kind, foot, **said):
        hen, at = self.bird(bird), timezone.now() - timedelta(ago)
        step = CareStep(flock=hen.flock, bird=hen, kind=kind, foot=foot, at=at, **said)
        step.keeper = self.ros
        with suppress(*REFUSED):
            of_care.log_step(step=step)

    @rule(bird=BIRDS, ago=AGO, kind=KINDS_OF_CARE, foot=FOOT, due=st.none() | st.integers(0, 9))
    def care_is_given(self, bird, ago, kind, foot, due):
        on = due is not None and timezone.localdate() - timedelta(ago - due)
        self._care(bird, ago, kind, foot, next_due=on or None)

    @rule(bird=BIRDS, ago=AGO, foot=FOOT, days=st.none() | st.integers(0, 30))
    def a_medicine_is_given(self, bird, ago, foot, days):
        said = {"egg_days": days, "meat_days": days, "days_from": "vet" if days else ""}
        self._care(bird, ago, "medicine", foot, product="Drops", **said)

    @rule(bird=BIRDS, ago=AGO, foot=st.sampled_from(["", *FEET]), until=st.none() | AGO)
    def a_vet_sees_her(self, bird, ago, foot, until):
        day = timezone.localdate() - timedelta(ago)
        said = {"plan": "Soak daily.", "plan_until": day + timedelta(until)} if until else {}
        self._care(bird, ago, StepKind.VET, foot, **said)

    @rule(
        which=PICK, deed=st.sampled_from(["claim", "take over", "release", "drop", "undo", "days"])
    )
    def something_is_done_about_care(self, which, deed):
        if (one := self.one(CareStep, which)) is None:
            return
        with suppress(*REFUSED):
            match deed:
                case "claim":
                    of_care.claim(step=one, by=self.ros)
                case "take over":
                    of_care.take_over(step=one, by=self.ted)
                case "release":
                    of_care.release(step=one, by=self.ros)
                case "drop":
                    of_care.drop(step=one, because="Healed.", by=self.ros)
                case "undo":
                    of_care.undo_step(step=one, by=self.ros)
                case "days" if one.kind == "medicine":
                    days = {"egg_days": 9, "meat_days": 9, "days_from": "label"}
                    of_care.enter_days(steps=[one], by=self.ros, **days)

    @rule(
        bird=BIRDS,
        ago=AGO,
        foot=FOOT,
        every=st.integers(1, 5),
        until=st.none() | st.integers(0, 20),
        course=st.booleans(),
    )
    def a_plan_is_made(self, bird, ago, foot, every, until, course):
        hen, since = self.bird(bird), timezone.localdate() - timedelta(ago)
        part = {"kind": "medicine" if course else "soaked", "product": "Drops", "amount": None}
        plan = CarePlan(flock=hen.flock, bird=hen, foot=foot, parts=[part], since=since)
        plan.every_days, plan.turns = every, [[str(self.ted.pk), ""], [str(self.ros.pk), ""]]
        plan.until = None if until is None else since + timedelta(until)
        if course:
            plan.egg_days, plan.days_from = every, "vet"
        with suppress(*REFUSED):
            plans.save_plan(plan=plan, by=self.ros)

    @rule(which=PICK, deed=st.sampled_from(["do", "skip", "move", "stop", "delete"]))
    def something_is_done_about_a_plan(self, which, deed):
        if (one := self.one(CarePlan, which)) is None:
            return
        with suppress(*REFUSED):
            match deed:
                case "do":
                    plans.do_plan(plan=one, by=self.ted)
                case "skip":
                    plans.skip(plan=one, by=self.ros)
                case "move":
                    to = timezone.localdate() + timedelta(which % 4)
                    plans.move(plan=one, to=to, by=self.ros)
                case "stop":
                    plans.stop(plan=one, because="Healed.", by=self.ros)
                case "delete":
                    plans.delete_plan(plan=one, by=self.ros)

    @rule(wanted=st.booleans())
    def new_birds_are_checked_or_not(self, wanted):
        said = {TaskKind.NEW_BIRD: (wanted, None)}
        tasks.set_tasks(flock=self.flock, wanted=said, today=timezone.localdate(), by=self.ros)

    @rule(which=PICK, bird=BIRDS, foot=FOOT)
    def care_is_moved(self, which, bird, foot):
        if (one := self.one(CareStep, which)) is not None:
            with suppress(*REFUSED):
                moving.move_step(step=one, by=self.ros, bird=self.bird(bird), foot=foot)

    @rule(bird=BIRDS, ago=st.integers(-2, 9))
    def she_leaves_or_comes_back(self, bird, ago):
        hen = self.bird(bird)
        with suppress(*REFUSED):
            if hen.left:
                leaving.came_back(bird=hen, by=self.ros)
            else:
                hen.left = str(timezone.localdate() - timedelta(ago))
                hen.left_reason = "died"
                leaving.leave_flock(bird=hen, by=self.ros)

    @rule(bird=BIRDS, months=st.integers(1, 30))
    def it_is_known_when_she_hatched(self, bird, months):
        hen = self.bird(bird)
        hen.hatched = str(timezone.localdate() - timedelta(30 * months))
        with suppress(*REFUSED):
            of_birds.change_bird(bird=hen, by=self.ros)

    @rule(which=PICK)
    def something_is_undone(self, which):
        """The newest likelier than an old one."""
        firsts = Revision.objects.filter(flock=self.key, first=None).order_by("-pk")
        keys = list(firsts.values_list("pk", flat=True)[: 1 + which % 4])
        if keys:
            with suppress(*REFUSED):
                restoring.undo(
                    flock=self.flock, key=keys[-1], kinds=KINDS, by=self.ros, words="Undone"
                )

    @rule(which=PICK)
    def an_earlier_version_comes_back(self, which):
        kept = Revision.objects.filter(flock=self.key, action=Revision.Action.CHANGE).order_by("pk")
        one = self._of(kept, which)
        if one is None or one.kind not in KINDS:
            return
        kind = KINDS[one.kind]
        record = kind.model._base_manager.filter(pk=one.record).first()
        if record is not None and kind.change:
            with suppress(*REFUSED):
                restoring.restore(kind=kind, record=record, revision=one, by=self.ros)

    @precondition(lambda self: self.exported is None)
    @rule()
    def all_is_exported(self):
        self.exported = self.folder / "flock"
        export(self.flock, self.exported)

    @precondition(lambda self: self.exported is not None)
    @rule(by_somebody=st.booleans())
    def what_was_exported_is_imported(self, by_somebody):
        """Brings back what was deleted since; without a keeper, as the command may."""
        with suppress(Refused):
            apply(
                check(read_folder(self.exported), self.flock),
                by=self.ros if by_somebody else None,
            )

    @rule(name=st.sampled_from(["Ros", "Rosalind", "R."]))
    def a_keeper_has_another_name(self, name):
        rename_keeper(keeper=self.ros, name=name)

    @rule(days=st.integers(7, 30))
    def the_flock_has_other_days(self, days):
        flock = self.flock
        flock.round_days = days
        change_flock(flock=flock, by=self.ros)

    @precondition(lambda self: self.ted is not self.ros)
    @rule(keep_name=st.booleans())
    def a_keeper_goes(self, keep_name):
        delete_keeper(keeper=self.ted, keep_name=keep_name)
        self.ted = self.ros

    @invariant()
    def what_is_kept_is_right(self):
        flock = self.flock
        kept = standings(flock, now=timezone.now())
        anew = worked_out(flock, timezone.localdate(timezone.now(), flock.zone))
        assert kept.birds == anew.birds
        assert kept.gone == anew.gone
        assert kept.faces == anew.faces


def test_what_is_kept_is_what_would_be_worked_out():
    run_state_machine_as_test(
        Standings,
        settings=settings(
            max_examples=6,
            stateful_step_count=25,
            deadline=None,
            phases=[Phase.generate],
            suppress_health_check=list(HealthCheck),
        ),
    )
