"""How large things in a photo are: from the printed card, or from a known length.

Points in a picture are pixels, x to the right and y down, with whole numbers at pixel centres.
Points on the card are millimetres from its top left corner (see ``photos.cards``).
"""

from .card import UNCHECKED_PRINT, CardView, read_card
from .length import ID_1_CARD_MM, ISO_216_MM, LengthView, from_known_length
from .refusals import CannotMeasure

__all__ = [
    "ID_1_CARD_MM",
    "ISO_216_MM",
    "UNCHECKED_PRINT",
    "CannotMeasure",
    "CardView",
    "LengthView",
    "from_known_length",
    "read_card",
]
