"""A bird leaves the flock, comes back, or was added by mistake; with where she lives."""

from django.core.exceptions import ValidationError
from django.utils import timezone

from flockcare.birds.models import Bird, BirdState
from flockcare.birds.services import end_states, resume_states
from flockcare.core.dates import PartialDate
from flockcare.feet.services import end_finished_rounds
from flockcare.housing.models import Stay
from flockcare.housing.services import end_stays, resume_stay
from flockcare.people import history
from flockcare.people.deletion import of_the_flock, what_hangs_on
from flockcare.people.models import Revision

GO_WITH_HER = (Stay, BirdState)


@history.changeset()
def leave_flock(*, bird: Bird, by, basis=None) -> None:
    """Keep when and why a bird left, as set on ``bird``; her stay and her states end with that,
    and a round that waited for her alone.
    """
    if not bird.left:
        raise ValidationError({"left": "Say when she left; the year is enough."})
    history.change(bird, by=by, basis=basis)
    on = min(timezone.localdate(), PartialDate.parse(bird.left).last())
    end_stays(bird=bird, on=on, by=by)
    end_states(bird=bird, on=on, by=by)
    end_finished_rounds(bird.flock_id, now=timezone.now())


@history.changeset()
def came_back(*, bird: Bird, by) -> None:
    """She is back, or had never left. What was written then stays in the history."""
    bird.left = bird.left_reason = bird.left_note = ""
    put_back(bird=bird, by=by)


@history.changeset()
def put_back(*, bird: Bird, by, basis=None) -> None:
    """A change of a bird that is in the flock, and was perhaps not before; as ``came_back``."""
    was_gone = history.settle(bird, basis=basis).left
    history.change(bird, by=by)
    if was_gone and not bird.left:
        ended = _ended_with_her_leaving(bird)
        resume_stay(bird=bird, by=by, ended=ended)
        resume_states(bird=bird, by=by, ended=ended)


def _ended_with_her_leaving(bird: Bird):
    """A function of a record's key: the change by which her leaving ended it.

    None where there is none, or where somebody has changed the record since.
    """
    left = Revision.objects.filter(record=bird.pk, before__left="").order_by("-pk").first()

    def ended(key) -> Revision | None:
        newest = Revision.objects.filter(record=key).order_by("-pk").first()
        together = left and newest and newest.changeset == left.changeset
        return newest if together else None

    return ended


def recorded(bird: Bird) -> list[tuple[int, str]]:
    """How many of what would be lost with her; photos that can be put back count. One query.

    Where she lives and her states do not keep her: they go with her, and come back with her.
    """
    related = [each for each in of_the_flock(bird) if each.related_model not in GO_WITH_HER]
    return what_hangs_on(bird, related)


@history.changeset()
def remove_bird(*, bird: Bird, by) -> None:
    """Of a bird that was added by mistake; ValidationError while anything is recorded about her."""
    # Whoever records something about her waits, and is then told that she is gone.
    Bird.objects.select_for_update().filter(pk=bird.pk).first()
    if recorded(bird):
        raise ValidationError(
            f"Something is recorded about {bird} already, so she cannot be deleted."
        )
    for model in GO_WITH_HER:
        for record in model.objects.filter(bird=bird).select_related("flock"):
            history.delete(record, by=by)
    history.delete(bird, by=by)
