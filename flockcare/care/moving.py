"""Care that was logged for the wrong bird or the wrong foot, moved with its photos."""

from collections.abc import Iterable

from flockcare.care.models import CareStep
from flockcare.care.services import change_step
from flockcare.people import history
from flockcare.photos.models import Photo


@history.changeset()
def move_step(*, step: CareStep, by, bird=None, foot: str | None = None, basis=None, now=None):
    """It was given to this bird, on this foot; None leaves a thing as it is."""
    if bird:
        step.bird = bird
    if foot is not None:
        step.foot = foot
    change_step(step=step, by=by, basis=basis, now=now)


def take_off_steps(photos: Iterable[Photo], *, by) -> None:
    """Photos that are of another bird now are with no care of the one they were of before."""
    found = {photo.pk: photo for photo in photos}
    held = CareStep.photos.through.objects.filter(photo__in=found).values("carestep_id")
    for step in CareStep.objects.select_for_update().filter(pk__in=held):
        there = list(Photo.with_deleted.filter(care_steps=step))
        gone = [one for one in there if one.pk in found and found[one.pk].bird_id != step.bird_id]
        if gone:
            _changed(step, there, by=by)
            # Also those that are deleted and may be put back, which ``photos`` does not see.
            CareStep.photos.through.objects.filter(carestep=step, photo__in=gone).delete()


def put_on_step(photo: Photo, *, step: CareStep, by) -> None:
    """A photo of her on record is one of this care too."""
    there = list(Photo.with_deleted.filter(care_steps=step))
    if photo not in there:
        _changed(step, there, by=by)
        step.photos.add(photo)


def _changed(step: CareStep, photos: list[Photo], *, by) -> None:
    """The history keeps its photos besides, so that they come back with it."""
    before = {**history.values(step), "photos": [photo.pk for photo in photos]}
    history.keep_change(step, by=by, before=before)
