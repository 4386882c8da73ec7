"""A check that was logged for the wrong bird or the wrong foot, moved with all that is in it.

Findings, photos with what was measured in them, and the tick of a round go along. Care given is
not tied to a check and stays: nothing says that the same slip was made twice.
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise

from django.core.exceptions import ValidationError
from django.http import Http404

from flockcare.feet.models import Check, FootFinding, SortingNote
from flockcare.feet.services import FINDING_VALUES, Seen, change_check, plain_check, snapshot
from flockcare.feet.sorting import write_notes
from flockcare.people import history
from flockcare.people.models import Revision
from flockcare.photos.models import Foot, Photo
from flockcare.photos.moving import OTHER_FOOT, move, move_along

CHANGED_SINCE = "Somebody has corrected this check since. Open it again, then move it."


@history.changeset()
def move_check(*, check: Check, bird, by, basis=None, now=None) -> None:
    """It is a check of this bird. Raises Conflict where another has moved it elsewhere since."""
    check.bird = bird
    seen = Seen(
        findings=[_copy(finding, finding.foot) for finding in check.findings.all()],
        photos=_by_foot(check.photos.all()),
        signs={},
    )
    change_check(check=check, keeper=by, at=check.at, seen=seen, basis=basis, now=now)


@history.changeset()
def swap_feet(*, check: Check, by, basis=None) -> None:
    """What was seen on one foot was seen on the other; its photos go along.

    Who asks for what another has just done gets that once. ValidationError where what was seen has
    been corrected since ``basis``.
    """
    stored = Check.objects.select_for_update().filter(pk=check.pk).first()
    if stored is None:
        raise Http404("This check has just been deleted.")
    before = snapshot(stored)
    if basis and basis.version != stored.version:
        there, then = _feet(plain_check(before)), history.held_at(check, basis.version, _feet_of)
        if then != there:
            if then is not None and then[::-1] == there:
                return
            raise ValidationError(CHANGED_SINCE)
    history.keep_change(stored, by=by, before=before)
    swapped = [_copy(one, OTHER_FOOT[one.foot]) for one in stored.findings.all()]
    stored.findings.all().delete()
    for finding in swapped:
        finding.check_record = stored
    FootFinding.objects.bulk_create(swapped)
    photos = Photo.with_deleted.filter(checks=stored).select_related("flock", "bird")
    move_along(photos, by=by, bird=stored.bird, feet=OTHER_FOOT)


def can_swap(check: Check) -> bool:
    """Whether the check says anything else when its feet are swapped."""
    left, right = _feet(plain_check(snapshot(check)))
    return left != right


def foot_now(check: Check, foot: str) -> str:
    """Where what came for this foot of the check belongs, whose feet may have been swapped since.

    For photos that arrive later than their check.
    """
    if check.version == 1 or not foot:
        return foot
    kept = Revision.objects.filter(
        record=check.pk, kind=check._meta.label, action=Revision.Action.CHANGE
    ).order_by("pk")
    states = [_feet_of(one) for one in kept.values_list("before", flat=True)]
    states.append(_feet_of(snapshot(check)))
    for before, after in pairwise(states):
        if before != after and before[::-1] == after:
            foot = OTHER_FOOT[foot]
    return foot


def take_off_checks(photos: Iterable[Photo], *, by) -> None:
    """Photos that are of another bird now are in no check of the one they were of before."""
    found = {photo.pk: photo for photo in photos}
    held = Check.photos.through.objects.filter(photo__in=found).values("check_id")
    for check in Check.objects.select_for_update().filter(pk__in=held):
        gone = [
            photo
            for photo in Photo.with_deleted.filter(checks=check, pk__in=found)
            if found[photo.pk].bird_id != check.bird_id
        ]
        if gone:
            history.keep_change(check, by=by, before=snapshot(check))
            # Also those that are deleted and may be put back, which ``photos`` does not see.
            Check.photos.through.objects.filter(check=check, photo__in=gone).delete()


def put_on_check(photo: Photo, *, check: Check, by) -> None:
    """A photo of her on record is one of this check too."""
    before = snapshot(check)
    if photo.pk not in before["photos"]:
        history.keep_change(check, by=by, before=before)
        check.photos.add(photo)


def named_now(photos: Iterable[Photo], *, by) -> None:
    """Somebody knows whose they are: what was found out while sorting says so."""
    unknown = [
        photo
        for photo in photos
        if photo.bird_id and SortingNote.objects.filter(photo=photo.pk, nobody_knows=True).exists()
    ]
    write_notes(unknown, by=by, nobody_knows=False)


def move_photo(*, photo: Photo, bird, foot: str, by, basis=None) -> None:
    """As ``photos.moving.move``, and it leaves the checks of the bird it was of."""
    with history.changeset():
        move(photo=photo, by=by, bird=bird, foot=foot, basis=basis)
        take_off_checks([photo], by=by)
        named_now([photo], by=by)


def _copy(finding: FootFinding, foot: str) -> FootFinding:
    values = {name: getattr(finding, name) for name in FINDING_VALUES}
    return FootFinding(**values | {"foot": foot})


def _by_foot(photos: Iterable[Photo]) -> dict[str, list[Photo]]:
    found: dict[str, list[Photo]] = {}
    for photo in photos:
        found.setdefault(photo.foot, []).append(photo)
    return found


def _feet(said: dict) -> list:
    return [said.get(foot.value) for foot in Foot]


def _feet_of(kept: dict) -> list:
    return _feet(plain_check(kept))
