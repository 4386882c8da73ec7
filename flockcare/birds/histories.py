"""Breeds, weighings and states in a keeper's words; see ``people.kinds``."""

from flockcare.birds.models import BirdState, Breed, Weighing
from flockcare.core.templatetags.flockcare import weight
from flockcare.people.kinds import Kind, Names, register


def weight_words(grams, names: Names) -> str:
    return weight(grams, names.flock)


register(
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
    Kind(
        BirdState,
        title=lambda said: f"{said['bird_id']} {said['kind']}, from {said['since']}",
        page=lambda state: ("birds:states", state.bird_id),
        labels={"keeper_id": "Said by"},
    ),
)
