"""Who did what, by name or, for a reader who need not know, as Keeper A, Keeper B and so on."""

from __future__ import annotations

import re
from collections.abc import Iterable

LONGEST = 320
# Shorter pieces of a name, such as “de”, stand in every other sentence.
SHORTEST_PIECE = 3


class Names:
    """Everybody by name."""

    def who(self, name: str) -> str:
        return name

    def text(self, typed: str) -> str:
        """What somebody typed, on one line, as it may be shown."""
        return " ".join(typed.split())

    def quoted(self, typed: str) -> str:
        """The same in quotation marks; what is cut off is said."""
        text = self.text(typed)
        if len(text) <= LONGEST:
            return f"“{text}”" if text else ""
        kept = text[:LONGEST].rsplit(" ", 1)[0]
        return f"“{kept} …” ({len(text) - len(kept)} letters more are in the record)"


class Nameless(Names):
    """Nobody by name, also not in what was typed.

    ``names`` in a lasting order: the first becomes Keeper A. In what was typed a name is found
    whole or in its pieces, in large or small letters: rather a word too many than a name too few.
    """

    def __init__(self, names: Iterable[str]):
        self._known: dict[str, str] = {}
        for name in filter(None, (" ".join(name.split()) for name in names)):
            self._known.setdefault(name.casefold(), _letter(len(self._known)))
        pieces = {
            piece: letter
            for name, letter in reversed(self._known.items())
            for piece in re.split(r"[\s.-]+", name)
            if len(piece) >= SHORTEST_PIECE
        }
        self._hidden = pieces | self._known
        longest_first = sorted(self._hidden, key=len, reverse=True)
        words = "|".join(r"\s+".join(map(re.escape, name.split())) for name in longest_first)
        self._pattern = re.compile(rf"(?<!\w)(?:{words})(?!\w)", re.IGNORECASE) if words else None

    def who(self, name: str) -> str:
        name = " ".join(name.split())
        return self._known.get(name.casefold(), "a keeper") if name else ""

    def text(self, typed: str) -> str:
        text = super().text(typed)
        if self._pattern is None:
            return text
        return self._pattern.sub(lambda found: self._letter_of(found[0]), text)

    def _letter_of(self, found: str) -> str:
        return self._hidden.get(" ".join(found.split()).casefold(), "a keeper")


def _letter(number: int) -> str:
    return f"Keeper {chr(ord('A') + number)}" if number < 26 else f"Keeper {number + 1}"
