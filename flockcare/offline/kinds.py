"""What an outbox may hold: how each kind is read and stored, through the forms of the pages."""

import uuid
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from django.http import QueryDict
from django.urls import reverse
from django.utils import timezone

from flockcare.birds.forms import WeighingForm
from flockcare.birds.models import Bird, Weighing
from flockcare.birds.services import weigh
from flockcare.care.forms import StepForm
from flockcare.care.models import CareStep
from flockcare.care.services import log_step
from flockcare.core.forms import record_keys
from flockcare.feet.forms import CheckForm
from flockcare.feet.models import Check, in_few_words
from flockcare.feet.services import AlreadySaved, save_check
from flockcare.people.models import Flock, Keeper, Revision
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
        f"This is saved already, in other words: {words}. Mend what is saved, and discard this.",
        url,
    )


@dataclass(frozen=True)
class Sent:
    """One record as it came from a phone. ``data``: the fields of the page's form."""

    flock: Flock
    keeper: Keeper
    bird: Bird
    key: uuid.UUID
    data: QueryDict
    now: datetime


@dataclass(frozen=True)
class Stored:
    """``words`` say it in a few words, ``url`` is where it can be looked at and mended."""

    words: str
    url: str


Deed = Callable[[], Stored]


def read_check(sent: Sent) -> Deed:
    form = CheckForm(sent.data, flock=sent.flock, bird=sent.bird, now=sent.now)
    _refuse_what_is_wrong(form, *form.feet)
    seen = form.seen()

    def save() -> Stored:
        try:
            check, _ = save_check(
                flock=sent.flock,
                bird=sent.bird,
                keeper=sent.keeper,
                check_id=sent.key,
                at=form.cleaned_data["at"],
                seen=seen,
                now=sent.now,
            )
        except AlreadySaved as saved:
            raise _saved_check(sent, saved.check) from None
        words = in_few_words(seen.findings)
        return Stored(f"{sent.bird}, {words}", _url(sent, "feet:check", check.pk))

    return save


def _saved_check(sent: Sent, check: Check) -> SaysOtherwise:
    if check.flock_id != sent.flock.pk:
        return SaysOtherwise("This key is taken.")
    words = f"{check.bird}, {check.summary()}"
    return saved_before(words, _url(sent, "feet:check", check.pk))


def read_step(sent: Sent) -> Deed:
    form = StepForm(sent.data, flock=sent.flock, bird=sent.bird, keeper=sent.keeper)
    _refuse_what_is_wrong(form)
    step, keys = form.step(), record_keys(sent.data.getlist("kept"))
    photos = sent_before(flock=sent.flock, bird=sent.bird, keys=keys)

    def save() -> Stored:
        stored, _ = log_step(step=step, photos=photos, now=sent.now)
        return Stored(f"{sent.bird}, {stored.words}", _url(sent, "care:step", stored.pk))

    return save


def read_weighing(sent: Sent) -> Deed:
    url = _url(sent, "birds:weighings", sent.bird.pk)
    weighing = Weighing(pk=sent.key, flock=sent.flock, bird=sent.bird, keeper=sent.keeper)
    # Sent by the page already, and only its answer was lost.
    stored = Weighing.objects.filter(flock=sent.flock, pk=sent.key).first()
    form = WeighingForm(sent.data, instance=stored or weighing, today=timezone.localdate(sent.now))
    before = stored and (stored.bird_id, stored.on, stored.grams)
    _refuse_what_is_wrong(form)

    def save() -> Stored:
        said = form.cleaned_data
        if before is None:
            weigh(weighing=form.instance)
        elif before != (sent.bird.pk, said["on"], said["grams"]):
            raise saved_before(f"{stored.bird}, weighed {before[2]} g on {before[1]}", url)
        return Stored(f"{sent.bird}, weighed {said['grams']} g", url)

    return save


@dataclass(frozen=True)
class Kind:
    record: type
    key_field: str
    read: Callable[[Sent], Deed]
    takes_photos: bool = True


KINDS = {
    "check": Kind(Check, "check_id", read_check),
    "step": Kind(CareStep, "step_id", read_step),
    "weighing": Kind(Weighing, "weighing_id", read_weighing, takes_photos=False),
}


def _url(sent: Sent, name: str, key) -> str:
    return reverse(name, args=[sent.flock.pk, key])


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


def refuse_what_was_taken_back(sent: Sent) -> None:
    """A record that somebody took back on purpose does not come back by being sent again."""
    deleted = Revision.objects.filter(
        flock=sent.flock, record=sent.key, deed=Revision.Deed.DELETE
    ).select_related("by")
    if revision := deleted.first():
        who = revision.by.name if revision.by else "Somebody"
        raise SaysOtherwise(f"This was saved, and {who} took it back since.")
