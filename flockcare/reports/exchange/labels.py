"""What each bird of a flock is called in a file, so that no two birds share it.

A name can be given again after its bird has left. Then the bird that is here keeps the plain name,
or the one that left last; the others are written like "Thyme (left 2022-05-03)", and a number
follows where that is not enough. Names that differ in capitals only count as one.
"""

from collections import defaultdict
from itertools import count


def label_birds(birds) -> dict:
    """From each bird's key to its label, the same for the same birds in any installation."""
    in_turn = sorted(birds, key=_identity)
    in_turn.sort(key=lambda bird: bird.left, reverse=True)
    in_turn.sort(key=lambda bird: bird.left != "")
    labels, used = {}, {bird.name.lower() for bird in in_turn}
    plain, numbers = set(), defaultdict(lambda: count(1))
    for bird in in_turn:
        if bird.name.lower() not in plain:
            plain.add(bird.name.lower())
            labels[bird.pk] = bird.name
            continue
        candidates = (_label(bird, number) for number in numbers[bird.name.lower(), bird.left])
        label = next(label for label in candidates if label.lower() not in used)
        used.add(label.lower())
        labels[bird.pk] = label
    return labels


def _identity(bird):
    # The last part decides between birds that are told apart by nothing in the records.
    return (
        *(bird.name.lower(), bird.name, bird.joined, bird.hatched, bird.band),
        *(bird.left_reason, bird.left_note, bird.traits, bird.created_at),
    )


def _label(bird, number: int) -> str:
    left = f"left {bird.left}" if bird.left else "here"
    return f"{bird.name} ({left}, {number})" if number > 1 else f"{bird.name} ({left})"
