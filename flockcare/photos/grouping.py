"""Sorting a heap of photos into groups: by time, by the card before them, by their looks. Pure."""

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np

# Photos that follow one another within this time were taken on the same occasion.
GAP = timedelta(minutes=15)
# Of 64 bits of `intake.difference_hash`, how many may differ in the same picture: tests/studies/
# alike.py has the distances it was chosen by.
MOST_BITS = 4
# From these ratios on a copy is told to be sharper (see sharpness.py), or larger. On eight painted
# feet, 1600 pixels wide, a blur of 2 pixels gave 3.8 to 16, what a messenger leaves 0.7 to 1.8.
SHARPER = 2.5
LARGER = 1.1


@dataclass(frozen=True)
class Shot:
    """One photo. Photos of another ``kind`` of date are never in one group.

    exact  whether ``taken`` is the moment itself, so that gaps between photos mean something
    taken  the moment, or the beginning of the day, month or year; None when nothing is known
    place  its number in the order in which the files came, for photos that time does not order
    names  the bird (or bird and foot) whose card is in it and names those that follow, else None
    open   whether a card may name it: nobody has yet
    """

    key: Hashable
    kind: str
    exact: bool = False
    taken: datetime | None = None
    place: int = 0
    names: Any = None
    open: bool = True


class Group(NamedTuple):
    kind: str
    shots: list[Shot]

    @property
    def start(self) -> datetime | None:
        return self.shots[0].taken


def into_groups(shots: Iterable[Shot], *, gap: timedelta = GAP) -> list[Group]:
    """Groups in time order, oldest first, those without any time last.

    Photos whose moment is known stand together while no more than ``gap`` lies between one and the
    next; those known to the day, month or year when that is the same.
    """
    by_kind: dict[str, list[Shot]] = {}
    for shot in shots:
        by_kind.setdefault(shot.kind, []).append(shot)
    groups = []
    for kind, members in by_kind.items():
        ordered = sorted(members, key=_order)
        run = ordered[:1]
        for before, shot in pairwise(ordered):
            if _apart(before, shot, gap):
                groups.append(Group(kind, run))
                run = []
            run.append(shot)
        groups.append(Group(kind, run))
    return sorted(groups, key=lambda group: (_order(group.shots[0]), group.kind))


def _order(shot: Shot) -> tuple:
    # A float sorts many times faster than moments of different time zones.
    return (shot.taken.timestamp() if shot.taken else float("inf"), shot.place)


def _apart(before: Shot, shot: Shot, gap: timedelta) -> bool:
    reach = gap if shot.exact else timedelta(0)
    return shot.taken is not None and shot.taken - before.taken > reach


class Follow(NamedTuple):
    """The photos that a card may name: those after ``card`` until the next card in the group."""

    card: Shot
    shots: list[Shot]


def cards_and_followers(shots: Sequence[Shot]) -> list[Follow]:
    """For each photo of a card, in the order of one group, the open photos that follow it."""
    follows: list[Follow] = []
    for shot in shots:
        if shot.names is not None:
            follows.append(Follow(shot, []))
        elif follows and shot.open:
            follows[-1].shots.append(shot)
    return [follow for follow in follows if follow.shots]


def distances(hashes, among) -> np.ndarray:
    """Number of differing bits between 64-bit hashes: (n,) and (m,) integers to (n, m)."""
    rows = np.asarray(hashes, dtype=np.int64).view(np.uint64)
    columns = np.asarray(among, dtype=np.int64).view(np.uint64)
    return np.bitwise_count(rows[:, None] ^ columns[None, :])


def sets_alike(looks: dict, *, among: dict, most_bits: int = MOST_BITS) -> list[list]:
    """Keys of photos that look (nearly) the same, in sets of two and more.

    ``looks``: hash by key (signed, 64 bits), of the photos in question; ``among``: of all photos
    that they may resemble, themselves included. What resembles the same photo is in one set.
    """
    keys, others = list(looks), list(among)
    parent = {key: key for key in others}

    def root(key):
        while parent[key] != key:
            parent[key] = key = parent[parent[key]]
        return key

    step = 256  # keeps the table of distances small
    columns = np.fromiter(among.values(), np.int64, len(among))
    for start in range(0, len(keys), step):
        part = keys[start : start + step]
        near = distances([looks[key] for key in part], columns) <= most_bits
        for row, column in np.argwhere(near):
            parent[root(others[column])] = root(part[row])
    sets: dict = {}
    for key in others:
        sets.setdefault(root(key), []).append(key)
    return [members for members in sets.values() if len(members) > 1]


@dataclass(frozen=True)
class Copy:
    """One of several photos that look the same.

    on_record  whether a check, care or a measurement has it
    card       whether the printed card is in it
    sharpness  comparable among the copies; None where its file is gone
    """

    key: Hashable
    on_record: bool
    card: bool
    sharpness: float | None
    pixels: int


# In the order of what counts first: an attribute, and from which ratio on it is better.
MERITS = {
    "has records already": ("on_record", 1),
    "has the card": ("card", 1),
    "sharper": ("sharpness", SHARPER),
    "larger": ("pixels", LARGER),
}


def best_of(copies: Sequence[Copy]) -> tuple[Copy, str]:
    """The copy to keep, and in words what it has before others; empty where nothing."""
    left = list(copies)
    for name, ratio in MERITS.values():
        left = _best(left, name, ratio)
    chosen = left[0]
    return chosen, ", ".join(
        words
        for words, (name, ratio) in MERITS.items()
        if chosen in (best := _best(copies, name, ratio)) and len(best) < len(copies)
    )


def _best(copies: Sequence[Copy], name: str, ratio: float) -> list[Copy]:
    values = [getattr(copy, name) or 0 for copy in copies]
    return [
        copy for copy, value in zip(copies, values, strict=True) if value * ratio >= max(values)
    ]
