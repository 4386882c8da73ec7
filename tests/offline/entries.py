"""What phones of the tests keep until it is acknowledged: records in words that differ from each
other, with pictures that no other has."""

import io
import random
import uuid
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta

import numpy as np
from PIL import Image

from tests.offline.sends import picture

PLAIN = "plain"
# Of a record: sent again in other words after it was acknowledged; by the page's own address first,
# whose answer is lost, and then corrected; in two words on two connections at once.
CORRECTED, PAGE_FIRST, TWO_WORDS = "corrected", "page first", "two words at once"
# Of a photo: twice on two connections at once; again while the first is still being decoded; as two
# photos of one record, at once.
TWICE, AGAIN, TWO_KEYS = "twice at once", "again while it is decoded", "under two keys at once"
DOUBLE = (TWICE, AGAIN, TWO_KEYS)


@dataclass
class Entry:
    """One record with its photos, and what the server has acknowledged of it.

    A record can be said in two ways, ``other`` or not. ``acknowledged``: by key, when it was, in
    nanoseconds since 1970. ``taken``, ``told``: which of the two were stored by the server's
    answer, and which were refused because the key says otherwise.
    """

    bird: str
    kind: str = "check"
    key: str = field(default_factory=lambda: str(uuid.uuid4()))
    photos: dict[str, bytes] = field(default_factory=dict)
    at: str = ""
    number: int = 0
    way: str = PLAIN
    photo_way: str = PLAIN
    by_the_page: bool = False
    first_sent: int = 0
    acknowledged: dict[str, int] = field(default_factory=dict)
    taken: set[bool] = field(default_factory=set)
    told: set[bool] = field(default_factory=set)
    refused: list[str] = field(default_factory=list)

    @property
    def keys(self) -> set[str]:
        return {self.key, *self.photos}

    @property
    def is_done(self) -> bool:
        corrected = self.way == PLAIN or self.taken | self.told == {True, False}
        return bool(self.refused) or (set(self.acknowledged) == self.keys and corrected)

    def says(self, *, other: bool) -> list:
        """As ``stored.py`` lists the record."""
        note = f"Number {self.number}{', corrected' * other}."
        if self.kind == "check":
            return [self.key, self.bird, note]
        if self.kind == "weighing":
            return [self.key, self.bird, self.at[:10], 2950 + 100 * other]
        kind = "rinsed" if other and self.number % 2 else "soaked"
        return [self.key, self.bird, kind, note if kind == "soaked" else f"Number {self.number}."]

    def fields(self, keeper: str, *, other: bool) -> list[list[str]]:
        """Of the page's form."""
        said = self.says(other=other)[2:]
        if self.kind == "check":
            return [["at", self.at], ["verdict", "both clear"], ["note", said[0]]]
        if self.kind == "weighing":
            return [["on", said[0]], ["grams", f"{said[1] / 1000:.2f}"]]
        step = {"kind": said[0], "foot": "left", "again": "no", "who": keeper, "at": self.at}
        return [[name, value] for name, value in {**step, "note": said[1]}.items()]


def photograph(seed: int) -> bytes:
    """12 megapixels with as much in them as a phone's have: 3 MB, long to decode and to write."""
    grain = np.random.default_rng(seed).integers(0, 256, (375, 500, 3), dtype=np.uint8)
    stream = io.BytesIO()
    whole = Image.fromarray(grain).resize((4000, 3000), Image.Resampling.BILINEAR)
    whole.save(stream, "JPEG", quality=90)
    return stream.getvalue()


def _now() -> str:
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M")


def _small(dice: random.Random, number: int) -> bytes:
    colour = tuple(dice.randrange(256) for _ in range(3))
    return picture(colour, size=(320 + number, 240)).getvalue()


def entries_for(birds: list[str], count: int, seed: int) -> list[Entry]:
    """Checks of different birds, each with one photo that no other has."""
    dice = random.Random(seed)
    return [
        Entry(
            bird=dice.choice(birds),
            photos={str(uuid.uuid4()): _small(dice, number)},
            at=_now(),
            number=number,
        )
        for number in range(count)
    ]


def hard_entries(birds: list[str], count: int, phone: int) -> list[Entry]:
    """Checks, steps of care and weighings, sent in all the ways there are; some photos are large.

    Of four entries three have photos, one of them two.
    """
    dice = random.Random(phone)
    found = []
    for number in range(phone * count, phone * count + count):
        kind, photos = (("check", 1), ("step", 1), ("check", 2), ("weighing", 0))[number % 4]
        entry = Entry(
            bird=dice.choice(birds),
            kind=kind,
            at=_now(),
            number=number,
            way=dice.choices((PLAIN, CORRECTED, PAGE_FIRST, TWO_WORDS), (5, 2, 2, 1))[0],
            photo_way=dice.choices((PLAIN, *DOUBLE), (10, 3, 3, 2))[0],
        )
        if kind == "weighing":
            # A bird is weighed once a day.
            entry.bird = birds[number % len(birds)]
            day = date.today() - timedelta(days=1 + number // len(birds))  # noqa: DTZ011
            entry.at = day.isoformat()
        for _ in range(photos):
            is_large = dice.random() < 1 / 6
            key, seed = str(uuid.uuid4()), 10 * number + len(entry.photos)
            entry.photos[key] = photograph(seed) if is_large else _small(dice, number)
        if entry.photo_way == TWO_KEYS:
            entry.photos |= {str(uuid.uuid4()): content for content in [*entry.photos.values()]}
        found.append(entry)
    return found
