"""Birds, breeds and weighings in a keeper's words; see ``people.kinds``."""

from flockcare.birds import services
from flockcare.birds.models import Bird, Breed, Weighing
from flockcare.core.templatetags.flockcare import weight
from flockcare.people.kinds import Kind, Names, register


def _change_bird(bird, *, by, basis, kept) -> None:
    """What hangs on her being here ends when she leaves by this, or goes on when she is back."""
    deed = services.leave_flock if bird.left else services.put_back
    deed(bird=bird, by=by, basis=basis)


def weight_words(grams, names: Names) -> str:
    return weight(grams, names.flock)


register(
    Kind(
        Bird,
        title=lambda said: said["name"],
        page=lambda bird: ("feet:bird", bird.pk),
        hidden=frozenset({"created_at"}),
        change=_change_bird,
    ),
    Kind(
        Breed,
        title=lambda said: said["name"],
        page=lambda breed: ("birds:breeds",),
        words={"adult_grams": weight_words},
    ),
    Kind(
        Weighing,
        title=lambda said: f"Weighing of {said['bird_id']}, {said['on']}",
        page=lambda weighing: ("birds:weighings", weighing.bird_id),
        words={"grams": weight_words},
        labels={"keeper_id": "Weighed by"},
    ),
)
