"""Sorting a heap of old photos: taking them in, saying what they show, and taking that back.

What is said of many photos at once is one changeset of the history, and is undone like any other.
"""

import uuid
from collections import defaultdict
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta

from django.core.exceptions import ValidationError
from django.db.models import Exists, OuterRef, Q
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html

from flockcare.birds.models import Bird
from flockcare.core.dates import PartialDate
from flockcare.feet import histories, services
from flockcare.feet.models import Check, FootFinding, SortingNote
from flockcare.feet.scales import LESION
from flockcare.people import history, restoring
from flockcare.people.history import Changeset
from flockcare.people.kinds import by_model
from flockcare.people.models import Revision
from flockcare.photos import editing
from flockcare.photos import histories as photo_histories
from flockcare.photos.dating import by_hand, date_of
from flockcare.photos.intake import take_in
from flockcare.photos.measuring import bird_of_card
from flockcare.photos.models import IS_FACE, UNSAVED_FORMS_WAIT, DateSource, Foot, Photo, Precision
from flockcare.photos.services import card_code, keep, kept_already

UNDO_FOR = timedelta(days=1)
# A file's time is often when it was copied, and a picture is not always sent the day it was taken.
DOUBTFUL = (DateSource.FILE_TIME, DateSource.UPLOAD)
NOON = time(12)

# What sorting touches.
KINDS = by_model([*photo_histories.KINDS, *histories.KINDS])

PHOTO_FIELDS = ("bird_id", "foot", "taken", "taken_precision", "taken_source", "version")


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
    bird, foot = bird_of_card(flock, card_code(picture))

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


def sortable(flock):
    """Photos that may show a foot: neither of a house nor standing for a bird."""
    return Photo.objects.filter(~IS_FACE, flock=flock, of_house=False)


def loose(flock):
    """Photos that belong to no check: those that there is something to say about.

    Without those that still wait for the form that they came with.
    """
    in_a_check = Check.photos.through.objects.filter(photo=OuterRef("pk"))
    waits = Q(with_form=True, bird=None, added_at__gt=timezone.now() - UNSAVED_FORMS_WAIT)
    return sortable(flock).filter(~Exists(in_a_check), ~waits)


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


@contextmanager
def _changeset():
    with history.changeset() as current:
        current.tool = Revision.Tool.SORTING
        yield current


def give(*, flock, keeper, photo_ids, given: Given, under="", card=None, now=None) -> Changeset:
    """Say what these photos show; with a score they become checks.

    under: the heading under which the keeper saw them; those that somebody has sorted since are
    left alone. card: the photo whose card named them, which is answered by this. All or nothing:
    ``ValidationError`` by field when it cannot be.
    """
    now = now or timezone.now()
    with _changeset() as current:
        photos = _to_change(flock, photo_ids, under)
        before = {photo.pk: history.values(photo) for photo in photos}
        for photo in photos:
            _say(photo, given, flock.zone)
        if given.score is not None:
            _require_what_a_score_needs(photos)
        _save_photos(photos, before, by=keeper)
        if given.bird or given.nobody_knows:
            write_notes(photos, by=keeper, nobody_knows=given.nobody_knows)
        if card:
            write_notes([card], by=keeper, card_answered=True)
        looks = []
        if given.score is not None:
            looks = _looks(photos, given.score, flock)
            _save_checks(looks, flock=flock, keeper=keeper, now=now)
        skipped = len(set(map(str, photo_ids))) - len(photos)
        current.words = _words(photos, given, looks, skipped)
    return current


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
        raise ValidationError("Somebody has just sorted these. Reload the page.")
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


def _before_she_came(photo: Photo) -> bool:
    joined = photo.bird.joined
    return bool(joined) and _day(photo) < PartialDate.parse(joined).first()


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
    if not (missing["date"][0] or missing["bird"][0]):
        missing["date"] = (
            [photo for photo in photos if _before_she_came(photo)],
            "That is before the bird came to this flock. Correct the day, or leave the score out.",
        )
    errors = {
        name: f"{words} ({_of(lacking, photos)})" if len(photos) > 1 else words
        for name, (lacking, words) in missing.items()
        if lacking
    }
    if errors:
        raise ValidationError(errors)


def _of(some: list, of: list) -> str:
    return f"{len(some)} of {_photos(of)}" if len(some) < len(of) else _photos(of)


def _photos(photos: list) -> str:
    return f"{len(photos)} photo{'' if len(photos) == 1 else 's'}"


def _save_photos(photos: list[Photo], before: dict, *, by) -> None:
    changed = [photo for photo in photos if history.values(photo) != before[photo.pk]]
    held = [(photo, before[photo.pk]) for photo in changed]
    history.keep_all(held, action=Revision.Action.CHANGE, by=by)
    for photo in changed:
        photo.version += 1
    Photo.objects.bulk_update(changed, PHOTO_FIELDS, batch_size=100)


def write_notes(photos: list[Photo], *, by, **values) -> None:
    """Write into the photos' notes; none is made for what every photo has from the start."""
    notes = SortingNote.objects.in_bulk([photo.pk for photo in photos])
    for photo in photos:
        note = notes.get(photo.pk) or SortingNote()
        note.photo = photo
        action = Revision.Action.ADD if note._state.adding else Revision.Action.CHANGE
        before = history.values(note)
        for name, value in values.items():
            setattr(note, name, value)
        if history.values(note) != before:
            note.save()
            kept = {} if action == Revision.Action.ADD else before
            history.keep(note, action=action, by=by, before=kept)


def _words(photos, given: Given, looks: list, skipped: int) -> str:
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
    made = sum(look.check is None for look in looks)
    added = len(looks) - made
    if made:
        words += f" {made} check{'s' if made > 1 else ''} made."
    if added:
        words += f" Added to {added} check{'s' if added > 1 else ''} of the same day."
    if skipped:
        stayed = "it is" if skipped == 1 else "they are"
        words += f" {skipped} had just been sorted by somebody and stayed as {stayed}."
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


def _save_checks(looks: list[_Look], *, flock, keeper, now) -> None:
    for look in looks:
        try:
            if look.check:
                _add_to(look, keeper=keeper, now=now)
            else:
                _new_check(look, flock=flock, keeper=keeper, now=now)
        except ValidationError as error:
            day = PartialDate(look.day.year, look.day.month, look.day.day).words()
            words = " ".join(error.messages)
            raise ValidationError({"date": f"{look.bird}, {day}: {words}"}) from None


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
            '{} was checked on {}, and the {} was {} ({}) then. <a href="{}">Correct that check</a>'
            ", or sort the photos of that day without a score.",
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


def _new_check(look: _Look, *, flock, keeper, now) -> None:
    moments = [
        photo.taken
        for photos in look.photos.values()
        for photo in photos
        if photo.taken_precision == Precision.MOMENT
    ]
    noon = datetime.combine(look.day, NOON, tzinfo=flock.zone)
    check, _ = services.save_check(
        flock=flock,
        bird=look.bird,
        keeper=keeper,
        check_id=uuid.uuid4(),
        at=min(moments, default=min(noon, max(now, _midnight(look.day, flock)))),
        time_known=bool(moments),
        seen=services.Seen(_findings(look.scores), photos=look.photos),
        now=now,
    )
    history.keep(check, action=Revision.Action.ADD, by=keeper, before={})


def _midnight(day: date, flock) -> datetime:
    return datetime.combine(day, time(0), tzinfo=flock.zone)


def _add_to(look: _Look, *, keeper, now) -> None:
    check = look.check
    findings = list(check.findings.all())
    for finding in findings:
        finding.pk = None  # A changed check stores all of its findings as new rows.
    photos = {"": list(check.photos.all())}
    for foot, more in look.photos.items():
        photos[foot] = photos.get(foot, []) + more
    seen = services.Seen(findings + _findings(look.scores), photos=photos)
    services.change_check(check=check, keeper=keeper, at=check.at, seen=seen, now=now)


# --- Cards and photos that look the same


def follow_card(*, flock, keeper, card: Photo, photo_ids, now=None) -> Changeset:
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


def leave_card(*, flock, keeper, card: Photo) -> None:
    """The card in this photo names nothing but this photo."""
    with _changeset() as current:
        Photo.objects.select_for_update().get(pk=card.pk)  # Two may answer at once.
        write_notes([card], by=keeper, card_answered=True)
        current.words = f"The card of {card.sorting.card_bird} names no other photos."


def keep_alike(*, flock, keeper, photo_ids) -> None:
    """These photos look the same and are all to stay."""
    with _changeset() as current:
        photos = list(Photo.objects.select_for_update().filter(flock=flock, pk__in=photo_ids))
        if not photos:
            raise ValidationError("These photos are not there any more.")
        write_notes(photos, by=keeper, kept_beside_alike=True)
        current.words = f"{_photos(photos)} that look the same: all kept."


def drop(*, flock, keeper, photo_ids, now=None) -> None:
    """Delete some of several photos that look the same; they can be put back for 30 days."""
    with _changeset() as current:
        photos = _to_change(flock, photo_ids)
        for photo in photos:
            editing.delete(photo=photo, keeper=keeper, now=now)
        current.words = f"{_photos(photos)} deleted."


# --- Undo


def last_of(flock, keeper):
    """What this keeper sorted and did not undo, newest first: the first of each changeset."""
    undone = Revision.objects.filter(undoes=OuterRef("pk"))
    mine = Revision.objects.filter(flock=flock, by=keeper, tool=Revision.Tool.SORTING)
    return mine.filter(~Exists(undone), undoes=None).order_by("-pk")


def sorted_lately(flock, keeper, *, now: datetime):
    """The photos that this keeper sorted and can still go back to, also those in checks by now."""
    firsts = last_of(flock, keeper).filter(at__gte=now - UNDO_FOR).order_by().values("pk")
    return _with_records(flock, Revision.objects.filter(Q(pk__in=firsts) | Q(first__in=firsts)))


def touched_by(flock, key: int):
    """The photos that this changeset changed or put into a check."""
    return _with_records(flock, Revision.objects.of_changeset(key))


def _with_records(flock, revisions):
    records = revisions.values("record")
    in_checks = Check.photos.through.objects.filter(check_id__in=records).values("photo_id")
    return sortable(flock).filter(Q(pk__in=records) | Q(pk__in=in_checks))


def undo(*, flock, keeper, key: str) -> str:
    """Put everything back as it was before the keeper sorted so; in words.

    ``ValidationError`` when it is not theirs, undone already, or touched by somebody since.
    """
    first = last_of(flock, keeper).filter(pk=key).first() if key.isdecimal() else None
    if first is None:
        raise ValidationError("There is nothing to undo.")
    words = f"Undone: {first.words}"
    restoring.undo(flock=flock, key=first.pk, kinds=KINDS, by=keeper, words=words)
    return words
