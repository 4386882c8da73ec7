"""Lengths as keepers write and read them: centimetres, or inches with fractions.

Kept as centimetres (widths of bars as millimetres). An inch is 25.4 mm exactly (international
yard and pound agreement of 1959; from memory).
"""

from __future__ import annotations

import re
from fractions import Fraction

from flockcare.people.models import Units

MM = {
    **dict.fromkeys(("mm",), Fraction(1)),
    **dict.fromkeys(("cm",), Fraction(10)),
    **dict.fromkeys(("m",), Fraction(1000)),
    **dict.fromkeys(("in", "inch", "inches"), Fraction(254, 10)),
    **dict.fromkeys(("ft", "foot", "feet"), Fraction(3048, 10)),
}
EIGHTHS = 8
_PARTS = {
    **{"1/2": "½", "1/4": "¼", "3/4": "¾"},
    **{"1/8": "⅛", "3/8": "⅜", "5/8": "⅝", "7/8": "⅞"},
}
_SIGNS = {
    **{sign: f" {part}" for part, sign in _PARTS.items()},
    **{"⅓": " 1/3", "⅔": " 2/3", "⁄": "/"},
    **{"″": " in", "”": " in", "“": " in", '"': " in", "''": " in"},
    **{"′": " ft ", "’": " ft ", "'": " ft "},
    ",": ".",
}
# Far longer than any length, so that a slip of the finger is told that it is too long.
_NUMBER = r"(\d{1,40}[ -]+\d{1,3}/\d{1,3}|\d{1,3}/\d{1,3}|\d{1,40}(?:\.\d{1,20})?|\.\d{1,20})"
_LENGTH = re.compile(
    rf"(?:{_NUMBER} ?(?:ft|foot|feet)\.?)? ?(?:{_NUMBER} ?(in|inch|inches|cm|mm|m)?\.?)?"
)


def read_length(text: str, *, bare: str) -> Fraction:
    """Millimetres from ``47``, ``18 1/2``, ``7 3/8 in``, ``4 ft 2``, ``1.2 m``.

    A number without a unit is taken as ``bare`` (a key of MM), after feet as inches. Raises
    ValueError, in a keeper's words, for anything else.
    """
    plain = text.lower()
    for sign, word in _SIGNS.items():
        plain = plain.replace(sign, word)
    match = _LENGTH.fullmatch(re.sub(r"\s+", " ", plain).strip())
    feet, rest, unit = match.groups() if match else (None, None, None)
    if feet is None and rest is None:
        raise ValueError(_not_a_length(text, bare))
    if feet is not None and unit not in (None, "in", "inch", "inches"):
        raise ValueError(f"“{text}” mixes feet with another unit.")
    try:
        total = _number(feet) * MM["ft"] if feet else Fraction(0)
        if rest:
            total += _number(rest) * MM[unit or ("in" if feet else bare)]
    except ZeroDivisionError:
        raise ValueError(_not_a_length(text, bare)) from None
    return total


def _number(text: str) -> Fraction:
    return sum((Fraction(part) for part in re.split(r"[ -]+", text)), Fraction(0))


def _not_a_length(text: str, bare: str) -> str:
    like = "18 1/2, 18.5 or 7 3/8 in" if bare == "in" else f"{'45' if bare == 'mm' else '47.5'}"
    return f"“{text}” is not a length. Write it like {like}."


def bare_unit(units: str, metric: str) -> str:
    """The unit of a number without one, where a metric flock uses ``metric``."""
    return "in" if units == Units.IMPERIAL else metric


def in_unit(label: str, bare: str) -> str:
    """``Height in inches``: the label of a length that is typed in this unit."""
    return f"{label} in {'inches' if bare == 'in' else bare}"


def inches(mm: float) -> str:
    """The nearest eighth of an inch: ``18 1/2``."""
    if mm < 0:
        return f"-{inches(-mm)}"
    eighths = round(Fraction(mm) / MM["in"] * EIGHTHS)
    whole, rest = divmod(eighths, EIGHTHS)
    part = str(Fraction(rest, EIGHTHS)) if rest else ""
    return " ".join(filter(None, (str(whole) if whole or not part else "", part)))


def short_inches(mm: float) -> str:
    """The same in as few letters as a drawing has room for: ``18½″``."""
    whole, _, part = inches(mm).rpartition(" ")
    return f"{whole}{_PARTS.get(part, part)}″"


def number_text(value: float, *, unit: str, units: str) -> str:
    """The number of a length in ``unit`` ("cm" or "mm"), as one types it in the flock's units.

    Metric lengths are shown to a tenth.
    """
    if units == Units.IMPERIAL:
        return inches(value * float(MM[unit]))
    return f"{value:.1f}".removesuffix(".0")


def length_text(value: float | None, *, unit: str, units: str) -> str:
    """``47 cm``, ``45 mm``, ``18 1/2 in``; empty for None."""
    if value is None:
        return ""
    return f"{number_words(value, unit=unit, units=units)} {bare_unit(units, unit)}"


def number_words(value: float, *, unit: str, units: str) -> str:
    """The number for a sentence: no line ends between 18 and 1/2."""
    return number_text(value, unit=unit, units=units).replace(" ", "\N{NO-BREAK SPACE}")
