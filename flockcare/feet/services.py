"""Every write about checks and rounds."""

from dataclasses import dataclass, field
from datetime import timedelta

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.db.models import Q
from django.http import Http404
from django.utils import timezone

from flockcare.birds.models import Bird
from flockcare.core import clock, versions
from flockcare.core.versions import BOTH, MINE
from flockcare.feet.models import (
    FOOT_SIGNS,
    NOT_ON_A_CLEAR_FOOT,
    Check,
    FootFinding,
    Round,
    RoundBird,
)
from flockcare.people import history, keys
from flockcare.people.bylines import credited
from flockcare.people.models import Revision
from flockcare.photos.models import DateSource, Foot, Photo, Precision
from flockcare.photos.moving import move_along

# A phone's clock may run ahead a little; more than this is a wrong date.
CLOCK_TOLERANCE = timedelta(minutes=10)
FUTURE = "This is in the future. Check the date and time."
# A bird that a keeper took in a round and did not finish is offered to the others again.
HOLD = timedelta(minutes=15)
# How long before a round began a bird may have been looked at for that round.
BEFORE_THE_ROUND = timedelta(days=1)
SIGNS = (
    *("gait", "limps_on", "manner", "eating", "droppings", "belly", "comb", "body_condition"),
    "note",
)


@dataclass
class Seen:
    """What one check saw: findings not yet saved, photos by foot (empty: the whole bird), signs."""

    findings: list[FootFinding]
    photos: dict[str, list[Photo]] = field(default_factory=dict)
    signs: dict = field(default_factory=dict)

    def all_photos(self) -> list[Photo]:
        return [photo for photos in self.photos.values() for photo in photos]


# In this order they stand in the history, so a new one goes to the end of the model.
FINDING_VALUES = tuple(
    column.name
    for column in FootFinding._meta.concrete_fields
    if column.name not in ("id", "check_record")
)


# As many values had a snapshot when a sign was ticked or not, with no third answer.
VALUES_OF_TICKS = FINDING_VALUES.index("clinical_grade") + 1


def _named(values) -> dict:
    """What a snapshot says of a foot, by name; it may be from before there were all of the names.

    A box that was not ticked on an affected foot said nothing.
    """
    said = dict(zip(FINDING_VALUES, values, strict=False))
    if len(values) <= VALUES_OF_TICKS and said["score"]:
        said |= {name: said.get(name) or None for name in NOT_ON_A_CLEAR_FOOT}
    return said


def _finding_values(finding: FootFinding) -> tuple:
    values = {name: getattr(finding, name) for name in FINDING_VALUES}
    return tuple({**values, "sites": tuple(sorted(finding.sites))}.values())


def _same(stored: Check, check: Check, seen: Seen) -> bool:
    """Photos aside, which may come before or after the check itself."""
    findings = sorted(map(_finding_values, stored.findings.all()))
    sent = sorted(map(_finding_values, seen.findings))
    if keys.says_the_same(stored, check) and findings == sent:
        return True
    # Somebody has corrected or moved it since; whoever sends it again cannot know.
    first = history.held_at(stored, keys.FIRST_VERSION, plain_check)
    said = plain_check(_says(check, seen))
    return (
        first is not None
        and keys.said_at_first(stored, check)
        and all(first.get(foot) == said[foot] for foot in Foot.values)
    )


def validate_moment(at, *, bird, now) -> None:
    if at > now + CLOCK_TOLERANCE:
        raise ValidationError({"at": clock.behind_in_words() or FUTURE})
    try:
        bird.validate_day(timezone.localdate(at))
    except ValidationError as error:
        raise ValidationError({"at": error.messages}) from None


def save_check(
    *, flock, bird, keeper, check_id, at, seen: Seen, time_known: bool = True, now=None
) -> tuple[Check, bool]:
    """Store one check under the key it was made with; returns ``(check, is_new)``.

    ``keeper``: who checked, a keeper or a ``Guest``.
    The same check sent again is answered as the first time. ``keys.KeyTaken`` when the key is
    taken by something else, ``ValidationError`` for what cannot be.
    """
    now = now or timezone.now()
    validate_moment(at, bird=bird, now=now)
    keeper, keeper_name = credited(keeper)
    check = Check(
        id=check_id,
        flock=flock,
        bird=bird,
        keeper=keeper,
        keeper_name=keeper_name,
        at=at,
        time_known=time_known,
        received_at=now,
        **seen.signs,
    )
    _clean(check, seen)
    keys.refuse_deleted(check)
    try:
        with transaction.atomic():
            check.save(force_insert=True)
            _attach(check, seen)
            _tell_the_round(check, now=now)
    except IntegrityError:
        stored = keys.saved_before(check)
        if stored is None and not Bird.objects.filter(pk=bird.pk).exists():
            raise ValidationError(f"Somebody has just deleted {bird}.") from None
        if stored is None:
            raise
        if not _same(stored, check, seen):
            raise keys.AlreadySaved(stored) from None
        with transaction.atomic():
            _attach_photos(stored, seen)
        return stored, False
    return check, True


def _clean(check: Check, seen: Seen) -> None:
    """Its own fields only: what it refers to is in hand, and asking for each costs a query."""
    check.full_clean(
        exclude=["flock", "bird", "keeper"], validate_unique=False, validate_constraints=False
    )
    for finding in seen.findings:
        finding.clean()


def _tell_the_round(check: Check, *, now) -> None:
    """A check counts for the round that is on, wherever it was made from; one of long ago not."""
    round_ = open_round(check.flock)
    if round_ and round_.started_at <= check.at + BEFORE_THE_ROUND:
        waiting = RoundBird.objects.filter(round=round_, bird=check.bird_id, check_record=None)
        if waiting.update(check_record=check):
            end_finished_rounds(check.flock_id, now=now)


def _attach(check: Check, seen: Seen) -> None:
    for finding in seen.findings:
        finding.check_record = check
    FootFinding.objects.bulk_create(seen.findings)
    _attach_photos(check, seen)


def _attach_photos(check: Check, seen: Seen) -> None:
    if not seen.all_photos():
        return
    for foot, photos in seen.photos.items():
        Photo.objects.filter(pk__in=[photo.pk for photo in photos], bird=None).update(
            bird=check.bird, foot=foot
        )
    _date_by_the_check(check, seen.all_photos())
    check.photos.add(*seen.all_photos())


def _date_by_the_check(check: Check, photos: list[Photo]) -> None:
    """A photo of which only the sending is known is of the day that a keeper gave its check."""
    new = Photo.objects.filter(pk__in=[photo.pk for photo in photos], checks=None)
    new.filter(taken_source=DateSource.UPLOAD).exclude(
        taken__date=timezone.localdate(check.at)
    ).update(taken=check.at, taken_precision=Precision.DAY, taken_source=DateSource.HAND)


def snapshot(check: Check) -> dict:
    """All that a check says, as the history keeps it."""
    return {
        **history.values(check),
        "findings": [list(_finding_values(finding)) for finding in check.findings.all()],
        "photos": [photo.pk for photo in check.photos.all()],
    }


def plain_check(said: dict) -> dict:
    """The plain values of a snapshot. What was seen on a foot is one value: the halves of what two
    keepers saw would make a foot that nobody has seen.
    """
    found = versions.plain(Check, said)
    if "findings" in said:
        seen = {finding[0]: finding for finding in said["findings"]}
        found |= {
            foot: _plain_finding(seen[foot]) if foot in seen else None for foot in Foot.values
        }
        found["photos"] = sorted(map(str, said["photos"]))
    return found


def _plain_finding(values) -> dict:
    said = dict.fromkeys(FOOT_SIGNS) | _named(values)
    columns = [FootFinding._meta.get_field(name) for name in said if name != "foot"]
    return {
        column.name: versions.plain_value(column.to_python(said[column.name])) for column in columns
    }


@history.changeset()
def change_check(*, check: Check, keeper, at, seen: Seen, basis=None, now=None) -> None:
    """Replace what a check says; who changed it, when and what it said before are kept.

    Where its bird is another now, its photos and its place in a round follow. ``basis``: what the
    edit was made from; see ``history.settle``.
    """
    stored = Check.objects.select_for_update().filter(pk=check.pk).first()
    if stored is None:
        raise Http404("This check has just been deleted.")
    before = snapshot(stored)
    check.at = at
    for name, value in seen.signs.items():
        setattr(check, name, value)
    check.version = stored.version
    if basis:
        seen = _settle(check, stored, seen, basis=basis)
    validate_moment(check.at, bird=check.bird, now=now or timezone.now())
    _clean(check, seen)
    if plain_check(_says(check, seen)) == plain_check(before):
        return
    history.keep(stored, action=Revision.Action.CHANGE, by=keeper, before=before)
    check.version += 1
    check.save()
    check.findings.all().delete()
    check.photos.clear()
    _attach(check, seen)
    if check.bird_id != stored.bird_id:
        hers = Photo.with_deleted.filter(checks=check, bird=stored.bird_id)
        move_along(hers.select_related("flock"), by=keeper, bird=check.bird)
        _tell_other_places(check, now=now or timezone.now())


def _tell_other_places(check: Check, *, now) -> None:
    """A check of another bird than before: in the rounds of its time she is seen, and the one that
    it was of before is not."""
    RoundBird.objects.filter(check_record=check).exclude(bird=check.bird_id).update(
        check_record=None
    )
    at_its_time = Round.objects.filter(
        Q(ended_at=None) | Q(ended_at__gte=check.at),
        flock=check.flock_id,
        started_at__lte=check.at + BEFORE_THE_ROUND,
    )
    RoundBird.objects.filter(round__in=at_its_time, bird=check.bird_id, check_record=None).update(
        check_record=check
    )
    end_finished_rounds(check.flock_id, now=now)


def _says(check: Check, seen: Seen) -> dict:
    """The snapshot of a check that is not saved yet."""
    return {
        **history.values(check),
        "findings": [list(_finding_values(finding)) for finding in seen.findings],
        "photos": [photo.pk for photo in seen.all_photos()],
    }


def _settle(check: Check, stored: Check, seen: Seen, *, basis) -> Seen:
    """What of ``check`` and ``seen`` is to stand beside what another keeper said; or Conflict."""
    mine, theirs = plain_check(_says(check, seen)), plain_check(snapshot(stored))
    base = history.held_at(check, basis.version, plain_check)
    chosen = basis.settle(stored, mine, theirs, base)
    for column in Check._meta.concrete_fields:
        if chosen.get(column.attname) != MINE:
            setattr(check, column.attname, column.value_from_object(stored))
    findings = [finding for finding in seen.findings if chosen.get(finding.foot) == MINE]
    findings += [one for one in stored.findings.all() if chosen.get(one.foot) != MINE]
    photos = dict(seen.photos) if chosen.get("photos") in (MINE, BOTH) else {}
    if chosen.get("photos") != MINE:
        there = {photo.pk for some in photos.values() for photo in some}
        for photo in stored.photos.all():
            if photo.pk not in there:
                photos[photo.foot] = [*photos.get(photo.foot, []), photo]
    return Seen(findings=findings, photos=photos, signs=seen.signs)


@transaction.atomic
def delete_check(*, check: Check, keeper) -> None:
    """Take a check back. Its photos stay with the bird."""
    history.delete(check, by=keeper, before=snapshot(check))


@transaction.atomic
def restore_check(*, check: Check, keeper, kept: dict, basis=None, now=None) -> None:
    """Let a check say again what it said in ``kept``, a snapshot. It goes the way of an edit."""
    seen = _seen_in(check, kept)
    change_check(check=check, keeper=keeper, at=check.at, seen=seen, basis=basis, now=now)


@transaction.atomic
def bring_back_check(*, check: Check, keeper, kept: dict, now=None) -> None:
    """The reverse of ``delete_check``."""
    now = now or timezone.now()
    validate_moment(check.at, bird=check.bird, now=now)
    seen = _seen_in(check, kept)
    history.bring_back(check, by=keeper, kept=kept)
    _attach(check, seen)
    _tell_the_round(check, now=now)


def _seen_in(check: Check, kept: dict) -> Seen:
    findings = []
    for values in kept.get("findings", ()):
        said = _named(values)
        columns = {name: FootFinding._meta.get_field(name) for name in said}
        finding = FootFinding(**{name: columns[name].to_python(said[name]) for name in said})
        finding.full_clean(exclude=["check_record"], validate_unique=False)
        findings.append(finding)
    photos: dict[str, list[Photo]] = {}
    for photo in Photo.objects.filter(flock=check.flock_id, pk__in=kept.get("photos", ())):
        photos.setdefault(photo.foot, []).append(photo)
    return Seen(findings, photos, {name: getattr(check, name) for name in SIGNS})


def open_round(flock) -> Round | None:
    return Round.objects.filter(flock=flock, ended_at=None).first()


@transaction.atomic
def start_round(*, flock, keeper, bird_ids, now=None) -> Round:
    """The round that is open, or a new one through these birds in this order."""
    if round_ := open_round(flock):
        return round_
    if not bird_ids:
        raise ValidationError("No bird is due for a check.")
    round_ = Round(flock=flock, started_by=keeper, started_at=now or timezone.now())
    try:
        with transaction.atomic():
            round_.save()
    except IntegrityError:  # Another keeper was quicker.
        return open_round(flock)
    RoundBird.objects.bulk_create(
        RoundBird(round=round_, bird_id=bird_id, place=place)
        for place, bird_id in enumerate(bird_ids)
    )
    return round_


@transaction.atomic
def take_next_bird(*, round_: Round, keeper, now=None) -> RoundBird | None:
    """Put the next waiting bird into this keeper's hands; None when nobody is left to take.

    A bird that this keeper holds comes first, so that a round goes on where it stopped. A bird
    in another keeper's hands is passed by until their hold has run out.
    """
    now = now or timezone.now()
    waiting = (
        round_.birds.select_for_update(of=["self"])
        .waiting()
        .filter(Q(held_by=keeper) | Q(held_by=None) | Q(held_at__lt=now - HOLD))
    )
    place = waiting.filter(held_by=keeper).first() or waiting.first()
    if place:
        place.held_by, place.held_at = keeper, now
        place.save(update_fields=["held_by", "held_at"])
    return place


@transaction.atomic
def pass_over(*, place: RoundBird, now=None) -> None:
    """Go on without this bird; she stays due."""
    place.passed_over = True
    place.save(update_fields=["passed_over"])
    end_finished_rounds(place.round.flock, now=now or timezone.now())


def passed_over_last(flock) -> list[str]:
    """The names of those that the round which ended last went on without; one query."""
    last = Round.objects.filter(flock=flock).exclude(ended_at=None).order_by("-ended_at")[:1]
    places = RoundBird.objects.filter(round__in=last.values("pk"), passed_over=True)
    still_due = places.filter(check_record=None, bird__left="")
    return list(still_due.values_list("bird__name", flat=True))


def end_round(*, round_: Round, now=None) -> None:
    Round.objects.filter(pk=round_.pk, ended_at=None).update(ended_at=now or timezone.now())


def end_finished_rounds(flock, *, now) -> None:
    """After the last bird of a round is seen, is passed over, or leaves the flock."""
    unfinished = RoundBird.objects.waiting().values("round")
    Round.objects.filter(flock=flock, ended_at=None).exclude(pk__in=unfinished).update(ended_at=now)
