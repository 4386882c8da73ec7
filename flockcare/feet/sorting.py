"""Sorting a heap of old photos: taking them in, saying what they show, and taking that back.

Every deed is kept as one revision of the kind ``DEED``: what it touched, as it was before and
after, so that it can be undone as long as nobody has changed any of it since. That it was undone
is a second revision with the same key, of the deed ``DELETE``.
"""

import json
import uuid
from collections import defaultdict
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta

from django.core.exceptions import ValidationError
from django.core.serializers.json import DjangoJSONEncoder
from django.db import transaction
from django.db.models import Exists, OuterRef, Q
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html

from flockcare.birds.models import Bird
from flockcare.core.dates import PartialDate
from flockcare.feet import services
from flockcare.feet.models import Check, FootFinding, SortingNote
from flockcare.feet.scales import LESION
from flockcare.people import history
from flockcare.people.models import Revision
from flockcare.photos import editing
from flockcare.photos.dating import by_hand, date_of
from flockcare.photos.intake import take_in
from flockcare.photos.measuring import named_by
from flockcare.photos.models import UNSAVED_FORMS_WAIT, DateSource, Foot, Photo, Precision
from flockcare.photos.services import card_code, keep, kept_already

DEED = "feet.sorting"
UNDO_FOR = timedelta(days=1)
# A file's time is often when it was copied, and a picture is not always sent the day it was taken.
DOUBTFUL = (DateSource.FILE_TIME, DateSource.UPLOAD)
NOON = time(12)

PHOTO_FIELDS = ("bird_id", "foot", "taken", "taken_precision", "taken_source")
NOTE_FIELDS = ("card_bird_id", "card_foot", "card_answered", "kept_beside_alike", "nobody_knows")
FINDING_FIELDS = (
    "foot",
    "score",
    "sites",
    "scab",
    "scab_mm",
    "swelling",
    "hot",
    "oozing",
    "cold_or_dark",
)


# --- Taking in


def receive(*, flock, keeper, upload, name: str, modified=None, now=None) -> tuple[Photo, bool]:
    """Take in one old picture; ``(photo, is_new)``. A card in it names its bird, and foot.

    modified: the file's own time, None where it is not known. Raises ``intake.RefusedPhoto``.
    """
    now = now or timezone.now()
    if kept := kept_already(flock=flock, upload=upload, name=name):
        return kept, False
    picture = take_in(upload, name)
    dated = date_of(camera=picture.taken, name=name, modified=modified, zone=flock.zone, now=now)
    bird, foot = _named(flock, card_code(picture))

    def note_the_card(photo):
        SortingNote.objects.create(photo=photo, card_bird=bird, card_foot=foot)

    return keep(
        picture,
        flock=flock,
        keeper=keeper,
        now=now,
        also=note_the_card if bird else None,
        bird=bird,
        foot=foot,
        **dated.fields(),
    )


def _named(flock, code: str) -> tuple[Bird | None, str]:
    """The bird of this flock, and the foot, that a card names."""
    key, foot = named_by(code)
    try:
        bird = Bird.objects.filter(flock=flock, pk=uuid.UUID(key)).first()
    except ValueError:
        bird = None
    return bird, foot if bird else ""


def loose(flock):
    """Photos that belong to no check: those that there is something to say about.

    Without those that still wait for the form that they came with.
    """
    in_a_check = Check.photos.through.objects.filter(photo=OuterRef("pk"))
    waits = Q(with_form=True, bird=None, added_at__gt=timezone.now() - UNSAVED_FORMS_WAIT)
    return Photo.objects.filter(~Exists(in_a_check), ~waits, flock=flock, of_house=False)


def unsorted(flock):
    """Photos of nobody, but for those that nobody can name."""
    return loose(flock).filter(bird=None).exclude(sorting__nobody_knows=True)


def heading(photo: Photo) -> str:
    """Where a loose photo stands on the page: ``unnamed``, ``named`` or ``unknown``."""
    if photo.bird_id:
        return "named"
    note = getattr(photo, "sorting", None)
    return "unknown" if note and note.nobody_knows else "unnamed"


# --- Saying what photos show


@dataclass(frozen=True)
class Given:
    """What a keeper says about the chosen photos; None leaves a thing as it is.

    foot: empty for the whole bird. dates_right: doubtful dates are confirmed.
    """

    bird: Bird | None = None
    nobody_knows: bool = False
    foot: str | None = None
    score: int | None = None
    date: PartialDate | None = None
    dates_right: bool = False


@dataclass
class _Deed:
    """What is changed, to be kept with its state before."""

    flock: object
    keeper: object
    photos: dict = field(default_factory=dict)
    notes: dict = field(default_factory=dict)
    checks: dict = field(default_factory=dict)
    dropped: list = field(default_factory=list)

    def keep(self, words: str, bird: Bird | None = None) -> Revision:
        made = _states_of_checks(self.checks)
        return Revision.objects.create(
            flock=self.flock,
            kind=DEED,
            record=uuid.uuid4(),
            deed=Revision.Deed.CHANGE,
            by=self.keeper,
            before={
                "words": words,
                "bird": bird and str(bird.pk),
                "photos": self.photos,
                "notes": self.notes,
                "checks": {key: [before, made[key]] for key, before in self.checks.items()},
                "dropped": self.dropped,
            },
        )


@transaction.atomic
def give(*, flock, keeper, photo_ids, given: Given, under="", card=None, now=None) -> Revision:
    """Say what these photos show; with a score they become checks. The deed, with its words.

    under: the heading under which the keeper saw them; those that somebody has sorted since are
    left alone. card: the photo whose card named them, which is answered by this. All or nothing:
    ``ValidationError`` by field when it cannot be.
    """
    now = now or timezone.now()
    photos = _to_change(flock, photo_ids, under)
    deed = _Deed(flock, keeper)
    before = {photo.pk: (_state(photo), history.values(photo)) for photo in photos}
    for photo in photos:
        _say(photo, given, flock.zone)
    if given.score is not None:
        _require_what_a_score_needs(photos)
    changed = [photo for photo in photos if _state(photo) != before[photo.pk][0]]
    _save_photos(changed, before, deed)
    if given.bird or given.nobody_knows:
        _note(deed, photos, nobody_knows=given.nobody_knows)
    if card:
        _note(deed, [card], card_answered=True)
    if given.score is not None:
        _save_checks(photos, given.score, deed, now=now)
    skipped = len(set(map(str, photo_ids))) - len(photos)
    return deed.keep(_words(photos, given, deed, skipped), given.bird)


def _to_change(flock, photo_ids, under="") -> list[Photo]:
    found = (
        loose(flock)
        .filter(pk__in=photo_ids)
        .select_related("bird", "sorting")
        .select_for_update(of=("self",))
        .in_time_order()
    )
    photos = [photo for photo in found if under in ("", heading(photo))]
    if not photos:
        raise ValidationError("These photos have been sorted meanwhile. Look again.")
    return photos


def _say(photo: Photo, given: Given, zone) -> None:
    if given.bird or given.nobody_knows:
        photo.bird = given.bird
    if given.foot is not None:
        photo.foot = given.foot
    if given.date:
        dated = by_hand(given.date, zone)
        day_is_known = photo.taken_precision in (Precision.MOMENT, Precision.DAY)
        if given.date.day and day_is_known and _day(photo) == given.date.first():
            photo.taken_source = DateSource.HAND  # the time of day may stay
        else:
            for name, value in dated.fields().items():
                setattr(photo, name, value)
    elif given.dates_right and photo.taken_source in DOUBTFUL:
        photo.taken_source = DateSource.HAND


def _day(photo: Photo) -> date:
    return photo.taken.astimezone(photo.flock.zone).date()


def _require_what_a_score_needs(photos: list[Photo]) -> None:
    known_day = (Precision.MOMENT, Precision.DAY)
    missing = {
        "bird": (
            [photo for photo in photos if photo.bird_id is None],
            "A score belongs to a bird. Say whose foot this is.",
        ),
        "foot": (
            [photo for photo in photos if not photo.foot],
            "A score belongs to one foot. Say which.",
        ),
        "date": (
            [photo for photo in photos if photo.taken_precision not in known_day],
            "A score becomes a check, and a check needs its day. Give the day, like 2023-05-14, "
            "or leave the score out.",
        ),
    }
    if not missing["date"][0]:
        missing["date"] = (
            [photo for photo in photos if photo.taken_source in DOUBTFUL],
            "The date is only that of the file, which may be the day it was copied or sent. Give "
            "the day, or tick “The dates are right”.",
        )
    errors = {
        name: f"{words} ({_of(lacking, photos)})"
        for name, (lacking, words) in missing.items()
        if lacking
    }
    if errors:
        raise ValidationError(errors)


def _of(some: list, of: list) -> str:
    return f"{len(some)} of {_photos(of)}" if len(some) < len(of) else _photos(of)


def _photos(photos: list) -> str:
    return f"{len(photos)} photo{'' if len(photos) == 1 else 's'}"


def _save_photos(changed: list[Photo], before: dict, deed: _Deed) -> None:
    Revision.objects.bulk_create(
        Revision(
            flock=deed.flock,
            kind=Photo._meta.label,
            record=photo.pk,
            deed=Revision.Deed.CHANGE,
            by=deed.keeper,
            before=before[photo.pk][1],
        )
        for photo in changed
    )
    Photo.objects.bulk_update(changed, PHOTO_FIELDS, batch_size=100)
    for photo in changed:
        deed.photos[str(photo.pk)] = [before[photo.pk][0], _state(photo)]


def _note(deed: _Deed, photos: list[Photo], **values) -> None:
    """Write into the photos' notes; none is made for what every photo has from the start."""
    notes = SortingNote.objects.in_bulk([photo.pk for photo in photos])
    for photo in photos:
        note = notes.get(photo.pk)
        if note is None and not any(values.values()):
            continue
        before = note and _state_of_note(note)
        note = note or SortingNote(photo=photo)
        for name, value in values.items():
            setattr(note, name, value)
        if before != _state_of_note(note):
            note.save()
            deed.notes[str(photo.pk)] = [before, _state_of_note(note)]


def _words(photos, given: Given, deed: _Deed, skipped: int) -> str:
    said = []
    if given.bird:
        said.append(str(given.bird))
    if given.nobody_knows:
        said.append("nobody knows whose")
    if given.foot is not None:
        said.append(Foot(given.foot).label if given.foot else "the whole bird")
    if given.score is not None:
        said.append(f"{LESION.step(given.score).short.lower()} ({given.score})")
    if given.date:
        said.append(given.date.words())
    elif given.dates_right:
        said.append("dates are right")
    words = f"{_photos(photos)}: {', '.join(said)}."
    made = sum(before is None for before in deed.checks.values())
    added = len(deed.checks) - made
    if made:
        words += f" {made} check{'s' if made > 1 else ''} made."
    if added:
        words += f" Put with {added} check{'s' if added > 1 else ''} of the same day."
    if skipped:
        stayed = "it is" if skipped == 1 else "they are"
        words += f" {skipped} had been sorted meanwhile and stayed as {stayed}."
    return words


# --- Photos with a score become checks


@dataclass
class _Look:
    """What the photos of one bird and day say, for a check that is there or a new one."""

    bird: Bird
    day: date
    check: Check | None
    scores: dict[str, int] = field(default_factory=dict)
    photos: dict[str, list[Photo]] = field(default_factory=lambda: defaultdict(list))


def _save_checks(photos: list[Photo], score: int, deed: _Deed, *, now) -> None:
    looks = _looks(photos, score, deed.flock)
    standing = _states_of_checks(str(look.check.pk) for look in looks if look.check)
    for look in looks:
        try:
            check = _add_to(look, deed, now) if look.check else _new_check(look, deed, now)
        except ValidationError as error:
            day = PartialDate(look.day.year, look.day.month, look.day.day).words()
            words = " ".join(error.messages)
            raise ValidationError({"date": f"{look.bird}, {day}: {words}"}) from None
        deed.checks[str(check.pk)] = standing.get(str(check.pk))


def _looks(photos: list[Photo], score: int, flock) -> list[_Look]:
    """One for each check that is to be made or added to.

    Raises ValidationError where a check of that day says something else of the foot.
    """
    there = _checks_of_the_days(photos, flock)
    looks: dict = {}
    conflicts: dict = {}
    for photo in photos:
        day = _day(photo)
        checks = there.get((photo.bird_id, day), [])
        told = {
            check: finding.score
            for check in checks
            for finding in check.findings.all()
            if finding.foot == photo.foot
        }
        if other := next((check for check, says in told.items() if says != score), None):
            conflicts[other.pk, photo.foot] = _conflict(flock, other, photo, told[other])
            continue
        check = next(iter([*told, *checks]), None)
        key = check.pk if check else (photo.bird_id, day)
        look = looks.setdefault(key, _Look(photo.bird, day, check))
        look.photos[photo.foot].append(photo)
        if photo.foot and check not in told:
            look.scores[photo.foot] = score
    if conflicts:
        raise ValidationError({"score": list(conflicts.values())[:5]})
    return list(looks.values())


def _checks_of_the_days(photos: list[Photo], flock) -> dict:
    """Checks that are there already, by bird and local day, in time order."""
    moments = [photo.taken for photo in photos]
    checks = Check.objects.filter(
        flock=flock,
        bird__in={photo.bird_id for photo in photos},
        at__gte=min(moments) - timedelta(days=1),
        at__lt=max(moments) + timedelta(days=2),
    )
    found = defaultdict(list)
    for check in (
        checks.select_related("bird").prefetch_related("findings", "photos").order_by("at")
    ):
        found[check.bird_id, check.at.astimezone(flock.zone).date()].append(check)
    return found


def _conflict(flock, check: Check, photo: Photo, score: int):
    return ValidationError(
        format_html(
            '{} was checked on {}, and her {} was {} ({}) then. <a href="{}">Mend that check</a>, '
            "or sort her photos of that day without a score.",
            photo.bird,
            check.at.astimezone(flock.zone).strftime("%-d %b %Y"),
            Foot(photo.foot).label,
            LESION.step(score).short.lower(),
            score,
            reverse("feet:check", args=[flock.pk, check.pk]),
        )
    )


def _findings(scores: dict[str, int]) -> list[FootFinding]:
    return [FootFinding(foot=foot, score=score) for foot, score in sorted(scores.items())]


def _new_check(look: _Look, deed: _Deed, now) -> Check:
    moments = [
        photo.taken
        for photos in look.photos.values()
        for photo in photos
        if photo.taken_precision == Precision.MOMENT
    ]
    noon = datetime.combine(look.day, NOON, tzinfo=deed.flock.zone)
    check, _ = services.save_check(
        flock=deed.flock,
        bird=look.bird,
        keeper=deed.keeper,
        check_id=uuid.uuid4(),
        at=min(moments, default=min(noon, max(now, _midnight(look.day, deed.flock)))),
        time_known=bool(moments),
        seen=services.Seen(_findings(look.scores), photos=look.photos),
        now=now,
    )
    return check


def _midnight(day: date, flock) -> datetime:
    return datetime.combine(day, time(0), tzinfo=flock.zone)


def _add_to(look: _Look, deed: _Deed, now) -> Check:
    check = look.check
    findings = [FootFinding(**_finding(finding)) for finding in check.findings.all()]
    photos = {"": list(check.photos.all())}
    for foot, more in look.photos.items():
        photos[foot] = photos.get(foot, []) + more
    seen = services.Seen(findings + _findings(look.scores), photos=photos)
    services.change_check(check=check, keeper=deed.keeper, at=check.at, seen=seen, now=now)
    return check


# --- Cards and photos that look the same


def follow_card(*, flock, keeper, card: Photo, photo_ids, now=None) -> Revision:
    """The card in this photo names those that followed it, as a keeper has confirmed."""
    note = card.sorting
    given = Given(bird=note.card_bird, foot=note.card_foot or None)
    return give(
        flock=flock,
        keeper=keeper,
        photo_ids=photo_ids,
        given=given,
        under="unnamed",
        card=card,
        now=now,
    )


@transaction.atomic
def leave_card(*, flock, keeper, card: Photo) -> Revision:
    """The card in this photo names nothing but this photo."""
    deed = _Deed(flock, keeper)
    _note(deed, [card], card_answered=True)
    return deed.keep(f"The card of {card.sorting.card_bird} names no other photos.")


@transaction.atomic
def keep_alike(*, flock, keeper, photo_ids) -> Revision:
    """These photos look the same and are all to stay."""
    deed = _Deed(flock, keeper)
    photos = list(Photo.objects.filter(flock=flock, pk__in=photo_ids))
    if not photos:
        raise ValidationError("These photos are not there any more.")
    _note(deed, photos, kept_beside_alike=True)
    return deed.keep(f"{_photos(photos)} that look the same: all kept.")


@transaction.atomic
def drop(*, flock, keeper, photo_id, now=None) -> Revision:
    """Delete one of several photos that look the same; it can be put back for 30 days."""
    photo = _to_change(flock, [photo_id])[0]
    editing.delete(photo=photo, keeper=keeper, now=now)
    return _Deed(flock, keeper, dropped=[str(photo.pk)]).keep("1 photo deleted.")


# --- Taking it back


@transaction.atomic
def undo(*, flock, keeper, deed_id, now=None) -> str:
    """Put everything back as it was before this deed of the keeper's; its words.

    ``ValidationError`` when it is not theirs, undone already, or touched by somebody since.
    """
    now = now or timezone.now()
    kept = Revision.objects.filter(flock=flock, kind=DEED, by=keeper, record=deed_id)
    deeds = list(kept.select_for_update())  # the deed itself, and that it was undone
    if len(deeds) != 1:
        raise ValidationError("There is nothing to undo.")
    was = deeds[0].before
    photos = {str(photo.pk): photo for photo in _all(flock, [*was["photos"], *was["dropped"]])}
    _require_untouched(was, photos)
    for key in was["dropped"]:
        editing.put_back(photo=photos[key], keeper=keeper, now=now)
    _restore_checks(flock, was["checks"], keeper, now)
    _restore_photos(was["photos"], photos, _Deed(flock, keeper))
    _restore_notes(was["notes"])
    Revision.objects.create(
        flock=flock, kind=DEED, record=deed_id, deed=Revision.Deed.DELETE, by=keeper, before={}
    )
    return was["words"]


def _all(flock, keys):
    return Photo.with_deleted.filter(flock=flock, pk__in=keys).select_for_update()


def _require_untouched(was: dict, photos: dict) -> None:
    checks = _states_of_checks(was["checks"])
    notes = {
        str(key): note for key, note in SortingNote.objects.in_bulk(list(was["notes"])).items()
    }
    untouched = (
        all(
            key in photos and photos[key].deleted_at is None and _state(photos[key]) == after
            for key, (_, after) in was["photos"].items()
        )
        and all(key in photos and photos[key].deleted_at for key in was["dropped"])
        and all(checks.get(key) == after for key, (_, after) in was["checks"].items())
        and all(
            key in notes and _state_of_note(notes[key]) == after
            for key, (_, after) in was["notes"].items()
        )
    )
    if not untouched:
        raise ValidationError(
            "Some of this has been changed since, so it cannot be undone in one go. Open the "
            "photos or checks and mend them there."
        )


def _restore_checks(flock, states: dict, keeper, now) -> None:
    checks = Check.objects.filter(flock=flock).select_related("bird").in_bulk(list(states))
    for key, (before, _) in states.items():
        check = checks[uuid.UUID(key)]
        if before is None:
            services.delete_check(check=check, keeper=keeper)
            continue
        photos = list(Photo.with_deleted.filter(pk__in=before["photos"]))
        findings = [FootFinding(**finding) for finding in before["findings"]]
        services.change_check(
            check=check,
            keeper=keeper,
            at=check.at,
            seen=services.Seen(findings, photos={"": photos}),
            now=now,
        )
        check.photos.set(photos)  # also when there are none, which a change leaves alone


def _restore_photos(states: dict, photos: dict, deed: _Deed) -> None:
    before = {}
    for key, (state, _) in states.items():
        photo = photos[key]
        before[photo.pk] = (_state(photo), history.values(photo))
        for name, value in state.items():
            setattr(photo, name, value)
        photo.taken = state["taken"] and datetime.fromisoformat(state["taken"])
        photo.bird_id = state["bird_id"] and uuid.UUID(state["bird_id"])
    _save_photos([photos[key] for key in states], before, deed)


def _restore_notes(states: dict) -> None:
    for key, (before, _) in states.items():
        if before is None:
            SortingNote.objects.filter(pk=key).delete()
        else:
            SortingNote.objects.filter(pk=key).update(**before)


# --- States, as JSON keeps them


def _state(photo: Photo) -> dict:
    # Written out here: Django's own encoder drops the microseconds.
    return {
        "bird_id": photo.bird_id and str(photo.bird_id),
        "foot": str(photo.foot),
        "taken": photo.taken and photo.taken.astimezone(UTC).isoformat(),
        "taken_precision": str(photo.taken_precision),
        "taken_source": str(photo.taken_source),
    }


def _state_of_note(note: SortingNote) -> dict:
    values = {name: getattr(note, name) for name in NOTE_FIELDS}
    return {**values, "card_bird_id": note.card_bird_id and str(note.card_bird_id)}


def _finding(finding: FootFinding) -> dict:
    return {name: getattr(finding, name) for name in FINDING_FIELDS}


def _states_of_checks(keys) -> dict[str, dict]:
    checks = Check.objects.filter(pk__in=list(keys)).prefetch_related("findings", "photos")
    states = {
        str(check.pk): {
            "values": history.values(check),
            "findings": sorted(
                (_finding(finding) for finding in check.findings.all()),
                key=lambda said: said["foot"],
            ),
            "photos": sorted(str(photo.pk) for photo in check.photos.all()),
        }
        for check in checks
    }
    return json.loads(json.dumps(states, cls=DjangoJSONEncoder))
