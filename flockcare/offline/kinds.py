"""What an outbox may hold: how each kind is read and stored, through the forms of the pages."""

import uuid
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime

from django import forms
from django.http import QueryDict
from django.urls import reverse
from django.utils import timezone

from flockcare.birds.forms import WeighingForm
from flockcare.birds.models import Bird, Weighing
from flockcare.birds.services import weigh
from flockcare.care.forms import StepForm, moment_field
from flockcare.care.models import CarePlan, CareStep
from flockcare.care.services import AlreadyDone, log_care, repeat_step
from flockcare.care.services_plans import do_plan
from flockcare.core.forms import record_keys
from flockcare.drawing.dates import short_words
from flockcare.feet.forms import CheckForm
from flockcare.feet.models import Check
from flockcare.feet.moving import foot_now
from flockcare.feet.services import save_check, validate_moment
from flockcare.people.models import Flock, FlockRecord, Keeper
from flockcare.photos.series import on_record
from flockcare.photos.services import sent_before


class Refused(Exception):
    """It cannot be stored as it is; ``reasons`` are sentences for the keeper who made it."""

    def __init__(self, *reasons: str):
        super().__init__(" ".join(reasons))
        self.reasons = list(reasons)


class SaysOtherwise(Refused):
    """The key is taken by something else, which can be looked at and mended at ``url``."""

    def __init__(self, reason: str, url: str = ""):
        super().__init__(reason)
        self.url = url


def saved_before(words: str, url: str) -> SaysOtherwise:
    return SaysOtherwise(
        f"This is saved already, with different values: {words}. Correct what is saved, and "
        "discard this.",
        url,
    )


@dataclass(frozen=True)
class Sent:
    """One record as it came from a phone. ``data``: the fields of the page's form.

    ``notices``: what reading it found that the keeper should hear, though it is stored.
    """

    flock: Flock
    keeper: Keeper
    bird: Bird
    key: uuid.UUID
    data: QueryDict
    now: datetime
    notices: list[str] = field(default_factory=list)


def left_out(elsewhere, lost: int) -> list[str]:
    """What a keeper is told of photos that were sent before and are not stored with the record."""
    words = [
        f"A photo chosen for this is already on record: {on_record(photo)}. It stays there; its "
        "page moves it."
        for _, photo in elsewhere
    ]
    if lost:
        words.append("A photo chosen for this has been deleted since.")
    return words


@dataclass(frozen=True)
class Stored:
    """``words`` say it in a few words, ``url`` is where it can be looked at and mended."""

    words: str
    url: str


Write = Callable[[], FlockRecord]


def read_check(sent: Sent) -> Write:
    form = CheckForm(sent.data, flock=sent.flock, bird=sent.bird, now=sent.now)
    _refuse_what_is_wrong(form, *form.feet)
    seen = form.seen()
    sent.notices.extend(left_out(form.elsewhere, form.lost_photos))

    def save() -> Check:
        check, _ = save_check(
            flock=sent.flock,
            bird=sent.bird,
            keeper=sent.keeper,
            check_id=sent.key,
            at=form.cleaned_data["at"],
            seen=seen,
            now=sent.now,
        )
        return check

    return save


def tell_check(check: Check) -> Stored:
    return Stored(f"{check.bird}, {check.summary()}", _url(check, "feet:check", check.pk))


class TapForm(forms.Form):
    """One tap on what is due; ``due``: ``step`` or ``plan``, a colon, and its key."""

    due = forms.CharField()
    kind = forms.CharField(required=False)
    at = moment_field("When")
    as_well = forms.BooleanField(required=False)


def read_tap(sent: Sent) -> Write:
    """What one tap on Today logs, at the moment of the tap. What somebody else did meanwhile is
    said, and logged as well where the keeper says so: only they know whether it was done twice.
    """
    form = TapForm(sent.data)
    _refuse_what_is_wrong(form)
    said = form.cleaned_data
    what, _, key = said["due"].partition(":")
    model = {"step": CareStep, "plan": CarePlan}.get(what)
    found = model and model.objects.filter(
        flock=sent.flock, bird=sent.bird, pk__in=record_keys([key])
    ).select_related("bird", "flock")
    if not found:
        raise Refused("The care this followed has been deleted. Correct it to log it on its own.")
    validate_moment(said["at"], bird=sent.bird, now=sent.now)
    tap = {"by": sent.keeper, "now": said["at"], "key": sent.key, "as_well": said["as_well"]}

    def save() -> CareStep:
        try:
            if what == "plan":
                return do_plan(plan=found[0], **tap)[0]
            return repeat_step(step=found[0], kind=said["kind"], **tap)
        except AlreadyDone as done:
            raise _done_meanwhile(sent, done) from None

    return save


def _done_meanwhile(sent: Sent, done: AlreadyDone) -> SaysOtherwise:
    at = done.step.at.astimezone(sent.flock.zone)
    day = short_words(at.date(), timezone.localdate(sent.now, sent.flock.zone))
    return SaysOtherwise(
        f"{done.step.by or 'Somebody'} has done this already ({day}, {at:%H:%M}). If it was done "
        "twice, save yours as well; otherwise discard it.",
        tell_step(done.step).url,
    )


def read_step(sent: Sent) -> Write:
    if "due" in sent.data:
        return read_tap(sent)
    form = StepForm(sent.data, flock=sent.flock, bird=sent.bird, keeper=sent.keeper)
    _refuse_what_is_wrong(form)
    steps, keys = form.steps(), record_keys(sent.data.getlist("kept"))
    photos = sent_before(flock=sent.flock, bird=sent.bird, keys=keys)
    sent.notices.extend(left_out([("", photo) for photo in photos.elsewhere], photos.lost))
    said = {"steps": steps, "photos": photos.own, "by": sent.keeper, "now": sent.now}
    return lambda: log_care(**said)[0]


def tell_step(step: CareStep) -> Stored:
    return Stored(f"{step.bird}, {step.words}", _url(step, "care:step", step.pk))


def read_weighing(sent: Sent) -> Write:
    weighing = Weighing(flock=sent.flock, bird=sent.bird, keeper=sent.keeper)
    form = WeighingForm(sent.data, instance=weighing, today=timezone.localdate(sent.now))
    _refuse_what_is_wrong(form)
    return lambda: weigh(weighing=form.instance)[0]


def tell_weighing(weighing: Weighing) -> Stored:
    words = f"{weighing.bird}, weighed {weighing.grams} g on {weighing.on}"
    return Stored(words, _url(weighing, "birds:weighings", weighing.bird_id))


@dataclass(frozen=True)
class Kind:
    record: type
    key_field: str
    read: Callable[[Sent], Write]
    tell: Callable[[FlockRecord], Stored]
    # Where a photo belongs that was taken of this foot: the record may have been moved since.
    foot_now: Callable[[FlockRecord, str], str] | None = None

    @property
    def takes_photos(self) -> bool:
        return self.foot_now is not None


KINDS = {
    "check": Kind(Check, "check_id", read_check, tell_check, foot_now),
    "step": Kind(CareStep, "step_id", read_step, tell_step, lambda step, foot: step.foot),
    "weighing": Kind(Weighing, "weighing_id", read_weighing, tell_weighing),
}


def _url(record: FlockRecord, name: str, key) -> str:
    return reverse(name, args=[record.flock_id, key])


def _refuse_what_is_wrong(*forms) -> None:
    valid = [form.is_valid() for form in forms]
    if not all(valid):
        raise Refused(*(sentence for form in forms for sentence in _sentences(form)))


def _sentences(form):
    """What is wrong in a form, each with the name of its field and, for a foot, which foot."""
    of = f"{form.foot.label}, ".capitalize() if hasattr(form, "foot") else ""
    for name, errors in form.errors.items():
        label = "" if name not in form.fields else f"{of}{form.fields[name].label or name}: "
        yield from (f"{label}{error}" for error in errors)
