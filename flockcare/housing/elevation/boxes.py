"""Boxes of letters that do not cover each other."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

# Pixels of a bold letter at 12 px in the widest of the usual faces for screens.
_WIDTHS = (
    (5.0, "ijl.,:;'|! "),
    (6.6, "tfrI()[]/°-"),
    (13.2, "MWmw@%—…▲◆○½¼¾⅛⅜⅝⅞″↓"),
)
_WIDTH_OF = {letter: width for width, letters in _WIDTHS for letter in letters}
USUAL, UNKNOWN = 8.7, 13.2
REGULAR = 0.91  # Of letters that are not bold.


def text_width(words: str, *, bold: bool = True) -> float:
    """An upper figure; letters of other scripts count as wide."""
    total = sum(
        _WIDTH_OF.get(letter) or (USUAL if letter.isascii() else UNKNOWN) for letter in words
    )
    return total if bold else total * REGULAR


@dataclass(frozen=True, slots=True)
class Box:
    left: float
    top: float
    right: float
    bottom: float

    def meets(self, other: Box) -> bool:
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )

    def inside(self, other: Box) -> bool:
        return (
            self.left >= other.left
            and self.right <= other.right
            and self.top >= other.top
            and self.bottom <= other.bottom
        )


@dataclass
class Board:
    """What is taken already, within ``room``; letters lie on what is ``hatched`` at worst."""

    room: Box
    taken: list[Box] = field(default_factory=list)
    hatched: list[Box] = field(default_factory=list)

    def copy(self) -> Board:
        return Board(self.room, list(self.taken), self.hatched)

    def settle(self, boxes: Iterable[Box]) -> Box | None:
        """The first of these boxes that lies in the room and meets nothing; it is now taken."""
        found = None
        for box in boxes:
            if not box.inside(self.room) or any(map(box.meets, self.taken)):
                continue
            found = found or box
            if not any(map(box.meets, self.hatched)):
                found = box
                break
        if found:
            self.taken.append(found)
        return found


def around(x: float, y: float, wide: float, high: float, *, far: int) -> Iterable[Box]:
    """Boxes of this size about a point, the nearest first: above, beside, below, then farther."""
    for away in range(6, far, 7):
        for left, top in (
            (x - wide / 2, y - away - high),
            (x + away, y - high / 2),
            (x - away - wide, y - high / 2),
            (x - wide - away / 2, y - away - high),
            (x + away / 2, y - away - high),
            (x - wide / 2, y + away),
            (x + away / 2, y + away),
            (x - wide - away / 2, y + away),
        ):
            yield Box(left, top, left + wide, top + high)


def nearest(spots: Iterable[tuple[float, float]], wide: float, high: float, *, far: int):
    """Boxes about several points, with their point: those that stand nearest to theirs first."""
    found = [
        (_away(box, spot), n, spot, box)
        for n, spot in enumerate(spots)
        for box in around(*spot, wide, high, far=far)
    ]
    found.sort(key=lambda each: each[:2])
    return [(spot, box) for _, _, spot, box in found]


def _away(box: Box, spot: tuple[float, float]) -> float:
    x, y = spot
    dx = max(box.left - x, 0, x - box.right)
    dy = max(box.top - y, 0, y - box.bottom)
    return (dx * dx + dy * dy) ** 0.5
