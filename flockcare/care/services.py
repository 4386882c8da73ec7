"""Every write about care, the flock's vets, the kit and calendar links."""

import uuid
from datetime import timedelta

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.db.models import F
from django.utils import timezone

from flockcare.care.courses import birds_of, course_of
from flockcare.care.due import due_day, followed_by, is_open, kinds_of_line
from flockcare.care.kit import missing_things
from flockcare.care.models import (
    DRESSED,
    PLANNED,
    SUPPLY,
    CalendarLink,
    CarePlan,
    CareStep,
    KitItem,
    MedicineGiven,
    StepKind,
    VetContact,
)
from flockcare.care.parts import Given, pieces_used
from flockcare.care.situation import usual_due
from flockcare.core.models import Token, token_hash
from flockcare.feet.services import validate_moment
from flockcare.people import history, keys
from flockcare.people.bylines import Guest, credited
from flockcare.people.models import Flock, Revision
from flockcare.photos.models import Photo
from flockcare.photos.moving import move_along

CALENDAR_DAYS = 3650
# What one tap says again.
REPEATED = ("product", "item_id", "amount", "egg_days", "meat_days", "days_from", "no_medicine")
REPEATED += ("batch", "quantity", "decided_by", *SUPPLY)
# What a course says of its medicine each time.
OF_A_COURSE = ("egg_days", "meat_days", "days_from", "batch", "quantity", "decided_by")


class AlreadyDone(ValidationError):
    """Somebody was quicker; ``step`` is what they logged."""

    def __init__(self, step: CareStep):
        super().__init__(f"{step.by or 'Somebody'} has done this already.")
        self.step = step


def log_step(*, step: CareStep, photos=(), now=None) -> tuple[CareStep, bool]:
    """Store one step under the key it was made with and take what it used off the stock.

    Returns ``(step, is_new)``: the same step sent again is not logged twice. ``keys.KeyTaken``
    when the key is taken by something else.
    """
    now = now or timezone.now()
    check_step(step=step, now=now)
    keys.refuse_deleted(step)
    try:
        with transaction.atomic():
            step.save(force_insert=True)
            _take(step.item_id, step.amount)
            _attach(step, photos)
    except IntegrityError:
        stored = keys.saved_before(step)
        if stored is None:
            raise
        if not keys.says_the_same(stored, step) and not keys.said_at_first(stored, step):
            raise keys.AlreadySaved(stored) from None
        with transaction.atomic():
            _attach(stored, photos)
        return stored, False
    return step, True


def log_care(*, steps, photos=(), by, now=None) -> tuple[CareStep, bool]:
    """As ``log_step``, of what was done in one go; the first has the photos and stands for all.

    It is one changeset, undone as one. A course that goes on is planned with it.
    """
    if len(steps) == 1:
        with transaction.atomic():
            logged = log_step(step=steps[0], photos=photos, now=now)
            if logged[1]:
                plan_course(step=steps[0], now=now)
        return logged
    with history.changeset() as current:
        logged = [
            log_step(step=step, photos=() if number else photos, now=now)
            for number, step in enumerate(steps)
        ]
        new = [step for step, is_new in logged if is_new]
        for step in new:
            plan_course(step=step, now=now)
        keep_added(new, current, by=by)
    return logged[0]


def course_key(step: CareStep) -> uuid.UUID:
    """The key of the plan that makes the rest of this course due."""
    return uuid.uuid5(step.pk, "course")


def plan_course(*, step: CareStep, now=None) -> None:
    """What is given up to a last day is due on each day until then, unless a plan asks for it.

    What a vet gave at the visit is due from the next day on.
    """
    today = timezone.localdate(now or timezone.now(), step.flock.zone)
    plan = _course(step, today)
    if plan and not _is_asked_for(plan, today):
        plan.full_clean(exclude=["flock", "bird", "keeper"])
        plan.save(force_insert=True)


def _course(step: CareStep, today) -> CarePlan | None:
    kind = StepKind.MEDICINE if step.kind == StepKind.VET else step.kind
    if not (step.given_until and step.may_have_days) or step.past or kind not in PLANNED:
        return None
    if step.given_to:
        return None  # What a whole house gets is due by itself: see ``courses``.
    since = max(today, step.on + timedelta(step.kind == StepKind.VET))
    if step.given_until <= step.on or step.given_until < since:
        return None
    amount = None if step.amount is None else f"{step.amount.normalize():f}"
    # A plan parts its products by semicolons.
    part = {
        "kind": str(kind),
        "product": step.product.replace(";", ","),
        "amount": amount,
    }
    return CarePlan(
        id=course_key(step),
        flock=step.flock,
        bird=step.bird,
        foot=step.foot,
        parts=[part],
        since=since,
        until=step.given_until,
        keeper=step.keeper,
        no_medicine=step.no_medicine,
        **{name: getattr(step, name) for name in OF_A_COURSE},
    )


def _is_asked_for(course: CarePlan, today) -> bool:
    """A medicine for the bird, whichever foot is named; an ointment on that foot. Where that ends
    before the course does, the course begins on the day after.
    """
    (part,) = course.parts
    for plan in CarePlan.objects.filter(flock=course.flock, bird=course.bird).live(today):
        products = {one["product"].casefold() for one in plan.parts if one["kind"] == part["kind"]}
        if part["kind"] != StepKind.MEDICINE:
            same = plan.foot == course.foot and bool(products)
        else:
            # Without a name it may be the same: nobody gives a dose twice for two entries.
            same = products and ("" in products or part["product"].casefold() in {"", *products})
        if same and (plan.until is None or plan.until >= course.until):
            return True
        if same:
            course.since = max(course.since, plan.until + timedelta(1))
    return False


def _course_follows(step: CareStep, stored: CareStep, *, by, now) -> None:
    """The plan of a course says what its first giving was corrected to."""
    plan = CarePlan.objects.select_related("bird", "flock").filter(pk=course_key(step)).first()
    if plan is None:
        if stored.given_until != step.given_until:
            plan_course(step=step, now=now)
        return
    wanted = _course(step, timezone.localdate(now, step.flock.zone))
    if wanted:
        for name in ("bird", "foot", "parts", "until", "no_medicine", *OF_A_COURSE):
            setattr(plan, name, getattr(wanted, name))
        history.change(plan, by=by)
    elif step.past or (stored.given_until and not (step.given_until and step.may_have_days)):
        history.delete(plan, by=by)


def keep_added(new: list[CareStep], current, *, by) -> None:
    if new:
        history.keep_all([(step, {}) for step in new], action=Revision.Action.ADD, by=by)
        current.words = f"{new[0].bird}, {Given(tuple(new)).words}"


def check_step(*, step: CareStep, now) -> None:
    """ValidationError for what cannot be of a step, by its field; nothing is stored."""
    validate_moment(step.at, bird=step.bird, now=now)
    if step.kind in DRESSED:
        step.next_due = due_day(step.kind, step.at, step.next_due, step.flock.zone)
    step.full_clean(exclude=["flock", "bird", "keeper", "item", "contact"], validate_unique=False)


def _take(item_id, amount) -> None:
    """Off the stock, where somebody counts it; a negative ``amount`` goes back."""
    if item_id and amount:
        KitItem.objects.filter(pk=item_id, stock__isnull=False).update(stock=F("stock") - amount)


def _attach(step: CareStep, photos) -> None:
    if photos:
        found = [photo.pk for photo in photos]
        Photo.objects.filter(pk__in=found, bird=None).update(bird=step.bird_id, foot=step.foot)
        step.photos.add(*found)


@history.changeset()
def change_step(*, step: CareStep, photos=(), by, basis=None, now=None) -> None:
    """Keep what was changed; the stock follows, and so do its photos to another bird or foot."""
    stored = history.settle(step, basis=basis)
    now = now or timezone.now()
    check_step(step=step, now=now)
    _take(stored.item_id, -(stored.amount or 0))
    _take(step.item_id, step.amount)
    history.change(step, by=by)
    _course_follows(step, stored, by=by, now=now)
    if (stored.bird_id, stored.foot) != (step.bird_id, step.foot):
        its = Photo.with_deleted.filter(care_steps=step, bird=stored.bird_id)
        feet = {stored.foot: step.foot} if stored.foot and step.foot else None
        move_along(its.select_related("flock"), by=by, bird=step.bird, feet=feet)
    _attach(step, photos)


@history.changeset()
def restore_step(*, step: CareStep, by, kept: dict, basis=None) -> None:
    """Let a step say again what it said in ``kept``, which has its photos where those changed."""
    change_step(step=step, by=by, basis=basis)
    if "photos" in kept:
        through = CareStep.photos.through.objects.filter(carestep=step)
        through.exclude(photo__in=kept["photos"]).delete()
        step.photos.add(*Photo.with_deleted.filter(flock=step.flock_id, pk__in=kept["photos"]))


@transaction.atomic
def undo_step(*, step: CareStep, by) -> None:
    """Take a step back; what it used is in the kit again. Its photos stay with the bird."""
    _take(step.item_id, -(step.amount or 0))
    photos = list(step.photos.values_list("pk", flat=True))
    for plan in CarePlan.objects.select_related("bird", "flock").filter(pk=course_key(step)):
        history.delete(plan, by=by)
    history.delete(step, by=by, before={**history.values(step), "photos": photos})


@history.changeset()
def undo_care(*, steps, by) -> None:
    """Delete what was done in one go; what it used is in the kit again."""
    for step in steps:
        undo_step(step=step, by=by)


@transaction.atomic
def bring_back_step(*, step: CareStep, by, kept: dict) -> None:
    """The reverse of ``undo_step``: what it used is off the stock again."""
    history.bring_back(step, by=by, kept=kept)
    _take(step.item_id, step.amount)
    _attach(step, Photo.objects.filter(flock=step.flock_id, pk__in=kept.get("photos", ())))


def repeat_step(
    *, step: CareStep, by, kind: str = "", now=None, key=None, as_well: bool = False
) -> CareStep:
    """Do what is due after ``step``: the same product and amount, due again after as many days.

    ``kind``: another step of the same line, such as taking a dressing off. AlreadyDone when a
    later step of the line is there, so that two who tap at once do it once. ValidationError for
    what cannot be done with one tap. ``by``: a keeper, or a ``Guest``, whose taps are written into
    the history too. ``now``: when it was done; ``key``: of the new step; ``as_well``: both did it.
    """
    now = now or timezone.now()
    keeper, name = credited(by)
    kind = kind or followed_by(step.kind)
    if kind not in kinds_of_line(step.kind) or kind in (StepKind.LIFTED, StepKind.VET):
        raise ValidationError("One tap can’t log this. Log it as a full entry.")
    with history.changeset() as current:
        # Locked, so that of two keepers the second waits and then sees what the first has logged.
        step = CareStep.objects.select_for_update().get(pk=step.pk)
        if not as_well and not is_open(step):
            raise AlreadyDone(_later(step))
        again = CareStep(
            id=key or uuid.uuid4(),
            flock=step.flock,
            bird=step.bird,
            foot=step.foot,
            kind=kind,
            at=now,
            keeper=keeper,
            keeper_name=name,
            next_due=_due_again(step, kind, now),
        )
        if kind == step.kind:
            for name in REPEATED:
                setattr(again, name, getattr(step, name))
        elif kind == StepKind.DRESSING_CHANGED and (before := _dressed_with(step)):
            for name in ("product", "item_id", "amount"):
                setattr(again, name, getattr(before, name))
        again.amount = pieces_used(again.item, again.amount)
        log_step(step=again, now=now)
        if isinstance(by, Guest):
            keep_added([again], current, by=by)
    return again


def _dressed_with(step: CareStep) -> CareStep | None:
    """The newest step, up to this one, that says with what the foot is dressed."""
    put_on = (StepKind.DRESSING_ON, StepKind.DRESSING_CHANGED)
    steps = CareStep.objects.filter(bird=step.bird_id, foot=step.foot, kind__in=put_on)
    return steps.filter(at__lte=step.at).order_by("-at", "-logged_at").first()


def _due_again(step: CareStep, kind: str, now):
    """After the interval that the keepers chose last time, else the common one."""
    zone = step.flock.zone
    today = timezone.localdate(now, zone)
    if step.next_due and kind == step.kind:
        return today + (step.next_due - timezone.localdate(step.at, zone))
    bird = step.bird
    bird.flock = step.flock
    return usual_due(kind, today, bird=bird, foot=step.foot, flock=step.flock, now=now)


def _later(step: CareStep) -> CareStep:
    kinds = kinds_of_line(step.kind)
    return (
        CareStep.objects.filter(bird=step.bird_id, foot=step.foot, kind__in=kinds)
        .exclude(pk=step.pk)
        .select_related("keeper")
        .latest("at", "logged_at")
    )


def claim(*, step: CareStep, by, now=None) -> None:
    """Say "I'll do it"; ValidationError when another keeper was quicker."""
    free = CareStep.objects.filter(pk=step.pk, claimed_by=None)
    now = now or timezone.now()
    if not free.update(claimed_by=by, claimed_at=now, changed_at=now):
        other = CareStep.objects.select_related("claimed_by").get(pk=step.pk).claimed_by
        if other != by:
            raise ValidationError(f"{other} has said so already.")


def take_over(*, step: CareStep, by, now=None) -> None:
    now = now or timezone.now()
    CareStep.objects.filter(pk=step.pk).update(claimed_by=by, claimed_at=now, changed_at=now)


def release(*, step: CareStep, by, now=None) -> None:
    """Leave it to the others again; only what is one's own."""
    CareStep.objects.filter(pk=step.pk, claimed_by=by).update(
        claimed_by=None, claimed_at=None, changed_at=now or timezone.now()
    )


@transaction.atomic
def drop(*, step: CareStep, because: str, by, basis=None) -> None:
    """Do without what is due, with the reason. A dressing that is on cannot be dropped."""
    if step.kind in DRESSED:
        raise ValidationError(
            "The dressing is still on, and it tightens with time. Take it off, or check it."
        )
    if not because.strip():
        raise ValidationError("Say why it is not done.")
    step.dropped_because = because.strip()
    stored = history.settle(step, basis=basis)
    if step.dropped_because != stored.dropped_because:
        step.dropped_by = by
    history.change(step, by=by)


@history.changeset()
def enter_days(*, steps, egg_days: int | None, meat_days: int | None, days_from: str, by) -> None:
    """Fill in the days that nobody knew, for all these givings; days that are known stay."""
    for step in steps:
        if step.egg_days is None:
            step.egg_days = egg_days
        if step.meat_days is None:
            step.meat_days = meat_days
        step.days_from = step.days_from or days_from
        if step.kind == StepKind.VET:
            step.medicine_given = MedicineGiven.YES  # Or there were no days to name.
        history.change(step, by=by)


def give_to_all(*, like: CareStep, birds, given_to: str, key, by=None, now=None) -> list[CareStep]:
    """Store a medicine that all these birds got at once; undone, it is undone for all.

    ``like``: what is said of it, without a bird; ``key``: a UUID, under which nothing is stored
    twice. ``by``: a keeper or a ``Guest``; else the keeper of ``like``.
    ValidationError, by field, for what cannot be; ``keys.KeyTaken`` where it was undone meanwhile.
    """
    now = now or timezone.now()
    said = {field.attname: getattr(like, field.attname) for field in CareStep._meta.concrete_fields}
    steps = []
    for bird in birds:
        bird.flock = like.flock
        own = {"id": uuid.uuid5(key, str(bird.pk)), "given_to": given_to, "logged_at": now}
        step = CareStep(**{**said, **own})
        step.flock, step.bird = like.flock, bird
        check_step(step=step, now=now)
        steps.append(step)
    if not steps:
        raise ValidationError({"whom": "No bird is there on that day. Choose another."})
    with history.changeset() as current:
        stored = list(CareStep.objects.filter(pk__in=[step.pk for step in steps]))
        if stored:
            return stored
        keys.refuse_deleted(steps[0])
        CareStep.objects.bulk_create(steps)
        added = [(step, {}) for step in steps]
        history.keep_all(added, action=Revision.Action.ADD, by=by or like.keeper)
        count = f"{len(steps)} bird{'s' if len(steps) > 1 else ''}"
        current.words = f"{like.product}, given to {given_to} ({count})"
    return steps


# What a course says again each day it is given to a whole house.
GIVEN_AGAIN = ("kind", "product", "item_id", "given_until", *OF_A_COURSE, *SUPPLY)


@history.changeset()
def give_again(*, step: CareStep, by, now=None) -> list[CareStep]:
    """The next day of the course that ``step`` is of, to all who are there today.

    AlreadyDone when it was given today, so that two who tap at once give it once; ValidationError
    where it is over.
    """
    now = now or timezone.now()
    # Locked, so that of two keepers the second waits and then sees what the first has logged.
    Flock.objects.select_for_update().get(pk=step.flock_id)
    due = course_of(step, now=now)
    if due and not due.is_due:
        raise AlreadyDone(due.step)
    if not due:
        raise ValidationError("This course is over: nothing more is due.")
    keeper, name = credited(by)
    like = CareStep(flock=step.flock, keeper=keeper, keeper_name=name, at=now)
    for field in GIVEN_AGAIN:
        setattr(like, field, getattr(due.step, field))
    like.given_until = due.until
    birds = birds_of(step.flock, due.step.given_to, due.today, due.step)
    given = {"given_to": due.step.given_to, "key": uuid.uuid4(), "by": by, "now": now}
    return give_to_all(like=like, birds=birds, **given)


@history.changeset()
def stop_course(*, step: CareStep, because: str, by, now=None) -> None:
    """It is not given any more, with the reason; eggs and meat wait from its last giving on."""
    if not because.strip():
        raise ValidationError({"because": "Say why, so that the others know."})
    Flock.objects.select_for_update().get(pk=step.flock_id)
    due = course_of(step, now=now or timezone.now())
    if not due:
        raise ValidationError("This course is over already.")
    keys_given = [one.pk for one in due.steps]
    for one in CareStep.objects.filter(pk__in=keys_given).select_related("bird", "flock"):
        one.given_until, one.dropped_because, one.dropped_by = due.last, because.strip(), by
        history.change(one, by=by)


@transaction.atomic
def keep_prescription(*, step: CareStep, photo: Photo) -> None:
    """Put the photo of a paper beside a visit. It shows no foot, and stands among none of theirs.

    ValidationError for a photo that is one of a foot, or of another bird.
    """
    free = Photo.objects.filter(pk=photo.pk, foot="", bird=None) | Photo.objects.filter(
        pk=photo.pk, foot="", bird=step.bird_id, of_house=True
    )
    if not free.update(bird=step.bird_id, of_house=True, with_form=False):
        raise ValidationError("This picture is saved already, as another photo.")
    step.photos.add(photo)
    CareStep.objects.filter(pk=step.pk).update(changed_at=timezone.now())


# The vets


@history.changeset()
def save_contact(*, contact: VetContact, by, basis=None) -> None:
    """Only one is rung first: the others step back, in the same changeset."""
    others = VetContact.objects.filter(flock=contact.flock_id).exclude(pk=contact.pk)
    if contact._state.adding and not others.exists():
        contact.is_usual = True
    if contact.is_usual:
        for other in others.filter(is_usual=True).select_related("flock"):
            other.is_usual = False
            history.change(other, by=by)
    _store(contact, by=by, basis=basis)


def _store(record, *, by, basis) -> None:
    if record._state.adding:
        record.full_clean()
        record.save()
    else:
        history.change(record, by=by, basis=basis)


@transaction.atomic
def delete_contact(*, contact: VetContact, by) -> None:
    """Visits keep what was said; only who it was is no longer named."""
    history.delete(contact, by=by)


# The kit


@transaction.atomic
def save_item(*, item: KitItem, by, basis=None) -> None:
    _store(item, by=by, basis=basis)


@transaction.atomic
def delete_item(*, item: KitItem, by) -> None:
    """Take it out of the kit. The steps keep what they say was used."""
    history.delete(item, by=by)


@transaction.atomic
def fill_kit(*, flock) -> int:
    """Put the usual things into the list, those that are missing; returns how many."""
    new = [
        KitItem(
            flock=flock,
            name=thing.name,
            kind=thing.kind,
            unit=thing.unit,
            no_medicine=thing.no_medicine,
        )
        for thing in missing_things(KitItem.objects.filter(flock=flock))
    ]
    for item in new:
        item.full_clean()
    KitItem.objects.bulk_create(new, ignore_conflicts=True)  # Two may do it at once.
    return len(new)


# The calendar


def make_calendar_link(*, flock, keeper, at_time=None, now=None) -> str:
    """A new secret address; the one made before stops working. Returns its token, kept nowhere."""
    token = Token.new()
    now = now or timezone.now()
    CalendarLink.objects.update_or_create(
        flock=flock,
        keeper=keeper,
        defaults={
            "at_time": at_time,
            "token_hash": token_hash(token),
            "created_at": now,
            "expires_at": now + timedelta(days=CALENDAR_DAYS),
        },
    )
    return token


def end_calendar_link(*, flock, keeper) -> None:
    CalendarLink.objects.filter(flock=flock, keeper=keeper).delete()
