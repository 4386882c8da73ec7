"""A bird that was added by mistake goes again, as long as nothing is recorded about her."""

from flockcare.birds.models import Bird
from flockcare.people import history
from flockcare.people.deletion import of_the_flock, what_hangs_on
from flockcare.people.models import FlockRecord

# Apps above this one name what alone does not keep her.
_going_along: list[type[FlockRecord]] = []


def goes_along(model: type[FlockRecord]) -> None:
    """Records of this kind go with her, and come back with her."""
    if model not in _going_along:
        _going_along.append(model)


def recorded(bird: Bird) -> list[tuple[int, str]]:
    """How many of what would be lost with her; photos that can be put back count. One query."""
    related = [each for each in of_the_flock(bird) if each.related_model not in _going_along]
    return what_hangs_on(bird, related)


def remove(*, bird: Bird, by) -> None:
    """Expects that nothing is recorded, and to run inside the caller's transaction."""
    for model in _going_along:
        for record in model._base_manager.filter(bird=bird).select_related("flock"):
            history.delete(record, by=by)
    history.delete(bird, by=by)
