"""Making, opening and ending links to a bird's sheet, and a sitter's with what they tick off."""

from datetime import date, datetime, time, timedelta

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from flockcare.care import services as care_services
from flockcare.care import services_plans, services_tasks
from flockcare.care.courses import MEDICINE
from flockcare.care.models import CarePlan, CareStep, TaskDone
from flockcare.care.parts import done_with
from flockcare.core.models import Token, token_hash
from flockcare.people import history
from flockcare.people.models import Flock, Keeper, Membership
from flockcare.people.services import LinkGone
from flockcare.vetsheet.models import Purpose, ShareLink, ShareOpening
from flockcare.vetsheet.sitting import sitting

SHARE_DAYS = (7, 30, 90)
# Each opening is written down: whoever has the link must not be able to fill the database.
SHARE_OPENINGS = 1000
# A sitter's taps count too.
SITTER_OPENINGS = 3000
MOST_SITTING, MOST_AHEAD = timedelta(weeks=6), timedelta(days=92)
GONE = "This link was turned off or has expired. Ask for a new one."


def share(
    *, membership: Membership, bird, first, last, days: int, nameless: bool, question: str = ""
) -> tuple[ShareLink, str]:
    """A new link to one bird from ``first`` (None: ever) to ``last``, and its token, not kept."""
    token = Token.new()
    link = ShareLink(
        membership=membership,
        bird=bird,
        first=first,
        last=last,
        nameless=nameless,
        question=question,
        token_hash=token_hash(token),
        expires_at=timezone.now() + timedelta(days=days),
        uses_left=SHARE_OPENINGS,
    )
    link.save(force_insert=True)
    return link, token


@transaction.atomic
def share_with_sitter(
    *, membership: Membership, name: str, first: date, last: date, note: str = ""
) -> tuple[ShareLink, str]:
    """A link for whoever keeps the birds from ``first`` to the end of ``last``, and its token.

    ValidationError, by field, for days that cannot be, and for a name that another sitter has whose
    link still works: what they tick off stands under it.
    """
    flock = membership.flock
    # Of two who make one for the same name the second waits, and then sees the first.
    Flock.objects.select_for_update().get(pk=flock.pk)
    now = timezone.now()
    today = timezone.localdate(now, flock.zone)
    if first < today:
        raise ValidationError({"first": "This day is past."})
    if first - today > MOST_AHEAD:
        raise ValidationError({"first": f"At most {MOST_AHEAD.days} days ahead."})
    if last < first:
        raise ValidationError({"last": "This is before the first day."})
    if last - first >= MOST_SITTING:
        raise ValidationError({"last": f"At most {MOST_SITTING.days // 7} weeks with one link."})
    others = ShareLink.objects.in_flock(flock).open(now=now).filter(purpose=Purpose.SITTER)
    if others.filter(name__iexact=name).exists():
        raise ValidationError(
            {
                "name": f"There is a link for {name} already. Turn that one off, or add a "
                "second name."
            }
        )
    token = Token.new()
    link = ShareLink(
        membership=membership,
        purpose=Purpose.SITTER,
        name=name,
        first=first,
        last=last,
        note=note,
        token_hash=token_hash(token),
        expires_at=datetime.combine(last + timedelta(1), time(), flock.zone),
        uses_left=SITTER_OPENINGS,
    )
    link.full_clean(exclude=["membership"])
    link.save(force_insert=True)
    return link, token


@transaction.atomic
def change_note(*, link: ShareLink, by: Keeper, basis=None) -> None:
    history.change(link, by=by, basis=basis)


def shared(*, token: str, purpose: Purpose) -> ShareLink:
    """The link of this token, with its flock and maker. LinkGone when it opens nothing any more."""
    links = ShareLink.objects.usable(token, now=timezone.now()).filter(purpose=purpose)
    link = links.select_related("membership__flock", "membership__keeper").first()
    if link is None:
        raise LinkGone(GONE)
    return link


def spend(*, token: str) -> None:
    """Count a tap under the link as a use. LinkGone when it ended in this very moment."""
    if not ShareLink.objects.use(token, now=timezone.now()):
        raise LinkGone(GONE)


def note_opening(*, link: ShareLink, token: str, what: str) -> None:
    """Write down that the link was opened. LinkGone when it ended in this very moment."""
    # No transaction: one of the two without the other does no harm, and a vet waits for neither.
    spend(token=token)
    ShareOpening.objects.create(link=link, what=what)


@transaction.atomic
def revoke_share(*, link: ShareLink, by: Keeper) -> None:
    if link.revoked_at is None:
        link.revoked_at = timezone.now()
        history.change(link, by=by)


NOT_DUE = "That is done already, or no longer due."


def tick(*, link: ShareLink, key: str, kind: str = "", now=None) -> str:
    """Do what the sitter's page offers under this key; returns what, in words. ``kind``: as one of
    its buttons says.

    ValidationError where the page does not offer it, or no longer.
    """
    now = now or timezone.now()
    thing = next((one for one in sitting(link, now=now).now if one.key == key), None)
    if thing is None or kind not in [value for _, value in thing.taps]:
        raise ValidationError(NOT_DUE)
    what, _, of = key.partition(":")
    try:
        if what == "plan":
            plan = CarePlan.objects.get(flock=link.flock, pk=of)
            services_plans.do_plan(plan=plan, by=link.guest, now=now)
        elif what == "step":
            step = CareStep.objects.select_related("flock", "bird").get(flock=link.flock, pk=of)
            care_services.repeat_step(step=step, by=link.guest, kind=kind, now=now)
        elif of.startswith(f"{MEDICINE}:"):
            step = CareStep.objects.select_related("flock").get(
                flock=link.flock, pk=of.removeprefix(f"{MEDICINE}:")
            )
            care_services.give_again(step=step, by=link.guest, now=now)
        else:
            task, _, house = of.partition(":")
            on = timezone.localdate(now, link.flock.zone)
            done = TaskDone(flock=link.flock, kind=task, on=on, house_id=house)
            services_tasks.do_task(done=done, by=link.guest)
    except care_services.AlreadyDone:
        raise ValidationError(NOT_DUE) from None
    return thing.title


def undo_tick(*, link: ShareLink, key: str, now=None) -> str:
    """Undo what the sitter did today; returns what, in words. ValidationError for anything else."""
    now = now or timezone.now()
    own = {done.key: done.words for done in sitting(link, now=now).done if done.key}
    if key not in own:
        raise ValidationError("Only what you did today can be undone here.")
    what, _, of = key.partition(":")
    if what == "task":
        if done := TaskDone.objects.filter(flock=link.flock, pk=of).first():
            services_tasks.undo_task(done=done, by=link.guest)
    elif step := CareStep.objects.filter(flock=link.flock, pk=of).first():
        care_services.undo_care(steps=done_with(step), by=link.guest)
    return own[key]
