"""What stands on a vet sheet: plain words and figures, ready to be drawn.

Words in quotation marks are as a keeper typed them. Lists that were cut say so in ``left_out``.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import sqrt

from flockcare.drawing.timeline import Timeline


@dataclass(frozen=True, slots=True)
class Fact:
    """One line of a list of facts."""

    label: str
    words: str


@dataclass(frozen=True, slots=True)
class Table:
    """A table of words; ``left_out`` says how many of its rows are not on the sheet.

    ``note``: how its figures are to be read.
    """

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    left_out: str = ""
    note: str = ""

    @classmethod
    def of(
        cls, heads: Sequence[str], rows: Iterable[Sequence[str]], left_out: str = "", note: str = ""
    ) -> Table:
        """Without the columns in which nothing stands."""
        rows = list(rows)
        used = [place for place in range(len(heads)) if any(row[place] for row in rows)]
        return cls(
            tuple(heads[place] for place in used),
            tuple(tuple(row[place] for place in used) for row in rows),
            left_out,
            note,
        )

    @property
    def labelled(self) -> list[list[tuple[str, str]]]:
        """Each cell of each row with its head."""
        return [list(zip(self.heads, row, strict=True)) for row in self.rows]


@dataclass(frozen=True, slots=True)
class CaseSheet:
    """One stretch of trouble of one foot, with the looks at it that fall into the period."""

    title: str
    facts: str
    looks: Table


@dataclass(frozen=True, slots=True)
class Given:
    """Something put on, done or given in the same way, with every date and by whom.

    ``is_first``: what a vet reads first, a medicine, a visit that prescribed one, the last visit.
    """

    what: str
    dates: tuple[str, ...]
    holds: str
    remarks: tuple[str, ...]
    is_first: bool = False


@dataclass(frozen=True, slots=True)
class Definition:
    """A step of a published scale in its wording."""

    step: str
    wording: str


@dataclass(frozen=True, slots=True)
class ScaleSheet:
    name: str
    steps: tuple[Definition, ...]
    source: str


@dataclass(frozen=True, slots=True)
class PrintPhoto:
    """A photo and what is written below it.

    ``to_mm``: for a measured one the affine map (a, b, c, d, e, f) of SVG from pixels of what is
    shown to mm about the middle of the sore. ``shown``: width and height of what is shown, in
    pixels without size limits. ``paths``: its files in the storage by the length of their longer
    side; ``original`` the untouched one, whose pixels ``from_original`` (2 × 3, row by row) maps
    to those of what is shown.
    """

    key: uuid.UUID
    edition: str
    caption: tuple[str, ...]
    shown: tuple[int, int]
    paths: tuple[tuple[int, str], ...]
    original: str
    from_original: tuple[float, ...]
    to_mm: tuple[float, ...] | None = None

    @property
    def measured(self) -> bool:
        return self.to_mm is not None

    @property
    def mm_per_pixel(self) -> float:
        """At the sore, in what is shown without size limits."""
        a, b, c, d, _, _ = self.to_mm
        return sqrt(abs(a * d - b * c))


@dataclass(frozen=True, slots=True)
class PhotoGroup:
    title: str
    photos: tuple[PrintPhoto, ...]


@dataclass(frozen=True, slots=True)
class Photos:
    """The photos in time order, foot by foot.

    box_mm: side of the square that each is printed in. paper_mm_per_cm: how many mm on paper a
    centimetre of the foot takes in the measured ones; None where none is measured.
    """

    groups: tuple[PhotoGroup, ...]
    box_mm: float
    paper_mm_per_cm: float | None
    scale_words: str
    left_out: str = ""

    @property
    def span_mm(self) -> float:
        """Side of the square piece of a foot that a measured photo shows."""
        return self.box_mm / self.paper_mm_per_cm * 10

    @property
    def count(self) -> int:
        return sum(len(group.photos) for group in self.groups)


@dataclass(frozen=True, slots=True)
class VetSheet:
    """``who``, ``now``, ``history`` and ``key_photos`` are read first: what bird, which foot since
    when and whether it gets better, what came before and was given, and how the foot looked at
    first and last.
    """

    name: str
    title: str
    made: str
    period: str
    first: dt.date
    last: dt.date
    who: str
    now: tuple[str, ...]
    history: tuple[str, ...]
    key_photos: Photos
    asked: tuple[Fact, ...]
    identity: tuple[Fact, ...]
    weight: str
    weights: str
    weights_left_out: str
    timeline: Timeline
    looked: str
    cases: tuple[CaseSheet, ...]
    other_cases: Table
    signs: Table
    measured: Table
    plans: tuple[Given, ...]
    given: tuple[Given, ...]
    given_left_out: str
    holds: tuple[Fact, ...]
    housing: tuple[Fact, ...]
    housing_left_out: str
    photos: Photos
    scales: tuple[ScaleSheet, ...]
    cautions: tuple[str, ...]

    @property
    def medicines(self) -> list[Given]:
        """Of what was given, that which a vet reads first."""
        return [group for group in self.given if group.is_first]

    @property
    def other_given(self) -> list[Given]:
        return [group for group in self.given if not group.is_first]
