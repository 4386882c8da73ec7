"""Moving a record to the right bird or the other foot with all that hangs on it, as one changeset.

A photo can be in checks and with care at once, so this stands above both.
"""

from __future__ import annotations

from django.utils import timezone

from flockcare.care.models import CareStep
from flockcare.care.moving import move_step as move_care
from flockcare.care.moving import put_on_step, take_off_steps
from flockcare.feet import moving
from flockcare.feet.models import Check
from flockcare.feet.moving import put_on_check, take_off_checks
from flockcare.people import history
from flockcare.people.history import Changeset
from flockcare.photos.models import Foot, Photo
from flockcare.photos.moving import OTHER_FOOT, validate_day


def move_check(*, check: Check, by, bird, basis=None, now=None) -> Changeset:
    """To this bird: findings, photos and its place in a round go along, care given stays."""
    with history.changeset() as current:
        was = check.bird
        moving.move_check(check=check, bird=bird, by=by, basis=basis, now=now)
        _leave_others(check.photos.all(), by=by)
        current.words = f"Check of {_day(check)} moved from {was} to {bird}"
    return current


def swap_feet(*, check: Check, by, basis=None) -> Changeset:
    with history.changeset() as current:
        moving.swap_feet(check=check, by=by, basis=basis)
        current.words = f"Check of {check.bird}, {_day(check)}: moved to the other foot"
    return current


def move_step(*, step: CareStep, by, bird=None, foot=None, basis=None, now=None) -> Changeset:
    """To this bird or foot; its photos go along."""
    with history.changeset() as current:
        was = step.bird
        move_care(step=step, by=by, bird=bird, foot=foot, basis=basis, now=now)
        _leave_others(step.photos.all(), by=by)
        words = f"moved from {was} to {bird}" if bird else f"moved to the {Foot(foot).label}"
        current.words = f"Care of {_day(step)} {words}"
    return current


def move_photo(*, photo: Photo, by, bird, foot: str, basis=None) -> Changeset:
    """To this bird (None: nobody knows whose it is) and foot. It leaves the records of the bird
    that it was of; what was measured in it goes along.
    """
    with history.changeset() as current:
        validate_day(photo, bird)
        moving.move_photo(photo=photo, bird=bird, foot=foot, by=by, basis=basis)
        take_off_steps([photo], by=by)
        current.words = f"Photo moved to {photo_of(bird, foot)}"
    return current


def take_over(*, photo: Photo, record: Check | CareStep, foot: str, by) -> Changeset:
    """A photo that is on record elsewhere is one of this check or care, and of its bird."""
    with history.changeset() as current:
        move_photo(photo=photo, by=by, bird=record.bird, foot=foot)
        if isinstance(record, Check):
            put_on_check(photo, check=record, by=by)
        else:
            put_on_step(photo, step=record, by=by)
    return current


def other_foot(foot: str) -> str:
    return OTHER_FOOT[foot]


def photo_of(bird, foot: str) -> str:
    return f"{bird or 'unknown'}{foot and ', '}{foot and Foot(foot).label}"


def _leave_others(photos, *, by) -> None:
    photos = list(photos)
    take_off_checks(photos, by=by)
    take_off_steps(photos, by=by)
    moving.named_now(photos, by=by)


def _day(record) -> str:
    return f"{timezone.localtime(record.at):%-d %b %Y}"
