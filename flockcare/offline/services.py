"""Storing what phones send, once and only once.

A record, what belongs to it and its receipt are one transaction; photos come after their record,
each with a key and a receipt of its own.
"""

import contextlib
import hashlib
import json
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone

from flockcare.birds.models import Bird
from flockcare.core import clock
from flockcare.feet.services import CLOCK_TOLERANCE
from flockcare.offline.kinds import (
    KINDS,
    Refused,
    SaysOtherwise,
    Sent,
    Stored,
    saved_before,
)
from flockcare.offline.models import Receipt
from flockcare.pages import moving
from flockcare.people import history
from flockcare.people.keys import AlreadySaved, KeyTaken
from flockcare.photos import measuring
from flockcare.photos.intake import RefusedPhoto
from flockcare.photos.models import Photo
from flockcare.photos.services import add_photo, digest_of_file, is_elsewhere, kept_already
from flockcare.photos.views import elsewhere


@dataclass(frozen=True)
class Envelope:
    """What comes with everything that is sent. ``made``, ``sent``: by the phone's clock."""

    key: uuid.UUID
    kind: str
    body_hash: str
    made: datetime | None
    sent: datetime | None

    def clock_ahead(self, now: datetime) -> timedelta:
        return self.sent - now if self.sent else timedelta(0)


def digest(*parts) -> str:
    return hashlib.sha256(json.dumps(parts, sort_keys=True, default=str).encode()).hexdigest()


def store_record(*, envelope: Envelope, sent: Sent) -> dict:
    """The answer to a record from an outbox; ``Refused`` with the reasons."""
    if answer := _answered(envelope, sent.flock):
        return answer
    kind = KINDS[envelope.kind]
    try:
        write = kind.read(sent)
        return _once(envelope, sent, lambda: kind.tell(write()))
    except AlreadySaved as saved:
        told = kind.tell(saved.record)
        raise saved_before(told.words, told.url) from None
    except KeyTaken as taken:
        raise SaysOtherwise(taken.reason) from None
    except ValidationError as error:
        raise Refused(*error.messages, *_clock_in_words(envelope, sent.now)) from None


class OnRecord(Refused):
    """The photo is on record as another bird's; only somebody who says so moves it here."""

    def __init__(self, photo: Photo):
        self.photo = elsewhere(photo)
        super().__init__(f"This photo is already on record: {self.photo['words']}.")


def store_photo(
    *,
    envelope: Envelope,
    flock,
    keeper,
    record_key: uuid.UUID,
    foot: str,
    upload,
    now: datetime,
    take_over: bool = False,
) -> dict:
    """The answer to a photo of a record that came before; ``Refused`` with the reason.

    take_over: somebody has said that it is of this record, though it is on record elsewhere.
    """
    if answer := _answered(envelope, flock):
        # The phone still has the picture, should its files have been lost here since.
        kept_already(flock=flock, upload=upload, name=upload.name)
        return answer
    kind = KINDS[envelope.kind]
    record = kind.record.objects.filter(flock=flock, pk=record_key).select_related("bird").first()
    if record is None:
        raise SaysOtherwise("The record that this photo belongs to is not here, or was deleted.")
    _refuse_key_of_another_photo(envelope.key, flock, upload)
    answer = {}

    def attach(photo: Photo) -> None:
        its = kind.foot_now(record, foot)
        Photo.objects.filter(pk=photo.pk, bird=None).update(bird=record.bird, foot=its)
        record.photos.add(photo)
        stored = Stored(f"a photo of {record.bird}", "")
        answer.update(_receive(envelope, flock, keeper, stored, now))

    try:
        photo, _ = add_photo(
            flock=flock,
            keeper=keeper,
            upload=upload,
            name=upload.name,
            key=envelope.key,
            also=attach,
            now=now,
        )
    except RefusedPhoto as refused:
        raise Refused(refused.reason) from None
    except IntegrityError:
        return _answer_of_the_first(envelope, flock)
    if not answer:
        its = kind.foot_now(record, foot)
        _attach_kept(photo, record, attach, by=keeper, foot=its, take_over=take_over)
    answer = answer or _answer_of_the_first(envelope, flock)
    return {**answer, "notices": [*answer["notices"], *_card_in_words(photo, record)]}


def _card_in_words(photo: Photo, record) -> list[str]:
    """Read the card in the photo, which takes its time, once it is stored."""
    reading = measuring.note_card(photo)
    named, _ = measuring.bird_of_card(photo.flock, reading.code) if reading else (None, "")
    if named is None or named.pk == record.bird_id:
        return []
    return [
        f"The card in a photo of {record.bird} is {named}’s. If this was {named}, open what was "
        "logged and tap “Wrong bird?”."
    ]


def _refuse_key_of_another_photo(key: uuid.UUID, flock, upload) -> None:
    photo = Photo.with_deleted.filter(pk=key).first()
    if photo is None:
        return
    kept = (photo.flock_id, photo.deleted_at, photo.sha256)
    if kept != (flock.pk, None, digest_of_file(upload)):
        raise SaysOtherwise(KeyTaken().reason)


def _attach_kept(photo: Photo, record, attach, *, by, foot: str, take_over: bool) -> None:
    """The flock has this very file already; then only the record learns of it."""
    with contextlib.suppress(IntegrityError), history.changeset():
        if is_elsewhere(photo, record.bird_id):
            if not take_over:
                raise OnRecord(photo)
            moving.take_over(photo=photo, record=record, foot=foot, by=by)
        attach(photo)


def _answered(envelope: Envelope, flock) -> dict | None:
    """The answer given before to this key; ``SaysOtherwise`` when it came with something else."""
    receipt = Receipt.objects.filter(pk=envelope.key).first()
    if receipt is None:
        return None
    if receipt.flock_id != flock.pk:
        raise SaysOtherwise(KeyTaken().reason)
    if (receipt.kind, receipt.body_hash) != (envelope.kind, envelope.body_hash):
        raise saved_before(receipt.answer["words"], receipt.answer["url"])
    return receipt.answer


def answer_given(*, flock, key: uuid.UUID, kind: str) -> dict | None:
    """What was answered when a photo of this key was stored, whose parts are gone since."""
    receipt = Receipt.objects.filter(pk=key, flock=flock, kind=kind).first()
    return receipt and receipt.answer


def _once(envelope: Envelope, sent: Sent, write: Callable[[], Stored]) -> dict:
    try:
        with transaction.atomic():
            stored = write()
            return _receive(envelope, sent.flock, sent.keeper, stored, sent.now, sent.notices)
    except IntegrityError:
        return _answer_of_the_first(envelope, sent.flock)


def _receive(envelope: Envelope, flock, keeper, stored: Stored, now, notices=()) -> dict:
    """Write the receipt inside the transaction of what it is for."""
    answer = {
        "key": str(envelope.key),
        "words": stored.words,
        "url": stored.url,
        "received": now.isoformat(),
        "notices": [*notices, *_clock_in_words(envelope, now)],
    }
    Receipt.objects.create(
        id=envelope.key,
        flock=flock,
        kind=envelope.kind,
        keeper=keeper,
        body_hash=envelope.body_hash,
        answer=answer,
        made_at=envelope.made,
        sent_at=envelope.sent,
        received_at=now,
    )
    return answer


def _answer_of_the_first(envelope: Envelope, flock) -> dict:
    """The same key came twice at one moment, and the other was first."""
    if (answer := _answered(envelope, flock)) is None:
        raise SaysOtherwise(KeyTaken().reason)
    return answer


def _clock_in_words(envelope: Envelope, now: datetime) -> list[str]:
    ahead = envelope.clock_ahead(now)
    if abs(ahead) <= CLOCK_TOLERANCE:
        return []
    if ours := clock.behind_in_words():
        return [ours]
    way = "ahead" if ahead > timedelta(0) else "behind"
    return [
        f"The clock of this phone is {_long(abs(ahead))} {way}. Set it right, and check the date "
        "of the record."
    ]


def _long(time: timedelta) -> str:
    for size, word in ((timedelta(days=1), "day"), (timedelta(hours=1), "hour")):
        if count := time // size:
            return f"{count} {word}{'s' if count > 1 else ''}"
    return f"{time // timedelta(minutes=1)} minutes"


def bird_of(flock, key: uuid.UUID) -> Bird:
    bird = Bird.objects.filter(flock=flock, pk=key).select_related("breed", "flock").first()
    if bird is None:
        raise Refused("This bird is not in the flock any more.")
    return bird


def moment(text) -> datetime | None:
    """A moment as phones write it (ISO 8601 with its offset), or None."""
    try:
        found = datetime.fromisoformat(text)
    except (TypeError, ValueError):
        return None
    return found if timezone.is_aware(found) else None
