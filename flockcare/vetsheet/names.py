"""Who did what, by name or, for a reader who need not know, as Keeper A, Keeper B and so on."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable

from flockcare.vetsheet.dates import counted

LONGEST = 320
# Shorter pieces of a name, such as “de”, stand in every other sentence.
SHORTEST_PIECE = 3
# Letters that are none with a mark added, and what keyboards put for ' and -.
_PLAIN = str.maketrans("łøđ’‘ʼ‐‑", "lod'''--")
_WORD = re.compile(r"[^\W\d_]+")
_JOINED = re.compile(rf"{_WORD.pattern}(?:['’ʼ]{_WORD.pattern})+")  # O’Lovage


class Names:
    """Everybody by name."""

    def who(self, name: str) -> str:
        return name

    def text(self, typed: str) -> str:
        """What somebody typed, on one line, as it may be shown."""
        return " ".join(unicodedata.normalize("NFC", typed).split())

    def cut(self, typed: str) -> str:
        """The same; what is cut off is said."""
        text = self.text(typed)
        if len(text) <= LONGEST:
            return text
        kept = text[:LONGEST].rsplit(" ", 1)[0]
        return f"{kept} … ({counted(len(text) - len(kept), 'letter')} more in the record)"

    def quoted(self, typed: str) -> str:
        """The same in quotation marks; what is cut off is said."""
        text = self.text(typed)
        if len(text) <= LONGEST:
            return f"“{text}”" if text else ""
        kept = text[:LONGEST].rsplit(" ", 1)[0]
        return f"“{kept} …” ({counted(len(text) - len(kept), 'letter')} more in the record)"


class Nameless(Names):
    """Nobody by name, also not in what was typed.

    ``names`` in a lasting order: the first becomes Keeper A. In what was typed a name is found
    whole or in its pieces, in large or small letters and without its marks, as “jurgen” for
    “Jürgen”: rather a word too many than a name too few. Only what is likelier another word, a
    piece of two letters (“Jo”) or a name with an s at its end (“Toms”), must have its capital.
    """

    def __init__(self, names: Iterable[str]):
        self._known: dict[str, str] = {}
        self._hidden: dict[str, str] = {}
        for name in filter(None, map(super().text, names)):
            letter = self._known.setdefault(_plain(name), _letter(len(self._known)))
            for piece in _WORD.findall(name) + _JOINED.findall(name):
                if len(piece) >= SHORTEST_PIECE or (len(piece) == 2 and piece[0].isupper()):
                    self._hidden.setdefault(_plain(piece), letter)
        self._hidden |= self._known
        words = "|".join(map(re.escape, sorted(self._hidden, key=len, reverse=True)))
        self._pattern = re.compile(rf"(?<!\w)({words})(s?)(?!\w)") if words else None

    def who(self, name: str) -> str:
        name = super().text(name)
        return self._known.get(_plain(name), "a keeper") if name else ""

    def text(self, typed: str) -> str:
        text = super().text(typed)
        if self._pattern is None:
            return text
        parts, after = [], 0
        for found in self._pattern.finditer(_plain(text)):
            if self._is_meant(found, text[found.start()]):
                owner = "’s" if found[2] else ""
                parts += [text[after : found.start()], self._hidden[found[1]], owner]
                after = found.end()
        return "".join([*parts, text[after:]])

    def _is_meant(self, found: re.Match, initial: str) -> bool:
        likely = found[1] in self._known or len(found[1]) >= SHORTEST_PIECE
        return initial.isupper() or (likely and not found[2])


def _plain(text: str) -> str:
    """Small letters without marks, each in its place: ``jurgen's`` for ``Jürgen’s``."""
    return "".join(map(_plain_letter, text)).translate(_PLAIN)


def _plain_letter(one: str) -> str:
    first, *marks = unicodedata.normalize("NFD", one)
    # Else it falls apart into letters, as Korean syllables do.
    return first.lower() if all(map(unicodedata.combining, marks)) else one


def _letter(number: int) -> str:
    return f"Keeper {chr(ord('A') + number)}" if number < 26 else f"Keeper {number + 1}"
